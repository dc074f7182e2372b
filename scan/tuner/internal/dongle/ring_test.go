package dongle

import (
	"context"
	"errors"
	"math/rand/v2"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

// Truth: the ring's own promise: what is taken between two gaps is a run of
// the stream that begins with an I, and after a gap the run is the newest.
func TestRingHandsOutWholePairs(t *testing.T) {
	rng := rand.New(rand.NewPCG(1, 2))
	// Byte number n of the stream is I for even n, and holds n's low bits, so
	// that every loss and shift shows.
	const size = 64
	r := NewRing(size)
	var sent, got uint64 // bytes
	dst := make([]byte, 40)
	gaps := 0
	for range 20000 {
		p := make([]byte, rng.IntN(3*size))
		if rng.IntN(4) > 0 {
			p = p[:min(len(p), rng.IntN(9))]
		}
		for i := range p {
			p[i] = byte(sent + uint64(i))
		}
		n, err := r.Write(p)
		require.NoError(t, err)
		require.Equal(t, len(p), n)
		sent += uint64(n)
		require.Equal(t, sent, r.Written())
		if rng.IntN(3) == 0 {
			continue
		}
		if rng.IntN(50) == 0 {
			r.Skip()
			got = sent &^ 1
		}
		taken, err := r.take(dst[:rng.IntN(len(dst)+1)])
		require.NoError(t, err)
		if taken.N == 0 {
			continue
		}
		require.Zero(t, taken.N%2)
		if taken.Gap {
			gaps++
			from := sent - uint64(taken.Behind)
			require.Greater(t, from, got, "a gap that is none")
			require.Zero(t, from%2, "I and Q have changed places")
			got = from
		}
		require.EqualValues(t, sent-got, taken.Behind)
		for i, b := range dst[:taken.N] {
			require.Equal(t, byte(got+uint64(i)), b)
		}
		got += uint64(taken.N)
	}
	require.Greater(t, gaps, 100)
}

// Truth: the documented errors of Take.
func TestRingTakeEnds(t *testing.T) {
	dst := make([]byte, 8)
	ended := errors.New("ended")

	r := NewRing(64)
	r.Write([]byte{1, 2, 3})
	r.End(ended)
	r.End(errors.New("too late"))
	taken, err := r.Take(context.Background(), dst, time.Hour)
	require.NoError(t, err, "what came before the end is still handed out")
	require.Equal(t, 2, taken.N)
	_, err = r.Take(context.Background(), dst, time.Hour)
	require.Equal(t, ended, err)

	r = NewRing(64)
	start := time.Now()
	_, err = r.Take(context.Background(), dst, 20*time.Millisecond)
	require.ErrorIs(t, err, ErrStalled)
	require.Less(t, time.Since(start), 5*time.Second)

	ctx, cancel := context.WithCancel(context.Background())
	time.AfterFunc(10*time.Millisecond, cancel)
	_, err = r.Take(ctx, dst, time.Hour)
	require.ErrorIs(t, err, context.Canceled)
	r.Write([]byte{1, 2})
	_, err = r.Take(ctx, dst, time.Hour)
	require.ErrorIs(t, err, context.Canceled, "a context that has ended wins over bytes that are there")
}

func TestRingWakesAWaitingReader(t *testing.T) {
	r := NewRing(1 << 10)
	go func() {
		for i := range 500 {
			r.Write([]byte{byte(i)})
			if i%50 == 0 {
				time.Sleep(time.Millisecond)
			}
		}
		r.End(ErrStalled)
	}()
	var all []byte
	dst := make([]byte, 7)
	for {
		taken, err := r.Take(context.Background(), dst, 10*time.Second)
		if err != nil {
			require.Equal(t, ErrStalled, err)
			break
		}
		all = append(all, dst[:taken.N]...)
	}
	require.Len(t, all, 500)
	for i, b := range all {
		require.Equal(t, byte(i), b)
	}
}
