package watch

import (
	"math"
	"slices"
	"time"
)

// Report is what can be concluded from a log.
type Report struct {
	From, To time.Time
	EverySec float64 // of the last session
	Source   string  // of the last session

	Channels []ChannelReport
	Gaps     []Gap
	Clocks   []ClockSet
	Disk     []DiskTrouble
	Starts   int           // sessions
	Away     time.Duration // of all gaps

	Joint   Joint
	Steps   []Step // of all channels, in order of time
	Damaged int
	Torn    bool

	Findings []Finding
}

// Span is a value between two bounds that hold the true one with a probability
// of 95 %. A bound that cannot be told is NaN.
type Span struct{ Value, Low, High float64 }

// ChannelReport is what can be concluded of one channel.
type ChannelReport struct {
	RFChannel int
	Readings  int
	Watched   time.Duration // that the readings stand for

	// Since is when what follows begins: at the last step, if a day or more has
	// been watched since then, else at the log's beginning.
	Since time.Time
	// Basis sums up all readings since then.
	Basis Tally

	NowDB    float64 // the median of the last hour or so
	MedianDB float64
	Absent   float64 // share of the readings in which nothing stood out

	// Available is the share of the time in which the margin was 0 dB and more.
	Available Span
	Needs     []Need
	Depths    []Depth

	Fades     FadeReport
	Day       *Day   // nil: too few days to tell
	Drift     *Drift // nil: too few days to tell
	Steps     []Step
	Overload  float64 // share of the readings
	Impulse   float64
	Lost      float64
	ATSC3     float64  // share of the readings with a signal of ATSC 3.0
	Other     float64  // share of those with another signal that is no 8-VSB
	AtMostDB  *float64 // below this the margin was whenever nothing stood out; nil where that was not told
	Hours     []Tally  // in order of time
	Minutes   []Minute
	Troubles  Coincidence // fades with impulse noise in them
	Overloads Coincidence // fades with overload in them
}

// Need is the fade margin that a share of the time would have needed.
type Need struct {
	Share float64 // of the time that is to be covered, such as 0.99
	// DepthDB is how far below its median the margin is in the rest of the
	// time. A bound that is NaN cannot be told yet; a Value of +Inf means that
	// nothing stood out for so long.
	DepthDB Span
	// ShortDB is what the margin lacks to cover it; negative: what it has to spare.
	ShortDB Span
	// WatchFor is about how long the watch has to be for an upper bound; 0 when
	// there is one.
	WatchFor time.Duration
}

// Depth is how often and for how long the margin was below a level.
type Depth struct {
	LevelDB int     // margin
	Share   float64 // of the time
	Falls   int     // through the level
	PerHour float64
	MeanSec float64 // NaN without falls
}

// FadeReport sums up fades.
type FadeReport struct {
	Count     int
	PerDay    float64
	MeanSec   float64
	MedianSec float64 // of those that have a line of their own, as the next three
	LongSec   float64
	MedianDB  float64
	DeepDB    float64
	BelowZero int // that went below the decode threshold
	Joint     int // that began together with another channel's
	Told      int // that have a line of their own
}

// Coincidence is how many fades have something in them, and in how many it would
// be by chance.
type Coincidence struct {
	Seen     int
	Expected float64
	Certain  bool // chance does not explain it
}

// shares of the time for which the fade margin is told.
func shares() []float64 { return []float64{0.9, 0.99, 0.999} }

// sinceStepLeast is how long must have been watched since a step for the time
// before it to be left out.
const sinceStepLeast = 24 * time.Hour

// Conclude makes a report of a log. The hours of the day are those of the place
// where it was written.
func Conclude(l *Log) *Report {
	r := &Report{Gaps: l.Gaps, Clocks: l.Clocks, Disk: l.Disk, Starts: len(l.Sessions), Damaged: l.Damaged, Torn: l.Torn}
	if n := len(l.Sessions); n > 0 {
		r.EverySec, r.Source = l.Sessions[n-1].EverySec, l.Sessions[n-1].Source
	}
	for _, g := range l.Gaps {
		r.Away += seconds(g.Seconds)
	}
	byChannel := map[int][]Tally{}
	for _, h := range l.Hours {
		byChannel[h.RFChannel] = append(byChannel[h.RFChannel], h)
		end := h.Start.Add(seconds(h.Seconds()))
		if r.From.IsZero() || h.Start.Before(r.From) {
			r.From = h.Start
		}
		if end.After(r.To) {
			r.To = end
		}
	}
	var numbers []int
	for rf := range byChannel {
		numbers = append(numbers, rf)
	}
	slices.Sort(numbers)
	joint := newJoints(l, r.EverySec, numbers)
	r.Joint = joint.Joint
	for _, rf := range numbers {
		c := concludeChannel(rf, byChannel[rf], l.Minutes[rf], l.Fades)
		c.Fades.Joint = joint.of[rf]
		r.Channels = append(r.Channels, c)
	}
	r.Steps = joinSteps(r.Channels)
	r.Findings = findings(r)
	return r
}

func seconds(s float64) time.Duration { return time.Duration(s * 1e9) }

func concludeChannel(rf int, hours []Tally, minutes []Minute, fades []Fade) ChannelReport {
	c := ChannelReport{RFChannel: rf, Hours: hours, Minutes: minutes}
	var all Tally
	for i := range hours {
		all.add(&hours[i])
		c.Watched += seconds(hours[i].Seconds())
	}
	c.Readings = all.Readings
	c.Absent = share(all.Absent, all.Readings)
	c.Overload, c.Impulse, c.Lost = share(all.Overload, all.Readings), share(all.Impulse, all.Readings), share(all.Lost, all.Readings)
	c.ATSC3, c.Other, c.AtMostDB = share(all.ATSC3, all.Readings), share(all.Other, all.Readings), all.AtMostDB
	c.Steps = findSteps(rf, hours, minutes)
	levelled := levelOut(hours, c.Steps)
	c.Day = findDay(levelled)
	c.Drift = findDrift(levelled)

	basis := sinceStep(hours, c.Steps)
	c.Since = basis[0].Start
	c.Basis = Tally{RFChannel: rf, Start: c.Since}
	for i := range basis {
		c.Basis.add(&basis[i])
	}
	c.MedianDB = c.Basis.Quantile(0.5)
	c.NowDB = lately(basis)
	b := newBatches(basis)
	below := b.share(0)
	c.Available = Span{1 - below.Value, 1 - below.High, 1 - below.Low}
	for _, s := range shares() {
		c.Needs = append(c.Needs, b.need(s, c.MedianDB))
	}
	c.Depths = depths(&c.Basis)
	c.Fades = fadeReport(rf, &all, fades)
	c.Troubles = coincide(rf, fades, c.Impulse, all.EverySec, func(f *Fade) bool { return f.Impulse })
	c.Overloads = coincide(rf, fades, c.Overload, all.EverySec, func(f *Fade) bool { return f.Overload })
	return c
}

func share(n, of int) float64 {
	if of == 0 {
		return 0
	}
	return float64(n) / float64(of)
}

// sinceStep is the hours after the last step, if they are enough.
func sinceStep(hours []Tally, steps []Step) []Tally {
	if len(steps) == 0 {
		return hours
	}
	last := steps[len(steps)-1].Time
	i := slices.IndexFunc(hours, func(h Tally) bool { return !h.Start.Before(last) })
	if i < 0 {
		return hours
	}
	var watched time.Duration
	for k := range hours[i:] {
		watched += seconds(hours[i+k].Seconds())
	}
	if watched < sinceStepLeast {
		return hours
	}
	return hours[i:]
}

// lately is the median of the last half hour or more of readings.
func lately(hours []Tally) float64 {
	var t Tally
	for i := len(hours) - 1; i >= 0 && t.Seconds() < 1800; i-- {
		t.add(&hours[i])
	}
	return t.Quantile(0.5)
}

// depths tells of the levels 3, 6, 10, … below the median, and of the decode
// threshold.
func depths(t *Tally) []Depth {
	median := t.Quantile(0.5)
	if math.IsInf(median, 0) || math.IsNaN(median) {
		return nil
	}
	levels := []int{0}
	for _, d := range []float64{3, 6, 10, 15, 20, 30} {
		if l := int(math.Round(median - d)); l > int(lowestDB) && !slices.Contains(levels, l) {
			levels = append(levels, l)
		}
	}
	slices.Sort(levels)
	slices.Reverse(levels)
	var out []Depth
	for _, l := range levels {
		d := Depth{LevelDB: l, Share: t.Below(float64(l)), Falls: t.Falls(l), MeanSec: math.NaN()}
		if hours := t.Seconds() / 3600; hours > 0 {
			d.PerHour = float64(d.Falls) / hours
		}
		if d.Falls > 0 {
			d.MeanSec = d.Share * t.Seconds() / float64(d.Falls)
		}
		out = append(out, d)
	}
	return out
}

func fadeReport(rf int, all *Tally, fades []Fade) FadeReport {
	f := FadeReport{Count: all.Fades, DeepDB: all.DeepestDB}
	if days := all.Seconds() / 86400; days > 0 {
		f.PerDay = float64(f.Count) / days
	}
	if f.Count > 0 {
		f.MeanSec = all.FadeSeconds / float64(f.Count)
	}
	var lengths, deep []float64
	for i := range fades {
		if fades[i].RFChannel != rf || fades[i].Stayed {
			continue
		}
		lengths, deep = append(lengths, fades[i].Seconds), append(deep, fades[i].DepthDB())
		f.LongSec = math.Max(f.LongSec, fades[i].Seconds)
		f.BelowZero += one(fades[i].LeastDB < 0)
	}
	f.Told = len(deep)
	f.MedianSec, f.MedianDB = median(lengths), median(deep)
	return f
}

// coincide counts the fades with something in them, and how many would have it
// by chance when it is in a share of all readings.
func coincide(rf int, fades []Fade, rate, every float64, has func(*Fade) bool) Coincidence {
	var c Coincidence
	if every <= 0 {
		return c
	}
	for i := range fades {
		f := &fades[i]
		if f.RFChannel != rf || f.Stayed {
			continue
		}
		c.Seen += one(has(f))
		c.Expected += 1 - math.Pow(1-rate, f.Seconds/every+1)
	}
	c.Certain = unlikely(c.Seen, c.Expected) && float64(c.Seen) > 2*c.Expected
	return c
}

// unlikely reports whether chance, which makes so many on average, makes as many
// as were seen or more in less than one of a thousand cases. Two are never
// enough.
func unlikely(seen int, expected float64) bool {
	if seen < 3 {
		return false
	}
	if expected > 50 {
		return float64(seen) > expected+3.1*math.Sqrt(expected)
	}
	term, sum := math.Exp(-expected), 0.0
	for k := range seen {
		sum += term
		term *= expected / float64(k+1)
	}
	return 1-sum < 1e-3
}

// ByHour sums a channel's readings up by the hour of the day.
func (c *ChannelReport) ByHour() [24]Tally {
	var out [24]Tally
	for i := range c.Hours {
		h := &c.Hours[i]
		if h.day() {
			continue
		}
		out[h.Start.Add(seconds(h.Seconds()/2)).Hour()].add(h)
	}
	return out
}
