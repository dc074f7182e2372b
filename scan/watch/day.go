package watch

import (
	"math"
	"math/rand/v2"
	"time"
)

// Day is how the margin goes with the hour of the day, in the log's own zone.
type Day struct {
	Days   int         // that it rests on
	Offset [24]float64 // of the hour's median from the day's, dB; NaN: not watched
	Low    [24]float64 // a tenth of the readings is further below the day's median
	Best   int         // hour, by a mean of three
	Worst  int
	Swing  float64 // dB from the worst to the best hour, by means of three
	// Chance is how probable as much of a swing would be without any pattern.
	Chance float64
}

// Certain reports whether there is a pattern.
func (d *Day) Certain() bool { return d != nil && d.Chance < 0.01 && d.Swing >= 0.5 }

const (
	fewestDays      = 3
	fewestHoursADay = 16
	shuffles        = 999
)

// level is an hour's median without the steps before it.
type level struct {
	at    time.Time
	db    float64
	lowDB float64 // the hour's lowest tenth
	secs  float64
}

// levelOut takes the steps out of the hours' medians.
func levelOut(hours []Tally, steps []Step) []level {
	var out []level
	for i := range hours {
		h := &hours[i]
		if h.Seconds() < 300 || h.day() {
			continue
		}
		l := level{h.Start, math.Max(h.Quantile(0.5), lowestDB), math.Max(h.Quantile(0.1), lowestDB), h.Seconds()}
		for _, s := range steps {
			if !h.Start.Before(s.Time) {
				l.db -= s.ChangeDB
				l.lowDB -= s.ChangeDB
			}
		}
		out = append(out, l)
	}
	return out
}

// findDay looks for a pattern over the hours of the day.
func findDay(levels []level) *Day {
	days := byDay(levels)
	if len(days) < fewestDays {
		return nil
	}
	d := &Day{Days: len(days)}
	var low [24][]float64
	for _, day := range days {
		for h, l := range day.low {
			if !math.IsNaN(l) {
				low[h] = append(low[h], l)
			}
		}
	}
	profile := func(turn func(int) int) [24]float64 {
		var at [24][]float64
		for i, day := range days {
			by := turn(i)
			for h, v := range day.offset {
				if !math.IsNaN(v) {
					k := (h + by) % 24
					at[k] = append(at[k], v)
				}
			}
		}
		var out [24]float64
		for h := range out {
			out[h] = median(at[h])
		}
		return out
	}
	d.Offset = profile(func(int) int { return 0 })
	for h := range d.Low {
		d.Low[h] = median(low[h])
	}
	d.Best, d.Worst, d.Swing = swing(d.Offset)
	// Without a pattern every day may begin at any hour.
	rng := rand.New(rand.NewPCG(1, 24))
	as := 1
	for range shuffles {
		turns := make([]int, len(days))
		for i := range turns {
			turns[i] = rng.IntN(24)
		}
		if _, _, s := swing(profile(func(i int) int { return turns[i] })); s >= d.Swing {
			as++
		}
	}
	d.Chance = float64(as) / float64(shuffles+1)
	return d
}

// dayOf is one day's hours, less its median.
type dayOf struct {
	date        time.Time
	median      float64
	offset, low [24]float64
}

// byDay sorts the hours into days and leaves out those that were watched too
// little.
func byDay(levels []level) []dayOf {
	var out []dayOf
	for i := 0; i < len(levels); {
		y, m, d := levels[i].at.Date()
		day := dayOf{date: time.Date(y, m, d, 12, 0, 0, 0, levels[i].at.Location())}
		for h := range 24 {
			day.offset[h], day.low[h] = math.NaN(), math.NaN()
		}
		var values []float64
		for ; i < len(levels); i++ {
			yy, mm, dd := levels[i].at.Date()
			if yy != y || mm != m || dd != d {
				break
			}
			// An hour's first reading may come a moment before its stroke, and a
			// run's in its middle.
			h := levels[i].at.Add(seconds(levels[i].secs / 2)).Hour()
			day.offset[h], day.low[h] = levels[i].db, levels[i].lowDB
		}
		for _, v := range day.offset {
			if !math.IsNaN(v) {
				values = append(values, v)
			}
		}
		if len(values) < fewestHoursADay {
			continue
		}
		day.median = median(values)
		for h := range 24 {
			day.offset[h] -= day.median
			day.low[h] -= day.median
		}
		out = append(out, day)
	}
	return out
}

// swing finds the best and the worst hour by means of three.
func swing(offset [24]float64) (best, worst int, db float64) {
	high, low := math.Inf(-1), math.Inf(1)
	for h := range offset {
		var sum, n float64
		for k := -1; k <= 1; k++ {
			if v := offset[(h+k+24)%24]; !math.IsNaN(v) {
				sum += v
				n++
			}
		}
		if n == 0 {
			continue
		}
		if m := sum / n; m > high {
			high, best = m, h
		}
		if m := sum / n; m < low {
			low, worst = m, h
		}
	}
	return best, worst, high - low
}
