package plot

import (
	"errors"
	"fmt"
	"image"
	"io"
	"math"
	"slices"
	"strings"
	"time"

	"gonum.org/v1/plot/vg"

	"rooftone/scan/band"
)

// Fall is power density against time and frequency, for Waterfall.
type Fall struct {
	Started         time.Time // of the first row; zero when unknown
	StartHz, StepHz float64   // absolute, of a row's values
	RowSeconds      float64   // from one row to the next
	Rows            [][]float32
	Channels        []band.Channel // whose edges are drawn
	Marks           []Mark         // what stands out
}

// Mark is a place on a frequency axis to which something is written.
type Mark struct {
	Hz, WidthHz float64
	Text        string
}

// Where things stand on a waterfall's page, points.
const (
	fallLeft, fallRight  = 76.0, 580.0
	fallTop, fallBottom  = 330.0, 66.0
	fallMeanTop          = 408.0
	fallSideRight        = 664.0
	fallKeyLeft, fallKey = 676.0, 9.0
)

// Waterfall draws power density against frequency, to the right, and time,
// downwards, and writes it as "png", "svg" or "pdf": above it the mean and the
// highest of all rows, beside it the power of each row, in which pulses stand
// out that are too short to be seen in the field. A Fall with nothing in it is
// an error.
func Waterfall(w io.Writer, format string, f Fall, o Options) error {
	if len(f.Rows) == 0 || len(f.Rows[0]) < 2 || !(f.StepHz > 0) || !(f.RowSeconds > 0) {
		return errors.New("the waterfall holds nothing to draw")
	}
	for _, row := range f.Rows {
		if len(row) != len(f.Rows[0]) {
			return errors.New("the waterfall's rows are not of one length")
		}
	}
	if o.Title == "" {
		o.Title = "What came when"
	}
	said := fmt.Sprintf("Power density against time and frequency, %s from %.6g to %.6g MHz.", lasting(f.seconds()), f.StartHz/1e6, f.endHz()/1e6)
	for _, m := range f.Marks {
		said += " " + m.Text + "."
	}
	return paint(w, format, about{o.Title, said, f.Started}, func(p *pen) { drawFall(p, &f, o) })
}

func (f *Fall) seconds() float64 { return f.RowSeconds * float64(len(f.Rows)) }

func (f *Fall) endHz() float64 { return f.StartHz + f.StepHz*float64(len(f.Rows[0])) }

// fall draws one.
type fall struct {
	*pen
	*Fall
	scale         *scale
	lowDB, highDB float64
}

func drawFall(p *pen, f *Fall, o Options) {
	line := fmt.Sprintf("%.6g to %.6g MHz, %s", f.StartHz/1e6, f.endHz()/1e6, lasting(f.seconds()))
	if !f.Started.IsZero() {
		line += ", from " + f.Started.Format("2 January 2006, 15:04:05")
	}
	heading(p, o.Title, line, "How to read it: time runs down, and the darker a place, the stronger what was there. Above, the line is the mean over all of the time and "+
		"the shading reaches up to the highest row. On the right is the power of each row: short pulses stand out there.")
	k := &fall{pen: p, Fall: f, scale: newScale()}
	k.lowDB, k.highDB = fallRange(f.Rows)
	k.field()
	k.mean()
	k.side()
	k.key()
	k.axes()
	k.marks()
}

// fallRange chooses what the ends of the colours stand for: what one in twenty
// values is below, and what one in a thousand exceeds.
func fallRange(rows [][]float32) (low, high float64) {
	var all []float32
	stride := max(1, len(rows)*len(rows[0])/200000)
	n := 0
	for _, row := range rows {
		for _, v := range row {
			if n++; n%stride == 0 && v > 0 {
				all = append(all, v)
			}
		}
	}
	if len(all) == 0 {
		return -140, -60
	}
	slices.Sort(all)
	low = math.Floor(decibels(float64(all[len(all)/20])))
	high = math.Ceil(decibels(float64(all[len(all)-1-len(all)/1000])))
	const least, most = 15, 80
	high = math.Max(high, low+least)
	return math.Max(low, high-most), high
}

func (k *fall) x(hz float64) float64 {
	return fallLeft + (fallRight-fallLeft)*(hz-k.StartHz)/(k.endHz()-k.StartHz)
}

// share turns a density in dB to a place between the scale's ends.
func (k *fall) share(db float64) float64 {
	return math.Max(0, math.Min(1, (db-k.lowDB)/(k.highDB-k.lowDB)))
}

// tint is the scale's colour for a density.
func (k *fall) tint(db float64) lab {
	return k.scale.lab(toneLowDB + k.share(db)*(toneHighDB-toneLowDB))
}

// field draws the waterfall itself, a pixel for each device pixel.
func (k *fall) field() {
	const perPoint = pageDPI / 72.0
	wide, high := int(math.Round((fallRight-fallLeft)*perPoint)), int(math.Round((fallTop-fallBottom)*perPoint))
	img := image.NewRGBA(image.Rect(0, 0, wide, high))
	column := make([]float64, wide)
	for y := range high {
		first := y * len(k.Rows) / high
		last := max(first+1, (y+1)*len(k.Rows)/high)
		clear(column)
		for _, row := range k.Rows[first:last] {
			for x := range column {
				from := x * len(row) / wide
				to := max(from+1, (x+1)*len(row)/wide)
				var sum float64
				for _, v := range row[from:to] {
					sum += float64(v)
				}
				column[x] += sum / float64(to-from)
			}
		}
		for x, v := range column {
			img.SetRGBA(x, y, k.tint(decibels(v/float64(last-first))).rgb())
		}
	}
	k.c.DrawImage(vg.Rectangle{
		Min: vg.Point{X: fallLeft, Y: fallBottom}, Max: vg.Point{X: fallRight, Y: fallTop},
	}, img)
	k.outline(black, 0.8, nil, rectangle(box{fallLeft, fallBottom, fallRight, fallTop})...)
}

// mean draws the mean and the highest row above the field.
func (k *fall) mean() {
	const columns = 600
	n := len(k.Rows[0])
	means, tops := make([]float64, columns), make([]float64, columns)
	for _, row := range k.Rows {
		for c := range columns {
			from, to := c*n/columns, max(c*n/columns+1, (c+1)*n/columns)
			var sum float64
			for _, v := range row[from:to] {
				sum += float64(v)
			}
			sum /= float64(to - from)
			means[c] += sum / float64(len(k.Rows))
			tops[c] = math.Max(tops[c], sum)
		}
	}
	low, high := math.Inf(1), math.Inf(-1)
	for c := range columns {
		if means[c] > 0 {
			low, high = math.Min(low, decibels(means[c])), math.Max(high, decibels(tops[c]))
		}
	}
	if !(low < high) {
		return
	}
	low, high = 5*math.Floor((low-1)/5), 5*math.Ceil((high+1)/5)
	b := box{fallLeft, fallTop + 4, fallRight, fallMeanTop}
	y := func(db float64) float64 { return b.y0 + (b.y1-b.y0)*math.Max(0, math.Min(1, (db-low)/(high-low))) }
	line, area := make([]point, 0, columns), []point{{b.x0, b.y0}}
	for c := range columns {
		x := b.x0 + (b.x1-b.x0)*(float64(c)+0.5)/columns
		line = append(line, point{x, y(decibels(math.Max(means[c], 1e-30)))})
		area = append(area, point{x, y(decibels(math.Max(tops[c], 1e-30)))})
	}
	area = append(area, point{b.x1, b.y0})
	k.fill(k.scale.tone(-12), area...)
	k.line(black, 0.8, nil, line...)
	k.line(black, 0.6, nil, point{b.x0, b.y0}, point{b.x1, b.y0})
	small := letters{size: 7.5, ink: soft}
	step := 10.0
	for (high-low)/step > 5 {
		step *= 2
	}
	for db := math.Ceil(low/step) * step; db <= high; db += step {
		k.line(faint, 0.4, []float64{0.6, 2.4}, point{b.x0, y(db)}, point{b.x1, y(db)})
		if y(db) > b.y0+6 { // the field's first time stands there
			k.text(small, b.x0-5, y(db)-capital/2*small.size, 1, withMinus(fmt.Sprintf("%.0f", db)))
		}
	}
	k.upright(small, b.x0-34, (b.y0+b.y1)/2, 0.5, "dBFS/Hz")
}

// side draws the power of each row.
func (k *fall) side() {
	power := make([]float64, len(k.Rows))
	for i, row := range k.Rows {
		var sum float64
		for _, v := range row {
			sum += float64(v)
		}
		power[i] = decibels(math.Max(sum*k.StepHz, 1e-30))
	}
	low, high := slices.Min(power), slices.Max(power)
	low, high = math.Floor(low), math.Max(math.Ceil(high), math.Floor(low)+2)
	b := box{fallRight + 8, fallBottom, fallSideRight, fallTop}
	x := func(db float64) float64 { return b.x0 + (b.x1-b.x0)*(db-low)/(high-low) }
	for _, db := range []float64{low, high} {
		k.line(faint, 0.5, nil, point{x(db), b.y0}, point{x(db), b.y1})
	}
	var pts []point
	for i, db := range power {
		pts = append(pts, point{x(db), b.y1 - (b.y1-b.y0)*(float64(i)+0.5)/float64(len(power))})
	}
	if len(pts) == 1 {
		pts = append(pts, point{pts[0].x, b.y0})
	}
	k.line(black, 0.6, nil, pts...)
	small := letters{size: 7.5, ink: soft}
	k.text(small, b.x0, b.y0-11, 0, withMinus(fmt.Sprintf("%.0f", low)))
	k.text(small, b.x1, b.y0-11, 1, withMinus(fmt.Sprintf("%.0f", high)))
	k.text(small, (b.x0+b.x1)/2, b.y0-21, 0.5, "power, dBFS")
}

// key draws what the tones stand for.
func (k *fall) key() {
	const steps = 120
	b := box{fallKeyLeft, fallBottom, fallKeyLeft + fallKey, fallTop}
	img := image.NewRGBA(image.Rect(0, 0, 1, steps))
	for i := range steps {
		db := k.highDB + (k.lowDB-k.highDB)*(float64(i)+0.5)/steps
		img.SetRGBA(0, i, k.tint(db).rgb())
	}
	k.c.DrawImage(vg.Rectangle{Min: vg.Point{X: vg.Length(b.x0), Y: vg.Length(b.y0)}, Max: vg.Point{X: vg.Length(b.x1), Y: vg.Length(b.y1)}}, img)
	k.outline(black, 0.6, nil, rectangle(b)...)
	small := letters{size: 7.5, ink: soft}
	step := 10.0
	if k.highDB-k.lowDB < 25 {
		step = 5
	}
	for db := math.Ceil(k.lowDB/step) * step; db <= k.highDB; db += step {
		y := b.y0 + (b.y1-b.y0)*k.share(db)
		k.line(black, 0.5, nil, point{b.x1, y}, point{b.x1 + 2, y})
		k.text(small, b.x1+4, y-capital/2*small.size, 0, withMinus(fmt.Sprintf("%.0f", db)))
	}
	k.text(small, pageWidth-marginX, b.y0-21, 1, "dBFS/Hz")
}

// axes writes frequencies below and times beside the field, and the channels'
// edges on it.
func (k *fall) axes() {
	small := letters{size: 7.5, ink: soft}
	step := tickStep((k.endHz() - k.StartHz) / 8)
	for hz := math.Ceil(k.StartHz/step) * step; hz <= k.endHz(); hz += step {
		k.line(soft, 0.5, nil, point{k.x(hz), fallBottom}, point{k.x(hz), fallBottom - 3})
		k.text(small, k.x(hz), fallBottom-11, 0.5, fmt.Sprintf("%.7g", hz/1e6))
	}
	k.text(small, fallLeft-8, fallBottom-11, 1, "MHz")
	total := k.seconds()
	step = tickStep(total / 7)
	unit, per := "s", 1.0
	if total < 2 {
		unit, per = "ms", 1e3
	}
	for t := 0.0; t <= total*1.0001; t += step {
		y := fallTop - (fallTop-fallBottom)*t/total
		k.line(soft, 0.5, nil, point{fallLeft - 3, y}, point{fallLeft, y})
		k.text(small, fallLeft-5, y-capital/2*small.size, 1, fmt.Sprintf("%.4g", t*per))
	}
	k.upright(small, fallLeft-34, (fallTop+fallBottom)/2, 0.5, unit)
	name := letters{size: 9, bold: true, ink: black, halo: true}
	for _, c := range k.Channels {
		for _, hz := range []float64{c.LowerHz, c.UpperHz()} {
			if hz > k.StartHz && hz < k.endHz() {
				k.line(paper, 1.6, nil, point{k.x(hz), fallBottom}, point{k.x(hz), fallTop})
				k.line(black, 0.7, []float64{3, 2}, point{k.x(hz), fallBottom}, point{k.x(hz), fallMeanTop})
			}
		}
		low, high := math.Max(c.LowerHz, k.StartHz), math.Min(c.UpperHz(), k.endHz())
		if high-low > (k.endHz()-k.StartHz)/20 {
			k.text(name, k.x((low+high)/2), fallTop-12, 0.5, fmt.Sprint(c.Number))
		}
	}
}

// marks writes what stands out above the field, each beside the last.
func (k *fall) marks() {
	l := letters{size: 7.5, bold: true, ink: black, halo: true}
	shown := slices.Clone(k.Marks)
	shown = slices.DeleteFunc(shown, func(m Mark) bool { return !(m.Hz > k.StartHz && m.Hz < k.endHz()) })
	slices.SortStableFunc(shown, func(a, b Mark) int {
		if a.Hz < b.Hz {
			return -1
		}
		return 1
	})
	const rows = 3
	var until [rows]float64
	for _, m := range shown {
		x := k.x(m.Hz)
		text := k.fit(l, m.Text, 220)
		w := k.width(l, text)
		left := math.Max(fallLeft, math.Min(x-w/2, fallRight-w))
		for r := range rows {
			if left < until[r] {
				continue
			}
			until[r] = left + w + 8
			y := fallMeanTop + 4 + 9.5*float64(r)
			k.line(black, 0.6, nil, point{x, y - 1}, point{x, fallMeanTop - 3})
			k.text(l, left, y, 0, text)
			break
		}
		if m.WidthHz > 0 {
			x0, x1 := k.x(math.Max(m.Hz-m.WidthHz/2, k.StartHz)), k.x(math.Min(m.Hz+m.WidthHz/2, k.endHz()))
			k.line(black, 1.6, nil, point{x0, fallMeanTop - 3}, point{math.Max(x1, x0+1), fallMeanTop - 3})
		} else {
			k.fill(black, point{x, fallMeanTop - 6}, point{x - 2.4, fallMeanTop - 1}, point{x + 2.4, fallMeanTop - 1})
		}
	}
}

// tickStep is the least of 1, 2 and 5 times a power of ten that is no less.
func tickStep(least float64) float64 {
	decade := math.Pow(10, math.Floor(math.Log10(least)))
	for _, m := range []float64{1, 2, 5} {
		if m*decade >= least*0.9999 {
			return m * decade
		}
	}
	return 10 * decade
}

func lasting(seconds float64) string {
	if seconds < 2 {
		return fmt.Sprintf("%.3g ms", seconds*1e3)
	}
	return fmt.Sprintf("%.3g s", seconds)
}

// withMinus writes a number with a minus sign that is one.
func withMinus(s string) string { return strings.Replace(s, "-", "\u2212", 1) }
