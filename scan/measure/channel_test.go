package measure

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"

	"rooftone/dsp/vsb"
	"rooftone/scan/band"
	"rooftone/scan/tuner"
)

type station struct {
	channel int
	cnDB    float64
	errorHz float64
}

type toneAt struct {
	hz float64
	cn float64 // power over noise in 6 MHz, dB
}

// air makes slices of a plain world: stations, tones and noise of density 1e-9.
type air struct {
	seed     uint64
	ppm      float64
	dwell    float64
	stations []station
	tones    []toneAt
	channels []band.Channel
}

func (a air) slices(t testing.TB) []*Slice {
	const rate, density = 2.4e6, 1e-9
	sl := NewSlicer(a.channels, tuner.Info{})
	var out Slices
	clock := 1 + a.ppm*1e-6
	rng := rand.New(rand.NewPCG(a.seed, 1))
	n := int(a.dwell * rate)
	buf := make([]complex64, n)
	at := 0.0
	plan := band.Plans()[0]
	for _, c := range a.channels {
		for _, hop := range []float64{1e6, 3e6, 5e6} {
			center := c.LowerHz + hop
			sd := math.Sqrt(density * rate / 2)
			for i := range buf {
				buf[i] = complex(float32(sd*rng.NormFloat64()), float32(sd*rng.NormFloat64()))
			}
			for _, s := range a.stations {
				sc, _ := plan.Channel(s.channel)
				off := center*clock - sc.LowerHz - s.errorHz
				if off < -1.3e6 || off > 7.3e6 {
					continue
				}
				r, err := vsb.NewRenderer(rate, off)
				if err != nil {
					t.Fatal(err)
				}
				g := math.Sqrt(density * 6e6 * math.Pow(10, s.cnDB/10))
				w := vsb.NewWaveform(uint64(s.channel) + a.seed*1000)
				if err := r.Add(buf, w, at, 1/(rate*clock), complex(g, 0)); err != nil {
					t.Fatal(err)
				}
			}
			for _, x := range a.tones {
				off := x.hz/clock - center
				if math.Abs(off) > 1.2e6 {
					continue
				}
				g := math.Sqrt(density * 6e6 * math.Pow(10, x.cn/10))
				for i := range buf {
					sin, cos := math.Sincos(2 * math.Pi * math.Mod(off/rate*float64(i), 1))
					buf[i] += complex(float32(g*cos), float32(g*sin))
				}
			}
			if err := sl.Begin(tuner.Stay{CenterHz: center, RateHz: rate, GainDB: math.NaN()}); err != nil {
				t.Fatal(err)
			}
			sl.Write(tuner.Block{Samples: buf, CenterHz: center, RateHz: rate, GainDB: math.NaN()})
			out.Add(sl.End())
			at += a.dwell + 0.01
		}
	}
	return out.List()
}

func TestLook(t *testing.T) {
	plan := band.Plans()[0]
	chs, _ := plan.Select("14-30")
	a := air{seed: 1, ppm: 37, dwell: 0.06, channels: chs,
		stations: []station{{15, 27, 3}, {17, 20, -5}, {18, 12, 0}, {20, 3, 8}, {22, -8, 2}, {24, -18, 1}, {26, 40, 0}, {28, 27, 0}},
		tones:    []toneAt{{488.309e6 + 6e6*13, 5}},
	}
	r := Channels(a.slices(t), Options{Channels: chs})
	fmt.Printf("clock %+v\n", r.Clock)
	for _, x := range r.Readings {
		fmt.Printf("%d %v %s %v noise %v %s ", x.Channel.Number, x.Covered, x.Presence, x.Suspicion, f(x.NoiseDBFS), x.Noise)
		fmt.Printf("cn %v pow %v pil %v", f(x.CN), f(x.CNPower), f(x.CNPilot))
		if x.Pilot != nil {
			fmt.Printf(" off %.1f±%.1f", x.Pilot.OffsetHz.Value, x.Pilot.OffsetHz.Sigma)
		}
		fmt.Println()
	}
}

func f(e *Estimate) string {
	if e == nil {
		return "-"
	}
	return fmt.Sprintf("%.2f±%.2f", e.Value, e.Sigma)
}
