package scan

import (
	"fmt"
	"math"
	"slices"
	"testing"

	"rooftone/scan/band"
	"rooftone/scan/measure"
)

// words are what is said of a channel in words.
func words(c *Channel) string {
	var limits []string
	for _, r := range c.Reasons {
		limits = append(limits, string(r.Limit))
	}
	slices.Sort(limits)
	return fmt.Sprintf("%s, standard %q, grade %q, limits %v, noise by %q, margin by %q", c.Presence, c.Standard, c.Grade, limits, c.Noise, c.MarginMethod)
}

// allFigures are a channel's figures; nil where it has none.
func allFigures(c *Channel) map[string]*measure.Estimate {
	out := figures(c)
	out["noise"] = c.NoiseDBFS
	out["C/N by power"], out["C/N by pilot"] = c.CNPower, c.CNPilot
	out["tilt"], out["ripple"], out["echoes' cost"] = c.Tilt, c.Ripple, c.EchoCost
	if c.Pilot != nil && c.Presence == measure.Present {
		out["pilot's place"] = &c.Pilot.OffsetHz
	}
	for i := range c.Echoes {
		out[fmt.Sprintf("delay %d", i)], out[fmt.Sprintf("level %d", i)] = &c.Echoes[i].DelayUS, &c.Echoes[i].LevelDB
	}
	return out
}

// compare notes where two surveys of the same samples differ: in words, or in
// figures by more than 0.1 of the first one's standard uncertainty. Noise that
// is heard twice passes for twice as much of it, so what nearly stands out of a
// vacant channel may then do: of those with twice, only presence is compared.
func (y *tally) compare(about string, want, got *Survey, twice bool) {
	for i := range want.Channels {
		a, b := want.Channels[i], got.Channels[i]
		where := fmt.Sprintf("%s, channel %d", about, a.Channel.Number)
		if twice && a.Presence == measure.Vacant && b.Presence == measure.Vacant {
			continue
		}
		if words(&a) != words(&b) {
			y.fault("%s: %s\n\tand as it was: %s", where, words(&b), words(&a))
		}
		if len(a.Echoes) != len(b.Echoes) {
			y.fault("%s: %d echoes, and there were %d", where, len(b.Echoes), len(a.Echoes))
			a.Echoes, b.Echoes = nil, nil
		}
		others := allFigures(&b)
		for name, f := range allFigures(&a) {
			g := others[name]
			switch {
			case f == nil && g == nil:
			case f == nil || g == nil:
				y.fault("%s: %s is %v, and was %v", where, name, g, f)
			default:
				sigma, most := f.Sigma, 0.1
				if y.about == "split" {
					// Each piece of a stay has a fit of its own, whose errors
					// are only in part those of the whole.
					sigma, most = math.Hypot(f.Sigma, g.Sigma), 1.96
				}
				off := math.Abs(g.Value-f.Value) / sigma
				y.add(&measure.Estimate{Value: off, Sigma: most / 1.96}, 0)
				if off > most {
					y.fault("%s: %s is %.3f ± %.3f, and was %.3f ± %.3f", where, name, g.Value, g.Sigma, f.Value, f.Sigma)
				}
			}
		}
	}
}

// cutAt halves a stay as nearly as it can without cutting into a field sync,
// which comes every 24.2 ms from time 0 on, or into what is around one.
func cutAt(startSeconds float64, s heard) int {
	const fieldSeconds, around = 313 * 832 / symbolRateHz, 6e-3
	n := len(s.samples) / 2
	for ; n < len(s.samples); n++ {
		if in := math.Mod(startSeconds+float64(n)/s.RateHz, fieldSeconds); in > around && in < fieldSeconds-around {
			return n
		}
	}
	return n
}

// split is a stay as two at the same tuning.
func split(startSeconds float64, s heard) (a, b heard) {
	n := cutAt(startSeconds, s)
	a, b = s, s
	a.samples, b.samples, b.clipped = s.samples[:n], s.samples[n:], 0
	return a, b
}

// Truth: the order in which the same samples are looked at, the number of
// pieces they come in, and hearing them twice tell nothing of the air.
func TestSlicesInAnyOrder(t *testing.T) {
	if testing.Short() {
		t.Skip("an ensemble: it has its time in the long run")
	}
	t.Parallel()
	ffts := transforms{}
	parts := []*tally{{about: "shuffled"}, {about: "split"}, {about: "doubled"}}
	for draw := range ensemble(2) {
		w := newWorld(uint64(draw+6001), fronts[draw%2], ffts)
		first := 14 + w.rng.IntN(20)
		plan := band.Plans()[0]
		var channels []band.Channel
		for k := range 3 {
			c, _ := plan.Channel(first + k)
			channels = append(channels, c)
		}
		wanted := 1 + 2*w.rng.IntN(2)
		for k, c := range channels[:wanted] { // one alone, or one with two more
			if k == 0 {
				w.put(c, 8+20*w.rng.Float64(), eightVSBOf(uint64(draw)), w.profile(w.rng.IntN(len(echoProfiles)+1))...)
			} else if k == 1 {
				w.put(c, 6*w.rng.Float64()-10, eightVSBOf(uint64(draw+1e6)))
			}
		}
		channels = channels[:wanted]
		var stays, shuffled, halves, doubled []heard
		for _, c := range channels {
			for _, at := range Hops(c, 2.4e6) {
				start := w.now
				s := w.hear(t, at, 2.4e6, 0.06)
				a, b := split(start, s)
				stays, halves, doubled = append(stays, s), append(halves, a, b), append(doubled, s, s)
			}
		}
		shuffled = slices.Clone(stays)
		w.rng.Shuffle(len(shuffled), func(i, j int) { shuffled[i], shuffled[j] = shuffled[j], shuffled[i] })
		o := Options{Channels: channels, Plan: channels}
		want := survey(t, stays, o)
		for k, list := range [][]heard{shuffled, halves, doubled} {
			parts[k].compare(fmt.Sprintf("draw %d, %s", draw, parts[k].about), want, survey(t, list, o), k == 2)
		}
	}
	for _, y := range parts {
		y.log(t)
		if y.about == "split" {
			y.holds(t, 0.9, 1)
			continue
		}
		y.holds(t, 0.98, 1)
	}
}
