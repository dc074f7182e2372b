package site

import "math"

// What it means that one place serves better than another: it gives more
// wanted channels enough margin; or as many, and fewer are not there at all;
// or in that too the same, and its weakest wanted channel is stronger. A
// channel of importance n counts as n. This file works out how probable that
// is when margins are uncertain. Their errors are taken as independent and
// Gaussian.

const (
	gridStepDB = 0.5
	gridDB     = 70 // to either side of the margin that is enough

	// squashDB is how strongly the weakest channel is felt: around the margin
	// that is enough, 4 dB more of it weigh as much as one channel more or
	// less would at a tenth of the probability.
	squashDB = 5

	// unknownSigmaDB: a channel that was not measured at a place is taken to
	// be as likely above the decode point as below it, and this far off.
	unknownSigmaDB = 15

	// leastSigmaDB: no margin of an antenna in the open is known better than
	// this; the sums over the grid rely on it.
	leastSigmaDB = gridStepDB / 2
)

// margin is what is known of one wanted channel at one place.
type margin struct {
	measured bool
	present  bool
	mean     float64 // dB
	sigma    float64 // leastSigmaDB or more

	// tail is the probability of more than each value of the grid, for those
	// who ask often; nil otherwise.
	tail []float64
}

// above is the probability of a margin greater than x.
func (m margin) above(x float64) float64 {
	return 0.5 * math.Erfc((x-m.mean)/(m.sigma*math.Sqrt2))
}

// contest is the rules by which places are compared: the wanted channels that
// count, in an order that every list of margins keeps.
type contest struct {
	enough  float64
	weight  []int  // how many channels each counts as
	weakest []bool // whether the channel can be the weakest
	total   int    // of the weights
	grid    []float64
	squash  []float64 // of the grid
}

func newContest(enough float64, weight []int, weakest []bool) *contest {
	c := &contest{enough: enough, weight: weight, weakest: weakest}
	for _, w := range weight {
		c.total += w
	}
	const steps = int(gridDB / gridStepDB)
	for i := -steps; i <= steps; i++ {
		x := float64(i) * gridStepDB
		c.grid = append(c.grid, enough+x)
		c.squash = append(c.squash, 1/(1+math.Exp(-x/squashDB)))
	}
	return c
}

// prepare works out the tails of a list that will be compared many times.
func (c *contest) prepare(list []margin) {
	for i, m := range list {
		if m.present && m.tail == nil {
			list[i].tail = make([]float64, len(c.grid))
			for k, x := range c.grid {
				list[i].tail[k] = m.above(x)
			}
		}
	}
}

// score is a number that is greater the better a place serves, for certain
// margins in exactly the order above, and for uncertain ones in the mean:
//
//	E[number of channels with enough] + 2^−absent · (1 + E[s(weakest)]) / 2
//
// with s rising from 0 to 1. Its second term is less than one channel. A
// channel that was not measured is taken as not there.
func (c *contest) score(list []margin) float64 {
	number, absent, any := 0.0, 0, false
	for i, m := range list {
		switch {
		case m.present:
			number += float64(c.weight[i]) * m.above(c.enough)
			any = any || c.weakest[i]
		case c.weakest[i]:
			absent++
		}
	}
	var s float64
	if any {
		last := c.weakestAbove(list, 0)
		s = c.squash[0] * last
		for k := 1; k < len(c.grid); k++ {
			p := c.weakestAbove(list, k)
			s += (c.squash[k] - c.squash[k-1]) * (p + last) / 2
			last = p
		}
	}
	return number + math.Ldexp((1+s)/2, -absent)
}

// weakestAbove is the probability that every channel that is there has a
// margin greater than grid[k].
func (c *contest) weakestAbove(list []margin, k int) float64 {
	p := 1.0
	for i := range list {
		switch m := &list[i]; {
		case !m.present || !c.weakest[i]:
		case m.tail != nil:
			p *= m.tail[k]
		default:
			p *= m.above(c.grid[k])
		}
	}
	return p
}

// outcome is how probable it is that a place gives enough to so many channels
// and that its weakest is so strong.
type outcome struct {
	absent int
	// at[n][k] is the probability of n channels with enough and a weakest one
	// above grid[k−1], at[n][0] that of n.
	at [][]float64
}

func (c *contest) outcome(list []margin) outcome {
	known := make([]margin, len(list))
	var o outcome
	for i, m := range list {
		if !m.measured {
			m = margin{present: true, sigma: unknownSigmaDB}
		}
		if !m.present && c.weakest[i] {
			o.absent++
		}
		known[i] = m
	}
	o.at = make([][]float64, c.total+1)
	cells := make([]float64, len(o.at)*(len(c.grid)+1))
	for n := range o.at {
		o.at[n], cells = cells[:len(c.grid)+1], cells[len(c.grid)+1:]
	}
	ways := make([]float64, c.total+1) // ways[n] is the probability of n
	for k := range len(c.grid) + 1 {
		x := math.Inf(-1)
		if k > 0 {
			x = c.grid[k-1]
		}
		clear(ways)
		ways[0] = 1
		for i, m := range known {
			if m.present {
				c.count(ways, m, c.weight[i], c.weakest[i], x)
			}
		}
		for n, p := range ways {
			o.at[n][k] = p
		}
	}
	return o
}

// count adds one channel to the probabilities of the numbers with enough,
// given that none that counts for the weakest is below x.
func (c *contest) count(ways []float64, m margin, weight int, weakest bool, x float64) {
	enough := m.above(c.enough)
	short := 1 - enough
	if weakest {
		short = math.Max(0, m.above(x)-enough)
		if x > c.enough {
			enough, short = m.above(x), 0
		}
	}
	for n := len(ways) - 1; n >= 0; n-- {
		p := ways[n] * short
		if n >= weight {
			p += ways[n-weight] * enough
		}
		ways[n] = p
	}
}

// better is the probability that a serves better than b. Two that serve alike
// share it.
func better(a, b outcome) float64 {
	var p, below float64 // below: that b gives fewer than n
	for n := range a.at {
		pa, pb := a.at[n], b.at[n]
		p += pa[0] * below
		below += pb[0]
		switch {
		case a.absent < b.absent:
			p += pa[0] * pb[0]
		case a.absent == b.absent:
			for k := range pa {
				var nextA, nextB float64
				if k+1 < len(pa) {
					nextA, nextB = pa[k+1], pb[k+1]
				}
				p += (pa[k] - nextA) * (pb[0] - pb[k] + (pb[k]-nextB)/2)
			}
		}
	}
	return p
}
