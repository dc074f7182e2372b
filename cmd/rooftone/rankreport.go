package main

import (
	"slices"
	"time"

	"rooftone/plot"
	"rooftone/scan/decide"
	"rooftone/scan/measure"
	"rooftone/scan/site"
)

// rankSchema names the JSON that rank prints, as sweepSchema does sweep's.
const rankSchema = "rooftone.rank/2"

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

	North   *string       `json:"north"` // that bearings are counted from; null: nobody said
	Unclear []rankUnclear `json:"unclear"`

	SpreadDB      *float64      `json:"spread_db"`
	OtherStandard []int         `json:"other_standard"`
	Against       []rankAgainst `json:"against"`
	GivenUp       []rankGivenUp `json:"given_up"`
	MeasureNext   []rankNext    `json:"measure_next"`
	Headings      []rankHeading `json:"headings"`
}

// rankAgainst is a wanted channel at the best place and at the next.
type rankAgainst struct {
	RFChannel     int      `json:"rf_channel"`
	FirstDB       *float64 `json:"first_db"`
	SecondDB      *float64 `json:"second_db"`
	GainedDB      *float64 `json:"gained_db"`
	GainedSigmaDB *float64 `json:"gained_sigma_db"`
	FirstHolds    *float64 `json:"first_holds"`
	SecondHolds   *float64 `json:"second_holds"`
	Certain       bool     `json:"certain"`
}

// rankGivenUp is a wanted channel that is certainly stronger elsewhere than at
// the best place.
type rankGivenUp struct {
	RFChannel int      `json:"rf_channel"`
	HereDB    *float64 `json:"here_db"`
	ThereDB   *float64 `json:"there_db"`
	There     rankSpot `json:"there"`
	Matters   bool     `json:"matters"`
}

// rankNext is a measurement that could change the choice.
type rankNext struct {
	rankSpot
	RFChannels []int    `json:"rf_channels"`
	CouldGain  *float64 `json:"could_gain"`
	Promise    *float64 `json:"promise"`
	Again      bool     `json:"again"`
}

// rankHeading is the best single heading for all wanted channels at a place.
type rankHeading struct {
	Place           string     `json:"place"`
	HeightM         *float64   `json:"height_m"`
	From            string     `json:"from"`
	HeadingDeg      *float64   `json:"heading_deg"`
	HeadingSigmaDeg *float64   `json:"heading_sigma_deg"`
	HoldFromDeg     *float64   `json:"hold_from_deg"`
	HoldToDeg       *float64   `json:"hold_to_deg"`
	HoldLossDB      *float64   `json:"hold_loss_db"`
	Value           *float64   `json:"value"`
	Costs           []rankCost `json:"costs"`
	Unknown         []int      `json:"unknown"`
}

// rankCost is what the single heading costs a channel.
type rankCost struct {
	RFChannel     int      `json:"rf_channel"`
	MarginDB      *float64 `json:"margin_db"`
	MarginSigmaDB *float64 `json:"margin_sigma_db"`
	Decodes       *float64 `json:"decodes"`
	Holds         *float64 `json:"holds"`
	PeakDB        *float64 `json:"peak_db"`
	PeakDeg       *float64 `json:"peak_deg"`
	CostDB        *float64 `json:"cost_db"`
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

	Standing  string   `json:"standing"`
	From      string   `json:"from"`
	Value     *float64 `json:"value"`
	Measure   []int    `json:"measure"`
	CouldGain *float64 `json:"could_gain"`
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
	From          *string  `json:"from"`
	Standard      *string  `json:"standard"`
	Decodes       *float64 `json:"decodes"`
	Holds         *float64 `json:"holds"`
}

// rankPair is two antennas at once.
type rankPair struct {
	Places []rankSpot `json:"places"`
	From   []int      `json:"from"`
	Enough []int      `json:"enough"`
	Gained []int      `json:"gained"`
	Ahead  *float64   `json:"ahead"`

	Worth          bool         `json:"worth"`
	Gain           *float64     `json:"gain"`
	Rotator        bool         `json:"rotator"`
	CombinerLossDB *float64     `json:"combiner_loss_db"`
	Combined       []rankJoined `json:"combined"`
}

// rankJoined is a channel behind a combiner.
type rankJoined struct {
	RFChannel int      `json:"rf_channel"`
	WorstDB   *float64 `json:"worst_db"`
	BestDB    *float64 `json:"best_db"`
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
	out.North, out.Unclear = word(p.North), unclearOf(p)
	for _, w := range p.Wanted {
		out.Wanted = append(out.Wanted, rankWant{w.RFChannel, word(p.Labels[w.RFChannel]), w.Importance, r.stations.report(w.RFChannel)})
	}
	for i := range k.Rows {
		out.Places = append(out.Places, newRankPlace(p, i))
	}
	out.Pair = newRankPair(k.Pair)
	out.SpreadDB, out.OtherStandard = round(k.SpreadDB, 0.01), listed(k.OtherStandard)
	out.Against, out.GivenUp, out.MeasureNext = newRankAgainst(k.Versus), newRankGivenUp(k.GivenUp), newRankNext(k.Next)
	out.Headings = []rankHeading{}
	for i := range k.Headings {
		out.Headings = append(out.Headings, newRankHeading(&k.Headings[i]))
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
		Standing: string(row.Standing), From: fromMarks, Value: round(row.Value, 1e-3), Measure: listed(row.Measure), CouldGain: round(row.CouldGain, 1e-2),
	}
	if row.Turn {
		out.From = fromTurn
	}
	for _, v := range row.Spot.Visits {
		out.Visits = append(out.Visits, v.Format(time.RFC3339))
	}
	if w := row.Weakest; w != nil {
		out.WeakestRFChannel = &w.RFChannel
		out.WeakestMarginDB, out.WeakestMarginSigmaDB = decibels(&w.Margin)
	}
	for _, w := range p.Wanted {
		out.Channels = append(out.Channels, newRankChannel(row, w.RFChannel))
	}
	return out
}

// shared reports whether a row has its rank in common with another.
func shared(p *plot.Places, i int) bool {
	rows := p.Ranking.Rows
	return i > 0 && rows[i-1].Rank == rows[i].Rank || i+1 < len(rows) && rows[i+1].Rank == rows[i].Rank
}

func newRankChannel(row *decide.Row, rfChannel int) rankChannel {
	c, ok := row.Spot.Channels[rfChannel]
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
	from := fromMarks
	if c.Turned {
		from = fromTurn
	}
	out.From, out.Standard = &from, word(c.Standard)
	if i := slices.IndexFunc(row.Chances, func(c decide.Chance) bool { return c.RFChannel == rfChannel }); i >= 0 {
		out.judge(row.Chances[i])
	}
	return out
}

func rankRows(p *plot.Places) []rankRow {
	var out []rankRow
	for i := range p.Ranking.Rows {
		row := &p.Ranking.Rows[i]
		spot := newRankSpot(row.Spot)
		for _, w := range p.Wanted {
			c := newRankChannel(row, w.RFChannel)
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
