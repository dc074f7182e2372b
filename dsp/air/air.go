// Package air is the simulated path between a transmitter and the samples that
// a cheap radio delivers: noise, tones, echoes, fading, other services, and the
// faults of the radio itself.
//
// # Conventions
//
// Samples are []complex64 with full scale 1. A power is the mean of |z|², so a
// complex tone of amplitude 1 has power 1. Frequencies are in hertz from the
// slice's centre, times in seconds. Decibels appear only where a name says so.
//
// There are three sorts of kernel.
//
//   - Sources are functions of absolute time: Add(dst, start, step) adds what
//     the source sends at the times start + k·step. Any stretch can be asked
//     for in any order, and is the same however it is cut up.
//   - [Noise] and [Shaper] are sequences that a seed begins.
//   - Faults change samples in place. Those with a memory ([FIR], [Delay]) say so.
//
// A [FrontEnd] is none of them: it says by frequency what a radio's filters let
// through and fold back, for whoever makes or takes apart such samples.
//
// Whoever owns a buffer hands it in; nothing here allocates after its New. A
// kernel is for one goroutine.
package air

import "math"

// Amplitude returns the amplitude of a complex tone with the given power in dB
// relative to 1.
func Amplitude(powerDB float64) float64 { return math.Pow(10, powerDB/20) }

// Power returns the power that the given decibels relative to 1 stand for.
func Power(powerDB float64) float64 { return math.Pow(10, powerDB/10) }

// DB returns a power in dB relative to 1, −Inf for none.
func DB(power float64) float64 { return 10 * math.Log10(power) }

// MeanPower returns the mean of |z|² over x, 0 for an empty x.
func MeanPower(x []complex64) float64 {
	if len(x) == 0 {
		return 0
	}
	var sum float64
	for _, z := range x {
		re, im := float64(real(z)), float64(imag(z))
		sum += re*re + im*im
	}
	return sum / float64(len(x))
}

// AddScaled adds gain·src to dst over min(len(dst), len(src)) samples.
func AddScaled(dst, src []complex64, gain complex64) {
	n := min(len(dst), len(src))
	dst, src = dst[:n], src[:n]
	gr, gi := real(gain), imag(gain)
	for k, z := range src {
		re, im := real(z), imag(z)
		d := dst[k]
		dst[k] = complex(real(d)+gr*re-gi*im, imag(d)+gr*im+gi*re)
	}
}

// Seed makes one seed of several numbers, so that every part of a simulation
// draws its own sequence. The order of the numbers matters.
func Seed(parts ...uint64) uint64 {
	h := uint64(0x6a09e667f3bcc908)
	for _, p := range parts {
		h = mix(h + golden ^ mix(p+golden))
	}
	return h
}

// golden is 2⁶⁴ over the golden ratio, the step of the SplitMix64 generator
// (Steele, Lea, Flood 2014).
const golden = 0x9e3779b97f4a7c15

// mix is SplitMix64's finaliser.
func mix(z uint64) uint64 {
	z = (z ^ z>>30) * 0xbf58476d1ce4e5b9
	z = (z ^ z>>27) * 0x94d049bb133111eb
	return z ^ z>>31
}

// unit returns a number in [0, 1) from 64 random bits.
func unit(bits uint64) float64 { return float64(bits>>11) * 0x1p-53 }

// turns returns e^{j2π·cycles}, exact to float64 for many cycles.
func turns(cycles float64) complex128 {
	s, c := math.Sincos(2 * math.Pi * (cycles - math.Floor(cycles)))
	return complex(c, s)
}
