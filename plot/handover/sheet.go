package handover

import (
	"fmt"
	"html/template"
	"io"
	"math"
	"slices"
	"strings"

	"rooftone/plot"
	"rooftone/scan/decide"
	"rooftone/scan/measure"
	"rooftone/scan/site"
	"rooftone/scan/verdict"
)

// sheet is the page as its template wants it: text and numbers ready to be
// written.
type sheet struct {
	Style   template.CSS
	Policy  string
	House   string
	When    string // the days of the visits
	Places  int
	Wanted  int
	Need    string // dB
	Best    string // the place in plain words
	Chosen  bool   // by a person, not by rank
	Equal   []string
	Counts  []string
	Against *against
	Second  string   // what a second antenna would add
	Joining []string // how to bring the two together
	Advice  []string // what else there is to say of the choice
	Lacking []string

	Channels []channelRow
	Axis     []tick
	Tries    []try
	Spots    []spotRow
	North    string   // which north the headings are from; "" where there are none
	Unclear  []string // places that may be the same
	Pictures []picture
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

// against is the place of the page beside the best of the others.
type against struct {
	First, Second string
	Rows          []againstRow
}

type againstRow struct {
	Channel, First, Second, Gained string
}

type channelRow struct {
	Number       int
	Label        string
	Counts       string // "" as one
	Outlook      outlook
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
	b.answer()
	b.channels()
	b.tries()
	b.spots()
	b.changes()
	b.visits()
	b.figures()
	return s, b.pictures()
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

// answer says the result first.
func (b *builder) answer() {
	s := b.sheet
	s.Best = whereTo(b.chosen.Spot)
	for i := range b.ranking.Rows {
		r := &b.ranking.Rows[i]
		if r != b.chosen && r.Rank == b.chosen.Rank && b.chosen.Rank == 1 {
			s.Equal = append(s.Equal, whereTo(r.Spot))
		}
	}
	var words []string
	byWord := map[string][]int{}
	for _, w := range b.ranking.Wanted {
		word := b.outlook(b.chosen.Spot, w.RFChannel).Word
		if byWord[word] == nil {
			words = append(words, word)
		}
		byWord[word] = append(byWord[word], w.RFChannel)
	}
	slices.SortStableFunc(words, func(x, y string) int { return order(x) - order(y) })
	for _, word := range words {
		s.Counts = append(s.Counts, fmt.Sprintf("%s: %s", word, b.theChannels(byWord[word])))
	}
	s.Against = b.against()
	for _, line := range b.Places.Advice() {
		s.Advice = append(s.Advice, sentence(line))
	}
	if q := b.ranking.Pair; q != nil && q.Worth && len(q.Gained) > 0 {
		s.Second = fmt.Sprintf("Two antennas, one at %s and one at %s, would together give %d of %d channels enough to spare: %s more than one alone.",
			whereTo(q.Spots[0]), whereTo(q.Spots[1]), len(q.Enough), s.Wanted, b.labels(q.Gained))
		for _, line := range b.Places.Joining() {
			s.Joining = append(s.Joining, sentence(line))
		}
		s.Climb = true
	}
	if n := b.ranking.Nowhere; len(n) > 0 {
		s.Lacking = append(s.Lacking, "No place that was tried gives a picture on "+b.theChannels(n)+".")
	}
	if n := b.ranking.NotEnough; len(n) > 0 {
		s.Lacking = append(s.Lacking, "No place that was tried gives enough to spare on "+b.theChannels(n)+".")
	}
	if n := b.ranking.Unmeasured; len(n) > 0 {
		s.Lacking = append(s.Lacking, "Not looked for anywhere: "+b.theChannels(n)+".")
	}
}

// against sets the place of the page beside the best of the others.
func (b *builder) against() *against {
	other := &b.ranking.Rows[0]
	if other == b.chosen {
		if len(b.ranking.Rows) < 2 {
			return nil
		}
		other = &b.ranking.Rows[1]
	}
	v := b.ranking.Against(b.chosen, other)
	out := &against{First: v.First.String(), Second: v.Second.String()}
	for _, d := range v.Channels {
		row := againstRow{Channel: b.label(d.RFChannel), First: chanceWords(d.First), Second: chanceWords(d.Second)}
		switch number, half := plot.OnPaper(d.Margin, 1); {
		case d.Margin != nil && d.Certain:
			row.Gained = number + "\u00a0dB"
		case d.Margin != nil:
			row.Gained = "no more than chance (" + number + "\u00a0" + half + "\u00a0dB)"
		case d.Gained:
			row.Gained = "only here"
		case d.Lost:
			row.Gained = "only there"
		case !d.First.Measured || !d.Second.Measured:
			row.Gained = "not known"
		}
		out.Rows = append(out.Rows, row)
	}
	return out
}

// chanceWords says how probable it is that a channel holds at a place.
func chanceWords(c decide.Chance) string {
	number, _ := plot.MarginOnPaper(c.Margin)
	switch {
	case c.Other:
		return "ATSC 3.0"
	case !c.Measured:
		return "not measured"
	case number == "":
		return "not there"
	}
	return fmt.Sprintf("%s\u00a0dB, holds with %.0f\u00a0%%", number, math.Min(99, math.Round(100*c.Holds)))
}

// theChannels names channels, one or several.
func (b *builder) theChannels(ns []int) string {
	if len(ns) == 1 {
		return "channel " + b.labels(ns)
	}
	return "channels " + b.labels(ns)
}

// order puts the good news first.
func order(word string) int {
	for i, w := range []string{"Will hold", "Works, little to spare", "On the edge", "No picture"} {
		if w == word {
			return i
		}
	}
	return 9
}

// The bars' drawing: so many units a dB, from low to high.
const (
	barLow, barHigh = -20.0, 30.0
	barUnit         = 6.0
)

func place(db float64) float64 { return barUnit * (math.Max(barLow, math.Min(barHigh, db)) - barLow) }

func units(v float64) string { return fmt.Sprintf("%.1f", v) }

func newBar(e *measure.Estimate) *bar {
	v, half, ok := plot.Interval(e)
	if !ok {
		return nil
	}
	zero, at := place(0), place(v)
	c := plot.Tone(v)
	return &bar{
		X: units(math.Min(zero, at)), Width: units(math.Max(1, math.Abs(at-zero))),
		Tone: fmt.Sprintf("#%02x%02x%02x", c.R, c.G, c.B),
		Low:  units(place(v - half)), High: units(place(v + half)), Interval: half > 0,
	}
}

func (b *builder) channels() {
	s := b.sheet
	for _, db := range []float64{-20, -10, 0, verdict.FirmMarginDB, 20, 30} {
		text := trimmed(db)
		switch {
		case db == barLow || db == barHigh:
			text = ""
		case db > 0:
			text = "+" + text
		}
		s.Axis = append(s.Axis, tick{X: units(place(db)), Text: text, Roof: db == verdict.FirmMarginDB, Zero: db == 0})
	}
	spot := b.chosen.Spot
	marks := site.MarksOf(spot, b.Marks, b.ranking.Options)
	for _, w := range b.Places.Wanted {
		c := spot.Channels[w.RFChannel]
		other := slices.Contains(b.ranking.OtherStandard, w.RFChannel)
		if other { // no margin of ours is its
			c.Margin = nil
		}
		row := channelRow{Number: w.RFChannel, Label: b.Places.Labels[w.RFChannel]}
		switch {
		case w.Importance == 0:
			row.Counts = "not counted"
		case w.Importance > 1:
			row.Counts = fmt.Sprintf("counts as %d", w.Importance)
		}
		row.Outlook = b.outlook(spot, w.RFChannel)
		row.Bar = newBar(c.Margin)
		row.Margin, row.Half = plot.MarginOnPaper(c.Margin)
		if h, _ := site.Latest(marks, w.RFChannel); h != nil {
			row.Why = why(h)
			if text := basis(h, c.Margin); text != "" {
				row.Why = append(row.Why, text)
			}
		}
		if !other {
			row.Elsewhere = b.elsewhere(w.RFChannel)
		}
		s.Channels = append(s.Channels, row)
	}
}

// why says what limits a channel: the evidence where the mark keeps it.
func why(h *site.Heard) []string {
	var out []string
	for i, l := range h.Limits {
		text := limitWords(l)
		if i < len(h.Evidence) && h.Evidence[i] != "" {
			text += ": " + h.Evidence[i]
		}
		out = append(out, text)
	}
	return out
}

// elsewhere says where a channel that the chosen place does not give enough of
// does better, if it decodes there.
func (b *builder) elsewhere(rf int) string {
	here := b.chosen.Spot.Channels[rf].Margin
	if here != nil && here.Value >= b.ranking.Options.EnoughDB {
		return ""
	}
	var best *site.Spot
	for i := range b.ranking.Rows {
		s := b.ranking.Rows[i].Spot
		m := s.Channels[rf].Margin
		if m == nil || m.Value < 0 || here != nil && m.Value < here.Value+1.96*math.Hypot(m.Sigma, here.Sigma) {
			continue
		}
		if best == nil || m.Value > best.Channels[rf].Margin.Value {
			best = s
		}
	}
	if best == nil {
		return ""
	}
	number, half := plot.MarginOnPaper(best.Channels[rf].Margin)
	return fmt.Sprintf("Better at %s: %s\u00a0%s\u00a0dB.", whereTo(best), number, half)
}

// tries gathers the advice of all channels, each line once, in the order in
// which the channels that need it most have it.
func (b *builder) tries() {
	marks := site.MarksOf(b.chosen.Spot, b.Marks, b.ranking.Options)
	var lines []string
	channels := map[string][]int{}
	for _, w := range b.Places.Wanted {
		h, _ := site.Latest(marks, w.RFChannel)
		if h == nil {
			continue
		}
		for _, a := range h.Advice {
			if channels[a] == nil {
				lines = append(lines, a)
			}
			channels[a] = append(channels[a], w.RFChannel)
			b.sheet.Climb = b.sheet.Climb || leadsUp(a)
		}
	}
	for _, l := range lines {
		b.sheet.Tries = append(b.sheet.Tries, try{sentence(l), b.labels(channels[l])})
	}
}

// sentence makes a line begin like one.
func sentence(s string) string {
	r := []rune(s)
	if len(r) == 0 {
		return s
	}
	return strings.ToUpper(string(r[:1])) + string(r[1:]) + "."
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

// pictures draws what there is to draw.
func (b *builder) pictures() error {
	spot := b.chosen.Spot
	marks := site.MarksOf(spot, b.Marks, b.ranking.Options)
	latest := spot.Mark()
	if len(marks) > 0 {
		latest = marks[len(marks)-1]
	}
	survey := latest.Survey()
	where := spot.String()
	type drawing struct {
		picture
		draw func(io.Writer) error
	}
	drawings := []drawing{{
		picture{
			Title:   "The skyline at the chosen place",
			Caption: "Every wanted channel as a house on the street: the ground is the weakest signal that decodes, height is what it has to spare, a cellar is what it lacks. As the latest visit there found it, " + day(latest) + ".",
			Alt:     "Picture of the wanted channels' margins at " + where + "; the table above has the same figures.",
		},
		func(w io.Writer) error {
			return plot.Skyline(w, "svg", survey, plot.Options{Title: "Wanted channels at " + where, ThresholdDB: survey.ThresholdDB})
		},
	}, {
		picture{
			Title:   "All places by all wanted channels",
			Caption: "A row is a place and heading, the best on top. A cell in a thick frame has enough to spare.",
			Alt:     "Grid of places by channels; the figures at the end of this page say the same.",
		},
		func(w io.Writer) error { return plot.Grid(w, "svg", b.Places, plot.Options{}) },
	}}
	_, headings := b.Places.Turned()
	turned := slices.ContainsFunc(b.Places.Wanted, func(w site.Want) bool { return b.Places.Curve(w.RFChannel) != nil })
	if len(headings) > 2 || turned {
		drawings = append(drawings, drawing{
			picture{
				Title:   "Where to point the antenna",
				Caption: "What each channel has to spare in each direction that was tried.",
				Alt:     "Margins by bearing; the figures at the end of this page say the same.",
			},
			func(w io.Writer) error { return plot.Rose(w, "svg", b.Places, plot.Options{}) },
		})
	}
	if r := b.Watched; r != nil && len(r.Channels) > 0 {
		for _, f := range r.Findings {
			b.sheet.Watched = append(b.sheet.Watched, finding{f.Text, f.Next})
		}
		b.sheet.Watch = plot.WatchLines(r)
		b.sheet.Course = &picture{
			Title:   "How it held",
			Caption: "Each channel's margin against time.",
			Alt:     "Margins against time; the lines above say what matters of it.",
		}
		var err error
		if b.sheet.Course.Source, err = inline(func(w io.Writer) error { return plot.Course(w, "svg", r, plot.Options{}) }); err != nil {
			return err
		}
	}
	for _, d := range drawings {
		var err error
		if d.Source, err = inline(d.draw); err != nil {
			return err
		}
		b.sheet.Pictures = append(b.sheet.Pictures, d.picture)
	}
	return nil
}

func day(m *site.Mark) string { return m.Time.Format("2 January 2006") }
