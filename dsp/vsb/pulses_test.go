package vsb

import (
	"math"
	"math/cmplx"
)

// errorDB is the power of a−b over that of b in dB.
func errorDB(a []complex64, b []complex128) float64 {
	var wrong, power float64
	for i := range b {
		d := complex128(a[i]) - b[i]
		wrong += real(d)*real(d) + imag(d)*imag(d)
		power += real(b[i])*real(b[i]) + imag(b[i])*imag(b[i])
	}
	return 10 * math.Log10(wrong/power)
}

// rootRaisedCosine is the textbook's impulse response of a root-raised-cosine
// filter for symbols of duration 1, 1 in the flat part of its spectrum.
func rootRaisedCosine(t, rollOff float64) float64 {
	switch {
	case t == 0:
		return 1 - rollOff + 4*rollOff/math.Pi
	case math.Abs(math.Abs(4*rollOff*t)-1) < 1e-9:
		a := math.Pi / (4 * rollOff)
		return rollOff / math.Sqrt2 * ((1+2/math.Pi)*math.Sin(a) + (1-2/math.Pi)*math.Cos(a))
	}
	x := 4 * rollOff * t
	return (math.Sin(math.Pi*t*(1-rollOff)) + x*math.Cos(math.Pi*t*(1+rollOff))) / (math.Pi * t * (1 - x*x))
}

// sumOfPulses adds up the pulses of symbols around time t, in closed form, for
// a slice with its centre at offsetHz that passes the whole channel.
func sumOfPulses(levels []float32, first int64, offsetHz, t float64) complex128 {
	const fs = SymbolRateHz
	var sum complex128
	for i, level := range levels {
		if level == 0 {
			continue
		}
		dt := t - float64(first+int64(i))/fs
		// Two symbols last as long as one of a signal with this Nyquist bandwidth.
		envelope := rootRaisedCosine(dt*fs/2, RollOff) / 2
		carrier := 2 * math.Pi * (ChannelWidthHz/2 - PilotOffsetHz) * dt
		sum += complex(float64(level)*envelope, 0) * cmplx.Exp(complex(0, carrier))
	}
	return sum * cmplx.Exp(complex(0, 2*math.Pi*(PilotOffsetHz-offsetHz)*t)) * pulseHeight
}

// spectrumOfPulses holds the spectrum of some symbols' pulses as seen through
// a slice, every stepHz.
type spectrumOfPulses struct {
	lowHz, stepHz float64 // from the slice's centre
	values        []complex128
	origin        float64 // the time that phases count from
	carrierHz     float64 // where the pilot is
}

// newSpectrumOfPulses sums, in float64 and term by term, the spectra of the
// pulses of levels, which begin with symbol first.
func newSpectrumOfPulses(levels []float32, first int64, rateHz, offsetHz, stepHz float64) *spectrumOfPulses {
	const fs = SymbolRateHz
	s := &spectrumOfPulses{
		lowHz: -0.54 * rateHz, stepHz: stepHz,
		origin: float64(first) / fs, carrierHz: PilotOffsetHz - offsetHz,
	}
	for f := s.lowHz; f <= 0.54*rateHz; f += stepHz {
		// The squared response is a raised cosine; the slice's filter is one.
		raised := func(f, flat, end float64) float64 {
			x := (math.Abs(f) - flat) / (end - flat)
			return (1 + math.Cos(math.Pi*math.Max(0, math.Min(1, x)))) / 2
		}
		pulse := math.Sqrt(raised(f+offsetHz-3e6, fs/4*(1-0.1152), fs/4*(1+0.1152)))
		amplitude := pulse * raised(f, 0.46*rateHz, 0.54*rateHz) * pulseHeight / fs * stepHz
		turn := cmplx.Exp(complex(0, -2*math.Pi*(f-s.carrierHz)/fs))
		var sum complex128
		for i := len(levels) - 1; i >= 0; i-- { // Horner's rule
			sum = sum*turn + complex(float64(levels[i]), 0)
		}
		s.values = append(s.values, sum*complex(amplitude, 0))
	}
	return s
}

// at is the signal at time t: the integral of the spectrum.
func (s *spectrumOfPulses) at(t float64) complex128 {
	dt := t - s.origin
	turn := cmplx.Exp(complex(0, 2*math.Pi*s.stepHz*dt))
	var sum complex128
	for i := len(s.values) - 1; i >= 0; i-- {
		sum = sum*turn + s.values[i]
	}
	return sum * cmplx.Exp(complex(0, 2*math.Pi*(s.lowHz*dt+s.carrierHz*s.origin)))
}
