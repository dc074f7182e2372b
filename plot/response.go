package plot

import (
	"fmt"
	"io"
	"math"
	"sort"
	"strings"

	"rooftone/scan"
	"rooftone/scan/band"
)

// Response draws the response of a survey's stations across their 6 MHz and
// writes it as "png", "svg" or "pdf": relative to its mean, with the band of
// the 95 % intervals, the tilt as a line, the ripple as a measure beside it,
// the pilot's place, and the modulation error ratio of each slice. Several
// channels have a plot each, all on one scale, in RF order.
func Response(w io.Writer, format string, s *scan.Survey, o Options) error {
	if s == nil {
		return errNoSurvey
	}
	all := lots(s)
	shown := responseRows(all)
	if o.Title == "" {
		o.Title = "Response across the channels at this antenna"
		if len(shown) == 1 {
			o.Title = fmt.Sprintf("Response across channel %d", shown[0].Channel.Number)
		}
	}
	var spoken []string
	for _, c := range shown {
		spoken = append(spoken, fmt.Sprintf("channel %d: %s", c.Channel.Number, responseInWords(c)))
	}
	a := about{o.Title, "Response across 6 MHz, relative to its mean. " + strings.Join(spoken, ". ") + ".", s.Started}
	return paint(w, format, a, func(p *pen) { drawResponses(p, s, all, shown, o) })
}

// sweepPoint is one point of a response fit to be shown.
type sweepPoint struct {
	hz float64 // above the lower edge
	db value
}

// sweep is a channel's response in order of frequency.
func sweep(c scan.Channel) []sweepPoint {
	var out []sweepPoint
	points := c.Response
	if len(c.FineResponse) > len(points) {
		points = c.FineResponse
	}
	for i := range points {
		hz := points[i].OffsetHz
		db, ok := known(&points[i].LevelDB)
		if ok && hz >= 0 && hz <= band.WidthHz {
			out = append(out, sweepPoint{hz, db})
		}
	}
	sort.SliceStable(out, func(i, j int) bool { return out[i].hz < out[j].hz })
	return out
}

// runs parts a response where a piece of the channel was not measured: where
// the next point is much further than is usual.
func runs(points []sweepPoint) [][]sweepPoint {
	if len(points) == 0 {
		return nil
	}
	steps := make([]float64, 0, len(points))
	for i := 1; i < len(points); i++ {
		steps = append(steps, points[i].hz-points[i-1].hz)
	}
	sort.Float64s(steps)
	usual := band.WidthHz
	if len(steps) > 0 {
		usual = steps[len(steps)/2]
	}
	var out [][]sweepPoint
	begin := 0
	for i := 1; i < len(points); i++ {
		if points[i].hz-points[i-1].hz > 3.5*usual {
			out = append(out, points[begin:i])
			begin = i
		}
	}
	return append(out, points[begin:])
}

// noResponse says why a channel shows no response, or "" when it shows one.
func noResponse(c scan.Channel) string {
	switch conditionOf(c) {
	case notCovered:
		return "not covered by the source"
	case vacant:
		return "vacant: no station"
	case unsure:
		return "not known to be a station"
	}
	if len(sweep(c)) == 0 {
		if conditionOf(c) == foreign {
			return standardInWords(c) + ": not measured"
		}
		return "response not measured"
	}
	return ""
}

// responseInWords is the tilt and the ripple, or why there are none.
func responseInWords(c scan.Channel) string {
	if s := noResponse(c); s != "" {
		return s
	}
	w := onPaper()
	var out []string
	if v, ok := known(c.Tilt); ok {
		out = append(out, "tilt "+w.figure(v, 1)+" dB")
	}
	if v, ok := known(c.Ripple); ok {
		out = append(out, "ripple "+w.figure(v, 1)+" dB")
	}
	if len(out) == 0 {
		return "tilt and ripple not measured"
	}
	return strings.Join(out, ", ")
}

// figure writes a value with half its 95 % interval.
func (w writing) figure(v value, most int) string {
	d := decimals(v.half, most)
	return strings.TrimSpace(w.number(v.v, d) + " " + w.spread(v.half, d))
}

// responseRows chooses the channels to draw, as echoRows does.
func responseRows(all []scan.Channel) []scan.Channel {
	if len(all) == 1 {
		return all
	}
	shown := stations(all)
	if len(shown) <= fewRows {
		return shown
	}
	var told []scan.Channel
	for _, c := range shown {
		if noResponse(c) == "" {
			told = append(told, c)
		}
	}
	if len(told) == 0 {
		return shown
	}
	return told
}

func drawResponses(p *pen, s *scan.Survey, all, shown []scan.Channel, o Options) {
	heading(p, o.Title, responseHeadline(all, shown), "How to read it: the line is how loud each part of the channel arrives, 0 dB being its mean; the band around it is the 95 % interval. "+
		"The dashed line is the tilt, the measure at the right end the ripple without it. In a deep valley two paths cancel. The triangle is the pilot's place; below is each slice's MER.")
	footing(p, s, all)
	if len(shown) == 0 {
		p.text(letters{size: 11, bold: true, ink: soft}, pageWidth/2, pageHeight/2, 0.5, "no station here to show")
		return
	}
	const most = 60
	if len(shown) > most {
		p.text(letters{size: 7.5, ink: soft}, pageWidth-marginX, 424, 1, fmt.Sprintf("and %d channels more", len(shown)-most))
		shown = shown[:most]
	}
	columns := responseColumns(len(shown))
	rows := (len(shown) + columns - 1) / columns
	low, high := responseRange(shown)
	const left, right, top, bottom = marginX + 30, pageWidth - marginX + 10, 420.0, 60.0
	wide, tall, gap := (right-left)/float64(columns), (top-bottom)/float64(rows), 24.0
	if columns > 4 {
		gap = 16
	}
	sc := newScale()
	for i, c := range shown {
		x, y := left+wide*float64(i%columns), top-tall*float64(i/columns)
		k := &hill{pen: p, scale: sc, lowDB: low, highDB: high, large: columns < 3}
		k.box = box{x, y - tall + 8, x + wide - gap, y - 14}
		k.draw(c)
		if len(shown) > 1 {
			k.name(c)
		}
		if i%columns == 0 {
			k.levels()
		}
		k.frequencies(i+columns >= len(shown))
	}
}

// responseHeadline says in one line what the picture shows.
func responseHeadline(all, shown []scan.Channel) string {
	if len(shown) == 1 {
		return responseInWords(shown[0])
	}
	w := onPaper()
	told := 0
	var tilt, ripple value
	var tilted, rippled int
	for _, c := range shown {
		if noResponse(c) != "" {
			continue
		}
		told++
		if v, ok := known(c.Tilt); ok && math.Abs(v.v) >= math.Abs(tilt.v) {
			tilt, tilted = v, c.Channel.Number
		}
		if v, ok := known(c.Ripple); ok && v.v >= ripple.v {
			ripple, rippled = v, c.Channel.Number
		}
	}
	out := fmt.Sprintf("%d of %d stations measured", told, len(stations(all)))
	if math.Abs(tilt.v) > 0 {
		out += fmt.Sprintf("; most tilt %s dB, on channel %d", w.number(tilt.v, decimals(tilt.half, 1)), tilted)
	}
	if ripple.v > 0 {
		out += fmt.Sprintf("; most ripple %s dB, on channel %d", w.number(ripple.v, decimals(ripple.half, 1)), rippled)
	}
	return out
}

// responseColumns keeps the plots wider than high.
func responseColumns(n int) int {
	columns := 1
	for columns*(columns+2) < n {
		columns++
	}
	return columns
}

// responseRange chooses the ends of the height axis, multiples of 5 dB.
func responseRange(shown []scan.Channel) (low, high float64) {
	low, high = -5, 5
	for _, c := range shown {
		for _, pt := range sweep(c) {
			low, high = math.Min(low, pt.db.v-1), math.Max(high, pt.db.v+1)
		}
	}
	return math.Max(-30, 5*math.Floor(low/5)), math.Min(15, 5*math.Ceil(high/5))
}
