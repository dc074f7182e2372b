package vsb

import "math"

// Samples go missing now and then, and many radios say nothing of it. A station's
// fields then come too early from there on, by a whole number of samples. That is
// noticed by the training: it is not where the field before promises it, and stands
// somewhere earlier instead.

const (
	// gapScore is the score from which a place holds training for certain: of the
	// 60 000 places of a field noise has one in 2e8 stays.
	gapScore = 30

	// gapDrop is by how much a field's score must fall short of that of the field
	// before, for it to be sought elsewhere. Two stations on one channel have high
	// scores in two places, but in every field alike.
	gapDrop = 3

	// gapAlike is by how much it may be less in its new place.
	gapAlike = 4

	// gapSplit is how much of the score in the new place the old one may have. Where
	// it has more, the gap lies within the training, and the field is of no use.
	gapSplit = 0.25

	// gapCarrierHz is how well a carrier is known by then.
	gapCarrierHz = 300

	// leastGap is the shortest gap that is told from an echo.
	leastGap = 50e-6 // seconds

	// Where nothing is found instead, a field of so much less than the field before,
	// which is surely one, is left out: most of it may be in the gap.
	gapNothing, gapSurely = 8, 20
)

// gaps are what is missing before each field of a stay, as far as it was found. All
// lists begin with order -1.
type gaps struct {
	surest int       // the order of the field by which the others are placed
	at     []float64 // where fields are, in samples
	moved  []float64 // by so many samples fields come later than promised
	broken []bool    // fields that are of no use, or of which nothing is known
}

func (g *gaps) before(order int) float64 {
	if len(g.moved) == 0 {
		return 0
	}
	return g.moved[max(0, min(order+1, len(g.moved)-1))]
}

func (g *gaps) breaks(order int) bool {
	return len(g.broken) > 0 && g.broken[max(0, min(order+1, len(g.broken)-1))]
}

// tear has a field left out from now on.
func (g *gaps) tear(order, fields int) {
	if len(g.broken) == 0 {
		g.moved, g.broken = make([]float64, fields+2), make([]bool, fields+2)
	}
	g.broken[max(0, min(order+1, len(g.broken)-1))] = true
}

// settle finds how many samples are missing, now that the clock is known better: a
// whole number. Fields for which the clock leaves that open are left out.
func (g *gaps) settle(s *sighting, layout *layout, low, high float64) {
	if len(g.at) == 0 {
		return
	}
	const sure = 0.35 // samples
	const fieldSeconds = FieldSymbols / SymbolRateHz
	clock := (low + high) / 2
	step{clock: clock - s.clock, middle: float64(g.surest) * fieldSeconds}.apply(s, layout)
	for i, at := range g.at {
		if g.moved[i] == 0 {
			continue
		}
		away := float64(i-1-g.surest) * fieldSeconds * layout.rateHz
		g.moved[i] = math.Round(at - g.at[g.surest+1] - away*(1+clock))
		if math.Abs(away)*(high-low)/2 > sure {
			g.broken[i] = true
		}
	}
}

// findGaps looks for what is missing between the fields of a sighting, with the
// scores of its carrier. The field that is surest stays where it is.
func (s *search) findGaps(best *sighting) gaps {
	period := FieldSymbols / SymbolRateHz * s.layout.rateHz * (1 + best.clock)
	f := fieldFinder{search: s, period: period, odd: best.odd}
	first := best.first - float64(s.guard)
	surest, most := 0, float32(-1)
	for k := range best.fields {
		if _, v := f.near(k, first+float64(k)*period); v > most {
			surest, most = k, v
		}
	}
	// With what is missing another field may come into the stay at either end.
	count := best.fields + 2
	out := gaps{surest, make([]float64, count), make([]float64, count), make([]bool, count)}
	out.at[surest+1], _ = f.near(surest, first+float64(surest)*period)
	found := false
	for _, way := range []int{1, -1} {
		moved, last := 0.0, surest // that is sound
		at, before := out.at[surest+1], most
		for k := surest + way; k >= -1 && k <= best.fields; k += way {
			place := at + float64(k-last)*period
			next, broken := f.next(k, place, before, way)
			if place >= 0 && place < float64(len(s.score[0])) {
				found = found || next.jump != 0 || broken
			} else if next.jump == 0 {
				broken = true
			}
			if !broken {
				moved += next.jump
				at, before, last = next.at, next.score, k
			}
			out.at[k+1], out.moved[k+1], out.broken[k+1] = next.at, moved, broken
		}
	}
	if !found {
		return gaps{}
	}
	return out
}

// fieldFinder finds a stay's fields one after the other.
type fieldFinder struct {
	*search
	period float64
	odd    bool // the kind of the first
}

// fieldPlace is where a field stands, and by how much it is not where it should be.
type fieldPlace struct {
	at, jump float64
	score    float32
}

// next finds a field that should stand at a place, one before or behind a field
// that has a score.
func (f *fieldFinder) next(order int, place float64, before float32, way int) (fieldPlace, bool) {
	at, here := f.near(order, place)
	if here > before/gapDrop {
		return fieldPlace{at: at, score: here}, false
	}
	least := leastGap * f.layout.rateHz
	low, high := place-f.period+float64(f.length), place-least
	if way < 0 { // the earlier field comes later than it should
		low, high = place+least, place+f.period-float64(f.length)
	}
	elsewhere, there := f.highest(order, low, high)
	switch {
	case there > gapScore && there > here && there > before/gapAlike:
		jump := math.Round(elsewhere - place)
		return fieldPlace{elsewhere, jump, there}, float64(here) > gapSplit*float64(there)
	case before > gapSurely && here < before/gapNothing:
		return fieldPlace{at: place}, true
	}
	return fieldPlace{at: at, score: here}, false
}

// scoresOf are those of a field's kind.
func (f *fieldFinder) scoresOf(order int) []float32 {
	if f.odd == (order%2 == 0) {
		return f.score[0]
	}
	return f.score[1]
}

// near is the highest score within two samples of a place, and where its summit is.
func (f *fieldFinder) near(order int, place float64) (at float64, score float32) {
	const reach = 2
	if at, score = f.highest(order, place-reach, place+reach); score == 0 {
		return place, 0
	}
	return at, score
}

// highest is the highest score between two places.
func (f *fieldFinder) highest(order int, low, high float64) (at float64, score float32) {
	v := f.scoresOf(order)
	best := -1
	for i := max(0, int(math.Ceil(low))); i <= min(len(v)-1, int(math.Floor(high))); i++ {
		if v[i] > score {
			best, score = i, v[i]
		}
	}
	if best < 0 {
		return 0, 0
	}
	at = float64(best)
	if best > 0 && best+1 < len(v) {
		at += summit(float64(v[best-1]), float64(v[best]), float64(v[best+1]))
	}
	return at, score
}

// tear leaves out the fields within whose training something is missing, as the last
// fit shows: to one side of it they are as far from the fit as another signal. It
// reports whether there are any.
func (t *Trainer) tear(s *sighting) bool {
	torn := false
	for i := range t.fields {
		if f := &t.fields[i]; t.torn(f) {
			s.gaps.tear(f.order, s.fields)
			torn = true
		}
	}
	return torn
}

func (t *Trainer) torn(f *fieldSync) bool {
	const (
		parts     = 8   // a side of fewer points tells nothing
		unlike    = 0.5 // what is left there, relative to the fit
		asMuchAs  = 4   // and to what is left on the other side
		neverLess = 1e-3
	)
	n := t.layout.points
	rest, fit := make([]complex128, n), make([]complex128, n)
	t.residual(rest, f)
	t.pursuit.fit(fit, f.parity)
	allRest, allFit := norm2(rest), norm2(fit)
	var sumRest, sumFit float64
	for k := range n {
		sumRest += real(rest[k])*real(rest[k]) + imag(rest[k])*imag(rest[k])
		sumFit += real(fit[k])*real(fit[k]) + imag(fit[k])*imag(fit[k])
		if k+1 < n/parts || k+1 > n-n/parts {
			continue
		}
		before, behind := float64(k+1), float64(n-k-1)
		for _, side := range [2]struct{ rest, fit, points, other, others float64 }{
			{sumRest, sumFit, before, allRest - sumRest, behind},
			{allRest - sumRest, allFit - sumFit, behind, sumRest, before},
		} {
			if side.rest > unlike*side.fit && side.rest/side.points > asMuchAs*math.Max(side.other/side.others, neverLess*side.fit/side.points) {
				return true
			}
		}
	}
	return false
}
