package plot

import (
	"errors"
	"fmt"
	"io"
	"math"
	"strings"

	"rooftone/dsp/psd"
	"rooftone/scan"
	"rooftone/scan/band"
)

// Spectrum draws the stitched spectrum of a survey with the channels' edges
// and the nominal places of their pilots, and writes it as "png", "svg" or
// "pdf". The axis is broken into rows; all rows have one scale. A survey
// without a spectrum is an error.
func Spectrum(w io.Writer, format string, s *scan.Survey, o Options) error {
	rows, err := spectrumRows(s)
	if err != nil {
		return err
	}
	if o.Title == "" {
		o.Title = "Spectrum at this antenna"
	}
	a := about{o.Title, "Power density against frequency. " + spoken(rows), s.Started}
	return paint(w, format, a, func(p *pen) { drawSpectrum(p, s, rows, o) })
}

// spectrumRows returns the channels of a survey whose spectrum can be drawn.
func spectrumRows(s *scan.Survey) ([]scan.Channel, error) {
	if s == nil {
		return nil, errNoSurvey
	}
	rows := lots(s)
	if s.Spectrum == nil || len(s.Spectrum.Density) == 0 || len(rows) == 0 {
		return nil, errors.New("the survey holds no spectrum to draw")
	}
	return rows, nil
}

const (
	panelsTop    = 424.0
	panelsBottom = 52.0
	panelGap     = 26.0 // below each panel, for its frequencies
	columnPoints = 0.5
)

// panel is one row of the picture.
type panel struct {
	*pen
	scale  *scale
	rows   []scan.Channel
	street street
	box
	lowDB, highDB float64 // dBFS/Hz
}

func drawSpectrum(p *pen, s *scan.Survey, rows []scan.Channel, o Options) {
	corrected := ""
	if s.Clock != nil {
		corrected = " Frequencies are corrected for the radio's clock."
	}
	heading(p, o.Title, tally(rows), "How to read it: the line is the mean power density, the band around it the lowest and the highest in each step of the line. "+
		"The numbered lots are RF channels. A triangle marks where an 8-VSB pilot belongs, filled where a station's was found; "+
		"the dashed line is the noise floor."+corrected)

	for _, k := range panels(p, s, rows, panelsTop, panelsBottom, 0) {
		k.draw(s)
	}
	footing(p, s, rows)
}

// panels lays the panels of a spectrum between two heights, all with one scale
// and one width for a channel; room is what is left free above the highest
// density, as a share of the scale.
func panels(p *pen, s *scan.Survey, rows []scan.Channel, top, bottom, room float64) []*panel {
	parts := rowsOf(channelsOf(rows))
	streets := make([]street, len(parts))
	lot := math.Inf(1)
	for _, part := range parts {
		lot = math.Min(lot, layStreet(part, streetLeft, pageWidth-marginX, 120).lot())
	}
	for i, part := range parts {
		streets[i] = layStreet(part, streetLeft, pageWidth-marginX, lot).from(streetLeft)
	}
	low, high := densityRange(s, streets)
	height := (top - bottom) / float64(len(parts))
	begin := 0
	out := make([]*panel, len(parts))
	for i, part := range parts {
		y1 := top - float64(i)*height
		out[i] = &panel{
			pen: p, scale: newScale(), rows: rows[begin : begin+len(part)], street: streets[i],
			box:   box{streets[i].blocks[0].x0, y1 - height + panelGap, 0, y1 - 14},
			lowDB: low, highDB: high + (high-low)*room,
		}
		begin += len(part)
	}
	return out
}

// rowsOf parts the channels, ascending, into one, two or three rows of about
// equal length, rather between blocks than within one.
func rowsOf(chs []band.Channel) [][]band.Channel {
	long := func(part []band.Channel) float64 { return layStreet(part, 0, 1, 1).long() }
	cost := func(parts ...[]band.Channel) float64 {
		worst, uneven, splits := 0.0, 0.0, 0.0
		for i, part := range parts {
			n := long(part)
			worst = math.Max(worst, n)
			uneven += n * n
			if i > 0 {
				before := parts[i-1]
				if part[0].LowerHz-before[len(before)-1].UpperHz() <= jumpHz {
					splits++
				}
			}
		}
		return worst + 2*splits + 0.01*uneven
	}
	n, best, least := len(chs), [][]band.Channel{chs}, math.Inf(1)
	try := func(parts ...[]band.Channel) {
		if c := cost(parts...); c < least {
			best, least = parts, c
		}
	}
	switch length := long(chs); {
	case length <= 9 || n < 3:
	case length <= 18 || n > 120: // many more than any plan has: not worth trying every pair
		for i := 1; i < n; i++ {
			try(chs[:i], chs[i:])
		}
	default:
		for i := 1; i < n-1; i++ {
			for j := i + 1; j < n; j++ {
				try(chs[:i], chs[i:j], chs[j:])
			}
		}
	}
	return best
}

// densityRange chooses the ends of the height axis, multiples of 10 dB that
// hold what is drawn, at most 100 dB apart.
func densityRange(s *scan.Survey, streets []street) (low, high float64) {
	low, high = math.Inf(1), math.Inf(-1)
	for _, st := range streets {
		for _, b := range st.blocks {
			for _, run := range envelope(s.Spectrum, b.lowHz, b.highHz, columnPoints/st.pointPerH) {
				for _, c := range run {
					low, high = math.Min(low, c.mean), math.Max(high, c.high)
				}
			}
		}
	}
	if low > high {
		return -140, -60
	}
	high = 10 * math.Ceil((high+1)/10)
	low = 10 * math.Floor((low-3)/10)
	return math.Max(math.Min(low, high-30), high-100), high
}

func (k *panel) y(db float64) float64 {
	t := (db - k.lowDB) / (k.highDB - k.lowDB)
	return k.y0 + (k.y1-k.y0)*math.Max(0, math.Min(1, t))
}

func (k *panel) draw(s *scan.Survey) {
	k.x1 = k.street.blocks[len(k.street.blocks)-1].x1
	k.frame()
	for _, c := range k.rows {
		k.mark(s, c)
	}
	for _, b := range k.street.blocks {
		k.trace(s, b)
	}
	k.street.drawTicks(k.pen, channelsOf(k.rows), k.y0)
	k.text(letters{size: 7.5, ink: soft}, k.x0-8, k.y0-12, 1, "MHz")
}

// frame draws the panel's ground, its height axis and the lots.
func (k *panel) frame() {
	small := letters{size: 7.5, ink: soft}
	step := 10.0
	for (k.highDB-k.lowDB)/step*11 > k.y1-k.y0 {
		step += 10
	}
	for db := math.Ceil(k.lowDB/step) * step; db <= k.highDB; db += step {
		for _, b := range k.street.blocks {
			k.line(faint, 0.4, []float64{0.6, 2.4}, point{b.x0, k.y(db)}, point{b.x1, k.y(db)})
		}
		k.text(small, k.x0-5, k.y(db)-capital/2*small.size, 1, strings.Replace(fmt.Sprintf("%.0f", db), "-", "\u2212", 1))
	}
	k.upright(small, k.x0-32, (k.y0+k.y1)/2, 0.5, "dBFS/Hz")
	for _, c := range k.rows {
		x0, x1 := k.street.span(c.Channel)
		for _, x := range []float64{x0, x1} {
			k.line(faint, 0.6, nil, point{x, k.y0}, point{x, k.y1 + 10})
		}
		if conditionOf(c) == notCovered {
			k.outline(soft, 0.7, fenceDashes(), rectangle(box{x0 + 2, k.y0 + 2, x1 - 2, k.y1 - 2})...)
		}
		for _, s := range unseenSpans(c) {
			from, to := within(x0, x1, c, s)
			k.fence(box{from + 1, k.y0 + 2, to - 1, k.y1 - 2})
		}
		l := letters{size: math.Max(6, math.Min(10, 0.6*k.street.lot())), bold: true, ink: black}
		if n := conditionOf(c); n == vacant || n == notCovered {
			l.bold, l.ink = false, soft
		}
		k.text(l, (x0+x1)/2, k.y1+3, 0.5, fmt.Sprint(c.Channel.Number))
	}
	for i, b := range k.street.blocks {
		k.line(black, 1, nil, point{b.x0, k.y0}, point{b.x1, k.y0})
		if i > 0 {
			k.street.drawBreaks(k.pen, k.y0)
		}
	}
}

// trace draws the spectrum over one block.
func (k *panel) trace(s *scan.Survey, b block) {
	tint := k.scale.tone(-4)
	for _, run := range envelope(s.Spectrum, b.lowHz, b.highHz, columnPoints/k.street.pointPerH) {
		mean := make([]point, 0, len(run))
		edge := make([]point, 0, 2*len(run))
		for _, c := range run {
			x, _ := k.street.x(c.hz)
			mean = append(mean, point{x, k.y(c.mean)})
			edge = append(edge, point{x, k.y(c.high)})
		}
		for i := len(run) - 1; i >= 0; i-- {
			edge = append(edge, point{mean[i].x, k.y(run[i].low)})
		}
		if len(run) == 1 { // a lone column has no width of its own
			x := mean[0].x
			k.line(tint, columnPoints, nil, point{x, k.y(run[0].low)}, point{x, k.y(run[0].high)})
			k.line(black, 0.7, nil, point{x - columnPoints/2, mean[0].y}, point{x + columnPoints/2, mean[0].y})
			continue
		}
		k.fill(tint, edge...)
		k.line(black, 0.7, nil, mean...)
	}
}

// mark draws a channel's noise floor and the place of its pilot, or says that
// the spectrum does not hold the channel.
func (k *panel) mark(s *scan.Survey, c scan.Channel) {
	x0, x1 := k.street.span(c.Channel)
	l := letters{size: math.Max(6, math.Min(8, 0.5*k.street.lot())), ink: soft}
	n, ok := known(c.NoiseDBFS)
	switch {
	case conditionOf(c) == notCovered:
		k.upright(l, (x0+x1)/2, (k.y0+k.y1)/2, 0.5, k.fit(l, "not covered", k.y1-k.y0-8))
	case !holds(s.Spectrum, c):
		k.upright(l, (x0+x1)/2, (k.y0+k.y1)/2, 0.5, k.fit(l, "not in the spectrum", k.y1-k.y0-8))
	case ok:
		db := n.v - decibels(band.WidthHz)
		if c.GainDB != nil && !math.IsNaN(s.SpectrumGainDB) {
			db += s.SpectrumGainDB - *c.GainDB
		}
		if db > k.lowDB && db < k.highDB {
			for _, s := range seenSpans(c) {
				from, to := within(x0, x1, c, s)
				k.line(k.scale.tone(24), 1, []float64{3, 1.5}, point{from, k.y(db)}, point{to, k.y(db)})
			}
		}
	}
	x, ok := k.street.x(c.Channel.PilotHz())
	if !ok {
		return
	}
	k.line(faint, 0.5, []float64{0.6, 1.8}, point{x, k.y0}, point{x, k.y1 - 1})
	tip := []point{{x, k.y1 - 1}, {x - 2.4, k.y1 + 4}, {x + 2.4, k.y1 + 4}}
	if n := conditionOf(c); c.Pilot != nil && (n == measured || n == unmeasured) {
		k.fill(black, tip...)
	}
	k.outline(black, 0.6, nil, tip...)
}

// holds reports whether a spectrum has anything of a channel: of one that was
// heard whole, of its middle, where its neighbours' slices do not reach.
func holds(s *psd.Spectrum, c scan.Channel) bool {
	if basis(c) == "" {
		return len(envelope(s, c.Channel.LowerHz+1.5e6, c.Channel.UpperHz()-1.5e6, band.WidthHz/8)) > 0
	}
	for _, span := range seenSpans(c) {
		if len(envelope(s, span.LowHz, span.HighHz, band.WidthHz/8)) > 0 {
			return true
		}
	}
	return false
}
