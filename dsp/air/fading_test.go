package air

import (
	"math"
	"math/cmplx"
	"testing"

	"github.com/stretchr/testify/require"
)

// Theory: Clarke's model. Mean power 1, |h|² exponential, autocorrelation J₀.
func TestRayleigh(t *testing.T) {
	const doppler = 10.
	var power, below float64
	var lags [4]complex128
	delays := [4]float64{0.005, 0.02, 0.0383, 0.1} // J₀'s first zero is at 2.405/(2π·10)
	const processes, each = 200, 500
	for p := range uint64(processes) {
		r := NewRayleigh(p, doppler)
		for i := range each {
			at := float64(i) * 0.37
			h := r.Gain(at)
			q := real(h)*real(h) + imag(h)*imag(h)
			power += q
			if q < 0.1 {
				below++
			}
			for k, d := range delays {
				lags[k] += r.Gain(at+d) * cmplx.Conj(h)
			}
		}
	}
	const total = processes * each
	require.InDelta(t, 1, power/total, 0.01)
	require.InDelta(t, 1-math.Exp(-0.1), below/total, 0.005)
	for k, d := range delays {
		require.InDelta(t, math.J0(2*math.Pi*doppler*d), real(lags[k])/total, 0.02, "lag %g s", d)
	}
}

// Theory: normal in decibels, Gaussian autocorrelation.
func TestLogNormal(t *testing.T) {
	const sigma, seconds = 4., 3.
	var sum, square, lag, above float64
	const processes, each = 200, 500
	for p := range uint64(processes) {
		l := NewLogNormal(p, sigma, seconds)
		for i := range each {
			at := float64(i) * 11
			g := l.GainDB(at)
			sum += g
			square += g * g
			lag += g * l.GainDB(at+seconds)
			if g > 2*sigma {
				above++
			}
		}
	}
	const total = processes * each
	require.InDelta(t, 0, sum/total, 0.1)
	require.InDelta(t, sigma, math.Sqrt(square/total), 0.1)
	require.InDelta(t, math.Exp(-0.5), lag/square, 0.02)
	require.InDelta(t, math.Erfc(math.Sqrt2)/2, above/total, 0.003)
}

// Theory: constant envelope; Carson's bandwidth holds 98 % and more; the phase
// is the integral of the frequency.
func TestFM(t *testing.T) {
	const rate, hz, peak, highest = 2.4e6, 3e5, 75e3, 15e3
	s := NewFM(3, 0.25, hz, peak, highest)
	x := make([]complex64, 1<<16)
	s.Add(x, 5, 1/rate)
	var most, envelope, frequency float64
	for k, z := range x {
		envelope = math.Max(envelope, math.Abs(cmplx.Abs(complex128(z))-0.5))
		f := s.Frequency(5 + (float64(k)+0.5)/rate)
		most = math.Max(most, math.Abs(f-hz))
		if k+1 < len(x) {
			step := cmplx.Phase(complex128(x[k+1]) * cmplx.Conj(complex128(z)))
			frequency = math.Max(frequency, math.Abs(f-step*rate/(2*math.Pi)))
		}
	}
	require.LessOrEqual(t, envelope, 1e-6)
	require.LessOrEqual(t, frequency, 2.0)
	require.LessOrEqual(t, most, peak)
	require.Greater(t, most, 0.5*peak)
	const n = 4096
	var inside, total float64
	for k, d := range spectrum(t, x, n) {
		f := float64(k) / n * rate
		if k >= n/2 {
			f -= rate
		}
		total += d
		if math.Abs(f-hz) <= peak+highest {
			inside += d
		}
	}
	require.Greater(t, inside/total, 0.98)
}

// Theory: the share of time, and the same answer within a period.
func TestKeyed(t *testing.T) {
	on := 0
	for i := range 10_000 {
		at := float64(i)*2 + 0.1
		k := Keyed(1, 0.3, 2, at)
		require.Equal(t, k, Keyed(1, 0.3, 2, at+1.8))
		if k {
			on++
		}
	}
	require.InDelta(t, 3000, on, 5*math.Sqrt(2100))
}

// Theory: Campbell's theorem for the mean power; the burst's place in time.
func TestImpulses(t *testing.T) {
	const rate = 2.4e6
	s := &Impulses{Seed: 2, Power: 1, Decay: 5e-6, BurstsPerSecond: 2000, PulsesPerBurst: 4, Spread: 0.25}
	x := make([]complex64, 1<<22)
	s.Add(x, 100, 1/rate)
	bursts := float64(len(x)) / rate * s.BurstsPerSecond
	require.InEpsilon(t, s.MeanPower(), MeanPower(x), 5*math.Sqrt(0.6/bursts/4))
	for k, z := range x {
		phase := math.Mod((100+float64(k)/rate)*s.BurstsPerSecond, 1)
		if phase > 0.25+pulseEnds*s.Decay*s.BurstsPerSecond && z != 0 {
			t.Fatalf("sample %d, outside every burst, is %v", k, z)
		}
	}
	s.Add(nil, 0, 1)
	(&Impulses{}).Add(x, 0, 1)
}
