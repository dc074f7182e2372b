package vsb

import "math"

// What comes back into a slice from beyond half its sample rate.
const (
	// foldingSlope is by how many dB a radio's rejection falls for each part of
	// half the rate inwards: measured on dongles as 1 dB for a hundredth from
	// 0.96 to 0.8, and published as a little more further in.
	foldingSlope = 110.

	// foldingReach is how far inwards folding is looked for, in parts of half the
	// rate; from foldingFine on less finely, for there it is smooth.
	foldingReach, foldingFine = 0.42, 0.14

	// foldingTold is how far inwards of FoldedShare a band may end that tells the
	// level there: from further in, steep as folding is, a little noise would be
	// made much of.
	foldingTold = 0.06

	// foldingLeast and foldingMost are between which levels above the noise, in
	// dB, folding is looked for at the band's end. What is weaker hardly counts.
	foldingLeast, foldingMost = -5, 60

	// foldingUsual is the level, in dB below the station's data, that is supposed
	// where nothing tells of another: what dongles were measured to have.
	foldingUsual = -24.

	// foldingChance and slopeChance are the chances of taking noise for folding,
	// and its slope for an unusual one: that much likelier it must be than what was
	// supposed. Else the noise would read low, by what is taken for folding where
	// there is none; too strict they leave folding in it.
	foldingChance, slopeChance = 0.4, 0.1

	// foldingSettled is the change of a level's logarithm at which passes end.
	foldingSettled = 0.3
)

// foldingSlopes are those that a fit chooses from.
var foldingSlopes = [...]float64{65, 90, foldingSlope, 135}

// usualSlope is the place of foldingSlope among them.
const usualSlope = 2

// folding is what folds into the two ends of a band: symbols of the station
// itself from beyond the slice's end, or of whatever stands there. How strong it
// is nobody knows beforehand: the radio's rejection differs from one to the
// next, and so does what lies beyond. Only its shape is much the same. So it is
// taken as Gaussian noise of that shape, its level and slope at either end found
// from what the training leaves there, and a fit trusts the band's ends as much as they
// deserve. The training's own folded part is treated like that too: with its
// response unknown, there is nothing to be won from the few points that it
// fills.
type folding struct {
	ends []foldingEnd
}

// foldingEnd is one end of a band, or with a side of 0 its middle (newHump). Level is the density of what folds in, at
// FoldedShare of half the rate.
type foldingEnd struct {
	side    float64 // −1 for the lower end, 1 for the upper
	away    float64 // how far inwards of FoldedShare the band ends, in parts of half the rate
	inside  float64 // the station's density where it comes from, over that of its flat part
	chance  float64 // of taking noise for it
	columns [][]complex128
	slopes  [len(foldingSlopes)]foldingShape

	level float64
	slope int  // of slopes
	found bool // level is not just the usual one
}

// foldingShape is what folds in with one of the slopes, for a level of 1.
type foldingShape struct {
	covariance []complex128 // of points so far apart
	density    []float64    // in the columns' directions
}

func newFolding(g *layout) *folding {
	f := &folding{}
	for _, side := range []float64{-1, 1} {
		if e := newFoldingEnd(g, side); e != nil {
			f.ends = append(f.ends, *e)
		}
	}
	if e := newHump(g); e != nil {
		f.ends = append(f.ends, *e)
	}
	return f
}

// newFoldingEnd returns the lower end of a band for a side of −1 and the upper
// one for 1; nil where the band ends long before the slice does.
func newFoldingEnd(g *layout, side float64) *foldingEnd {
	inwards := func(hz float64) float64 { // of a frequency from the band's middle, in parts of half the rate
		return FoldedShare - side*(g.middleHz+hz-g.offsetHz)/(g.rateHz/2)
	}
	reach := (1 + g.rollOff) / g.step / 2
	if inwards(side*reach) > foldingReach/2 {
		return nil
	}
	from := g.offsetHz - side*(1-usableShare)*g.rateHz
	e := &foldingEnd{side: side, chance: foldingChance, away: inwards(side * reach), inside: Density(from) / flatDensity}
	bin := 1 / (g.step * float64(g.points))
	for hz := side * 0.5 / g.step; inwards(hz) <= foldingReach && math.Abs(hz) <= 0.5/g.step; hz -= side * bin {
		column := make([]complex128, g.points)
		for i := range column {
			column[i] = turn(hz * g.time(i))
		}
		e.columns = append(e.columns, column)
		if inwards(hz) > foldingFine {
			hz -= side * bin
		}
	}
	pieces := 4 * g.points
	for k, slope := range foldingSlopes {
		s := &e.slopes[k]
		*s = newFoldingShape(g, pieces, reach, func(hz float64) float64 { return math.Pow(10, -slope*inwards(hz)/10) })
		for _, column := range e.columns {
			s.density = append(s.density, s.along(column))
		}
	}
	return e
}

// newFoldingShape is that of a density at frequencies from the band's middle.
func newFoldingShape(g *layout, pieces int, reach float64, density func(hz float64) float64) foldingShape {
	s := foldingShape{covariance: make([]complex128, g.points)}
	for i := range pieces {
		hz := reach * (2*(float64(i)+0.5)/float64(pieces) - 1)
		amplitude := g.filter(hz)
		power := complex(amplitude*amplitude*density(hz)*g.step*2*reach/float64(pieces), 0)
		at, spin := complex(1, 0), turn(hz*g.step)
		for m := range s.covariance {
			s.covariance[m] += power * at
			at *= spin
		}
	}
	return s
}

// along is the mean of what folds in along a column.
func (e *foldingShape) along(column []complex128) float64 {
	n := len(column)
	sum := float64(n) * real(e.covariance[0])
	for m := 1; m < n; m++ {
		// Columns are lines: all pairs so far apart have one product.
		v := column[m] * complex(real(column[0]), -imag(column[0]))
		sum += 2 * float64(n-m) * (real(v)*real(e.covariance[m]) + imag(v)*imag(e.covariance[m]))
	}
	return sum / float64(n)
}

// Folded is the density of what a fit found to fold into a slice's ends.
type Folded struct {
	// LowFound and HighFound say whether the fit reached that end, and found
	// there what is not just usual.
	LowFound, HighFound bool
	// Low and High are the densities at FoldedShare of half the rate, FS²/Hz: what
	// is usual where nothing else was found, 0 where the fit did not reach the end.
	Low, High float64
	// LowSlope and HighSlope are by how many dB they fall for each part of half
	// the rate inwards.
	LowSlope, HighSlope float64

	// Hump is the density, 100 kHz from the slice's middle, of noise that stands
	// around it, and HumpPower by which power of the distance that falls: see
	// HumpShape. 0 where none was found.
	Hump, HumpPower float64
}

// FoldedShare is where a Folded has its densities, in parts of half the rate
// from the slice's middle.
const FoldedShare = 2 * usableShare

// FoldingShape is how folding goes over a share of half the rate from the slice's
// middle, relative to FoldedShare, with a slope of so many dB for each part of
// half the rate; 0 stands for the usual one.
func FoldingShape(share, slope float64) float64 {
	const last = 0.96 // beyond it a pass band was not seen to go on like that
	if slope == 0 {
		slope = foldingSlope
	}
	return math.Pow(10, slope*(math.Min(math.Abs(share), last)-FoldedShare)/10)
}

// folded returns what was found, for data: the training that it was found in is
// a little louder.
func (f *folding) folded() (out Folded) {
	const quieter = LevelMeanSquare / (SyncLevel * SyncLevel)
	for _, e := range f.ends {
		if e.side == 0 && e.found {
			out.Hump, out.HumpPower = e.level*quieter, humpPowers[e.slope]
		}
		if e.side == 0 || e.away > foldingTold {
			continue
		}
		e.level *= quieter
		if e.side < 0 {
			out.LowFound, out.Low, out.LowSlope = e.found, e.level, foldingSlopes[e.slope]
		} else {
			out.HighFound, out.High, out.HighSlope = e.found, e.level, foldingSlopes[e.slope]
		}
	}
	return out
}

// suppose forgets what was found, and supposes what is usual beside data of a
// density.
func (f *folding) suppose(data float64) {
	for i := range f.ends {
		e := &f.ends[i]
		e.level, e.found, e.slope = e.usual(data), false, usualSlope
	}
}

// usual is the level that is supposed beside data of a density.
func (e *foldingEnd) usual(data float64) float64 {
	return data * e.inside * math.Pow(10, foldingUsual/10)
}

// add adds the covariance to the lower triangle c.
func (f *folding) add(c triangle) {
	for _, e := range f.ends {
		if e.level == 0 {
			continue
		}
		level, covariance := complex(e.level, 0), e.slopes[e.slope].covariance
		for i := range c.n {
			for j, row := 0, c.row(i); j < len(row); j++ {
				row[j] += level * covariance[i-j]
			}
		}
	}
}

// findFolding finds the levels of what folds in from what a fit leaves, and says
// whether they are what the covariance was made with. The noise is what that was
// made with, and what was found is ratio times it; data is the station's density.
func (t *Trainer) findFolding(noise, ratio, data float64) (settled bool) {
	settled = true
	n := float64(t.layout.points)
	column := make([]complex128, t.layout.points)
	rests := make([][]complex128, len(t.fields))
	for j := range rests {
		rests[j] = make([]complex128, t.layout.points)
		t.residual(rests[j], &t.fields[j])
	}
	for k := range t.folding.ends {
		e := &t.folding.ends[k]
		made, left := make([]float64, len(e.columns)), make([]float64, len(e.columns))
		for i, c := range e.columns {
			copy(column, c)
			t.pursuit.factor.solve(column)
			power := norm2(column)
			made[i] = n / power
			for _, rest := range rests {
				v := inner(column, rest)
				left[i] += (real(v)*real(v) + imag(v)*imag(v)) * n / (power * power)
			}
		}
		was := e.level
		e.choose(made, left, float64(len(t.fields)), noise, ratio, e.usual(data))
		least := noise * ratio / 10
		if math.Abs(math.Log(math.Max(e.level, least)/math.Max(was, least))) > foldingSettled {
			settled = false
		}
	}
	return settled
}

// choose takes the level and slope that are the likeliest for what was left in
// the columns' directions by so many fields, where the covariance has what it was
// made with: the usual ones, unless others are much likelier.
func (e *foldingEnd) choose(made, left []float64, fields, noise, ratio, usual float64) {
	white, old := make([]float64, len(made)), e.slopes[e.slope].density
	for i, m := range made {
		white[i] = m + noise*(ratio-1) - e.level*old[i]
	}
	likelihood := func(level float64, density []float64) (sum float64) {
		for i, w := range white {
			m := math.Max(w+level*density[i], noise*ratio/2)
			sum -= fields*math.Log(m) + left[i]/m
		}
		return sum
	}
	e.level, e.slope, e.found = usual, usualSlope, false
	highest := likelihood(usual, e.slopes[usualSlope].density) - math.Log(e.chance)
	for k := range e.slopes {
		for db := foldingLeast - 1; db <= foldingMost; db++ {
			level := noise * ratio * math.Pow(10, float64(db)/10)
			if db < foldingLeast {
				level = 0
			}
			l := likelihood(level, e.slopes[k].density)
			if k != usualSlope {
				l += math.Log(slopeChance)
			}
			if l > highest {
				e.level, e.slope, e.found, highest = level, k, true, l
			}
		}
	}
}
