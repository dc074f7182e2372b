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
	stepSigmas = 5.5
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
		if hours[i].Seconds() >= 1800 && !hours[i].day() {
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

// candidate is a place in a series where it changes.
type candidate struct {
	i     int
	wide  int // points of the windows that showed it
	score float64
}

// stepsIn looks for steps in a series. A step is where the medians of wide windows
// before and after differ by more than such windows differ anyway, and where most
// of that happens within a few points. Windows four times as wide show smaller
// steps of a channel that fades, where there is the time for them.
func stepsIn(rf int, p []point, spacing time.Duration, wide int) []Step {
	p = withoutDay(p)
	sums := make([]float64, len(p)+1)
	for i, v := range p {
		sums[i+1] = sums[i] + v.db
	}
	found := candidates(p, sums, min(wide, len(p)/4))
	if 4*4*wide <= len(p) {
		found = append(found, candidates(p, sums, 4*wide)...)
	}
	slices.SortStableFunc(found, func(a, b candidate) int {
		switch {
		case a.score > b.score:
			return -1
		case a.score < b.score:
			return 1
		}
		return 0
	})
	var taken []int
	for _, c := range found {
		if len(taken) < mostSteps && !slices.ContainsFunc(taken, func(i int) bool { return c.i-i < c.wide && i-c.i < c.wide }) {
			taken = append(taken, c.i)
		}
	}
	slices.Sort(taken)
	var out []Step
	for k, i := range taken {
		// By how much is told by wide windows that no other step is in.
		from, to := max(0, i-4*wide), min(len(p), i+4*wide)
		if k > 0 {
			from = max(from, taken[k-1])
		}
		if k+1 < len(taken) {
			to = min(to, taken[k+1])
		}
		out = append(out, Step{RFChannel: rf, Time: p[i].at, Within: spacing, ChangeDB: windowMedian(p[i:to]) - windowMedian(p[from:i])})
	}
	return out
}

// candidates are the places that one width of window shows.
func candidates(p []point, sums []float64, wide int) []candidate {
	const fewest = 8
	if wide < fewest {
		return nil
	}
	// Means are quick, and tell where it is worth to look.
	mean := func(from, to int) float64 { return (sums[to] - sums[from]) / float64(to-from) }
	n, narrow := len(p), 5
	least := math.Max(leastStepDB, stepSigmas*restless(p, wide))
	var found []candidate
	edge := max(narrow, wide/2)
	for i := edge; i <= n-edge; i++ {
		before, after := max(0, i-wide), min(n, i+wide)
		at := math.Abs(mean(i-narrow, i) - mean(i, i+narrow))
		if at < stepSharp*least || math.Abs(mean(before, i)-mean(i, after)) < 0.6*least {
			continue
		}
		change := windowMedian(p[i:after]) - windowMedian(p[before:i])
		sharp := windowMedian(p[i:i+narrow]) - windowMedian(p[i-narrow:i])
		if math.Abs(change) < least || sharp*change < 0 || math.Abs(sharp) < stepSharp*math.Abs(change) {
			continue
		}
		// What comes back after a few hours did not stay.
		if longer := windowMedian(p[i:min(n, i+2*wide)]) - windowMedian(p[max(0, i-2*wide):i]); longer*change < 0 || math.Abs(longer) < stepSharp*math.Abs(change) {
			continue
		}
		// Of neighbours the one at which both few and many points part the most.
		about := min(60, wide)
		score := at * math.Abs(mean(max(0, i-about), i)-mean(i, min(n, i+about)))
		found = append(found, candidate{i, wide, score})
	}
	return found
}

// withoutDay takes out what repeats from day to day: the median over the days of
// each half hour's distance from its day's median, with straight lines between the
// half hours. What happens on one day only stays.
func withoutDay(p []point) []point {
	const slots = 48
	var days [][]point
	for i := 0; i < len(p); {
		first := dayNumber(p[i].at)
		k := i
		for k < len(p) && dayNumber(p[k].at) == first {
			k++
		}
		days = append(days, p[i:k])
		i = k
	}
	if len(days) < fewestDays {
		return p
	}
	var in [slots][]float64
	for _, day := range days {
		usual := windowMedian(day)
		var here [slots][]float64
		for _, v := range day {
			k := int(secondOfDay(v.at) / 86400 * slots)
			here[k] = append(here[k], v.db-usual)
		}
		for k, list := range here {
			if len(list) > 0 {
				in[k] = append(in[k], median(list))
			}
		}
	}
	var profile [slots]float64
	for k := range profile {
		if len(in[k]) >= fewestDays {
			profile[k] = median(in[k])
		}
	}
	out := make([]point, len(p))
	for i, v := range p {
		x := secondOfDay(v.at)/86400*slots - 0.5
		k := int(math.Floor(x))
		a, b := profile[(k+slots)%slots], profile[(k+1)%slots]
		out[i] = point{v.at, v.db - a - (b-a)*(x-float64(k))}
	}
	return out
}

func dayNumber(t time.Time) int { return t.Year()*1000 + t.YearDay() }

func secondOfDay(t time.Time) float64 {
	h, m, s := t.Clock()
	return float64(h*3600 + m*60 + s)
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
// ones anyway, as a standard deviation, by the median of such differences: a step
// or two hardly move that. Where the series has few such windows, quarters of
// them are compared, as far apart as the windows' middles.
func restless(p []point, wide int) float64 {
	const (
		toSigma = 1.4826 // from the median of what is normally distributed
		calmer  = 1.5    // whole windows scatter less than their quarters do
		enough  = 12
	)
	if whole := differences(p, wide, 1); len(whole) >= enough {
		return toSigma * median(whole)
	}
	if quarters := differences(p, max(1, wide/4), 4); len(quarters) > 0 {
		return toSigma * median(quarters) / calmer
	}
	return 0
}

// differences are those of the medians of blocks of so many points, each and the
// one that is so many blocks later.
func differences(p []point, block, later int) []float64 {
	var medians, out []float64
	for i := 0; i+block <= len(p); i += block {
		medians = append(medians, windowMedian(p[i:i+block]))
	}
	for i := 0; i+later < len(medians); i++ {
		out = append(out, math.Abs(medians[i+later]-medians[i]))
	}
	return out
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
