package air

import (
	"fmt"
	"math"
)

// Path is one way from a transmitter to the antenna.
type Path struct {
	DelaySeconds float64
	LevelDB      float64
	PhaseDeg     float64 // at 0 Hz, which is the slice's middle
	DopplerHz    float64
}

// The delays between samples are made by a Kaiser-windowed sinc.
const (
	pathTaps = 48
	pathBeta = 7.5
)

// Paths lets samples come by several paths at once: each output is the sum of
// the input as it was a path's delay ago, times the path's gain. It keeps the
// samples that it still needs; before the first they are 0.
//
// All outputs are PathLatency samples late. The error is below −70 dB of a path for
// frequencies within ±0.4375 of the sample rate; outside them delays between
// samples lose level.
type Paths struct {
	paths   []placed
	history []complex64 // the last reach inputs, oldest first, and room for a call's
	reach   int
	count   int64 // samples so far
}

// placed is a path by where its taps begin.
type placed struct {
	back  int // how many samples before the newest the newest tap is
	taps  [pathTaps]float32
	gain  complex128
	turns float64 // Doppler shift in cycles per sample
}

// PathLatency is by how many samples the output of Paths is late.
const PathLatency = pathTaps / 2

// NewPaths returns the paths for samples of the given rate. Delays are from 0 to
// 10 ms.
func NewPaths(rateHz float64, paths ...Path) (*Paths, error) {
	if !(rateHz > 0) || math.IsInf(rateHz, 0) {
		return nil, fmt.Errorf("making paths at %g samples per second", rateHz)
	}
	p := &Paths{}
	for _, path := range paths {
		if !(path.DelaySeconds >= 0 && path.DelaySeconds <= 10e-3) {
			return nil, fmt.Errorf("making a path of %g s: must be from 0 to 0.01", path.DelaySeconds)
		}
		samples := path.DelaySeconds * rateHz
		whole := math.Floor(samples)
		q := placed{back: int(whole), gain: complex(Amplitude(path.LevelDB), 0) * turns(path.PhaseDeg/360), turns: path.DopplerHz / rateHz}
		for k := range q.taps {
			// Tap k weighs the sample that is back + k before the newest.
			q.taps[k] = float32(kaiserSinc(float64(k)-PathLatency-(samples-whole), pathTaps/2, pathBeta))
		}
		p.paths = append(p.paths, q)
		p.reach = max(p.reach, q.back+pathTaps)
	}
	p.history = make([]complex64, p.reach)
	return p, nil
}

// Apply replaces x by what comes over the paths.
func (p *Paths) Apply(x []complex64) {
	p.history = append(p.history[:p.reach], x...)
	clear(x)
	for _, path := range p.paths {
		for at := 0; at < len(x); at += refresh {
			part := x[at:min(at+refresh, len(x))]
			gain := path.gain * turns(path.turns*float64(p.count+int64(at)))
			spin := turns(path.turns)
			for n := range part {
				newest := p.reach + at + n - path.back
				window := (*[pathTaps]complex64)(p.history[newest-pathTaps+1:])
				var re, im float32
				for k, w := range window {
					h := path.taps[pathTaps-1-k]
					re += h * real(w)
					im += h * imag(w)
				}
				part[n] += complex(re, im) * complex64(gain)
				gain *= spin
			}
		}
	}
	p.count += int64(len(x))
	copy(p.history, p.history[len(p.history)-p.reach:])
}

// kaiserSinc is sin(πd)/(πd) under a Kaiser window of the given half width.
func kaiserSinc(d, half, beta float64) float64 {
	x := d / half
	if math.Abs(x) >= 1 {
		return 0
	}
	s := 1.0
	if d != 0 {
		s = math.Sin(math.Pi*d) / (math.Pi * d)
	}
	return s * besselI0(beta*math.Sqrt(1-x*x)) / besselI0(beta)
}

// besselI0 is the modified Bessel function of the first kind and order 0.
func besselI0(x float64) float64 {
	sum, term := 1.0, 1.0
	for k := 1.0; term > 1e-17*sum; k++ {
		term *= x / 2 / k * (x / 2 / k)
		sum += term
	}
	return sum
}
