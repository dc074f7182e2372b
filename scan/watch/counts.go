package watch

// counts is a histogram: n[i] counts what fell into step first+i.
type counts struct {
	first int
	n     []int
}

// add counts by more in a step.
func (c *counts) add(step, by int) {
	switch {
	case len(c.n) == 0:
		c.first, c.n = step, append(c.n, by)
		return
	case step < c.first:
		grown := make([]int, c.first-step, c.first-step+len(c.n))
		c.n = append(grown, c.n...)
		c.first = step
	}
	for step >= c.first+len(c.n) {
		c.n = append(c.n, 0)
	}
	c.n[step-c.first] += by
}

// merge adds another histogram.
func (c *counts) merge(o counts) {
	for i, n := range o.n {
		if n != 0 {
			c.add(o.first+i, n)
		}
	}
}

// at is how many were counted in a step.
func (c *counts) at(step int) int {
	if i := step - c.first; i >= 0 && i < len(c.n) {
		return c.n[i]
	}
	return 0
}

// below is how many were counted below a step.
func (c *counts) below(step int) int {
	sum := 0
	for i := 0; i < len(c.n) && c.first+i < step; i++ {
		sum += c.n[i]
	}
	return sum
}
