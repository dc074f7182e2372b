package site

import (
	"cmp"
	"math"
	"slices"

	"rooftone/scan/measure"
)

// Ranking says which spot serves the wanted channels best.
type Ranking struct {
	Options Options
	Wanted  []Want // that count: of importance 1 and more

	// Rows are the spots, the best first. See Rank for their order.
	Rows []Row

	// The wanted channels with something to say about all places together.
	NotEnough  []int // decoded somewhere, with enough margin nowhere
	Nowhere    []int // decoded nowhere
	Unmeasured []int // measured nowhere
}

// Row is one spot in a Ranking.
type Row struct {
	Spot *Spot

	// Rank is 1 for the best and for those that cannot be told apart from it.
	// Of the others again the best, and those that cannot be told apart from
	// it, share a rank, which is one more than the number of rows before them;
	// and so on.
	Rank int

	// BestAhead is the probability that the first row serves better than this
	// one: 0.5 for itself.
	BestAhead float64

	Serving
}

// Serving is what one spot, or two together, give of the wanted channels.
type Serving struct {
	Enough     []int   // wanted channels with enough margin
	Short      []int   // with a margin, not enough of it
	Absent     []int   // not there, or too weak to say how weak
	Unmeasured []int   // not measured here
	Expected   float64 // expected number with enough, given the uncertainties
	Score      float64 // what rows are ordered by

	// Weakest is the weakest of the wanted channels that are there; nil when
	// none is. A channel that no place gives cannot be it.
	Weakest *Weakest
}

// Weakest is a channel and its margin.
type Weakest struct {
	RFChannel int
	Margin    measure.Estimate
}

// Rank orders spots by how well they serve the wanted channels: first by the
// number of them with enough margin, then by the weakest.
//
// Both are uncertain. So rows are in the order of an expected score, in which
// a channel with enough margin counts with its probability and the weakest
// counts for less than any channel; where margins are certain, the order is
// exactly the rule's. A spot shares the rank of a better one unless the better
// one serves better, by the rule, with a probability of Options.Confidence.
//
// A channel of importance n counts as n channels; for the weakest, all that
// are wanted count alike, and the least important one can spoil it. One of
// importance 0 is left out. A channel that no place decodes cannot be the
// weakest, since it would drown what the places differ in. A wanted channel
// that was not measured at a spot counts there as not given; but when spots
// are told apart it is taken as unknown.
//
// The order of spots and wanted channels in the lists makes no difference, and
// neither does a spot that is nowhere better than another.
func Rank(spots []Spot, wanted []Want, o Options) Ranking {
	f := newField(spots, wanted, o)
	r := Ranking{Options: o, Wanted: f.wanted, NotEnough: f.notEnough, Nowhere: f.nowhere, Unmeasured: f.unmeasured}
	for i := range spots {
		r.Rows = append(r.Rows, Row{Spot: &spots[i], Serving: f.serving(f.margins[i])})
	}
	order := make([]int, len(r.Rows))
	for i := range order {
		order[i] = i
	}
	slices.SortFunc(order, func(a, b int) int {
		return cmp.Or(cmp.Compare(r.Rows[b].Score, r.Rows[a].Score), bySpot(*r.Rows[a].Spot, *r.Rows[b].Spot))
	})
	rows := make([]Row, len(order))
	var leaders []outcome
	for i, from := range order {
		row := &rows[i]
		*row = r.Rows[from]
		out := f.outcome(f.margins[from])
		row.BestAhead = 0.5
		for j, l := range leaders {
			ahead := better(l, out)
			if j == 0 {
				row.BestAhead = ahead
			}
			if ahead < o.Confidence {
				row.Rank = j + 1
				break
			}
		}
		if row.Rank == 0 {
			leaders = append(leaders, out)
			row.Rank = len(leaders)
		}
	}
	// So far a rank is the number of its leader. Rows that joined it from
	// farther down by score come before the next.
	slices.SortStableFunc(rows, func(a, b Row) int { return cmp.Compare(a.Rank, b.Rank) })
	leader, first := 0, 0
	for i := range rows {
		if rows[i].Rank != leader {
			leader, first = rows[i].Rank, i
		}
		rows[i].Rank = first + 1
	}
	r.Rows = rows
	return r
}

// field is spots prepared to be compared.
type field struct {
	*contest
	wanted  []Want     // that count, ascending by RF channel
	margins [][]margin // of each spot, in the order of wanted

	notEnough, nowhere, unmeasured []int
}

func newField(spots []Spot, wanted []Want, o Options) *field {
	f := &field{}
	for _, w := range wanted {
		if w.Importance > 0 {
			f.wanted = append(f.wanted, w)
		}
	}
	slices.SortFunc(f.wanted, func(a, b Want) int { return cmp.Compare(a.RFChannel, b.RFChannel) })
	for i := range spots {
		f.margins = append(f.margins, f.marginsOf(&spots[i]))
	}
	weight, weakest := make([]int, len(f.wanted)), make([]bool, len(f.wanted))
	decoded := false
	for i, w := range f.wanted {
		weight[i] = w.Importance
		var measured, decodes, enough bool
		for _, list := range f.margins {
			m := list[i]
			measured = measured || m.measured
			decodes = decodes || m.present && m.mean >= 0
			enough = enough || m.present && m.mean >= o.EnoughDB
		}
		weakest[i] = decodes
		decoded = decoded || decodes
		switch {
		case !measured: // that says nothing of any place
			f.unmeasured = append(f.unmeasured, w.RFChannel)
			weight[i] = 0
		case !decodes:
			f.nowhere = append(f.nowhere, w.RFChannel)
		case !enough:
			f.notEnough = append(f.notEnough, w.RFChannel)
		}
	}
	if !decoded { // then the one that comes nearest is all there is
		for i, w := range f.wanted {
			weakest[i] = !slices.Contains(f.unmeasured, w.RFChannel)
		}
	}
	f.contest = newContest(o.EnoughDB, weight, weakest)
	return f
}

// marginsOf lists what is known of the wanted channels at a spot.
func (f *field) marginsOf(s *Spot) []margin {
	list := make([]margin, len(f.wanted))
	for i, w := range f.wanted {
		c, ok := s.Channels[w.RFChannel]
		list[i].measured = ok
		if ok && c.Margin != nil {
			list[i] = margin{measured: true, present: true, mean: c.Margin.Value, sigma: math.Max(c.Margin.Sigma, leastSigmaDB)}
		}
	}
	return list
}

// serving says what margins give.
func (f *field) serving(list []margin) Serving {
	s := Serving{Score: f.score(list)}
	for i, m := range list {
		w := f.wanted[i]
		switch {
		case !m.measured:
			s.Unmeasured = append(s.Unmeasured, w.RFChannel)
			continue
		case !m.present:
			s.Absent = append(s.Absent, w.RFChannel)
			continue
		case m.mean >= f.enough:
			s.Enough = append(s.Enough, w.RFChannel)
		default:
			s.Short = append(s.Short, w.RFChannel)
		}
		s.Expected += m.above(f.enough)
		if f.weakest[i] && (s.Weakest == nil || m.mean < s.Weakest.Margin.Value) {
			s.Weakest = &Weakest{w.RFChannel, measure.Estimate{Value: m.mean, Sigma: m.sigma}}
		}
	}
	return s
}
