//go:build amd64 || arm64

package psd

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/require"
)

// The kernels in plain Go, with every rounding where they round. What is not to be
// fused is converted, for on some processors Go fuses by itself.

// fused is a·b + c rounded once. A float64 holds the product; the sum is rounded
// to odd there, so that rounding it again to a float32 does no harm (Boldo and
// Melquiond, "Emulation of FMA and correctly rounded sums", IEEE Trans. Comput.
// 57 (2008)).
func fused(a, b, c float32) float32 {
	p, z := float64(a)*float64(b), float64(c)
	sum := float64(p + z)
	t := float64(sum - p)
	rest := float64(p-float64(sum-t)) + float64(z-t)
	if bits := math.Float64bits(sum); rest != 0 && bits&1 == 0 {
		if (rest > 0) == (sum > 0) {
			bits++
		} else {
			bits--
		}
		sum = math.Float64frombits(bits)
	}
	return float32(sum)
}

// turn is a product as TURN and TWIST make it.
func turn(x, w complex64) complex64 {
	return complex(
		fused(real(x), real(w), -float32(imag(x)*imag(w))),
		fused(imag(x), real(w), float32(real(x)*imag(w))))
}

func quartet(a, b, c, d complex64) [4]complex64 {
	e, o, s, t := a+c, a-c, b+d, b-d
	return [4]complex64{e + s, complex(real(o)+imag(t), imag(o)-real(t)), e - s, complex(real(o)-imag(t), imag(o)+real(t))}
}

func at(rows []float32, row, lane int) complex64 {
	return complex(rows[row*rowLen+lane], rows[row*rowLen+lanes+lane])
}

func put(rows []float32, row, lane int, v complex64) {
	rows[row*rowLen+lane], rows[row*rowLen+lanes+lane] = real(v), imag(v)
}

func radix4Plain(rows []float32, twiddle []complex64, q, groups int) {
	for g := range groups {
		for j := range q {
			for l := range lanes {
				r := g*4*q + j
				y := quartet(at(rows, r, l), at(rows, r+q, l), at(rows, r+2*q, l), at(rows, r+3*q, l))
				put(rows, r, l, y[0])
				for k := 1; k < 4; k++ {
					put(rows, r+k*q, l, turn(y[k], twiddle[3*j+k-1]))
				}
			}
		}
	}
}

func radix2Plain(rows []float32, groups int) {
	for g := range groups {
		for l := range lanes {
			a, b := at(rows, 2*g, l), at(rows, 2*g+1, l)
			put(rows, 2*g, l, a+b)
			put(rows, 2*g+1, l, a-b)
		}
	}
}

func powerPlain(sums, rows []float32, count int) {
	for r := range count {
		for l := range lanes {
			v := at(rows, r, l)
			s := fused(real(v), real(v), sums[r*lanes+l])
			sums[r*lanes+l] = fused(imag(v), imag(v), s)
		}
	}
}

// join8Plain returns the eight results for frequency k, whose lanes stand in row.
func join8Plain(x [lanes]complex64, w [lanes]complex64) [lanes]complex64 {
	for l := 1; l < lanes; l++ {
		x[l] = turn(x[l], w[l])
	}
	even, odd := quartet(x[0], x[2], x[4], x[6]), quartet(x[1], x[3], x[5], x[7])
	h := math.Float32frombits(0x3f3504f3)
	a := odd[1]
	odd[1] = complex(float32(float32(real(a)+imag(a))*h), float32(float32(imag(a)-real(a))*h))
	odd[2] = complex(imag(odd[2]), 0-real(odd[2]))
	a = odd[3]
	odd[3] = complex(float32(float32(imag(a)-real(a))*h), 0-float32(float32(imag(a)+real(a))*h))
	var y [lanes]complex64
	for q := range 4 {
		y[q], y[q+4] = even[q]+odd[q], even[q]-odd[q]
	}
	return y
}

func dot8Plain(x []complex64, taps []float32, count int) complex64 {
	var sums [4][8]float32
	for i := 0; i < count; i += 8 {
		for half := range 2 {
			for k := range 8 {
				z := x[i+4*half+k/2]
				v := real(z)
				if k%2 == 1 {
					v = imag(z)
				}
				h := taps[(i+4*half)*4:]
				sums[2*half][k] = fused(v, h[k], sums[2*half][k])
				sums[2*half+1][k] = fused(v, h[8+k], sums[2*half+1][k])
			}
		}
	}
	var y [8]float32
	for k := range y {
		a := float32(sums[0][k] + sums[2][k])
		b := float32(sums[1][k^1] + sums[3][k^1])
		if k%2 == 0 {
			b = -b
		}
		y[k] = a + b
	}
	return complex((y[0]+y[4])+(y[2]+y[6]), (y[1]+y[5])+(y[3]+y[7]))
}

// rough are numbers of all sizes, so that many a rounding differs from its
// neighbours.
func rough(n int, rng *rand.Rand) []float32 {
	x := make([]float32, n)
	for i := range x {
		x[i] = float32(rng.NormFloat64() * math.Exp(3*rng.NormFloat64()))
	}
	return x
}

func roughComplex(n int, rng *rand.Rand) []complex64 {
	x, parts := make([]complex64, n), rough(2*n, rng)
	for i := range x {
		x[i] = complex(parts[2*i], parts[2*i+1])
	}
	return x
}

func TestFused(t *testing.T) {
	// Truth: sums in whole numbers, which show the last bit.
	for _, c := range []struct{ a, b, c, want float32 }{
		{1 << 12, 1 << 12, 1, 1 << 24},                             // a tie goes to even
		{1 << 12, 1 << 12, 3, 1<<24 + 4},                           // likewise
		{4097, 4097, -(1 << 24), 8193},                             // a product that no float32 holds
		{1 << 12, 1 << 12, 1 + 0x1p-23, 1<<24 + 2},                 // just past a tie
		{0x1p-60, 0x1p-60, 1, 1},                                   // far below
		{1 + 0x1p-12, 1 + 0x1p-12, 0x1p-77, 1 + 0x1p-11 + 0x1p-23}, // just past a tie, told only by what a float64 drops
		{1 + 0x1p-12, 1 + 0x1p-12, -0x1p-77, 1 + 0x1p-11},          // just short of it
	} {
		require.Equal(t, c.want, fused(c.a, c.b, c.c), "%v", c)
	}
}

func TestRowKernelsToTheBit(t *testing.T) {
	// Truth: the same arithmetic in plain code, to the last bit.
	if !haveLanes() {
		t.Skip("this processor has no kernels")
	}
	rng := random(11)
	for _, c := range []struct{ q, groups int }{{1, 3}, {2, 2}, {4, 1}, {16, 3}} {
		n := 4 * c.q * c.groups
		got := append(alignedFloats(0), rough(n*rowLen, rng)...)
		want := append([]float32(nil), got...)
		twiddle := roughComplex(3*c.q, rng)
		radix4(&got[0], &got[0], c.q, c.q, &twiddle[0], c.q, c.groups)
		radix4Plain(want, twiddle, c.q, c.groups)
		require.Equal(t, want, got, "%+v", c)

		radix2(&got[0], n/2)
		radix2Plain(want, n/2)
		require.Equal(t, want, got, "%+v", c)

		sums := rough(n*lanes, rng)
		sums2 := append([]float32(nil), sums...)
		power2(&sums[0], &got[0], n/2)
		radix2Plain(want, n/2)
		powerPlain(sums2, want, n)
		require.Equal(t, sums2, sums, "%+v", c)

		power4(&sums[0], &got[0], n/4)
		copy(want, got)
		one := []complex64{1, 1, 1}
		radix4Plain(want, one, 1, n/4)
		powerPlain(sums2, want, n)
		require.Equal(t, sums2, sums, "%+v", c)
	}
}

func TestEdgeKernelsToTheBit(t *testing.T) {
	// Truth: the same arithmetic in plain code, to the last bit.
	if !haveLanes() {
		t.Skip("this processor has no kernels")
	}
	rng := random(12)
	const hop, count = 24, 16
	x, window := roughComplex(7*hop+count, rng), rough(count, rng)
	rows, want := make([]float32, count*rowLen), make([]float32, count*rowLen)
	load8(&rows[0], &x[0], hop, &window[0], count)
	for r := range count {
		for s := range lanes {
			v := x[r+s*hop]
			put(want, r, s, complex(real(v)*window[r], imag(v)*window[r]))
		}
	}
	require.Equal(t, want, rows)

	for _, flip := range []uint32{0, 1 << 31} {
		sign := float32(1)
		if flip != 0 {
			sign = -1
		}
		loadRow(&rows[0], &x[0], flip, count)
		for r := range count {
			for s := range lanes {
				v := x[r*lanes+s]
				put(want, r, s, complex(real(v), sign*imag(v)))
			}
		}
		require.Equal(t, want, rows)

		order := make([]int32, count)
		for k, r := range rng.Perm(count) {
			order[k] = int32(r)
		}
		twiddle, scratch := rough(count*7*2, rng), alignedFloats(12*rowLen)
		dst, dst2 := make([]complex64, count*lanes), make([]complex64, count*lanes)
		join8(&dst[0], count, &rows[0], &order[0], &twiddle[0], &scratch[0], flip, count/lanes)
		for k := range count {
			var v, w [lanes]complex64
			for l := range lanes {
				v[l] = at(rows, int(order[k]), l)
				if l > 0 {
					w[l] = at(twiddle[k/lanes*7*rowLen:], l-1, k%lanes)
				}
			}
			for q, y := range join8Plain(v, w) {
				dst2[k+q*count] = complex(real(y), sign*imag(y))
			}
		}
		require.Equal(t, dst2, dst)
	}

	for _, n := range []int{8, 16, 104} {
		taps := rough(4*n, rng)
		require.Equal(t, dot8Plain(x, taps, n), dot8(&x[0], &taps[0], n), n)
	}
}
