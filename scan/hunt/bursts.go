package hunt

import (
	"fmt"
	"math"
	"slices"

	"rooftone/dsp/impulse"
	"rooftone/dsp/pattern"
	"rooftone/scan/band"
	"rooftone/scan/listen"
	"rooftone/scan/measure"
)

const (
	// symbolSeconds is the useful part of a symbol of LTE, and of 5G's in the
	// bands below 1 GHz: 3GPP TS 36.211, 6.12. Its end is sent before it again.
	symbolSeconds = 1 / 15e3

	// repeatChance is the probability per look of taking noise for something
	// that repeats.
	repeatChance = 1e-6

	// A channel's bursts are its own where the pulses that others hear are, with
	// five standard uncertainties, below this part of theirs, in so many others
	// for each that has them: pulses are broad (ITU-R P.372), and fall by a dB
	// or two from one end of a band to the other.
	localShare, localOthers = 0.25, 2

	// spilledShare is how much weaker than those of a channel beside it what
	// only leaks from there is.
	spilledShare = 1. / 30

	frameCause, burstCause = "10 ms", "bursts"
)

// findRepeat looks whether the samples kept repeat themselves, where their power
// does not stand still. What is high is cut down first: a few pulses some delay
// apart would look like a signal that repeats after it.
func (n *Inside) findRepeat(p *impulse.Piece) {
	if _, locked := p.Rhythm.Mains(rhythmChance); !locked && p.Bursts < leastBursts/2 {
		return
	}
	if n.finder == nil || n.finderOf != n.open.rateHz {
		f, err := pattern.NewFinder(n.open.rateHz)
		if err != nil {
			return // an odd rate
		}
		n.finder, n.finderOf = f, n.open.rateHz
	}
	x := n.kept
	cut(x)
	half := listen.UsableShare * n.open.rateHz
	if found, err := n.finder.Find(x, -half, half); err == nil {
		n.open.repeat.Merge(found)
	}
}

// cut limits samples to three times the usual magnitude of noise as high as what
// they mostly are.
func cut(x []complex64) {
	const every, times = 64, 3
	var power []float64
	for i := 0; i < len(x); i += every {
		power = append(power, float64(real(x[i])*real(x[i])+imag(x[i])*imag(x[i])))
	}
	most := float32(times * times * quantile(power, 0.5) / math.Ln2)
	for i, v := range x {
		if p := real(v)*real(v) + imag(v)*imag(v); p > most {
			down := float32(math.Sqrt(float64(most / p)))
			x[i] = complex(real(v)*down, imag(v)*down)
		}
	}
}

// network reports whether a look shows symbols of a telephone network: the lag
// is known to a sample.
func (l *look) network() bool {
	return l.repeat.Blocks > 0 && l.repeat.Chance < repeatChance && math.Abs(l.repeat.RepeatSeconds-symbolSeconds) < 1/l.rateHz
}

// channelBursts is what one channel's looks say of bursts and pulses.
type channelBursts struct {
	c       band.Channel
	looks   []heard
	level   float64 // pulses' density averaged over time, at the input, FS²/Hz
	sigma   float64
	seconds float64
	bursts  int
	mains   impulse.Mains
	locked  bool
	framed  bool // comes in a telephone network's frames
	symbols bool // and is made of its symbols
}

// showing reports whether the channel has bursts that chance does not explain.
func (b *channelBursts) showing() bool { return b.locked || b.bursts >= burstsIn(b.seconds) }

// byChannel groups looks by the channel that their middles lie in, and returns
// those that lie in none.
func (e *examination) byChannel(all []heard) (out []channelBursts, others []heard) {
	for _, h := range all {
		r := e.readingAt(h.centerHz * e.clock)
		if r == nil {
			others = append(others, h)
			continue
		}
		i := slices.IndexFunc(out, func(b channelBursts) bool { return b.c == r.Channel })
		if i < 0 {
			i = len(out)
			out = append(out, channelBursts{c: r.Channel})
		}
		out[i].looks = append(out[i].looks, h)
	}
	for i := range out {
		out[i].sum()
	}
	return out, others
}

// sum works out what the looks say together.
func (b *channelBursts) sum() {
	var rhythm impulse.Rhythm
	var level, weight float64
	repeating, symbols := 0, 0
	for i := range b.looks {
		h := &b.looks[i]
		rhythm.Add(&h.pulses.Rhythm)
		b.seconds += h.pulses.Seconds
		b.bursts += h.pulses.Bursts
		if h.repeat.Blocks > 0 && h.repeat.Chance < repeatChance {
			repeating++
		}
		if h.network() {
			symbols++
		}
		if h.quiet > 0 {
			w := math.Pow(h.perGain()/h.quiet, 2)
			level += w * h.density / h.perGain()
			weight += w
		}
	}
	if weight > 0 {
		b.level, b.sigma = level/weight, 1/math.Sqrt(weight)
	}
	b.mains, b.locked = rhythm.Mains(rhythmChance)
	// One look's delay may be any; most looks' is not, nor one's that comes with
	// the frames' own rate.
	const many = 3
	b.symbols = 2*symbols > repeating && (symbols >= many || b.locked && b.mains.MainsHz == 100)
	b.framed = b.symbols || rhythm.Framed(rhythmChance)
}

// networks makes suspects of what comes in a telephone network's frames, and
// returns the looks that show no such thing. Frames are told also where the
// converter's rails are touched: they do not make them.
func (e *examination) networks(all []heard) ([]Suspect, []heard) {
	groups, quiet := e.byChannel(all)
	var out []Suspect
	for i := range groups {
		g := &groups[i]
		spilled := slices.ContainsFunc(groups, func(o channelBursts) bool {
			return o.framed && math.Abs(o.c.LowerHz-g.c.LowerHz) < 1.5*band.WidthHz && g.level < spilledShare*o.level
		})
		if g.framed && !spilled {
			out = append(out, e.framesOn(g))
		}
		if !g.framed {
			quiet = append(quiet, g.looks...)
		}
	}
	return out, quiet
}

// framesOn is what comes in frames on one channel.
func (e *examination) framesOn(g *channelBursts) Suspect {
	s := e.burstsOn(g)
	s.Name = fmt.Sprintf("a telephone network's signal on channel %d", g.c.Number)
	s.cause = cause{Bursts, frameCause}
	why := "its power repeats every 10 ms, with a grid of 1 ms: frames of a telephone network, which a clock keeps; noise with the mains has no such grid"
	if g.symbols {
		why = fmt.Sprintf("it repeats itself after %.1f µs, as symbols of LTE and 5G do", symbolSeconds*1e6)
		if g.locked && g.mains.MainsHz == 100 {
			why += fmt.Sprintf(", and its power goes up and down %.1f times a second, with their frames of 10 ms", g.mains.RateHz)
		}
	}
	s.Evidence = append([]string{why}, s.Evidence...)
	s.Next = "turn the antenna and look where it is strongest; ask which telephone networks send there"
	s.Cure = "a filter that lets through television alone, before any amplifier; when it is within the television band by right, an antenna that looks away from it"
	return s
}

// burstsOn is what bursts on one channel alone have in common.
func (e *examination) burstsOn(g *channelBursts) Suspect {
	s := Suspect{Kind: Bursts, into: g.c.Number, WidthHz: band.WidthHz,
		FrequencyHz: &measure.Estimate{Value: g.c.CenterHz(), Sigma: band.WidthHz / math.Sqrt(12)}}
	r := e.readingOf(g.c)
	if r == nil || r.Presence != measure.Present {
		s.Evidence = append(s.Evidence, fmt.Sprintf("no station was found on channel %d", g.c.Number))
	}
	e.pulseHarms(&s, g.looks, func(r *measure.Reading) bool { return r.Channel == g.c })
	return s
}

// readingOf is a channel's Reading, nil when it was not heard.
func (e *examination) readingOf(c band.Channel) *measure.Reading {
	for i := range e.readings {
		if r := &e.readings[i]; r.Channel == c && r.Heard() {
			return r
		}
	}
	return nil
}

// senders makes suspects of bursts that one or a few channels have to
// themselves, and returns the other looks: what is left may be noise of sparks,
// which is broad. Whether bursts without a rhythm that are heard on a channel
// alone are broad cannot be told.
func (e *examination) senders(all []heard) ([]Suspect, []heard) {
	groups, rest := e.byChannel(all)
	var out []Suspect
	for i := range groups {
		g := &groups[i]
		if !g.showing() {
			rest = append(rest, g.looks...)
			continue
		}
		alike, without, in := 0, 0, 0
		for k := range groups {
			o := &groups[k]
			if partOfSpectrum(o.c) != partOfSpectrum(g.c) {
				continue
			}
			in++
			switch {
			case o.level+5*o.sigma < localShare*g.level:
				without++
			case o.showing():
				alike++
			}
		}
		s := e.burstsOn(g)
		s.cause = cause{Bursts, burstCause}
		s.Name = fmt.Sprintf("a signal in bursts on channel %d", g.c.Number)
		s.Next = "look when it comes and goes, and what sends there by right"
		s.Cure = "turn the antenna's back to it, or put a filter before the amplifier"
		times := fmt.Sprintf("%d bursts in %.2g s", g.bursts, g.seconds)
		if g.locked {
			times = fmt.Sprintf("bursts %.1f times a second", g.mains.RateHz)
		}
		switch {
		case without >= localOthers*alike && g.level > 5*g.sigma:
			s.Evidence = append([]string{times + ", which the other channels do not hear: noise of sparks is broad"}, s.Evidence...)
		case in == 1 && !g.locked:
			s.Name = fmt.Sprintf("bursts on channel %d, of a sender or of sparks", g.c.Number)
			s.Evidence = append([]string{times + "; no other channel near it was heard, so whether they are broad, as noise of sparks is, is not known"}, s.Evidence...)
			s.Next = "hunt on some channels beside it too"
		default:
			rest = append(rest, g.looks...)
			continue
		}
		out = append(out, s)
	}
	return out, rest
}
