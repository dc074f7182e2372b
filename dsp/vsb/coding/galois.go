package coding

// galois is the field of 256 elements that the Reed–Solomon code works in: bytes
// as polynomials modulo x⁸+x⁴+x³+x²+1, of which α = x is a primitive element.
type galois struct {
	log [256]uint8     // of 1 to 255
	exp [510]uint8     // α^i, twice round
	by  [21][256]uint8 // by[j][a] = a·α^j
}

const (
	galoisPolynomial = 0x11d
	galoisOrder      = 255
)

func newGalois() *galois {
	g := new(galois)
	a := 1
	for i := range galoisOrder {
		g.exp[i] = uint8(a)
		g.exp[i+galoisOrder] = uint8(a)
		g.log[a] = uint8(i)
		a <<= 1
		if a > 0xff {
			a ^= galoisPolynomial
		}
	}
	for j := range g.by {
		for a := range g.by[j] {
			g.by[j][a] = g.mul(uint8(a), g.exp[j])
		}
	}
	return g
}

func (g *galois) mul(a, b uint8) uint8 {
	if a == 0 || b == 0 {
		return 0
	}
	return g.exp[int(g.log[a])+int(g.log[b])]
}

// div returns a/b; b is not 0.
func (g *galois) div(a, b uint8) uint8 {
	if a == 0 {
		return 0
	}
	return g.exp[int(g.log[a])+galoisOrder-int(g.log[b])]
}

// power returns α^n for n ≥ 0.
func (g *galois) power(n int) uint8 { return g.exp[n%galoisOrder] }
