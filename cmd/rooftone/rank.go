package main

import (
	"context"
	"fmt"
	"io"
	"slices"
	"time"

	"github.com/spf13/pflag"

	"rooftone/plot"
	"rooftone/scan/measure"
	"rooftone/scan/site"
)

func rankCommand() command {
	return command{
		name:  "rank",
		short: "which place and heading serves all the wanted channels best",
		about: `Puts the places and headings that were marked at a house in order: first by how
many wanted channels have enough margin, then by the weakest of them, the
uncertainties taken into account. Places that cannot be told apart share a rank
and are said to be equal. It also tells which channels no place gives, and
whether a second antenna elsewhere would add any.`,
		examples: `rooftone rank --site house.jsonl
rooftone rank --site house.jsonl --need 6        6 dB of margin will do
rooftone rank --site house.jsonl --grid house.png --rose house-rose.svg
rooftone rank --site house.jsonl --since 2026-03-05
                                                 what changed since that day
rooftone rank --site house.jsonl --json | jq '.places[0].place'`,
		flags: func(fs *pflag.FlagSet) func(context.Context, *console, []string) error {
			var r ranker
			r.declare(fs)
			return func(_ context.Context, c *console, operands []string) error {
				if len(operands) > 0 {
					return usagef("rank takes no arguments, but was given %s", quote(operands[0])).hint("rooftone rank --site %s", operands[0])
				}
				return r.run(c)
			}
		},
	}
}

// ranker compares a house's places.
type ranker struct {
	site  siteFlag
	need  *float64
	since time.Time

	json, csv bool
	looks     looks
	stations  stationFlags

	gridFile, roseFile string
}

func (r *ranker) declare(fs *pflag.FlagSet) {
	r.site.declare(fs)
	need := site.DefaultOptions().EnoughDB
	r.need = &need
	fs.Var(&number{to: &r.need, min: -20, max: 60, unit: "dB"}, "need", "the margin in `DB` that is enough")
	fs.Var(&day{&r.since}, "since", "rank what was marked since a `DATE`, such as 2026-03-05, and say what changed from before")
	fs.Var(&fileName{&r.gridFile}, "grid", "draw the places by channels to `FILE`: .png, .svg or .pdf")
	fs.Var(&fileName{&r.roseFile}, "rose", "draw margin against bearing at the place with the most headings to `FILE`: .png, .svg or .pdf")
	fs.BoolVar(&r.json, "json", false, "print JSON, all that is known of the places")
	fs.BoolVar(&r.csv, "csv", false, "print CSV, one line a place and wanted channel")
	r.looks.declare(fs)
	r.stations.declare(fs)
}

// placePicture is a picture of a house that was asked for.
type placePicture struct {
	flag, name string
	draw       func(io.Writer, string, *plot.Places, plot.Options) error
	format     string
	file       *outFile
}

func (r *ranker) run(c *console) error {
	if err := r.site.check("rank"); err != nil {
		return err
	}
	if r.json && r.csv {
		return usagef("--json and --csv exclude each other").hint("leave one of them out")
	}
	pictures := []*placePicture{
		{flag: "grid", name: r.gridFile, draw: plot.Grid},
		{flag: "rose", name: r.roseFile, draw: plot.Rose},
	}
	pictures = slices.DeleteFunc(pictures, func(p *placePicture) bool { return p.name == "" })
	if len(pictures) == 2 && sameFile(r.gridFile, r.roseFile) {
		return usagef("--grid and --rose name the same file").hint("give each picture a name of its own")
	}
	for _, p := range pictures {
		var err error
		if p.format, err = plot.Format(p.name); err != nil {
			return usagef("--%s: %w", p.flag, err).hint("--%s picture.png, .svg or .pdf", p.flag)
		}
	}
	if err := r.stations.read(); err != nil {
		return err
	}
	house, err := r.site.read(c)
	if err != nil {
		return err
	}
	places, err := r.places(house)
	if err != nil {
		return err
	}
	for _, p := range pictures {
		if p.file, err = createOut(p.name); err != nil {
			return err
		}
		defer p.file.discard()
	}
	if err := r.show(c, house, places); err != nil {
		return fmt.Errorf("writing the results: %w", cause(err))
	}
	for _, p := range pictures {
		err := p.file.finish(func(w io.Writer) error { return p.draw(w, p.format, places, plot.Options{}) })
		if err != nil {
			return err
		}
	}
	return nil
}

// places ranks what is in the house's file.
func (r *ranker) places(h *site.House) (*plot.Places, error) {
	if len(h.Wanted) == 0 {
		return nil, withHint(fmt.Errorf("no channels are wanted in %s", r.site.name), "rooftone want 7,22 --site %s", r.site.name)
	}
	if len(h.Marks) == 0 {
		return nil, withHint(fmt.Errorf("nothing is marked in %s", r.site.name), "rooftone mark chimney --site %s", r.site.name)
	}
	o := site.DefaultOptions()
	o.EnoughDB, o.Since = *r.need, r.since
	spots := site.Spots(h.Marks, o)
	if len(spots) == 0 {
		return nil, withHint(fmt.Errorf("nothing was marked in %s since %s", r.site.name, r.since.Format(time.DateOnly)), "leave --since out, or mark the places again")
	}
	p := &plot.Places{
		House: h.Name, Wanted: h.Wanted, Since: r.since, Magnetic: r.stations.declination != nil,
		Ranking: site.Rank(spots, h.Wanted, o), Labels: map[int]string{}, Towards: map[int][]float64{},
	}
	if pairs := site.Pairs(spots, h.Wanted, o, 1); len(pairs) > 0 {
		p.Pair = &pairs[0]
	}
	if !r.since.IsZero() {
		p.Changes, p.Visited = site.Changes(h.Marks, r.since, o)
	}
	p.Beams = beams(p)
	for _, w := range h.Wanted {
		p.Labels[w.RFChannel] = h.Label(w.RFChannel)
		if known := r.stations.report(w.RFChannel); p.Labels[w.RFChannel] == "" && len(known) == 1 {
			p.Labels[w.RFChannel] = known[0].Label
		}
		p.Towards[w.RFChannel] = r.stations.bearingsOf(w.RFChannel)
	}
	return p, nil
}

// beams fits the peak of each channel over the headings of the place that was
// turned the most, where there are enough of them.
func beams(p *plot.Places) map[int]plot.Beam {
	out := map[int]plot.Beam{}
	_, rows := p.Turned()
	for _, w := range p.Wanted {
		var points []site.Aimed
		for _, row := range rows {
			if m := row.Spot.Channels[w.RFChannel].Margin; m != nil {
				points = append(points, site.Aimed{BearingDeg: *row.Spot.BearingDeg, LevelDB: m.Value, SigmaDB: m.Sigma})
			}
		}
		if peak, err := site.FitPeak(points); err == nil { // too few headings to tell
			out[w.RFChannel] = plot.Beam{Heading: peak.Heading, Width: peak.Width}
		}
	}
	return out
}

func (r *ranker) show(c *console, h *site.House, p *plot.Places) error {
	switch {
	case r.json:
		return writeJSON(c.stdout, r.report(h, p))
	case r.csv:
		return writeTable(c.stdout, rankRows(p))
	}
	screen := c.screenFor(r.looks)
	err := plot.PlaceRows(c.stdout, p, plot.TextOptions{Width: screen.width, UTF8: screen.utf8, Color: screen.colour})
	if err != nil {
		return err
	}
	var channels []int
	for _, w := range p.Wanted {
		channels = append(channels, w.RFChannel)
	}
	return r.stations.write(c, channels, r.looks)
}

// rankSchema names the JSON that rank prints, as sweepSchema does sweep's.
const rankSchema = "rooftone.rank/1"

// rankReport is a ranking as the JSON has it: a public contract.
type rankReport struct {
	Schema     string       `json:"schema"`
	House      string       `json:"house"`
	NeedDB     float64      `json:"need_db"`
	Confidence float64      `json:"confidence"`
	Since      *string      `json:"since"`
	Wanted     []rankWant   `json:"wanted"`
	Places     []rankPlace  `json:"places"`
	NotEnough  []int        `json:"not_enough"`
	Nowhere    []int        `json:"nowhere"`
	Unmeasured []int        `json:"unmeasured"`
	Pair       *rankPair    `json:"pair"`
	Changes    []rankChange `json:"changes"`
	New        []rankSpot   `json:"new"`
	Left       []rankSpot   `json:"left"`
	Damaged    int          `json:"damaged"`
}

// rankWant is a wanted channel.
type rankWant struct {
	RFChannel  int             `json:"rf_channel"`
	Label      *string         `json:"label"`
	Importance int             `json:"importance"`
	Stations   []reportStation `json:"stations"`
}

// rankSpot is a place, heading and height.
type rankSpot struct {
	Place      string   `json:"place"`
	BearingDeg *float64 `json:"bearing_deg"`
	HeightM    *float64 `json:"height_m"`
}

// rankPlace is one row of the ranking.
type rankPlace struct {
	Rank  int  `json:"rank"`
	Equal bool `json:"equal"`
	rankSpot
	Visits               []string      `json:"visits"`
	Enough               []int         `json:"enough"`
	Short                []int         `json:"short"`
	Absent               []int         `json:"absent"`
	Unmeasured           []int         `json:"unmeasured"`
	ExpectedEnough       *float64      `json:"expected_enough"`
	BestAhead            *float64      `json:"best_ahead"`
	WeakestRFChannel     *int          `json:"weakest_rf_channel"`
	WeakestMarginDB      *float64      `json:"weakest_margin_db"`
	WeakestMarginSigmaDB *float64      `json:"weakest_margin_sigma_db"`
	Channels             []rankChannel `json:"channels"`
}

// rankChannel is a wanted channel at a place.
type rankChannel struct {
	RFChannel     int      `json:"rf_channel"`
	Measured      int      `json:"measured"`
	Presence      *string  `json:"presence"`
	Grade         *string  `json:"grade"`
	MarginDB      *float64 `json:"margin_db"`
	MarginSigmaDB *float64 `json:"margin_sigma_db"`
	ScatterDB     *float64 `json:"scatter_db"`
	Limits        []string `json:"limits"`
}

// rankPair is two antennas at once.
type rankPair struct {
	Places []rankSpot `json:"places"`
	From   []int      `json:"from"`
	Enough []int      `json:"enough"`
	Gained []int      `json:"gained"`
	Ahead  *float64   `json:"ahead"`
}

// rankChange is what became of a channel at a place.
type rankChange struct {
	rankSpot
	RFChannel     int      `json:"rf_channel"`
	BeforeDB      *float64 `json:"before_db"`
	SinceDB       *float64 `json:"since_db"`
	ChangeDB      *float64 `json:"change_db"`
	ChangeSigmaDB *float64 `json:"change_sigma_db"`
	Certain       bool     `json:"certain"`
}

// rankRow is one line of the CSV.
type rankRow struct {
	Rank          int      `json:"rank"`
	Equal         bool     `json:"equal"`
	Place         string   `json:"place"`
	BearingDeg    *float64 `json:"bearing_deg"`
	HeightM       *float64 `json:"height_m"`
	RFChannel     int      `json:"rf_channel"`
	Label         string   `json:"label"`
	Importance    int      `json:"importance"`
	Measured      int      `json:"measured"`
	Presence      *string  `json:"presence"`
	Grade         *string  `json:"grade"`
	MarginDB      *float64 `json:"margin_db"`
	MarginSigmaDB *float64 `json:"margin_sigma_db"`
	ScatterDB     *float64 `json:"scatter_db"`
	Limits        []string `json:"limits"`
}

func (r *ranker) report(h *site.House, p *plot.Places) rankReport {
	k := &p.Ranking
	out := rankReport{
		Schema: rankSchema, House: p.House, NeedDB: k.Options.EnoughDB, Confidence: k.Options.Confidence,
		Wanted: []rankWant{}, Places: []rankPlace{}, Changes: []rankChange{}, New: spotsOf(p.Visited.New), Left: spotsOf(p.Visited.Left),
		NotEnough: listed(k.NotEnough), Nowhere: listed(k.Nowhere), Unmeasured: listed(k.Unmeasured), Damaged: h.Damaged,
	}
	if !p.Since.IsZero() {
		since := p.Since.Format(time.RFC3339)
		out.Since = &since
	}
	for _, w := range p.Wanted {
		out.Wanted = append(out.Wanted, rankWant{w.RFChannel, word(p.Labels[w.RFChannel]), w.Importance, r.stations.report(w.RFChannel)})
	}
	for i := range k.Rows {
		out.Places = append(out.Places, newRankPlace(p, i))
	}
	if q := p.Pair; q != nil {
		out.Pair = &rankPair{Places: spotsOf(q.Spots[:]), From: listed(q.From), Enough: listed(q.Enough), Gained: listed(q.Gained), Ahead: round(q.Ahead, 1e-3)}
	}
	for _, c := range p.Changes {
		for _, ch := range c.Channels {
			row := rankChange{rankSpot: newRankSpot(c.Spot), RFChannel: ch.RFChannel, Certain: ch.Certain}
			row.BeforeDB, _ = decibels(ch.Before)
			row.SinceDB, _ = decibels(ch.Since)
			row.ChangeDB, row.ChangeSigmaDB = decibels(ch.Change)
			out.Changes = append(out.Changes, row)
		}
	}
	return out
}

func newRankPlace(p *plot.Places, i int) rankPlace {
	row := &p.Ranking.Rows[i]
	out := rankPlace{
		Rank: row.Rank, Equal: shared(p, i), rankSpot: newRankSpot(row.Spot), Visits: []string{},
		Enough: listed(row.Enough), Short: listed(row.Short), Absent: listed(row.Absent), Unmeasured: listed(row.Unmeasured),
		ExpectedEnough: round(row.Expected, 1e-2), BestAhead: round(row.BestAhead, 1e-3), Channels: []rankChannel{},
	}
	for _, v := range row.Spot.Visits {
		out.Visits = append(out.Visits, v.Format(time.RFC3339))
	}
	if w := row.Weakest; w != nil {
		out.WeakestRFChannel = &w.RFChannel
		out.WeakestMarginDB, out.WeakestMarginSigmaDB = decibels(&w.Margin)
	}
	for _, w := range p.Wanted {
		out.Channels = append(out.Channels, newRankChannel(row.Spot, w.RFChannel))
	}
	return out
}

// shared reports whether a row has its rank in common with another.
func shared(p *plot.Places, i int) bool {
	rows := p.Ranking.Rows
	return i > 0 && rows[i-1].Rank == rows[i].Rank || i+1 < len(rows) && rows[i+1].Rank == rows[i].Rank
}

func newRankChannel(s *site.Spot, rfChannel int) rankChannel {
	c, ok := s.Channels[rfChannel]
	out := rankChannel{RFChannel: rfChannel, Measured: c.Visits, Limits: []string{}}
	if !ok {
		return out
	}
	out.Presence, out.Grade = word(c.Presence), word(c.Grade)
	out.MarginDB, out.MarginSigmaDB = decibels(c.Margin)
	if c.Heard > 1 {
		_, out.ScatterDB = decibels(&measure.Estimate{Sigma: c.ScatterDB})
	}
	for _, l := range c.Limits {
		out.Limits = append(out.Limits, string(l))
	}
	return out
}

func rankRows(p *plot.Places) []rankRow {
	var out []rankRow
	for i := range p.Ranking.Rows {
		row := &p.Ranking.Rows[i]
		spot := newRankSpot(row.Spot)
		for _, w := range p.Wanted {
			c := newRankChannel(row.Spot, w.RFChannel)
			out = append(out, rankRow{
				row.Rank, shared(p, i), spot.Place, spot.BearingDeg, spot.HeightM, w.RFChannel, p.Labels[w.RFChannel], w.Importance,
				c.Measured, c.Presence, c.Grade, c.MarginDB, c.MarginSigmaDB, c.ScatterDB, c.Limits,
			})
		}
	}
	return out
}

func newRankSpot(s *site.Spot) rankSpot { return rankSpot{s.Place, s.BearingDeg, s.HeightM} }

func spotsOf(list []*site.Spot) []rankSpot {
	out := []rankSpot{}
	for _, s := range list {
		out = append(out, newRankSpot(s))
	}
	return out
}

// listed is a list that JSON shows as one when it is empty.
func listed(list []int) []int { return append([]int{}, list...) }
