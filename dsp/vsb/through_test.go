package vsb

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/dsp/fourier"
)

// foldedStay are the samples of a stay through a radio that lets in what lies
// beyond half the rate: made at twice the rate, filtered, and every other one
// kept, so that the aliases make themselves. down is the filter's loss in dB at a
// share of half the rate. The noise, which is even, comes after it.
func (s stay) foldedStay(t testing.TB, down func(share float64) float64) []complex64 {
	quiet := s
	quiet.rate, quiet.cn = 2*s.rate, 200
	x := quiet.samples(t)
	fft := fourier.NewCmplxFFT(len(x))
	in := make([]complex128, len(x))
	for i, v := range x {
		in[i] = complex128(v)
	}
	bins := fft.Coefficients(nil, in)
	for k := range bins {
		share := 4 * fft.Freq(k)
		bins[k] *= complex(math.Pow(10, -down(math.Abs(share))/20)/float64(len(x)), 0)
	}
	wide := fft.Sequence(nil, bins)
	out := s
	out.noiseOnly = true
	y := out.samples(t)
	for i := range y {
		y[i] += complex64(wide[2*i])
	}
	return y
}

// straight is a filter that loses nothing inside and falls by 1 dB for each
// hundredth outside, from a loss at 1.18 of half the rate.
func straight(at118 float64) func(float64) float64 {
	return func(share float64) float64 {
		if share < 1 {
			return 0
		}
		return math.Max(0, at118+100*(share-1.18))
	}
}

func TestFoldingIsNoNoise(t *testing.T) {
	if testing.Short() {
		t.Skip("an ensemble: it has its time in the long run")
	}
	// Truth: aliases that making every other sample of a faster stay makes, noise
	// of a known density, and how much the filter lets in.
	t.Parallel()
	trainer, err := NewTrainer(2.4e6, 3e6)
	require.NoError(t, err)
	for _, c := range []struct {
		about string
		down  float64 // at 1.18 of half the rate
	}{
		{"none", 200},
		{"as measured", 23},
		{"10 dB stronger", 13},
	} {
		var errors scatter
		var levels []float64
		for trial := range 6 {
			s := plainStay(3e6, 27, uint64(trial+1))
			got, err := trainer.Fit(s.foldedStay(t, straight(c.down)), Knowledge{CenterHz: s.center, RangePPM: 1})
			require.NoError(t, err)
			require.True(t, got.Found)
			errors.add(got.MERdB-s.mer(got.LowHz, got.HighHz), got.MERSigmaDB)
			for _, e := range []struct {
				found bool
				level float64
			}{{got.Folded.LowFound, got.Folded.Low}, {got.Folded.HighFound, got.Folded.High}} {
				if e.found {
					levels = append(levels, 10*math.Log10(math.Max(e.level, 1e-12)/Density(3e6)))
				}
			}
			require.Greater(t, got.Changing, 1e-3, "%s: what folds in is no change", c.about)
		}
		t.Logf("%s: mean %+.2f dB, rms of error/sigma %.2f, levels %.1f dB", c.about, mean(errors.errors), rms(errors.scores), levels)
		require.Less(t, math.Abs(mean(errors.errors)), 0.3, c.about)
		require.Less(t, rms(errors.scores), 1.7, c.about)
		if c.down < 20 {
			require.Len(t, levels, 12, c.about)
			// The fit sees it a little further in, and goes on from there.
			require.InDelta(t, -c.down, mean(levels), 3, c.about)
		}
	}
}

func TestFoldingShape(t *testing.T) {
	// Truth: the definition. Its slope is in dB for a part of half the rate.
	require.InDelta(t, 1, FoldingShape(FoldedShare, 0), 1e-12)
	require.InDelta(t, -9, 10*math.Log10(FoldingShape(FoldedShare-0.1, 90)), 1e-9)
	require.InDelta(t, 1, FoldingShape(0.1-FoldedShare, 90)/FoldingShape(FoldedShare-0.1, 90), 1e-12) // either end
}

func TestOutlookOfAChangingChannel(t *testing.T) {
	// Truth: logic. Of a channel that changes a part says less of the whole than
	// the same part does of one that stands still.
	t.Parallel()
	still := plainStay(1e6, 20, 3).fit(t, map[float64]*Trainer{}, Knowledge{RangePPM: 1})
	moving := *still
	moving.Changing = 1e-6
	noise := func(float64) float64 { return still.ErrorDensity }
	sigma := func(of *Training) float64 {
		o, err := NewOutlook(of)
		require.NoError(t, err)
		_, sigma, err := o.Equalised(noise, 0)
		require.NoError(t, err)
		return sigma
	}
	require.Greater(t, sigma(&moving), sigma(still)+0.2)
}
