package measure

import (
	"testing"

	"rooftone/scan/band"
	"rooftone/scan/listen"
	"rooftone/scan/tuner"
)

// The whole analysis of one channel: three slices of 60 ms, with two echoes'
// worth of structure left out, since the search costs the same.
func BenchmarkChannel(b *testing.B) {
	channels, err := band.Plans()[0].Select("20")
	if err != nil {
		b.Fatal(err)
	}
	a := air{seed: 1, ppm: 20, dwell: 0.06, channels: channels, stations: []station{{20, 20, 3}}}
	stays := a.stays(b)
	s := listen.NewSlicer(channels, tuner.Info{})
	b.ReportAllocs()
	for b.Loop() {
		var kept listen.Slices
		for _, block := range stays {
			if err := s.Begin(tuner.Stay{CenterHz: block.CenterHz, RateHz: block.RateHz, GainDB: block.GainDB}); err != nil {
				b.Fatal(err)
			}
			s.Write(block)
			kept.Add(s.End())
		}
		if r := Channels(kept.List(), Options{Channels: channels}); r.Readings[0].MER == nil {
			b.Fatal("no training found")
		}
	}
}
