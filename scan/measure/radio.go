package measure

import (
	"math"
	"slices"

	"rooftone/dsp/decibel"
	"rooftone/dsp/robust"
	"rooftone/dsp/vsb"
	"rooftone/scan/character"
	"rooftone/scan/listen"
)

// What of a radio's character no longer fits: Result.Misfits.
const (
	MisfitClock    = "clock"
	MisfitPassband = "pass band"
	MisfitFolding  = "folding"
)

const (
	// clockMovesPPM is how far, as a standard uncertainty, a crystal is from where
	// an examination left it: cold or warm, and in another season.
	clockMovesPPM = 3

	// misfitSigmas is how many standard uncertainties make a misfit.
	misfitSigmas = 4

	// foldingKnownDB is how well one frequency's folding is known from another's.
	foldingKnownDB = 1
)

// knownRadio is what is known of the radio beforehand, and what of it turned out
// not to fit. A nil one is a radio of which nothing is known.
type knownRadio struct {
	*character.Character
	misfits []string
}

func newKnownRadio(c *character.Character) *knownRadio {
	if c == nil {
		return nil
	}
	return &knownRadio{Character: c}
}

func (k *knownRadio) misfit(what string) {
	if !slices.Contains(k.misfits, what) {
		k.misfits = append(k.misfits, what)
	}
}

// clock is what an examination promises of the clock; nil for nothing.
func (k *knownRadio) clock() *Clock {
	if k == nil || k.ClockPPM == nil {
		return nil
	}
	const minutes = 3 // of drifting on
	spread := math.Hypot(k.ClockPPM.Sigma, clockMovesPPM)
	if d := k.DriftPPMPerMinute; d != nil {
		spread = math.Hypot(spread, minutes*d.Value)
	}
	return &Clock{PPM: Estimate{k.ClockPPM.Value, spread}, Prior: true}
}

// findClock finds the clock, with what is known of it: lines that nothing confirms
// count only where it may be, stations that training confirms always, and where
// there is nothing to go by it is the one that is known.
func (k *knownRadio) findClock(all []evidence) *Clock {
	prior := k.clock()
	if prior == nil {
		return findClock(all, nil)
	}
	found := findClock(all, prior)
	if found == nil {
		return prior
	}
	if math.Abs(found.PPM.Value-prior.PPM.Value) > misfitSigmas*math.Hypot(found.PPM.Sigma, prior.PPM.Sigma) {
		k.misfit(MisfitClock)
	}
	return found
}

// allows reports whether a clock error is one that what is known allows.
func (c *Clock) allows(ppm float64) bool {
	return c == nil || math.Abs(ppm-c.PPM.Value) <= misfitSigmas*c.PPM.Sigma
}

// knows reports whether the character tells of a sample rate.
func (k *knownRadio) knows(rateHz float64) bool {
	const near = 0.01
	return k != nil && math.Abs(rateHz/k.RateHz-1) < near
}

// passband takes what is known where the slices tell nothing, and else notes whether
// they agree.
func (k *knownRadio) passband(found Passband, rateHz float64) Passband {
	if !k.knows(rateHz) {
		return found
	}
	values := make([]float64, passbandParts)
	sigma := k.StrayDB
	for i := range values {
		share := ((2*float64(i)+1)/passbandParts - 1) * 2 * listen.UsableShare
		f, ok := k.At(share)
		if !ok {
			return found
		}
		values[i] = f.Value
		sigma = math.Max(sigma, f.Sigma)
	}
	if found.coefficients == nil {
		coefficients, rest := fitChebyshev(values, passbandDegree)
		p := Passband{coefficients: coefficients, SigmaDB: math.Hypot(rest, sigma)}
		p.coefficients[0] -= p.At(0, 1)
		// A shape that is known worse than flat is taken for is of no use.
		if p.SigmaDB < math.Max(unknownPassbandDB, spreadOf(values)) {
			return p
		}
		return found
	}
	// Near the ends what folds in is still in what was found, and both are 0 in
	// the middle only as well as they are known there.
	const inner, leastDB = 0.8, 0.25
	var apart []float64
	for i, v := range values {
		share := ((2*float64(i)+1)/passbandParts - 1) * 2 * listen.UsableShare
		if math.Abs(share) < inner {
			apart = append(apart, v-found.At(share*rateHz/2, rateHz))
		}
	}
	if spreadOf(apart) > math.Max(leastDB, misfitSigmas*math.Hypot(sigma, found.SigmaDB)) {
		k.misfit(MisfitPassband)
	}
	return found
}

// spreadOf is the root mean square of values from their median.
func spreadOf(x []float64) float64 {
	middle := robust.Median(slices.Clone(x))
	var sum float64
	for _, v := range x {
		sum += (v - middle) * (v - middle)
	}
	return math.Sqrt(sum / float64(max(1, len(x))))
}

// folding is what is known of a rate's folding, at vsb.FoldedShare.
func (k *knownRadio) folding(rateHz float64) (dB, sigmaDB float64, ok bool) {
	if !k.knows(rateHz) {
		return 0, 0, false
	}
	f := k.Folding(vsb.FoldedShare)
	if f == nil {
		return 0, 0, false
	}
	return f.Value, math.Hypot(f.Sigma, foldingKnownDB), true
}

// settle takes what is known of folding unless the slices tell of another, which is
// noticed where enough of them do.
func (k *knownRadio) settle(found folding, rateHz float64) folding {
	dB, sigmaDB, ok := k.folding(rateHz)
	if !ok {
		return found
	}
	// What training tells of it reads some dB high, and of few slices anything.
	const enough, leastDB = 6, 8
	if found.known && math.Abs(decibel.Of(found.share)-dB) > math.Max(leastDB, misfitSigmas*math.Hypot(sigmaDB, foldingSigma*decibel.PerNeper)) {
		if found.ends >= enough {
			k.misfit(MisfitFolding)
		}
		return found
	}
	return folding{share: decibel.Power(dB), slope: found.slope, known: true}
}

// ownTone names the radio's own tone that stands at a place of every slice, "" for
// none.
func (k *knownRadio) ownTone(rateHz, offsetHz, widthHz float64) string {
	if !k.knows(rateHz) {
		return ""
	}
	const nearHz = 400 // as well as a place is known
	for _, t := range k.Tones {
		if t.Kind == character.ToneFollows && math.Abs(t.Hz-offsetHz) < math.Max(nearHz, widthHz) {
			return "a tone of the radio's own"
		}
	}
	return ""
}
