package impulse

import (
	"flag"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/require"
)

var draws = flag.Int("draws", 4, "how many pieces an ensemble has")

// cu8 reads unsigned 8-bit I/Q.
func cu8(t *testing.T, name string) []complex64 {
	t.Helper()
	iq, err := os.ReadFile(name)
	require.NoError(t, err)
	x := make([]complex64, len(iq)/2)
	for i := range x {
		x[i] = complex((float32(iq[2*i])-127.5)/127.5, (float32(iq[2*i+1])-127.5)/127.5)
	}
	return x
}

// Truth: made-up frames as those of a telephone network: ten subframes of 1 ms,
// of which each begins with three of fourteen symbols and some go on.
func TestFramesOfATelephoneNetwork(t *testing.T) {
	r := rand.New(rand.NewPCG(59, 60))
	m, err := NewMeter(testRate, testHalf)
	require.NoError(t, err)
	for range *draws {
		begin, busy := r.Float64(), 0.5*r.Float64()
		x := stayOf(r, 240000, func(hz float64) float64 { return 1e-12 })
		on := map[float64]bool{}
		gate(r, x, 2e-12, func(s float64) bool {
			s += begin
			frame := math.Floor(s * 1e3)
			if _, drawn := on[frame]; !drawn {
				on[frame] = math.Mod(frame, 5) == 0 || r.Float64() < busy
			}
			return on[frame] || math.Mod(s*1e3, 1) < 3./14
		})
		p, err := m.Measure(x)
		require.NoError(t, err)
		require.True(t, p.Rhythm.Framed(1e-6), "busy %g", busy)
	}
}

// Truth: arithmetic, and recordings that hold no such thing. Noise, sparks at
// 100 and 120 Hz, one or many to a burst, television and
// short bursts have no frames; and television keeps no time with the mains.
func TestNoFrames(t *testing.T) {
	r := rand.New(rand.NewPCG(61, 62))
	m, err := NewMeter(testRate, testHalf)
	require.NoError(t, err)
	for n := range *draws {
		rate := []float64{100, 120, 100, 100.02, 99.97, 60}[n%6]
		pulses, jitter := 1+r.IntN(8), 0.05*r.Float64()*float64(n%2)
		apart := 0.2e-3 + 0.25e-3*r.Float64() // not a part of a millisecond
		shift := map[float64]float64{}
		x := stayOf(r, 720000, func(hz float64) float64 { return 1e-12 * (1 + 30*station(hz)) })
		gate(r, x, 1e-10, func(s float64) bool {
			turn := math.Floor(s * rate)
			if _, seen := shift[turn]; !seen {
				shift[turn] = jitter * r.Float64()
			}
			at := (math.Mod(s*rate, 1) - shift[turn]) / rate
			return at >= 0 && at < float64(pulses)*apart && math.Mod(at, apart) < 30e-6
		})
		p, err := m.Measure(x)
		require.NoError(t, err)
		require.False(t, p.Rhythm.Framed(1e-6), "draw %d: %g Hz, %d pulses %g s apart", n, rate, pulses, apart)
	}
	for name, rate := range map[string]float64{"../../scan/hunt/testdata/real/bursts-2MS.cu8": 2e6} {
		m, err := NewMeter(rate, 0.4375*rate)
		require.NoError(t, err)
		p, err := m.Measure(cu8(t, name))
		require.NoError(t, err)
		require.False(t, p.Rhythm.Framed(1e-6))
		_, ok := p.Rhythm.Mains(1e-6)
		require.False(t, ok)
	}
	stations, err := filepath.Glob("../../testdata/vsb/*3mhz.cu8")
	require.NoError(t, err)
	require.NotEmpty(t, stations)
	for _, name := range stations {
		p, err := m.Measure(cu8(t, name))
		require.NoError(t, err, name)
		require.False(t, p.Rhythm.Framed(1e-6), name)
		_, ok := p.Rhythm.Mains(1e-6)
		require.False(t, ok, name)
	}
}

// Truth: arithmetic. The rate of pulses near 100 Hz is told with an interval
// that holds it, narrow enough to tell mains that wander from a clock.
func TestRateOfPulses(t *testing.T) {
	if testing.Short() {
		t.Skip("an ensemble: it has its time in the long run")
	}
	r := rand.New(rand.NewPCG(63, 64))
	m, err := NewMeter(testRate, testHalf)
	require.NoError(t, err)
	held, squares := 0, 0.0
	for n := range *draws {
		rate := 100 + 0.1*(2*r.Float64()-1)
		jitter := 0.03 * r.Float64()
		var all Rhythm
		for range 1 + 3*(n%2) {
			begin := r.Float64()
			shift := map[float64]float64{}
			x := stayOf(r, 720000, func(float64) float64 { return 1e-12 })
			gate(r, x, 3e-11, func(s float64) bool {
				s += begin
				turn := math.Floor(s * rate)
				if _, seen := shift[turn]; !seen {
					shift[turn] = jitter * r.Float64()
				}
				at := math.Mod(s*rate, 1) - shift[turn]
				return at >= 0 && at < 0.01
			})
			p, err := m.Measure(x)
			require.NoError(t, err)
			all.Add(&p.Rhythm)
		}
		k, ok := all.Mains(1e-6)
		require.True(t, ok)
		pull := (k.RateHz - rate) / k.SigmaHz
		squares += pull * pull
		if math.Abs(pull) < 2 {
			held++
		}
		t.Logf("%.4f Hz read as %.4f ± %.4f, jitter %.3f", rate, k.RateHz, k.SigmaHz, jitter)
		require.Less(t, k.SigmaHz, 0.05)
	}
	t.Logf("%d of %d within 2σ, rms %.2f σ", held, *draws, math.Sqrt(squares/float64(*draws)))
	require.GreaterOrEqual(t, float64(held), 0.85*float64(*draws)-0.5)
}
