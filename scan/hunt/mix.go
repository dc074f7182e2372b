package hunt

import (
	"cmp"
	"math"
	"slices"
	"strings"

	"rooftone/scan/band"
)

// A mix is a sum or difference of the frequencies of strong signals: where a
// receiver that is driven too hard makes something that is not on the air.
//
// By the textbook's series y = x + a₂x² + a₃x³, two tones make products at
// f₁±f₂ whose power is P₁P₂/IIP2, and at 2f₁−f₂ of P₁²P₂/IIP3²: 2 and 3 dB for
// each dB of the tones. The other kinds follow from the series' coefficients,
// and a signal that is like noise has m! times the m-th power of its mean.
type mix struct {
	parents  []int // into the list of emitters
	times    []int // how often each is in it, negative where it is mirrored
	order    int   // 2 or 3
	hz       float64
	lineHz   float64 // where its parents' lines meet; 0 for none
	widths   []float64
	strength float64 // its power for an intercept of 1: over it, or its square for order 3
}

// reach is half of its width.
func (m *mix) reach() float64 {
	var sum float64
	for _, w := range m.widths {
		sum += w / 2
	}
	return sum
}

// sigmaHz is how well its place is known. What the clock does to one parent it
// does to all.
func (m *mix) sigmaHz(e []Emitter) float64 {
	var sum float64
	for i, p := range m.parents {
		sum += math.Abs(float64(m.times[i])) * e[p].SigmaHz
	}
	return sum
}

// mixes returns all products of second and third order of some emitters that
// touch one of the channels.
func mixes(e []Emitter, channels []band.Channel) []mix {
	return mixesWhere(e, func(low, high float64) bool {
		return slices.ContainsFunc(channels, func(c band.Channel) bool { return high > c.LowerHz && low < c.UpperHz() })
	})
}

// mixesWhere returns all products of second and third order of some emitters
// whose range of frequencies is wanted.
func mixesWhere(e []Emitter, wanted func(low, high float64) bool) []mix {
	var out []mix
	add := func(parents []int, times ...int) {
		m := newMix(e, parents, times)
		if wanted(m.hz-m.reach(), m.hz+m.reach()) {
			out = append(out, m)
		}
	}
	for i := range e {
		add([]int{i}, 2)
		add([]int{i}, 3)
		for j := range e {
			if j == i {
				continue
			}
			add([]int{i, j}, 2, -1)
			add([]int{i, j}, 2, 1)
			if j < i {
				continue
			}
			add([]int{i, j}, 1, 1)
			add([]int{i, j}, 1, -1)
			for k := j + 1; k < len(e); k++ {
				for _, t := range [][]int{{1, 1, 1}, {1, 1, -1}, {1, -1, 1}, {-1, 1, 1}} {
					add([]int{i, j, k}, t...)
				}
			}
		}
	}
	slices.SortStableFunc(out, func(a, b mix) int { return cmp.Compare(b.strength, a.strength) })
	return out
}

func newMix(e []Emitter, parents, times []int) mix {
	m := mix{parents: parents, times: times, strength: 1}
	ways, lines := 1.0, true // 1/Πm!
	for i, p := range parents {
		x := &e[p]
		n := max(times[i], -times[i])
		m.order += n
		m.hz += float64(times[i]) * x.middleHz()
		m.lineHz += float64(times[i]) * x.lineHz
		lines = lines && x.line > 0
		for k := 1; k <= n; k++ {
			ways /= float64(k)
			m.strength *= x.power
			if x.noisy {
				m.strength *= float64(k)
			}
			m.widths = append(m.widths, x.widthHz())
		}
	}
	if m.order == 2 {
		m.strength *= ways * ways
	} else {
		m.strength *= 4 * ways * ways
	}
	m.hz, m.lineHz = math.Abs(m.hz), math.Abs(m.lineHz)
	if !lines {
		m.lineHz = 0
	}
	return m
}

// share is the part of the product's power between two frequencies. Its
// spectrum is the convolution of its parents', each taken as even.
func (m *mix) share(lowHz, highHz float64) float64 {
	return cumulated(highHz-m.hz, m.widths) - cumulated(lowHz-m.hz, m.widths)
}

// cumulated is the probability that a sum of independent even variables of
// these widths, each around 0, is below x. It is by taking the mean of the sum
// of all but one over that one, in closed form for up to two and by Gauss's
// rule for the third.
func cumulated(x float64, widths []float64) float64 {
	switch len(widths) {
	case 0:
		if x >= 0 {
			return 1
		}
		return 0
	case 1:
		if widths[0] == 0 {
			return cumulated(x, nil)
		}
		return math.Max(0, math.Min(1, x/widths[0]+0.5))
	}
	last := widths[len(widths)-1]
	rest := widths[:len(widths)-1]
	if last == 0 {
		return cumulated(x, rest)
	}
	// Five points of Gauss and Legendre on each of four parts.
	nodes := [...]float64{0, 0.5384693101056831, -0.5384693101056831, 0.9061798459386640, -0.9061798459386640}
	weights := [...]float64{0.5688888888888889, 0.4786286704993665, 0.4786286704993665, 0.2369268850561891, 0.2369268850561891}
	const parts = 4
	var sum float64
	for p := range parts {
		middle := last * ((float64(p)+0.5)/parts - 0.5)
		for i, u := range nodes {
			sum += weights[i] / 2 / parts * cumulated(x-middle-u*last/2/parts, rest)
		}
	}
	return sum
}

// formula writes the product as a sum of its parents' names.
func (m *mix) formula(e []Emitter) string {
	var b strings.Builder
	order := make([]int, len(m.parents))
	for i := range order {
		order[i] = i
	}
	slices.SortStableFunc(order, func(a, b int) int { return m.times[b] - m.times[a] })
	for n, i := range order {
		t := m.times[i]
		switch {
		case n > 0 && t < 0:
			b.WriteString(" − ")
		case n > 0:
			b.WriteString(" + ")
		case t < 0:
			b.WriteString("−")
		}
		if a := max(t, -t); a > 1 {
			b.WriteString([]string{"", "", "2 × ", "3 × "}[a])
		}
		b.WriteString(e[m.parents[i]].Name)
	}
	return b.String()
}

// services are those that the product's parents belong to, without repeats.
func (m *mix) services(e []Emitter) []string {
	var out []string
	for _, p := range m.parents {
		if s := e[p].Service; !slices.Contains(out, s) {
			out = append(out, s)
		}
	}
	slices.Sort(out)
	return out
}
