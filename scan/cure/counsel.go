package cure

import (
	"fmt"
	"math"
	"slices"

	"rooftone/scan/band"
	"rooftone/scan/measure"
	"rooftone/scan/verdict"
)

// Amplify says whether an amplifier at the antenna is an answer.
type Amplify string

const (
	AmplifierHelps    Amplify = "helps"     // it likely brings the channel above 0 dB, or 1 dB and more
	AmplifierMay      Amplify = "may"       // that is possible
	AmplifierCannot   Amplify = "cannot"    // even the best brings too little
	AmplifierHarms    Amplify = "harms"     // strong stations overload what follows it
	AmplifierNoMatter Amplify = "no-matter" // nothing a level changes would help
)

// Counsel is what is to be concluded about one channel.
type Counsel struct {
	Channel band.Channel
	Index   int
	// Amplifier says whether one at the antenna is an answer, and Why.
	Amplifier Amplify
	Why       string
	// Limits are what no dB gives back, in words.
	Limits []string
	// First is what is cheaper to try; "" for nothing.
	First string
}

// aimDB is what a better aim, or a foot or two to the side, commonly brings a
// channel that was not aimed at carefully. Common practice, no source.
const aimDB = 3

// Counsels concludes about every channel that was measured.
func (p *Predictor) Counsels() []Counsel {
	m := p.m
	most, usual := p.AtMost(), p.Predict(p.Menu()[2]).Channels
	origins := p.Origins()
	var out []Counsel
	for i := range m.Channels {
		c := &m.Channels[i]
		k := Counsel{Channel: c.Channel, Index: i, Amplifier: AmplifierNoMatter}
		made := slices.ContainsFunc(origins, func(o Origin) bool { return o.Index == i && o.Products.Middle > o.Under.Middle })
		k.Limits = c.unmoved(made)
		if c.hopeful() {
			for n := range most {
				if most[n].Index == i {
					k.amplifier(c, &most[n], &usual[n], &origins[n], m.Line)
				}
			}
			if s := c.short(); s > 0 && s <= aimDB {
				k.First = fmt.Sprintf("aim again and try a foot or two sideways and up first: %.1f dB are short, and that often brings as much", s)
			}
		} else {
			k.Why = c.hopeless()
		}
		out = append(out, k)
	}
	return out
}

// hopeless says why no level can be foreseen for a channel.
func (c *Channel) hopeless() string {
	switch {
	case c.Standard == measure.ATSC3:
		return "it is ATSC 3.0: it wants a receiver for that, and no dB makes it something else"
	case c.Occupied:
		return "what is there is no television station"
	case c.Presence == measure.Vacant:
		return "nothing was heard: it is some 30 dB or more below what decodes, and no amplifier makes up for that"
	case c.Presence == measure.Present:
		return "a pilot and no more: far below what decodes"
	}
	return "it could not be told whether there is a station"
}

// unmoved are the limits that a change of level leaves as they are. What stands under
// the channel may be made by the receiver.
func (c *Channel) unmoved(made bool) []string {
	const least = 1
	var out []string
	if c.EchoCost >= least {
		out = append(out, fmt.Sprintf("echoes take %.0f dB of its margin, and no amplifier gives that back: another place or aim may", c.EchoCost))
	}
	switch {
	case c.UnderCost < least:
	case made:
		out = append(out, fmt.Sprintf("what the receiver makes of strong signals takes %.0f dB of its margin: less of them, by a filter, or less of everything", c.UnderCost))
	default:
		what := "another station on the same frequencies takes"
		if c.UnderName == verdict.Adjacent {
			what = "what spills over from next door takes"
		}
		out = append(out, fmt.Sprintf("%s %.0f dB, and is amplified along with it: a better aim may part them", what, c.UnderCost))
	}
	if c.Overload {
		out = append(out, "the samples were at the rails: less gain, not more")
	}
	if c.Fading {
		out = append(out, "it moves with what moves on the way: dB give it room, but do not hold it still")
	}
	return out
}

func (k *Counsel) amplifier(c *Channel, most, usual *ChannelOutcome, o *Origin, line []Part) {
	const useful = 1 // dB
	short := c.short()
	switch {
	case usual.Overloaded() && usual.Change.Middle < most.Change.Middle-useful:
		k.Amplifier = AmplifierHarms
		does := "likely makes it worse"
		switch {
		case usual.Change.High < 0:
			does = "makes it worse"
		case usual.Change.Middle > 0:
			does = "helps less than it promises"
		}
		k.Why = fmt.Sprintf("an amplifier %s (%s): strong stations would overload what follows it", does, spanOf(usual.Change))
	case most.Change.High < useful:
		k.Amplifier = AmplifierCannot
		k.Why = "an amplifier cannot help here, for " + reason(o, line)
	case short > 0 && most.Margin.High < 0:
		k.Amplifier = AmplifierCannot
		k.Why = fmt.Sprintf("an amplifier cannot help here, for %.0f dB are short and the best one at the antenna brings %s", short, spanOf(most.Change))
	case usual.Change.Low >= useful/2.0 || short > 0 && usual.Decodes > 0.9:
		k.Amplifier = AmplifierHelps
		k.Why = fmt.Sprintf("an amplifier at the antenna brings %s", spanOf(usual.Change))
	default:
		k.Amplifier = AmplifierMay
		k.Why = fmt.Sprintf("an amplifier at the antenna may help or not: %s", spanOf(usual.Change))
	}
	if usual.MayOverload() && k.Amplifier != AmplifierHarms && k.Amplifier != AmplifierCannot {
		k.Why += "; strong stations may overload what follows it: rooftone hunt --json tells, and --hunt reads that"
	}
}

// reason says what sets a channel's noise where less noise of the line and the
// receiver would not matter.
func reason(o *Origin, line []Part) string {
	const most = 0.5
	switch {
	case o.Under.Middle > most:
		return fmt.Sprintf("%.0f %% of what stands against the signal comes with it, from other stations", 100*o.Under.Middle)
	case o.Products.Middle > most:
		return "what the receiver makes of strong stations stands above its noise"
	case o.Outside.Middle > most && o.Outside.Low > 0.3:
		return fmt.Sprintf("the air sets the floor: %s of the noise comes in by the antenna", percentOf(o.Outside))
	case line != nil && len(line) == 0:
		return "no lead follows the antenna whose loss it could make up for"
	}
	return "the lead loses too little, and the receiver is quiet enough"
}

func percentOf(i Interval) string {
	low, high := math.Round(100*i.Low), math.Round(100*i.High)
	if high-low < 2 {
		return fmt.Sprintf("%.0f %%", 100*i.Middle)
	}
	return fmt.Sprintf("%.0f to %.0f %%", low, high)
}

// spanOf writes an interval of dB in whole numbers, or tenths where it is narrow.
func spanOf(i Interval) string {
	const narrow = 1.5
	if i.High-i.Low < 0.15 {
		return fmt.Sprintf("%.1f dB", i.Middle)
	}
	if i.High-i.Low < narrow {
		return fmt.Sprintf("%.1f to %.1f dB", i.Low, i.High)
	}
	return fmt.Sprintf("%.0f to %.0f dB", i.Low, i.High)
}
