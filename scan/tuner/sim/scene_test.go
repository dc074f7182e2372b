package sim

import (
	"math"
	"math/cmplx"
	"testing"

	"github.com/stretchr/testify/require"

	"rooftone/dsp/air"
	"rooftone/dsp/vsb"
	"rooftone/scan/tuner"
)

// visit measures the power in a channel from three slices, relative to full
// scale: the mean density within 1 MHz of each slice's middle.
func visit(t *testing.T, s *Tuner, lowerHz, gainDB float64, n int) float64 {
	t.Helper()
	var sum float64
	for _, offset := range []float64{1e6, 3e6, 5e6} {
		b := take(t, s, lowerHz+offset, 2.4e6, gainDB, n)
		d := density(t, b.Samples, 2.4e6, 1024)
		const step = 2.4e6 / 1024
		for k, v := range d {
			// Each value stands for a step around it; those at ±1 MHz in part.
			f := math.Abs(float64(k-512)) * step
			sum += v * step * math.Max(0, math.Min(1, (1e6-f)/step+0.5))
		}
	}
	return sum
}

// Theory: the power found in 6 MHz is the station's and the noise's, with
// echoes as |H|² weighs them, and of two stations on one channel the sum.
func TestChannelPowerIsTheTownsNumbers(t *testing.T) {
	town := bench(func(w *Town) {
		w.Stations = []Station{
			{RFChannel: 14, LevelDBm: -84},
			{RFChannel: 16, LevelDBm: -76, Echoes: []Echo{{DelayUS: 3.3, LevelDB: -4, PhaseDeg: 77}, {DelayUS: -0.7, LevelDB: -9}}},
			{RFChannel: 18, LevelDBm: -76, Echoes: []Echo{{DelayUS: 2, LevelDB: -5, DopplerHz: 40}}},
			{RFChannel: 20, LevelDBm: -80}, {RFChannel: 20, LevelDBm: -83, PilotErrorHz: 300},
		}
	})
	s := open(t, town, Options{})
	for _, ch := range []int{14, 16, 18, 20} {
		truth, err := s.Truth(ch)
		require.NoError(t, err)
		got := visit(t, s, truth.Channel.LowerHz, 49.6, 1<<18) * milliwatts(-66)
		want := milliwatts(truth.SignalDBm) + milliwatts(truth.NoiseDBm) + milliwatts(truth.InterferenceDBm)
		require.InDelta(t, dBm(want), dBm(got), 0.1, "RF %d", ch)
	}
}

// Theory: what the shoulders and a flat block put into a slice.
func TestShouldersAndBlocksHaveTheirLevel(t *testing.T) {
	town := bench(func(w *Town) {
		w.Radio.Bits = 0
		w.Stations = []Station{{RFChannel: 30, LevelDBm: -60, ShouldersDB: -22}}
		w.Services = []Service{{Kind: "lte", FrequencyHz: 622e6, WidthHz: 9e6, LevelDBm: -70}}
	})
	s := open(t, town, Options{})
	got := visit(t, s, 572e6, 30, 1<<18)
	got *= milliwatts(-66 + 49.6 - s.gain)
	truth, err := s.Truth(31) // at the gain of the visit
	require.NoError(t, err)
	want := milliwatts(truth.NoiseDBm) + milliwatts(truth.InterferenceDBm)
	require.InDelta(t, dBm(want), dBm(got), 0.1)
	require.Greater(t, truth.InterferenceDBm, truth.NoiseDBm+5)

	b := take(t, s, 622e6, 2.4e6, 49.6, 1<<18)
	inside := -70 + dBm(2.4/9) + 66
	require.InDelta(t, inside, air.DB(air.MeanPower(b.Samples)-s.stay.noise), 0.1)
	b = take(t, s, 622e6-4.5e6, 2.4e6, 49.6, 1<<18) // its lower edge in the middle
	d := density(t, b.Samples, 2.4e6, 256)
	require.Greater(t, air.DB(d[160]/d[96]), 25.0)
}

// Theory: a keyed carrier has its share of the time; impulses their mean power.
func TestServicesInTime(t *testing.T) {
	town := bench(func(w *Town) {
		w.Radio.Bits = 0
		w.Services = []Service{
			{Kind: "land-mobile", FrequencyHz: 471.3125e6, LevelDBm: -60, OnShare: 0.4, OnSeconds: 1e-3},
			{Kind: "fm", FrequencyHz: 98.3e6, LevelDBm: -60},
		}
	})
	s := open(t, town, Options{})
	b := take(t, s, 471e6, 2.4e6, 30, 1<<20)
	power := milliwatts(-60) * s.stay.scale * s.stay.scale
	require.InDelta(t, 0.4, air.MeanPower(b.Samples)/power, 5*math.Sqrt(0.24/437))
	b = take(t, s, 98e6, 2.4e6, 30, 1<<18)
	require.InDelta(t, 1, air.MeanPower(b.Samples)/power, 0.01)

	town = bench(func(w *Town) {
		w.Radio.Bits = 0
		w.Impulses = []Impulses{{LevelDBm: -60, DecayUS: 3, BurstsPerSecond: 2000, PulsesPerBurst: 2, Spread: 0.5}}
	})
	s = open(t, town, Options{})
	b = take(t, s, 500e6, 2.4e6, 49.6, 1<<20)
	want := milliwatts(-60+66)*2.4/6*3e-6*2000*2 + s.stay.noise
	require.InEpsilon(t, want, air.MeanPower(b.Samples), 0.1)
}

// Theory: Rayleigh fading keeps the mean power and empties now and then;
// lognormal shadowing keeps the median.
func TestFadingStations(t *testing.T) {
	if testing.Short() {
		t.Skip("an ensemble: it has its time in the long run")
	}
	levels := func(f Fading, stays int) (dB []float64, mean float64) {
		s := open(t, bench(func(w *Town) {
			w.Radio.Bits, w.Radio.SettleMS = 0, 1000
			w.Stations = []Station{{RFChannel: 20, LevelDBm: -50, Fading: &f}}
		}), Options{})
		for range stays {
			b := take(t, s, 509e6, 2.4e6, 20, 4096)
			p := (air.MeanPower(b.Samples) - s.stay.noise) / s.stay.scale / s.stay.scale
			p /= milliwatts(-50) * vsb.DataPower(1.8e6, 4.2e6)
			dB = append(dB, air.DB(p))
			mean += p / float64(stays)
		}
		return dB, mean
	}
	dB, mean := levels(Fading{Kind: "rayleigh", DopplerHz: 7}, 300)
	require.InDelta(t, 1, mean, 0.25)
	deep := 0
	for _, v := range dB {
		if v < -10 {
			deep++
		}
	}
	require.InDelta(t, 300*(1-math.Exp(-0.1)), deep, 5*math.Sqrt(27)+3)

	dB, _ = levels(Fading{Kind: "lognormal", SigmaDB: 4, Seconds: 0.5}, 300)
	var sum, square float64
	for _, v := range dB {
		sum += v / 300
		square += v * v / 300
	}
	require.InDelta(t, 0, sum, 1)
	require.InDelta(t, 4, math.Sqrt(square-sum*sum), 0.8)
}

// Theory: an echo that moves turns against the main path by its Doppler shift:
// the pilot's power beats with that period.
func TestDopplerBeatsOnThePilot(t *testing.T) {
	s := open(t, bench(func(w *Town) {
		w.Radio.Bits = 0
		w.Stations = []Station{{RFChannel: 20, LevelDBm: -60, Echoes: []Echo{{DelayUS: 1, LevelDB: -6, DopplerHz: 50}}}}
	}), Options{})
	const hz = vsb.PilotOffsetHz - 1e6
	b := take(t, s, 507e6, 2.4e6, 40, 96_000) // 40 ms: two beats
	var most, least float64 = 0, 1e9
	for at := 0; at+4800 <= len(b.Samples); at += 2400 {
		var z complex128
		for k, v := range b.Samples[at : at+4800] {
			z += complex128(v) * cmplx.Exp(complex(0, -2*math.Pi*hz*float64(k)/2.4e6))
		}
		most, least = math.Max(most, cmplx.Abs(z)), math.Min(least, cmplx.Abs(z))
	}
	require.InDelta(t, 20*math.Log10(1.501/0.499), 20*math.Log10(most/least), 1)
}

// Theory: a tone that wanders goes to its limits and back, in its time.
func TestToneWanders(t *testing.T) {
	s := open(t, bench(func(w *Town) {
		w.Radio.Bits = 0
		w.Tones = []Tone{{FrequencyHz: 500.1e6, LevelDBm: -70, DriftHz: 200, DriftSeconds: 2}}
	}), Options{})
	b := take(t, s, 500e6, 1e6, 49.6, 2_000_000)
	began := 6e-3
	for _, at := range []float64{0.1, 0.5, 1.0, 1.4, 1.9} {
		k := int((at - began) * 1e6)
		hz, _ := lineAt(b.Samples[k-5000:k+5000], 1e6, 100e3, 512)
		require.InDelta(t, 100e3+200*math.Sin(math.Pi*at), hz, 10, "at %g s", at)
	}
}

// Theory: the cubic curve itself, on both stations rendered side by side at a
// rate that holds them and their product.
func TestProductsAreTheCubesOwn(t *testing.T) {
	const a, b, rate, intercept = -40., -43., 60e6, -20.
	// RF 22 and 23 make products on 24 (2·23−22) and 21; look at 24.
	x := make([]complex64, 1<<20)
	for i, c := range []struct{ lower, level float64 }{{518e6, a}, {524e6, b}} {
		r, err := vsb.NewRenderer(rate, 527e6-c.lower)
		require.NoError(t, err)
		require.NoError(t, r.Add(x, vsb.NewWaveform(uint64(i)), 1, 1/rate, complex(math.Sqrt(milliwatts(c.level)), 0)))
	}
	air.Compress(x, milliwatts(intercept))
	d := density(t, x, rate, 2048)
	// Levels at max gain; the middle 4 MHz of RF 24 (530–536), clear of lines.
	var want float64
	step := rate / 2048
	for k, v := range d {
		if f := 527e6 + float64(k-1024)*step; f > 531e6 && f < 535e6 {
			want += v * step
		}
	}

	limit := intercept
	s := open(t, bench(func(w *Town) {
		w.Radio.Bits, w.Radio.FullScaleDBm, w.Radio.IIP3DBm = 0, -30, &limit
		w.Stations = []Station{{RFChannel: 22, LevelDBm: a}, {RFChannel: 23, LevelDBm: b}}
	}), Options{})
	got := func(gain float64) float64 {
		require.NoError(t, s.Tune(ctx, tuner.Tuning{CenterHz: 533e6, RateHz: 2.4e6, GainDB: gain}))
		var sum float64
		for _, e := range s.products(&s.stay, s.gain) {
			sum += e.within(531e6, 535e6)
		}
		return sum
	}
	most := got(49.6)
	require.InDelta(t, dBm(want), dBm(most), 1)
	full := take(t, s, 533e6, 2.4e6, 49.6, 1<<18)
	var inSlice float64
	for _, e := range s.products(&s.stay, s.gain) {
		inSlice += e.within(533e6-1.2e6, 533e6+1.2e6)
	}
	require.InDelta(t, dBm(inSlice)+30, air.DB(air.MeanPower(full.Samples)-s.stay.noise), 0.2)

	// 3 dB per dB in the samples is 2 dB per dB at the terminals.
	less := got(44)
	require.InDelta(t, 2*(49.6-s.gain), dBm(most)-dBm(less), 1e-6)

	// The pilots' product stands where a station's pilot would.
	hz, _ := lineAt(take(t, s, 531e6, 2.4e6, 49.6, 1<<19).Samples, 2.4e6, 530e6+vsb.PilotOffsetHz-531e6, 8)
	require.InDelta(t, 530e6+vsb.PilotOffsetHz-531e6, hz, 1)
}

// Theory: a wide radio sees a whole channel at once, and two of them.
func TestWideRadio(t *testing.T) {
	s := open(t, bench(func(w *Town) {
		w.Radio.Wide, w.Radio.Bits = true, 12
		w.Stations = []Station{{RFChannel: 20, LevelDBm: -80}, {RFChannel: 21, LevelDBm: -90}}
	}), Options{})
	require.Equal(t, "ci16_le", s.Info().Datatype)
	b := take(t, s, 512e6, 20e6, 49.6, 1<<19)
	require.Equal(t, 20e6, b.RateHz)
	want := milliwatts(-80+66) + milliwatts(-90+66) + s.stay.noise
	require.InEpsilon(t, want, air.MeanPower(b.Samples), 0.01)
	truth, err := s.Truth(20)
	require.NoError(t, err)
	require.InDelta(t, -80-truth.ThermalDBm, truth.CNDB, 0.05)
}

// Theory: a synthesiser's grid moves the tuning by what it rounds.
func TestTuningStep(t *testing.T) {
	s := open(t, bench(func(w *Town) {
		w.Radio.TuningStepHz = 220
		w.Tones = []Tone{{FrequencyHz: 500.1e6, LevelDBm: -80}}
	}), Options{})
	const asked = 500e6 + 37
	b := take(t, s, asked, 2.4e6, 49.6, 1<<18)
	require.Equal(t, float64(asked), b.CenterHz)
	reached := math.Round(asked/220.) * 220
	hz, _ := lineAt(b.Samples, 2.4e6, 100e3, 128)
	require.InDelta(t, 500.1e6-reached, hz, 0.5)
}

// Theory: the middle of every slice holds the stated tone and nothing else of
// the radio's own does on the bench.
func TestDirectCurrent(t *testing.T) {
	s := open(t, bench(func(w *Town) { w.Radio.DCDBFS = -40 }), Options{})
	b := take(t, s, 500e6, 2.4e6, 49.6, 1<<18)
	_, power := lineAt(b.Samples, 2.4e6, 0, 4)
	require.InDelta(t, -40, air.DB(power), 0.1)
}

// Theory: the gain strays with frequency and takes signal and noise along.
func TestRippleTakesSignalAndNoise(t *testing.T) {
	town := bench(func(w *Town) {
		w.Radio.RippleDB, w.Radio.Bits = 1.5, 0
		w.Tones = []Tone{{FrequencyHz: 500.3e6, LevelDBm: -90}, {FrequencyHz: 560.3e6, LevelDBm: -90}}
	})
	s := open(t, town, Options{})
	var tones, floors []float64
	for _, hz := range []float64{500e6, 560e6} {
		b := take(t, s, hz, 2.4e6, 49.6, 1<<18)
		_, p := lineAt(b.Samples, 2.4e6, 0.3e6, 4)
		tones = append(tones, air.DB(p))
		floors = append(floors, air.DB(density(t, b.Samples, 2.4e6, 64)[32]))
	}
	require.InDelta(t, tones[1]-tones[0], floors[1]-floors[0], 0.25)
	lowest, highest := math.Inf(1), math.Inf(-1)
	for f := 470e6; f < 608e6; f += 1e6 {
		v, slope := s.town.Radio.ripple(f)
		next, _ := s.town.Radio.ripple(f + 1)
		require.InDelta(t, slope, next-v, 1e-9)
		lowest, highest = math.Min(lowest, v), math.Max(highest, v)
	}
	require.Greater(t, highest-lowest, 1.5)
	require.LessOrEqual(t, highest-lowest, 3.0)
}
