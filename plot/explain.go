package plot

import (
	"fmt"
	"io"
	"math"
	"strings"

	"rooftone/scan"
)

// Explain draws all that is known of one channel of a survey on one page and
// writes it as "png", "svg" or "pdf": its house of the skyline, its spectrum,
// response and echoes, every figure with half its 95 % interval, what limits
// it and what to try.
func Explain(w io.Writer, format string, c scan.Channel, s *scan.Survey, o Options) error {
	if s == nil {
		return errNoSurvey
	}
	if o.Title == "" {
		o.Title = strings.Replace(channelInWords(c), "-", "\u2013", 1) + ": " + gradeInWords(c)
	}
	o.ThresholdDB = threshold(o.ThresholdDB, s)
	told := []string{o.Title, standing(c, onPaper()), conclusion(c), spokenEchoes(c), "response: " + responseInWords(c)}
	for _, r := range c.Reasons {
		told = append(told, r.Evidence)
	}
	a := about{o.Title, strings.Join(append(told, c.Advice...), ". "), s.Started}
	return paint(w, format, a, func(p *pen) { drawExplain(p, c, s, o) })
}

// Where things stand on the page, points.
const (
	explainTop  = 432.0
	explainLeft = 206.0 // of the three panels beside the house
	tableTop    = 168.0
	smallPrint  = 62.0
)

func drawExplain(p *pen, c scan.Channel, s *scan.Survey, o Options) {
	heading(p, o.Title, standing(c, onPaper()), conclusion(c))
	row := []scan.Channel{c}
	footingAt(p, 24, s, row, warnings(s, row))
	drawLoneHouse(p, c, box{marginX, tableTop + 40, 178, explainTop - 12})

	title := letters{size: 9, bold: true, ink: black}
	p.text(title, explainLeft, explainTop, 0, "Spectrum")
	drawLoneSpectrum(p, c, s, box{explainLeft + 36, 318, 434, explainTop - 22})
	p.text(title, 470, explainTop, 0, p.fit(title, "Response: "+responseInWords(c), pageWidth-marginX-470))
	if noResponse(c) == "" {
		drawLoneResponse(p, c, box{494, 318, pageWidth - marginX - 8, explainTop - 22})
	}

	p.text(title, explainLeft, 286, 0, p.fit(title, "Echoes: "+echoHeadline(c), pageWidth-marginX-explainLeft))
	if trained(c) {
		own, _ := lengths(o.Units)
		k := &lane{
			pen: p, scale: newScale(), label: letters{size: 7.5, ink: black}, far: &own, units: o.Units,
			box: box{explainLeft + 36, 214, pageWidth - marginX - 8, 270}, roof: 280,
		}
		k.draw(c)
		k.guides()
		k.measures(true, k.y0-4)
	}
	drawFacts(p, facts(c, s, o.ThresholdDB), box{marginX, smallPrint + 4, 366, tableTop})
	drawJudgement(p, c, box{392, smallPrint + 4, pageWidth - marginX, tableTop})
	drawCautions(p, Cautions(c.Advice))
}

// drawLoneHouse draws a channel's house of the skyline, with its axis.
func drawLoneHouse(p *pen, c scan.Channel, room box) {
	b := &builder{pen: p, scale: newScale(), perDB: (room.y1 - room.y0) / (topDB - floorDB)}
	b.ground = room.y0 - floorDB*b.perDB
	const lot = 46.0
	x0 := room.x0 + 44
	b.street = street{
		blocks:    []block{{lowHz: c.Channel.LowerHz, highHz: c.Channel.UpperHz(), x0: x0, x1: x0 + lot}},
		pointPerH: lot / (c.Channel.UpperHz() - c.Channel.LowerHz),
	}
	if !standsOnAxis(c) {
		b.street.blocks = nil
		b.text(letters{size: 9, ink: soft}, room.x0, b.ground, 0, "not a television channel")
		return
	}
	b.land([]scan.Channel{c})
	b.heights()
	b.build(c)
	b.text(letters{size: 12, bold: true, ink: black}, x0+lot/2, room.y0-24, 0.5, fmt.Sprint(c.Channel.Number))
}

// standsOnAxis reports whether a frequency axis can hold a channel.
func standsOnAxis(c scan.Channel) bool {
	f := c.Channel.LowerHz
	return f >= 0 && f < 1e11 // not NaN either
}

// drawLoneSpectrum draws a channel's part of the spectrum, with a little of
// its neighbours.
func drawLoneSpectrum(p *pen, c scan.Channel, s *scan.Survey, room box) {
	const beside = 1e6
	low, high := c.Channel.LowerHz-beside, c.Channel.UpperHz()+beside
	st := street{
		blocks:    []block{{lowHz: low, highHz: high, x0: room.x0, x1: room.x1}},
		pointPerH: (room.x1 - room.x0) / (high - low),
	}
	small := letters{size: 8, ink: soft}
	if !standsOnAxis(c) || s.Spectrum == nil || len(envelope(s.Spectrum, low, high, columnPoints/st.pointPerH)) == 0 {
		p.text(small, (room.x0+room.x1)/2, (room.y0+room.y1)/2, 0.5, "no spectrum of this channel")
		return
	}
	k := &panel{pen: p, scale: newScale(), rows: []scan.Channel{c}, street: st, box: room}
	k.lowDB, k.highDB = densityRange(s, []street{st})
	k.draw(s)
}

// drawLoneResponse draws a channel's response.
func drawLoneResponse(p *pen, c scan.Channel, room box) {
	k := &hill{pen: p, scale: newScale(), box: room}
	k.lowDB, k.highDB = responseRange([]scan.Channel{c})
	k.draw(c)
	k.levels()
	k.frequencies(true)
}

// drawFacts lists the figures in two columns.
func drawFacts(p *pen, list []fact, room box) {
	title, l := letters{size: 9, bold: true, ink: black}, letters{size: 7.5, ink: black}
	strong := letters{size: 7.5, bold: true, ink: black}
	p.text(title, room.x0, room.y1, 0, "Figures, each with half its 95 % interval")
	const step = 9.4
	fits := int((room.y1 - 6 - room.y0) / step)
	w := onPaper()
	for i, f := range list {
		column := i / fits
		if column > 1 {
			break
		}
		x := room.x0 + float64(column)*(room.x1-room.x0+14)/2
		y := room.y1 - 14 - step*float64(i%fits)
		number, spread := w.figureOf(f)
		look := l
		if f.name == "margin" {
			look = strong
		}
		p.text(look, x, y, 0, f.name)
		if !f.measured {
			p.text(letters{size: 7.5, ink: soft}, x+72, y, 0, "not measured")
			continue
		}
		p.text(look, x+92, y, 1, p.fit(look, number, 32))
		p.text(l, x+96, y, 0, spread)
		p.text(l, x+122, y, 0, f.unit)
	}
}

// drawJudgement writes what was found and what to try.
func drawJudgement(p *pen, c scan.Channel, room box) {
	title, l := letters{size: 9, bold: true, ink: black}, letters{size: 7.5, ink: black}
	y := room.y1
	write := func(head, text string) {
		in := 0.0
		if head != "" {
			in = p.width(letters{size: 7.5, bold: true}, head) + 4
		}
		lines := p.lines(l, text, room.x1-room.x0-in)
		for i, line := range lines {
			if y -= 9.6; y < room.y0 {
				return
			}
			if i == 0 && head != "" {
				p.text(letters{size: 7.5, bold: true, ink: black}, room.x0, y, 0, head)
			}
			if y-9.6 < room.y0 && i < len(lines)-1 {
				line = p.fit(l, line+" \u2026", room.x1-room.x0-in)
			}
			p.text(l, room.x0+in, y, 0, line)
		}
	}
	if len(c.Reasons) > 0 {
		p.text(title, room.x0, y, 0, "What was found")
		y -= 3
		for _, r := range c.Reasons {
			text := r.Evidence
			if text == "" {
				text = string(r.Limit)
			}
			write("\u2022", text)
		}
		y -= 15
	}
	if len(c.Advice) > 0 && y > room.y0+10 {
		p.text(title, room.x0, y, 0, "What to try, in this order")
		y -= 3
		for i, a := range c.Advice {
			write(fmt.Sprintf("%d", i+1), a)
		}
	}
	if len(c.Reasons)+len(c.Advice) == 0 && conditionOf(c) == measured {
		p.text(title, room.x0, y, 0, "Nothing to mend was found")
	}
}

// drawCautions writes what to mind in small print.
func drawCautions(p *pen, list []string) {
	if len(list) == 0 {
		return
	}
	l := letters{size: 6.5, ink: black}
	y := smallPrint - 6
	const width = pageWidth - 2*marginX
	for _, line := range p.lines(l, "Before anybody climbs: "+strings.Join(list, "; ")+".", width) {
		if y < 32 {
			return
		}
		p.text(l, marginX, y, 0, line)
		y -= math.Ceil(l.size + 1.5)
	}
}
