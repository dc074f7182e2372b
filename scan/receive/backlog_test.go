package receive

import (
	"context"
	"errors"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"rooftone/scan/tuner"
)

// numbered is a block of 50 ms whose samples say which one it is.
func numbered(n int) tuner.Block {
	return tuner.Block{Samples: []complex64{complex(float32(n), 0), 0, 0, 0, 0}, RateHz: 100}
}

func TestBacklogLeavesOutKnowingly(t *testing.T) {
	// Truth: nothing is made or lost: the blocks that came and those that are said to
	// have been left out are all that were put, in their order.
	var clock time.Time
	release := make(chan struct{})
	got := make(chan tuner.Block, 1000)
	b := newBacklog(func(block tuner.Block, _ bool) error {
		<-release
		block.Samples = append([]complex64(nil), block.Samples...)
		got <- block
		return nil
	}, func() time.Time { return clock })
	put := 0
	next := func() {
		clock = clock.Add(50 * time.Millisecond)
		block := numbered(put)
		block.Lost = put == 25
		require.NoError(t, b.Put(block, false))
		put++
	}
	for range 30 {
		next()
	}
	// The receiver has had none yet. From now on it is free.
	close(release)
	come := 0
	expect := func(block tuner.Block) {
		come += int(block.Skipped / (50 * time.Millisecond))
		require.Equal(t, float32(come), real(block.Samples[0]))
		come++
	}
	var after tuner.Block
	for after.Skipped == 0 {
		next()
		select {
		case after = <-got:
			expect(after)
		case <-time.After(time.Millisecond):
		}
	}
	require.GreaterOrEqual(t, after.Skipped, 13*50*time.Millisecond) // 15 may wait, and one is being received
	require.True(t, after.Lost)
	next()
	skipped, err := b.Close()
	require.NoError(t, err)
	close(got)
	for block := range got {
		expect(block)
	}
	require.Equal(t, put, come+int(skipped/(50*time.Millisecond)))
}

func TestBacklogWaitsForWhatWouldWait(t *testing.T) {
	// Truth: the promise of Backlog's comment. No time goes by, so no radio gives this.
	come := 0
	b := newBacklog(func(block tuner.Block, _ bool) error {
		require.Zero(t, block.Skipped)
		require.Equal(t, float32(come), real(block.Samples[0]))
		come++
		return nil
	}, func() time.Time { return time.Time{}.Add(time.Hour) })
	for n := range 500 {
		require.NoError(t, b.Put(numbered(n), false))
	}
	skipped, err := b.Close()
	require.NoError(t, err)
	require.Zero(t, skipped)
	require.Equal(t, 500, come)
}

func TestBacklogEndsWithItsReceiver(t *testing.T) {
	// Truth: the promise of Put's comment.
	full := errors.New("disk full")
	b := NewBacklog(func(tuner.Block, bool) error { return full })
	for err := error(nil); err == nil; err = b.Put(numbered(0), false) {
	}
	_, err := b.Close()
	require.ErrorIs(t, err, full)
	require.ErrorIs(t, b.Put(numbered(0), false), full)
}

func TestReceptionSaysWhatWasLeftOut(t *testing.T) {
	if testing.Short() {
		t.Skip("with the race detector receiving is slow")
	}
	// Truth: what was left out. Two pieces of 0.15 s with 0.2 s between them are not
	// taken for one, nor for a fault of the radio's.
	s := lighthouse(t, 14, 8e6)
	var seconds []Second
	r := New(channel(t, 14), Options{Second: func(s Second) error { seconds = append(seconds, s); return nil }})
	buffer := make([]complex64, 1_200_000)
	for piece := range 2 {
		b, err := s.Read(context.Background(), buffer)
		require.NoError(t, err)
		if piece == 1 {
			b.Skipped = 200 * time.Millisecond
		}
		require.NoError(t, r.Write(b, false))
		_, err = s.Read(context.Background(), buffer[:1_600_000-len(buffer)])
		require.NoError(t, err)
	}
	require.NoError(t, r.Flush())
	total := r.Total()
	require.InDelta(t, 0.2, total.Skipped, 1e-9)
	require.InDelta(t, 0.6, total.HeardShare(), 1e-9)
	require.Equal(t, 2, total.Locks)
	require.Zero(t, total.Failed)
	require.Zero(t, total.Lost)
	require.Len(t, seconds, 1)
	require.InDelta(t, 0.2, seconds[0].Skipped, 1e-9)
	require.False(t, seconds[0].Relocked)
	require.Greater(t, total.Packets, int64(1500))
}
