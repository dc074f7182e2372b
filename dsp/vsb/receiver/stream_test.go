package receiver

import (
	"encoding/binary"
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/require"
)

func TestPieces(t *testing.T) {
	// Truth: theory: what comes out does not depend on how the samples are cut up.
	x := secondSamples(t)
	run := func(size func() int) (out []byte, s Status) {
		r, err := New(Options{RateHz: secondRate, LowerHz: secondLower, Packet: func(p *Packet) { out = append(out, p.Bytes[:]...) }})
		require.NoError(t, err)
		for at := 0; at < len(x); {
			n := min(size(), len(x)-at)
			require.NoError(t, r.Write(x[at:at+n]))
			at += n
		}
		s = r.Status()
		require.NoError(t, r.Flush())
		return out, s
	}
	rng := rand.New(rand.NewPCG(1, 2))
	whole, status := run(func() int { return len(x) })
	odd, oddStatus := run(func() int { return 1 + rng.IntN(3000) })
	require.Equal(t, whole, odd)
	require.Equal(t, status, oddStatus)
}

func TestLostSamples(t *testing.T) {
	// Truth: the packets sent. Where samples are lost without a word the receiver
	// has to notice, and to be back within three fields.
	s := plain(22, 6.5)
	x := s.samples(t)
	at := len(x) * 5 / 13
	x = append(x[:at:at], x[at+12345:]...)
	got := s.receive(t, x)
	require.Equal(t, 2, got.Locks)
	require.True(t, got.Locked)
	require.Zero(t, got.wrong)
	require.Greater(t, got.Packets-got.Failed, int64(3*312))
	require.Less(t, got.Failed, int64(60)) // the interleaver's depth
}

func TestNothingThere(t *testing.T) {
	// Truth: there is no station in noise, nor in silence, and no lock.
	for _, level := range []float64{0, 1} {
		r, err := New(Options{RateHz: 10e6, LowerHz: -3e6})
		require.NoError(t, err)
		x := make([]complex64, 1<<20)
		rng := rand.New(rand.NewPCG(3, 4))
		for i := range x {
			x[i] = complex(float32(level*rng.NormFloat64()), float32(level*rng.NormFloat64()))
		}
		require.NoError(t, r.Write(x))
		require.NoError(t, r.Flush())
		require.Zero(t, r.Status().Locks)
		require.Zero(t, r.Status().Packets)
		require.Empty(t, r.Channel(nil))
	}
}

func TestSteadyStateAllocatesNothing(t *testing.T) {
	// Truth: the runtime's count.
	s := plain(20, 4)
	x := s.samples(t)
	r, err := New(Options{RateHz: s.rate, LowerHz: s.lower, Packet: func(*Packet) {}})
	require.NoError(t, err)
	const first = 700000
	require.NoError(t, r.Write(x[:first]))
	require.True(t, r.Status().Locked)
	at := first
	require.Zero(t, testing.AllocsPerRun(20, func() {
		_ = r.Write(x[at : at+10000])
		at += 10000
	}))
	require.True(t, r.Status().Locked)
}

func TestOptions(t *testing.T) {
	// Truth: what is documented.
	for _, o := range []Options{
		{}, {RateHz: 5e6}, {RateHz: 21e6}, {RateHz: math.NaN()},
		{RateHz: 8e6, LowerHz: 0}, {RateHz: 8e6, LowerHz: -5e6}, {RateHz: 8e6, LowerHz: math.NaN()},
	} {
		_, err := New(o)
		require.Error(t, err)
	}
}

func TestPictures(t *testing.T) {
	// Truth: the paths that testdata/README.txt tells of.
	x := secondSamples(t)
	r, err := New(Options{RateHz: secondRate, LowerHz: secondLower})
	require.NoError(t, err)
	require.NoError(t, r.Write(x))
	level := map[int]float64{}
	for _, tap := range r.Channel(nil) {
		power := real(tap.Gain)*real(tap.Gain) + imag(tap.Gain)*imag(tap.Gain)
		for i, us := range []float64{0, 2.7, -0.9} {
			if math.Abs(tap.DelaySeconds*1e6-us) < 0.25 {
				level[i] += power
			}
		}
	}
	require.InDelta(t, -7, 10*math.Log10(level[1]/level[0]), 0.5)
	require.InDelta(t, -12, 10*math.Log10(level[2]/level[0]), 1.2) // beside the skirts of the first path's pulse
	status := r.Status()
	require.InDelta(t, 20*math.Log10(0.25), status.LevelDBFS, 0.3)
	before, after := r.Symbols(nil, nil)
	require.Equal(t, len(before), len(after))
	spread := func(x []complex64) (sum float64) {
		for _, v := range x {
			d := real(v) - nearest(real(v))
			sum += float64(d*d) / float64(len(x))
		}
		return sum
	}
	require.Less(t, spread(after), 0.25)
	require.Greater(t, spread(before), spread(after))
}

// fuzzBefore samples come before the field sync that FuzzWrite's begin with,
// fuzzSamples in all: to start takes about 24 000, and there are some blocks after.
const (
	fuzzBefore  = 2000
	fuzzSamples = 40000
)

func FuzzWrite(f *testing.F) {
	// Truth: nothing that a radio may send makes the receiver panic or hang. The
	// search for lock, which takes two fields, is done once for all.
	f.Add(uint64(1), uint8(0), []byte{1, 2, 3, 4, 5, 6, 7, 8})
	f.Add(uint64(2), uint8(1), []byte{0, 0, 0xc0, 0x7f, 0, 0, 0x80, 0x7f})
	f.Add(uint64(3), uint8(2), []byte{0xff, 0xff, 0x7f, 0x7f, 0xff, 0xff, 0x7f, 0xff})
	raw := secondSamples(f)
	r, err := New(Options{RateHz: secondRate, LowerHz: secondLower})
	require.NoError(f, err)
	found, ok := r.acquirer.search(raw)
	require.True(f, ok)
	// The field sync that was found, and a little more than it takes to start.
	r.engine.starts = 1 // for speed
	from := int(found.at/r.front.outRate()*secondRate) - fuzzBefore
	require.Positive(f, from)
	found.at -= float64(from) / secondRate * r.front.outRate()
	raw = raw[from:][:fuzzSamples]
	f.Fuzz(func(t *testing.T, seed uint64, kind uint8, data []byte) {
		r.lose()
		rng := rand.New(rand.NewPCG(seed, 1))
		x := append([]complex64(nil), raw...)
		// The data stand in many places of a good signal.
		for range 1 + int(kind)*4 {
			at := rng.IntN(len(x))
			for i := 0; i+8 <= len(data) && at < len(x); i, at = i+8, at+1 {
				x[at] = complex(
					math.Float32frombits(binary.LittleEndian.Uint32(data[i:])),
					math.Float32frombits(binary.LittleEndian.Uint32(data[i+4:])))
			}
		}
		r.lockOn(found)
		require.NoError(t, r.Write(x))
		r.Gap()
		require.NoError(t, r.Write(x[:rng.IntN(len(x)/8)]))
		_ = r.Status()
		require.NoError(t, r.Flush())
	})
}
