package live

import (
	"fmt"
	"math"
	"strings"
	"time"
)

const (
	leastSpanDB = 6 // that the trace's height stands for at least
	labelWidth  = 16
	mostColumns = 150
)

// trace draws the last half minute, a column for each part of it: as high as
// what is followed, from the lowest value shown.
func (f *frame) trace(c Channel, rows int) {
	columns := max(10, min(f.Width-labelWidth-2, mostColumns))
	values := resample(c.Trace, columns)
	low, high := math.Inf(1), math.Inf(-1)
	for _, v := range values {
		if !math.IsNaN(v) {
			low, high = math.Min(low, v), math.Max(high, v)
		}
	}
	if math.IsInf(low, 1) {
		for range rows {
			f.add("")
		}
		return
	}
	grow := math.Max(0, leastSpanDB-(high-low)) / 2
	// Whole decibels, so that the scale stands still while the number moves.
	low, high = math.Floor(low-grow), math.Ceil(high+grow)
	perRow := (high - low) / float64(rows)
	for r := rows - 1; r >= 0; r-- {
		bottom := low + float64(r)*perRow
		var b strings.Builder
		b.WriteString("  ")
		for _, v := range values {
			share := (v - bottom) / perRow
			if r == 0 { // the lowest value is still a value
				share = max(share, 0.25)
			}
			b.WriteString(f.block(share))
		}
		b.WriteString("  " + f.mark(c, r, rows, low, high, perRow))
		f.add("%s", b.String())
	}
}

// mark is what stands beside a row of the trace.
func (f *frame) mark(c Channel, r, rows int, low, high, perRow float64) string {
	bottom := low + float64(r)*perRow
	holds := func(v float64) bool { return v >= bottom && v < bottom+perRow }
	best := c.Now.BestDB
	switch {
	case c.Now.HasMargin() && holds(0):
		return "decode point"
	case best != nil && holds(*best):
		return "best"
	case r == rows-1:
		return whole(high)
	case r == 0:
		return whole(low) + " dB, 30 s"
	}
	return ""
}

// whole writes whole decibels, with a sign unless they are none.
func whole(db float64) string {
	if db = math.Round(db); db == 0 {
		return "0"
	}
	return fmt.Sprintf("%+.0f", db)
}

// block is a cell filled from its bottom to a share of its height.
func (f *frame) block(share float64) string {
	if math.IsNaN(share) {
		return " "
	}
	if !f.UTF8 {
		switch {
		case share >= 0.75:
			return "#"
		case share >= 0.25:
			return ":"
		}
		return " "
	}
	eighths := []string{" ", "▁", "▂", "▃", "▄", "▅", "▆", "▇", "█"}
	return eighths[max(0, min(8, int(math.Round(share*8))))]
}

// held is for how long a reading stands where the next is late: with several
// channels the meter comes by less often than there are columns.
const held = time.Second

// resample returns the means of the readings in equal parts of the last Span,
// NaN where there is none.
func resample(points []Point, columns int) []float64 {
	sum, n, none := make([]float64, columns), make([]float64, columns), make([]bool, columns)
	if len(points) > 0 {
		end := points[len(points)-1].Time
		for _, p := range points {
			// Columns stand on the clock and not on the newest reading, or
			// every one would flicker with every reading.
			part := Span.Nanoseconds() / int64(columns)
			back := end.UnixNano()/part - p.Time.UnixNano()/part
			if back < 0 || back >= int64(columns) {
				continue
			}
			if math.IsNaN(p.FigureDB) {
				none[columns-1-int(back)] = true
				continue
			}
			sum[columns-1-int(back)] += p.FigureDB
			n[columns-1-int(back)]++
		}
	}
	gap := int(held.Seconds() / Span.Seconds() * float64(columns))
	last := -1 // with a reading and, since then, without one that found nothing
	for i := range sum {
		if n[i] == 0 {
			sum[i] = math.NaN()
			if none[i] {
				last = -1
			}
			continue
		}
		sum[i] /= n[i]
		if last >= 0 && i-last-1 <= gap {
			for k := last + 1; k < i; k++ {
				sum[k] = sum[last]
			}
		}
		last = i
	}
	return sum
}
