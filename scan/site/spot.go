package site

import (
	"cmp"
	"math"
	"slices"
	"strings"
	"time"

	"rooftone/scan/measure"
	"rooftone/scan/verdict"
)

// Spot is one place, heading and height, with all that its visits measured.
type Spot struct {
	Place      string
	BearingDeg *float64    // of the first visit; nil when none was given
	HeightM    *float64    // the first that was told
	Visits     []time.Time // ascending

	Units Units // in which String tells the height
	North North // from which the bearing is counted

	Channels map[int]Combined // by RF channel; one that no visit measured is not in it
}

// Combined is one channel at one Spot, from all visits that measured it.
type Combined struct {
	// Margin is nil when the latest visit found no station, or one too weak to
	// say how weak.
	Margin *measure.Estimate

	Visits    int     // that measured the channel
	Heard     int     // of these, with a margin
	ScatterDB float64 // standard deviation of the margin between them; 0 for fewer than two

	Presence measure.Presence // of the latest visit, as the rest
	Standard measure.Standard
	Grade    verdict.Grade
	Limits   []verdict.Limit
	Latest   time.Time

	Turned bool // no visit measured it: it is what a turn heard at this heading
}

// String names the spot: "chimney, 135° SE, 7.2 m". Which north the heading is
// from is not in it: whoever shows headings says so once, see North.Sentence.
func (s *Spot) String() string { return s.named("") }

// Full is String with the north that the heading is from:
// "chimney, 135° SE by compass, 7.2 m".
func (s *Spot) Full() string { return s.named(s.North.Words()) }

func (s *Spot) named(north string) string {
	name := s.Place
	if s.BearingDeg != nil {
		name += ", " + Heading(*s.BearingDeg) + north
	}
	if s.HeightM != nil {
		name += ", " + s.Units.Length(*s.HeightM)
	}
	return name
}

// MarksOf returns the marks that Spots puts together into s, in order of time.
func MarksOf(s *Spot, marks []Mark, o Options) []*Mark {
	var out []*Mark
	for i := range marks {
		m := &marks[i]
		if slices.ContainsFunc(s.Visits, m.Time.Equal) && o.byHand(s.seat(), group{m}.seat()) {
			out = append(out, m)
		}
	}
	slices.SortStableFunc(out, byTime)
	return out
}

// Latest returns what the latest of some marks, in order of time, that
// measured a channel heard of it, and that mark; nil when none did.
func Latest(marks []*Mark, rfChannel int) (*Heard, *Mark) {
	for _, m := range slices.Backward(marks) {
		for i := range m.Heard {
			if m.Heard[i].RFChannel == rfChannel {
				return &m.Heard[i], m
			}
		}
	}
	return nil, nil
}

// Spots puts marks of one place, heading and height together, and returns them
// in the order of their names, bearings and heights. The order of the marks
// does not matter. Upper and lower case, and blanks, make no difference in a
// place's name.
//
// On one visit to the house what is told is taken at its word: marks whose
// headings or heights differ by more than a tolerance are of two spots, and one
// without a bearing or height is of another than one with it. From visit to visit
// a heading is found again by hand, and a height may not be told again: see
// Options.HandDeg. Where it is not clear which spot was meant, the visits stay
// apart: see Unclears.
//
// The margin of a channel is the mean over the visits that heard it, each
// weighted by the inverse of its variance σ² + RepeatDB². Its uncertainty is
// that of a weighted mean, or, where the visits scatter more than that
// explains, as much larger as their scatter is (R. T. Birge, Phys. Rev. 40,
// 1932, 207: by the root of χ² per degree of freedom). Whether the channel is
// there at all is the latest visit's to say.
func Spots(marks []Mark, o Options) []Spot {
	spots, _ := o.spots(marks)
	return spots
}

// Unclears tells which spots of the same marks may be visits to one another,
// without it being clear to which. In both lists the spots are those that Spots
// returned.
func Unclears(spots []Spot, marks []Mark, o Options) []Unclear {
	again, doubts := o.spots(marks)
	if len(again) != len(spots) {
		return nil // they are of other marks
	}
	var out []Unclear
	for _, d := range doubts {
		u := Unclear{Spot: &spots[d.index], NoHeading: d.noHeading}
		slices.Sort(d.among)
		for _, i := range d.among {
			u.Among = append(u.Among, &spots[i])
		}
		out = append(out, u)
	}
	return out
}

// spots puts marks together, and tells by index what was left apart in doubt.
func (o Options) spots(marks []Mark) ([]Spot, []doubt) {
	visits := make([]*Mark, 0, len(marks))
	for i := range marks {
		if !marks[i].Time.Before(o.Since) {
			visits = append(visits, &marks[i])
		}
	}
	slices.SortStableFunc(visits, byTime)
	groups, doubts := o.groups(visits)
	spots, order := make([]Spot, len(groups)), make([]int, len(groups))
	for i, g := range groups {
		order[i] = i
		spots[i] = o.spot(g)
	}
	slices.SortStableFunc(order, func(a, b int) int { return bySpot(spots[a], spots[b]) })
	sorted, place := make([]Spot, len(groups)), make([]int, len(groups))
	for to, from := range order {
		sorted[to], place[from] = spots[from], to
	}
	for i := range doubts {
		d := &doubts[i]
		d.index = place[d.index]
		for k := range d.among {
			d.among[k] = place[d.among[k]]
		}
	}
	return sorted, doubts
}

// byTime orders marks by time, and marks of one moment in a way that does not
// depend on where they came from.
func byTime(a, b *Mark) int {
	return cmp.Or(a.Time.Compare(b.Time), cmp.Compare(a.Place, b.Place),
		byPointer(a.BearingDeg, b.BearingDeg), byPointer(a.HeightM, b.HeightM))
}

func bySpot(a, b Spot) int {
	return cmp.Or(cmp.Compare(placeKey(a.Place), placeKey(b.Place)),
		byPointer(a.BearingDeg, b.BearingDeg), byPointer(a.HeightM, b.HeightM))
}

func byPointer(a, b *float64) int {
	if a == nil || b == nil {
		return cmp.Compare(b2i(a != nil), b2i(b != nil))
	}
	return cmp.Compare(*a, *b)
}

func b2i(b bool) int {
	if b {
		return 1
	}
	return 0
}

// placeKey is what two spellings of one place have in common.
func placeKey(place string) string { return strings.ToLower(strings.Join(strings.Fields(place), " ")) }

// sameSpot reports whether two marks of one place and one visit are of one spot.
func (o Options) sameSpot(a, b *Mark) bool {
	near := func(a, b *float64, difference func(a, b float64) float64, tolerance float64) bool {
		if a == nil || b == nil {
			return a == b
		}
		return difference(*a, *b) <= tolerance
	}
	apart := func(a, b float64) float64 { return math.Abs(a - b) }
	return near(a.BearingDeg, b.BearingDeg, bearingApart, o.BearingToleranceDeg) &&
		near(a.HeightM, b.HeightM, apart, o.HeightToleranceM+1e-9)
}

// bearingApart is the angle between two bearings, 0 to 180.
func bearingApart(a, b float64) float64 { return math.Abs(math.Remainder(a-b, 360)) }

// spot combines visits, which are in order of time.
func (o Options) spot(visits group) Spot {
	at := visits.seat()
	s := Spot{
		Place: strings.Join(strings.Fields(visits[0].Place), " "), BearingDeg: at.bearing, HeightM: at.height,
		Units: o.Units, North: o.North, Channels: map[int]Combined{},
	}
	heard := map[int][]*Heard{}
	for _, m := range visits {
		s.Visits = append(s.Visits, m.Time)
		for i := range m.Heard {
			h := &m.Heard[i]
			heard[h.RFChannel] = append(heard[h.RFChannel], h)
			c := s.Channels[h.RFChannel]
			c.Visits++
			c.Latest = m.Time
			s.Channels[h.RFChannel] = c
		}
	}
	for rf, list := range heard {
		c := s.Channels[rf]
		latest := list[len(list)-1]
		c.Presence, c.Standard, c.Grade, c.Limits = latest.Presence, latest.Standard, latest.Grade, latest.Limits
		var margins []measure.Estimate
		for _, h := range list {
			if h.Margin != nil {
				margins = append(margins, *h.Margin)
			}
		}
		c.Heard = len(margins)
		if latest.Margin != nil {
			var mean measure.Estimate
			mean, c.ScatterDB = o.mean(margins)
			c.Margin = &mean
		}
		s.Channels[rf] = c
	}
	return s
}

// mean returns the weighted mean of visits and their standard deviation.
func (o Options) mean(visits []measure.Estimate) (mean measure.Estimate, scatter float64) {
	var weights, sum, plain float64
	weight := make([]float64, len(visits))
	for i, v := range visits {
		// Even the best measurement of an antenna in the open is not exact;
		// this also keeps the weights finite.
		const leastDB = 0.01
		weight[i] = 1 / (v.Sigma*v.Sigma + o.RepeatDB*o.RepeatDB + leastDB*leastDB)
		weights += weight[i]
		sum += weight[i] * v.Value
		plain += v.Value / float64(len(visits))
	}
	mean = measure.Estimate{Value: sum / weights, Sigma: 1 / math.Sqrt(weights)}
	if n := float64(len(visits)); n > 1 {
		var chi2 float64
		for i, v := range visits {
			chi2 += weight[i] * (v.Value - mean.Value) * (v.Value - mean.Value)
			scatter += (v.Value - plain) * (v.Value - plain) / (n - 1)
		}
		mean.Sigma *= math.Max(1, math.Sqrt(chi2/(n-1)))
	}
	return mean, math.Sqrt(scatter)
}
