package watch

import (
	"context"
	"math"
	"slices"

	"rooftone/scan/tuner"
)

const (
	// pulseBin is how many samples are averaged over, 13 µs at 2.4 MS/s: a
	// spark and what the radio's filters make of it.
	pulseBin = 32

	// A bin stands out when it has this many times the usual power, and is this
	// many times farther from it than the bins scatter. The mean of 32 samples of
	// Gaussian noise has three times its mean with a probability of 1e-14; a
	// signal that fills little of the slice scatters more.
	pulseTimes   = 3.0
	pulseScatter = 12.0

	// pulseFewest bins in a stay make noise in pulses of what may be a click.
	pulseFewest = 2
)

// listener is a Tuner that notices noise in short pulses in what is read. Weak
// pulses hide under a strong station, but there they do little harm too.
type listener struct {
	tuner.Tuner
	powers, sorted []float64
	pulses         int // bins that stood out in the last run of samples
}

// Rates is tuner.Rated's; none where the radio says nothing of them.
func (l *listener) Rates() tuner.Rates {
	if r, ok := l.Tuner.(tuner.Rated); ok {
		return r.Rates()
	}
	return nil
}

// Read implements tuner.Tuner.
func (l *listener) Read(ctx context.Context, dst []complex64) (tuner.Block, error) {
	b, err := l.Tuner.Read(ctx, dst)
	l.pulses = l.count(b.Samples)
	return b, err
}

// impulsive reports whether there were pulses in the last run of samples.
func (l *listener) impulsive() bool { return l.pulses >= pulseFewest }

// count counts the bins that stand out.
func (l *listener) count(x []complex64) int {
	n := len(x) / pulseBin
	if n < 64 {
		return 0
	}
	l.powers = slices.Grow(l.powers[:0], n)[:n]
	for i := range l.powers {
		var sum float32
		for _, z := range x[i*pulseBin : (i+1)*pulseBin] {
			sum += real(z)*real(z) + imag(z)*imag(z)
		}
		l.powers[i] = float64(sum)
	}
	l.sorted = append(l.sorted[:0], l.powers...)
	slices.Sort(l.sorted)
	usual := middle(l.sorted)
	// From the median to the upper quartile is 0.674 of a standard deviation;
	// what pulses add lies above.
	scatter := (l.sorted[3*n/4] - usual) / 0.6745
	least := math.Max(pulseTimes*usual, usual+pulseScatter*scatter)
	if !(least > 0) {
		return 0
	}
	first, _ := slices.BinarySearch(l.sorted, least)
	return n - first
}
