package scan

import (
	"fmt"
	"math"
	"testing"

	"github.com/stretchr/testify/require"

	"rooftone/dsp/ofdm"
	"rooftone/scan/band"
	"rooftone/scan/measure"
)

// occupation is what a channel is filled with, and how it must be judged.
type occupation struct {
	about    string
	signal   func(t *testing.T, seed uint64) signal // nil: nothing
	real     bool                                   // a window of a real recording
	presence measure.Presence
	standard measure.Standard // "": that is not asked
}

// occupations are one of every kind. A frame of ATSC 3.0 is short enough for
// any stay to show its beginning.
var occupations = []occupation{
	{"8-VSB", func(_ *testing.T, seed uint64) signal { return eightVSBOf(seed) }, false, measure.Present, measure.ATSC1},
	{"ATSC 3.0", func(t *testing.T, seed uint64) signal {
		w, err := ofdm.NewWaveform(seed, 36)
		require.NoError(t, err)
		return threeOh{w}
	}, false, measure.Present, measure.ATSC3},
	{"cellular downlink", func(_ *testing.T, seed uint64) signal { return ofdmLike(seed) }, false, measure.Unsure, ""},
	{"real cellular downlink", nil, true, measure.Unsure, ""},
	{"video by FM", func(_ *testing.T, seed uint64) signal { return videoLike(seed) }, false, measure.Unsure, ""},
	{"nothing", nil, false, measure.Vacant, ""},
}

// company is one channel with two on either side: two stations, two vacant.
type company struct {
	channels []band.Channel
	wanted   band.Channel
	truth    *emission // of the wanted channel; nil without one
	rate     float64
	own      []heard // stays at the wanted channel
	all      []heard
}

// newCompany makes a visit to five channels.
func newCompany(t *testing.T, w *world, o occupation, rate float64, real []recording) company {
	t.Helper()
	plan := band.Plans()[0]
	first := 14 + w.rng.IntN(19)
	out := company{rate: rate}
	for k := range 5 {
		c, _ := plan.Channel(first + k)
		out.channels = append(out.channels, c)
	}
	out.wanted = out.channels[2]
	level := 8 + 16*w.rng.Float64()
	if o.signal != nil {
		out.truth = w.put(out.wanted, level, o.signal(t, w.rng.Uint64()))
	}
	w.put(out.channels[w.rng.IntN(2)], 8+16*w.rng.Float64(), eightVSBOf(w.rng.Uint64()))
	w.put(out.channels[3+w.rng.IntN(2)], 8+16*w.rng.Float64(), eightVSBOf(w.rng.Uint64()))
	w.setLevel(rate)
	w.level *= math.Sqrt(power(-10)) // room for the recording
	for _, c := range out.channels {
		for _, at := range Hops(c, rate) {
			var s heard
			switch {
			case c != out.wanted:
				s = w.hear(t, at, rate, 0.03)
			case o.real:
				s = w.splice(at, rate, 0.06, level, real[w.rng.IntN(len(real))].x)
			default:
				s = w.hear(t, at, rate, 0.06)
			}
			out.all = append(out.all, s)
			if c == out.wanted {
				out.own = append(out.own, s)
			}
		}
	}
	return out
}

// Truth: what was put into the channel; and that a channel is what it is,
// whatever else was heard.
func TestLoneChannel(t *testing.T) {
	if testing.Short() {
		t.Skip("an ensemble: it has its time in the long run")
	}
	t.Parallel()
	ffts := transforms{}
	var real []recording
	for _, r := range recordings(t, "../testdata/real") {
		if !r.bursts && r.name != "lte_f1860_s1.92.cu8" { // that is mostly noise
			real = append(real, r)
		}
	}
	rates := []float64{2.4e6, 2.048e6, 3.2e6, 1.024e6, 5e6, 8e6, 10e6}
	apart := tally{about: "figures alone less those in company, in their standard uncertainties"}
	alone, together := tally{about: "margin alone, dB"}, tally{about: "margin in company, dB"}
	for draw := range ensemble(len(occupations)) {
		o := occupations[draw%len(occupations)]
		w := newWorld(uint64(draw+3001), fronts[draw/len(occupations)%2], ffts)
		rate := rates[draw%len(rates)]
		if o.real {
			rate = 1.92e6
		}
		v := newCompany(t, w, o, rate, real)
		one := lone(t, v.own, v.wanted)
		five := survey(t, v.all, Options{Channels: v.channels, Plan: v.channels})
		other := channelOf(t, five, v.wanted.Number)
		about := fmt.Sprintf("draw %d, %s at %g MS/s", draw, o.about, rate/1e6)
		for where, c := range map[string]*Channel{"alone": one, "in company": other} {
			if c.Presence != o.presence || o.standard != "" && c.Standard != o.standard {
				apart.fault("%s, %s: %s %q %v", about, where, c.Presence, c.Standard, c.Suspicion)
			}
		}
		if one.Presence != other.Presence || one.Standard != other.Standard {
			apart.fault("%s: alone %s %q, in company %s %q", about, one.Presence, one.Standard, other.Presence, other.Standard)
		}
		if v.truth != nil && o.standard == measure.ATSC1 {
			alone.add(one.Margin, w.margin(v.truth, rate))
			together.add(other.Margin, w.margin(v.truth, rate))
		}
		for name, f := range figures(one) {
			g := figures(other)[name]
			switch {
			case f == nil && g == nil:
			case f == nil || g == nil:
				apart.fault("%s: %s is %v alone and %v in company", about, name, f, g)
			default:
				sigma := math.Hypot(f.Sigma, g.Sigma)
				apart.add(&measure.Estimate{Value: (f.Value - g.Value) / sigma, Sigma: 1}, 0)
				if math.Abs(f.Value-g.Value) > 3*sigma {
					apart.fault("%s: %s is %.2f ± %.2f alone and %.2f ± %.2f in company", about, name, f.Value, f.Sigma, g.Value, g.Sigma)
				}
			}
		}
	}
	for _, y := range []*tally{&apart, &alone, &together} {
		y.log(t)
	}
	apart.faultless(t)
	apart.holds(t, 0.9, 1)
	alone.holds(t, 0.9, 1)
	together.holds(t, 0.9, 1)
}

// figures are a channel's main ones; nil where it has none.
func figures(c *Channel) map[string]*measure.Estimate {
	out := map[string]*measure.Estimate{"C/N": c.CN, "MER": c.MER, "margin": c.Margin, "power": c.PowerDBFS}
	if c.Presence == measure.Vacant {
		out["noise"] = c.NoiseDBFS
	}
	if p := c.Pilot; p != nil && c.Presence == measure.Present { // else it is no pilot
		out["pilot"] = &p.ToNoise
	}
	return out
}
