package watch

import (
	"math"
	"slices"
	"time"
)

// Step is a sudden change that stayed.
type Step struct {
	RFChannel int
	Time      time.Time
	// Within is how exact Time is: it happened between that much before and that
	// much after.
	Within   time.Duration
	ChangeDB float64 // negative: down
	With     []int   // other channels that changed with it, the same way
}

const (
	leastStepDB = 1.0
	// stepSigmas is by how much a change must stand out of how the channel
	// changes anyway.
	stepSigmas = 5.0
	// stepSharp is the share of a change that must happen at once.
	stepSharp = 0.6
	// mostSteps bounds how many are told of a channel.
	mostSteps = 100
	// stepsTogether is how far apart changes of several channels are at the most
	// to be one, in seconds.
	stepsTogether = 150
)

// point is a margin at a time.
type point struct {
	at time.Time
	db float64
}

// findSteps looks for sudden changes that stayed: minute by minute as far back as
// there are minutes, hour by hour before that.
func findSteps(rf int, hours []Tally, minutes []Minute) []Step {
	var out []Step
	var fine []point
	for _, m := range minutes {
		fine = append(fine, point{m.Time, math.Max(m.MedianDB, lowestDB)})
	}
	var coarse []point
	for i := range hours {
		if len(fine) > 0 && !hours[i].Start.Before(fine[0].at) {
			break
		}
		if hours[i].Seconds() >= 1800 {
			coarse = append(coarse, point{hours[i].Start, math.Max(hours[i].Quantile(0.5), lowestDB)})
		}
	}
	out = append(out, stepsIn(rf, coarse, time.Hour, 24)...)
	if len(fine) > 1 {
		spacing := time.Minute
		if s := typical(fine); s > 90*time.Second {
			spacing = s
		}
		out = append(out, stepsIn(rf, fine, spacing, 180)...)
	}
	slices.SortFunc(out, func(a, b Step) int { return a.Time.Compare(b.Time) })
	return out
}

// typical is the median time from point to point.
func typical(p []point) time.Duration {
	var d []float64
	for i := range p[1:] {
		d = append(d, p[i+1].at.Sub(p[i].at).Seconds())
	}
	return seconds(median(d))
}

// stepsIn looks for steps in a series. A step is where the medians of wide windows
// before and after differ by more than such windows differ anyway, and where most
// of that happens within a few points.
func stepsIn(rf int, p []point, spacing time.Duration, wide int) []Step {
	n := len(p)
	wide = min(wide, n/4)
	narrow := min(5, wide)
	if wide < 8 {
		return nil
	}
	sigma := restless(p, wide)
	least := math.Max(leastStepDB, stepSigmas*sigma)
	// Means are quick, and tell where it is worth to look.
	sums := make([]float64, n+1)
	for i, v := range p {
		sums[i+1] = sums[i] + v.db
	}
	mean := func(from, to int) float64 { return (sums[to] - sums[from]) / float64(to-from) }
	type candidate struct {
		i      int
		change float64
	}
	var found []candidate
	edge := max(narrow, wide/2)
	for i := edge; i <= n-edge; i++ {
		before, after := max(0, i-wide), min(n, i+wide)
		if math.Abs(mean(i-narrow, i)-mean(i, i+narrow)) < stepSharp*least {
			continue
		}
		change := windowMedian(p[i:after]) - windowMedian(p[before:i])
		sharp := windowMedian(p[i:i+narrow]) - windowMedian(p[i-narrow:i])
		if math.Abs(change) < least || sharp*change < 0 || math.Abs(sharp) < stepSharp*math.Abs(change) {
			continue
		}
		found = append(found, candidate{i, change})
	}
	// Of neighbours the one at which the two sides part the most.
	parted := func(c candidate) float64 { return math.Abs(mean(c.i-narrow, c.i) - mean(c.i, c.i+narrow)) }
	slices.SortStableFunc(found, func(a, b candidate) int {
		return int(math.Copysign(1, parted(b)-parted(a)))
	})
	var out []Step
	var taken []int
	for _, c := range found {
		if slices.ContainsFunc(taken, func(i int) bool { return c.i-i < wide && i-c.i < wide }) || len(out) == mostSteps {
			continue
		}
		taken = append(taken, c.i)
		out = append(out, Step{RFChannel: rf, Time: p[c.i].at, Within: spacing, ChangeDB: c.change})
	}
	return out
}

func windowMedian(p []point) float64 {
	v := make([]float64, len(p))
	for i := range p {
		v[i] = p[i].db
	}
	slices.Sort(v)
	return middle(v)
}

// restless is how much the median of so many points differs from that of the next
// ones anyway, as a standard deviation: of blocks of a quarter of them, those as
// far apart as the windows' middles, by the median of their differences.
func restless(p []point, wide int) float64 {
	block := max(1, wide/4)
	var medians []float64
	for i := 0; i+block <= len(p); i += block {
		medians = append(medians, windowMedian(p[i:i+block]))
	}
	var d []float64
	for i := 0; i+4 < len(medians); i++ {
		d = append(d, math.Abs(medians[i+4]-medians[i]))
	}
	const toSigma = 1.4826
	// Whole windows scatter less than their quarters do.
	const calmer = 1.5
	s := toSigma * median(d) / calmer
	if math.IsNaN(s) {
		return 0
	}
	return s
}

// joinSteps puts the steps of all channels in order and says which belong
// together.
func joinSteps(channels []ChannelReport) []Step {
	var all []Step
	for _, c := range channels {
		all = append(all, c.Steps...)
	}
	slices.SortStableFunc(all, func(a, b Step) int { return a.Time.Compare(b.Time) })
	for i := range all {
		for k := range all {
			a, b := &all[i], &all[k]
			apart := math.Abs(a.Time.Sub(b.Time).Seconds())
			if a.RFChannel != b.RFChannel && a.ChangeDB*b.ChangeDB > 0 && apart <= math.Max(stepsTogether, 1.5*max(a.Within, b.Within).Seconds()) &&
				!slices.Contains(a.With, b.RFChannel) {
				a.With = append(a.With, b.RFChannel)
			}
		}
	}
	for c := range channels {
		for s := range channels[c].Steps {
			own := &channels[c].Steps[s]
			for i := range all {
				if all[i].RFChannel == own.RFChannel && all[i].Time.Equal(own.Time) {
					own.With = all[i].With
				}
			}
		}
	}
	return all
}
