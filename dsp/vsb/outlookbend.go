package vsb

import (
	"math/cmplx"

	"gonum.org/v1/gonum/mat"
)

// bend draws the pass band of slice s anew, given the delays and variances of
// the paths but not their gains.
//
// With b for its coefficients, B for what they make of the data and X = AᴴB, the
// log likelihood is
//
//	2·b·h − bᵀPb, P = Re(BᴴB − Xᴴ(V⁻¹+AᴴA)⁻¹X), h = Re(Bᴴy − Xᴴ(V⁻¹+AᴴA)⁻¹Aᴴy),
//
// and the coefficients, which are in units of their spread, are normal.
func (c *pathChain) bend(s int) {
	d := c.slices[s]
	shapes := passBandShapes()
	across := c.whitenedShapes(d, s)
	c.likelihood(c.paths, &c.gram, &c.match)
	precision := mat.NewSymDense(passBandCount, nil)
	pull := mat.NewVecDense(passBandCount, nil)
	for k := range passBandCount {
		// half has what the pass band does as it stands taken out.
		h := d.shapeMatch[k]
		for i := range c.paths {
			whole := c.half[i]
			for l := range passBandCount {
				whole += complex(d.bent[l], 0) * across[l][i]
			}
			h -= real(cmplx.Conj(across[k][i]) * whole)
		}
		pull.SetVec(k, 2*h+shapes[k].mean/shapes[k].sigma)
		for l := range k + 1 {
			p := d.shapeGram[k][l]
			for i := range c.paths {
				p -= real(cmplx.Conj(across[k][i]) * across[l][i])
			}
			precision.SetSym(k, l, 2*p)
		}
		precision.SetSym(k, k, precision.At(k, k)+1)
	}
	var factor mat.Cholesky
	if !factor.Factorize(precision) {
		return
	}
	var mean, scatter mat.VecDense
	if factor.SolveVecTo(&mean, pull) != nil {
		return
	}
	// With UᵀU for the precision, U⁻¹z has its inverse for covariance.
	z := mat.NewVecDense(passBandCount, nil)
	for k := range passBandCount {
		z.SetVec(k, c.rng.NormFloat64())
	}
	var upper mat.TriDense
	factor.UTo(&upper)
	if scatter.SolveVec(&upper, z) != nil {
		return
	}
	for k := range passBandCount {
		to := mean.AtVec(k) + scatter.AtVec(k)
		addScaled(d.match, complex(d.bent[k]-to, 0), d.shapes[k])
		d.bent[k] = to
	}
	c.rematch(s)
}

// whitenedShapes returns X, multiplied by the inverse of the factor of
// V⁻¹+AᴴA, by shape.
func (c *pathChain) whitenedShapes(d *sightSlice, s int) (out [passBandCount][chainPaths]complex128) {
	c.likelihood(c.paths, &c.gram, &c.match)
	for k := range out {
		for i := range c.paths {
			v := &c.paths[i].views[s]
			var x complex128
			for j, w := range v.w {
				x += complex(w, 0) * d.shapes[k][v.first+j]
			}
			x *= cmplx.Conj(v.spin)
			for j := range i {
				x -= c.factor[i][j] * out[k][j]
			}
			out[k][i] = x * c.factor[i][i]
		}
	}
	return out
}

// rematch finds the paths' matches with the data of slice s again.
func (c *pathChain) rematch(s int) {
	d := c.slices[s]
	for i := range c.paths {
		v := &c.paths[i].views[s]
		was := v.match
		v.match = 0
		for j, w := range v.w {
			v.match += complex(w, 0) * d.match[v.first+j]
		}
		c.match[i] += cmplx.Conj(v.spin) * (v.match - was)
	}
	c.like = c.likelihood(c.paths, &c.gram, &c.match)
}
