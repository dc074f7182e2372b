package meter

import (
	"context"
	"io"
	"math"
	"math/cmplx"
	"math/rand/v2"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"rooftone/scan"
	"rooftone/scan/band"
	"rooftone/scan/tuner"
	"rooftone/scan/tuner/sim"
)

// Truth: set arithmetic: what the tunings of one rate show of a channel.
func TestLay(t *testing.T) {
	some, _ := channels(t, 14)
	c := some[0]
	type at struct{ mhz, rate, gain float64 }
	for name, x := range map[string]struct {
		tunings []at
		want    []float64 // MHz above the lower edge
		rate    float64
	}{
		"nothing":                   {nil, nil, 0},
		"beside it":                 {[]at{{-4, 2.4, 0}}, nil, 0},
		"too little of it":          {[]at{{-0.95, 2.4, 0}}, nil, 0},
		"the pilot alone":           {[]at{{0.3, 1.024, 0}}, []float64{0.3}, 1.024},
		"one in the middle":         {[]at{{3, 2.4, 0}}, []float64{3}, 2.4},
		"all of it in three":        {[]at{{1, 2.4, 0}, {3, 2.4, 0}, {5, 2.4, 0}}, []float64{1, 3, 5}, 2.4},
		"those that are needed":     {[]at{{1, 2.4, 0}, {1.5, 2.4, 0}, {3, 2.4, 0}, {4, 2.4, 0}, {5, 2.4, 0}}, []float64{1, 3, 5}, 2.4},
		"three with gaps":           {[]at{{1, 2.2, 0}, {3, 2.2, 0}, {5, 2.2, 0}}, []float64{1, 3, 5}, 2.2},
		"the two ends":              {[]at{{1, 2.4, 0}, {5, 2.4, 0}}, []float64{1, 5}, 2.4},
		"more is better than fewer": {[]at{{3, 2.4, 0}, {1, 2.048, 0}, {3.1, 2.048, 0}}, []float64{1, 3.1}, 2.048},
		"one that shows all":        {[]at{{1, 2.4, 0}, {3, 2.4, 0}, {5, 2.4, 0}, {3, 8, 0}}, []float64{3}, 8},
		"not those of another gain": {[]at{{1, 2.4, 0}, {3, 2.4, 20}, {5, 2.4, 0}}, []float64{1, 5}, 2.4},
	} {
		seen := map[tuner.Tuning]bool{}
		for _, a := range x.tunings {
			seen[tuner.Tuning{CenterHz: c.LowerHz + a.mhz*1e6, RateHz: a.rate * 1e6, GainDB: a.gain}] = true
		}
		got, ok := lay(c, seen, 0, 1)
		require.Equal(t, x.want != nil, ok, name)
		var mhz []float64
		for _, hz := range got.centersHz {
			mhz = append(mhz, math.Round((hz-c.LowerHz)/1e4)/100)
		}
		require.Equal(t, x.want, mhz, name)
		require.InDelta(t, x.rate*1e6, got.rateHz, 1, name)
	}
}

// partOf follows a bench's channel 14 through a recording of some of its tunings,
// as a careful visit to all of it had taught.
func partOf(t testing.TB, cnDB float64, seed uint64, while time.Duration, rateHz float64, offsetsMHz ...float64) []Update {
	town, err := sim.Bench(cnDB)
	require.NoError(t, err)
	radio, err := sim.New(town, sim.Options{Seed: &seed})
	require.NoError(t, err)
	some, plan := channels(t, 14)
	m, err := New(radio, Options{Channels: some, Plan: plan})
	require.NoError(t, err)
	l, err := m.learn(context.Background())
	require.NoError(t, err)
	var tunings []tuner.Tuning
	gain := tuner.UnknownGain()
	for i := range l.survey.Channels {
		if r := &l.survey.Channels[i].Reading; r.Channel == some[0] && r.GainDB != nil {
			gain = *r.GainDB
		}
	}
	for _, mhz := range offsetsMHz {
		tunings = append(tunings, tuner.Tuning{CenterHz: some[0].LowerHz + mhz*1e6, RateHz: rateHz, GainDB: gain})
	}
	taped := tape(t, radio, while/time.Duration(len(tunings)), tunings...)
	seen := map[tuner.Tuning]bool{}
	for _, b := range taped.stays {
		seen[tuner.Tuning{CenterHz: b.CenterHz, RateHz: b.RateHz, GainDB: known(b.GainDB)}] = true
	}
	where, ok := lay(some[0], seen, gain, l.clock)
	require.True(t, ok)
	f, err := newFollower(some[0], l, where, m.ThresholdDB, radio.Info().Clock.ReferenceHz)
	require.NoError(t, err)
	f.fitEvery = playedFitEvery
	m.followers = []*follower{f}
	p, err := taped.open(context.Background())
	require.NoError(t, err)
	var list []Update
	at := time.Unix(0, 0)
	for {
		stay, err := p.Next(context.Background())
		if err == io.EOF {
			return list
		}
		require.NoError(t, err)
		at, err = m.playStay(context.Background(), p, stay, at, func(u Update) error {
			list = append(list, u)
			return nil
		})
		require.NoError(t, err)
	}
}

// Truth: the town's own level: its channel is flat, so every part of it has the
// C/N and the margin of all of it.
func TestFollowsAPart(t *testing.T) {
	if testing.Short() {
		t.Skip("an ensemble: it has its time in the long run")
	}
	for name, x := range map[string]struct {
		rate    float64
		at      []float64
		share   float64
		sure    bool // its training cannot be missed
		within  float64
		atLeast float64 // σ
	}{
		"one in the middle":    {2.4e6, []float64{3}, 0.35, true, 0.4, 1.2},
		"one at the pilot":     {2.4e6, []float64{0.4}, 0.2416, true, 0.5, 1.6},
		"one at the upper end": {2.4e6, []float64{5.4}, 0.275, true, 0.5, 1.5},
		"a narrow one":         {1.024e6, []float64{2.2}, 0.1493, true, 0.5, 2.2},
		"the pilot, narrow":    {1.024e6, []float64{0.31}, 0.1263, false, 0.7, 2.4},
		"under the spike":      {1.024e6, []float64{band.PilotOffsetHz / 1e6}, 0.1263, false, 0.7, 2.4},
		"two ends":             {2.4e6, []float64{1, 5}, 0.6834, true, 0.4, 0.3},
		"gaps of 100 kHz":      {2.17e6, []float64{1, 3, 5}, 0.95, true, 0.3, 0.05},
	} {
		t.Run(name, func(t *testing.T) {
			for seed, cn := range []float64{21, 9} {
				if testing.Short() && cn != 21 {
					continue
				}
				list := partOf(t, cn, uint64(seed)+7, 500*time.Millisecond, x.rate, x.at...)
				require.NotEmpty(t, list)
				last := list[len(list)-1]
				mean, _ := spread(margins(list))
				t.Logf("C/N %.0f: %d readings, margin %.2f (last %.2f ± %.2f), true %.2f; share %.3f, trained %v, %s, MER %v",
					cn, len(list), mean, last.Margin.Value, last.Margin.Sigma, cn-15.2, last.SeenShare(), last.Trained, last.Method, last.MER)
				require.Equal(t, Measuring, last.State)
				require.InDelta(t, cn-15.2, mean, x.within)
				require.InDelta(t, cn, last.CN.Value, x.within+0.2)
				require.InDelta(t, x.share, last.SeenShare(), 0.01)
				require.GreaterOrEqual(t, last.Margin.Sigma, x.atLeast)
				require.Less(t, last.Margin.Sigma, x.atLeast+0.4)
				require.Equal(t, !x.sure, last.Unsought)
				require.True(t, last.Trained || cn == 9 && !x.sure)
				require.False(t, last.Foreign())
				require.Equal(t, len(x.at), last.Stays)
				require.NotNil(t, NewLine(last).SeenShare)
			}
		})
	}
}

// Truth: plane waves: paths of random delay, level and phase, and the margin as
// vsb.EqualisedSNR has it. What a stretch of the channel says of the whole is
// without bias, and as far off as unseenDB says: 95 % of it within 1.96 times.
func TestAPartTellsOfTheWhole(t *testing.T) {
	rng := rand.New(rand.NewPCG(6, 1))
	const points, draws = 240, 1500
	for _, width := range []float64{0.4, 1.05, 2.1, 3, 4.2, 5} {
		share := width / 6
		var inside, sum float64
		for range draws {
			h := make([]complex128, points)
			for i := range h {
				h[i] = 1
			}
			for range rng.IntN(4) {
				delay := rng.Float64() * 15
				if rng.IntN(2) == 0 {
					delay = rng.Float64()
				}
				gain := cmplx.Rect(math.Pow(10, -(1.5+16.5*rng.Float64())/20), 2*math.Pi*rng.Float64())
				for i := range h {
					h[i] += gain * cmplx.Rect(1, -2*math.Pi*delay*6*float64(i)/points)
				}
			}
			snr := math.Pow(10, 0.8+1.2*rng.Float64())
			margin := func(from, to int) float64 {
				var m float64
				for _, x := range h[from:to] {
					m += math.Log1p(snr*real(x*cmplx.Conj(x))) / float64(to-from)
				}
				return toDB(math.Expm1(m))
			}
			n := int(share * points)
			from := rng.IntN(points - n)
			off := margin(from, from+n) - margin(0, points)
			sum += off / draws
			if math.Abs(off) <= 1.96*unseenDB(share) {
				inside += 1.0 / draws
			}
		}
		t.Logf("%.2g of 6 MHz: bias %+.2f dB, 95 %% interval of ±%.1f dB holds %.1f %%", width, sum, 1.96*unseenDB(share), 100*inside)
		require.Less(t, math.Abs(sum), 0.15)
		require.Greater(t, inside, 0.9)
	}
	require.Zero(t, unseenDB(1))
}

// Truth: 2.4 MS/s beside a channel show nothing of it.
func TestWhatARecordingLacks(t *testing.T) {
	some, plan := channels(t, 14)
	p := tape(t, bench(t, 15), 60*time.Millisecond, tuner.Tuning{CenterHz: some[0].UpperHz() + 3e6, RateHz: 2.4e6, GainDB: tuner.UnknownGain()})
	_, err := played(t, p, Options{Channels: some, Plan: plan})
	var uncovered *UncoveredError
	require.ErrorAs(t, err, &uncovered)
	require.Equal(t, []band.Span{{LowHz: 477.95e6, HighHz: 480.05e6}}, uncovered.Holds)
	require.EqualError(t, err, "the recording shows nothing usable of channel 14, 470 to 476 MHz: it holds 477.95 to 480.05 MHz")
}

// Truth: the definition: the vacant channels nearest to what is followed.
func TestNearestVacant(t *testing.T) {
	some, plan := channels(t, 30)
	m, err := New(nil, Options{Channels: some, Plan: plan})
	require.NoError(t, err)
	survey := &scan.Survey{}
	for _, c := range plan {
		ch := scan.Channel{}
		ch.Channel = c
		if c.Number != 30 && c.Number != 31 {
			ch.Presence = "vacant"
		}
		survey.Channels = append(survey.Channels, ch)
	}
	var numbers []int
	for _, c := range m.nearestVacant(survey) {
		numbers = append(numbers, c.Number)
	}
	require.Equal(t, []int{29, 28, 32}, numbers)
}
