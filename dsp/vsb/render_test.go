package vsb

import (
	"fmt"
	"math"
	"math/cmplx"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/require"

	"rooftone/dsp/psd"
	"rooftone/dsp/render"
)

func newRenderer(t testing.TB, rateHz, offsetHz float64) *Renderer {
	r, err := NewRenderer(rateHz, offsetHz)
	require.NoError(t, err)
	return r
}

// pilotAt is the pilot at time t in a slice with its centre at offsetHz.
func pilotAt(offsetHz, t float64) complex128 {
	return cmplx.Exp(complex(0, 2*math.Pi*(PilotOffsetHz-offsetHz)*t)) * complex(math.Sqrt(PilotShare), 0)
}

func TestWholeChannelIsSumOfPulses(t *testing.T) {
	if testing.Short() {
		t.Skip("an ensemble: it has its time in the long run")
	}
	// Truth: theory. The closed form of the root-raised-cosine pulse, summed
	// in float64 over 20000 symbols on either side.
	w := NewWaveform(5)
	const reach = 20000
	for _, c := range []struct{ rate, offset, start, ppm float64 }{
		{20e6, 3e6, 0, 0}, {10e6, 3.2e6, 0.1, 0}, {16e6, 1e6, 12.5, 100}, {16e6, 5.5e6, -0.00033, -100}, {8e6, 2.9e6, 4e-5, 60},
	} {
		got := make([]complex64, 4000)
		step := (1 + c.ppm*1e-6) / c.rate
		require.NoError(t, newRenderer(t, c.rate, c.offset).Render(got, w, c.start, step))
		middle := int64((c.start + 2000/c.rate) * SymbolRateHz)
		levels := make([]float32, 2*reach)
		w.Symbols(levels, middle-reach)
		var some []complex64
		var want []complex128
		for n := 0; n < len(got); n += 67 {
			at := c.start + float64(n)*step
			some = append(some, got[n])
			want = append(want, sumOfPulses(levels, middle-reach, c.offset, at)+pilotAt(c.offset, at))
		}
		db := errorDB(some, want)
		t.Logf("%v MS/s at %v MHz: error %.1f dB", c.rate/1e6, c.offset/1e6, db)
		require.Less(t, db, -88.)
	}
}

func TestSliceIsSumOfPulses(t *testing.T) {
	if testing.Short() {
		t.Skip("an ensemble: it has its time in the long run")
	}
	// Truth: theory. The spectra of the pulses through the slice's filter,
	// summed and integrated in float64 over 1 ms on either side.
	w := NewWaveform(8)
	const reach = 10762
	for _, c := range []struct{ rate, offset, start, ppm float64 }{
		{2.4e6, 1e6, 0.02419, 0}, {2.4e6, 3e6, 1.5, 60}, {2.4e6, 5e6, -0.3, -60},
		{1e6, 0.2e6, 0.7, 0}, {2.4e6, -1e6, 0.1, 0}, {3.2e6, 3e6, 0.01, 100},
	} {
		got := make([]complex64, 700)
		step := (1 + c.ppm*1e-6) / c.rate
		require.NoError(t, newRenderer(t, c.rate, c.offset).Render(got, w, c.start, step))
		first := int64((c.start+350/c.rate)*SymbolRateHz) - reach
		levels := make([]float32, 2*reach)
		w.Symbols(levels, first)
		truth := newSpectrumOfPulses(levels, first, c.rate, c.offset, 500)
		pilot := 0.
		if math.Abs(PilotOffsetHz-c.offset) < 0.46*c.rate {
			pilot = 1
		}
		var want []complex128
		for n := range got {
			at := c.start + float64(n)*step
			want = append(want, truth.at(at)+pilotAt(c.offset, at)*complex(pilot, 0))
		}
		db := errorDB(got, want)
		t.Logf("%v MS/s at %v MHz: error %.1f dB", c.rate/1e6, c.offset/1e6, db)
		require.Less(t, db, -80.)
	}
}

func TestPiecesMakeTheWhole(t *testing.T) {
	// Truth: the definition. A sample depends on its time alone; what is left
	// is the rounding of float32.
	w := NewWaveform(9)
	const n = 30000
	for _, ppm := range []float64{0, 100, -37.3} {
		for _, c := range []struct{ rate, offset, start float64 }{{2.4e6, 1e6, 3.25}, {1e6, 3e6, -0.01}, {20e6, 4e6, 100}, {2.4e6, 5e6, 1e4}} {
			step := 1 / c.rate / (1 + ppm*1e-6)
			whole := make([]complex64, n)
			require.NoError(t, newRenderer(t, c.rate, c.offset).Render(whole, w, c.start, step))
			r := newRenderer(t, c.rate, c.offset)
			random := rand.New(rand.NewPCG(1, 2))
			order := random.Perm(60)
			pieces := make([]complex64, n)
			for _, i := range order {
				from := i * n / 60
				require.NoError(t, r.Render(pieces[from:(i+1)*n/60], w, c.start+float64(from)*step, step))
			}
			db := errorDB(pieces, widen(whole))
			t.Logf("%v MS/s from %v s: %.1f dB", c.rate/1e6, c.start, db)
			require.Less(t, db, -88.)
			one := make([]complex64, 1)
			require.NoError(t, r.Render(one, w, c.start+7777*step, step))
			require.InDelta(t, 0, cmplx.Abs(complex128(one[0]-whole[7777])), 1e-4)
		}
	}
}

func widen(x []complex64) []complex128 {
	y := make([]complex128, len(x))
	for i, v := range x {
		y[i] = complex128(v)
	}
	return y
}

func TestAddSumsPaths(t *testing.T) {
	// Truth: theory. Paths add up.
	w, v := NewWaveform(1), NewWaveform(2)
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

// spectrum measures the density of a transmission through a slice, from the
// slice's low end to its high end.
func spectrum(t *testing.T, w *Waveform, rateHz, offsetHz float64, n, segment int) *psd.Welch {
	welch, err := psd.NewWelch(rateHz, segment, psd.BlackmanHarris)
	require.NoError(t, err)
	r := newRenderer(t, rateHz, offsetHz)
	x := make([]complex64, 1<<16)
	for at := 0; at < n; at += len(x) {
		require.NoError(t, r.Render(x, w, float64(at)/rateHz, 1/rateHz))
		welch.Write(x)
	}
	welch.Flush()
	return welch
}

func TestNothingLeaksFromTheChannel(t *testing.T) {
	// Truth: theory. A root-raised-cosine spectrum ends at the channel's
	// edges. The window resolves 20 kHz; −70 dB is what is asked for.
	welch := spectrum(t, NewWaveform(10), 20e6, 3e6, 1<<21, 4096)
	density := welch.Density(nil)
	worst := 0.
	for i, d := range density {
		hz := welch.StartHz() + float64(i)*welch.StepHz() + 3e6
		if hz < -25e3 || hz > 6.025e6 {
			worst = math.Max(worst, d/Density(3e6))
		}
	}
	t.Logf("largest density outside the channel %.1f dB", 10*math.Log10(worst))
	require.Less(t, 10*math.Log10(worst), -85.)
}

func TestSpectrumOfRenderedWaveform(t *testing.T) {
	// Truth: a second implementation, the spectrum of GNU Radio's encoder and
	// pulse (other data, the same framing), known to 0.06 dB a cell; ours has
	// as much time. And theory: half power at the pilot, which is 11.28 dB
	// below the data and on its place.
	for _, c := range []struct{ rate, offset, low, high float64 }{
		{10e6, 3e6, 0, 6e6}, {2.4e6, 1e6, 0, 2.05e6}, {2.4e6, 3e6, 1.95e6, 4.05e6}, {2.4e6, 5e6, 3.95e6, 6e6},
	} {
		t.Run(fmt.Sprint(c.rate, c.offset), func(t *testing.T) {
			welch := spectrum(t, NewWaveform(11), c.rate, c.offset, int(0.12*c.rate), 4096)
			density := welch.Density(nil)
			power := func(lowHz, highHz float64) float64 {
				low := (lowHz - c.offset - welch.StartHz()) / welch.StepHz()
				high := (highHz - c.offset - welch.StartHz()) / welch.StepHz()
				sum := 0.
				for i := int(low); i <= int(high)+1; i++ { // each bin by what of it lies inside
					inside := math.Min(high, float64(i)+0.5) - math.Max(low, float64(i)-0.5)
					sum += density[i] * math.Max(0, inside) * welch.StepHz()
				}
				return sum
			}
			for _, cell := range readDensity(t) {
				if cell.lowHz < c.low || cell.highHz > c.high || cell.lowHz == 300e3 {
					continue
				}
				want := cell.density * DataShare * (cell.highHz - cell.lowHz)
				require.InDelta(t, 0, 10*math.Log10(power(cell.lowHz, cell.highHz)/want), 0.4, "%v", cell)
			}
			if c.low == 0 {
				const around = 30e3
				low, high := PilotOffsetHz-around, PilotOffsetHz+around
				pilot := power(low, high) - DataPower(low, high)
				require.InDelta(t, -11.28-0.31, 10*math.Log10(pilot), 0.1)
			}
			if c.rate == 10e6 {
				require.InDelta(t, 0, 10*math.Log10(power(-1e6, 7e6)), 0.03)
			}
		})
	}
}

func TestPowerAtEveryRateAndPlace(t *testing.T) {
	// Truth: theory. The power that the slice's filter leaves of the density
	// and of the pilot. Limits are five standard deviations.
	w := NewWaveform(13)
	for rate := 1e6; rate <= 20e6; rate *= 1.21 {
		for _, offset := range []float64{-0.2e6, 0.3e6, 0.9e6, 2.2e6, 3e6, 4.7e6, 5.6e6, 6.3e6} {
			x := make([]complex64, 20000)
			require.NoError(t, newRenderer(t, rate, offset).Render(x, w, 0.3, 1/rate))
			power := 0.
			for _, v := range x {
				power += float64(real(v)*real(v)+imag(v)*imag(v)) / float64(len(x))
			}
			g := sliceResponse((PilotOffsetHz - offset) / rate)
			want, widthHz := PilotShare*g*g, 0.
			const step = 1e3
			for f := step / 2; f < ChannelWidthHz; f += step {
				g := sliceResponse((f - offset) / rate)
				want += Density(f) * g * g * step
				widthHz += Density(f) / Density(3e6) * g * g * step
			}
			sigma := DataShare / math.Sqrt(widthHz*float64(len(x))/rate)
			require.InDelta(t, want, power, 5*sigma*want+1e-3*want, "%v Hz at %v Hz", rate, offset)
		}
	}
}

func TestSliceMissesTheChannel(t *testing.T) {
	// Truth: the definition. A slice that does not reach the channel is empty.
	w := NewWaveform(1)
	for _, offset := range []float64{-1.5e6, 7.5e6, 1e9, -1e11} {
		x := []complex64{1, 2, 3}
		require.NoError(t, newRenderer(t, 2.4e6, offset).Render(x, w, 0, 1/2.4e6))
		require.Equal(t, []complex64{0, 0, 0}, x)
	}
}

func TestRendererRefuses(t *testing.T) {
	// Truth: the documented limits.
	nan, inf := math.NaN(), math.Inf(1)
	for _, c := range [][2]float64{{0, 0}, {-1, 0}, {nan, 0}, {inf, 0}, {2.4e6, nan}, {2.4e6, inf}, {1e10, 0}, {2.4e6, 1e13}} {
		_, err := NewRenderer(c[0], c[1])
		require.Error(t, err, "%v", c)
		_, err = NewReference(c[0], c[1])
		require.Error(t, err, "%v", c)
	}
	r := newRenderer(t, 2.4e6, 1e6)
	x := make([]complex64, 3)
	for _, c := range [][2]float64{{nan, 1e-6}, {inf, 1e-6}, {0, nan}, {0, 0}, {0, -1e-6}, {1e12, 1e-6}, {0, 1e12}, {0, inf}} {
		require.Error(t, r.Render(x, NewWaveform(1), c[0], c[1]), "%v", c)
	}
	require.NoError(t, r.Render(nil, NewWaveform(1), 0, 1e-6))
	require.NoError(t, r.Render(x, NewWaveform(1), -1e7, 3600))
}

func TestRenderingAllocatesNothing(t *testing.T) {
	// Truth: the definition of steady state.
	w := NewWaveform(1)
	r := newRenderer(t, 2.4e6, 1e6)
	x := make([]complex64, 8192)
	at := 0.
	render := func() {
		require.NoError(t, r.Render(x, w, at, 1/2.4e6))
		at += 8192 / 2.4e6
	}
	for range 8 {
		render()
	}
	require.Zero(t, testing.AllocsPerRun(20, render))
}

func BenchmarkRender(b *testing.B) {
	for _, c := range []struct{ rate, offset float64 }{{2.4e6, 1e6}, {10e6, 3e6}} {
		b.Run(fmt.Sprintf("%gMSps", c.rate/1e6), func(b *testing.B) {
			r := newRenderer(b, c.rate, c.offset)
			w := NewWaveform(1)
			x := make([]complex64, 24000)
			at := 0.
			for b.Loop() {
				if err := r.Render(x, w, at, 1/c.rate); err != nil {
					b.Fatal(err)
				}
				at += float64(len(x)) / c.rate
			}
			b.ReportMetric(float64(len(x))*float64(b.N)/b.Elapsed().Seconds()/1e6, "MS/s")
		})
	}
}

// BenchmarkSecondPath measures a path of a transmission that another path has
// just been rendered of.
func BenchmarkSecondPath(b *testing.B) {
	r := newRenderer(b, 2.4e6, 1e6)
	w := NewWaveform(1)
	x := make([]complex64, 16384)
	for b.Loop() {
		if err := r.Add(x, w, 1, 1/2.4e6, 0.001); err != nil {
			b.Fatal(err)
		}
	}
	b.ReportMetric(float64(len(x))*float64(b.N)/b.Elapsed().Seconds()/1e6, "MS/s")
}

func BenchmarkNewRenderer(b *testing.B) {
	for b.Loop() {
		newRenderer(b, 2.4e6, 1e6)
	}
}

// Truth: a slice that sees only a hair of the channel's edge is rendered like
// any other, whatever the moment.
func TestSliceAtTheVeryEdge(t *testing.T) {
	const rate = 2.4e6
	dst := make([]complex64, 4096)
	for _, beyond := range []float64{90e3, 95e3, 95.2e3, 97e3, 100e3} {
		r, err := NewRenderer(rate, -1.2e6-beyond+190e3)
		require.NoError(t, err)
		for k := range 40 {
			require.NoError(t, r.Render(dst, NewWaveform(1), 14.0846+float64(k)*1.7e-3, 1/rate))
		}
	}
	// The very slice and moment at which it once went out of bounds.
	r, err := NewRenderer(rate, -1.295175e6)
	require.NoError(t, err)
	require.NoError(t, r.Render(dst, NewWaveform(1), 14.084622495962936, 4.1666741634683425e-07))
}

// sliceResponse is the amplitude of the slice's own filter at a part of the
// sample rate.
func sliceResponse(part float64) float64 {
	return render.Edge(math.Abs(part), render.PassEdge, render.StopEdge)
}
