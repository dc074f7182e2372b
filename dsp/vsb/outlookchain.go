package vsb

import (
	"errors"
	"math"
	"math/cmplx"
	"math/rand/v2"
	"slices"
)

const (
	chainPaths = 20     // at most
	chainBurn  = 25000  // what steps cost before the first draw
	chainWork  = 120000 // and after that
	hugeVolume = 1e200  // of a determinant, beyond which its logarithm is taken
)

// pathChain is a Markov chain of channels.
type pathChain struct {
	slices []*sightSlice
	prior  pathPrior
	rng    *rand.Rand

	paths []chainPath
	gram  [chainPaths][chainPaths]complex128
	match [chainPaths]complex128
	like  float64

	// A proposal's.
	probe  [chainPaths]chainPath
	gramB  [chainPaths][chainPaths]complex128
	matchB [chainPaths]complex128
	factor [chainPaths][chainPaths]complex128
	half   [chainPaths]complex128 // factor⁻¹·match
	bend   bend
	middle float64 // frequency at which the paths' phases count
}

// chainPath is a path of a chain.
type chainPath struct {
	delay    float64
	logPower float64 // of its gain's variance
	views    []view  // by slice
	shape    [passBandCount]complex128
}

// newPathChain returns a chain that starts where an echo model is.
func newPathChain(m *echoModel, pass PassBand) (*pathChain, error) {
	c := &pathChain{rng: rand.New(rand.NewPCG(8, 19393))}
	lead := m.slices[0].gain
	var total float64
	for _, p := range m.paths {
		total += norm2([]complex128{p.gain * lead})
	}
	for _, s := range m.slices {
		d := newSightSlice(s.echoData)
		d.turnHz, d.late = s.turnHz, s.late
		paths := slices.Clone(m.paths)
		for i := range paths {
			paths[i].gain *= s.gain * turn(-s.turnHz*paths[i].delay)
		}
		if err := d.bend(paths, pass); err != nil {
			return nil, err
		}
		d.phase = cmplx.Phase(s.gain / lead)
		d.level = math.Max(-2*levelSigma, math.Min(2*levelSigma, math.Log(cmplx.Abs(s.gain/lead))))
		c.slices = append(c.slices, d)
		c.bend.add(d)
		c.middle += (s.middleHz - s.turnHz) / float64(len(m.slices))
	}
	c.prior = pathPrior{low: math.Inf(-1), high: math.Inf(1), total: math.Log(total), rich: richMean, level: levelMeanDB * nepersPerDB}
	for _, p := range m.paths {
		c.prior.found = append(c.prior.found, p.delay)
	}
	for _, s := range c.slices {
		c.prior.low = math.Max(c.prior.low, EarliestEchoSeconds-s.late)
		c.prior.high = math.Min(c.prior.high, LatestEchoSeconds-s.late)
	}
	for _, p := range m.paths {
		if c.prior.density(p.delay) > 0 && len(c.paths) < chainPaths {
			power := norm2([]complex128{p.gain * lead})
			c.paths = append(c.paths, chainPath{delay: p.delay, logPower: math.Log(power)})
		}
	}
	if !c.refresh() {
		return nil, errors.New("a path lies beyond what the fits reach")
	}
	return c, nil
}

// run lets the chain run, and calls use for every draw. A step costs as its
// paths do, so few paths get more steps.
func (c *pathChain) run(use func()) {
	for work := 0; work < chainBurn; work += c.cost() {
		c.step()
	}
	for work, draw := 0, 1; draw <= outlookDraws; work += c.cost() {
		c.step()
		if work >= draw*(chainWork/outlookDraws) {
			use()
			draw++
		}
	}
}

func (c *pathChain) cost() int { return 3 + len(c.paths) }

// refresh makes everything anew. It returns false when a path is out of reach.
func (c *pathChain) refresh() bool {
	for i := range c.paths {
		p := &c.paths[i]
		for len(p.views) < len(c.slices) {
			p.views = append(p.views, view{})
		}
		for s, d := range c.slices {
			if !d.look(&p.views[s], p.delay) {
				return false
			}
			d.project(&p.views[s])
		}
	}
	for i := range c.paths {
		for j := range i {
			c.gram[i][j] = c.product(&c.paths[i], &c.paths[j])
			c.gram[j][i] = cmplx.Conj(c.gram[i][j])
		}
		c.gram[i][i] = complex(c.paths[i].self(), 0)
		c.match[i] = c.paths[i].matching()
		c.paths[i].bend()
	}
	c.like = c.likelihood(c.paths, &c.gram, &c.match)
	return true
}

func (c *pathChain) product(x, y *chainPath) (sum complex128) {
	for s := range x.views {
		sum += x.views[s].times(&y.views[s])
	}
	return sum
}

func (p *chainPath) self() (sum float64) {
	for _, v := range p.views {
		sum += v.self * norm2([]complex128{v.spin})
	}
	return sum
}

func (p *chainPath) matching() (sum complex128) {
	for _, v := range p.views {
		sum += cmplx.Conj(v.spin) * v.match
	}
	return sum
}

// likelihood is the log likelihood of paths. It leaves factor, whose diagonal is
// inverted, half and bend.
func (c *pathChain) likelihood(paths []chainPath, gram *[chainPaths][chainPaths]complex128, match *[chainPaths]complex128) float64 {
	out, volume := 0., 1.
	for i := range paths {
		fi := &c.factor[i]
		h, x := match[i], paths[i].shape
		for j := range i {
			fj := &c.factor[j]
			v := gram[i][j]
			for k := range j {
				v -= fi[k] * complex(real(fj[k]), -imag(fj[k]))
			}
			v *= fj[j]
			fi[j] = v
			h -= v * c.half[j]
			for k := range x {
				x[k] -= v * c.bend.half[j][k]
			}
		}
		d := real(gram[i][i]) + math.Exp(-paths[i].logPower)
		for k := range i {
			d -= real(fi[k])*real(fi[k]) + imag(fi[k])*imag(fi[k])
		}
		if !(d > 0) {
			return math.Inf(-1)
		}
		root := complex(1/math.Sqrt(d), 0)
		fi[i] = root
		h *= root
		c.half[i] = h
		for k := range x {
			c.bend.half[i][k] = x[k] * root
		}
		out += real(h)*real(h) + imag(h)*imag(h) - paths[i].logPower
		if volume *= d; volume > hugeVolume {
			out -= math.Log(volume)
			volume = 1
		}
	}
	return out - math.Log(volume) + c.bend.likelihood(c.half[:len(paths)])
}

// propose puts path i of the proposal at a delay. It returns false when that is
// out of reach.
func (c *pathChain) propose(i int, delay float64) bool {
	p := &c.probe[i]
	p.delay = delay
	for len(p.views) < len(c.slices) {
		p.views = append(p.views, view{})
	}
	for s, d := range c.slices {
		if !d.look(&p.views[s], delay) {
			return false
		}
	}
	p.bend()
	return true
}

// enter fills the proposal's gram matrix for the paths that changed.
func (c *pathChain) enter(count int, changed ...int) {
	for n, i := range changed {
		x := &c.probe[i]
		for j := range count {
			if j == i || slices.Contains(changed[n+1:], j) {
				continue
			}
			var v complex128
			if slices.Contains(changed[:n], j) {
				for s, d := range c.slices {
					v += d.product(&x.views[s], &c.probe[j].views[s])
				}
			} else {
				v = c.product(x, &c.paths[j])
			}
			c.gramB[i][j], c.gramB[j][i] = v, cmplx.Conj(v)
		}
		c.gramB[i][i] = complex(x.self(), 0)
		c.matchB[i] = x.matching()
	}
}

// proposed copies the chain's state to the proposal's.
func (c *pathChain) proposed() {
	for i := range c.paths {
		p, q := &c.probe[i], &c.paths[i]
		p.delay, p.logPower, p.shape = q.delay, q.logPower, q.shape
		copy(c.gramB[i][:len(c.paths)], c.gram[i][:len(c.paths)])
	}
	copy(c.matchB[:], c.match[:len(c.paths)])
}

// decide accepts the proposal or not.
func (c *pathChain) decide(count int, logRatio float64, changed ...int) bool {
	like := c.likelihood(c.probe[:count], &c.gramB, &c.matchB)
	if !(math.Log(c.rng.Float64()) < like-c.like+logRatio) {
		return false
	}
	c.like = like
	if count > len(c.paths) {
		c.paths = append(c.paths, chainPath{})
	}
	for _, i := range changed {
		c.paths[i], c.probe[i] = c.probe[i], c.paths[i]
		p := &c.paths[i]
		for s, d := range c.slices {
			d.project(&p.views[s])
		}
		for j := range count {
			c.gram[i][j], c.gram[j][i] = c.gramB[i][j], c.gramB[j][i]
		}
		c.match[i] = c.matchB[i]
	}
	return true
}

// drawGains draws the paths' gains.
func (c *pathChain) drawGains() []complex128 {
	c.likelihood(c.paths, &c.gram, &c.match)
	bent := c.bend.draw(c.rng)
	n := len(c.paths)
	gains := make([]complex128, n)
	// With LLᴴ for the gains' inverse covariance they are L⁻ᴴ·(L⁻¹·match + z).
	for i := n - 1; i >= 0; i-- {
		v := c.half[i] + complex(c.rng.NormFloat64(), c.rng.NormFloat64())*complex(math.Sqrt(0.5), 0)
		for k, b := range bent {
			v -= complex(b, 0) * c.bend.half[i][k]
		}
		for k := i + 1; k < n; k++ {
			v -= cmplx.Conj(c.factor[k][i]) * gains[k]
		}
		gains[i] = v * c.factor[i][i]
	}
	return gains
}

// powers returns the power of the response across the channel.
func (c *pathChain) powers(gains []complex128) []float32 {
	sum := make([]complex128, outlookBins)
	for i, g := range gains {
		at := g * turn(c.middle*c.paths[i].delay)
		step := turn(-outlookStepHz * c.paths[i].delay)
		for k := range sum {
			sum[k] += at
			at *= step
		}
	}
	out := make([]float32, outlookBins)
	for k, v := range sum {
		out[k] = float32(real(v)*real(v) + imag(v)*imag(v))
	}
	return out
}
