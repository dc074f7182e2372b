package measure

import (
	"testing"

	"rooftone/scan/band"
	"rooftone/scan/listen"
	"rooftone/scan/tuner"
)

// The whole analysis of one channel from its samples: a station in three slices
// of 60 ms, with two echoes' worth of structure left out, since the search costs
// the same; a vacant channel's three, in which all is searched for and nothing
// found; and one slice of a station and nothing else.
func BenchmarkChannelAnalysis(b *testing.B) {
	channels, err := band.Plans()[0].Select("20")
	if err != nil {
		b.Fatal(err)
	}
	full := air{seed: 1, ppm: 20, dwell: 0.06, channels: channels, stations: []station{{20, 20, 3}}}
	empty := air{seed: 2, ppm: 20, dwell: 0.06, channels: channels}
	for _, c := range []struct {
		about string
		stays []tuner.Block
		found bool // training is there to be found
	}{
		{"station", full.stays(b), true},
		{"vacant", empty.stays(b), false},
		{"slice", full.stays(b)[1:2], true},
	} {
		b.Run(c.about, func(b *testing.B) {
			s := listen.NewSlicer(channels, tuner.Info{})
			b.ReportAllocs()
			for b.Loop() {
				var kept listen.Slices
				for _, block := range c.stays {
					if err := s.Begin(tuner.Stay{CenterHz: block.CenterHz, RateHz: block.RateHz, GainDB: block.GainDB}); err != nil {
						b.Fatal(err)
					}
					s.Write(block)
					kept.Add(s.End())
				}
				Channels(kept.List(), Options{Channels: channels})
				if got := len(listen.TrainedOf(kept.List(), channels[0])) > 0; got != c.found {
					b.Fatalf("training found: %v", got)
				}
			}
			b.ReportMetric(b.Elapsed().Seconds()*1e3/float64(b.N), "ms/op")
		})
	}
}
