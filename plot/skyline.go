package plot

import (
	"errors"
	"fmt"
	"io"
	"math"
	"strings"

	"rooftone/scan"
	"rooftone/scan/site"
	"rooftone/scan/verdict"
)

// Options says how a picture is drawn. The zero value is a good choice.
type Options struct {
	Title       string     // "": a title of our own
	ThresholdDB float64    // C/N that the margins were measured from, dB; 0: the survey's
	Units       site.Units // in which lengths are told where there is room for one; "": feet
}

var errNoSurvey = errors.New("there is no survey to draw")

// Where things stand on the skyline's page, points.
const (
	marginX    = 28.0
	streetLeft = 72.0
	streetEnd  = pageWidth - 64
	skyY       = 408.0 // the top of the height axis
	cellarY    = 132.0 // its lower end
	plateY     = 105.0 // the channel numbers' base line
	tickY      = 98.0
	keyY       = 48.0
	smallY     = 34.0
)

// Skyline draws the presence map of a survey and writes it as "png", "svg" or
// "pdf". The page is 720 by 528 points, a PNG 1600 by 1173 pixels.
func Skyline(w io.Writer, format string, s *scan.Survey, o Options) error {
	if s == nil {
		return errNoSurvey
	}
	rows := lots(s)
	if o.Title == "" {
		o.Title = "Television at this antenna"
	}
	o.ThresholdDB = threshold(o.ThresholdDB, s)
	return paint(w, format, about{o.Title, spoken(rows), s.Started}, func(p *pen) { drawSkyline(p, s, rows, o) })
}

func drawSkyline(p *pen, s *scan.Survey, rows []scan.Channel, o Options) {
	heading(p, o.Title, tally(rows), fmt.Sprintf("How to read it: the ground is the weakest signal that decodes (C/N %.3g dB). "+
		"A house is a channel that decodes, as high as its margin in dB; a cellar is one that cannot yet, as deep as what it lacks. "+
		"One that reaches the dashed roof line has %.0f dB in hand, enough for 95 %% of the spots around it.",
		o.ThresholdDB, verdict.FirmMarginDB))

	b := &builder{
		pen: p, scale: newScale(),
		street: layStreet(channelsOf(rows), streetLeft, streetEnd, 72),
		perDB:  (skyY - cellarY) / (topDB - floorDB),
	}
	b.ground = cellarY - floorDB*b.perDB
	b.land(rows)
	b.heights()
	for _, c := range rows {
		b.build(c)
	}
	b.street.drawBreaks(p, b.ground)
	b.names(rows)
	b.plates(rows)
	b.key(rows)
	footing(p, s, rows)
}

// heading writes what stands above every picture.
func heading(p *pen, title, line, howTo string) {
	big, middle, small := letters{size: 18, bold: true, ink: black}, letters{size: 10.5, bold: true, ink: black}, letters{size: 8.5, ink: soft}
	const width = pageWidth - 2*marginX
	p.text(big, marginX, pageHeight-42, 0, p.fit(big, title, width))
	p.text(middle, marginX, pageHeight-60, 0, p.fit(middle, line, width))
	for i, l := range p.lines(small, howTo, width) {
		p.text(small, marginX, pageHeight-76-11*float64(i), 0, l)
	}
}

// footing writes the small print below every picture.
func footing(p *pen, s *scan.Survey, rows []scan.Channel) {
	mind := append(warnings(s, rows), foreigners(rows)...)
	if t := inPart(rows); t != "" {
		mind = append(mind, t)
	}
	footingAt(p, smallY, s, rows, mind)
}

func footingAt(p *pen, y float64, s *scan.Survey, rows []scan.Channel, mind []string) {
	const width = pageWidth - 2*marginX
	small, loud := letters{size: 7, ink: soft}, letters{size: 7.5, bold: true, ink: black}
	facts := circumstances(s, rows, withMinus(clock(s.Clock)))
	for _, l := range p.lines(small, strings.Join(facts, "  ·  "), width) {
		p.text(small, marginX, y, 0, l)
		y -= 9
	}
	if len(mind) > 0 {
		for i, l := range p.lines(loud, "Mind: "+strings.Join(mind, "; "), width) {
			if y -= 1; i < 2 {
				p.text(loud, marginX, y, 0, l)
			}
			y -= 9
		}
	}
}

// land draws the ground and what lies under it.
func (b *builder) land(rows []scan.Channel) {
	for _, c := range rows {
		x0, x1 := b.street.span(c.Channel)
		if conditionOf(c) == notCovered {
			continue
		}
		for _, s := range seenSpans(c) {
			from, to := within(x0, x1, c, s)
			b.fill(earth, rectangle(box{from + 0.3, b.y(floorDB) - 6, to - 0.3, b.ground})...)
			b.line(black, 1.4, nil, point{from, b.ground}, point{to, b.ground})
		}
		for _, s := range unseenSpans(c) {
			from, to := within(x0, x1, c, s)
			b.fence(box{from + 0.5, b.y(floorDB) - 5, to - 0.5, b.ground})
		}
	}
	for i := 0; i < len(rows); {
		if conditionOf(rows[i]) != notCovered {
			i++
			continue
		}
		x0, x1 := b.street.span(rows[i].Channel)
		i++
		for i < len(rows) && conditionOf(rows[i]) == notCovered {
			a0, a1 := b.street.span(rows[i].Channel)
			if a0 > x1+0.01 {
				break
			}
			x1 = a1
			i++
		}
		b.unknownLand(x0, x1)
	}
}

// unknownLand fences a run of lots that no slice covers.
func (b *builder) unknownLand(x0, x1 float64) {
	const text = "not covered"
	l := letters{size: 8, ink: soft}
	b.outline(soft, 0.7, []float64{0.8, 2.2}, rectangle(box{x0 + 1.5, b.y(floorDB) - 5, x1 - 1.5, b.ground})...)
	y := (b.y(floorDB) - 6 + b.ground) / 2
	if b.width(l, text)+6 <= x1-x0 {
		b.text(l, (x0+x1)/2, y-3, 0.5, text)
		return
	}
	b.upright(l, (x0+x1)/2, y, 0.5, text)
}

// heights draws the height axis, its tones and the grades' names.
func (b *builder) heights() {
	if len(b.street.blocks) == 0 {
		b.text(letters{size: 11, bold: true, ink: soft}, pageWidth/2, b.ground+20, 0.5, "no channels in this survey")
		return
	}
	left := b.street.blocks[0].x0 - 8
	right := b.street.blocks[len(b.street.blocks)-1].x1 + 6
	for _, db := range []float64{-20, -10, 10, 20, 30} {
		b.line(faint, 0.4, []float64{0.6, 2.4}, point{left, b.y(db)}, point{right, b.y(db)})
	}
	b.line(black, 0.9, []float64{5, 2.5}, point{left, b.y(verdict.FirmMarginDB)}, point{right, b.y(verdict.FirmMarginDB)})

	small, strong := letters{size: 7.5, ink: soft}, letters{size: 8, bold: true, ink: black}
	strip := left - 7
	for db := floorDB; db < topDB; db++ {
		b.fill(b.scale.tone(db+0.5), rectangle(box{strip, b.y(db), left - 1, b.y(db+1) + 0.2})...)
	}
	b.outline(black, 0.5, nil, rectangle(box{strip, b.y(floorDB), left - 1, b.y(topDB)})...)
	for _, db := range []float64{-20, -10, 0, verdict.SlimMarginDB, verdict.FirmMarginDB, 20, 30} {
		l := small
		if db == 0 || db == verdict.FirmMarginDB {
			l = strong
		}
		b.line(black, 0.5, nil, point{strip - 2.5, b.y(db)}, point{strip, b.y(db)})
		b.text(l, strip-4, b.y(db)-capital/2*l.size, 1, wholeDB(db))
	}
	b.upright(small, strip-24, (b.y(floorDB)+b.y(topDB))/2, 0.5, "margin in dB")

	for _, g := range []struct {
		grade    verdict.Grade
		from, to float64
	}{
		{verdict.Firm, verdict.FirmMarginDB, topDB},
		{verdict.Slim, verdict.SlimMarginDB, verdict.FirmMarginDB},
		{verdict.Cliff, 0, verdict.SlimMarginDB},
		{verdict.Trace, floorDB, 0},
	} {
		b.line(soft, 0.6, nil, point{right + 3, b.y(g.from) + 1}, point{right + 3, b.y(g.to) - 1})
		b.text(strong, right+7, (b.y(g.from)+b.y(g.to))/2-3, 0, string(g.grade))
	}
	b.text(small, right+7, b.y(verdict.FirmMarginDB)-2.5, 0, "roof line")
	b.text(small, right+7, b.ground-6, 0, "ground")
}

// names writes who is on a channel into the earth below a house, or below the
// cellar's depth where that leaves room.
func (b *builder) names(rows []scan.Channel) {
	for _, c := range rows {
		k := conditionOf(c)
		if c.Label == "" || k == vacant || k == notCovered {
			continue
		}
		x0, x1 := b.street.span(c.Channel)
		l := letters{size: math.Max(6, math.Min(8, 0.44*b.street.lot())), ink: black}
		top := b.ground - 6
		switch {
		case k == foreign:
			top -= 10
		case k != measured:
			top -= 16
		default:
			m, _ := known(c.Margin)
			top = math.Min(top, b.y(m.v-m.half)-6)
			if m.v < 0 { // below the figure
				top -= 8 + b.figures().size
			}
		}
		const least = 24 // less than this holds no name
		if room := top - b.y(floorDB) + 2; room > least {
			b.upright(l, (x0+x1)/2, top, 1, b.fit(l, c.Label, room))
		}
	}
}

// plates writes the channel numbers, the frequencies and the bands.
func (b *builder) plates(rows []scan.Channel) {
	size := math.Max(6, math.Min(12, 0.6*b.street.lot()))
	for _, c := range rows {
		x0, x1 := b.street.span(c.Channel)
		l := letters{size: size, bold: true, ink: black}
		if k := conditionOf(c); k == vacant || k == notCovered {
			l = letters{size: size, ink: soft}
		}
		b.text(l, (x0+x1)/2, plateY, 0.5, fmt.Sprint(c.Channel.Number))
	}
	if len(rows) == 0 {
		return
	}
	small := letters{size: 7.5, ink: soft}
	b.street.drawTicks(b.pen, channelsOf(rows), tickY)
	first := b.street.blocks[0].x0
	b.text(small, first-8, plateY, 1, "channel")
	b.text(small, first-8, tickY-12, 1, "MHz")
	for _, k := range b.street.blocks {
		if name := bandName(k.lowHz); name != "" && b.width(small, name) < k.x1-k.x0+8 {
			b.text(small, (k.x0+k.x1)/2, tickY-24, 0.5, name)
		}
	}
}
