package sim

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"rooftone/scan/band"
	"rooftone/scan/tuner"
)

// BenchmarkSlice measures one slice of 2.4 MS/s with a station and two echoes.
func BenchmarkSlice(b *testing.B) {
	town := Town{Name: "x", Stations: []Station{{RFChannel: 20, LevelDBm: -70, Echoes: []Echo{
		{DelayUS: 1.2, LevelDB: -8, PhaseDeg: 30}, {DelayUS: 4.4, LevelDB: -13, PhaseDeg: -100},
	}}}}
	s := open(b, town, Options{})
	take(b, s, 509e6, 2.4e6, 30, 1)
	x := make([]complex64, 24_000)
	b.ReportAllocs()
	for b.Loop() {
		if _, err := s.Read(ctx, x); err != nil {
			b.Fatal(err)
		}
	}
	rate := float64(len(x)) * float64(b.N) / b.Elapsed().Seconds()
	b.ReportMetric(rate/1e6, "MS/s")
	b.ReportMetric(rate/2.4e6, "×real-time")
}

// BenchmarkVacant measures a slice with nothing but noise and the radio.
func BenchmarkVacant(b *testing.B) {
	s := open(b, Town{Name: "x"}, Options{})
	take(b, s, 509e6, 2.4e6, 30, 1)
	x := make([]complex64, 24_000)
	b.ReportAllocs()
	for b.Loop() {
		if _, err := s.Read(ctx, x); err != nil {
			b.Fatal(err)
		}
	}
	b.ReportMetric(float64(len(x))*float64(b.N)/b.Elapsed().Seconds()/1e6, "MS/s")
}

// BenchmarkSweep measures a visit of every channel of the built-in towns: 105
// stays of 60 ms.
func BenchmarkSweep(b *testing.B) {
	for _, name := range []string{"harbour", "valley", "city"} {
		b.Run(name, func(b *testing.B) {
			town, err := Load(name)
			require.NoError(b, err)
			x := make([]complex64, 144_000)
			for b.Loop() {
				s := open(b, town, Options{})
				for _, c := range band.Plans()[0].Channels {
					for _, offset := range []float64{1e6, 3e6, 5e6} {
						to := tuner.Tuning{CenterHz: c.LowerHz + offset, RateHz: 2.4e6, GainDB: 30}
						if err := s.Tune(ctx, to); err != nil {
							b.Fatal(err)
						}
						if _, err := s.Read(ctx, x); err != nil {
							b.Fatal(err)
						}
					}
				}
				require.InDelta(b, 105*66e-3, s.Elapsed().Seconds(), float64(time.Millisecond))
			}
		})
	}
}
