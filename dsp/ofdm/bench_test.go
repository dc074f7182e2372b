package ofdm

import (
	"testing"

	"rooftone/dsp/air"
)

func benchmarkSearch(b *testing.B, rateHz, offsetHz, errorHz, uncertaintyHz float64) {
	x := make([]complex64, int(0.3*rateHz))
	air.NewNoise(1).Fill(x, 0.05)
	s, err := NewSearcher(rateHz, offsetHz, len(x))
	if err != nil {
		b.Fatal(err)
	}
	b.ReportAllocs()
	for b.Loop() {
		if _, err := s.Search(x, errorHz, uncertaintyHz); err != nil {
			b.Fatal(err)
		}
	}
}

// BenchmarkSearchKnown is 300 ms of a dongle whose clock is known.
func BenchmarkSearchKnown(b *testing.B) { benchmarkSearch(b, 2.4e6, 3e6, -12345, 200) }

// BenchmarkSearchUnknown is the same with the clock off by up to 60 ppm at 700 MHz.
func BenchmarkSearchUnknown(b *testing.B) { benchmarkSearch(b, 2.4e6, 3e6, 0, 42e3) }

// BenchmarkSearchWide is 300 ms of a radio that sees the whole channel.
func BenchmarkSearchWide(b *testing.B) { benchmarkSearch(b, 20e6, 3e6, -12345, 200) }

func BenchmarkNewSearcher(b *testing.B) {
	for b.Loop() {
		if _, err := NewSearcher(2.4e6, 1e6, 720_000); err != nil {
			b.Fatal(err)
		}
	}
}

func BenchmarkRender(b *testing.B) {
	for _, c := range []struct {
		name         string
		rate, offset float64
	}{{"slice", 2.4e6, 1e6}, {"channel", 8e6, 3e6}} {
		b.Run(c.name, func(b *testing.B) {
			r, err := NewRenderer(c.rate, c.offset)
			if err != nil {
				b.Fatal(err)
			}
			w, err := NewWaveform(1, 186)
			if err != nil {
				b.Fatal(err)
			}
			x := make([]complex64, 32768)
			at := 0.
			for b.Loop() {
				if err := r.Render(x, w, at, 1/c.rate); err != nil {
					b.Fatal(err)
				}
				at += float64(len(x)) / c.rate
			}
			b.ReportMetric(float64(len(x))*float64(b.N)/b.Elapsed().Seconds()/1e6, "MS/s")
		})
	}
}
