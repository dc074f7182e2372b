package coding

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"

	"rooftone/dsp/vsb"
)

func TestSlicerNearThreshold(t *testing.T) {
	// Truth: theory. At a modulation error ratio of 15 dB a plain slicer is wrong with
	// 7/4·Q(1/σ) of the symbols. With the state known the levels are twice as
	// far apart and the error is 3/2·Q(2/σ); the slicer cannot be better than
	// that with its newest symbol, and comes near.
	sigma := math.Sqrt(vsb.LevelMeanSquare / math.Pow(10, 1.5))
	symbols := encodedFields(t, 2, 1)
	soft := noisy(symbols, sigma, 2)
	slicer := NewSlicer()
	var plain, newest, settled, counted int
	for at := 0; at < len(symbols); at += vsb.SegmentSymbols {
		index := at / vsb.SegmentSymbols % vsb.FieldSegments
		if index == 0 {
			continue
		}
		for i := vsb.SegmentSyncSymbols; i < vsb.SegmentSymbols; i++ {
			path := slicer.Slice(Coder(index, i), soft[at+i])
			counted++
			if nearest(soft[at+i]) != symbols[at+i] {
				plain++
			}
			if path.Level(0) != symbols[at+i] {
				newest++
			}
			const back = 8
			if i >= vsb.SegmentSyncSymbols+back*coders && path.Level(back) != symbols[at+i-back*coders] {
				settled++
			}
		}
	}
	share := func(n int) float64 { return float64(n) / float64(counted) }
	q := func(x float64) float64 { return math.Erfc(x/math.Sqrt2) / 2 }
	t.Logf("wrong symbols: plain %.4f, newest %.4f, eight later %.5f", share(plain), share(newest), share(settled))
	require.InEpsilon(t, 7./4*q(1/sigma), share(plain), 0.03)
	require.Greater(t, share(newest), 3./2*q(2/sigma))
	require.Less(t, share(newest), 3*3./2*q(2/sigma))
	require.Less(t, share(settled), share(newest)/3)
}

func TestSlicerAgreesWithDecoder(t *testing.T) {
	// Truth: the standard's coder: without noise every symbol is decided right,
	// once the state is known.
	symbols := encodedFields(t, 1, 3)
	slicer := NewSlicer()
	for index := 1; index < vsb.FieldSegments; index++ {
		for i := vsb.SegmentSyncSymbols; i < vsb.SegmentSymbols; i++ {
			at := index*vsb.SegmentSymbols + i
			path := slicer.Slice(Coder(index, i), symbols[at])
			require.Equal(t, symbols[at], path.Level(0))
		}
	}
	slicer.Slice(0, float32(math.NaN()))
	slicer.Slice(0, float32(math.Inf(1)))
	slicer.Reset()
	require.Equal(t, *NewSlicer(), *slicer)
}

// nearest returns the data level next to a soft symbol.
func nearest(soft float32) float32 {
	return float32(min(max(2*math.Round((float64(soft)-1)/2)+1, -7), 7))
}

func BenchmarkSlicer(b *testing.B) {
	soft := noisy(encodedFields(b, 1, 1), 0.8, 1)
	slicer := NewSlicer()
	b.SetBytes(dataSymbols)
	for b.Loop() {
		for i, v := range soft[836:][:dataSymbols] {
			slicer.Slice(i%coders, v)
		}
	}
}
