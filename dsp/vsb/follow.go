package vsb

import "math"

// candidatesPerField is how many places of a field's length are followed
// through the other fields, for each carrier.
const candidatesPerField = 16

// place is a place of a stay that may be a field sync.
type place struct {
	at    int
	odd   bool
	score float32
}

// follow looks at the highest scores of each field's length, and at what other
// fields have in their place, and returns the best of these and of what is
// given.
func (s *search) follow(best *sighting, carrierHz float64, clocks []float64) *sighting {
	period := FieldSymbols / SymbolRateHz * s.layout.rateHz
	count := len(s.score[0])
	for begin := 0; begin < count; begin += int(period) {
		for _, p := range s.highest(begin, min(begin+int(period), count)) {
			for _, clock := range clocks {
				found := s.fold(p, period*(1+clock))
				if best == nil || found.logChance < best.logChance {
					found.carrierHz, found.clock = carrierHz, clock
					best = &found
				}
			}
		}
	}
	return best
}

// highest returns the highest scores from begin to end that exceed their
// neighbours.
func (s *search) highest(begin, end int) []place {
	top := make([]place, 0, candidatesPerField)
	least := 0 // the lowest of top, once that is full
	for parity, score := range s.score {
		other := s.score[1-parity]
		for i := begin; i < end; i++ {
			v := score[i]
			if len(top) == candidatesPerField && v <= top[least].score ||
				i > 0 && score[i-1] > v || i+1 < len(score) && score[i+1] > v || v < other[i] {
				continue
			}
			p := place{i, parity == 0, v}
			if len(top) < candidatesPerField {
				top = append(top, p)
			} else {
				top[least] = p
			}
			for j := range top {
				if top[j].score < top[least].score {
					least = j
				}
			}
		}
	}
	return top
}

// fold adds the scores that are whole numbers of fields from a place.
func (s *search) fold(p place, period float64) sighting {
	back := math.Floor(float64(p.at) / period)
	at := float64(p.at) - back*period
	odd := p.odd == (int(back)%2 == 0)
	out := sighting{first: at + float64(s.guard), odd: odd}
	for ; ; at, odd = at+period, !odd {
		i := int(at + 0.5)
		if i >= len(s.score[0]) {
			out.logChance = logGamma(out.fields, out.score)
			return out
		}
		parity := 1
		if odd {
			parity = 0
		}
		out.score += float64(s.score[parity][i])
		out.fields++
	}
}

// logGamma is the natural logarithm of the probability that the sum of n
// exponential variates of mean 1 exceeds x: exp(−x)·Σ x^k/k!, k < n.
func logGamma(n int, x float64) float64 {
	if x < float64(n) {
		return 0 // not far below, and never the best
	}
	// The terms rise up to the last one: count from that.
	sum, term := 1., 1.
	for k := n - 1; k > 0; k-- {
		term *= float64(k) / x
		sum += term
	}
	last, _ := math.Lgamma(float64(n))
	return math.Min(0, float64(n-1)*math.Log(x)-last+math.Log(sum)-x)
}
