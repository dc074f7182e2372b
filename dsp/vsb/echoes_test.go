package vsb

import (
	"fmt"
	"math"
	"math/cmplx"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/require"
)

// nearest returns the echo nearest to a delay.
func nearest(p *Profile, delay float64) (best Echo, apart float64) {
	apart = math.Inf(1)
	for _, e := range p.Echoes {
		if d := math.Abs(e.DelaySeconds - delay); d < apart {
			best, apart = e, d
		}
	}
	return best, apart
}

func TestEchoesAreTrue(t *testing.T) {
	if testing.Short() {
		t.Skip("an ensemble: it has its time in the long run")
	}
	// Truth: the simulation's paths. One to three echoes of −2 to −15 dB, from
	// −4.5 to +19.5 µs, at C/N 15 dB and more, in three slices that have only
	// them in common: all found, none invented, within 0.1 µs and 1 dB.
	t.Parallel()
	trainers := map[float64]*Trainer{}
	var delays, levels scatter
	for seed := range uint64(16) {
		rng := rand.New(rand.NewPCG(seed, 9))
		s := plainStay(0, 15+10*rng.Float64(), seed)
		s.center, s.ppm = 180e6+400e6*rng.Float64(), rng.Float64()*100-50
		for range 1 + rng.IntN(3) {
			s.paths = append(s.paths, arrival{(rng.Float64()*24 - 4.5) * 1e-6, decibels(-2-13*rng.Float64(), rng.Float64()*7)})
		}
		p, err := Echoes(s.slicesOf(t, trainers)...)
		require.NoError(t, err)
		require.Len(t, p.Echoes, len(s.paths)-1, "%v in %v", p.Echoes, s.paths)
		for _, want := range s.paths[1:] {
			got, _ := nearest(p, want.delay)
			delays.add((got.DelaySeconds-want.delay)*1e6, got.DelaySigma*1e6)
			levels.add(got.LevelDB-20*math.Log10(cmplx.Abs(want.gain)), got.LevelSigmaDB)
		}
	}
	t.Logf("%d echoes: delay rms %.4f µs, largest %.4f, error/sigma %.2f; level rms %.2f dB, largest %.2f, error/sigma %.2f",
		len(delays.errors), rms(delays.errors), within(delays.errors, 1), rms(delays.scores),
		rms(levels.errors), within(levels.errors, 1), rms(levels.scores))
	require.Less(t, within(delays.errors, 1), 0.1)
	require.Less(t, within(levels.errors, 1), 1.)
	// Sigma is the Cramér–Rao bound.
	require.InDelta(t, 1.1, rms(delays.scores), 0.35)
	require.InDelta(t, 1.1, rms(levels.scores), 0.35)
}

func TestEchoSigmaIsBound(t *testing.T) {
	// Truth: theory. A delay is known to 1/(2πβ√(2E/N)), where β is the
	// spectrum's standard deviation: with three coherent slices that of all of
	// them, which is what knowing the carrier's turn from slice to slice gives.
	s := plainStay(0, 20, 3)
	s.paths = append(s.paths, arrival{6.5e-6, decibels(-10, 1)})
	got := s.slicesOf(t, map[float64]*Trainer{})
	var energy, middle, square float64
	for _, tr := range got {
		for hz := tr.LowHz; hz < tr.HighHz; hz += 10e3 {
			// Symbols' energy at a frequency, in all fields.
			e := float64(tr.Fields) * KnownSymbols / SymbolRateHz * 25 / LevelMeanSquare * Density(hz) * 0.1 * 10e3 / s.noiseDensity()
			energy += e
			middle += e * hz
			square += e * hz * hz
		}
	}
	middle /= energy
	beta := math.Sqrt(square/energy - middle*middle)
	bound := 1 / (2 * math.Pi * beta * math.Sqrt(2*energy))
	p, err := Echoes(got...)
	require.NoError(t, err)
	require.Len(t, p.Echoes, 1)
	t.Logf("bound %.2f ns, stated %.2f ns", bound*1e9, p.Echoes[0].DelaySigma*1e9)
	require.InEpsilon(t, bound, p.Echoes[0].DelaySigma, 0.35)
}

func TestEchoesOfTestProfiles(t *testing.T) {
	if testing.Short() {
		t.Skip("an ensemble: it has its time in the long run")
	}
	// Truth: the simulation's paths, those of the laboratory profiles A to E as
	// used in ITU-R BT.2035 (from memory). What is closer than the slices
	// resolve may be told as one; nothing may be told where there is nothing.
	t.Parallel()
	trainers := map[float64]*Trainer{}
	for k, profile := range [][]float64{
		{0, 0, 0.15, -13.8, 2.22, -16.2, 3.05, -14.9, 5.86, -13.6, 5.93, -16.4},
		{0, 0, 0.3, -12, 3.5, -4, 4.4, -7, 9.5, -15, 12.7, -22},
		{0, -2.8, 0.089, 0, 0.419, -3.8, 1.506, -0.1, 2.322, -2.6, 2.799, -1.3},
		{0, -0.1, 0.63, -3.9, 2.22, -2.6, 3.05, -1.3, 5.86, 0, 5.93, -2.8},
		{0, 0, 1, 0, 2, 0},
	} {
		for _, cn := range []float64{16, 25} {
			s := plainStay(0, cn, uint64(k)+100)
			s.paths = nil
			rng := rand.New(rand.NewPCG(uint64(k), uint64(cn)))
			for i := 0; i < len(profile); i += 2 {
				s.paths = append(s.paths, arrival{profile[i] * 1e-6, decibels(profile[i+1], rng.Float64()*7)})
			}
			p, err := Echoes(s.slicesOf(t, trainers)...)
			require.NoError(t, err)
			text := ""
			for _, e := range p.Echoes {
				text += fmt.Sprintf(" %.3f µs %.1f dB", e.DelaySeconds*1e6, e.LevelDB)
				if e.Merged {
					text += " (merged)"
				}
			}
			t.Logf("%c at %v dB:%s", 'A'+k, cn, text)
			requireProfile(t, s, p)
		}
	}
}

// requireProfile checks that every echo is where a path is, relative to one of
// the strongest ones, and that every strong path is told.
func requireProfile(t *testing.T, s stay, p *Profile) {
	const near = 0.1e-6
	resolved := func(i int) bool {
		for j, q := range s.paths {
			if j != i && math.Abs(q.delay-s.paths[i].delay) < p.ResolutionSeconds {
				return false
			}
		}
		return true
	}
	best := math.Inf(1)
	var reason string
	for _, lead := range s.paths {
		if cmplx.Abs(lead.gain) < 0.7 {
			continue
		}
		wrong, why := 0., ""
		for _, e := range p.Echoes {
			at := math.Inf(1)
			for _, q := range s.paths {
				at = math.Min(at, math.Abs(q.delay-lead.delay-e.DelaySeconds))
			}
			if at > near {
				wrong++
				why += fmt.Sprintf(" invented %+v;", e)
			}
		}
		for i, q := range s.paths {
			if q == lead || !resolved(i) || cmplx.Abs(q.gain) < 0.2*cmplx.Abs(lead.gain) {
				continue
			}
			if _, apart := nearest(p, q.delay-lead.delay); apart > near {
				wrong++
				why += fmt.Sprintf(" missed %v;", q)
			}
		}
		if wrong < best {
			best, reason = wrong, why
		}
	}
	require.Zero(t, best, reason)
}

func TestNoEchoIsInvented(t *testing.T) {
	if testing.Short() {
		t.Skip("an ensemble: it has its time in the long run")
	}
	// Truth: the simulation: one path.
	trainers := map[float64]*Trainer{}
	for seed := range uint64(8) {
		s := plainStay(0, 10+3*float64(seed), seed)
		s.ppm = 60 - 15*float64(seed)
		p, err := Echoes(s.slicesOf(t, trainers)...)
		require.NoError(t, err)
		require.Empty(t, p.Echoes)
		require.False(t, p.StrongestMerged)
	}
}

func TestCloseEchoesAreMerged(t *testing.T) {
	// Truth: the simulation. Two echoes 20 ns apart are beyond what 5.4 MHz can
	// tell at this C/N: what stands there is one, where both are.
	s := plainStay(0, 18, 6)
	s.paths = append(s.paths, arrival{3e-6, decibels(-9, 1)}, arrival{3.02e-6, decibels(-9, 1.5)})
	p, err := Echoes(s.slicesOf(t, map[float64]*Trainer{})...)
	require.NoError(t, err)
	require.Len(t, p.Echoes, 1)
	require.InDelta(t, 3.01, p.Echoes[0].DelaySeconds*1e6, 0.1)
}

func TestEchoesOfOneSlice(t *testing.T) {
	// Truth: the simulation's paths. One slice of 2 MHz, C/N 15 dB.
	s := plainStay(3e6, 15, 2)
	s.paths = append(s.paths, arrival{2.3e-6, decibels(-10, 1)}, arrival{-1.4e-6, decibels(-14, 2)})
	p, err := Echoes(s.fit(t, map[float64]*Trainer{}, Knowledge{RangePPM: 1}))
	require.NoError(t, err)
	require.Len(t, p.Echoes, 2)
	for i, want := range []arrival{s.paths[2], s.paths[1]} {
		require.InDelta(t, want.delay*1e6, p.Echoes[i].DelaySeconds*1e6, 0.1)
		require.InDelta(t, 20*math.Log10(cmplx.Abs(want.gain)), p.Echoes[i].LevelDB, 1)
	}
}

func TestJoinedResponse(t *testing.T) {
	// Truth: the simulation's paths, over the whole channel, but for one phase
	// and one delay.
	s := plainStay(0, 25, 4)
	s.paths = append(s.paths, arrival{1.37e-6, decibels(-6, 1)})
	p, err := Echoes(s.slicesOf(t, map[float64]*Trainer{})...)
	require.NoError(t, err)
	var at, turned []float64
	want := func(hz float64) (h complex128) {
		for _, q := range s.paths {
			h += q.gain * turn(-(s.center+hz)*q.delay)
		}
		return h
	}
	for _, b := range p.Response {
		at = append(at, b.OffsetHz)
		turned = append(turned, cmplx.Phase(b.Gain/want(b.OffsetHz)))
	}
	for i := 1; i < len(turned); i++ {
		require.Greater(t, at[i], at[i-1])
		turned[i] -= 2 * math.Pi * math.Round((turned[i]-turned[i-1])/(2*math.Pi))
	}
	require.Less(t, at[0], 0.4e6)
	require.Greater(t, at[len(at)-1], 5.6e6)
	slope, offset := line(at, turned)
	var diff, all float64
	for i, b := range p.Response {
		h := want(at[i])
		diff += norm2([]complex128{b.Gain - h*cmplx.Rect(1, offset+slope*at[i])})
		all += norm2([]complex128{h})
	}
	t.Logf("%d bins, error %.1f dB", len(at), 10*math.Log10(diff/all))
	require.Less(t, 10*math.Log10(diff/all), -25.)
}

func TestEchoesOfNothing(t *testing.T) {
	// Truth: the definition.
	_, err := Echoes()
	require.Error(t, err)
	_, err = Echoes(nil, &Training{})
	require.Error(t, err)
}

func BenchmarkEchoes(b *testing.B) {
	for _, c := range []struct {
		name  string
		paths []arrival
	}{
		{"none", nil},
		{"two", []arrival{{1.3e-6, 0.3}, {7e-6, 0.2i}}},
		{"five", []arrival{{0.3e-6, 0.25}, {3.5e-6, 0.6}, {4.4e-6, 0.4i}, {9.5e-6, 0.18}, {12.7e-6, 0.1}}},
	} {
		b.Run(c.name, func(b *testing.B) {
			s := plainStay(0, 20, 3)
			s.paths = append(s.paths, c.paths...)
			got := s.slicesOf(b, map[float64]*Trainer{})
			for b.Loop() {
				if _, err := Echoes(got...); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}
