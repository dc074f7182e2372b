package receiver

import (
	"math"
	"math/cmplx"
	"math/rand/v2"
	"reflect"
	"testing"

	"github.com/stretchr/testify/require"

	"rooftone/dsp/psd"
	"rooftone/dsp/vsb"
	"rooftone/dsp/vsb/coding"
)

func TestInterpolator(t *testing.T) {
	// Truth: a tone between its samples, and the plain code for the kernel.
	p := newInterpolator()
	for _, cycles := range []float64{0, 0.1, -0.2, 0.278} {
		x := make([]complex64, 400)
		for i := range x {
			x[i] = complex64(cmplx.Rect(1, 2*math.Pi*cycles*float64(i)))
		}
		const at, step = 10.3, 1.0761
		got, plain := make([]complex64, 300), make([]complex64, 300)
		p.read(got, x, at, step)
		begin, advance := at*math.Exp2(32), step*math.Exp2(32)
		p.readPlain(plain, x, int64(begin), int64(advance))
		for i, v := range got {
			want := cmplx.Rect(1, 2*math.Pi*cycles*(at+step*float64(i)))
			require.Less(t, cmplx.Abs(complex128(v)-want), 3e-5, "%g cycles, %d", cycles, i)
			require.Less(t, cmplx.Abs(complex128(v-plain[i])), 1e-6)
		}
	}
}

func TestInterpolatorToTheBit(t *testing.T) {
	// Truth: the kernels' arithmetic in plain code, fused where they fuse.
	rng := rand.New(rand.NewPCG(8, 8))
	p := newInterpolator()
	x := make([]complex64, 400)
	for i := range x {
		x[i] = complex(float32(rng.NormFloat64()*math.Exp(3*rng.NormFloat64())), float32(rng.NormFloat64()))
	}
	const at, step = 10.3, 1.0761
	got, plain := make([]complex64, 300), make([]complex64, 300)
	p.readPlain(plain, x, int64(at*math.Exp2(32)), int64(step*math.Exp2(32)))
	p.read(got, x, at, step)
	if reflect.DeepEqual(plain, got) {
		t.Skip("this processor has no kernels")
	}
	position, advance := int64(at*math.Exp2(32)), int64(step*math.Exp2(32))
	for n := range got {
		part := uint32(position)
		row := &p[part>>25]
		rest := float32(part&(1<<25-1)) * (1. / (1 << 25))
		s := x[position>>32-tapsBefore:]
		read := func(of func(complex64) float32) float32 {
			var y [4]float32
			for k := range y {
				var tap [4]float32
				for m := range tap {
					place := tapPlace[4*m+k]
					tap[m] = fused(row.step[place], rest, row.tap[place])
				}
				near := fused(tap[2], of(s[8+k]), float32(tap[0]*of(s[k])))
				far := fused(tap[3], of(s[12+k]), float32(tap[1]*of(s[4+k])))
				y[k] = near + far
			}
			return (y[0] + y[2]) + (y[1] + y[3])
		}
		want := complex(read(func(z complex64) float32 { return real(z) }), read(func(z complex64) float32 { return imag(z) }))
		require.Equal(t, want, got[n], n)
		position += advance
	}
}

// fused is a·b + c rounded once. A float64 holds the product; the sum is rounded to
// odd there, so that rounding it again to a float32 does no harm (Boldo and Melquiond,
// "Emulation of FMA and correctly rounded sums", IEEE Trans. Comput. 57 (2008)).
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

func BenchmarkInterpolator(b *testing.B) {
	p := newInterpolator()
	x, dst := make([]complex64, 4096), make([]complex64, 2048)
	b.Run("kernel", func(b *testing.B) {
		for b.Loop() {
			p.read(dst, x, 10, 1.86)
		}
	})
	b.Run("plain", func(b *testing.B) {
		for b.Loop() {
			p.readPlain(dst, x, 10<<32, 186*(1<<32)/100)
		}
	})
}

func TestBeliever(t *testing.T) {
	// Truth: symbols of the encoder in noise. The mean square error of the levels is
	// what is said of it, but for the caution that doubts a symbol's own word, and
	// it falls as the code's gain comes to bear: below a fifth of the noise at 14 dB,
	// a hundredth at 16 dB.
	truth := make([]float32, vsb.FieldSymbols)
	coding.NewBroadcast(packets).Symbols(truth, vsb.FieldSymbols)
	for _, c := range []struct{ snr, most float64 }{{11, 0.8}, {14, 0.2}, {16, 0.012}} {
		sigma := math.Sqrt(vsb.LevelMeanSquare / math.Pow(10, c.snr/10))
		rng := rand.New(rand.NewPCG(1, 2))
		soft := make([]float32, len(truth))
		for i, v := range truth {
			soft[i] = v + float32(sigma*rng.NormFloat64())
		}
		b := newBeliever(new(beliefs))
		noise := make([]float32, blockPieces)
		for i := range noise {
			noise[i] = float32(sigma * sigma)
		}
		say := newTold()
		var square, said, others, open float64
		var own float64
		count, blocks := 0, 0
		for s := 0; s+blockSegments <= vsb.FieldSegments; s += blockSegments {
			b.block(say, soft[s*vsb.SegmentSymbols:][:blockSymbols], noise, s)
			if s < 5*blockSegments {
				continue
			}
			for i := range blockSymbols {
				if i%vsb.SegmentSymbols >= vsb.SegmentSyncSymbols {
					at := (s-1)*vsb.SegmentSymbols + i
					d := float64(say.settled[i] - vsb.PilotLevel - truth[at])
					square += d * d
					d = float64(say.levels[i] - vsb.PilotLevel - truth[at])
					others += d * d
					own += d * float64(soft[at]-truth[at])
					count++
				}
			}
			said += b.doubt
			open += b.open
			blocks++
		}
		square, said = square/float64(count), said/float64(blocks)
		others, open, own = others/float64(count), open/float64(blocks), own/float64(count)
		t.Logf("%g dB: noise %.3f, error %.4f, said to be %.4f; without the own word %.4f, said to be %.4f, of which %.4f is its noise", c.snr, sigma*sigma, square, said, others, open, own)
		require.Less(t, square, c.most*sigma*sigma)
		require.Less(t, square, said*1.1)
		require.Greater(t, square, said/1.1)
		require.InEpsilon(t, others, open, 0.25)
		require.Less(t, math.Abs(own), 0.15*sigma*math.Sqrt(others))
	}
}

func TestSegmentKernels(t *testing.T) {
	// Truth: the plain code, to the last bit.
	rng := rand.New(rand.NewPCG(3, 4))
	tables := new(beliefs)
	for _, variance := range []float32{clearest, 1, 20} {
		table := tables.at(variance)
		soft := make([]float32, kept)
		for i := range soft {
			soft[i] = float32(rng.NormFloat64() * 5)
		}
		for i, v := range []float64{0, 10, -10, 10.02, -10.02, 9.984375, 1e9, -1e9, 1e38, math.Inf(1), math.Inf(-1), math.NaN()} {
			soft[37*i] = float32(v)
		}
		var states, back [coders][4]float32
		for c := range states {
			for i := range states[c] {
				states[c][i], back[c][i] = rng.Float32(), rng.Float32()
			}
		}
		states2, back2 := states, back
		for _, n := range []int{kept, pieceSymbols, coders} {
			forward, forward2 := make([][4]float32, n), make([][4]float32, n)
			entries, entries2 := make([]uint16, n), make([]uint16, n)
			levels, levels2 := make([]float32, n), make([]float32, n)
			aheadGroups(&states, forward, entries, table, soft[:n])
			aheadPlain(&states2, forward2, entries2, table, soft[:n])
			require.Equal(t, entries2, entries)
			require.Equal(t, forward2, forward)
			require.Equal(t, states2, states)
			spread := behindGroups(&back, forward, entries, table, levels)
			spread2 := behindPlain(&back2, forward2, entries2, table, levels2)
			require.Equal(t, levels2, levels)
			require.Equal(t, back2, back)
			require.Equal(t, spread2, spread)
		}

		out := make([]complex64, kept)
		for i := range out {
			out[i] = complex(soft[i], float32(rng.NormFloat64()))
		}
		for i := 0; i < 10*coders; i += coders {
			p := turning{rng.Float32(), rng.Float32(), 1.1}
			var forward, forward2 [coders][4]float32
			var entries, entries2 [coders]uint16
			var soft, soft2, quadrature, quadrature2 [coders]float32
			symbols := (*[coders]complex64)(out[i:])
			lean := glanceGroup(&states, &forward, &entries, table, symbols, &soft, &quadrature, p)
			lean2 := glancePlain(&states2, &forward2, &entries2, table, symbols, &soft2, &quadrature2, p)
			require.Equal(t, states2, states)
			require.Equal(t, forward2, forward)
			require.Equal(t, entries2, entries)
			if i%37 < coders {
				continue // among them are some that are no numbers
			}
			require.Equal(t, lean2, lean, i)
			require.Equal(t, soft2, soft)
			require.Equal(t, quadrature2, quadrature)
		}
	}
}

func TestElementKernels(t *testing.T) {
	// Truth: the plain code, to the last bit.
	rng := rand.New(rand.NewPCG(5, 6))
	some := func(n int) []complex64 {
		x := make([]complex64, n)
		for i := range x {
			x[i] = complex(float32(rng.NormFloat64()), float32(rng.NormFloat64()))
		}
		return x
	}
	for _, n := range []int{0, 1, 3, 4, 5, 63, 64} {
		x, y := some(n), some(n)
		got, want := make([]complex64, n), make([]complex64, n)
		multiply(got, x, y)
		multiplyPlain(want, x, y)
		require.Equal(t, want, got)
		multiply(x, x, y)
		require.Equal(t, want, x)
		reals := make([]float32, n)
		for i := range reals {
			reals[i], want[i] = real(y[i]), complex(real(y[i]), 0)
		}
		widen(got, reals)
		require.Equal(t, want, got)
	}
	for _, n := range []int{4, 8, 64} {
		x, a, b := some(n), some(n), some(n)
		there, back, got, want := make([]complex64, n), make([]complex64, n), make([]complex64, n), make([]complex64, n)
		pair(there, back, a, b)
		fold(got, x, there, back)
		foldPlain(want, x, there, back, n)
		require.Equal(t, want, got)
	}
	for _, n := range []int{0, 1, 4, 7, 60, 96} {
		x, y, made := make([]float32, n), make([]float32, n), some(n)
		for i := range x {
			x[i], y[i] = float32(rng.NormFloat64()), float32(6*rng.NormFloat64())
		}
		if n > 4 {
			x[2], y[3] = float32(math.NaN()), float32(math.Inf(1))
		}
		got, want := make([]float32, n), make([]float32, n)
		by := blending{0.3, 1.7, 0.1, -9, 8}
		blend(got, x, y, by)
		blendPlain(want, x, y, by)
		require.Equal(t, want, got)
		clear(x)
		mix(got, y, made, 0.2, 0.8)
		mixPlain(want, y, made, 0.2, 0.8)
		require.Equal(t, want, got)
	}
	const runs = 5
	received, made, turns := some(runs*runSymbols), some(runs*runSymbols), some(runs)
	for i := range made {
		made[i] *= blockSize
	}
	var errors, errors2 [runs * runSymbols]complex64
	var lean, lean2, strength, strength2 [runs]float32
	subtractRuns(errors[:], received, made, turns, lean[:], strength[:])
	subtractPlain(errors2[:], received, made, turns, lean2[:], strength2[:])
	require.Equal(t, errors2, errors)
	require.Equal(t, lean2, lean)
	require.Equal(t, strength2, strength)
}

func BenchmarkBeliever(b *testing.B) {
	soft := make([]float32, blockSymbols)
	rng := rand.New(rand.NewPCG(1, 2))
	for i := range soft {
		soft[i] = float32(rng.NormFloat64() * 4)
	}
	b.Run("kernels", func(b *testing.B) {
		say, noise := newTold(), make([]float32, blockPieces)
		v := newBeliever(new(beliefs))
		for b.Loop() {
			v.block(say, soft, noise, 3)
		}
		b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(b.N)/blockSymbols, "ns/symbol")
	})
	b.Run("plain", func(b *testing.B) {
		levels := make([]float32, kept)
		v := newBeliever(new(beliefs))
		table := v.tables.at(1)
		for b.Loop() {
			aheadPlain(&v.states, v.forward[:kept], v.entries[:kept], table, soft[:kept])
			behindPlain(&v.states, v.forward[:kept], v.entries[:kept], table, levels)
		}
		b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(b.N)/kept, "ns/symbol")
	})
}

func TestFold(t *testing.T) {
	// Truth: the definition: each filter alone, of whose output the real part is taken.
	rng := rand.New(rand.NewPCG(9, 6))
	fft, err := psd.NewFFT(64)
	require.NoError(t, err)
	var x, a, b, there, back, got, first, second [64]complex64
	for i := range x {
		x[i], a[i], b[i] = complex(rng.Float32(), rng.Float32()), complex(rng.Float32(), rng.Float32()), complex(rng.Float32(), rng.Float32())
	}
	pair(there[:], back[:], a[:], b[:])
	fold(got[:], x[:], there[:], back[:])
	multiplyPlain(first[:], x[:], a[:])
	multiplyPlain(second[:], x[:], b[:])
	for _, v := range []*[64]complex64{&got, &first, &second} {
		require.NoError(t, fft.Inverse(v[:], v[:]))
	}
	for i, v := range got {
		require.InDelta(t, real(first[i]), real(v), 1e-3)
		require.InDelta(t, real(second[i]), imag(v), 1e-3)
	}
}

func TestBlocksOutlastAnInt32(t *testing.T) {
	// Truth: arithmetic. After 200 s more symbols have come than an int of 32 bits
	// holds, and all of them are known to have been sent.
	e := &engine{origin: 2 * blockSymbols}
	require.Equal(t, blockSymbols, e.unknown(0))
	e.blocks = 1
	require.Equal(t, blockSymbols-7, e.unknown(7))
	e.blocks = math.MaxInt32/blockSymbols + 1
	require.Zero(t, e.unknown(0))
	e.blocks = 2 * e.blocks
	require.Zero(t, e.unknown(0))
}

func TestStarter(t *testing.T) {
	// Truth: the paths that the samples of one field sync were made with, in whole
	// symbols.
	const noise = 0.3
	rng := rand.New(rand.NewPCG(5, 6))
	want := map[int]complex128{0: 1, 33: 0.6i, -21: 0.3, 180: -0.4 + 0.2i}
	shape := pulseShape(startSize)
	s, err := newStarter()
	require.NoError(t, err)
	symbols := make([]complex64, startSize)
	known := training(true)
	for i := range symbols {
		symbols[i] = complex(float32(2*rng.IntN(8)-7)+vsb.PilotLevel, 0)
		if i >= 600 && i < 600+len(known) {
			symbols[i] = complex(known[i-600]+vsb.PilotLevel, 0)
		}
	}
	require.NoError(t, s.fft.Transform(symbols, symbols))
	for k := range symbols {
		var h complex128
		for delay, gain := range want {
			h += gain * cmplx.Rect(1, -2*math.Pi*float64(k*delay)/startSize)
		}
		symbols[k] *= complex64(h) * complex(shape[k]/startSize, 0)
	}
	require.NoError(t, s.fft.Inverse(symbols, symbols))
	for i := range symbols {
		symbols[i] += complex(float32(rng.NormFloat64()*math.Sqrt(noise/2)), float32(rng.NormFloat64()*math.Sqrt(noise/2)))
	}
	taps, found := s.estimate(symbols[600+startFirst:][:startCount], true)
	require.InDelta(t, noise, float64(found), 0.15)
	for delay, gain := range want {
		require.Less(t, cmplx.Abs(complex128(taps[tapsAhead+delay])-gain), 0.12, delay)
	}
	var rest float64
	for l, v := range taps {
		if _, is := want[l-tapsAhead]; !is {
			rest += cmplx.Abs(complex128(v)) * cmplx.Abs(complex128(v))
		}
	}
	require.Less(t, rest, 0.03)
}

func newTold() told {
	const segments = blockSegments + 1
	return told{make([]float32, segments*vsb.SegmentSymbols), make([]float32, segments*vsb.SegmentSymbols), make([]float32, segments*pieces)}
}
