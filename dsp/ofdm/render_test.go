package ofdm

import (
	"math"
	"math/cmplx"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/dsp/fourier"

	"rooftone/dsp/air"
	"rooftone/dsp/render"
)

// errorDB is the power of the difference, relative to that of want.
func errorDB(got []complex64, want []complex128) float64 {
	var e, p float64
	for i, v := range want {
		d := complex128(got[i]) - v
		e += real(d)*real(d) + imag(d)*imag(d)
		p += real(v)*real(v) + imag(v)*imag(v)
	}
	return 10 * math.Log10(e/p)
}

func TestSliceIsSumOfCarriers(t *testing.T) {
	// Truth: theory. Well inside a symbol the signal is the sum of the
	// carriers that the slice's filter passes, at whatever times.
	w := newWaveform(t, 4, 50)
	m, err := newModulator()
	require.NoError(t, err)
	plan := fourier.NewCmplxFFT(bodyLength)
	for _, c := range []struct{ rate, offset, ppm float64 }{
		{8e6, 3e6, 0}, {20e6, 4.4e6, 60}, {2.4e6, 1e6, -60}, {2.4e6, 3e6, 13}, {2.4e6, 5e6, 0}, {1e6, 0.3e6, 0}, {5e5, 5.5e6, 0}, {3.2e6, 7e6, 0},
	} {
		worst := math.Inf(-1)
		for _, index := range []int64{0, 17, 50*7 + 3, -1} {
			frame := floorDiv(index, 50)
			begins := float64(frame*w.frameLength()+bootLength+(index-50*frame)*bodySymbol+bodyGuard) / BodyRateHz
			require.NoError(t, m.body(w, index))
			values := make([]complex128, bodyLength)
			for i, v := range m.symbol {
				values[i] = complex128(v) / bodyLength
			}
			values = plan.Coefficients(nil, values)
			start := begins + 0.5e-3 + 0.31e-7
			step := (1 + c.ppm*1e-6) / c.rate
			got := make([]complex64, 60)
			require.NoError(t, newRenderer(t, c.rate, c.offset).Render(got, w, start, step))
			want := make([]complex128, len(got))
			for n := range want {
				at := start + float64(n)*step
				for k := -bodyCarriers / 2; k <= bodyCarriers/2; k++ {
					hz := ChannelWidthHz/2 + float64(k)*bodySpacing - c.offset
					if gain := render.Edge(math.Abs(hz)/c.rate, render.PassEdge, render.StopEdge); gain > 0 {
						want[n] += complex(gain, 0) * values[(k+bodyLength)%bodyLength] *
							turn((ChannelWidthHz/2-c.offset)*at) * turn(float64(k)*bodySpacing*(at-begins))
					}
				}
			}
			worst = math.Max(worst, errorDB(got, want))
		}
		t.Logf("%v MS/s at %v MHz: error %.1f dB", c.rate/1e6, c.offset/1e6, worst)
		if require.Less(t, worst, -80.); c.rate >= 2e6 {
			require.Less(t, worst, -92.)
		}
	}
}

func TestPiecesMakeTheWhole(t *testing.T) {
	// Truth: the definition. A sample depends on its time alone; what is left
	// is the rounding of float32.
	w := newWaveform(t, 9, 40)
	const n = 30000
	for _, ppm := range []float64{0, 100, -37.3} {
		for _, c := range []struct{ rate, offset, start float64 }{{2.4e6, 1e6, 3.25}, {1e6, 3e6, -0.01}, {20e6, 4e6, 100}, {2.4e6, 5e6, 1e4}} {
			step := 1 / c.rate / (1 + ppm*1e-6)
			whole := make([]complex64, n)
			require.NoError(t, newRenderer(t, c.rate, c.offset).Render(whole, w, c.start, step))
			want := make([]complex128, n)
			for i, v := range whole {
				want[i] = complex128(v)
			}
			r := newRenderer(t, c.rate, c.offset)
			pieces := make([]complex64, n)
			for _, i := range rand.New(rand.NewPCG(1, 2)).Perm(60) {
				from := i * n / 60
				require.NoError(t, r.Render(pieces[from:(i+1)*n/60], w, c.start+float64(from)*step, step))
			}
			require.Less(t, errorDB(pieces, want), -84.)
			one := make([]complex64, 1)
			require.NoError(t, r.Render(one, w, c.start+7777*step, step))
			require.InDelta(t, 0, cmplx.Abs(complex128(one[0]-whole[7777])), 2e-4)
		}
	}
}

func TestAddSumsPaths(t *testing.T) {
	// Truth: theory. Paths add up.
	w, v := newWaveform(t, 1, 36), newWaveform(t, 2, 36)
	r := newRenderer(t, 2.4e6, 3e6)
	const step = 1 / 2.4e6
	a, b, c, sum := make([]complex64, 9000), make([]complex64, 9000), make([]complex64, 9000), make([]complex64, 9000)
	require.NoError(t, r.Render(a, w, 0.1, step))
	require.NoError(t, r.Render(b, w, 0.1-3.3e-6, step))
	require.NoError(t, r.Render(c, v, 0.2, step))
	require.NoError(t, r.Add(sum, w, 0.1, step, 1))
	require.NoError(t, r.Add(sum, v, 0.2, step, 2))
	require.NoError(t, r.Add(sum, w, 0.1-3.3e-6, step, 0.5i))
	want := make([]complex128, len(sum))
	for i := range want {
		want[i] = complex128(a[i] + 0.5i*b[i] + 2*c[i])
	}
	require.Less(t, errorDB(sum, want), -120.)
}

func TestSlicesThatMiss(t *testing.T) {
	// Truth: the definition. Where nothing of the channel is seen nothing is
	// added.
	w := newWaveform(t, 1, 36)
	for _, offset := range []float64{-1.4e6, 7.4e6, 1e9} {
		x := make([]complex64, 5000)
		require.NoError(t, newRenderer(t, 2.4e6, offset).Render(x, w, 0, 1/2.4e6))
		require.Zero(t, air.MeanPower(x))
	}
}

func TestRenderRefuses(t *testing.T) {
	// Truth: what the documentation says.
	for _, c := range []struct{ rate, offset float64 }{{4e5, 0}, {2e9, 0}, {math.NaN(), 0}, {-1, 0}, {2.4e6, math.NaN()}, {2.4e6, 2e12}, {2.4e6, math.Inf(1)}} {
		_, err := NewRenderer(c.rate, c.offset)
		require.ErrorContains(t, err, "rendering ATSC 3.0")
	}
	w := newWaveform(t, 1, 36)
	r := newRenderer(t, 2.4e6, 3e6)
	x := make([]complex64, 10)
	for _, c := range []struct{ start, step float64 }{{math.NaN(), 1e-6}, {math.Inf(1), 1e-6}, {0, 0}, {0, -1e-6}, {0, math.NaN()}, {1e10, 1e-6}, {0, 1e10}} {
		require.ErrorContains(t, r.Render(x, w, c.start, c.step), "out of range")
	}
	require.NoError(t, r.Render(nil, w, 0, 1e-6))
}
