package measure

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/require"

	"rooftone/dsp/vsb"
	"rooftone/scan/band"
	"rooftone/scan/listen"
	"rooftone/scan/tuner"
)

type station struct {
	channel int
	cnDB    float64
	errorHz float64
}

type toneAt struct {
	hz          float64
	overNoiseDB float64 // its power over the noise in 6 MHz
}

// air makes slices of a plain world: stations, tones and noise of density 1e-9.
type air struct {
	seed     uint64
	ppm      float64
	dwell    float64
	stations []station
	tones    []toneAt
	channels []band.Channel
}

// stays makes the samples of one visit.
func (a air) stays(t testing.TB) []tuner.Block {
	const rate, density = 2.4e6, 1e-9
	clock := 1 + a.ppm*1e-6
	rng := rand.New(rand.NewPCG(a.seed, 1))
	at := 0.0
	plan := band.Plans()[0]
	var out []tuner.Block
	for _, c := range a.channels {
		for _, hop := range []float64{1e6, 3e6, 5e6} {
			center := c.LowerHz + hop
			x := make([]complex64, int(a.dwell*rate))
			sd := math.Sqrt(density * rate / 2)
			for i := range x {
				x[i] = complex(float32(sd*rng.NormFloat64()), float32(sd*rng.NormFloat64()))
			}
			for _, s := range a.stations {
				of, _ := plan.Channel(s.channel)
				offset := center*clock - of.LowerHz - s.errorHz
				if offset < -1.3e6 || offset > 7.3e6 {
					continue
				}
				r, err := vsb.NewRenderer(rate, offset)
				require.NoError(t, err)
				gain := math.Sqrt(density * band.WidthHz * math.Pow(10, s.cnDB/10))
				w := vsb.NewWaveform(uint64(s.channel) + a.seed*1000)
				require.NoError(t, r.Add(x, w, at, 1/(rate*clock), complex(gain, 0)))
			}
			for _, tone := range a.tones {
				offset := tone.hz/clock - center
				if math.Abs(offset) > rate/2 {
					continue
				}
				amplitude := math.Sqrt(density * band.WidthHz * math.Pow(10, tone.overNoiseDB/10))
				for i := range x {
					sin, cos := math.Sincos(2 * math.Pi * math.Mod(offset/rate*float64(i), 1))
					x[i] += complex(float32(amplitude*cos), float32(amplitude*sin))
				}
			}
			out = append(out, tuner.Block{Samples: x, CenterHz: center, RateHz: rate, GainDB: math.NaN()})
			at += a.dwell + 0.01
		}
	}
	return out
}

func (a air) slices(t testing.TB) []*listen.Slice {
	s := listen.NewSlicer(a.channels, tuner.Info{})
	var out listen.Slices
	for _, b := range a.stays(t) {
		require.NoError(t, s.Begin(tuner.Stay{CenterHz: b.CenterHz, RateHz: b.RateHz, GainDB: b.GainDB}))
		s.Write(b)
		out.Add(s.End())
	}
	return out.List()
}

// Truth: the levels that went in, by plain arithmetic; the noise is math/rand's.
func TestChannels(t *testing.T) {
	channels, err := band.Plans()[0].Select("14-30")
	require.NoError(t, err)
	c, _ := band.Plans()[0].Channel(30)
	a := air{
		seed: 1, ppm: 37, dwell: 0.06, channels: channels,
		stations: []station{{15, 27, 3}, {17, 20, -5}, {18, 12, 0}, {20, 3, 8}, {22, -8, 2}, {24, -18, 1}, {26, 40, 0}, {28, 27, 0}},
		tones:    []toneAt{{c.PilotHz() + 600, 5}},
	}
	r := Channels(a.slices(t), Options{Channels: channels})
	require.InDelta(t, 37, r.Clock.PPM.Value, 0.1)
	want := map[int]float64{}
	for _, s := range a.stations {
		want[s.channel] = s.cnDB
	}
	for _, got := range r.Readings {
		cn, on := want[got.Channel.Number]
		if !on {
			require.Equal(t, Vacant, got.Presence, "channel %d", got.Channel.Number)
			require.Nil(t, got.CN)
			continue
		}
		require.Equal(t, Present, got.Presence, "channel %d", got.Channel.Number)
		require.Equal(t, ATSC1, got.Standard)
		require.InDelta(t, cn, got.CN.Value, math.Max(0.3, 3*got.CN.Sigma), "channel %d", got.Channel.Number)
		if cn >= 3 {
			require.Equal(t, MarginEqualised, got.MarginMethod)
			require.InDelta(t, cn-DefaultThresholdDB, got.Margin.Value, 0.4, "channel %d", got.Channel.Number)
			require.InDelta(t, cn+10*math.Log10(vsb.MERPerCN), got.MER.Value, 3*got.MER.Sigma+0.1, "channel %d", got.Channel.Number)
			require.NotNil(t, got.Echoes)
			require.Empty(t, got.Echoes)
			require.InDelta(t, 0, got.Tilt.Value, 0.3)
		}
	}
	require.Equal(t, []Doubt{DoubtNoData}, r.Readings[len(r.Readings)-1].Suspicion)
}

func TestChannelsOfNothing(t *testing.T) {
	channels, err := band.Plans()[0].Select("7-13")
	require.NoError(t, err)
	r := Channels(nil, Options{Channels: channels})
	require.Len(t, r.Readings, len(channels))
	require.Nil(t, r.Clock)
	for _, got := range r.Readings {
		require.Equal(t, Reading{Channel: got.Channel}, got)
	}
	require.Empty(t, Channels(nil, Options{}).Readings)
}
