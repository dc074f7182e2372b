package vsb

import (
	"encoding/binary"
	"fmt"
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/require"
)

// grid returns the densities of data and noise on a grid over the channel.
func grid(startHz, stepHz float64, signal, noise func(hz float64) float64) (s, n []float64) {
	for hz := startHz; hz <= ChannelWidthHz; hz += stepHz {
		s = append(s, signal(hz))
		n = append(n, noise(hz))
	}
	return s, n
}

func constant(v float64) func(float64) float64 { return func(float64) float64 { return v } }

func TestFlatChannelMargin(t *testing.T) {
	// Truth: theory. On a flat channel every frequency of the folded band has
	// the same ratio: the data's density over the noise's.
	require.InDelta(t, 0.1611, dB(MERPerCN), 1e-4)
	for _, step := range []float64{100, 1e3, 7.3e3, 25e3} {
		for _, cn := range []float64{-10, 0, 15.2, 35} {
			noise := math.Pow(10, -cn/10) / ChannelWidthHz
			s, n := grid(-step/3, step, Density, constant(noise))
			snr, err := EqualisedSNR(s, n, -step/3, step)
			require.NoError(t, err)
			require.InDelta(t, cn-15.2, MarginDB(snr, 15.2), 0.003, "step %g, C/N %g", step, cn)
		}
	}
	require.Equal(t, math.Inf(-1), MarginDB(0, 15.2))
	require.Equal(t, math.Inf(-1), MarginDB(math.NaN(), 15.2))
}

func TestEchoInClosedForm(t *testing.T) {
	// Truth: theory. With an echo whose response is even about both ends of the
	// Nyquist band, ratio·|1 + g·exp(−iθ)|² runs through whole half turns of θ,
	// and the mean of ln(a + b·cos θ) is ln((a + √(a²−b²))/2).
	for _, halves := range []float64{1, 2, 7, 54, 107, 215} {
		for _, g := range []float64{-1, -0.9, -0.3, 0.5, 0.99, 1} {
			delay := halves / 2 / nyquistHz
			const flat = 40.
			echo := func(hz float64) float64 {
				turns := (hz - PilotOffsetHz) * delay
				return flat * Density(hz) / (DataShare / nyquistHz) * (1 + g*g + 2*g*math.Cos(2*math.Pi*turns))
			}
			s, n := grid(0, 1e3, echo, constant(1))
			snr, err := EqualisedSNR(s, n, 0, 1e3)
			require.NoError(t, err)
			a, b := 1+flat*(1+g*g), 2*g*flat
			want := (a+math.Sqrt(a*a-b*b))/2 - 1
			require.InDelta(t, dB(want), dB(snr), 0.003, "%g half turns, gain %g", halves, g)
		}
	}
}

func TestGapsInTheBand(t *testing.T) {
	// Truth: theory. What was not measured is taken to be like the rest, so on
	// a flat channel gaps change nothing, and an uneven one shows which bins
	// were left out.
	const cn = 20
	noise := constant(math.Pow(10, -cn/10.) / ChannelWidthHz)
	nan := math.NaN()
	gaps := map[string]func(hz float64) bool{
		"pilot":          func(hz float64) bool { return math.Abs(hz-PilotOffsetHz) < 20e3 },
		"middle":         func(hz float64) bool { return hz > 2e6 && hz < 4e6 },
		"lower vestige":  func(hz float64) bool { return hz < PilotOffsetHz },
		"upper vestige":  func(hz float64) bool { return hz > 5.69e6 },
		"one in six":     func(hz float64) bool { return int(hz/5e3)%6 == 0 },
		"a slice or two": func(hz float64) bool { return hz > 3.9e6 },
	}
	for name, gap := range gaps {
		s, n := grid(0, 5e3, Density, noise)
		for i := range s {
			if gap(float64(i) * 5e3) {
				s[i], n[i] = nan, nan
			}
		}
		snr, err := EqualisedSNR(s, n, 0, 5e3)
		require.NoError(t, err, name)
		require.InDelta(t, cn-15.2, MarginDB(snr, 15.2), 0.01, name)
	}

	// Half of the middle at twice the signal; then without that half.
	step := func(hz float64) float64 {
		if hz > 1e6 && hz < 3e6 {
			return 2 * Density(hz)
		}
		return Density(hz)
	}
	s, n := grid(0, 5e3, step, noise)
	whole, err := EqualisedSNR(s, n, 0, 5e3)
	require.NoError(t, err)
	flat := MERPerCN * math.Pow(10, cn/10.)
	part := (2e6 - 5e3) / nyquistHz
	want := math.Expm1((1-part)*math.Log1p(flat) + part*math.Log1p(2*flat))
	require.InDelta(t, dB(want), dB(whole), 0.003)
	for i := range s {
		if hz := float64(i) * 5e3; hz > 1e6 && hz < 3e6 {
			s[i] = nan
		}
	}
	rest, err := EqualisedSNR(s, n, 0, 5e3)
	require.NoError(t, err)
	require.InDelta(t, dB(flat), dB(rest), 0.01)
}

func TestWeakAndNegativeSignal(t *testing.T) {
	// Truth: theory. Scatter about a weak signal that is left unclipped lowers
	// the mean of ln(1+ratio) by half its variance only; clipped it would raise
	// the result many times over.
	rng := rand.New(rand.NewPCG(3, 4))
	const ratio, scatter = 0.01, 0.1
	s, n := grid(0, 1e3, func(hz float64) float64 {
		return ratio*Density(hz)/(DataShare/nyquistHz) + scatter*rng.NormFloat64()
	}, constant(1))
	snr, err := EqualisedSNR(s, n, 0, 1e3)
	require.NoError(t, err)
	require.InDelta(t, ratio-scatter*scatter/2, snr, 0.005)

	for i := range s {
		s[i] = -5 // no such signal: the floor holds
	}
	snr, err = EqualisedSNR(s, n, 0, 1e3)
	require.NoError(t, err)
	require.InDelta(t, minFolded-1, snr, 1e-9)
	require.Equal(t, math.Inf(-1), MarginDB(snr, 15.2))
}

func TestUnusableDensities(t *testing.T) {
	// Truth: what the documentation promises.
	good := func() ([]float64, []float64) { return grid(0, 5e3, Density, constant(1e-9)) }
	s, n := good()
	for name, try := range map[string]func() (float64, error){
		"no bins":         func() (float64, error) { return EqualisedSNR(nil, nil, 0, 5e3) },
		"lengths":         func() (float64, error) { return EqualisedSNR(s, n[1:], 0, 5e3) },
		"step 0":          func() (float64, error) { return EqualisedSNR(s, n, 0, 0) },
		"step below 0":    func() (float64, error) { return EqualisedSNR(s, n, 0, -5e3) },
		"step NaN":        func() (float64, error) { return EqualisedSNR(s, n, 0, math.NaN()) },
		"coarse step":     func() (float64, error) { return EqualisedSNR(s, n, 0, 300e3) },
		"start NaN":       func() (float64, error) { return EqualisedSNR(s, n, math.NaN(), 5e3) },
		"start Inf":       func() (float64, error) { return EqualisedSNR(s, n, math.Inf(1), 5e3) },
		"elsewhere":       func() (float64, error) { return EqualisedSNR(s, n, 7e6, 5e3) },
		"elsewhere below": func() (float64, error) { return EqualisedSNR(s, n, -1e12, 5e3) },
		"one slice":       func() (float64, error) { return EqualisedSNR(s[:500], n[:500], 0, 5e3) },
		"one bin":         func() (float64, error) { return EqualisedSNR(s[:1], n[:1], 3e6, 250e3) },
		"uncertainties": func() (float64, error) {
			snr, _, err := EqualisedSNRSigma(s, n, n[1:], 0, 0, 5e3)
			return snr, err
		},
	} {
		snr, err := try()
		require.Error(t, err, name)
		require.Zero(t, snr, name)
	}
	for name, spoil := range map[string]func(s, n []float64){
		"zero noise":        func(_, n []float64) { n[600] = 0 },
		"noise below zero":  func(_, n []float64) { n[0] = -1 },
		"infinite noise":    func(_, n []float64) { n[600] = math.Inf(1) },
		"infinite signal":   func(s, _ []float64) { s[600] = math.Inf(1) },
		"infinite ratio":    func(s, n []float64) { s[600], n[600] = 1e300, 1e-300 },
		"nothing measured":  func(s, _ []float64) { fill(s, math.NaN()) },
		"noise not a value": func(_, n []float64) { fill(n, math.NaN()) },
	} {
		s, n := good()
		spoil(s, n)
		snr, err := EqualisedSNR(s, n, 0, 5e3)
		require.Error(t, err, name)
		require.Zero(t, snr, name)
	}
}

func fill(s []float64, v float64) {
	for i := range s {
		s[i] = v
	}
}

func TestEqualisedSigmaIsTheScatter(t *testing.T) {
	// Truth: theory, by repeated draws of the errors that the uncertainties
	// stand for, on a channel with deep notches and a grid that puts mirrored
	// frequencies between bins.
	const (
		step   = 20e3
		common = 0.03
		draws  = 3000
	)
	rng := rand.New(rand.NewPCG(5, 6))
	for _, cn := range []float64{5, 20} {
		paths := []path{{0, 1}, {1.7e-6, fromDB(-1, 70)}}
		noise := noiseFor(paths, cn)
		s, n := grid(0, step, func(hz float64) float64 { return Density(hz) * powerResponse(paths, hz) }, constant(noise))
		own := make([]float64, len(s))
		for i := range own {
			own[i] = 0.15 * (1 + s[i]/n[i])
		}
		snr, sigma, err := EqualisedSNRSigma(s, n, own, common, 0, step)
		require.NoError(t, err)
		plain, err := EqualisedSNR(s, n, 0, step)
		require.NoError(t, err)
		require.Equal(t, plain, snr)

		sum, squares := 0., 0.
		drawn := make([]float64, len(s))
		for range draws {
			factor := 1 + common*rng.NormFloat64()
			for i := range drawn {
				drawn[i] = n[i] * (factor*s[i]/n[i] + own[i]*rng.NormFloat64())
			}
			v, err := EqualisedSNR(drawn, n, 0, step)
			require.NoError(t, err)
			sum, squares = sum+v, squares+v*v
		}
		mean := sum / draws
		scatter := math.Sqrt(squares/draws - mean*mean)
		t.Logf("C/N %g dB: %.2f dB ± %.3f dB, scatter %.3f dB", cn, dB(snr), 4.34*sigma/snr, 4.34*scatter/snr)
		require.InEpsilon(t, sigma, scatter, 0.08)
	}
}

func FuzzEqualisedSNR(f *testing.F) {
	// Truth: what the documentation promises. Whatever the densities, there is
	// an error or a ratio that is finite and above −1.
	f.Add([]byte{}, 0., 5e3)
	f.Add(make([]byte, 16*64), 0., 100e3)
	f.Add([]byte{1, 2, 3, 4, 5, 6, 7, 0x3f, 1, 2, 3, 4, 5, 6, 7, 0x40}, 5e6, 250e3)
	f.Add([]byte("some densities some densities some densities"), -1e300, 1e-300)
	f.Fuzz(func(t *testing.T, raw []byte, startHz, stepHz float64) {
		var s, n []float64
		for ; len(raw) >= 16; raw = raw[16:] {
			s = append(s, math.Float64frombits(binary.LittleEndian.Uint64(raw)))
			n = append(n, math.Float64frombits(binary.LittleEndian.Uint64(raw[8:])))
		}
		snr, err := EqualisedSNR(s, n, startHz, stepHz)
		if err != nil {
			require.Zero(t, snr)
			return
		}
		require.False(t, math.IsInf(snr, 0) || math.IsNaN(snr) || snr <= -1, "%g", snr)
		again, _, err := EqualisedSNRSigma(s, n, make([]float64, len(s)), 0, startHz, stepHz)
		require.NoError(t, err)
		require.Equal(t, snr, again)
	})
}

func BenchmarkEqualisedSNR(b *testing.B) {
	for _, step := range []float64{1e3, 5e3, 25e3} {
		b.Run(fmt.Sprintf("step=%gkHz", step/1e3), func(b *testing.B) {
			s, n := grid(0, step, Density, constant(1e-9))
			b.ReportAllocs()
			for b.Loop() {
				if _, err := EqualisedSNR(s, n, 0, step); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}
