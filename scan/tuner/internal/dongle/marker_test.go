package dongle

import (
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/require"
)

func noise(rng *rand.Rand, n int) []byte {
	p := make([]byte, n)
	for i := range p {
		p[i] = byte(128 + 20*rng.NormFloat64())
	}
	return p
}

func counter(from byte, n int) []byte {
	p := make([]byte, n)
	for i := range p {
		p[i] = from + byte(i)
	}
	return p
}

// Truth: where the counter was put into the stream by hand. The stream is
// scanned in pieces of every size, so that no boundary matters.
func TestMarkerFindsTheEndOfTheCounter(t *testing.T) {
	rng := rand.New(rand.NewPCG(3, 4))
	const pass = 600
	join := func(parts ...[]byte) (all []byte) {
		for _, p := range parts {
			all = append(all, p...)
		}
		return all
	}
	// Noise right after the counter would run on by chance once in 256.
	after := append([]byte{0}, noise(rng, 3000)...)
	for _, c := range []struct {
		name   string
		before []byte // up to and with the last byte of the counter
		end    bool
	}{
		{"plain", join(noise(rng, 2000), counter(7, 5000)), true},
		{"at the very start", counter(200, 400), true},
		{"begins in the middle of a pair", join(noise(rng, 2001), counter(9, 333)), true},
		{"jumps in the middle", join(noise(rng, 100), counter(7, 500), counter(99, 501)), true},
		{"interrupted for a moment", join(noise(rng, 100), counter(7, 500), noise(rng, 300), counter(1, 500)), true},
		{"too short to be one", join(noise(rng, 100), counter(7, counterRun/2)), false},
		{"none", noise(rng, 50000), false},
	} {
		t.Run(c.name, func(t *testing.T) {
			tail := after
			if c.before[len(c.before)-1] == 255 {
				tail = after[1:]
			}
			stream := join(c.before, tail)
			for _, piece := range []int{1, 2, 31, 128, 1000, len(stream)} {
				m := newMarker(pass)
				at, past := 0, false
				for at < len(stream) && !past {
					var n int
					n, past = m.scan(stream[at:min(len(stream), at+piece)])
					at += n
				}
				require.Equal(t, c.end, past)
				if c.end {
					require.Equal(t, len(c.before)+pass, at)
				}
			}
		})
	}
}

// Truth: 8-bit samples of tones, noise and silence have no run of 128 bytes
// each one more than the last; a tone at the one frequency and level where I
// and Q of a sample differ by one and the next by one again cannot keep that
// up, since both would have to grow for ever.
func TestMarkerTakesNoSignalForTheCounter(t *testing.T) {
	rng := rand.New(rand.NewPCG(5, 6))
	m := newMarker(600)
	m.scan(make([]byte, 1<<16))
	m.scan(noise(rng, 1<<22))
	sawtooth := make([]byte, 1<<16)
	for i := range sawtooth {
		sawtooth[i] = byte(i / 2 * 2) // I = Q = a ramp, as steep as the counter
	}
	m.scan(sawtooth)
	require.False(t, m.seen)
}

func BenchmarkMarker(b *testing.B) {
	p := noise(rand.New(rand.NewPCG(7, 8)), 1<<16)
	m := newMarker(600)
	b.SetBytes(int64(len(p)))
	for b.Loop() {
		m.scan(p)
	}
}
