package sim

import (
	"context"
	"math"
	"math/cmplx"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"rooftone/dsp/air"
	"rooftone/dsp/psd"
	"rooftone/dsp/vsb"
	"rooftone/scan/tuner"
)

var ctx = context.Background()

// bench is a town with the bench radio.
func bench(change func(*Town)) Town {
	t := Town{Name: "test", Radio: BenchRadio()}
	if change != nil {
		change(&t)
	}
	return t
}

func open(t testing.TB, town Town, o Options) *Tuner {
	t.Helper()
	s, err := New(town, o)
	require.NoError(t, err)
	return s
}

// take reads n samples of a tuning.
func take(t testing.TB, s *Tuner, centerHz, rateHz, gainDB float64, n int) tuner.Block {
	t.Helper()
	require.NoError(t, s.Tune(ctx, tuner.Tuning{CenterHz: centerHz, RateHz: rateHz, GainDB: gainDB}))
	b, err := s.Read(ctx, make([]complex64, n))
	require.NoError(t, err)
	require.Len(t, b.Samples, n)
	return b
}

// density is the mean periodogram of x, per Hz, under a Hann window; value k is
// at (k − n/2)·rate/n.
func density(t testing.TB, x []complex64, rateHz float64, n int) []float64 {
	t.Helper()
	f, err := psd.NewFFT(n)
	require.NoError(t, err)
	out, y := make([]float64, n), make([]complex64, n)
	blocks := 0
	for at := 0; at+n <= len(x); at += n / 2 {
		for k := range y {
			w := 1 - math.Cos(2*math.Pi*float64(k)/float64(n))
			y[k] = x[at+k] * complex64(complex(w, 0))
		}
		require.NoError(t, f.Transform(y, y))
		for k, z := range y {
			out[(k+n/2)%n] += float64(real(z)*real(z) + imag(z)*imag(z))
		}
		blocks++
	}
	for k := range out {
		out[k] /= 1.5 * float64(n) * rateHz * float64(blocks) // the mean of w² is 3/2
	}
	return out
}

// lineAt finds a tone near a frequency by a plain Fourier sum refined in
// steps, and returns its frequency and power.
func lineAt(x []complex64, rateHz, nearHz, withinHz float64) (hz, power float64) {
	sum := func(f float64) float64 {
		var z complex128
		turn, spin := complex128(1), cmplx.Exp(complex(0, -2*math.Pi*f/rateHz))
		for _, v := range x {
			z += complex128(v) * turn
			turn *= spin
		}
		a := cmplx.Abs(z) / float64(len(x))
		return a * a
	}
	hz = nearHz
	for step := withinHz / 2; step > 0.02; step /= 2 {
		best, at := -1.0, hz
		for _, f := range []float64{hz - 2*step, hz - step, hz, hz + step, hz + 2*step} {
			if p := sum(f); p > best {
				best, at = p, f
			}
		}
		hz, power = at, best
	}
	return hz, power
}

// Theory: k·T·B, the noise figure, and the stated full scale.
func TestNoiseFloorIsThermal(t *testing.T) {
	for _, c := range []struct{ gain, figure float64 }{{49.6, 6}, {30.3, 7.65}} {
		s := open(t, bench(func(w *Town) { w.Radio.Bits = 0 }), Options{})
		b := take(t, s, 500e6, 2.4e6, c.gain, 1<<19)
		require.Equal(t, nearest(Gains(), c.gain), b.GainDB)
		factor := math.Pow(10, .6) - 1900*math.Pow(10, -4.96) + 1900*math.Pow(10, -b.GainDB/10)
		require.InDelta(t, c.figure, 10*math.Log10(factor), 0.5)
		watts := 1.380649e-23 * 290 * 2.4e6 * factor
		fullScale := -66 + 49.6 - b.GainDB // dBm
		want := 10*math.Log10(watts*1000) - fullScale
		require.InDelta(t, want, air.DB(air.MeanPower(b.Samples)), 5*4.34/math.Sqrt(1<<19)+0.001)
		require.Zero(t, b.Clipped)
	}
}

// Theory: A/53's spectrum by hand: data evenly over 5.381 MHz, the pilot 11.3 dB
// below it, at the stated level.
func TestStationLevelAndPilot(t *testing.T) {
	town := bench(func(w *Town) {
		w.Radio.Bits = 0
		w.Stations = []Station{{RFChannel: 20, LevelDBm: -70, PilotErrorHz: 7}}
	})
	s := open(t, town, Options{})
	const n = 1 << 19
	middle := take(t, s, 509e6, 2.4e6, 49.6, n)
	data := 1 / (1 + math.Pow(10, -1.13)) // of the power
	noise := milliwatts(-173.975+6) * 2.4e6
	want := milliwatts(-70)*data*2.4/5.381 + noise
	require.InDelta(t, dBm(want)+66, air.DB(air.MeanPower(middle.Samples)), 0.1)

	low := take(t, s, 507e6, 2.4e6, 49.6, n)
	hz, power := lineAt(low.Samples, 2.4e6, 506e6+309440.559-507e6+7, 6)
	require.InDelta(t, 506e6+309440.559+7-507e6, hz, 1)
	require.InDelta(t, -70-11.3-0.3+66, air.DB(power), 0.15)
}

// Theory: p(f) of a two-path channel, |1 + a·e^{j(θ − 2π(f−f₀)τ)}|².
func TestEchoesRippleTheSpectrum(t *testing.T) {
	const delay, level, phase = 1.7, -3., 50.
	spectra := func(echoes []Echo) (out []float64) {
		s := open(t, bench(func(w *Town) {
			w.Radio.Bits = 0
			w.Stations = []Station{{RFChannel: 20, LevelDBm: -66, Echoes: echoes}}
		}), Options{})
		for _, offset := range []float64{1e6, 3e6, 5e6} {
			b := take(t, s, 506e6+offset, 2.4e6, 49.6, 1<<18)
			d := density(t, b.Samples, 2.4e6, 256)
			out = append(out, d[21:256-21]...) // ±1 MHz
		}
		return out
	}
	plain := spectra(nil)
	echo := spectra([]Echo{{DelayUS: delay, LevelDB: level, PhaseDeg: phase}})
	i := 0
	for _, offset := range []float64{1e6, 3e6, 5e6} {
		for k := 21; k < 256-21; k++ {
			f := offset + float64(k-128)*2.4e6/256
			if f > 0.5e6 && f < 5.5e6 { // clear of pilot and skirts
				a := math.Pow(10, level/20)
				h := 1 + complex(a, 0)*cmplx.Exp(complex(0, phase*math.Pi/180-2*math.Pi*(f-3e6)*delay*1e-6))
				want := 20 * math.Log10(cmplx.Abs(h))
				require.InDelta(t, want, air.DB(echo[i]/plain[i]), 0.5, "%g Hz", f)
			}
			i++
		}
	}
}

// Theory: a signal at F shows at (F − f(1+p))/(1+p) of the radio's own hertz.
func TestClockErrorMovesTonesAndRate(t *testing.T) {
	for _, ppm := range []float64{-60, 0, 60} {
		const f, tuned = 600.3e6, 600e6
		s := open(t, bench(func(w *Town) { w.Tones = []Tone{{FrequencyHz: f, LevelDBm: -90}} }), Options{PPM: &ppm})
		b := take(t, s, tuned, 2.4e6, 49.6, 1<<19)
		require.Equal(t, 600e6, b.CenterHz)
		require.Equal(t, 2.4e6, b.RateHz)
		want := (f - tuned*(1+ppm*1e-6)) / (1 + ppm*1e-6)
		hz, power := lineAt(b.Samples, 2.4e6, want, 4)
		require.InDelta(t, want, hz, 0.1)
		require.InDelta(t, -90+66, air.DB(power), 0.05)
		// The rate too: the samples took less or more true time.
		require.InDelta(t, 6e-3+(1<<19)/(2.4e6*(1+ppm*1e-6)), s.Elapsed().Seconds(), 1e-8)
	}
}

// Theory: harmonics of 28.8 MHz stand exactly at their places on the radio's
// own scale, whatever its clock does.
func TestSpursStandOnTheRadiosScale(t *testing.T) {
	ppm := 43.
	s := open(t, bench(func(w *Town) { w.Radio.SpurDBm = -110 }), Options{PPM: &ppm})
	for _, k := range []float64{2, 7, 17, 18, 21} {
		center := k*28.8e6 - 0.4e6
		b := take(t, s, center, 2.4e6, 49.6, 1<<18)
		hz, power := lineAt(b.Samples, 2.4e6, 0.4e6, 4)
		require.InDelta(t, 0.4e6, hz, 0.3, "harmonic %g", k)
		require.InDelta(t, -110+66, air.DB(power), 6.5)
	}
	b := take(t, s, 18.5*28.8e6, 2.4e6, 49.6, 1<<18)
	for _, d := range density(t, b.Samples, 2.4e6, 4096) {
		require.Less(t, d*2.4e6/4096*1.5, 1e-6, "no tone between harmonics")
	}
}

// Theory: the pass band's closed form, on noise alone.
func TestPassBandOnNoise(t *testing.T) {
	s := open(t, bench(func(w *Town) {
		w.Radio.Bits, w.Radio.DroopDB, w.Radio.TiltDB = 0, 2, 0.8
	}), Options{})
	b := take(t, s, 600e6, 2.4e6, 49.6, 1<<21)
	d := density(t, b.Samples, 2.4e6, 64)
	require.InDelta(t, 0.8, air.DB(d[48]/d[16]), 0.12)         // ±1/4 of the rate
	require.InDelta(t, -2, air.DB((d[4]+d[60])/2/d[32]), 0.15) // ±0.4375
	require.InDelta(t, air.DB(s.stay.noise/s.stay.rateHz), air.DB(d[32]), 0.1)
}

// Theory: uniform rounding, 2·step²/12 in all, beside the thermal noise.
func TestRoundingNoise(t *testing.T) {
	s := open(t, bench(nil), Options{})
	b := take(t, s, 600e6, 2.4e6, 49.6, 1<<20)
	thermal := milliwatts(-173.975+6+66) * 2.4e6
	want := thermal + 2./12/(127.5*127.5)
	require.InEpsilon(t, want, air.MeanPower(b.Samples), 6/math.Sqrt(1<<20))
	truth, err := s.Truth(30)
	require.NoError(t, err)
	require.InDelta(t, dBm(2./12/(127.5*127.5)*6/2.4)-66, truth.RoundingDBm, 0.02)
	require.InDelta(t, -106.19+6, truth.ThermalDBm, 0.01)
	require.True(t, math.IsInf(truth.CNDB, -1))

	// The converter's levels are those of the common byte format.
	for _, z := range b.Samples[:1000] {
		require.Equal(t, z, complex(tuner.FromByte(tuner.ToByte(real(z))), tuner.FromByte(tuner.ToByte(imag(z)))))
	}
}

// Theory: how often a Gaussian value passes the last threshold.
func TestClippingIsCounted(t *testing.T) {
	town := bench(func(w *Town) { w.Stations = []Station{{RFChannel: 30, LevelDBm: -60}} })
	s := open(t, town, Options{})
	const n = 1 << 19
	b := take(t, s, 569e6, 2.4e6, 49.6, n)
	power := milliwatts(-60+66) * vsb.DataPower(1.8e6, 4.2e6)
	sigma := math.Sqrt(power / 2)
	beyond := math.Erfc(126.5 / 127.5 * (1 + 0.5/126.5) / sigma / math.Sqrt2) // either rail
	want := n * (1 - math.Pow(1-beyond, 2))
	require.InEpsilon(t, want, float64(b.Clipped), 0.05)

	quiet := take(t, s, 569e6, 2.4e6, 20, n)
	require.Zero(t, quiet.Clipped)
}

// Theory: a program of tunings and reads gives the same samples and times in
// whatever pieces it is read, and again when it is run again.
func TestPiecesAndRepeatsAreTheSame(t *testing.T) {
	town, err := Load(Demo)
	require.NoError(t, err)
	run := func(pieces func(i int) int) (out []complex64, clock time.Duration) {
		s := open(t, town, Options{})
		for _, hz := range []float64{507e6, 509e6, 621e6, 507e6} {
			require.NoError(t, s.Tune(ctx, tuner.Tuning{CenterHz: hz, RateHz: 2.4e6, GainDB: 30}))
			x := make([]complex64, 30_001)
			for at, i := 0, 0; at < len(x); i++ {
				n := min(pieces(i), len(x)-at)
				b, err := s.Read(ctx, x[at:at+n])
				require.NoError(t, err)
				at += len(b.Samples)
			}
			out = append(out, x...)
		}
		return out, s.Elapsed()
	}
	whole, clock := run(func(int) int { return 1 << 20 })
	again, _ := run(func(int) int { return 1 << 20 })
	pieces, clock2 := run(func(i int) int { return 1 + i*i%5000 })
	require.Equal(t, whole, again)
	require.Equal(t, whole, pieces)
	require.Equal(t, clock, clock2)

	seed := uint64(5)
	other := open(t, town, Options{Seed: &seed})
	b := take(t, other, 507e6, 2.4e6, 30, 30_001)
	require.NotEqual(t, whole[:30_001], b.Samples)
}

// Theory: settling takes its time on the radio's clock; what it delivers until
// then is wrong, and right from then on.
func TestSettling(t *testing.T) {
	town := bench(func(w *Town) { w.Tones = []Tone{{FrequencyHz: 600.3e6, LevelDBm: -80}} })
	patient, hasty := open(t, town, Options{}), open(t, town, Options{Unsettled: true})
	take(t, patient, 600e6, 2.4e6, 49.6, 240)
	require.InDelta(t, 6.1e-3, patient.Elapsed().Seconds(), 1e-9)

	const settle = 14400 // 6 ms
	b := take(t, hasty, 600e6, 2.4e6, 49.6, 4*settle)
	require.InDelta(t, 24e-3, hasty.Elapsed().Seconds(), 1e-9)
	blank := air.MeanPower(b.Samples[:settle/10])
	require.InDelta(t, -38, air.DB(blank), 1, "noise alone")
	_, early := lineAt(b.Samples[settle/10:settle/3], 2.4e6, 0.3e6, 4)
	_, late := lineAt(b.Samples[settle:], 2.4e6, 0.3e6, 4)
	require.InDelta(t, -14, air.DB(late), 0.1)
	require.Less(t, air.DB(early), -20.0)
}

// Theory: Block.Start is the epoch and the radio's clock at its first sample.
func TestBlocksCarryTheirTime(t *testing.T) {
	epoch := time.Date(2031, 5, 6, 7, 8, 9, 0, time.UTC)
	s := open(t, bench(nil), Options{Epoch: epoch})
	a := take(t, s, 600e6, 2.4e6, math.NaN(), 24_000)
	require.Equal(t, epoch.Add(6*time.Millisecond), a.Start)
	require.InDelta(t, 49.6, a.GainDB, 1e-9, "the gain is the highest until it is set")
	b, err := s.Read(ctx, make([]complex64, 10))
	require.NoError(t, err)
	require.Equal(t, epoch.Add(16*time.Millisecond), b.Start)
	c := take(t, s, 601e6, 1.2e6, 20, 10)
	require.Equal(t, epoch.Add(16*time.Millisecond+6*time.Millisecond+4167*time.Nanosecond), c.Start)
}

// Theory: what a tuner promises about its edges.
func TestTunerRefuses(t *testing.T) {
	s := open(t, bench(nil), Options{})
	_, err := s.Read(ctx, make([]complex64, 1))
	require.ErrorContains(t, err, "not tuned")
	for _, to := range []tuner.Tuning{
		{CenterHz: 5e6, RateHz: 2.4e6}, {CenterHz: 2e9, RateHz: 2.4e6}, {CenterHz: math.NaN(), RateHz: 2.4e6},
		{CenterHz: 500e6, RateHz: 0.9e6}, {CenterHz: 500e6, RateHz: 20e6}, {CenterHz: 500e6, RateHz: math.NaN()},
	} {
		require.Error(t, s.Tune(ctx, to), "%+v", to)
	}
	over, cancel := context.WithCancel(ctx)
	cancel()
	require.ErrorIs(t, s.Tune(over, tuner.Tuning{CenterHz: 500e6, RateHz: 2.4e6}), context.Canceled)
	take(t, s, 500e6, 3e6, 0, 1)
	require.InDelta(t, 3e6, s.tuning.RateHz, 1)
	b, err := s.Read(over, make([]complex64, 5))
	require.ErrorIs(t, err, context.Canceled)
	require.Empty(t, b.Samples)
	require.NoError(t, s.Close())
	_, err = s.Read(ctx, make([]complex64, 1))
	require.Error(t, err)
	require.Error(t, s.Tune(ctx, tuner.Tuning{CenterHz: 500e6, RateHz: 2.4e6}))
	_, err = s.Truth(37)
	require.Error(t, err)
}

// Theory: the wall clock. A reader in real time waits; one who is late has lost
// samples and is told so.
func TestRealTime(t *testing.T) {
	s := open(t, bench(nil), Options{RealTime: true})
	began := time.Now()
	take(t, s, 600e6, 1e6, 0, 60_000)
	require.GreaterOrEqual(t, time.Since(began), 59*time.Millisecond)
	time.Sleep(400 * time.Millisecond)
	b, err := s.Read(ctx, make([]complex64, 1000))
	require.NoError(t, err)
	require.True(t, b.Lost)
	require.Greater(t, s.Elapsed(), 390*time.Millisecond)
	b, err = s.Read(ctx, make([]complex64, 1000))
	require.NoError(t, err)
	require.False(t, b.Lost)
	over, cancel := context.WithTimeout(ctx, 20*time.Millisecond)
	defer cancel()
	_, err = s.Read(over, make([]complex64, 10_000_000))
	require.ErrorIs(t, err, context.DeadlineExceeded)
}
