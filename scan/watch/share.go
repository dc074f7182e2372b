package watch

import (
	"math"
	"time"
)

// How sure a share of the time is.
//
// Fades come in bunches, so the readings are not so many independent looks. Three
// things are asked, and the widest answer counts:
//
//   - batches: the time is cut into pieces of 1, 3, 6, 12 and 24 hours; the
//     scatter of the pieces' shares says how far their mean may be off, whatever
//     the bunches are, as long as they are shorter than a piece;
//   - crossings: of a process that is below a level for times of mean f and above
//     it for times of mean g, the share p over a time T has the variance
//     p(1−p)·2fg/((f+g)T): what a two-state Markov process has;
//   - events: of k separate bunches of hours with something below the level, k
//     itself is known as a Poisson count is (Garwood 1936).
//
// Where nothing was below the level in n hours, fewer than 3.7 in n hours have
// something below it: the upper bound of a Poisson count of none at 97.5 %.

// batches are the hours of one channel.
type batches struct {
	hours []Tally
	total Tally
}

func newBatches(hours []Tally) *batches {
	b := &batches{hours: hours}
	for i := range hours {
		b.total.add(&hours[i])
	}
	return b
}

// normal95 is the two-sided 95 % point of the normal distribution.
const normal95 = 1.96

// fewestPieces is from how many pieces a scatter is read.
const fewestPieces = 6

// share is the share of the time below a margin.
func (b *batches) share(db float64) Span {
	p := b.total.Below(db)
	if math.IsNaN(p) {
		return Span{p, p, p}
	}
	n := b.total.Seconds() / 3600
	if p == 0 || p == 1 {
		edge := math.Min(1, 3.69/math.Max(n, 1))
		if p == 0 {
			return Span{0, 0, edge}
		}
		return Span{1, 1 - edge, 1}
	}
	variance := b.crossings(p, db)
	for _, size := range []int{1, 3, 6, 12, 24} {
		if v, ok := b.pieces(db, size); ok {
			variance = math.Max(variance, v)
		}
	}
	// On the scale of log odds, where bounds cannot leave 0 to 1.
	odds, sigma := math.Log(p/(1-p)), math.Sqrt(variance)/(p*(1-p))
	s := Span{p, logistic(odds - normal95*sigma), logistic(odds + normal95*sigma)}
	if k := b.bunches(db); k < 10 {
		low, high := garwood(k)
		s.Low = math.Min(s.Low, p*low/float64(k))
		s.High = math.Max(s.High, math.Min(1, p*high/float64(k)))
	}
	return s
}

func logistic(x float64) float64 { return 1 / (1 + math.Exp(-x)) }

// crossings is the variance of a share after the crossings' times.
func (b *batches) crossings(p, db float64) float64 {
	falls := float64(max(1, b.total.Falls(int(math.Round(db)))))
	t := b.total.Seconds()
	f, g := p*t/falls, (1-p)*t/falls
	return p * (1 - p) * 2 * f * g / ((f + g) * t)
}

// pieces is the variance of the mean share after the scatter of pieces of so
// many hours.
func (b *batches) pieces(db float64, size int) (float64, bool) {
	var below, seconds []float64
	at := time.Time{}
	for i := range b.hours {
		h := &b.hours[i]
		slot := h.Start.Truncate(time.Duration(size) * time.Hour)
		if len(below) == 0 || !slot.Equal(at) {
			below, seconds, at = append(below, 0), append(seconds, 0), slot
		}
		k := len(below) - 1
		below[k] += h.Below(db) * h.Seconds()
		seconds[k] += h.Seconds()
	}
	n := len(below)
	if n < fewestPieces {
		return 0, false
	}
	var all, sum float64
	for i := range below {
		all += seconds[i]
		sum += below[i]
	}
	p := sum / all
	// The variance of a ratio.
	var rest float64
	for i := range below {
		d := below[i] - p*seconds[i]
		rest += d * d
	}
	return rest / (all * all) * float64(n) / float64(n-1), true
}

// bunches counts the runs of hours with something below a margin.
func (b *batches) bunches(db float64) int {
	n, in := 0, false
	var end time.Time
	for i := range b.hours {
		h := &b.hours[i]
		if h.Below(db) > 0 {
			if !in || h.Start.Sub(end) > time.Hour {
				n++
			}
			in, end = true, h.Start.Add(seconds(h.Seconds()))
		} else if h.Seconds() > 600 {
			in = false
		}
	}
	// Many short stays below a level within few hours are many looks at it.
	return max(n, 1, b.apart(db))
}

// apart is how many falls through a level there were, as far as they are no
// bunch: stays below it that take up the most of the hours they are in are one.
func (b *batches) apart(db float64) int {
	level := int(math.Round(db))
	n := 0
	for i := range b.hours {
		h := &b.hours[i]
		// A margin that lies on the level falls through it all the time.
		if p := h.Below(db); p > 0 && p < 0.5 {
			mean := p * h.Seconds() / float64(max(1, h.Falls(level)))
			n += min(h.Falls(level), int(h.Seconds()*(1-p)/math.Max(20*mean, 1)))
		}
	}
	return n
}

// garwood is the exact 95 % interval of a Poisson mean of which k were counted.
func garwood(k int) (low, high float64) {
	tail := func(mean float64) float64 { // P(X <= k)
		term, sum := math.Exp(-mean), 0.0
		for i := range k + 1 {
			sum += term
			term *= mean / float64(i+1)
		}
		return sum
	}
	atLeast := func(mean float64) float64 { // P(X >= k)
		term, sum := math.Exp(-mean), 0.0
		for i := range k {
			sum += term
			term *= mean / float64(i+1)
		}
		return 1 - sum
	}
	solve := func(low, high float64, over func(float64) bool) float64 {
		for range 60 {
			middle := (low + high) / 2
			if over(middle) {
				high = middle
			} else {
				low = middle
			}
		}
		return (low + high) / 2
	}
	most := float64(k) + 10*math.Sqrt(float64(k)) + 20
	high = solve(float64(k), most, func(m float64) bool { return tail(m) < 0.025 })
	if k > 0 {
		low = solve(0, float64(k), func(m float64) bool { return atLeast(m) > 0.025 })
	}
	return low, high
}

// need is the fade margin that covers a share of the time.
func (b *batches) need(share, medianDB float64) Need {
	n := Need{Share: share, DepthDB: Span{math.NaN(), math.NaN(), math.NaN()}, ShortDB: Span{math.NaN(), math.NaN(), math.NaN()}}
	if math.IsNaN(medianDB) || math.IsInf(medianDB, 0) {
		return n
	}
	rest := 1 - share
	at := Span{Value: b.total.Quantile(rest), Low: math.NaN(), High: math.NaN()}
	// The level below which at most the rest is, and at least.
	for level := medianDB; level > lowestDB; level -= binDB {
		s := b.share(level)
		if s.Low < rest && math.IsNaN(at.High) {
			at.High = level
		}
		if s.High <= rest {
			at.Low = level
			break
		}
		if s.Value == 0 {
			break // nothing is below: lower levels tell no more
		}
	}
	if !math.IsNaN(at.Low) {
		at.Low = math.Min(at.Low, at.Value)
	}
	if !math.IsNaN(at.High) {
		at.High = math.Max(at.High, at.Value)
	}
	n.DepthDB = Span{medianDB - at.Value, medianDB - at.High, medianDB - at.Low}
	n.ShortDB = Span{-at.Value, -at.High, -at.Low}
	if math.IsNaN(at.Low) {
		n.WatchFor = time.Duration(math.Ceil(3.69/rest)) * time.Hour
		if watched := seconds(b.total.Seconds()); n.WatchFor < 2*watched {
			n.WatchFor = 2 * watched
		}
	}
	return n
}
