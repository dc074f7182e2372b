package receiver

import (
	"flag"
	"fmt"
	"math"
	"math/cmplx"
	"strings"
	"testing"

	"rooftone/dsp/air"
	"rooftone/dsp/vsb"
)

var (
	flagOver  = flag.String("over", "1", "")
	flagCase  = flag.String("case", "", "")
	flagDebug = flag.Bool("debugblocks", false, "")
)

func path(us, db, deg float64) air.Path {
	return air.Path{DelaySeconds: us * 1e-6, LevelDB: db, PhaseDeg: deg}
}

// ideal returns the ideal equaliser's SNR for paths at a C/N, all paths' power being C.
func ideal(t testing.TB, paths []air.Path, cn float64) float64 {
	const step = 2e3
	var signal, noise []float64
	var power float64
	for hz := 0.; hz <= vsb.ChannelWidthHz; hz += step {
		var h complex128
		for _, p := range paths {
			h += cmplx.Rect(air.Amplitude(p.LevelDB), p.PhaseDeg*math.Pi/180-2*math.Pi*(hz-3e6)*p.DelaySeconds)
		}
		g := real(h)*real(h) + imag(h)*imag(h)
		signal = append(signal, vsb.Density(hz)*g)
		power += vsb.Density(hz) / vsb.DataShare * g * step
	}
	for range signal {
		noise = append(noise, power/math.Pow(10, cn/10)/vsb.ChannelWidthHz)
	}
	snr, err := vsb.EqualisedSNR(signal, noise, 0, step)
	if err != nil {
		t.Fatal(err)
	}
	return 10 * math.Log10(snr)
}

var cases = []struct {
	name  string
	paths []air.Path
}{
	{"flat", []air.Path{path(0, 0, 0)}},
	{"-1dB@-5", []air.Path{path(0, 0, 0), path(-5, -1, 40)}},
	{"-1dB@-2", []air.Path{path(0, 0, 0), path(-2, -1, 140)}},
	{"-1dB@-0.5", []air.Path{path(0, 0, 0), path(-0.5, -1, 40)}},
	{"-1dB@0.2", []air.Path{path(0, 0, 0), path(0.2, -1, 80)}},
	{"-1dB@0.5", []air.Path{path(0, 0, 0), path(0.5, -1, 80)}},
	{"-1dB@1", []air.Path{path(0, 0, 0), path(1, -1, 200)}},
	{"-1dB@3", []air.Path{path(0, 0, 0), path(3, -1, 300)}},
	{"-1dB@10", []air.Path{path(0, 0, 0), path(10, -1, 300)}},
	{"-1dB@20", []air.Path{path(0, 0, 0), path(20, -1, 100)}},
	{"-6dB@1", []air.Path{path(0, 0, 0), path(1, -6, 100)}},
	{"-6dB@5", []air.Path{path(0, 0, 0), path(5, -6, 100)}},
	{"A", []air.Path{path(0, 0, 0), path(.15, -13.8, 50), path(2.22, -16.2, 100), path(3.05, -14.9, 250), path(5.86, -13.6, 300), path(5.93, -16.4, 10)}},
	{"B", []air.Path{path(0, 0, 0), path(.3, -12, 50), path(3.5, -4, 100), path(4.4, -7, 250), path(9.5, -15, 300), path(12.7, -22, 10)}},
	{"C", []air.Path{path(0, -2.8, 0), path(.089, 0, 50), path(.419, -3.8, 100), path(1.506, -.1, 250), path(2.322, -2.6, 300), path(2.799, -1.3, 10)}},
	{"D", []air.Path{path(0, -.1, 0), path(.63, -3.9, 50), path(2.22, -2.6, 100), path(3.05, -1.3, 250), path(5.86, 0, 300), path(5.93, -2.8, 10)}},
	{"E", []air.Path{path(0, 0, 0), path(1, 0, 120), path(2, 0, 240)}},
	{"E2", []air.Path{path(0, 0, 0), path(1, 0, 20), path(2, 0, 300)}},
	{"E3", []air.Path{path(0, 0, 0), path(1, 0, 90), path(2, 0, 100)}},
}

func TestEchoScan(t *testing.T) {
	for _, c := range cases {
		if *flagCase != "" && !strings.Contains(","+*flagCase+",", ","+c.name+",") {
			continue
		}
		line := ""
		for _, o := range strings.Split(*flagOver, ",") {
			var over float64
			fmt.Sscan(o, &over)
			low, high := 5., 40.
			for high-low > 0.005 {
				if mid := (low + high) / 2; ideal(t, c.paths, mid) > 14.55+over {
					high = mid
				} else {
					low = mid
				}
			}
			for seed := range *flagSeeds {
				s := sending{rate: 10e6, lower: -3.2e6, cn: high, fields: *flagFields, seed: uint64(seed), ppm: 20, carrierHz: 3000, paths: c.paths}
				st := s.run(t)
				line += fmt.Sprintf(" | +%.1f cn %.2f: %d/%d locks %d mer %.2f ideal %.2f", over, high, st.Failed, st.Packets, st.Locks, st.MERAfterDB, st.IdealDB)
			}
		}
		fmt.Printf("%-10s%s\n", c.name, line)
	}
}
