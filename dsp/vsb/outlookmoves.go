package vsb

import (
	"math"
	"math/cmplx"
)

const (
	leastMoveLog = -10.3 // of a delay, in decades of a second
	mostMoveLog  = -6.5
	movePower    = 1.5 // of the logarithm of a variance
)

// step makes one move.
func (c *pathChain) step() {
	switch x := c.rng.Float64(); {
	case x < 0.3:
		c.moveOne()
	case x < 0.5:
		c.movePower()
	case x < 0.6:
		c.birth()
	case x < 0.7:
		c.death()
	case x < 0.86:
		c.moveTwo()
	case x < 0.9:
		c.redraw()
	case x < 0.94:
		c.moveOwn()
	default:
		c.moveSlice()
	}
}

// jump is a change of a delay, of a size between tens of picoseconds and some
// hundred nanoseconds.
func (c *pathChain) jump() float64 {
	size := math.Pow(10, leastMoveLog+(mostMoveLog-leastMoveLog)*c.rng.Float64())
	return size * c.rng.NormFloat64()
}

func (c *pathChain) moveOne() {
	if len(c.paths) == 0 {
		return
	}
	i := c.rng.IntN(len(c.paths))
	c.moveTo(i, c.paths[i].delay+c.jump(), 0)
}

// moveTo proposes another delay for a path.
func (c *pathChain) moveTo(i int, delay, logRatio float64) {
	to, from := c.prior.density(delay), c.prior.density(c.paths[i].delay)
	if to <= 0 {
		return
	}
	c.proposed()
	if c.propose(i, delay) {
		c.enter(len(c.paths), i)
		c.decide(len(c.paths), math.Log(to/from)+logRatio, i)
	}
}

// redraw proposes a delay from the prior.
func (c *pathChain) redraw() {
	if len(c.paths) == 0 {
		return
	}
	i := c.rng.IntN(len(c.paths))
	delay := c.prior.draw(c.rng)
	if to := c.prior.density(delay); to > 0 {
		c.moveTo(i, delay, math.Log(c.prior.density(c.paths[i].delay)/to))
	}
}

// moveTwo moves two paths at once.
func (c *pathChain) moveTwo() {
	if len(c.paths) < 2 {
		return
	}
	i := c.rng.IntN(len(c.paths))
	j := c.rng.IntN(len(c.paths) - 1)
	if j >= i {
		j++
	}
	size := c.jump()
	a := c.rng.Float64() * 2 * math.Pi
	x, y := c.paths[i].delay+size*math.Cos(a), c.paths[j].delay+size*math.Sin(a)
	before := c.prior.density(c.paths[i].delay) * c.prior.density(c.paths[j].delay)
	after := c.prior.density(x) * c.prior.density(y)
	if after <= 0 {
		return
	}
	c.proposed()
	if c.propose(i, x) && c.propose(j, y) {
		c.enter(len(c.paths), i, j)
		c.decide(len(c.paths), math.Log(after/before), i, j)
	}
}

// movePower proposes another variance for a path.
func (c *pathChain) movePower() {
	if len(c.paths) == 0 {
		return
	}
	p := &c.paths[c.rng.IntN(len(c.paths))]
	before := p.logPower
	levels := c.prior.levels(c.paths)
	p.logPower += movePower * c.rng.NormFloat64()
	like := c.likelihood(c.paths, &c.gram, &c.match)
	if math.Log(c.rng.Float64()) < like-c.like+c.prior.levels(c.paths)-levels {
		c.like = like
		return
	}
	p.logPower = before
}

// birth proposes one more path, as the prior has them.
func (c *pathChain) birth() {
	n := len(c.paths)
	if n == chainPaths {
		return
	}
	delay := c.prior.draw(c.rng)
	if c.prior.density(delay) <= 0 {
		return
	}
	c.proposed()
	if !c.propose(n, delay) {
		return
	}
	var drawn float64
	c.probe[n].logPower, drawn = c.prior.drawLevel(c.rng)
	c.enter(n+1, n)
	ratio := c.prior.levels(c.probe[:n+1]) - c.prior.levels(c.paths) - drawn + c.prior.more(n)
	c.decide(n+1, ratio, n)
}

// death proposes to drop a path.
func (c *pathChain) death() {
	n := len(c.paths)
	if n == 0 {
		return
	}
	i, last := c.rng.IntN(n), n-1
	c.exchange(i, last)
	like := c.likelihood(c.paths[:last], &c.gram, &c.match)
	ratio := c.prior.levels(c.paths) - c.prior.levels(c.paths[:last]) -
		c.prior.levelDensity(c.paths[last].logPower) + c.prior.more(last)
	if math.Log(c.rng.Float64()) < like-c.like-ratio {
		c.probe[last], c.paths[last] = c.paths[last], c.probe[last]
		c.paths = c.paths[:last]
		c.like = like
	}
}

// moveOwn proposes another richness and level of the channel.
func (c *pathChain) moveOwn() {
	kept := c.prior
	before := c.prior.own(len(c.paths)) + c.prior.levels(c.paths)
	c.prior.rich += richSpread / 2 * c.rng.NormFloat64()
	c.prior.level += levelSpreadDB / 2 * nepersPerDB * c.rng.NormFloat64()
	after := c.prior.own(len(c.paths)) + c.prior.levels(c.paths)
	if !(math.Log(c.rng.Float64()) < after-before) {
		c.prior = kept
	}
}

// exchange exchanges two paths' places.
func (c *pathChain) exchange(i, j int) {
	if i == j {
		return
	}
	c.paths[i], c.paths[j] = c.paths[j], c.paths[i]
	c.match[i], c.match[j] = c.match[j], c.match[i]
	c.gram[i], c.gram[j] = c.gram[j], c.gram[i]
	for k := range c.paths {
		c.gram[k][i], c.gram[k][j] = c.gram[k][j], c.gram[k][i]
	}
}

// moveSlice moves a slice against the others.
func (c *pathChain) moveSlice() {
	s := c.rng.IntN(len(c.slices))
	d := c.slices[s]
	kept := *d
	var ratio float64
	switch kind := c.rng.IntN(3); {
	case kind == 0 || s == 0: // phase and level of the first are the paths' own
		d.late += c.jump()
	case kind == 1:
		d.phase += math.Pow(10, -3.5*c.rng.Float64()) * c.rng.NormFloat64()
	default:
		d.level += levelSigma * math.Pow(10, -2*c.rng.Float64()) * c.rng.NormFloat64()
		ratio = (kept.level*kept.level - d.level*d.level) / (2 * levelSigma * levelSigma)
	}
	if !c.reviewed(s, d.late != kept.late) {
		*d = kept
		return
	}
	like := c.likelihood(c.probe[:len(c.paths)], &c.gramB, &c.matchB)
	if !(math.Log(c.rng.Float64()) < like-c.like+ratio) {
		*d = kept
		return
	}
	c.like = like
	for i := range c.paths {
		p := &c.paths[i]
		p.views[s], c.probe[i].views[s] = c.probe[i].views[s], p.views[s]
		p.shape = c.probe[i].shape
		if d.late != kept.late {
			d.project(&p.views[s])
		} else {
			p.views[s].image = append(p.views[s].image[:0], c.probe[i].views[s].image...)
		}
		copy(c.gram[i][:len(c.paths)], c.gramB[i][:len(c.paths)])
	}
	c.match = c.matchB
}

// reviewed makes the proposal's views of slice s, and its gram matrix. It
// returns false when a path is out of reach.
func (c *pathChain) reviewed(s int, moved bool) bool {
	c.proposed()
	d := c.slices[s]
	for i := range c.paths {
		for len(c.probe[i].views) < len(c.slices) {
			c.probe[i].views = append(c.probe[i].views, view{})
		}
		if !d.look(&c.probe[i].views[s], c.paths[i].delay) {
			return false
		}
	}
	for i := range c.paths {
		x, was := &c.probe[i].views[s], &c.paths[i].views[s]
		for j := range i {
			y, wasY := &c.probe[j].views[s], &c.paths[j].views[s]
			v := c.gram[i][j] - was.times(wasY)
			if moved {
				v += d.product(x, y)
			} else {
				v += cmplx.Conj(x.spin) * y.spin * cmplx.Conj(cmplx.Conj(was.spin)*wasY.spin) * was.times(wasY) *
					complex(1/norm2([]complex128{was.spin * wasY.spin}), 0)
			}
			c.gramB[i][j], c.gramB[j][i] = v, cmplx.Conj(v)
		}
		c.gramB[i][i] += complex(x.self*norm2([]complex128{x.spin})-was.self*norm2([]complex128{was.spin}), 0)
		c.matchB[i] += cmplx.Conj(x.spin)*x.match - cmplx.Conj(was.spin)*was.match
		for k := range x.shape {
			c.probe[i].shape[k] += cmplx.Conj(x.spin)*x.shape[k] - cmplx.Conj(was.spin)*was.shape[k]
		}
	}
	return true
}
