package meter

import (
	"context"
	"io"
	"math"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"rooftone/scan"
	"rooftone/scan/tuner"
	"rooftone/scan/tuner/sim"
)

// taped is a playlist of what a simulated radio heard.
type taped struct {
	info  tuner.Info
	stays []tuner.Block
	at    int
	read  int
}

func (p *taped) Info() tuner.Info { return p.info }
func (p *taped) Close() error     { return nil }

func (p *taped) Next(ctx context.Context) (tuner.Stay, error) {
	if p.at++; p.at >= len(p.stays) {
		return tuner.Stay{}, io.EOF
	}
	p.read = 0
	b := p.stays[p.at]
	return tuner.Stay{CenterHz: b.CenterHz, RateHz: b.RateHz, GainDB: b.GainDB, Start: b.Start}, ctx.Err()
}

func (p *taped) Read(ctx context.Context, dst []complex64) (tuner.Block, error) {
	b := p.stays[p.at]
	n := copy(dst, b.Samples[p.read:])
	if !b.Start.IsZero() {
		b.Start = b.Start.Add(time.Duration(float64(p.read) / b.RateHz * 1e9))
	}
	p.read += n
	b.Samples = dst[:n]
	if n == 0 {
		return b, io.EOF
	}
	return b, ctx.Err()
}

// tape records stays.
func tape(t testing.TB, r tuner.Tuner, length time.Duration, tunings ...tuner.Tuning) *taped {
	p := &taped{info: r.Info()}
	for _, to := range tunings {
		require.NoError(t, r.Tune(context.Background(), to))
		b, err := r.Read(context.Background(), make([]complex64, int(length.Seconds()*to.RateHz)))
		require.NoError(t, err)
		p.stays = append(p.stays, b)
	}
	return p
}

func (p *taped) open(context.Context) (tuner.Playlist, error) {
	q := *p
	q.at = -1
	return &q, nil
}

func played(t testing.TB, p *taped, o Options) (list []Update, err error) {
	m, err := New(nil, o)
	require.NoError(t, err)
	err = m.Play(context.Background(), p.open, func(u Update) error {
		list = append(list, u)
		return nil
	})
	return list, err
}

// Truth: the town's own levels, as for the live meter. One stay of a wide radio
// holds the whole channel and neighbours, and makes forty readings a second.
func TestPlaysAWideRecording(t *testing.T) {
	town, err := sim.Bench(15)
	require.NoError(t, err)
	town.Radio.Wide = true
	radio, err := sim.New(town, sim.Options{})
	require.NoError(t, err)
	some, plan := channels(t, 14, 30)
	p := tape(t, radio, 400*time.Millisecond, tuner.Tuning{CenterHz: some[0].CenterHz() + 1e6, RateHz: 10e6, GainDB: tuner.UnknownGain()})
	list, err := played(t, p, Options{Channels: some, Plan: plan})
	require.NoError(t, err)
	require.Equal(t, Uncovered, list[0].State)
	require.Equal(t, 30, list[0].Channel.Number)
	list = list[1:]
	mean, rms := spread(margins(list))
	last := list[len(list)-1]
	t.Logf("%d readings, margin %.2f ± %.2f, jitter %.3f dB, trained %v", len(list), mean, last.Margin.Sigma, rms, last.Trained)
	require.Len(t, list, 16)
	require.InDelta(t, 15-15.2, mean, 0.4)
	require.Less(t, rms, 0.2)
	require.True(t, last.Trained)
	require.Equal(t, p.stays[0].Start.Add(400*time.Millisecond), last.Time.Round(time.Microsecond))
}

// Truth: the town's own levels. A recorded visit goes three times over the
// channel's slices and those of some beside it, and does not tell its time.
func TestPlaysAVisit(t *testing.T) {
	some, plan := channels(t, 14)
	radio := bench(t, 9)
	var tunings []tuner.Tuning
	for range 3 {
		for _, c := range scan.Company(some, plan) {
			for _, hz := range scan.Hops(c, 2.4e6) {
				tunings = append(tunings, tuner.Tuning{CenterHz: hz, RateHz: 2.4e6, GainDB: tuner.UnknownGain()})
			}
		}
	}
	p := tape(t, radio, 60*time.Millisecond, tunings...)
	for i := range p.stays {
		p.stays[i].Start = time.Time{}
		p.stays[i].GainDB = math.NaN()
	}
	list, err := played(t, p, Options{Channels: some, Plan: plan})
	require.NoError(t, err)
	mean, rms := spread(margins(list))
	t.Logf("%d readings, margin %.2f, jitter %.3f dB", len(list), mean, rms)
	// Three pieces a stay, and none until the third slice is heard.
	require.Len(t, list, 3*9-6)
	require.InDelta(t, 9-15.2, mean, 0.5)
	require.Equal(t, 1970, list[0].Time.UTC().Year())
	for i, u := range list[1:] {
		require.True(t, u.Time.After(list[i].Time))
	}
}
