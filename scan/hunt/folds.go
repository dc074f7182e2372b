package hunt

import (
	"math"

	"rooftone/dsp/intrude"
	"rooftone/dsp/vsb"
	"rooftone/scan/listen"
)

const (
	// poorFoldDB is what a poor radio lets in from beyond half the rate, at
	// vsb.FoldedShare: 10 dB more than dongles were measured to have.
	poorFoldDB = -12

	// knownFoldDB is by how much more than was found of a radio is allowed for.
	knownFoldDB = 4

	// foldHz is how near to its place an alias stands: the clock drifts a little
	// from one look to the other.
	foldHz = 250

	// foldShare is the part of half the rate from which on a line may be one.
	foldShare = 0.6
)

// foldsAtMost is the most of what lies beyond half the rate that comes back to an
// offset from a slice's middle, as a ratio of powers.
func (e *examination) foldsAtMost(offsetHz, rateHz float64) float64 {
	share := 2 * offsetHz / rateHz
	if c := e.Radio; c != nil && c.RateHz == rateHz {
		if f, ok := c.At(share - math.Copysign(2, share)); ok {
			// Over what the slice itself lets through there, for the spectrum is flattened.
			return linear(f.Value + knownFoldDB + 2*f.Sigma)
		}
	}
	return linear(poorFoldDB) * vsb.FoldingShape(share, 0)
}

// foldedIn is the most, flattened, that may have folded in at an offset from the
// middle of a look.
func (e *examination) foldedIn(l *look, offsetHz float64) float64 {
	most := e.foldsAtMost(offsetHz, l.rateHz)
	const nothing = 1e-5
	if most < nothing {
		return 0
	}
	return most * e.flat(offsetHz, l.rateHz) * e.around(l, l.centerHz+offsetHz-math.Copysign(l.rateHz, offsetHz))
}

// around is the highest density that a look has beside a frequency of the radio's, as
// one look's gain would show it. Where none shows it there may be a station as strong
// as any.
func (e *examination) around(as *look, hz float64) float64 {
	const beside = 20
	most, seen := 0.0, false
	for _, l := range e.looks {
		middle := int(math.Round((hz-l.centerHz)/l.stepHz)) + len(l.density)/2
		if math.Abs(hz-l.centerHz) > listen.UsableShare*l.rateHz || middle < beside || middle+beside > len(l.density) {
			continue
		}
		var sum float64
		for _, v := range l.density[middle-beside : middle+beside] {
			sum += float64(v)
		}
		most, seen = math.Max(most, e.atGain(sum/(2*beside)*e.flat(hz-l.centerHz, l.rateHz), l, as)), true
	}
	if seen {
		return most
	}
	for _, l := range e.looks {
		most = math.Max(most, e.atGain(e.level[l], l, as))
	}
	return most
}

// isFolded reports whether a line at the end of a slice may be nothing but the
// alias of another: a whole rate away stands one that is stronger by as much as a
// poor radio would take from it, or the place is shown by another look as well, at
// which the line is not.
func (e *examination) isFolded(l *look, x intrude.Line) bool {
	if math.Abs(x.Hz) < foldShare*l.rateHz/2 {
		return false
	}
	source := l.centerHz + x.Hz - math.Copysign(l.rateHz, x.Hz)
	most := e.foldsAtMost(x.Hz, l.rateHz)
	for o, lines := range e.found {
		for _, y := range lines {
			if math.Abs(o.centerHz+y.Hz-source) > foldHz || math.Abs(y.Hz) < spikeHz || e.atGain(x.Power, l, o) > most*y.Power*e.flat(y.Hz, o.rateHz) {
				continue
			}
			return true
		}
	}
	return e.denied(l, x)
}

// atGain is a power in a look as another one's gain would show it.
func (e *examination) atGain(power float64, from, to *look) float64 {
	if !from.known || !to.known {
		return power
	}
	return power * linear(to.gainDB-from.gainDB)
}

// denied reports whether another look of the same gain shows a line's place no
// farther out than this one, where the line would surely have been found, and is
// not.
func (e *examination) denied(l *look, x intrude.Line) bool {
	const farther, surely = 0.02, 2
	hz := l.centerHz + x.Hz
	for _, o := range e.looks {
		offset := hz - o.centerHz
		away := math.Abs(offset)
		if o == l || o.known != l.known || o.gainDB != l.gainDB || o.overloaded() || o.averages < l.averages/2 ||
			away < 2*spikeHz || away/o.rateHz > math.Min(listen.UsableShare, math.Abs(x.Hz)/l.rateHz+farther/2) {
			continue
		}
		there := false
		for _, y := range e.found[o] {
			there = there || math.Abs(y.Hz-offset) < foldHz
		}
		if there {
			return false
		}
		power := x.Power * e.flat(x.Hz, l.rateHz) / e.flat(offset, o.rateHz)
		if power/(o.beside(offset)*x.BandwidthHz) > surely*x.Least {
			return true
		}
	}
	return false
}

// beside is the median density around an offset from a look's middle, FS²/Hz.
func (l *look) beside(offsetHz float64) float64 {
	const reach = 30
	middle := int(math.Round(offsetHz/l.stepHz)) + len(l.density)/2
	var work []float64
	for k := max(0, middle-reach); k <= min(len(l.density)-1, middle+reach); k++ {
		work = append(work, float64(l.density[k]))
	}
	return quantile(work, 0.5)
}
