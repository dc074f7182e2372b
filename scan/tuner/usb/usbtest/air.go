package usbtest

import (
	"context"
	"slices"
	"sync"
	"testing"
	"time"

	"rooftone/dsp/air"
	"rooftone/scan/tuner"
	"rooftone/scan/tuner/internal/standin"
	"rooftone/scan/tuner/sim"
)

// Pattern is an Air whose samples tell where they come from: they are those of the
// stand-in librtlsdr, so that standin.Check finds a gap or a wrong frequency in them.
type Pattern struct{ count byte }

// Hear is Air's. Time that goes by unheard is a gap.
func (p *Pattern) Hear(s Setting, _ time.Duration, dst []complex64) error {
	i := standin.Sample(s.CenterHz)
	if !s.Locked {
		i = 0
	}
	for k := range dst {
		dst[k] = complex(tuner.FromByte(i), tuner.FromByte(p.count))
		p.count += standin.Step
	}
	return nil
}

// Streets is an Air over a simulated town.
type Streets struct {
	mu     sync.Mutex
	tuner  *sim.Tuner
	at     Setting
	filter *air.FIR // nil where the tuner's filter is the one that goes with the rate
}

// Town returns the Air of a simulated town. Its radio's gain steps are the tuner
// chip's; rounding to eight bits is the dongle's.
func Town(t testing.TB, town sim.Town) *Streets {
	t.Helper()
	town.Radio.Bits = 0
	radio, err := sim.New(town, sim.Options{Unsettled: true, GainsDB: allGainsDB()})
	if err != nil {
		t.Fatal(err)
	}
	return &Streets{tuner: radio}
}

// allGainsDB are the gains that any two indices give, ascending.
func allGainsDB() []float64 {
	var all []int
	for _, lna := range lnaTenths {
		for _, mixer := range mixerTenths {
			all = append(all, lna+mixer)
		}
	}
	slices.Sort(all)
	all = slices.Compact(all)
	out := make([]float64, len(all))
	for i, g := range all {
		out[i] = float64(g) / 10
	}
	return out
}

// Hear is Air's.
func (a *Streets) Hear(s Setting, idle time.Duration, dst []complex64) error {
	a.mu.Lock()
	defer a.mu.Unlock()
	ctx := context.Background()
	if s.CenterHz == a.at.CenterHz && s.RateHz == a.at.RateHz && s.GainDB == a.at.GainDB {
		if err := a.skip(ctx, int(idle.Seconds()*s.RateHz)); err != nil {
			return err
		}
	} else {
		a.tuner.Wait(idle)
		// A hair less than the rate, which the town's radio rounds to what it is.
		to := tuner.Tuning{CenterHz: s.CenterHz, RateHz: s.RateHz * (1 - 1e-10), GainDB: s.GainDB}
		if err := a.tuner.Tune(ctx, to); err != nil {
			return nil // it cannot be there: silence
		}
	}
	if s.FilterLowHz != a.at.FilterLowHz || s.FilterHighHz != a.at.FilterHighHz || s.RateHz != a.at.RateHz || s.FIR != a.at.FIR {
		a.filter = s.filter()
	}
	a.at = s
	b, err := a.tuner.Read(ctx, dst)
	if a.filter != nil {
		a.filter.Apply(b.Samples)
	}
	return err
}

// skip lets n samples go by unheard.
func (a *Streets) skip(ctx context.Context, n int) error {
	var x [chunkSamples]complex64
	for ; n > 0; n -= len(x) {
		if _, err := a.tuner.Read(ctx, x[:min(n, len(x))]); err != nil {
			return err
		}
	}
	return nil
}
