package sim

import (
	"math"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"rooftone/dsp/air"
	"rooftone/scan/tuner"
)

// like is a town whose radio is a common dongle's, but for what a test leaves
// of its faults: none, until change puts some back.
func like(change func(*Town)) Town {
	return bench(func(w *Town) {
		w.Radio.Bits, w.Radio.Front = 0, FrontDongle
		change(w)
	})
}

// long leaves a test of much arithmetic to the run without the race detector,
// which finds nothing in a radio of one goroutine.
func long(t *testing.T) {
	if testing.Short() {
		t.Skip("it has its time in the long run")
	}
}

// Truth: what was measured on real dongles: the averaged noise at shares of half
// the rate, and what folds back from beyond it, ±2 dB.
func TestDonglesNoiseAndFolding(t *testing.T) {
	long(t)
	var shares = []float64{1.04, 1.08, 1.12, 1.16, 1.2}
	s := open(t, like(func(w *Town) {
		for k, share := range shares {
			w.Tones = append(w.Tones, Tone{FrequencyHz: 600e6 + 20e6*float64(k) + share*0.96e6, LevelDBm: -90})
		}
	}), Options{})
	b := take(t, s, 570e6, 1.92e6, 49.6, 1<<20)
	d := density(t, b.Samples, 1.92e6, 256)
	for share, want := range map[float64]float64{-0.95: -4, -0.85: -2.3, -0.5: 0.7, 0.5: -0.8, 0.8: -1.7, 0.9: -3.4, 0.95: -4.5} {
		k := 128 + int(math.Round(share*128))
		got := air.DB((d[k-1] + d[k] + d[k+1]) / (d[127] + d[128] + d[129]))
		require.InDelta(t, want, got, 0.6, "noise at %g of half the rate", share)
	}
	for k, want := range []float64{-10, -13, -15, -21, -25} {
		b := take(t, s, 600e6+20e6*float64(k), 1.92e6, 49.6, 1<<18)
		alias := shares[k]*0.96e6 - 1.92e6
		_, power := lineAt(b.Samples, 1.92e6, alias, 4)
		require.InDelta(t, -90+66+want, air.DB(power), 1, "from %g of half the rate", shares[k])
	}
	s = open(t, like(func(w *Town) {
		w.Radio.FoldDB = 10
		w.Tones = []Tone{{FrequencyHz: 500e6 + 1.12*0.96e6, LevelDBm: -90}}
	}), Options{})
	_, power := lineAt(take(t, s, 500e6, 1.92e6, 49.6, 1<<18).Samples, 1.92e6, -0.88*0.96e6, 4)
	require.InDelta(t, -90+66-15+10, air.DB(power), 1)
}

// Truth: the levels of a station's data and of a block of carriers by their
// spectra, times the pass band of air, folded by hand.
func TestFoldedSpectra(t *testing.T) {
	long(t)
	s := open(t, like(func(w *Town) {
		w.Stations = []Station{{RFChannel: 20, LevelDBm: -60}} // 506 to 512 MHz
		w.Services = []Service{{Kind: "lte", FrequencyHz: 621e6, WidthHz: 4e6, LevelDBm: -60}}
	}), Options{})
	front := air.Dongle()
	front.StrayDB = 0
	for _, c := range []struct {
		center, from, to, per float64
	}{
		{504.7e6, 506.4e6, 508e6, (1 - 1/(1+math.Pow(10, 1.13))) / 5.381e6},
		{617.75e6, 619e6, 620e6, 1 / 4e6},
	} {
		b := take(t, s, c.center, 2.4e6, 49.6, 1<<19)
		d := density(t, b.Samples, 2.4e6, 256)
		band := front.Band(c.center, 2.4e6, 49.6)
		for _, share := range []float64{-0.95, -0.9, -0.86} {
			offset := share * 1.2e6
			beyond := offset + 2.4e6
			if hz := c.center + beyond; hz < c.from+20e3 || hz > c.to {
				continue
			}
			want := milliwatts(-60+66)*c.per*band.Power(beyond) + s.stay.noise/2.4e6*band.Noise(offset)
			if hz := c.center + offset; hz > c.from && hz < c.to {
				want += milliwatts(-60+66) * c.per * band.Power(offset)
			}
			k := 128 + int(math.Round(share*128))
			require.InDelta(t, air.DB(want), air.DB((d[k-1]+d[k]+d[k+1])/3), 0.7, "%g of half the rate at %g MHz", share, c.center/1e6)
		}
	}
}

// Truth: definitions. A step is between nothing and 5/3 of its name, what is
// lost at the top comes on top of that, and levels and floors follow the real
// gains.
func TestGainsAreNotWhatTheySay(t *testing.T) {
	town := like(func(w *Town) {
		w.Radio.StepStray, w.Radio.TopLossDB, w.Radio.Seed = 1, 3, 5
		w.Tones = []Tone{{FrequencyHz: 600.3e6, LevelDBm: -100}}
	})
	s := open(t, town, Options{})
	names := Gains()
	least, most := math.Inf(1), 0.
	for i := 1; i < len(names); i++ {
		if step := names[i] - names[i-1]; names[i] <= topFrom {
			share := (s.real[i] - s.real[i-1]) / step
			require.True(t, share >= -1e-9 && share <= 5./3+1e-9)
			least, most = math.Min(least, share), math.Max(most, share)
		}
	}
	require.Less(t, least, 0.4)
	require.Greater(t, most, 1.3)
	for _, i := range []int{8, 16, 22, 28} {
		b := take(t, s, 600e6, 2.4e6, names[i], 1<<17)
		require.Equal(t, names[i], b.GainDB)
		_, power := lineAt(b.Samples, 2.4e6, 0.3e6, 8)
		require.InDelta(t, -100+66-49.6+s.real[i], air.DB(power), 0.5)
	}
	exact := BenchRadio()
	exact.TopLossDB = 3
	real := exact.realGains(names)
	require.InDelta(t, 49.6, real[28], 1e-9)
	require.InDelta(t, names[5]+3, real[5], 1e-9, "the top stays 3 dB behind")
	truth, err := s.Truth(20)
	require.NoError(t, err)
	require.InDelta(t, -106.19+6, truth.ThermalDBm, 0.05)
}

// Truth: the definition. Two levels 10 dB apart come out as the same one, and
// nothing is said of it.
func TestAGCLeftOn(t *testing.T) {
	for _, level := range []float64{-85, -75} {
		s := open(t, like(func(w *Town) {
			w.Radio.AGC = true
			w.Tones = []Tone{{FrequencyHz: 600.3e6, LevelDBm: level}}
		}), Options{})
		b := take(t, s, 600e6, 2.4e6, 49.6, 1<<19)
		require.Equal(t, 49.6, math.Round(b.GainDB*10)/10)
		require.InDelta(t, -14, air.DB(air.MeanPower(b.Samples[1<<18:])), 0.1)
	}
}

// Truth: theory. Third-order products change by 2 dB for 1 dB of intercept.
func TestInterceptMoves(t *testing.T) {
	limit := -20.
	r := BenchRadio()
	r.InterceptStrayDB, r.IIP3DBm = 3, &limit
	least, most := math.Inf(1), math.Inf(-1)
	for hz := 470e6; hz < 690e6; hz += 5e6 {
		least, most = math.Min(least, r.interceptDB(hz)), math.Max(most, r.interceptDB(hz))
	}
	require.InDelta(t, -3, least, 0.1)
	require.InDelta(t, 3, most, 0.1)
	var got []float64
	for _, stray := range []float64{0, 3} {
		s := open(t, like(func(w *Town) {
			w.Radio.IIP3DBm, w.Radio.InterceptStrayDB = &limit, stray
			w.Tones = []Tone{{FrequencyHz: 560.2e6, LevelDBm: -25}, {FrequencyHz: 580.2e6, LevelDBm: -25}}
		}), Options{})
		_, power := lineAt(take(t, s, 600e6, 2.4e6, 20, 1<<18).Samples, 2.4e6, 0.2e6, 4)
		got = append(got, air.DB(power))
	}
	require.InDelta(t, -2*r.interceptDB(600e6), got[1]-got[0], 0.2)
}

// Truth: the exponential that is stated, for the tuning, for the sample rate,
// within a stay as from stay to stay; harmonics stand on the radio's own scale.
func TestClockWarmsUp(t *testing.T) {
	long(t)
	const f = 600.1e6
	town := like(func(w *Town) {
		w.Radio.WarmUpPPM, w.Radio.WarmUpSeconds, w.Radio.PPM = -5, 2, 20
		w.Tones = []Tone{{FrequencyHz: f, LevelDBm: -80}}
		w.Radio.SpurDBm = -100
	})
	ppm := func(at float64) float64 { return 20 - 5*(1-math.Exp(-at/2)) }
	shows := func(at float64) float64 {
		clock := 1 + ppm(at)*1e-6
		return (f - 600e6*clock) / clock
	}
	s := open(t, town, Options{})
	b := take(t, s, 600e6, 1e6, 49.6, 3_000_000)
	for _, at := range []float64{0.05, 0.5, 1, 2, 2.9} {
		k := int(at * 1e6)
		hz, _ := lineAt(b.Samples[k-10_000:k+10_000], 1e6, shows(at), 64)
		require.InDelta(t, shows(at), hz, 8, "at %g s", at)
	}
	s.Wait(20 * time.Second)
	hz, _ := lineAt(take(t, s, 600e6, 1e6, 49.6, 1<<18).Samples, 1e6, shows(30), 8)
	require.InDelta(t, shows(30), hz, 1)
	hz, _ = lineAt(take(t, s, 604.7e6, 1e6, 49.6, 1<<18).Samples, 1e6, 100e3, 8)
	require.InDelta(t, 100e3, hz, 0.3, "21 times 28.8 MHz")
}

// Truth: theory. The time that a clock has gained is the integral of what it is
// fast by, summed in steps.
func TestGained(t *testing.T) {
	r := BenchRadio()
	r.WarmUpPPM, r.WarmUpSeconds = 4, 30
	const from, step = 12, 1e-3
	sum := 0.
	for k := range 20_000 {
		sum += (r.ppm(from+(float64(k)+0.5)*step) - r.ppm(from)) * 1e-6 * step
	}
	require.InDelta(t, sum, r.gained(from, 20), 1e-12)
}

// Truth: the definition of dBc per Hz, from the spectrum beside a clean tone.
func TestPhaseNoise(t *testing.T) {
	long(t)
	s := open(t, like(func(w *Town) {
		w.Radio.PhaseNoiseDBc = -80
		w.Tones = []Tone{{FrequencyHz: 600e6, LevelDBm: -66}}
	}), Options{})
	const n, rate = 1 << 21, 2.4e6
	b := take(t, s, 600e6, rate, 49.6, n)
	d := density(t, b.Samples, rate, 2048)
	for _, c := range []struct{ hz, want float64 }{
		{10e3, -80}, {30e3, -80 - 10*math.Log10(2/(1+1./9))}, {60e3, -80 - 10*math.Log10((1+4.)/(1+1./9))},
	} {
		k := int(math.Round(c.hz / rate * 2048))
		var sum float64
		for i := -2; i <= 2; i++ {
			sum += (d[1024+k+i] + d[1024-k-i]) / 10
		}
		require.InDelta(t, c.want, air.DB(sum-s.stay.noise/rate), 1.5, "%g Hz away", c.hz)
	}
	_, power := lineAt(b.Samples, rate, 0, 2)
	require.InDelta(t, 0, air.DB(power), 0.1)
}

// Truth: the definition. A share of the frequencies does not lock: a tone that
// stands there is not heard, and the radio says that it was tuned.
func TestSomeFrequenciesDoNotLock(t *testing.T) {
	long(t)
	town := like(func(w *Town) {
		w.Radio.UnlockedShare = 0.2
		for k := range 60 {
			w.Tones = append(w.Tones, Tone{FrequencyHz: 500.3e6 + 2e6*float64(k), LevelDBm: -85})
		}
	})
	s := open(t, town, Options{})
	deaf := 0
	for k := range 60 {
		hz := 500e6 + 2e6*float64(k)
		b := take(t, s, hz, 2.4e6, 49.6, 1<<15)
		require.Equal(t, hz, b.CenterHz)
		_, power := lineAt(b.Samples, 2.4e6, 0.3e6, 64)
		if locked := air.DB(power) > -20; !locked {
			deaf++
			require.False(t, s.town.Radio.locks(hz))
		} else {
			require.True(t, s.town.Radio.locks(hz))
		}
	}
	require.True(t, deaf > 3 && deaf < 25, "%d of 60", deaf)
}

// Truth: the definition. After a change of rate samples may be wrong for longer
// than is passed over, up to the most; else they are right at once.
func TestLateAfterAnotherRate(t *testing.T) {
	long(t)
	town := like(func(w *Town) {
		w.Radio.SettleMostMS = 100
		w.Tones = []Tone{{FrequencyHz: 600.1e6, LevelDBm: -80}}
	})
	s := open(t, town, Options{})
	// right is from which 5 ms on the tone has its level.
	right := func(rate float64) float64 {
		x := take(t, s, 600e6, rate, 49.6, int(0.12*rate)).Samples
		n := int(5e-3 * rate)
		for at := 0; at+n <= len(x); at += n {
			if _, p := lineAt(x[at:at+n], rate, 0.1e6, 64); math.Abs(air.DB(p)+14) < 0.5 {
				return float64(at) / rate
			}
		}
		return 1
	}
	require.Zero(t, right(2.4e6), "the first")
	latest := 0.
	for range 4 {
		latest = math.Max(latest, math.Max(right(1.2e6), right(2.4e6)))
		require.Zero(t, right(2.4e6), "the same rate")
	}
	require.True(t, latest > 0.01 && latest <= 0.1, "%g s", latest)
}

// Truth: theory. A tone's phase goes on by what was lost, some tens of times in
// so many seconds, and no block says so; the radio's time goes on too.
func TestLostSamples(t *testing.T) {
	long(t)
	const rate, seconds, every = 1e6, 4, 0.2
	s := open(t, like(func(w *Town) {
		w.Radio.LoseEveryS = every
		w.Tones = []Tone{{FrequencyHz: 600e6 + 100, LevelDBm: -70}}
	}), Options{})
	require.NoError(t, s.Tune(ctx, tuner.Tuning{CenterHz: 600e6, RateHz: rate, GainDB: 49.6}))
	const part = 1024
	jumps, before, lost := 0, 0., 0.
	x := make([]complex64, part)
	for at := 0; at < seconds*rate; at += part {
		b, err := s.Read(ctx, x)
		require.NoError(t, err)
		require.False(t, b.Lost)
		var sum complex128
		for k, z := range b.Samples {
			sum += complex128(z) * turn(-100*float64(k)/rate)
		}
		phase := math.Atan2(imag(sum), real(sum)) / (2 * math.Pi)
		step := phase - before - 100*part/rate
		step -= math.Round(step)
		if at > 0 && math.Abs(step) > 0.01 {
			jumps++
			if step < 0 {
				step++
			}
			lost += step / 100
		}
		before = phase
	}
	require.True(t, jumps > 8 && jumps < 40, "%d jumps", jumps)
	require.InDelta(t, 6e-3+math.Ceil(seconds*rate/part)*part/rate+float64(s.lost)/rate, s.Elapsed().Seconds(), 1e-6)
	require.Greater(t, s.lost, int64(0))
}

// Truth: what was measured on zero-IF tuners: an image of −28 to −40 dB that
// depends on frequency, and the noise's hump in the middle.
func TestZeroIF(t *testing.T) {
	town := bench(func(w *Town) {
		w.Radio.Front, w.Radio.Bits = FrontZeroIF, 0
		zero := ZeroIFRadio()
		w.Radio.ImageDB, w.Radio.ImageStrayDB = zero.ImageDB, zero.ImageStrayDB
		for k := range 9 {
			w.Tones = append(w.Tones, Tone{FrequencyHz: 500.3e6 + 20e6*float64(k), LevelDBm: -70})
		}
	})
	s := open(t, town, Options{})
	least, most := 0., -100.
	for k := range 9 {
		x := take(t, s, 500e6+20e6*float64(k), 1.92e6, 49.6, 1<<17).Samples
		_, tone := lineAt(x, 1.92e6, 0.3e6, 8)
		_, image := lineAt(x, 1.92e6, -0.3e6, 8)
		ratio := air.DB(image / tone)
		require.True(t, ratio > -41 && ratio < -27, "%g dB", ratio)
		least, most = math.Min(least, ratio), math.Max(most, ratio)
	}
	require.Greater(t, most-least, 6.)
	x := take(t, s, 700e6, 1.92e6, 49.6, 1<<20).Samples
	d := density(t, x, 1.92e6, 2048)
	level := func(hz float64) float64 {
		k := int(math.Round(hz / 1.92e6 * 2048))
		var sum float64
		for i := -2; i <= 2; i++ {
			sum += (d[1024+k+i] + d[1024-k-i]) / 10
		}
		return air.DB(sum)
	}
	// Read off the recording, from its noise at half of half the rate.
	for hz, want := range map[float64]float64{41e3: 6.5, 98e3: 3.7, 135e3: 2.8, 285e3: 1} {
		require.InDelta(t, want, level(hz)-level(480e3), 0.6, "%g Hz", hz)
	}
}

// Truth: the radios' descriptions: rates, bits, what folds.
func TestRadios(t *testing.T) {
	for model, bits := range map[string]int{"": 8, "dongle": 8, "zero-if": 8, "wide": 12, "bench": 8} {
		town, err := Parse([]byte("[town]\nname = \"x\"\n[radio]\nmodel = \"" + model + "\"\nseed = 5\n"))
		require.NoError(t, err)
		require.Equal(t, bits, town.Radio.Bits)
		s := open(t, town, Options{})
		err = s.Tune(ctx, tuner.Tuning{CenterHz: 600e6, RateHz: 10e6, GainDB: 30})
		require.Equal(t, model == "wide", err == nil, model)
	}
	_, err := Parse([]byte("[town]\nname = \"x\"\n[radio]\nmodel = \"gold\"\n"))
	require.ErrorContains(t, err, "model")
	for _, text := range []string{"front = \"gold\"", "droop_db = 2", "model = \"bench\"\nfold_db = 3", "step_stray = 2", "unlocked_share = -1", "agc = 3", "image_db = 3"} {
		_, err := Parse([]byte("[town]\nname = \"x\"\n[radio]\n" + text + "\n"))
		require.Error(t, err, text)
	}
	ideal, err := Parse([]byte("[town]\nname = \"x\"\n[radio]\nmodel = \"bench\"\n"))
	require.NoError(t, err)
	require.Equal(t, BenchRadio(), ideal.Radio)
}
