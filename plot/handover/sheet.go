package handover

import (
	"fmt"
	"html/template"
	"regexp"
	"slices"
	"strings"

	"rooftone/plot"
	"rooftone/scan/decide"
	"rooftone/scan/site"
)

// sheet is the page as its template wants it: text and numbers ready to be
// written.
type sheet struct {
	Style   template.CSS
	Policy  string
	House   string
	Address string
	By      string // who measured
	Notes   []note
	When    string // the days of the visits
	Places  int
	Wanted  int
	Need    string // dB
	Best    string // the place in plain words
	Title   string // what kind of place it is
	Chosen  bool   // by a person, not by rank
	Hold    string // how far the antenna may be off
	Equal   []string
	Better  string // what is best by the figures, where that is another
	Counts  []count
	Next    []string // what to measure next
	Against *against
	Second  string   // what a second antenna would add
	Two     string   // where the two would stand
	Joining []string // how to bring them together
	Lacking []string
	Cure    *cureSheet

	Channels []channelRow
	Axis     []tick
	Tries    []try
	Spots    []spotRow
	North    string   // which north the headings are from; "" where there are none
	Unclear  []string // places that may be the same
	Pictures []picture
	OnScreen string // what is not printed
	Changes  []string
	Since    string
	Expected []Expected
	Watched  []finding
	Watch    []string // how each channel held
	Course   *picture

	Climb   bool // what to try leads up
	Visits  []visitRow
	Figures []placeFigures
	Program string
	File    string
	Damaged string
}

// count is a group of channels.
type count struct{ Mark, Word, Channels string }

// note is what somebody wrote about the house.
type note struct{ When, Text string }

type channelRow struct {
	Number       int
	Label        string
	Counts       string // "" as one
	Outlook      outlook
	Holds        string
	Bar          *bar
	Margin, Half string
	Why          []string
	Elsewhere    string
}

// bar is a margin drawn from the decode point, in units of the drawing.
type bar struct {
	X, Width  string
	Tone      string
	Low, High string // the 95 % interval
	Interval  bool
}

type tick struct {
	X    string
	Text string
	Roof bool
	Zero bool
}

type try struct {
	What     string
	Channels string
}

type spotRow struct {
	Rank    string
	Where   string
	Chosen  bool
	Enough  string
	Short   string
	Weakest string
	Visits  int
	Notes   []string
}

type picture struct {
	Title, Caption, Alt string
	Paper               bool // printed too
	Source              template.URL
}

// finding is a conclusion from a watch, and what to do next.
type finding struct{ Text, Next string }

type visitRow struct {
	When, Where, How, Note, Source, Clock, Gain, Threshold string
	Interrupted                                            bool
}

type placeFigures struct {
	Where string
	Rows  []figureRow
	Told  bool // it is the place of the page
}

type figureRow struct {
	Number                              int
	Verdict                             string
	Margin, CN, MER, Power, Tilt, Waves string
	Visits                              string
	Echoes                              string
	Gain                                string
	Mind                                string
}

// builder gathers a sheet.
type builder struct {
	*Page
	ranking *decide.Ranking
	chosen  *decide.Row
	sheet   *sheet
}

func build(p *Page) (*sheet, error) {
	b := &builder{Page: p, ranking: &p.Places.Ranking, chosen: p.Chosen, sheet: &sheet{}}
	if b.chosen == nil {
		b.chosen = &b.ranking.Rows[0]
	} else {
		b.sheet.Chosen = true
	}
	s := b.sheet
	s.House, s.Program, s.File = p.Places.House, p.Program, p.File
	s.Places, s.Wanted = len(b.ranking.Rows), len(b.ranking.Wanted)-len(b.ranking.OtherStandard)
	s.Need = trimmed(b.ranking.Options.EnoughDB)
	s.Expected = p.Expected
	if p.Damaged > 0 {
		s.Damaged = counted(p.Damaged, "line", "lines")
	}
	b.about()
	b.answer()
	b.against()
	b.channels()
	b.cure()
	b.tries()
	b.spots()
	b.changes()
	b.visits()
	b.figures()
	if err := b.pictures(); err != nil {
		return nil, err
	}
	b.paper()
	return s, nil
}

// about is who measured where, and what they noted.
func (b *builder) about() {
	a := &b.About
	b.sheet.Address, b.sheet.By = a.Address, a.By
	for _, n := range a.Notes {
		row := note{Text: n.Text}
		if !n.Time.IsZero() {
			row.When = n.Time.Local().Format("2 January 2006")
		}
		b.sheet.Notes = append(b.sheet.Notes, row)
	}
}

// trimmed writes a number without needless zeros.
func trimmed(v float64) string { return strings.Replace(fmt.Sprintf("%.3g", v), "-", "\u2212", 1) }

// label names a channel.
func (b *builder) label(rf int) string {
	if l := b.Places.Labels[rf]; l != "" {
		return fmt.Sprintf("%d (%s)", rf, l)
	}
	return fmt.Sprint(rf)
}

func (b *builder) labels(numbers []int) string {
	var out []string
	for _, n := range numbers {
		out = append(out, b.label(n))
	}
	return list(out)
}

// outlook is what to expect of a channel at a place.
func (b *builder) outlook(s *site.Spot, rf int) outlook {
	c, ok := s.Channels[rf]
	h, _ := site.Latest(site.MarksOf(s, b.Marks, b.ranking.Options), rf)
	return outlookOf(c, ok, h)
}

// theChannels names channels, one or several.
func (b *builder) theChannels(ns []int) string {
	if len(ns) == 1 {
		return "channel " + b.labels(ns)
	}
	return "channels " + b.labels(ns)
}

// minus finds the hyphens that stand before a number as its sign.
var minus = regexp.MustCompile(`([ (:])-([0-9])`)

// sentence makes a line begin and end like one.
func sentence(s string) string {
	if s == "" {
		return s
	}
	return minus.ReplaceAllString(capital(s), "$1\u2212$2") + "."
}

func capital(s string) string {
	r := []rune(s)
	if len(r) == 0 {
		return s
	}
	return strings.ToUpper(string(r[:1])) + string(r[1:])
}

func (b *builder) spots() {
	if l := b.Places.NorthLine(); l != "" {
		b.sheet.North = sentence(l)
	}
	for _, l := range b.Places.UnclearLines() {
		b.sheet.Unclear = append(b.sheet.Unclear, sentence(l))
	}
	for i := range b.ranking.Rows {
		r := &b.ranking.Rows[i]
		row := spotRow{
			Rank: b.Places.RankOf(r), Where: r.Spot.String(), Chosen: r == b.chosen,
			Enough: fmt.Sprintf("%d of %d", len(r.Enough), b.sheet.Wanted), Visits: len(r.Spot.Visits),
		}
		var short []string
		for _, n := range r.Short {
			short = append(short, fmt.Sprint(n))
		}
		for _, n := range r.Absent {
			short = append(short, fmt.Sprintf("%d (not there)", n))
		}
		for _, n := range r.Unmeasured {
			short = append(short, fmt.Sprintf("%d (not measured)", n))
		}
		row.Short = strings.Join(short, ", ")
		if r.Weakest != nil {
			number, half := plot.MarginOnPaper(&r.Weakest.Margin)
			row.Weakest = fmt.Sprintf("%d:\u00a0%s\u00a0%s\u00a0dB", r.Weakest.RFChannel, number, half)
		}
		for _, m := range site.MarksOf(r.Spot, b.Marks, b.ranking.Options) {
			if m.Note != "" && !slices.Contains(row.Notes, m.Note) {
				row.Notes = append(row.Notes, m.Note)
			}
		}
		b.sheet.Spots = append(b.sheet.Spots, row)
	}
}

func (b *builder) changes() {
	if !b.Places.Since.IsZero() {
		b.sheet.Since = b.Places.Since.Format("2 January 2006")
		b.sheet.Changes = b.Places.ChangeLines()
	}
}

func day(m *site.Mark) string { return m.Time.Format("2 January 2006") }

// paper chooses what is printed, so that the page takes two or three sheets: one
// picture, and the figures of the one place. What is left out is said.
func (b *builder) paper() {
	s := b.sheet
	var left []string
	for i := range s.Pictures {
		p := &s.Pictures[i]
		if p.Paper = i == len(s.Pictures)-1; !p.Paper {
			left = append(left, "\u201c"+p.Title+"\u201d")
		}
	}
	more := 0
	for i := range s.Figures {
		if !s.Figures[i].Told {
			more++
		}
	}
	if more > 0 {
		left = append(left, "the figures of "+counted(more, "place or heading more", "places and headings more"))
	}
	if len(left) > 0 {
		s.OnScreen = "On screen it also has " + list(left) + "."
	}
}
