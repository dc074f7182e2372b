package meter

import (
	"context"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"rooftone/scan"
)

// Truth: the town's own levels. While the meter follows one channel a careful
// visit to others is asked for: it finds them, the meter says meanwhile that it
// listens carefully and how far it is, and then reads on as before.
func TestVisitBetweenReadings(t *testing.T) {
	some, plan := channels(t, 14)
	others, _ := channels(t, 16, 18)
	m, err := New(bench(t, 15, 20, -3), Options{Channels: some, Plan: plan})
	require.NoError(t, err)
	type result struct {
		survey *scan.Survey
		err    error
	}
	found := make(chan result, 1)
	var before, after, learning int
	asked := false
	err = m.Run(context.Background(), func(u Update) error {
		switch {
		case u.State == Learning && asked:
			learning++
			require.NotNil(t, u.BestDB)
		case u.State == Learning:
		case !asked:
			if before++; before == 5 {
				asked = true
				go func() {
					s, err := m.Visit(context.Background(), scan.Options{Channels: others, Plan: plan, Dwell: 60 * time.Millisecond})
					found <- result{s, err}
				}()
				time.Sleep(50 * time.Millisecond) // so that it is asked for by the next stay
			}
		case learning > 0:
			require.InDelta(t, 15-15.2, u.Margin.Value, 0.3)
			require.True(t, u.Trained, "what was known is not forgotten")
			if after++; after == 8 {
				return errEnough
			}
		}
		return nil
	})
	require.ErrorIs(t, err, errEnough)
	r := <-found
	require.NoError(t, r.err)
	require.Len(t, r.survey.Channels, 2)
	require.InDelta(t, 20-15.2, r.survey.Channels[0].Margin.Value, 0.5)
	require.InDelta(t, -3-15.2, r.survey.Channels[1].Margin.Value, 1)
	require.False(t, r.survey.Interrupted)
	require.GreaterOrEqual(t, learning, 1)

	_, err = m.Visit(context.Background(), scan.Options{Channels: others, Plan: plan})
	require.ErrorIs(t, err, ErrOver)
}

// Truth: a visit whose context ends is cut short, and the meter goes on.
func TestVisitCutShort(t *testing.T) {
	some, plan := channels(t, 14)
	m, err := New(bench(t, 15), Options{Channels: some, Plan: plan})
	require.NoError(t, err)
	ctx, cancel := context.WithCancel(context.Background())
	found := make(chan *scan.Survey, 1)
	n := 0
	err = m.Run(context.Background(), func(u Update) error {
		switch {
		case u.State == Learning && n > 0:
			cancel()
		case u.State == Measuring:
			if n++; n == 3 {
				go func() {
					s, _ := m.Visit(ctx, scan.Options{Channels: some, Plan: plan, Dwell: time.Second})
					found <- s
				}()
				time.Sleep(50 * time.Millisecond)
			}
			if n == 8 {
				return errEnough
			}
		}
		return nil
	})
	require.ErrorIs(t, err, errEnough)
	require.True(t, (<-found).Interrupted)
}
