package watch

import (
	"math"
	"slices"
	"time"

	"rooftone/scan/measure"
)

const (
	// binDB is the step of the margin's histogram. Whole dB are among its
	// edges.
	binDB = 0.25

	// The margins that are told apart; what lies beyond counts as the end.
	lowestDB, highestDB = -40.0, 60.0

	// A fade begins where the margin falls this far below what is usual there,
	// and ends where it comes back to less than that.
	fadeBeginsDB, fadeEndsDB = 3.0, 2.0

	// usualMinutes is over how many minutes the usual margin is their median:
	// a change that stays is usual after half of them.
	usualMinutes = 60

	// movedDB is how far the usual margin must have come towards a fade for the
	// fade to be no fade but a change that stayed.
	movedDB = 1.5
)

// Reading is one channel at one moment.
type Reading struct {
	RFChannel int
	MarginDB  *float64 // dB above the decode threshold; nil: nothing stood out, or what did is no 8-VSB
	// AtMostDB is what the margin is very probably below where nothing stood out;
	// nil where that is not known.
	AtMostDB *float64
	// Standard is that of a signal that is no 8-VSB, so that it has no margin and
	// is no picture; "" of all else.
	Standard measure.Standard
	Overload bool // samples on the converter's rails
	Impulse  bool // noise in short pulses
	Lost     bool // samples were missing
}

// Tick is what was read at one moment.
type Tick struct {
	Time     time.Time     // by the wall's clock
	Since    time.Duration // since the watch began, by a clock that nobody sets
	Readings []Reading
}

// Tally sums up one channel over a span, an hour as a rule.
type Tally struct {
	RFChannel int
	Start     time.Time
	EverySec  float64 // that a reading stands for
	Readings  int
	Absent    int // of them, those where nothing stood out; they are below all levels

	margins counts // by binDB, without the absent
	falls   counts // through each whole dB

	Overload, Impulse, Lost int // readings

	ATSC3, Other int      // readings of the absent with a signal of ATSC 3.0, or of something else that is no 8-VSB
	AtMostDB     *float64 // below this the margin was whenever nothing stood out, as far as that was told

	Fades       int     // that ended, without those that stayed
	FadeSeconds float64 // of all of them
	DeepestDB   float64
	lengths     counts // of fades, by the logarithm to base 2 of their seconds
	told        int    // fades that have a line of their own
}

// Seconds is how much time the readings stand for.
func (t *Tally) Seconds() float64 { return float64(t.Readings) * t.EverySec }

// day reports whether it sums up more than an hour.
func (t *Tally) day() bool { return t.Seconds() > 2*3600 }

// Below is the share of the readings below a margin, which is rounded to a
// whole step of the histogram.
func (t *Tally) Below(db float64) float64 {
	if t.Readings == 0 {
		return math.NaN()
	}
	return float64(t.Absent+t.margins.below(int(math.Round(db/binDB)))) / float64(t.Readings)
}

// Falls is how often the margin fell through a whole dB.
func (t *Tally) Falls(db int) int { return t.falls.at(db) }

// Quantile is the margin below which a share of the readings is; −Inf where
// that is among those where nothing stood out, NaN without readings.
func (t *Tally) Quantile(share float64) float64 {
	if t.Readings == 0 {
		return math.NaN()
	}
	want := share * float64(t.Readings)
	got := float64(t.Absent)
	if got > want || len(t.margins.n) == 0 {
		return math.Inf(-1)
	}
	for i, n := range t.margins.n {
		if n > 0 && got+float64(n) >= want {
			return (float64(t.margins.first+i) + (want-got)/float64(n)) * binDB
		}
		got += float64(n)
	}
	return float64(t.margins.first+len(t.margins.n)) * binDB
}

// add takes another span in. Of unlike rates the readings are weighed by the
// first.
func (t *Tally) add(o *Tally) {
	if t.Readings == 0 {
		t.EverySec = o.EverySec
	}
	t.Readings += o.Readings
	t.Absent += o.Absent
	t.margins.merge(o.margins)
	t.falls.merge(o.falls)
	t.lengths.merge(o.lengths)
	t.Overload += o.Overload
	t.Impulse += o.Impulse
	t.Lost += o.Lost
	t.ATSC3 += o.ATSC3
	t.Other += o.Other
	t.atMost(o.AtMostDB)
	t.Fades += o.Fades
	t.FadeSeconds += o.FadeSeconds
	t.DeepestDB = math.Max(t.DeepestDB, o.DeepestDB)
	t.told += o.told
}

// atMost takes in what a margin was below.
func (t *Tally) atMost(db *float64) {
	if db != nil && (t.AtMostDB == nil || *db > *t.AtMostDB) {
		v := *db
		t.AtMostDB = &v
	}
}

// Fade is one time that a channel fell well below what is usual there.
type Fade struct {
	RFChannel int
	Time      time.Time // of its beginning
	Seconds   float64
	UsualDB   float64 // the margin that was usual when it began
	LeastDB   float64 // the least margin in it
	Below     float64 // seconds of it below the decode threshold
	Stayed    bool    // it did not come back, but became what is usual: a change
	Overload  bool    // samples on the rails in it
	Impulse   bool    // noise in short pulses in it
}

// DepthDB is how far the margin fell.
func (f *Fade) DepthDB() float64 { return f.UsualDB - f.LeastDB }

// Minute sums up one channel over a minute.
type Minute struct {
	Time      time.Time
	MedianDB  float64 // −Inf when nothing stood out in most of it
	LowDB     float64 // the least
	HighDB    float64
	Readings  int
	RFChannel int
}

// course follows one channel.
type course struct {
	rf     int
	every  float64 // seconds
	hour   Tally
	minute struct {
		start  time.Time
		values []float64
	}
	usual []float64 // the last minutes' medians
	level float64   // their median; NaN before there is one

	last   float64       // margin before; NaN when it does not count
	lastAt time.Duration // when that was
	fade   *Fade
	fadeAt time.Duration
}

func newCourse(rf int) *course {
	return &course{rf: rf, level: math.NaN(), last: math.NaN()}
}

// add takes a reading; it returns a fade that ended with it.
func (c *course) add(r Reading, at time.Time, since time.Duration) (ended *Fade) {
	m := lowestDB
	if r.MarginDB != nil && !math.IsNaN(*r.MarginDB) {
		m = math.Max(lowestDB, math.Min(highestDB-binDB, *r.MarginDB))
	}
	h := &c.hour
	if h.Readings == 0 {
		h.Start, h.RFChannel, h.EverySec = at, c.rf, c.every
	}
	h.Readings++
	if r.MarginDB == nil {
		h.Absent++
	} else {
		h.margins.add(int(math.Floor(m/binDB)), 1)
	}
	h.Overload += one(r.Overload)
	h.Impulse += one(r.Impulse)
	h.Lost += one(r.Lost)
	h.ATSC3 += one(r.Standard == measure.ATSC3)
	h.Other += one(r.Standard == measure.OtherStandard)
	h.atMost(r.AtMostDB)
	if c.gap(since) {
		c.last, c.fade = math.NaN(), nil
	}
	if !math.IsNaN(c.last) {
		for level := math.Floor(m) + 1; level <= c.last; level++ {
			h.falls.add(int(level), 1)
		}
	}
	ended = c.follow(r, m, at, since)
	c.last, c.lastAt = m, since
	if len(c.minute.values) == 0 {
		c.minute.start = at
	}
	v := m
	if r.MarginDB == nil {
		v = math.Inf(-1)
	}
	c.minute.values = append(c.minute.values, v)
	return ended
}

// gap reports whether too much time has gone by since the last reading for the
// two to be neighbours.
func (c *course) gap(since time.Duration) bool {
	d := (since - c.lastAt).Seconds()
	return d < 0 || d > math.Max(2.5*c.every, c.every+3)
}

// follow looks for fades.
func (c *course) follow(r Reading, m float64, at time.Time, since time.Duration) (ended *Fade) {
	f := c.fade
	if f == nil {
		if math.IsNaN(c.level) || m >= c.level-fadeBeginsDB {
			return nil
		}
		f = &Fade{RFChannel: c.rf, Time: at, UsualDB: c.level, LeastDB: m}
		c.fade, c.fadeAt = f, since
	} else if m >= math.Min(f.UsualDB, c.level)-fadeEndsDB {
		c.fade = nil
		f.Seconds = (since - c.fadeAt).Seconds()
		f.Stayed = c.level <= f.UsualDB-movedDB
		if !f.Stayed {
			h := &c.hour
			h.Fades++
			h.FadeSeconds += f.Seconds
			h.DeepestDB = math.Max(h.DeepestDB, f.DepthDB())
			h.lengths.add(int(math.Floor(math.Log2(math.Max(f.Seconds, 0.25)))), 1)
		}
		return f
	}
	f.LeastDB = math.Min(f.LeastDB, m)
	if m < 0 {
		f.Below += c.every
	}
	f.Overload = f.Overload || r.Overload
	f.Impulse = f.Impulse || r.Impulse
	return nil
}

// endMinute sums the minute up, if there was anything in it.
func (c *course) endMinute() (Minute, bool) {
	v := c.minute.values
	if len(v) == 0 {
		return Minute{}, false
	}
	slices.Sort(v)
	m := Minute{Time: c.minute.start, MedianDB: middle(v), LowDB: v[0], HighDB: v[len(v)-1], Readings: len(v), RFChannel: c.rf}
	c.minute.values = v[:0]
	c.settle(m.MedianDB)
	return m, true
}

// settle lets a minute count for what is usual.
func (c *course) settle(medianDB float64) {
	if len(c.usual) == usualMinutes {
		copy(c.usual, c.usual[1:])
		c.usual = c.usual[:usualMinutes-1]
	}
	c.usual = append(c.usual, math.Max(medianDB, lowestDB))
	c.level = median(c.usual)
}

// endHour returns the hour's tally and begins another.
func (c *course) endHour() (Tally, bool) {
	h := c.hour
	c.hour = Tally{}
	return h, h.Readings > 0
}

func one(b bool) int {
	if b {
		return 1
	}
	return 0
}

// middle is the median of sorted values.
func middle(sorted []float64) float64 {
	n := len(sorted)
	if n == 0 {
		return math.NaN()
	}
	a, b := sorted[(n-1)/2], sorted[n/2]
	if a == b {
		return a // infinities too
	}
	return (a + b) / 2
}

// median leaves x as it is.
func median(x []float64) float64 {
	s := slices.Clone(x)
	slices.Sort(s)
	return middle(s)
}
