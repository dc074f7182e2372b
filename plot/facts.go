package plot

import (
	"fmt"
	"math"
	"strings"

	"rooftone/scan"
	"rooftone/scan/band"
	"rooftone/scan/measure"
	"rooftone/scan/verdict"
)

// fact is one figure of a channel, or one that could not be measured.
type fact struct {
	name     string
	value    value
	measured bool
	most     int // decimals at most
	unit     string
	note     string
}

// facts are all figures of a channel, the ones that matter most first. What
// was not measured is left out, but for those that everybody looks for.
func facts(c scan.Channel, s *scan.Survey, thresholdDB float64) []fact {
	var out []fact
	add := func(always bool, name string, e *measure.Estimate, most int, unit, note string) {
		v, ok := known(e)
		if ok || always && conditionOf(c) != vacant && c.Heard() && !occupied(c) {
			out = append(out, fact{name, v, ok, most, unit, note})
		}
	}
	over := fmt.Sprintf("over %.3g dB of C/N", thresholdDB)
	if basis(c) != "" {
		mhz := math.Min(c.SeenShare(), 1) * band.WidthHz / 1e6
		add(false, "heard", &measure.Estimate{Value: mhz}, 2, "MHz", fmt.Sprintf("of its %.0f: %s", band.WidthHz/1e6, spansInWords(seenSpans(c))))
	}
	add(true, "margin", c.Margin, 1, "dB", strings.TrimPrefix(marginWords(c.MarginMethod)+", "+over, ", "))
	add(true, "C/N", c.CN, 1, "dB", "in 6 MHz, the pilot included")
	add(false, "C/N by power", c.CNPower, 1, "dB", "from channel power and noise floor")
	add(false, "C/N by pilot", c.CNPilot, 1, "dB", "what the pilot stands for, if flat")
	add(true, "MER", c.MER, 1, "dB", "in 5.38 MHz, from the known training")
	for i := range c.SliceMER {
		if at := c.SliceMER[i].CenterHz / 1e6; at >= 0 && at <= 6 {
			add(false, fmt.Sprintf("MER at %.2g MHz", at), &c.SliceMER[i].MER, 1, "dB", "of the slice there above the lower edge")
		}
	}
	add(false, "tilt", c.Tilt, 1, "dB", "from the lower to the upper end")
	add(false, "ripple", c.Ripple, 1, "dB", "peak to peak, without the tilt")
	add(false, "power", c.PowerDBm, 1, "dBm", "at the antenna input")
	add(false, "field", c.FieldDBuVm, 1, "dBµV/m", "of the station, at the antenna")
	add(false, "power", c.PowerDBFS, 1, "dBFS", "signal and noise in 6 MHz")
	add(false, "noise", c.NoiseDBFS, 1, "dBFS", strings.TrimSpace("in 6 MHz, from "+noiseWords(c.Noise)))
	if p := c.Pilot; p != nil {
		add(false, "pilot offset", &p.OffsetHz, 0, "Hz", "from its nominal place")
		add(false, "pilot to noise", &p.ToNoise, 1, "dB-Hz", "pilot power over noise density")
		add(false, "pilot power", &measure.Estimate{Value: p.PowerDBFS}, 1, "dBFS", "")
	}
	if c.GainDB != nil {
		add(false, "gain", &measure.Estimate{Value: *c.GainDB}, 1, "dB", "of the radio")
	}
	if c.Heard() {
		add(false, "clipped", &measure.Estimate{Value: 100 * c.ClippedFraction}, 2, "%", "of the samples, at the rails")
	}
	if s.Clock != nil {
		add(false, "clock", &s.Clock.PPM, 1, "ppm", "the radio's clock is off, and corrected")
	}
	return out
}

func marginWords(m measure.MarginMethod) string {
	switch m {
	case measure.MarginEqualised:
		return "equalised"
	case measure.MarginTraining:
		return "from what was heard"
	case measure.MarginPower:
		return "by power"
	case measure.MarginPilot:
		return "by the pilot"
	}
	return string(m)
}

// noiseWords says where a noise floor was read.
func noiseWords(m measure.NoiseMethod) string {
	switch m {
	case measure.NoiseVacant:
		return "vacant channels"
	case measure.NoiseEdge:
		return "channel edges"
	case measure.NoiseTraining:
		return "the training's residual"
	}
	return string(m)
}

// figureOf writes a fact's value; a margin is not rounded across the edge of a
// grade.
func (w writing) figureOf(f fact) (number, spread string) {
	if !f.measured {
		return "\u2013", ""
	}
	d := decimals(f.value.half, f.most)
	v := f.value.v
	if f.name == "margin" {
		v = roundMargin(v, d)
	}
	return w.number(v, d), w.spread(f.value.half, d)
}

// conclusion is a channel's grade in one sentence.
func conclusion(c scan.Channel) string {
	switch conditionOf(c) {
	case notCovered:
		return "the source's samples do not cover this channel"
	case vacant:
		if len(c.Suspicion) > 0 {
			return "no station here: what was found is none"
		}
		return "no station found"
	case unsure:
		return "something is there, but it is not known to be a station"
	case foreign:
		if occupied(c) {
			return "no television station: something else is on this channel"
		}
		if c.Standard == measure.ATSC3 {
			return "a set or tuner without ATSC 3.0 will not show it, whatever the aim"
		}
		return "another standard or service: a television set will not show it"
	}
	switch c.Grade {
	case verdict.Firm:
		return fmt.Sprintf("decodes, with the %.0f dB in hand that cover 95 %% of the spots around", verdict.FirmMarginDB)
	case verdict.Slim:
		return fmt.Sprintf("decodes, with less in hand than the %.0f dB that cover 95 %% of the spots around", verdict.FirmMarginDB)
	case verdict.Cliff:
		return "decodes, but on the edge: weather or a passing truck can take it away"
	case verdict.Trace:
		return "on the air, but it cannot be decoded here yet"
	}
	return "on the air; how it will hold was not measured"
}

// standing is a channel's margin and limits in one line.
func standing(c scan.Channel, w writing) string {
	var out []string
	if m, ok := known(c.Margin); ok {
		d := decimals(m.half, 1)
		sign := ""
		if r := roundMargin(m.v, d); r >= 0 {
			sign = "+"
		}
		text := "margin " + sign + w.number(roundMargin(m.v, d), d)
		if t := w.spread(m.half, d); t != "" {
			text += " " + t
		}
		out = append(out, strings.TrimSpace(text+" dB "+basis(c)))
	} else if k := conditionOf(c); k == unmeasured || k == foreign && !occupied(c) {
		out = append(out, "margin not measured")
	}
	if t := basis(c); t != "" && c.Margin == nil {
		out = append(out, "heard "+strings.TrimPrefix(t, "from "))
	}
	r := strings.Join(reasons(c), ", ")
	switch k := conditionOf(c); {
	case r == "":
	case k == vacant || k == unsure:
		out = append(out, "doubts: "+r)
	default:
		out = append(out, "limits: "+r)
	}
	return strings.Join(out, "; ")
}

// Cautions are what one must know before doing what is advised, when that
// leads up a roof or a ladder. Clearances are 29 CFR 1926.1408 (10 ft from a
// line of up to 50 kV) and 1926.1053 (a ladder's foot a quarter of its length
// out, its top 3 ft above the landing); the rest is common practice.
func Cautions(advice []string) []string {
	if !leadsUp(advice) {
		return nil
	}
	return []string{
		"power lines kill: keep ladder, mast and antenna further from any line than they are long, and never nearer than 10 ft (3 m); look up before you lift",
		"not in wind, on a wet or icy roof, in the dark or with thunder about, and not alone",
		"set the ladder's foot 1 ft out for every 4 ft up, tie it, let it reach 3 ft above the eave; near an edge wear a harness that is tied to something sound",
		"ground the mast and the cable's screen as your local code asks, and leave to licensed hands what it leaves to them",
	}
}

// leadsUp reports whether advice sends somebody to the antenna. A word too
// many costs a line of caution, a word too few more than that.
func leadsUp(advice []string) bool {
	for _, a := range advice {
		a = strings.ToLower(a)
		for _, word := range []string{"antenna", "roof", "mast", "ladder", "attic", "sideways", "higher", "lower it", "turn", "aim", "move", "foot", "feet"} {
			if strings.Contains(a, word) {
				return true
			}
		}
	}
	return false
}
