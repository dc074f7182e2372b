package vsb

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/require"
)

// quantise rounds samples as an 8-bit converter does, at a level 12 dB below
// its rails. It returns the power that this adds, relative to the samples'
// own.
func quantise(x []complex64) (added float64) {
	var power float64
	for _, v := range x {
		power += float64(real(v)*real(v)+imag(v)*imag(v)) / float64(len(x))
	}
	scale := 0.25 / math.Sqrt(power)
	round := func(v float32) float32 {
		b := math.Round(float64(v)*scale*127.5 + 127.5)
		return float32((math.Max(0, math.Min(255, b)) - 127.5) / 127.5)
	}
	for i, v := range x {
		x[i] = complex(round(real(v)), round(imag(v)))
		d := complex128(x[i]) - complex128(v)*complex(scale, 0)
		added += (real(d)*real(d) + imag(d)*imag(d)) / float64(len(x))
	}
	return added / (scale * scale)
}

func TestMERIsTrue(t *testing.T) {
	if testing.Short() {
		t.Skip("an ensemble: it has its time in the long run")
	}
	// Truth: the simulation's own C/N, echoes and clock, from a renderer that
	// was checked against a second implementation. Samples are of 8 bits up to
	// 25 dB, and what the quantiser adds counts as noise; above they are
	// floats.
	t.Parallel()
	trainers := map[float64]*Trainer{}
	for _, c := range []struct {
		name    string
		seconds float64
		cn      []float64
		trials  int
		limit   float64 // in dB, for 95 %
	}{
		{"two or three fields", 0.06, []float64{5, 12, 18, 25}, 8, 1},
		{"two or three fields, float", 0.06, []float64{33}, 10, 1},
		{"eight fields", 0.2, []float64{3, 14, 25}, 5, 0.5},
		{"eight fields, float", 0.2, []float64{29, 33}, 4, 1},
	} {
		t.Run(c.name, func(t *testing.T) {
			var all scatter
			for _, cn := range c.cn {
				for trial := range c.trials {
					rng := rand.New(rand.NewPCG(uint64(trial), uint64(cn)))
					s := plainStay([]float64{1e6, 3e6, 5e6}[trial%3], cn, rng.Uint64())
					s.seconds, s.ppm, s.stationHz = c.seconds, rng.Float64()*120-60, rng.Float64()*200-100
					for range trial % 2 * 2 { // none or two echoes
						s.paths = append(s.paths, arrival{(rng.Float64()*23 - 3) * 1e-6, decibels(-3-15*rng.Float64(), rng.Float64()*7)})
					}
					if trainers[s.offset] == nil {
						tr, err := NewTrainer(s.rate, s.offset)
						require.NoError(t, err)
						trainers[s.offset] = tr
					}
					x := s.samples(t)
					noise := s.noiseDensity()
					if cn <= 25 {
						noise += quantise(x) / s.rate
					}
					got, err := trainers[s.offset].Fit(x, Knowledge{
						CenterHz: s.center, ClockPPM: s.ppm + rng.NormFloat64()*0.3, RangePPM: 1.5,
					})
					require.NoError(t, err)
					require.True(t, got.Found)
					require.GreaterOrEqual(t, got.Fields, 2)
					want := s.mer(got.LowHz, got.HighHz) - 10*math.Log10(noise/s.noiseDensity())
					all.add(got.MERdB-want, got.MERSigmaDB)
				}
			}
			t.Logf("%d fits: mean %+.3f dB, rms %.3f dB, 95 %% within %.2f dB; rms of error/sigma %.2f",
				len(all.errors), mean(all.errors), rms(all.errors), within(all.errors, 0.95), rms(all.scores))
			require.Less(t, within(all.errors, 0.95), c.limit)
			require.Less(t, math.Abs(mean(all.errors)), 0.12)
			require.InDelta(t, 1, rms(all.scores), 0.4)
		})
	}
}

func TestLeakDoesNotSaturate(t *testing.T) {
	if testing.Short() {
		t.Skip("an ensemble: it has its time in the long run")
	}
	// Truth: the simulation's C/N. Unknown symbols stand some 25 dB below the
	// training in its own samples; at 60 dB nothing of them may be left.
	trainers := map[float64]*Trainer{}
	for seed, offset := range []float64{1e6, 3e6, 5e6} {
		s := plainStay(offset, 60, uint64(seed))
		s.paths = append(s.paths, arrival{4.321e-6, decibels(-6, 1)})
		got := s.fit(t, trainers, Knowledge{RangePPM: 1})
		t.Logf("%.0f MHz: %.2f ± %.2f dB, true %.2f", offset/1e6, got.MERdB, got.MERSigmaDB, s.mer(got.LowHz, got.HighHz))
		require.InDelta(t, s.mer(got.LowHz, got.HighHz), got.MERdB, 1.5)
	}
}

func TestFitWithUnknownClock(t *testing.T) {
	if testing.Short() {
		t.Skip("an ensemble: it has its time in the long run")
	}
	// Truth: the simulation's clock, carrier, times and kinds of fields.
	const fieldSeconds = FieldSymbols / SymbolRateHz
	trainers := map[float64]*Trainer{}
	var clocks, carriers scatter
	for seed, ppm := range []float64{-60, -31, 0, 17, 44, 60} {
		s := plainStay([]float64{1e6, 3e6, 5e6}[seed%3], 20, uint64(seed))
		s.ppm, s.stationHz = ppm, 300
		s.center = 80e6 + float64(seed)*120e6
		got := s.fit(t, trainers, Knowledge{})
		require.True(t, got.Found)
		clocks.add(got.ClockPPM-ppm, got.ClockSigmaPPM)
		carriers.add(got.CarrierHz-s.carrierHz(), got.CarrierSigmaHz)
		require.InDelta(t, s.mer(got.LowHz, got.HighHz), got.MERdB, 1)

		start := rand.New(rand.NewPCG(s.seed, 1)).Float64() * 0.1
		first := math.Ceil(start / fieldSeconds)
		require.InDelta(t, (first*fieldSeconds-start)*(1+ppm*1e-6), got.FirstSeconds, 0.1e-6)
		require.Equal(t, int(first)%2 == 0, got.FirstOdd)
	}
	t.Logf("clock: rms %.3f ppm, error/sigma %.2f; carrier: rms %.1f Hz, error/sigma %.2f",
		rms(clocks.errors), rms(clocks.scores), rms(carriers.errors), rms(carriers.scores))
	require.Less(t, rms(clocks.errors), 0.2)
	require.Less(t, rms(clocks.scores), 2.)
	require.Less(t, rms(carriers.errors), 60.)
	require.Less(t, rms(carriers.scores), 2.)
}

func TestFitAtOtherRates(t *testing.T) {
	// Truth: the simulation's C/N. From a fifth of the channel to all of it and
	// more.
	t.Parallel()
	for _, c := range []struct{ rate, offset float64 }{
		{1e6, 2e6}, {1.8e6, 4.5e6}, {3.2e6, 1.5e6}, {8e6, 3e6}, {10e6, 3e6}, {20e6, 2e6},
	} {
		s := plainStay(c.offset, 22, 5)
		s.rate, s.ppm = c.rate, 25
		got := s.fit(t, map[float64]*Trainer{}, Knowledge{ClockPPM: 25, RangePPM: 1})
		t.Logf("%.1f MS/s: %.2f ± %.2f dB, true %.2f, from %.2f to %.2f MHz", c.rate/1e6, got.MERdB, got.MERSigmaDB,
			s.mer(got.LowHz, got.HighHz), got.LowHz/1e6, got.HighHz/1e6)
		require.True(t, got.Found)
		require.InDelta(t, s.mer(got.LowHz, got.HighHz), got.MERdB, 3.5*got.MERSigmaDB)
	}
}

func TestFitIsNotMisledByLines(t *testing.T) {
	// Truth: the simulation's C/N. What the radio adds at its own frequency, 20
	// dB above the signal, is neither signal nor error.
	s := plainStay(3e6, 22, 8)
	s.ppm = 40
	tr, err := NewTrainer(s.rate, s.offset)
	require.NoError(t, err)
	x := s.samples(t)
	for i := range x {
		x[i] += complex(8, -6)
	}
	got, err := tr.Fit(x, Knowledge{CenterHz: s.center, ClockPPM: 40, RangePPM: 1})
	require.NoError(t, err)
	require.InDelta(t, s.mer(got.LowHz, got.HighHz), got.MERdB, 3*got.MERSigmaDB)
}

func TestFitOfCoChannel(t *testing.T) {
	// Truth: theory. A second station's data is an error like noise.
	s := plainStay(5e6, 40, 3)
	other := plainStay(5e6, 200, 99)
	x, y := s.samples(t), other.samples(t)
	const level = -15
	for i := range x {
		x[i] += complex64(complex128(y[i]) * decibels(level, 1))
	}
	tr, err := NewTrainer(s.rate, s.offset)
	require.NoError(t, err)
	got, err := tr.Fit(x, Knowledge{CenterHz: s.center, RangePPM: 1})
	require.NoError(t, err)
	require.InDelta(t, 15, got.MERdB, 1)
}

func TestFitOfPassBand(t *testing.T) {
	// Truth: the simulation. A pass band that is told does not show in the
	// response, nor does it move the MER.
	s := plainStay(3e6, 30, 4)
	x := s.samples(t)
	// 1, −0.2 at two samples' distance: 0.64 to 1.44 over the slice.
	y := make([]complex64, len(x))
	for i := 2; i < len(x); i++ {
		y[i] = x[i] - 0.2*x[i-2]
	}
	passBand := func(hz float64) float64 {
		sin, cos := math.Sincos(4 * math.Pi * hz / s.rate)
		return math.Hypot(1-0.2*cos, 0.2*sin)
	}
	tr, err := NewTrainer(s.rate, s.offset)
	require.NoError(t, err)
	got, err := tr.Fit(y, Knowledge{CenterHz: s.center, RangePPM: 1, PassBand: passBand})
	require.NoError(t, err)
	require.InDelta(t, s.mer(got.LowHz, got.HighHz), got.MERdB, 3*got.MERSigmaDB)
	for _, b := range got.Response {
		if b.OffsetHz > got.LowHz+50e3 && b.OffsetHz < got.HighHz-50e3 {
			require.InDelta(t, 1, math.Hypot(real(b.Gain), imag(b.Gain)), 0.06)
		}
	}
}

func TestFitOfNothing(t *testing.T) {
	// Truth: the definition. What holds no training is not found, whatever it
	// is.
	tr, err := NewTrainer(2.4e6, 3e6)
	require.NoError(t, err)
	know := Knowledge{CenterHz: 500e6, RangePPM: 1}
	odd := make([]complex64, 100000)
	odd[500] = complex(float32(math.NaN()), 0)
	huge := make([]complex64, 100000)
	for i := range huge {
		huge[i] = complex(math.MaxFloat32, float32(math.Inf(-1)))
	}
	line := make([]complex64, 100000)
	for i := range line {
		line[i] = complex64(turn(0.1234 * float64(i)))
	}
	for name, x := range map[string][]complex64{
		"none": nil, "one": make([]complex64, 1), "short": make([]complex64, 150), "silence": make([]complex64, 100000),
		"not a number": odd, "huge": huge, "line": line,
	} {
		t.Run(name, func(t *testing.T) {
			got, err := tr.Fit(x, know)
			require.NoError(t, err)
			require.False(t, got.Found)
			require.Zero(t, got.Fields)
			require.True(t, math.IsNaN(got.MERdB))
			require.False(t, math.IsNaN(got.FalseAlarm))
		})
	}
	// The same trainer still works.
	s := plainStay(3e6, 20, 1)
	got, err := tr.Fit(s.samples(t), Knowledge{CenterHz: s.center, RangePPM: 1})
	require.NoError(t, err)
	require.True(t, got.Found)
}

func TestFitOfPureSignal(t *testing.T) {
	// Truth: the definition. Without noise the MER is high, not infinite.
	s := plainStay(3e6, 300, 1)
	got := s.fit(t, map[float64]*Trainer{}, Knowledge{RangePPM: 1})
	require.True(t, got.Found)
	t.Logf("%.1f dB", got.MERdB)
	require.Greater(t, got.MERdB, 60.)
	require.False(t, math.IsInf(got.MERdB, 0))
}

func TestFitRefusesNonsense(t *testing.T) {
	// Truth: the definition.
	for _, c := range []struct{ rate, offset float64 }{
		{0, 3e6}, {math.NaN(), 3e6}, {2.4e6, math.NaN()}, {2.4e6, -1e6}, {2.4e6, 7.2e6}, {2.4e6, math.Inf(1)}, {1e9, 3e6},
	} {
		_, err := NewTrainer(c.rate, c.offset)
		require.Error(t, err, "%v", c)
	}
	tr, err := NewTrainer(2.4e6, 3e6)
	require.NoError(t, err)
	for _, know := range []Knowledge{
		{}, {CenterHz: math.NaN()}, {CenterHz: 5e8, ClockPPM: math.Inf(1)}, {CenterHz: 5e8, RangePPM: -1}, {CenterHz: 5e8, StationHz: math.NaN()}, {CenterHz: 5e8, RangePPM: 900},
	} {
		_, err := tr.Fit(make([]complex64, 100000), know)
		require.Error(t, err, "%+v", know)
	}
}

func TestJoinMER(t *testing.T) {
	// Truth: the simulation's C/N: MER is C/N and MERPerCN, in each slice and
	// in all of them.
	s := plainStay(0, 18, 11)
	got := s.slicesOf(t, map[float64]*Trainer{})
	mer, sigma := JoinMER(append(got, nil, &Training{})...)
	t.Logf("%.2f %.2f %.2f: %.2f ± %.2f dB", got[0].MERdB, got[1].MERdB, got[2].MERdB, mer, sigma)
	require.InDelta(t, 18+10*math.Log10(MERPerCN), mer, 3*sigma)
	require.InDelta(t, got[1].MERSigmaDB/math.Sqrt(3), sigma, 0.05)
	mer, _ = JoinMER()
	require.True(t, math.IsNaN(mer))
}

func BenchmarkFit(b *testing.B) {
	echoes := plainStay(3e6, 20, 3)
	echoes.paths = append(echoes.paths, arrival{1.3e-6, 0.3}, arrival{7e-6, 0.2i})
	long := plainStay(3e6, 20, 3)
	long.seconds = 0.2
	for _, c := range []struct {
		name string
		stay stay
		know Knowledge
	}{
		{"60ms", plainStay(3e6, 20, 3), Knowledge{RangePPM: 1}},
		{"60msEchoes", echoes, Knowledge{RangePPM: 1}},
		{"60msUnknownClock", plainStay(3e6, 20, 3), Knowledge{}},
		{"200ms", long, Knowledge{RangePPM: 1}},
	} {
		b.Run(c.name, func(b *testing.B) {
			tr, err := NewTrainer(c.stay.rate, c.stay.offset)
			require.NoError(b, err)
			x := c.stay.samples(b)
			c.know.CenterHz = c.stay.center
			b.ReportAllocs()
			for b.Loop() {
				if _, err := tr.Fit(x, c.know); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}

func BenchmarkNewTrainer(b *testing.B) {
	for b.Loop() {
		if _, err := NewTrainer(2.4e6, 3e6); err != nil {
			b.Fatal(err)
		}
	}
}

func TestClockStaysWithCarrier(t *testing.T) {
	if testing.Short() {
		t.Skip("an ensemble: it has its time in the long run")
	}
	// Truth: the simulation's clock. Where paths are as strong as each other,
	// the second field may match the first by another path; the carrier tells
	// that the clock cannot be off by that much.
	trainers := map[float64]*Trainer{}
	for seed := uint64(108); seed < 113; seed++ {
		rng := rand.New(rand.NewPCG(seed, 31))
		s := plainStay([]float64{1e6, 3e6, 5e6}[seed%3], 12+8*rng.Float64(), seed)
		s.center = 180e6 + 400e6*rng.Float64()
		s.ppm = 80*rng.Float64() - 40
		for _, p := range []arrival{{0.63e-6, 0.65}, {2.22e-6, 0.75}, {3.05e-6, 0.86}, {5.86e-6, 1}} {
			s.paths = append(s.paths, arrival{p.delay, p.gain * decibels(0, 7*rng.Float64())})
		}
		got := s.fit(t, trainers, Knowledge{})
		require.GreaterOrEqual(t, got.Fields, 2)
		require.InDelta(t, s.ppm, got.ClockPPM, 5*got.ClockSigmaPPM, "seed %d", seed)
	}
}
