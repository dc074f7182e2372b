package decide

import (
	"math"
	"slices"
	"strings"

	"rooftone/scan/measure"
	"rooftone/scan/site"
	"rooftone/scan/verdict"
)

const (
	// pointingDeg is how well a bearing of a turn is known, as a standard
	// deviation; see site.Turn.SigmaDeg.
	pointingDeg = 2.0

	// slowDB is what fading that is as slow as the turn itself adds at any
	// heading: common practice, no source. See site.FitPeak.
	slowDB = 0.15

	turnKernelDeg = 6.0  // of the smooth curve of a turn
	widestGapDeg  = 32.0 // between marked headings that tell of those between them
	leastHeadings = 5
)

// turned is a place at which many headings are known: from a turn, or from
// enough marks.
type turned struct {
	place   string
	heightM *float64
	turn    *site.TurnRecord // the newest; nil where it is from marks
	curves  map[int]*curve   // by RF channel, of those that were followed
	covered [360]bool        // headings that something was heard or looked for at
}

// is reports whether a spot is at the place.
func (p *turned) is(s *site.Spot, o site.Options) bool {
	t := site.TurnRecord{Place: p.place, HeightM: p.heightM}
	return t.At(s.Place, s.HeightM, o)
}

// at finds the place of a spot among those that a turn was made at.
func (f *field) at(s *site.Spot) *turned {
	for _, p := range f.places {
		if p.turn != nil && p.is(s, f.o) {
			return p
		}
	}
	return nil
}

// turnedPlaces lists the places at which many headings are known.
func (f *field) turnedPlaces(spots []site.Spot, turns []site.TurnRecord) []*turned {
	var out []*turned
	newest := slices.Clone(turns)
	slices.SortStableFunc(newest, func(a, b site.TurnRecord) int { return b.Time.Compare(a.Time) })
	for i := range newest {
		t := &newest[i]
		if t.Time.Before(f.o.Since) {
			continue
		}
		k := slices.IndexFunc(out, func(p *turned) bool { return t.At(p.place, p.heightM, f.o) })
		if k < 0 {
			k = len(out)
			out = append(out, &turned{place: t.Place, heightM: t.HeightM, turn: t, curves: map[int]*curve{}})
		}
		out[k].add(f, t)
	}
	for i := range spots {
		s := &spots[i]
		if s.BearingDeg == nil || slices.ContainsFunc(out, func(p *turned) bool { return p.is(s, f.o) }) {
			continue
		}
		if p := f.marked(s, spots); p != nil {
			out = append(out, p)
		}
	}
	slices.SortFunc(out, func(a, b *turned) int {
		x, y := site.Spot{Place: a.place, HeightM: a.heightM}, site.Spot{Place: b.place, HeightM: b.heightM}
		return x.Compare(&y)
	})
	return out
}

// add takes the curves of one turn. Those of a newer one stay.
func (p *turned) add(f *field, t *site.TurnRecord) {
	var covered [360]bool
	for _, c := range t.Curves {
		reach := int(math.Max(4, 0.75*usualGap(c.Points)))
		for _, q := range c.Points {
			for d := -reach; d <= reach; d++ {
				covered[(int(math.Round(q.BearingDeg))+d+720)%360] = true
			}
		}
	}
	for g := range covered {
		p.covered[g] = p.covered[g] || covered[g]
	}
	for _, c := range t.Curves {
		if p.curves[c.RFChannel] == nil && f.isWanted(c.RFChannel) {
			gap := usualGap(c.Points)
			p.curves[c.RFChannel] = newCurve(c.Points, covered, math.Max(turnKernelDeg, 0.6*gap), math.Max(2*site.CurveStepDeg, gap))
		}
	}
}

// usualGap is how far apart the points of a curve mostly are, in degrees: three
// in four are no farther. The widest gaps are where the antenna was not, or
// where nothing was heard.
func usualGap(points []site.Aimed) float64 {
	var gaps []float64
	for i := 1; i < len(points); i++ {
		gaps = append(gaps, points[i].BearingDeg-points[i-1].BearingDeg)
	}
	if len(gaps) == 0 {
		return 0
	}
	slices.Sort(gaps)
	return math.Min(widestGapDeg, gaps[3*len(gaps)/4])
}

func (f *field) isWanted(rfChannel int) bool {
	return slices.ContainsFunc(f.wanted, func(w site.Want) bool { return w.RFChannel == rfChannel })
}

// marked makes curves of the headings that were marked at a spot's place; nil
// where they are too few or too far apart.
func (f *field) marked(first *site.Spot, spots []site.Spot) *turned {
	p := &turned{place: first.Place, heightM: first.HeightM, curves: map[int]*curve{}}
	var here []*site.Spot
	var bearings []float64
	for i := range spots {
		if s := &spots[i]; s.BearingDeg != nil && p.is(s, f.o) {
			here, bearings = append(here, s), append(bearings, math.Mod(*s.BearingDeg, 360))
		}
	}
	slices.Sort(bearings)
	if len(bearings) < leastHeadings {
		return nil
	}
	widest, runs := 0.0, 0
	for i, b := range bearings {
		gap := math.Mod(bearings[(i+1)%len(bearings)]-b+360, 360)
		if gap > widestGapDeg {
			continue
		}
		runs++
		widest = math.Max(widest, gap)
		for g := 0.0; g <= gap; g++ {
			p.covered[int(math.Round(b+g))%360] = true
		}
	}
	if runs < leastHeadings-1 {
		return nil
	}
	for _, w := range f.wanted {
		var points []site.Aimed
		all := true
		for _, s := range here {
			c, ok := s.Channels[w.RFChannel]
			all = all && ok
			if ok && c.Margin != nil {
				points = append(points, site.Aimed{BearingDeg: *s.BearingDeg, LevelDB: c.Margin.Value, SigmaDB: c.Margin.Sigma})
			}
		}
		if all { // a channel that was not measured at some tells nothing of the best for all
			p.curves[w.RFChannel] = newCurve(points, p.covered, math.Max(turnKernelDeg, 0.75*widest), math.Max(2*site.CurveStepDeg, 0.6*widest))
		}
	}
	if len(p.curves) == 0 {
		return nil
	}
	return p
}

// supply fills in what no visit measured at a heading and the turn heard.
func (p *turned) supply(f *field, s site.Spot) site.Spot {
	channels := make(map[int]site.Combined, len(s.Channels))
	for rf, c := range s.Channels {
		channels[rf] = c
	}
	g := degree(*s.BearingDeg)
	for rf, c := range p.curves {
		if _, ok := channels[rf]; ok || !p.covered[g] {
			continue
		}
		if known, ok := p.combined(f, c, g); ok {
			channels[rf] = known
		}
	}
	s.Channels = channels
	return s
}

// combined is a channel at a heading as a visit would have left it.
func (p *turned) combined(f *field, c *curve, g int) (site.Combined, bool) {
	out := site.Combined{Visits: 1, Presence: measure.Vacant, Latest: p.turn.Time, Turned: true}
	switch c.known[g] {
	case unknown:
		return out, false
	case heard:
		out.Margin = &measure.Estimate{Value: c.level[g], Sigma: math.Hypot(c.sigma[g], f.o.RepeatDB)}
		out.Heard, out.Presence, out.Grade = 1, measure.Present, verdict.GradeOf(c.level[g])
	}
	return out, true
}

// spot is a heading of a turn as if it had been visited.
func (p *turned) spot(f *field, deg float64) site.Spot {
	deg = math.Mod(math.Round(deg)+360, 360)
	s := site.Spot{Place: strings.Join(strings.Fields(p.place), " "), BearingDeg: &deg, HeightM: p.heightM,
		Units: f.o.Units, North: f.o.North, Channels: map[int]site.Combined{}}
	s.Visits = append(s.Visits, p.turn.Time)
	return p.supply(f, s)
}

// peak is the heading at which a channel is strongest.
func (p *turned) peak(rfChannel int) (int, bool) {
	c := p.curves[rfChannel]
	if c == nil {
		return 0, false
	}
	best := -1
	for g := range c.level {
		if c.known[g] == heard && (best < 0 || c.level[g] > c.level[best]) {
			best = g
		}
	}
	return best, best >= 0
}

func degree(deg float64) int { return (int(math.Round(deg))%360 + 360) % 360 }

// apart is the angle between two bearings, 0 to 180.
func apart(a, b float64) float64 { return math.Abs(math.Remainder(a-b, 360)) }
