package ofdm

import (
	"math"
	"math/cmplx"
	"testing"

	"github.com/stretchr/testify/require"
)

func TestRegister(t *testing.T) {
	// Truth: worked by hand from 0x019D, which comes out lowest bit first, and
	// b[n+16] = b[n]⊕b[n+1]⊕b[n+14]⊕b[n+15].
	want := []int{1, 0, 1, 1, 1, 0, 0, 1, 1, 0, 0, 0, 0, 0, 0, 0, 1, 0, 1, 1, 1, 0, 0, 0}
	r := register(firstSeed)
	for i, b := range want {
		require.Equal(t, b, r.next(), "bit %d", i)
	}
	// Truth: theory. Over the integers modulo 2 the polynomial is the product
	// of x⁵+x⁴+x³+x²+1 and x¹¹+x⁸+x⁷+x⁶+x⁵+x⁴+x²+x+1, whose periods are 31 and
	// 2047.
	product := 0
	for i := range 5 + 1 {
		product ^= 0b100111110111 << i * (0b111101 >> i & 1)
	}
	require.Equal(t, 1<<16|1<<15|1<<14|1<<1|1, product)
	r = firstSeed
	for n := 1; ; n++ {
		if r.next(); r == firstSeed {
			require.Equal(t, 31*2047, n)
			break
		}
	}
}

func TestZadoffChu(t *testing.T) {
	// Truth: worked by hand. Value 1 is at −π·274/1499, value 2 at −π·822/1499;
	// 749·750·137 is 1499·51340 + 1090, so value 749 is at −π·1090/1499;
	// 1498·1499 is an even multiple, so the last value is 1.
	for n, turns := range map[int]float64{
		0: 0, 1: 137. / 1499, 2: 411. / 1499, 749: 545. / 1499, 1498: 0,
	} {
		require.InDelta(t, 0, cmplx.Abs(zadoffChu(n)-cmplx.Exp(complex(0, -2*math.Pi*turns))), 1e-12, "value %d", n)
	}
	// Truth: theory. All are of magnitude 1, the same from both ends, and
	// uncorrelated with themselves at any shift around the ring.
	for n := range zadoffChuLength {
		require.InDelta(t, 1, cmplx.Abs(zadoffChu(n)), 1e-12)
		require.InDelta(t, 0, cmplx.Abs(zadoffChu(n)-zadoffChu(zadoffChuLength-1-n)), 1e-9)
	}
	for _, shift := range []int{1, 2, 137, 700} {
		var sum complex128
		for n := range zadoffChuLength {
			sum += zadoffChu(n) * cmplx.Conj(zadoffChu((n+shift)%zadoffChuLength))
		}
		require.InDelta(t, 0, cmplx.Abs(sum), 1e-8)
	}
}

func TestCarriers(t *testing.T) {
	// Truth: A/321's rule, on the first bits 1011: −, +, −, − from carrier
	// −749 up, the same from 749 down, nothing in the middle.
	s := carriers(0)
	require.Zero(t, s[outermost])
	for n, sign := range []complex128{-1, 1, -1, -1, -1, 1, 1, -1} {
		require.InDelta(t, 0, cmplx.Abs(s[n]-sign*zadoffChu(n)), 1e-12)
		require.InDelta(t, 0, cmplx.Abs(s[1498-n]-sign*zadoffChu(n)), 1e-9)
	}
	// The sequence runs on: the second symbol's begins with bit 749.
	r := register(firstSeed)
	for range 749 {
		r.next()
	}
	sign := complex(float64(1-2*r.next()), 0)
	require.InDelta(t, 0, cmplx.Abs(carriers(1)[0]-sign), 1e-12)
	// Truth: theory. Different stretches of the sequence have little in common.
	for n := 1; n < BootstrapSymbols; n++ {
		var sum complex128
		for i, v := range carriers(n) {
			sum += v * cmplx.Conj(s[i])
		}
		require.Less(t, cmplx.Abs(sum)/activeCarriers, 0.15)
	}
}
