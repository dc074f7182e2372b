package render

import (
	"math"
	"math/cmplx"
	"testing"

	"github.com/stretchr/testify/require"
)

func TestInterpolatorReadsTones(t *testing.T) {
	// Truth: theory. A sampled tone read between its samples is the tone.
	p := NewInterpolator()
	x := make([]complex64, 64)
	for hz, below := range map[float64]float64{
		0: -94, 0.05: -94, -0.1: -94, 0.2: -92, -0.25: -90, WidestContent / 2: -76, -WidestContent / 2: -76,
	} {
		for i := range x {
			x[i] = complex64(turn(hz * float64(i)))
		}
		var worst float64
		for at := 10.; at < 50; at += 0.0137 {
			worst = math.Max(worst, cmplx.Abs(complex128(p.At(x, at))-turn(hz*at)))
		}
		require.Less(t, 20*math.Log10(worst), below, "%g cycles a sample", hz)
	}
}

func TestBlocksMeet(t *testing.T) {
	// Truth: the definition. A tone that is handed over in blocks comes out as
	// a tone, whatever the times; each block is made once while it is kept.
	b := Blocks{RateHz: 1e3, Units: 4096, Guard: 256, Length: 1024, Middle: 100, TurnHz: 40, Memory: 2, Subject: "rendering"}
	made := map[int64]int{}
	const bin = 1e3 / 4096 // Hz
	r := New(b, func(dst []complex64, bins float64, index int64) error {
		made[index]++
		for i := range dst {
			seconds := float64(i) * 4 / b.RateHz
			begins := float64(b.First(index)) / b.RateHz
			// exp(−2πi·middle·t/T)·x(t), with t from the block's beginning
			dst[i] = complex64(turn(bins*bin*(begins+seconds) - float64(b.Middle)*bin*seconds))
		}
		return nil
	})
	x := make([]complex64, 9000)
	require.NoError(t, r.Add(x, 180, -3.21, 1.3e-3, 2i))
	for i, v := range x {
		at := -3.21 + 1.3e-3*float64(i)
		want := turn((b.TurnHz+180*bin)*at) * 2i
		require.InDelta(t, 0, cmplx.Abs(complex128(v)-want), 1e-3, "at %g s", at)
	}
	for index, n := range made {
		require.Equal(t, 1, n, "block %d", index)
	}
}
