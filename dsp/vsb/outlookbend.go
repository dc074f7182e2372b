package vsb

import (
	"math"
	"math/cmplx"
	"math/rand/v2"
)

// bend integrates the pass band out. Its coefficients b, in units of their
// spread and the same for all slices, are real and normal; B is what they make
// of the data. With X = AᴴB and Q = V⁻¹+AᴴA for the paths, the log likelihood
// has beside that of a flat pass band
//
//	2·b·h − bᵀPb, P = Re(BᴴB − XᴴQ⁻¹X), h = Re(Bᴴy − XᴴQ⁻¹Aᴴy),
//
// so that b is normal with the precision 1+2P.
type bend struct {
	gram  [passBandCount][passBandCount]float64 // Re BᴴB
	match [passBandCount]float64                // Re Bᴴy

	half   [chainPaths][passBandCount]complex128 // L⁻¹X for the factor L of Q
	factor [passBandCount][passBandCount]float64 // of the precision
	pull   [passBandCount]float64                // factor⁻¹·2h
}

// add adds a slice.
func (b *bend) add(s *sightSlice) {
	for k := range passBandCount {
		b.match[k] += s.shapeMatch[k]
		for l := range passBandCount {
			b.gram[k][l] += s.shapeGram[k][l]
		}
	}
}

// likelihood is what the pass band adds to the log likelihood. half is L⁻¹Aᴴy.
func (b *bend) likelihood(half []complex128) float64 {
	out, volume := 0., 1.
	for k := range passBandCount {
		pull := 2 * b.match[k]
		var row [passBandCount]float64
		for l := range k + 1 {
			row[l] = 2 * b.gram[k][l]
		}
		row[k]++
		for i, y := range half {
			x := b.half[i][k]
			pull -= 2 * (real(x)*real(y) + imag(x)*imag(y))
			for l := range k + 1 {
				z := b.half[i][l]
				row[l] -= 2 * (real(x)*real(z) + imag(x)*imag(z))
			}
		}
		for l := range k {
			for m := range l {
				row[l] -= row[m] * b.factor[l][m]
			}
			row[l] /= b.factor[l][l]
			row[k] -= row[l] * row[l]
			pull -= row[l] * b.pull[l]
		}
		row[k] = math.Sqrt(math.Max(row[k], 1e-3))
		b.factor[k] = row
		b.pull[k] = pull / row[k]
		out += b.pull[k] * b.pull[k] / 2
		volume *= row[k]
	}
	return out - math.Log(volume)
}

// draw draws the coefficients.
func (b *bend) draw(rng *rand.Rand) (out [passBandCount]float64) {
	for k := passBandCount - 1; k >= 0; k-- {
		v := b.pull[k] + rng.NormFloat64()
		for l := k + 1; l < passBandCount; l++ {
			v -= b.factor[l][k] * out[l]
		}
		out[k] = v / b.factor[k][k]
	}
	return out
}

// bend adds up a path's products with the pass band's shapes.
func (p *chainPath) bend() {
	p.shape = [passBandCount]complex128{}
	for s := range p.views {
		v := &p.views[s]
		spin := cmplx.Conj(v.spin)
		for k := range p.shape {
			p.shape[k] += spin * v.shape[k]
		}
	}
}
