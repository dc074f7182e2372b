package psd

import (
	"errors"
	"fmt"
	"math"
	"math/bits"
	"math/cmplx"
	"slices"
)

// Line is a tone at a place that is known beforehand, and what lies around it.
type Line struct {
	OffsetHz, SigmaHz float64 // from the middle of the samples' band
	Power             float64 // FS²
	SigmaDB           float64 // standard uncertainty of Power
	Density           float64 // of what lies around, FS²/Hz

	// OverNoise is how far the line stands above what lies around it in the
	// bandwidth that the samples resolve, as a ratio of powers: below some 15 it
	// may be noise.
	OverNoise float64
}

const (
	lineReachHz  = 1500 // around a line, to read the noise from
	lineTapsHops = 4    // the decimation's window is so many of its steps long
	linePad      = 4
)

// FindLine returns the strongest tone within reachHz of an offset from the middle
// of samples' band. The samples are mixed to it, filtered and decimated, and
// transformed at once under a Hann window: with n samples the tone's amplitude is
// within 0.1 dB of the best that n samples allow (1.8 dB of noise more), as long as
// its frequency keeps within rate/n. A tone whose alias stands there is such a tone.
func FindLine(x []complex64, rateHz, offsetHz, reachHz float64) (Line, error) {
	const leastPoints = 64
	if !(rateHz > 0) || !(reachHz > 0 && reachHz < lineReachHz/2) {
		return Line{}, fmt.Errorf("looking for a line: %g Hz around %g Hz at %g samples a second", reachHz, offsetHz, rateHz)
	}
	hop := max(1, int(rateHz/(8*lineReachHz)))
	if len(x) < hop*(leastPoints+lineTapsHops) {
		return Line{}, errors.New("looking for a line: too few samples")
	}
	at := offsetHz
	var l Line
	// The second time it stands in the middle of the filter.
	for range 2 {
		z := decimateAround(x, at/rateHz, hop)
		shift, err := l.read(z, rateHz/float64(hop), reachHz-math.Abs(at-offsetHz)+1)
		if err != nil {
			return Line{}, err
		}
		at += shift
	}
	l.OffsetHz = at
	return l, nil
}

// decimateAround mixes a frequency, in cycles per sample, to 0 and keeps one
// sample in hop of what a Hann window of four hops lets through.
func decimateAround(x []complex64, frequency float64, hop int) []complex128 {
	window := make([]float64, lineTapsHops*hop)
	for i := range window {
		s := math.Sin(math.Pi * (float64(i) + 0.5) / float64(len(window)))
		window[i] = s * s / (float64(len(window)) / 2)
	}
	out := make([]complex128, (len(x)-len(window))/hop+1)
	turned := make([]complex128, len(x))
	step := cmplx.Rect(1, -2*math.Pi*frequency)
	var w complex128
	for i, s := range x {
		if i%hop == 0 { // exact again, so that no error adds up
			w = cmplx.Rect(1, -2*math.Pi*math.Mod(frequency*float64(i), 1))
		}
		turned[i] = complex128(s) * w
		w *= step
	}
	for k := range out {
		var sum complex128
		for i, h := range window {
			sum += turned[k*hop+i] * complex(h, 0)
		}
		out[k] = sum
	}
	return out
}

// read finds the strongest tone within reachHz of 0 and what lies around it. It
// returns its frequency.
func (l *Line) read(z []complex128, rateHz, reachHz float64) (float64, error) {
	n := 1 << bits.Len(uint(linePad*len(z)-1))
	plan, err := NewFFT(n)
	if err != nil {
		return 0, err
	}
	work := make([]complex64, n)
	var sum, squares float64
	for i, s := range z {
		h := math.Sin(math.Pi * (float64(i) + 0.5) / float64(len(z)))
		h *= h
		sum, squares = sum+h, squares+h*h
		work[i] = complex64(s * complex(h, 0))
	}
	if err := plan.Transform(work, work); err != nil {
		return 0, err
	}
	power := func(k int) float64 {
		v := complex128(work[(k%n+n)%n])
		return (real(v)*real(v) + imag(v)*imag(v)) / (sum * sum)
	}
	step := rateHz / float64(n)
	reach := int(reachHz / step)
	best := 0
	for k := -reach; k <= reach; k++ {
		if power(k) > power(best) {
			best = k
		}
	}
	bandwidth := squares / (sum * sum) * rateHz
	var around []float64
	clear := 4 * bandwidth
	for k := -int(lineReachHz / step); k <= int(lineReachHz/step); k += linePad {
		if math.Abs(float64(k-best))*step > clear {
			around = append(around, power(k)/lineFilter(float64(k)*step, rateHz))
		}
	}
	if len(around) == 0 {
		return 0, errors.New("looking for a line: the samples resolve too little")
	}
	slices.Sort(around)
	noise := around[len(around)/2] / math.Ln2 // the median of an exponential variable
	top := power(best)
	shift := 0.0
	if before, after := math.Log(power(best-1)/top), math.Log(power(best+1)/top); before+after < 0 && !math.IsInf(before+after, 0) {
		shift = math.Max(-0.5, math.Min(0.5, (before-after)/(2*(before+after))))
		top *= math.Exp(shift * (after - before) / 4)
	}
	l.Density = noise / bandwidth
	l.OverNoise = math.Inf(1)
	l.Power, l.SigmaDB, l.SigmaHz = math.Max(top-noise, 0), 0, 0
	if noise > 0 {
		l.OverNoise = top / noise
		tone := math.Max(l.Power, noise/10)
		l.SigmaDB = 10 / math.Ln10 * math.Sqrt(noise*(2*tone+noise)) / tone
		// The Cramér–Rao bound, and what the window costs.
		const window = 2.2
		seconds := float64(len(z)) / rateHz
		l.SigmaHz = math.Sqrt(window * 6 * l.Density / tone / (seconds * seconds * seconds) / (4 * math.Pi * math.Pi))
	}
	return (float64(best) + shift) * step, nil
}

// lineFilter is the power response of decimateAround's window at a frequency.
func lineFilter(hz, rateHz float64) float64 {
	u := hz / rateHz * lineTapsHops
	if math.Abs(u) < 1e-9 {
		return 1
	}
	if math.Abs(math.Abs(u)-1) < 1e-9 {
		return 0.25
	}
	a := math.Sin(math.Pi*u) / (math.Pi * u) / (1 - u*u)
	return math.Max(a*a, 1e-4)
}
