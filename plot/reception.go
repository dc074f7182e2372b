package plot

import (
	"fmt"
	"io"
	"math"
	"math/cmplx"
	"strings"

	"rooftone/dsp/vsb/receiver"
	"rooftone/scan/receive"
)

// Reception draws how a channel was received on one page and writes it as "png",
// "svg" or "pdf": the symbols before and behind the equaliser, as points and as they
// run between each other, the echoes that the whole channel's bandwidth shows, and
// the margin and the errors over time.
func Reception(w io.Writer, format string, l receive.Look, o Options) error {
	if o.Title == "" {
		o.Title = fmt.Sprintf("Channel %d", l.Channel.Number)
		if l.Identity != nil {
			o.Title += ": " + l.Identity.Label()
		}
	}
	a := about{o.Title, standingOf(l) + ". " + receptionInWords(l), l.Started}
	return paint(w, format, a, func(p *pen) { drawReception(p, l, o.Title) })
}

// standingOf says how the reception went, in a line.
func standingOf(l receive.Look) string {
	t := l.Total
	if t.Packets == 0 {
		return fmt.Sprintf("nothing was received in %.3g s", t.Seconds)
	}
	said := fmt.Sprintf("%d packets in %.3g s, ", t.Packets, t.Seconds)
	switch t.Failed {
	case 0:
		said += "none with errors"
	case 1:
		said += "one with errors"
	default:
		said += fmt.Sprintf("%d with errors, a share of %.2g", t.Failed, t.FailedShare())
	}
	return said + fmt.Sprintf("; %d bytes corrected", t.Corrected)
}

// receptionInWords says what the figures of the last second are.
func receptionInWords(l receive.Look) string {
	var said []string
	add := func(format string, v float64) {
		if !math.IsNaN(v) && !math.IsInf(v, 0) {
			said = append(said, withMinus(fmt.Sprintf(format, v)))
		}
	}
	if !l.Status.Locked {
		return "No lock at the end."
	}
	add("MER before the equaliser %.1f dB", l.Status.MERBeforeDB)
	add("behind it %.1f dB", l.Status.MERAfterDB)
	add("an ideal one would have %.1f dB", l.Status.IdealDB)
	add("pilot %+.0f Hz from its place", l.Status.CarrierHz)
	add("clock %+.2f ppm", l.Status.ClockPPM)
	if len(said) == 0 {
		return ""
	}
	return "At the end: " + strings.Join(said, ", ") + "."
}

// Where things stand on the page, points.
const (
	receptionTop  = 418.0
	symbolsBottom = 268.0
	tapsTop       = 232.0
	tapsBottom    = 168.0
	courseTop     = 132.0
	courseBottom  = 52.0
)

func drawReception(p *pen, l receive.Look, headline string) {
	heading(p, headline, standingOf(l), receptionInWords(l))
	const wide, between = 148.0, 18.0
	x := marginX
	title := letters{size: 9, bold: true, ink: black}
	for _, panel := range []struct {
		name    string
		symbols []complex64
		draw    func(*pen, []complex64, box)
	}{
		{"Symbols before the equaliser", l.Before, drawPoints},
		{"and behind it", l.After, drawPoints},
		{"Their course before it", l.Before, drawEye},
		{"and behind it", l.After, drawEye},
	} {
		room := box{x, symbolsBottom, x + wide, receptionTop - 8}
		p.text(title, x, receptionTop, 0, panel.name)
		if len(panel.symbols) < eyeReach*4 {
			p.text(letters{size: 8, ink: soft}, (room.x0+room.x1)/2, (room.y0+room.y1)/2, 0.5, "no symbols")
		} else {
			panel.draw(p, panel.symbols, room)
		}
		p.outline(faint, 0.6, nil, rectangle(room)...)
		x += wide + between
	}
	p.text(title, marginX, tapsTop+10, 0, "Echoes, dB below the strongest path, by the time they come after it")
	drawTaps(p, l, box{marginX + 22, tapsBottom, pageWidth - marginX - 8, tapsTop})
	p.text(title, marginX, courseTop+10, 0, "Margin over time, dB; below the ground the share of packets with errors")
	drawCourse(p, l, box{marginX + 22, courseBottom, pageWidth - marginX - 8, courseTop})
	small := letters{size: 7, ink: soft}
	p.text(small, marginX, 24, 0, p.fit(small, strings.Join(receptionSource(l), "  ·  "), pageWidth-2*marginX))
}

func receptionSource(l receive.Look) []string {
	var out []string
	if l.Source != "" {
		out = append(out, "source "+l.Source)
	}
	if !l.Started.IsZero() {
		out = append(out, l.Started.UTC().Format("2006-01-02 15:04 UTC"))
	}
	out = append(out, fmt.Sprintf("threshold %.1f dB of C/N", l.ThresholdDB))
	if !math.IsNaN(l.Total.FirstGood) {
		out = append(out, fmt.Sprintf("first good packet after %.0f ms", 1e3*l.Total.FirstGood))
	}
	return out
}

// widestLevel is the edge of the pictures of symbols: the outermost level is 7.
const widestLevel = 10.0

// grains is a picture made of shaded cells: how often something comes there.
type grains struct {
	box
	columns, rows int
	least         float64 // how dark a cell is where little came, 0 to 1
	count         []float64
}

func newGrains(b box, columns, rows int, least float64) *grains {
	return &grains{box: b, columns: columns, rows: rows, least: least, count: make([]float64, columns*rows)}
}

// add counts a place; both coordinates run from 0 to 1.
func (g *grains) add(u, v float64) {
	if u >= 0 && u < 1 && v >= 0 && v < 1 {
		g.count[int(v*float64(g.rows))*g.columns+int(u*float64(g.columns))]++
	}
}

// draw shades the cells, the darkest where most came.
func (g *grains) draw(p *pen) {
	most := 0.0
	for _, n := range g.count {
		most = math.Max(most, n)
	}
	w, h := (g.x1-g.x0)/float64(g.columns), (g.y1-g.y0)/float64(g.rows)
	for i, n := range g.count {
		if n == 0 {
			continue
		}
		// Rare ones show too: where a symbol strays is what matters.
		t := g.least + (1-g.least)*math.Pow(n/most, 0.8)
		x, y := g.x0+w*float64(i%g.columns), g.y0+h*float64(i/g.columns)
		p.fill(grey(t), rectangle(box{x, y, x + w, y + h})...)
	}
}

// grey mixes black into paper.
func grey(t float64) ink {
	mixed := ink(0)
	for shift := 0; shift < 24; shift += 8 {
		a, b := float64(paper>>shift&0xff), float64(black>>shift&0xff)
		mixed |= ink(math.Round(a+(b-a)*t)) << shift
	}
	return mixed
}

// levelGuides marks where the eight levels are, across the room or up it.
func levelGuides(p *pen, room box, upright bool) {
	l := letters{size: 6, ink: soft}
	for level := -7; level <= 7; level += 2 {
		t := (float64(level) + widestLevel) / (2 * widestLevel)
		if upright {
			x := room.x0 + t*(room.x1-room.x0)
			p.line(faint, 0.4, nil, point{x, room.y0}, point{x, room.y1})
			p.text(l, x, room.y0-8, 0.5, signed(level))
		} else {
			y := room.y0 + t*(room.y1-room.y0)
			p.line(faint, 0.4, nil, point{room.x0, y}, point{room.x1, y})
			p.text(l, room.x0-2, y-2, 1, signed(level))
		}
	}
}

func signed(n int) string {
	if n == 0 {
		return "0"
	}
	return strings.Replace(fmt.Sprintf("%+d", n), "-", "\u2212", 1)
}

// drawPoints draws symbols as points. Where they have no imaginary parts, as behind
// an equaliser that works on real numbers, the later of two stands above the
// earlier.
func drawPoints(p *pen, symbols []complex64, room box) {
	levelGuides(p, room, true)
	flat := true
	for _, z := range symbols {
		flat = flat && imag(z) == 0
	}
	g := newGrains(room, 100, 96, 0.35)
	for i, z := range symbols {
		v := (float64(imag(z)) + widestLevel) / (2 * widestLevel)
		if flat {
			v = float64(i) / float64(len(symbols))
		}
		g.add((float64(real(z))+widestLevel)/(2*widestLevel), v)
	}
	g.draw(p)
	if flat {
		p.text(letters{size: 6, ink: soft, halo: true}, room.x0+3, room.y0+3, 0, "upwards: one after the other")
	}
}

// The course between symbols is theirs, interpolated with a windowed sinc that
// reaches over eyeReach of them to either side.
const (
	eyeReach = 8
	eyeSteps = 12 // a symbol
)

// drawEye draws two symbols' time of the real part, over and over each other.
func drawEye(p *pen, symbols []complex64, room box) {
	levelGuides(p, room, false)
	var taps [eyeSteps][2 * eyeReach]float64
	for s := range taps {
		for k := range taps[s] {
			d := float64(s)/eyeSteps - float64(k-eyeReach+1)
			v := 1.0
			if d != 0 {
				v = math.Sin(math.Pi*d) / (math.Pi * d) * math.Pow(math.Cos(math.Pi*d/(2*(eyeReach+1))), 2)
			}
			taps[s][k] = v
		}
	}
	g := newGrains(room, 4*eyeSteps, 96, 0.05)
	at := func(i, s int) float64 {
		var sum float64
		for k, t := range taps[s] {
			sum += t * float64(real(symbols[i+k-eyeReach+1]))
		}
		return sum
	}
	for i := eyeReach; i+eyeReach+2 < len(symbols); i++ {
		for s := range 2 * eyeSteps {
			a, b := at(i+s/eyeSteps, s%eyeSteps), at(i+(s+1)/eyeSteps, (s+1)%eyeSteps)
			for half, v := range []float64{a, (a + b) / 2} {
				g.add((float64(s)+float64(half)/2+0.01)/(2*eyeSteps), (v+widestLevel)/(2*widestLevel))
			}
		}
	}
	g.draw(p)
	x := (room.x0 + room.x1) / 2
	p.text(letters{size: 6, ink: soft}, x, room.y0-8, 0.5, "two symbols, 186 ns")
	p.line(faint, 0.6, []float64{1, 2}, point{x, room.y0}, point{x, room.y1})
}

// drawTaps draws the channel's impulse response.
func drawTaps(p *pen, l receive.Look, room box) {
	const (
		lowDB       = -30.0
		fromS, toS  = -10e-6, 30e-6
		perGuide    = 10.0
		microsecond = 5
	)
	x := func(s float64) float64 { return room.x0 + (s-fromS)/(toS-fromS)*(room.x1-room.x0) }
	y := func(db float64) float64 {
		return room.y0 + math.Max(0, math.Min(1, (db-lowDB)/-lowDB))*(room.y1-room.y0)
	}
	small := letters{size: 6.5, ink: soft}
	for db := lowDB; db <= 0; db += perGuide {
		p.line(faint, 0.4, []float64{0.6, 2.4}, point{room.x0, y(db)}, point{room.x1, y(db)})
		p.text(small, room.x0-3, y(db)-2, 1, signed(int(db)))
	}
	for us := -10; us <= 30; us += microsecond {
		at := x(float64(us) * 1e-6)
		p.line(faint, 0.4, nil, point{at, room.y0}, point{at, room.y0 - 3})
		p.text(small, at, room.y0-10, 0.5, signed(us)+" \u00b5s")
	}
	defer p.line(black, 1, nil, point{room.x0, room.y0}, point{room.x1, room.y0})
	if len(l.Taps) == 0 {
		p.text(letters{size: 8, ink: soft}, (room.x0+room.x1)/2, (room.y0+room.y1)/2, 0.5, "not known without lock")
		return
	}
	const wordedDB = -20 // as where slices tell of echoes
	echoes := false
	for _, t := range receiver.Paths(l.Taps, lowDB) {
		db := 20 * math.Log10(cmplx.Abs(t.Gain))
		echoes = echoes || t.DelaySeconds != 0 && db > wordedDB
		if t.DelaySeconds < fromS || t.DelaySeconds > toS {
			continue
		}
		at := x(t.DelaySeconds)
		p.line(black, 2.2, nil, point{at, room.y0}, point{at, y(db)})
	}
	if !echoes {
		p.text(letters{size: 8, ink: soft, halo: true}, x(1e-6), (room.y0+room.y1)/2, 0, fmt.Sprintf("no echo above \u2212%d dB", -wordedDB))
	}
}

// drawCourse draws margin and errors over time.
func drawCourse(p *pen, l receive.Look, room box) {
	const (
		topDB     = 20.0
		deepest   = 4.0 // decades of the share of packets with errors, from 10⁻⁴ to all
		above     = 0.62
		roofDB    = 9.0
		mostLines = 8
	)
	ground := room.y1 - above*(room.y1-room.y0)
	y := func(db float64) float64 { return ground + math.Max(0, math.Min(1, db/topDB))*(room.y1-ground) }
	depth := func(share float64) float64 {
		return ground - math.Max(0, math.Min(1, (math.Log10(share)+deepest)/deepest))*(ground-room.y0)
	}
	small := letters{size: 6.5, ink: soft}
	for _, db := range []float64{roofDB, topDB} {
		p.line(faint, 0.5, []float64{2, 2}, point{room.x0, y(db)}, point{room.x1, y(db)})
		p.text(small, room.x0-3, y(db)-2, 1, signed(int(db)))
	}
	for i, said := range []string{"all", "1 %"} {
		at := depth([]float64{1, 0.01}[i])
		p.line(faint, 0.4, []float64{0.6, 2.4}, point{room.x0, at}, point{room.x1, at})
		p.text(small, room.x0-3, at-2, 1, said)
	}
	total := 0.0
	for _, b := range l.Timeline.Bins {
		total += b.Seconds
	}
	if total > 0 {
		drawBins(p, l, room, total, y, depth, ground)
		step := niceStep(total / mostLines)
		for s := 0.0; s <= total*1.0001; s += step {
			at := room.x0 + s/total*(room.x1-room.x0)
			p.line(faint, 0.4, nil, point{at, room.y0}, point{at, room.y0 - 3})
			p.text(small, at, room.y0-10, 0.5, clockTime(s))
		}
	}
	p.line(black, 1.2, nil, point{room.x0, ground}, point{room.x1, ground})
}

func drawBins(p *pen, l receive.Look, room box, total float64, y, depth func(float64) float64, ground float64) {
	tones := newScale()
	at := 0.0
	// The MER of a flat clean channel is its C/N and a little.
	const merOverCN = 0.16
	for _, b := range l.Timeline.Bins {
		x0 := room.x0 + at/total*(room.x1-room.x0)
		at += b.Seconds
		x1 := room.x0 + at/total*(room.x1-room.x0)
		low, high := b.LowestMERDB-merOverCN-l.ThresholdDB, b.HighestMERDB-merOverCN-l.ThresholdDB
		if !math.IsNaN(low) && low > 0 {
			p.fill(tones.tone(low), rectangle(box{x0, ground, x1, y(low)})...)
		}
		if !math.IsNaN(high) && high > 0 {
			p.line(black, 0.8, nil, point{x0, y(high)}, point{x1, y(high)})
		}
		if b.Unlocked > 0 {
			p.hatch(soft, 0.5, 3, falling, rectangle(box{x0, room.y0, x1, ground})...)
		}
		if b.Failed > 0 {
			p.fill(black, rectangle(box{x0, depth(float64(b.Failed) / float64(b.Packets)), x1, ground})...)
		}
	}
}

// niceStep is the least of 1, 2, 5, 10, 15, 30 … seconds that is at least s.
func niceStep(s float64) float64 {
	steps := []float64{0.1, 0.2, 0.5, 1, 2, 5, 10, 15, 30, 60, 120, 300, 600, 900, 1800, 3600, 7200, 14400, 21600, 43200, 86400}
	for _, v := range steps {
		if v >= s {
			return v
		}
	}
	return s
}

// clockTime writes a length of time.
func clockTime(s float64) string {
	switch {
	case s < 60:
		return fmt.Sprintf("%.3g s", s)
	case s < 3600:
		return fmt.Sprintf("%d:%02d min", int(s)/60, int(s)%60)
	}
	return fmt.Sprintf("%d:%02d h", int(s)/3600, int(s)/60%60)
}
