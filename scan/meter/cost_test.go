package meter

import (
	"context"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"rooftone/scan/tuner"
)

// turns is how many stays at a tuning are heard before they are heard again.
const turns = 8

// replayed is a radio that costs nothing: what it heard at a tuning a few times
// it hears again and again.
type replayed struct {
	tuner.Tuner
	to    tuner.Tuning
	heard map[replayedStay]tuner.Block
	stays map[tuner.Tuning]int
	clock time.Time
}

type replayedStay struct {
	tuner.Tuning
	samples, turn int
}

func newReplayed(t tuner.Tuner) *replayed {
	return &replayed{Tuner: t, heard: map[replayedStay]tuner.Block{}, stays: map[tuner.Tuning]int{}, clock: time.Unix(0, 0)}
}

func (r *replayed) Tune(_ context.Context, to tuner.Tuning) error {
	r.to = to
	r.clock = r.clock.Add(6 * time.Millisecond)
	return nil
}

func (r *replayed) Read(ctx context.Context, dst []complex64) (tuner.Block, error) {
	r.stays[r.to]++
	key := replayedStay{r.to, len(dst), r.stays[r.to] % turns}
	b, ok := r.heard[key]
	if !ok {
		if err := r.Tuner.Tune(ctx, r.to); err != nil {
			return b, err
		}
		var err error
		if b, err = r.Tuner.Read(ctx, make([]complex64, len(dst))); err != nil {
			return b, err
		}
		r.heard[key] = b
	}
	copy(dst, b.Samples)
	b.Samples, b.Start = dst, r.clock
	r.clock = r.clock.Add(time.Duration(float64(len(dst)) / b.RateHz * 1e9))
	return b, nil
}

// BenchmarkSecond follows one channel for a second of the radio's time: ns/op
// over 1e9 is the share of one processor that the meter takes.
func BenchmarkSecond(b *testing.B) {
	some, plan := channels(b, 14)
	r := newReplayed(bench(b, 15))
	m, err := New(r, Options{Channels: some, Plan: plan})
	require.NoError(b, err)
	var start time.Time
	b.ReportAllocs()
	err = m.Run(context.Background(), func(u Update) error {
		switch {
		case u.State == Learning:
		case u.Count == 60: // all that is made once is made
			start = u.Time
			b.ResetTimer()
		case u.Count > 60 && u.Time.Sub(start) >= time.Duration(b.N)*time.Second:
			return errEnough
		}
		return nil
	})
	require.ErrorIs(b, err, errEnough)
}
