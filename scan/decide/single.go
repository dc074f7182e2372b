package decide

import (
	"math"
	"math/rand/v2"
	"slices"

	"rooftone/scan/measure"
	"rooftone/scan/site"
)

// Single is the best one heading for all wanted channels at a place.
type Single struct {
	Place   string
	HeightM *float64
	Turn    *site.TurnRecord // that it is from, the newest; nil: from marks

	Heading measure.Estimate // degrees clockwise, by the same north as what it is from
	// FromDeg and ToDeg are how far it may be off, clockwise: within them no
	// more is lost than by holdLossDB on every channel. 0 and 360 where any
	// heading will do.
	FromDeg, ToDeg float64
	HoldLossDB     float64

	Value float64 // of the heading, in channels
	Costs []Cost  // of the wanted channels that were followed there
	// Unknown are wanted channels that were not followed there: the heading
	// does not count them.
	Unknown []int
}

// Cost is what the best single heading costs a channel against its own peak.
type Cost struct {
	RFChannel int
	Here      Chance            // at the heading
	Peak      *measure.Estimate // dB, at its own best heading; nil: heard at none
	PeakDeg   float64
	CostDB    float64 // NaN where it is not heard at the heading
}

const (
	plateauDB = 0.25 // headings this close to the best are as good: the middle is taken
	holdDB    = 1.0
	looks     = 60 // at the curves as they could have been, for the interval
)

// single finds the best single heading; nil where nothing was heard.
func (p *turned) single(f *field) *Single {
	h := &Single{Place: p.place, HeightM: p.heightM, Turn: p.turn, HoldLossDB: holdDB}
	var channels []int // of f.wanted
	any := false
	for i, w := range f.wanted {
		switch c := p.curves[w.RFChannel]; {
		case slices.Contains(f.otherStandard, w.RFChannel):
		case c == nil:
			h.Unknown = append(h.Unknown, w.RFChannel)
		default:
			channels = append(channels, i)
			any = any || len(c.points) > 0
		}
	}
	if !any {
		return nil
	}
	s := newSearch(f, p, channels)
	loss, top := s.losses()
	from, to := reach(loss, top, plateauDB)
	best := math.Mod(float64(top)+float64(to-from)/2+360, 360)
	g := degree(best)
	if math.IsNaN(loss[g]) || loss[g] > plateauDB {
		best, g = float64(top), top
	}
	h.Heading = measure.Estimate{Value: best, Sigma: math.Hypot(s.interval(best), pointingDeg)}
	from, to = reach(loss, g, holdDB)
	h.FromDeg, h.ToDeg = math.Mod(float64(g-from)+360, 360), math.Mod(float64(g+to), 360)
	if from+to >= 359 {
		h.FromDeg, h.ToDeg = 0, 360
	}
	h.Value = s.value(g)
	for _, i := range channels {
		h.Costs = append(h.Costs, p.cost(f, f.wanted[i].RFChannel, g))
	}
	return h
}

// reach is how far one can go from a heading to either side, in whole degrees,
// without losing more.
func reach(loss [360]float64, g int, most float64) (back, on int) {
	walk := func(sign int) int {
		for d := 1; d < 360; d++ {
			if v := loss[(g+sign*d+720)%360]; !(v <= most) {
				return d - 1
			}
		}
		return 359
	}
	return walk(-1), walk(1)
}

func (p *turned) cost(f *field, rfChannel, g int) Cost {
	c := p.curves[rfChannel]
	out := Cost{RFChannel: rfChannel, CostDB: math.NaN()}
	out.Here = Chance{RFChannel: rfChannel, Measured: c.known[g] != unknown}
	at := func(g int) *measure.Estimate {
		return &measure.Estimate{Value: c.level[g], Sigma: math.Hypot(c.sigma[g], f.o.RepeatDB)}
	}
	if c.known[g] == heard {
		out.Here.Margin = at(g)
		b := f.believe(out.Here.Margin.Value, out.Here.Margin.Sigma)
		out.Here.Decodes, out.Here.Holds = b.decodes, b.holds
	}
	if top, ok := p.peak(rfChannel); ok {
		out.Peak, out.PeakDeg = at(top), float64(top)
		if out.Here.Margin != nil {
			out.CostDB = out.Peak.Value - out.Here.Margin.Value
		}
	}
	return out
}

// search looks for the heading of the greatest value.
type search struct {
	f      *field
	curves []*curve
	weight []float64
	tables []table
	known  [360]bool
}

func newSearch(f *field, p *turned, channels []int) *search {
	s := &search{f: f, known: p.covered}
	for _, i := range channels {
		c := p.curves[f.wanted[i].RFChannel]
		var sigmas []float64
		for g, k := range c.known {
			if k == heard {
				sigmas = append(sigmas, c.sigma[g])
			}
		}
		typical := 0.0
		if len(sigmas) > 0 {
			slices.Sort(sigmas)
			typical = sigmas[len(sigmas)/2]
		}
		s.curves, s.weight = append(s.curves, c), append(s.weight, float64(f.wanted[i].Importance))
		s.tables = append(s.tables, f.world.table(math.Hypot(typical, f.o.RepeatDB)))
	}
	return s
}

// value is a heading's, from the curves as they are.
func (s *search) value(g int) float64 { return s.lowered(g, 0) }

// lowered is a heading's value if every channel had so many dB less.
func (s *search) lowered(g int, db float64) float64 {
	sum := 0.0
	for i, c := range s.curves {
		if c.known[g] == heard {
			sum += s.weight[i] * s.tables[i].at(c.level[g]-db)
		}
	}
	return sum
}

// losses says of each heading by how many dB less on every channel the best
// heading would be worth no more than it; NaN where nothing is known. It also
// returns the best.
func (s *search) losses() (loss [360]float64, top int) {
	var values [360]float64
	top = -1
	for g := range values {
		values[g] = math.NaN()
		if s.known[g] {
			values[g] = s.value(g)
			if top < 0 || values[g] > values[top] {
				top = g
			}
		}
	}
	const most, step = 40.0, 0.05
	worth := make([]float64, int(most/step)+1)
	for i := range worth {
		worth[i] = s.lowered(top, step*float64(i))
	}
	for g, v := range values {
		loss[g] = math.NaN()
		if !math.IsNaN(v) {
			n, _ := slices.BinarySearchFunc(worth, v, func(w, v float64) int { // it falls
				switch {
				case w > v:
					return -1
				case w < v:
					return 1
				}
				return 0
			})
			loss[g] = step * float64(n)
		}
	}
	return loss, top
}

// interval is the standard uncertainty of the best heading: how it moves when
// what the smooth curves leave is dealt anew to their points, with a random
// size for each block of neighbours (the wild bootstrap; C. F. J. Wu, Ann.
// Stat. 14, 1986, 1261), so that fading counts with its length, and each channel
// is as much stronger or weaker as does not repeat from visit to visit.
func (s *search) interval(best float64) float64 {
	r := rand.New(rand.NewPCG(1, 1)) // the same house, the same answer
	const blockDeg = 20
	var square float64
	levels := make([][360]float64, len(s.curves))
	for range looks {
		for i, c := range s.curves {
			var signs [360/blockDeg + 1]float64
			for k := range signs {
				signs[k] = r.NormFloat64()
			}
			slow, repeat := slowDB*r.NormFloat64(), s.f.o.RepeatDB*r.NormFloat64()
			side := 360 * r.Float64()
			added := make([]float64, len(c.points))
			for k, p := range c.points {
				own := math.Hypot(c.rest[k], 0.5*p.SigmaDB)
				added[k] = own*signs[int(p.BearingDeg)/blockDeg] + slow*math.Cos((p.BearingDeg-side)*math.Pi/90) + repeat
			}
			levels[i] = c.smooth(added)
		}
		top, most := -1, 0.0
		for g, known := range s.known {
			if !known {
				continue
			}
			sum := 0.0
			for i, c := range s.curves {
				if c.known[g] == heard {
					sum += s.weight[i] * s.tables[i].at(levels[i][g])
				}
			}
			if top < 0 || sum > most {
				top, most = g, sum
			}
		}
		d := apart(float64(top), best)
		square += d * d / looks
	}
	return math.Sqrt(square)
}
