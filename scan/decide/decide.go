// Package decide says which place and heading of a house serves its wanted
// channels best, under uncertainty: from what was marked, and from the curves
// that turns of the antenna left.
//
// A wanted channel counts with the probability that it decodes now and still
// does at another time, given the margin's uncertainty and the usual spread
// over time. A place's value is the sum of these, a channel of importance n
// counting as n. What was not measured is unknown: it makes a place neither
// better nor worse, but a place that it could make the best is said to be open,
// and what to measure there next is said too.
//
// The spread is Options.EnoughDB / 1.645, so that what is said to be enough
// holds 95 % of the time: 5.5 dB for 9 dB. ITU-R P.1546 gives 5.5 dB for
// digital television from place to place; that weather, leaves and the seasons
// move one place's margin as much is common practice, no source.
//
// Nothing here is told to anybody: words are for the packages above.
package decide

import (
	"cmp"
	"slices"

	"rooftone/scan/measure"
	"rooftone/scan/site"
)

// Standing is how a place stands to the best one.
type Standing string

const (
	Best Standing = "best"
	// Equal: no wanted channel differs with certainty, nor all of them
	// together, and the next measurement would not change the choice between
	// the two.
	Equal Standing = "equal"
	// Open: what was not measured, or is not known well enough, may make it
	// serve better. See Row.Measure.
	Open Standing = "open"
	// Different: it is not known to be worth less, but by other channels.
	Different Standing = "different"
	Behind    Standing = "behind"
)

// Ranking says which place and heading serves the wanted channels best.
type Ranking struct {
	Options  site.Options
	SpreadDB float64     // that was assumed over time, standard deviation
	Wanted   []site.Want // that count: of importance 1 and more

	// Rows are the places and headings, the best first. See Rank for their order.
	Rows []Row

	// The wanted channels with something to say about all places together.
	NotEnough  []int // decoded somewhere, with enough margin nowhere
	Nowhere    []int // decoded nowhere
	Unmeasured []int // measured nowhere
	// OtherStandard are there, but by another standard than 8-VSB. They have
	// no margin, and make no place better or worse.
	OtherStandard []int

	Versus   *Versus  // the first row against the second; nil where there is none
	GivenUp  []Lead   // of the first row, by channel
	Next     []Step   // what to measure next, what promises most first
	Headings []Single // of each place with enough headings or a turn, in order of worth
	Pair     *Pair    // the best two antennas; nil where no two have anything to add
}

// Row is one place and heading in a Ranking.
type Row struct {
	Spot *site.Spot

	// Turn is set where the row is none that was marked: it is the best single
	// heading of a turn.
	Turn bool

	// Rank is 1 for the best and for those that are equal to it. Of the others
	// again the best, and those equal to it, share a rank, which is one more
	// than the number of rows before them; and so on.
	Rank     int
	Standing Standing // to the first row

	// BestAhead is the probability that the first row serves better than this
	// one: 0.5 for itself.
	BestAhead float64

	// Measure are the channels that could make this row the best: those not
	// measured here, or where all were, those to measure again. Nil where
	// nothing could.
	Measure []int
	// CouldGain is by how many channels this row would then serve better than
	// the first at the most, and Promise how many that are on average, when no
	// change counts as nothing.
	CouldGain, Promise float64

	Serving
}

// Serving is what one place, or two together, give of the wanted channels.
type Serving struct {
	Enough     []int   // wanted channels with enough margin
	Short      []int   // with a margin, not enough of it
	Absent     []int   // not there, or too weak to say how weak
	Unmeasured []int   // not measured here
	Expected   float64 // expected number with enough, given the uncertainties

	Value   float64  // what is known of it, in channels: what rows are ordered by
	Chances []Chance // in the order of Ranking.Wanted

	// Weakest is the weakest of the wanted channels that are there and that
	// some place gives; nil when none is.
	Weakest *Weakest
}

// Chance is what a place gives of one wanted channel.
type Chance struct {
	RFChannel int
	Measured  bool
	Other     bool              // another standard
	Margin    *measure.Estimate // nil: not measured, not there, or too weak to say
	Decodes   float64           // probability of a margin of 0 dB and more
	Holds     float64           // that it decodes, and still does at another time
}

// Weakest is a channel and its margin.
type Weakest struct {
	RFChannel int
	Margin    measure.Estimate
}

// Rank orders places and headings by their value, the best first; of equals the
// order is that of their names.
//
// Where a place was turned at, its curves supply every channel that the turn
// followed for each heading, and the best single heading is a row of its own
// unless it was marked. Marks go before curves.
//
// A row's value is that of what was measured there; whether what was not could
// make it the best is its Standing. A channel that was measured nowhere says
// nothing of any place.
//
// The order in which anything is given makes no difference.
func Rank(spots []site.Spot, turns []site.TurnRecord, wanted []site.Want, o site.Options) *Ranking {
	f := newField(spots, turns, wanted, o)
	r := &Ranking{
		Options: o, SpreadDB: f.world.spreadDB, Wanted: f.wanted, NotEnough: f.notEnough, Nowhere: f.nowhere,
		Unmeasured: f.unmeasured, OtherStandard: f.otherStandard, Headings: f.headings,
	}
	for i := range f.spots {
		c := &f.spots[i]
		r.Rows = append(r.Rows, Row{Spot: c.spot, Turn: c.turn, Serving: f.serving(c.beliefs)})
	}
	order := make([]int, len(r.Rows))
	for i := range order {
		order[i] = i
	}
	slices.SortFunc(order, func(a, b int) int {
		return cmp.Or(cmp.Compare(r.Rows[b].Value, r.Rows[a].Value), r.Rows[a].Spot.Compare(r.Rows[b].Spot))
	})
	r.Rows = f.place(r.Rows, order)
	if len(r.Rows) > 0 {
		if len(r.Rows) > 1 {
			r.Versus = r.Against(&r.Rows[0], &r.Rows[1])
		}
		r.GivenUp, r.Next = f.givenUp(r.Rows), f.next(r.Rows)
		r.Pair = f.pair(r)
	}
	return r
}

// place puts rows in order and gives them their ranks and standings.
func (f *field) place(unordered []Row, order []int) []Row {
	rows := make([]Row, 0, len(order))
	var leaders [][]belief
	for i, from := range order {
		row, mine := unordered[from], f.spots[from].beliefs
		row.Standing, row.BestAhead = Best, 0.5
		if i > 0 {
			c := f.compare(mine, leaders[0])
			row.Standing, row.BestAhead = c.standing, c.behind
			row.Measure, row.CouldGain, row.Promise = c.measure, c.most, c.promise
		}
		for j, l := range leaders {
			if f.compare(mine, l).standing == Equal {
				row.Rank = j + 1
				break
			}
		}
		if row.Rank == 0 {
			leaders = append(leaders, mine)
			row.Rank = len(leaders)
		}
		rows = append(rows, row)
	}
	// So far a rank is the number of its leader. Rows that joined it from
	// farther down come before the next.
	slices.SortStableFunc(rows, func(a, b Row) int { return cmp.Compare(a.Rank, b.Rank) })
	leader, first := 0, 0
	for i := range rows {
		if rows[i].Rank != leader {
			leader, first = rows[i].Rank, i
		}
		rows[i].Rank = first + 1
	}
	return rows
}
