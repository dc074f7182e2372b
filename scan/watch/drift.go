package watch

import (
	"math"
	"slices"
)

// Drift is a slow change over days.
type Drift struct {
	Days      int
	DBPerWeek Span
	clear     bool // chance makes as much in less than three of a thousand cases
}

// Certain reports whether there is any, and enough to matter.
func (d *Drift) Certain() bool {
	return d != nil && d.clear && math.Abs(d.DBPerWeek.Value)*float64(d.Days)/7 >= 0.5
}

const fewestDriftDays = 6

// findDrift fits a slope to the days' medians: the median of the slopes between
// all pairs of days, with the interval that Kendall's rank statistic gives
// (Sen 1968). It makes no assumption on how days scatter but that one tells
// nothing of the next.
func findDrift(levels []level) *Drift {
	days := byDay(levels)
	n := len(days)
	if n < fewestDriftDays {
		return nil
	}
	var slopes []float64
	for i := range days {
		for k := i + 1; k < n; k++ {
			weeks := days[k].date.Sub(days[i].date).Hours() / (7 * 24)
			if weeks > 0 {
				slopes = append(slopes, (days[k].median-days[i].median)/weeks)
			}
		}
	}
	slices.Sort(slopes)
	d := &Drift{Days: int(math.Round(days[n-1].date.Sub(days[0].date).Hours()/24)) + 1}
	d.DBPerWeek = Span{middle(slopes), math.Inf(-1), math.Inf(1)}
	bounds := func(sigmas float64) (low, high int) {
		m, spread := float64(len(slopes)), sigmas*math.Sqrt(float64(n*(n-1)*(2*n+5))/18)
		return int(math.Floor((m - spread) / 2)), int(math.Ceil((m + spread) / 2))
	}
	if low, high := bounds(normal95); low >= 0 && high < len(slopes) {
		d.DBPerWeek.Low, d.DBPerWeek.High = slopes[low], slopes[high]
	}
	if low, high := bounds(3); low >= 0 && high < len(slopes) {
		d.clear = slopes[low]*slopes[high] > 0
	}
	return d
}
