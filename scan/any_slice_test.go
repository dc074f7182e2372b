package scan

import (
	"fmt"
	"math"
	"math/cmplx"
	"slices"
	"testing"

	"rooftone/dsp/vsb"
	"rooftone/scan/band"
	"rooftone/scan/listen"
	"rooftone/scan/measure"
)

// anyCenter draws a slice's middle, above a channel's lower edge, such that the
// slice shows the pilot whatever the clock, or leastHz of the channel.
func (w *world) anyCenter(rateHz, leastHz float64) float64 {
	const clockHz = 70e3
	half := listen.UsableShare * rateHz
	for {
		at := -half + w.rng.Float64()*(band.WidthHz+2*half)
		seen := math.Min(band.WidthHz, at+half) - math.Max(0, at-half)
		if seen >= leastHz || math.Abs(at-pilotHz) < half-clockHz {
			return at
		}
	}
}

// eightVSBOf is a station of its own for each seed.
func eightVSBOf(seed uint64) signal { return eightVSB{vsb.NewWaveform(seed)} }

// fronts are the front ends that draws take in turn.
var fronts = []frontEnd{sharpFront, measuredFront}

// eightVSBStands notes what is wrong with a Reading of an 8-VSB station.
func (y *tally) eightVSBStands(draw int, c *Channel, cnDB, at float64) {
	if c.Presence != measure.Present || c.Standard != measure.ATSC1 {
		y.fault("draw %d, channel %d, C/N %.1f dB, slice at %.2f MHz, %.0f %% seen: %q %q %v",
			draw, c.Channel.Number, cnDB, at/1e6, 100*c.SeenShare(), c.Presence, c.Standard, c.Suspicion)
	}
}

// Truth: the world's own arithmetic, for one slice of one channel at 2.4 MS/s
// and nothing else heard.
func TestOneSlice(t *testing.T) {
	if testing.Short() {
		t.Skip("an ensemble: it has its time in the long run")
	}
	t.Parallel()
	ffts := transforms{}
	const rate = 2.4e6
	margin := tally{about: "margin from one slice, dB"}
	wide := 0
	for draw := range ensemble(16) {
		w := newWorld(uint64(draw+1), fronts[draw%2], ffts)
		c := w.uhf()
		e := w.put(c, 6+22*w.rng.Float64(), eightVSBOf(uint64(draw)))
		at := w.anyCenter(rate, 1.2e6)
		o := Options{Channels: []band.Channel{c}, Plan: []band.Channel{c}}
		if draw/2%2 == 1 {
			o.Plan = usChannels(t, "2-36")
		}
		s := survey(t, []heard{w.hear(t, c.LowerHz+at, rate, 0.06)}, o)
		got := channelOf(t, s, c.Number)
		margin.eightVSBStands(draw, got, e.cnDB, at)
		margin.add(got.Margin, w.margin(e, rate))
		// Where less than 1.2 MHz of the channel is seen nothing but the pilot
		// tells of it.
		// A pass band that droops and is not known looks like an echo close by.
		most := 1.0
		if draw%2 == 1 { // the measured front end
			most = 2.5
		}
		if m := got.Margin; m != nil && m.Sigma > most && got.SeenShare()*band.WidthHz >= 1.2e6 {
			wide++
		}
	}
	margin.log(t)
	margin.faultless(t)
	margin.holds(t, 0.9, 0.99)
	// One flat channel in some fifty has too little in its slice to tell more.
	if wide > 1+margin.number()/20 {
		t.Errorf("a standard uncertainty above 1 dB, or 2.5 dB through an unknown pass band, in %d of %d", wide, margin.number())
	}
	if margin.rms() > 1 {
		t.Errorf("rms error %.2f dB", margin.rms())
	}
}

// echoProfiles are the five channels of the Brazilian digital-TV laboratory
// tests, as used in ITU-R BT.2035 (memory): µs and dB.
var echoProfiles = [][][2]float64{
	{{0, 0}, {0.15, -13.8}, {2.22, -16.2}, {3.05, -14.9}, {5.86, -13.6}, {5.93, -16.4}},
	{{0, 0}, {0.3, -12}, {3.5, -4}, {4.4, -7}, {9.5, -15}, {12.7, -22}},
	{{0, -2.8}, {0.089, 0}, {0.419, -3.8}, {1.506, -0.1}, {2.322, -2.6}, {2.799, -1.3}},
	{{0, -0.1}, {0.63, -3.9}, {2.22, -2.6}, {3.05, -1.3}, {5.86, 0}, {5.93, -2.8}},
	{{0, 0}, {1, 0}, {2, 0}},
}

// profile is one of the echo profiles with random phases, or random echoes. The
// rays' powers add up to 1.
func (w *world) profile(k int) []ray {
	var list [][2]float64
	if k < len(echoProfiles) {
		list = echoProfiles[k]
	} else {
		list = [][2]float64{{0, 0}}
		for range 1 + w.rng.IntN(3) {
			delay := w.rng.Float64()*w.rng.Float64()*18 + 0.03
			if w.rng.IntN(4) == 0 {
				delay = -2 * w.rng.Float64()
			}
			list = append(list, [2]float64{delay, -1.5 - 18*w.rng.Float64()})
		}
	}
	var sum float64
	for _, p := range list {
		sum += power(p[1])
	}
	var out []ray
	for _, p := range list {
		out = append(out, ray{cmplx.Rect(math.Sqrt(power(p[1])/sum), 2*math.Pi*w.rng.Float64()), p[0] * 1e-6})
	}
	return out
}

// Truth: as above, the channel's response multiplied out path by path.
func TestOneSliceWithEchoes(t *testing.T) {
	if testing.Short() {
		t.Skip("an ensemble: it has its time in the long run")
	}
	t.Parallel()
	ffts := transforms{}
	const rate = 2.4e6
	margin := tally{about: "margin from one slice with echoes, dB"}
	kinds := make([]tally, len(echoProfiles)+1)
	for draw := range ensemble(18) {
		w := newWorld(uint64(draw+1001), fronts[draw/6%2], ffts)
		c := w.uhf()
		kind := draw % len(kinds)
		e := w.put(c, 6+22*w.rng.Float64(), eightVSBOf(uint64(draw)), w.profile(kind)...)
		at := w.anyCenter(rate, 1.2e6)
		got := lone(t, []heard{w.hear(t, c.LowerHz+at, rate, 0.06)}, c)
		truth := w.margin(e, rate)
		margin.add(got.Margin, truth)
		kinds[kind].add(got.Margin, truth)
		if m := got.Margin; m == nil {
			margin.eightVSBStands(draw, got, e.cnDB, at)
		} else if math.Abs(m.Value-truth) > 1.96*m.Sigma {
			margin.fault("draw %d, profile %d, C/N %.1f dB, slice at %.2f MHz: margin %.2f ± %.2f dB, truth %.2f", draw, kind, e.cnDB, at/1e6, m.Value, m.Sigma, truth)
		}
	}
	margin.log(t)
	if margin.number() >= manyDraws {
		for k, about := range []string{"A", "B", "C", "D", "E", "random echoes"} {
			kinds[k].about = "of these, " + about
			kinds[k].log(t)
		}
	}
	margin.holds(t, 0.9, 1)
}

// tunings are where the stays of one visit have their middles, above the
// channel's lower edge.
type tunings struct {
	about string
	rate  float64
	at    []float64
}

// anyTunings draws one to three tunings at one of the rates, or those that show
// the channel but for 50 kHz at each edge. The narrowest radio hears the pilot
// and little around it.
func (w *world) anyTunings(draw int) tunings {
	rates := []float64{1.024e6, 2.048e6, 250e3, 3.2e6, 5e6, 8e6, 10e6, 2.4e6}
	rate := rates[draw%len(rates)]
	switch {
	case rate < 0.5e6:
		rate += 50e3 * w.rng.Float64()
		return tunings{"at the pilot", rate, []float64{pilotHz + 40e3*(w.rng.Float64()-0.5)}}
	case draw%3 == 1:
		return tunings{"hops 100 kHz short", rate, w.shortHops(rate)}
	}
	out := tunings{about: "one to three tunings", rate: rate}
	for range 1 + w.rng.IntN(3) {
		out.at = append(out.at, w.anyCenter(rate, 1.2e6))
	}
	return out
}

// shortHops are tunings, in any order, that together show a channel but for
// 50 kHz at each of its edges.
func (w *world) shortHops(rateHz float64) []float64 {
	const seen = band.WidthHz - 100e3
	width := 2 * listen.UsableShare * rateHz
	n := int(math.Ceil(seen / width))
	out := []float64{band.WidthHz / 2}
	if n > 1 {
		out = out[:0]
		for k := range n {
			out = append(out, (band.WidthHz-seen+width)/2+float64(k)*(seen-width)/float64(n-1))
		}
	}
	w.rng.Shuffle(n, func(i, j int) { out[i], out[j] = out[j], out[i] })
	return out
}

// Truth: as in TestOneSlice; and that who has heard more cannot know less.
func TestAnyRate(t *testing.T) {
	if testing.Short() {
		t.Skip("an ensemble: it has its time in the long run")
	}
	t.Parallel()
	ffts := transforms{}
	margin := tally{about: "margin at any rate, dB"}
	byRate := map[float64]*tally{}
	var wider []string
	var narrows, unsure int
	for draw := range ensemble(8) {
		w := newWorld(uint64(draw+2001), fronts[draw/8%2], ffts)
		c := w.uhf()
		e := w.put(c, 6+22*w.rng.Float64(), eightVSBOf(uint64(draw)))
		plan := w.anyTunings(draw)
		narrow := plan.rate < 1e6
		if narrow {
			narrows++
		}
		var stays []heard
		last := math.Inf(1)
		for _, at := range plan.at {
			stays = append(stays, w.hear(t, c.LowerHz+at, plan.rate, 0.06))
			got := lone(t, slices.Clone(stays), c)
			truth := w.margin(e, plan.rate)
			if narrow && got.Presence == measure.Unsure {
				// A fifth of a megahertz around a pilot tells noise from data
				// only as well as its skirt does.
				unsure++
				continue
			}
			margin.eightVSBStands(draw, got, e.cnDB, at)
			margin.add(got.Margin, truth)
			key := plan.rate
			if narrow {
				key = 0
			}
			if byRate[key] == nil {
				byRate[key] = &tally{}
			}
			byRate[key].add(got.Margin, truth)
			sigma := math.Inf(1)
			if got.Margin != nil {
				sigma = got.Margin.Sigma
			}
			if sigma > 1.05*last {
				wider = append(wider, plan.about)
				t.Logf("draw %d, %s at %g MS/s: after %d stays the margin's uncertainty grew from %.2f to %.2f dB", draw, plan.about, plan.rate/1e6, len(stays), last, sigma)
			}
			last = sigma
		}
	}
	margin.log(t)
	for rate, y := range byRate {
		if margin.number() >= manyDraws {
			y.about = "of these, at the pilot alone"
			if rate > 0 {
				y.about = fmt.Sprintf("of these, at %g MS/s", rate/1e6)
			}
			y.log(t)
		}
	}
	margin.faultless(t)
	margin.holds(t, 0.9, 1)
	t.Logf("%d of %d narrow slices unsure", unsure, narrows)
	if unsure > 1+narrows/2 {
		t.Errorf("%d of %d narrow slices around a pilot are unsure", unsure, narrows)
	}
	// An outlook's draws tell its interval's ends to some 10 %.
	if len(wider) > 1+margin.number()/20 {
		t.Errorf("more was seen and the interval grew %d times", len(wider))
	}
}
