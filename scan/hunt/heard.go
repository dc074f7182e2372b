package hunt

import (
	"math"

	"rooftone/scan/band"
	"rooftone/scan/listen"
	"rooftone/scan/measure"
)

// Coverage is which parts of a wanted channel were looked into.
type Coverage struct {
	Channel band.Channel
	Seen    []band.Span // true, ascending and apart; empty for none
	Railed  bool        // parts were heard, but at the converter's rails
}

// Whole reports whether all of the channel was looked into.
func (c *Coverage) Whole() bool {
	return len(c.Seen) == 1 && c.Seen[0].LowHz <= c.Channel.LowerHz && c.Seen[0].HighHz >= c.Channel.UpperHz()
}

// Share is the part of the channel that was looked into, 0 to 1.
func (c *Coverage) Share() float64 {
	var hz float64
	for _, s := range c.Seen {
		hz += s.WidthHz()
	}
	return hz / band.WidthHz
}

// Coverage says which parts of channels were heard well enough to look into
// them: at the gain that they were measured at, and not at the rails.
func (n *Inside) Coverage(clock *measure.Clock, readings []measure.Reading) []Coverage {
	n.endStay()
	scale, _ := clockOf(clock)
	out := make([]Coverage, len(readings))
	for i := range readings {
		r := &readings[i]
		c := &out[i]
		c.Channel = r.Channel
		if !r.Heard() {
			continue
		}
		var spans []band.Span
		for _, l := range n.looks {
			half := listen.UsableShare * l.rateHz
			s := band.Span{
				LowHz:  math.Max(r.Channel.LowerHz, (l.centerHz-half)*scale),
				HighHz: math.Min(r.Channel.UpperHz(), (l.centerHz+half)*scale),
			}
			if !l.of(r) || s.WidthHz() <= 0 {
				continue
			}
			if l.overloaded() {
				c.Railed = true
				continue
			}
			spans = append(spans, s)
		}
		// What the clock moves tunings by is no gap: a channel is as wide.
		c.Seen = band.Join(spans, listen.MaxPPM*1e-6*r.Channel.UpperHz())
		c.stretch(listen.MaxPPM * 1e-6 * r.Channel.UpperHz())
	}
	return out
}

// stretch takes what lies as near to the channel's edges for seen.
func (c *Coverage) stretch(hz float64) {
	if len(c.Seen) == 0 {
		return
	}
	if first := &c.Seen[0]; first.LowHz-c.Channel.LowerHz < hz {
		first.LowHz = c.Channel.LowerHz
	}
	if last := &c.Seen[len(c.Seen)-1]; c.Channel.UpperHz()-last.HighHz < hz {
		last.HighHz = c.Channel.UpperHz()
	}
}
