package cure

import (
	"math"
	"slices"

	"rooftone/dsp/decibel"
	"rooftone/dsp/robust"
	"rooftone/scan"
	"rooftone/scan/band"
	"rooftone/scan/character"
	"rooftone/scan/measure"
	"rooftone/scan/verdict"
)

// Channel is one channel as it was measured at the end of the line.
type Channel struct {
	Channel band.Channel
	Label   string
	Wanted  bool

	Presence  measure.Presence // "" where it was not measured
	Standard  measure.Standard
	Occupied  bool
	Overload  bool // too many samples were at the rails
	Fading    bool
	Margin    *measure.Estimate // dB; nil where there is none
	CN        *measure.Estimate // dB
	EchoCost  float64           // dB of margin
	UnderCost float64           // dB of margin
	UnderName verdict.Limit     // what stands under it: co-channel or adjacent
	Power     *measure.Estimate // dBFS
	Noise     *measure.Estimate // dBFS
	GainDB    *float64

	shape shape
}

// short is how many dB the channel lacks, negative where it has some to spare.
func (c *Channel) short() float64 { return -c.Margin.Value }

// hopeful reports whether a change of level can do anything for the channel: it is
// 8-VSB with a margin.
func (c *Channel) hopeful() bool {
	return c.Margin != nil && c.Presence == measure.Present && !c.Occupied && c.Standard != measure.ATSC3
}

// ChannelsOf takes from a visit, or a mark told as one, what a prediction wants.
func ChannelsOf(s *scan.Survey) []Channel {
	out := make([]Channel, 0, len(s.Channels))
	for i := range s.Channels {
		if c := &s.Channels[i]; c.Heard() {
			out = append(out, channelOf(c, s.ThresholdDB))
		}
	}
	return out
}

func channelOf(c *scan.Channel, thresholdDB float64) Channel {
	out := Channel{
		Channel: c.Channel, Label: c.Label, Presence: c.Presence, Standard: c.Standard,
		Occupied: verdict.Occupied(&c.Reading), Margin: c.Margin, CN: c.CN, Power: c.PowerDBFS, Noise: c.NoiseDBFS,
		GainDB: c.GainDB, Fading: c.Moving, UnderName: verdict.CoChannel,
	}
	if c.UnderCost != nil {
		out.UnderCost = math.Max(0, c.UnderCost.Value)
	}
	if c.EchoCost != nil {
		out.EchoCost = math.Max(0, c.EchoCost.Value)
		// Where the channel does better than what stands under it allows on the mean,
		// that is narrow, and costs by so much less.
		out.UnderCost = math.Max(0, out.UnderCost+math.Min(0, c.EchoCost.Value))
	}
	for _, r := range c.Reasons {
		switch r.Limit {
		case verdict.Adjacent:
			out.UnderName = verdict.Adjacent
		case verdict.Overload:
			out.Overload = true
		}
	}
	if out.Noise == nil {
		out.Noise = noiseOf(c)
	}
	if out.Margin == nil {
		return out
	}
	equalised := decibel.Power(out.Margin.Value + thresholdDB)
	const enough = 8 // points
	if len(c.Response) >= enough {
		var sum float64
		for _, p := range c.Response {
			out.shape = append(out.shape, decibel.Power(p.LevelDB.Value))
			sum += decibel.Power(p.LevelDB.Value)
		}
		for i := range out.shape {
			out.shape[i] *= float64(len(out.shape)) / sum
		}
		return out
	}
	out.shape = sloped(out.EchoCost, equalised)
	return out
}

// noiseOf is the noise that a channel's power and C/N, or its being vacant, tell.
func noiseOf(c *scan.Channel) *measure.Estimate {
	switch {
	case c.PowerDBFS == nil:
		return nil
	case c.Presence == measure.Vacant:
		return c.PowerDBFS
	case c.Presence == measure.Present && c.CN != nil:
		cn := decibel.Power(c.CN.Value)
		// d ln(1 + cn) = cn/(1 + cn) d ln cn
		return &measure.Estimate{Value: c.PowerDBFS.Value - decibel.Of(1+cn), Sigma: math.Hypot(c.PowerDBFS.Sigma, c.CN.Sigma*cn/(1+cn))}
	}
	return nil
}

// Setup is what is known of a house: what was measured, through what line, with
// what radio, and where.
type Setup struct {
	Channels    []Channel
	ThresholdDB float64

	// Line is what stands between antenna and receiver, as installed; nil where
	// nobody told, empty for a receiver at the antenna.
	Line []Part

	// NoiseFigure is the receiver's at its highest gain; the zero Range stands for
	// UsualNoiseFigure.
	NoiseFigure Range
	// BackEnd is the share of the receiver's noise at its highest gain that stems from
	// behind the gain, rounding included; the zero Range stands for what is usual.
	BackEnd Range
	// TopGainDB is the receiver's highest gain; NaN where it is not known. Fixed
	// says that it stays where it is, whatever comes in.
	TopGainDB float64
	Fixed     bool

	Surroundings Surroundings

	// Overload is what a hunt found; nil for nothing.
	Overload *Overload

	// Bare, by RF channel, is by how many dB the noise rises when the antenna is put
	// on in place of a resistor.
	Bare map[int]measure.Estimate

	// Head, by RF channel, is what a mark at the antenna itself tells of the line.
	Head map[int]LineLoss
}

// LineLoss is what a channel loses between a mark before the line and one behind it.
type LineLoss struct {
	LevelDB measure.Estimate // of its level
	CNDB    measure.Estimate // of its C/N
}

// UsualNoiseFigure is that of cheap radios at their highest gain: 3.5 dB is what the
// data sheets of their tuners promise, and measurements find up to some 8. Common
// practice, from memory.
func UsualNoiseFigure() Range { return Range{3.5, 8} }

// usualBackEnd is the share of a radio's noise at its highest gain that stems from
// behind the gain, rounding included. Common practice: less gain by 20 dB makes a
// dongle deaf by some dB.
var usualBackEnd = Range{0.005, 0.15}

// BackEndOf is what an examination of the radio tells of BackEnd, by the floors that
// it has at several gains; the zero Range where it tells nothing.
func BackEndOf(c *character.Character) Range {
	const apartDB, unsure = 10, 1.5 // a factor: gains are known to some tenths of a dB
	if c == nil {
		return Range{}
	}
	// At the input, the floor over that of the highest gain is 1 − b + b·10^(less/10).
	var top *character.Gain
	for i := range c.Gains {
		if g := &c.Gains[i]; g.RealDB != nil && g.FloorDBFSHz != nil {
			top = g
		}
	}
	var found []float64
	for i := range c.Gains {
		g := &c.Gains[i]
		if g.RealDB == nil || g.FloorDBFSHz == nil || top.RealDB.Value-g.RealDB.Value < apartDB {
			continue
		}
		less := top.RealDB.Value - g.RealDB.Value
		rise := decibel.Power(*g.FloorDBFSHz - *top.FloorDBFSHz + less)
		found = append(found, (rise-1)/(decibel.Power(less)-1))
	}
	if len(found) == 0 {
		return Range{}
	}
	b := math.Max(usualBackEnd.Low, math.Min(usualBackEnd.High, robust.Median(found)))
	return Range{b / unsure, b * unsure}
}

// untoldLine is what is taken of a line that nobody told: up to so many dB at
// 600 MHz. Common practice: nothing to a hundred feet and a splitter.
var untoldLine = Range{0, 9}

// HeadOf compares a mark before the line with one behind it, channel by channel.
func HeadOf(before, behind []Channel) map[int]LineLoss {
	out := map[int]LineLoss{}
	for i := range before {
		b := &before[i]
		k := slices.IndexFunc(behind, func(c Channel) bool { return c.Channel == b.Channel })
		if k < 0 || !b.hopeful() || !behind[k].hopeful() || b.CN == nil || behind[k].CN == nil {
			continue
		}
		a := &behind[k]
		lost := measure.Estimate{Value: b.CN.Value - a.CN.Value, Sigma: math.Hypot(b.CN.Sigma, a.CN.Sigma)}
		if level, ok := signal(b); ok {
			if end, ok := signal(a); ok {
				out[b.Channel.Number] = LineLoss{
					LevelDB: measure.Estimate{Value: level.Value - end.Value, Sigma: math.Hypot(math.Hypot(level.Sigma, end.Sigma), gainSigma(b, a))},
					CNDB:    lost,
				}
			}
		}
	}
	return out
}

// gainSigma is what the names of two gains leave open of the difference: steps were
// found to be off by a dB or two.
func gainSigma(a, b *Channel) float64 {
	const named = 0.3 // of the difference
	if a.GainDB == nil || b.GainDB == nil {
		return 3
	}
	return math.Hypot(0.1, named*math.Abs(*a.GainDB-*b.GainDB))
}

// signal is a station's level at the radio's input, as if the gain were 0 dB.
func signal(c *Channel) (measure.Estimate, bool) {
	if c.Power == nil || c.CN == nil || c.GainDB == nil {
		return measure.Estimate{}, false
	}
	cn := decibel.Power(c.CN.Value)
	return measure.Estimate{Value: c.Power.Value - *c.GainDB + decibel.Of(cn/(1+cn)), Sigma: math.Hypot(c.Power.Sigma, c.CN.Sigma/(1+cn))}, true
}

// BareOf compares the noise with the antenna on with that of a resistor in its
// place, channel by channel where both were measured at one gain.
func BareOf(with, without []Channel) map[int]measure.Estimate {
	const same, leastSigma = 0.1, 0.15
	out := map[int]measure.Estimate{}
	for i := range with {
		a := &with[i]
		k := slices.IndexFunc(without, func(c Channel) bool { return c.Channel == a.Channel })
		if k < 0 || a.Noise == nil || a.GainDB == nil {
			continue
		}
		b := &without[k]
		if b.Power == nil || b.GainDB == nil || math.Abs(*a.GainDB-*b.GainDB) > same {
			continue
		}
		out[a.Channel.Number] = measure.Estimate{Value: a.Noise.Value - b.Power.Value, Sigma: math.Hypot(leastSigma, math.Hypot(a.Noise.Sigma, b.Power.Sigma))}
	}
	return out
}
