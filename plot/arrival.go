package plot

import (
	"fmt"
	"math"
	"sort"
	"strings"

	"rooftone/scan"
	"rooftone/scan/measure"
	"rooftone/scan/site"
	"rooftone/scan/verdict"
)

// What is looked for: echoes from 5 µs before the strongest path to 20 µs
// after it, down to 20 dB below it.
const (
	earliestUS  = -5.0
	latestUS    = 20.0
	faintEchoDB = -20.0
)

// Light's way in a microsecond.
const (
	metrePerUS = 299.792458
	feetPerUS  = metrePerUS / 0.3048
)

// arrival is an echo fit to be shown.
type arrival struct {
	us, db value
	blamed bool // it is one of those that limit decoding
}

// arrivals are a channel's echoes in order of delay.
func arrivals(c scan.Channel) []arrival {
	var out []arrival
	for i := range c.Echoes {
		us, ok := known(&c.Echoes[i].DelayUS)
		db, too := known(&c.Echoes[i].LevelDB)
		if ok && too {
			out = append(out, arrival{us: us, db: db})
		}
	}
	sort.SliceStable(out, func(i, j int) bool { return out[i].us.v < out[j].us.v })
	if !limitedBy(c, verdict.Echoes) {
		return out
	}
	// What echoes cost goes by their power, so the verdict means the loudest
	// and those about as loud.
	const aboutAsLoudDB = 3
	loudest := math.Inf(-1)
	for _, a := range out {
		loudest = math.Max(loudest, a.db.v)
	}
	for i := range out {
		out[i].blamed = out[i].db.v >= loudest-aboutAsLoudDB
	}
	return out
}

func limitedBy(c scan.Channel, l verdict.Limit) bool {
	for _, r := range c.Reasons {
		if r.Limit == l {
			return true
		}
	}
	return false
}

// loudest returns the loudest arrival; not ok when there is none.
func loudest(list []arrival) (arrival, bool) {
	best := arrival{db: value{v: math.Inf(-1)}}
	for _, a := range list {
		if a.db.v > best.db.v {
			best = a
		}
	}
	return best, len(list) > 0
}

// noEchoes says why a channel shows no echoes, or "" when it shows some.
func noEchoes(c scan.Channel) string {
	switch conditionOf(c) {
	case notCovered:
		return "not covered by the source: nothing can be told"
	case vacant:
		return "vacant: no station to hear echoes of"
	case unsure:
		return "not known to be a station: nothing can be told"
	case foreign:
		return standardInWords(c) + ": without 8-VSB's training nothing can be told"
	}
	switch m, ok := known(c.Margin); {
	case c.Echoes == nil && ok && m.v > -5:
		return "no training found: listening longer may tell"
	case c.Echoes == nil:
		return "no training found: too weak to tell"
	case len(arrivals(c)) == 0:
		floor := faintEchoDB
		if f := c.EchoFloorDB; f != nil && *f > floor {
			floor = *f
		}
		text := fmt.Sprintf("no echo above \u2212%.0f dB", -floor)
		if t := basis(c); t != "" {
			text += ", " + t
		}
		return text
	}
	return ""
}

// writing is how figures are written: with the characters of a picture or with
// a terminal's.
type writing struct{ minus, plusMinus, micro string }

func inTerminal(utf8 bool) writing {
	if utf8 {
		return writing{"-", "\u00b1", "\u00b5"}
	}
	return writing{"-", "+-", "u"}
}

func onPaper() writing { return writing{"\u2212", "\u00b1", "\u00b5"} }

// decimals is how many decimals mean something beside half an interval: so many
// that it is written with one figure, or with two when the first is a 1. They
// are at most most, and as many when the interval is not known.
func decimals(half float64, most int) int {
	if half <= 0 {
		return most
	}
	d := 0
	for d < most && half < 2*math.Pow(10, -float64(d)) {
		d++
	}
	return d
}

// number writes v with some decimals; no zero has a sign.
func (w writing) number(v float64, decimals int) string {
	s := fmt.Sprintf("%.*f", decimals, math.Max(-1e9, math.Min(1e9, v)))
	if strings.Trim(s, "-0.") == "" {
		return strings.TrimPrefix(s, "-")
	}
	return strings.Replace(s, "-", w.minus, 1)
}

// spread writes half an interval with its sign, rounded up; "" when it is not
// known.
func (w writing) spread(half float64, decimals int) string {
	if half <= 0 {
		return ""
	}
	step := math.Pow(10, -float64(decimals))
	half = math.Ceil(half/step-1e-9) * step
	if half > 999 {
		return w.plusMinus + ">999"
	}
	return w.plusMinus + w.number(half, decimals)
}

// delay writes a delay without its unit.
func (w writing) delay(a arrival) string {
	most := 1
	if math.Abs(a.us.v) < 1 || a.us.half > 0 {
		most = 2
	}
	return w.number(a.us.v, decimals(a.us.half, most))
}

// level writes a level without its unit.
func (w writing) level(a arrival) string { return w.number(a.db.v, decimals(a.db.half, 1)) }

// length is a unit of extra path, and how many of them a microsecond is.
type length struct {
	unit  string
	perUS float64
}

// lengths are the unit in which people tell lengths, and the other one. Feet are
// told where nobody chose.
func lengths(u site.Units) (own, other length) {
	own, other = length{"ft", feetPerUS}, length{"m", metrePerUS}
	if u == site.Metres {
		own, other = other, own
	}
	return own, other
}

// brief is what stands beside an echo in a picture: two figures each, which
// is as many as a glance takes in.
func (w writing) brief(a arrival, far *length) string {
	us, late := a.us, ""
	if us.v < 0 {
		us.v, late = -us.v, " early"
	}
	most := 1
	if us.v < 1 {
		most = 2
	}
	s := fmt.Sprintf("%s %ss%s, %s dB", w.number(us.v, decimals(us.half, most)), w.micro, late, w.number(a.db.v, 0))
	if far != nil && a.us.v > 0 {
		s += ", " + w.way(a, far.perUS) + " " + far.unit
	}
	return s
}

// way writes an extra path in a unit of which there are so many in a
// microsecond, as exactly as it is known.
func (w writing) way(a arrival, perUS float64) string { return w.number(wayRounded(a.us, perUS), 0) }

// wayRounded rounds a way to tens, or to a higher power of ten that is no
// coarser than half its interval.
func wayRounded(us value, perUS float64) float64 {
	step := 10.0
	if half := us.half * perUS; half > 0 {
		step = math.Pow(10, math.Max(1, math.Min(3, math.Floor(math.Log10(half)))))
	}
	return math.Round(us.v*perUS/step) * step
}

// spokenEchoes are a channel's echoes for those who cannot see their picture.
func spokenEchoes(c scan.Channel) string {
	head := fmt.Sprintf("channel %d: ", c.Channel.Number)
	if s := noEchoes(c); s != "" {
		return head + s
	}
	var out []string
	w := onPaper()
	for _, a := range arrivals(c) {
		s := fmt.Sprintf("%s %ss at %s dB, %s ft or %s m", w.delay(a), w.micro, w.level(a), w.way(a, feetPerUS), w.way(a, metrePerUS))
		if a.blamed {
			s += ", limits decoding"
		}
		out = append(out, s)
	}
	return head + strings.Join(out, "; ")
}

// trained reports whether a channel's training was found.
func trained(c scan.Channel) bool {
	k := conditionOf(c)
	return (k == measured || k == unmeasured) && c.Echoes != nil
}

// stations are the channels with something to show: those that are present.
func stations(rows []scan.Channel) []scan.Channel {
	var out []scan.Channel
	for _, c := range rows {
		if c.Heard() && c.Presence == measure.Present {
			out = append(out, c)
		}
	}
	return out
}

// sortLoudest puts the loudest arrival first.
func sortLoudest(list []arrival) {
	sort.SliceStable(list, func(i, j int) bool { return list[i].db.v > list[j].db.v })
}
