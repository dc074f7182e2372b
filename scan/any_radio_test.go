package scan

import (
	"math"
	"testing"

	"rooftone/scan/band"
	"rooftone/scan/verdict"
)

// Truth: the world's arithmetic for flat stations, heard by a radio that folds
// as real ones do.
func TestFolding(t *testing.T) {
	if testing.Short() {
		t.Skip("an ensemble: it has its time in the long run")
	}
	t.Parallel()
	ffts := transforms{}
	const rate = 2.4e6
	cn, margin := tally{about: "C/N with folding, dB"}, tally{about: "margin with folding, dB"}
	var byLevel [3]tally // 3 to 12, 12 to 21, 21 to 30 dB
	for draw := range ensemble(8) {
		w := newWorld(uint64(draw+7001), measuredFront, ffts)
		c := w.uhf()
		level := 3 + 27*(float64(draw%8)+w.rng.Float64())/8
		e := w.put(c, level, eightVSBOf(uint64(draw)))
		channels := []band.Channel{c}
		if draw%2 == 1 { // and a vacant one below it
			below := band.Channel{Number: c.Number - 1, LowerHz: c.LowerHz - band.WidthHz}
			channels = []band.Channel{below, c}
		}
		var stays []heard
		for _, c := range channels {
			for _, at := range Hops(c, rate) {
				stays = append(stays, w.hear(t, at, rate, 0.06))
			}
		}
		got := channelOf(t, survey(t, stays, Options{Channels: channels, Plan: channels}), c.Number)
		margin.eightVSBStands(draw, got, level, band.WidthHz/2)
		cn.add(got.CN, w.cn(e, rate))
		byLevel[min(2, int((level-3)/9))].add(got.CN, w.cn(e, rate))
		margin.add(got.Margin, w.margin(e, rate))
	}
	cn.log(t)
	margin.log(t)
	for k := range byLevel {
		y := &byLevel[k]
		if cn.number() >= manyDraws {
			y.about = []string{"of these, 3 to 12 dB", "12 to 21 dB", "21 to 30 dB"}[k]
			y.log(t)
		}
		// What chance may add to the mean of a few.
		chance := 3 * y.rms() / math.Sqrt(math.Max(1, float64(len(y.errors))))
		if cn.number() >= manyDraws {
			chance /= 3
		}
		if math.Abs(y.bias()) > 0.2+chance {
			t.Errorf("%s: bias %+.2f dB at level %d", cn.about, y.bias(), k)
		}
	}
	margin.faultless(t)
	cn.holds(t, 0.9, 1)
	margin.holds(t, 0.9, 1)
}

// Truth: the station's carrier error and the clock's are the world's.
func TestToneWithUnknownClock(t *testing.T) {
	if testing.Short() {
		t.Skip("an ensemble: it has its time in the long run")
	}
	t.Parallel()
	ffts := transforms{}
	const rate, toneHz = 2.4e6, 520.3e6
	place, clock := tally{about: "pilot's place, Hz"}, tally{about: "clock, ppm"}
	place1 := tally{about: "the same from one slice, Hz"}
	c, _ := band.Plans()[0].Channel(22)
	for draw := range ensemble(4) {
		w := newWorld(uint64(draw+8001), fronts[draw/2%2], ffts)
		e := w.put(c, 8+18*w.rng.Float64(), eightVSBOf(uint64(draw)))
		w.lines = []lineAt{{toneHz, 5 * w.rng.Float64()}}
		w.setLevel(rate)
		var stays []heard
		for _, at := range Hops(c, rate) {
			stays = append(stays, w.hear(t, at, rate, 0.06))
		}
		for k, y := range []*tally{&place, &place1} {
			list := [][]heard{stays, stays[:1]}[k]
			s := survey(t, list, Options{Channels: []band.Channel{c}, Plan: []band.Channel{c}})
			got := channelOf(t, s, 22)
			y.eightVSBStands(draw, got, e.cnDB, list[0].CenterHz-c.LowerHz)
			if got.Pilot == nil {
				y.add(nil, 0)
				continue
			}
			y.add(&got.Pilot.OffsetHz, e.errorHz)
			if off := got.Pilot.OffsetHz; math.Abs(off.Value-e.errorHz) > 1.96*off.Sigma {
				t.Logf("draw %d: %+.1f ± %.1f Hz, truth %+.1f; clock %v, truth %+.3f ppm", draw, off.Value, off.Sigma, e.errorHz, s.Clock, w.ppm)
			}
			if s.Clock != nil {
				clock.add(&s.Clock.PPM, w.ppm)
			}
		}
	}
	for _, y := range []*tally{&place, &place1, &clock} {
		y.log(t)
		y.faultless(t)
	}
	place.holds(t, 0.9, 1)
	place1.holds(t, 0.9, 1)
	if clock.number() > 0 {
		clock.holds(t, 0.9, 1)
	}
}

// strongerFront is a dongle that lets in ten times what measured ones do from
// beyond half the rate, until its second filter takes over.
func strongerFront(share float64) float64 {
	const strongerDB, from, second = 10, 0.9, 1.2
	u := math.Abs(share)
	db := strongerDB * math.Max(0, math.Min(1, (u-from)/(1.04-from)))
	return measuredFront(math.Copysign(math.Min(u, second), share)) * math.Pow(10, (db-110*math.Max(0, u-second))/20)
}

// Truth: the world's arithmetic. A neighbour's power that folds in is neither the
// station's nor noise, and no reason to name what is not there.
func TestFoldingOfNeighbours(t *testing.T) {
	if testing.Short() {
		t.Skip("an ensemble: it has its time in the long run")
	}
	t.Parallel()
	ffts := transforms{}
	const rate = 2.4e6
	margin := tally{about: "margin beside strong neighbours, strong folding, dB"}
	for draw := range ensemble(4) {
		w := newWorld(uint64(draw+9501), strongerFront, ffts)
		c := w.uhf()
		level := 12 + 15*w.rng.Float64()
		e := w.put(c, level, eightVSBOf(uint64(draw)))
		up := 20 + 10*float64(draw/2%2)
		for k := range 2 {
			if draw%4 == 2*k+1 {
				continue // one side, the other, or both
			}
			next := band.Channel{Number: c.Number + 1 - 2*k, LowerHz: c.LowerHz + float64(1-2*k)*band.WidthHz}
			w.put(next, level+up, eightVSBOf(uint64(draw+1000*(k+1))))
		}
		// The gain is the channel's own: its slices hold but the neighbours' ends.
		const ends = 0.05
		w.level = math.Sqrt(power(-12) / (power(level) + ends*power(level+up)) / band.WidthHz)
		var stays []heard
		for _, at := range Hops(c, rate) {
			stays = append(stays, w.hear(t, at, rate, 0.06))
		}
		got := lone(t, stays, c)
		margin.eightVSBStands(draw, got, level, band.WidthHz/2)
		margin.add(got.Margin, w.margin(e, rate))
		for _, r := range got.Reasons {
			switch r.Limit {
			case verdict.CoChannel, verdict.Fading, verdict.Echoes:
				margin.fault("draw %d, C/N %.1f dB: %s is named", draw, level, r.Limit)
			}
		}
	}
	margin.log(t)
	margin.faultless(t)
	margin.holds(t, 0.9, 1)
	if margin.number() >= manyDraws && math.Abs(margin.bias()) > 0.35 {
		t.Errorf("%s: bias %+.2f dB", margin.about, margin.bias())
	}
}
