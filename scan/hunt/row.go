package hunt

import (
	"fmt"
	"math"
	"slices"

	"gonum.org/v1/gonum/mathext"

	"rooftone/scan/measure"
)

const (
	// rowChance is the probability of taking tones that stand anywhere for a
	// row, all spacings that are tried taken together.
	rowChance = 1e-3

	// leastRow is how many tones make a row, leastSpacingHz the least spacing,
	// and rowSteps how many of them may lie between two neighbours that were
	// found: some are hidden under pilots, or too weak.
	leastRow       = 3
	leastSpacingHz = bunchHz
	rowSteps       = 6

	// mostRowTones bounds the search.
	mostRowTones = 64

	// rowSlackHz is how far off its place in a row a lone tone may be: what its
	// source and the radio's clock drift by between stays.
	rowSlackHz = 150
)

// row is a set of tones that stand evenly.
type row struct {
	members []int   // of the suspects, ascending in frequency
	steps   []int   // how many spacings each is from the first
	hz      float64 // spacing
	sigmaHz float64
	chance  float64
}

// markRows gives the tones that stand in a row one cause, so that they are
// joined: what a switching supply or a clock makes at all its multiples.
func markRows(list []Suspect) {
	var free []int
	for i := range list {
		s := &list[i]
		if (s.Kind == Tone || s.Kind == Carrier) && s.FrequencyHz != nil && s.cause.of == "" && s.WidthHz < carrierHz && len(free) < mostRowTones {
			free = append(free, i)
		}
	}
	slices.SortFunc(free, func(a, b int) int { return int(math.Copysign(1, list[a].FrequencyHz.Value-list[b].FrequencyHz.Value)) })
	for n := 1; ; n++ {
		r, ok := bestRow(list, free)
		if !ok {
			return
		}
		for _, i := range r.members {
			list[i].cause = cause{Tone, fmt.Sprintf("row %d", n)}
			list[i].SpacingHz = &measure.Estimate{Value: r.hz, Sigma: r.sigmaHz}
		}
		free = slices.DeleteFunc(free, func(i int) bool { return slices.Contains(r.members, i) })
	}
}

// bestRow finds the row that chance has least. Two tones and a number of steps
// between them make a spacing; every other tone stands on its grid by chance with
// the share of the grid that its uncertainty takes.
func bestRow(list []Suspect, free []int) (row, bool) {
	tries := float64(rowSteps*len(free)*(len(free)-1)) / 2
	best := row{chance: rowChance}
	for a, i := range free {
		for _, j := range free[a+1:] {
			apart := list[j].FrequencyHz.Value - list[i].FrequencyHz.Value
			for steps := 1; steps <= rowSteps && apart/float64(steps) >= leastSpacingHz; steps++ {
				r := grid(list, free, i, apart/float64(steps))
				others := float64(len(free) - 2)
				hits := float64(len(r.members) - 2)
				if hits < leastRow-2 {
					continue
				}
				share := math.Min(1, 4*rowSlackHz/r.hz)
				r.chance = tries * mathext.RegIncBeta(hits, others-hits+1, share)
				if r.chance < best.chance {
					best = r
				}
			}
		}
	}
	if best.members == nil {
		return row{}, false
	}
	best.fit(list)
	return best, true
}

// grid takes the tones that stand a whole number of spacings from one, without
// gaps of more than rowSteps.
func grid(list []Suspect, free []int, from int, spacingHz float64) row {
	r := row{hz: spacingHz}
	origin := list[from].FrequencyHz.Value
	last := 0
	for _, i := range free {
		at := (list[i].FrequencyHz.Value - origin) / spacingHz
		k := int(math.Round(at))
		slack := rowSlackHz + list[i].WidthHz/4
		if math.Abs(at-float64(k))*spacingHz > slack || 2*slack > spacingHz/4 {
			continue
		}
		if len(r.members) > 0 && k-last > rowSteps {
			if k > 0 && last >= 0 {
				break
			}
			r.members, r.steps = nil, nil // begun too far below
		}
		if len(r.members) > 0 && k == last {
			continue
		}
		r.members, r.steps, last = append(r.members, i), append(r.steps, k), k
	}
	return r
}

// fit takes the spacing from all members, by least squares.
func (r *row) fit(list []Suspect) {
	n := float64(len(r.members))
	var k, f, kk, kf float64
	for i, m := range r.members {
		x, y := float64(r.steps[i]), list[m].FrequencyHz.Value
		k, f = k+x/n, f+y/n
	}
	for i, m := range r.members {
		x, y := float64(r.steps[i])-k, list[m].FrequencyHz.Value-f
		kk, kf = kk+x*x, kf+x*y
	}
	r.hz = kf / kk
	var rest float64
	for i, m := range r.members {
		y := list[m].FrequencyHz.Value - f - r.hz*(float64(r.steps[i])-k)
		rest += y * y
	}
	scatter := math.Max(math.Sqrt(rest/math.Max(1, n-2)), rowSlackHz/5)
	r.sigmaHz = scatter / math.Sqrt(kk)
}

// inARow tells of tones that were joined as a row; their places are known.
func (s *Suspect) inARow() {
	low, high := slices.Min(s.PlacesHz), slices.Max(s.PlacesHz)
	s.Name = fmt.Sprintf("%d tones in a row, %s kHz apart, from %s to %s MHz", len(s.PlacesHz), kilohertz(*s.SpacingHz),
		megahertz(low, s.FrequencyHz.Sigma, 2), megahertz(high, s.FrequencyHz.Sigma, 2))
	s.Evidence = slices.Insert(s.Evidence, 0, "evenly spaced tones are the multiples of one source: a switching supply, a lamp's or charger's electronics, a computer's clock")
	s.Next = "unplug power supplies, chargers and lamps nearby, one after the other: all of the row goes at once"
	s.Cure = "replace what makes it, or put a ferrite on its leads; keep the antenna's lead away from them"
}

// kilohertz writes a frequency in kHz with the digits that are known.
func kilohertz(e measure.Estimate) string { return megahertz(e.Value*1e3, e.Sigma*1e3, 3) }
