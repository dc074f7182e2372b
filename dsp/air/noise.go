package air

import "math"

// Noise is a source of complex Gaussian noise, white over the whole sample
// rate. I and Q are independent and each carries half of the power.
//
// It is the ziggurat of Marsaglia and Tsang (2000) with 256 layers and an exact
// tail. One 64-bit draw of SplitMix64 serves I with one half and Q with the
// other; within a half the layer's number and the value come from different
// bits, which is what the published method got wrong (Doornik 2005).
type Noise struct {
	state uint64
	edge  [layers]uint32  // accept at once when |value| is below
	width [layers]float32 // a layer's width over 2²³
	top   [layers]float64 // exp(−x²/2) at the layers' outer ends
}

const (
	layers   = 256
	tailFrom = 3.6541528853610088 // where 256 layers of equal area begin the tail
)

// NewNoise returns the noise that a seed begins. Reuse one for many stays with
// [Noise.Seed]: the tables cost some microseconds.
func NewNoise(seed uint64) *Noise {
	n := &Noise{}
	n.Seed(seed)

	area := tailFrom*bell(tailFrom) + math.Sqrt(math.Pi/2)*math.Erfc(tailFrom/math.Sqrt2)
	const span = 1 << 23
	// Layer 0 is the base strip with the tail: as wide as its area asks.
	base := area / bell(tailFrom)
	n.edge[0] = uint32(tailFrom / base * span)
	n.width[0] = float32(base / span)
	n.top[0] = 1
	x := tailFrom
	for i := layers - 1; i > 0; i-- {
		n.width[i] = float32(x / span)
		n.top[i] = bell(x)
		inner := 0.0
		if i > 1 {
			inner = math.Sqrt(-2 * math.Log(area/x+bell(x)))
		}
		n.edge[i] = uint32(inner / x * span)
		x = inner
	}
	return n
}

func bell(x float64) float64 { return math.Exp(-x * x / 2) }

// Seed begins the sequence of the given seed.
func (n *Noise) Seed(seed uint64) { n.state = mix(seed) }

func (n *Noise) next() uint64 {
	n.state += golden
	return mix(n.state)
}

// Fill sets dst to noise of the given mean power.
func (n *Noise) Fill(dst []complex64, power float64) {
	sigma := float32(math.Sqrt(power / 2))
	for k := range dst {
		re, im := n.pair()
		dst[k] = complex(sigma*re, sigma*im)
	}
}

// Add adds noise of the given mean power to dst.
func (n *Noise) Add(dst []complex64, power float64) {
	sigma := float32(math.Sqrt(power / 2))
	for k, z := range dst {
		re, im := n.pair()
		dst[k] = complex(real(z)+sigma*re, imag(z)+sigma*im)
	}
}

// pair returns two independent normal values of variance 1.
func (n *Noise) pair() (a, b float32) {
	u := n.next()
	lo, hi := uint32(u), uint32(u>>32)
	va, vb := int32(lo)>>8, int32(hi)>>8
	if uint32(max(va, -va)) < n.edge[lo&0xff] && uint32(max(vb, -vb)) < n.edge[hi&0xff] {
		return float32(va) * n.width[lo&0xff], float32(vb) * n.width[hi&0xff]
	}
	return n.normal(lo), n.normal(hi)
}

// normal finishes one value from 32 random bits, drawing more when they fall
// outside their layer's sure part.
func (n *Noise) normal(bits uint32) float32 {
	for {
		layer := bits & 0xff
		v := int32(bits) >> 8
		x := float64(v) * float64(n.width[layer])
		if uint32(max(v, -v)) < n.edge[layer] {
			return float32(x)
		}
		if layer == 0 {
			return float32(math.Copysign(n.tail(), x))
		}
		// The layer lies between the bell's heights at its own end and at the
		// next one inwards.
		inner := 1.0
		if layer > 1 {
			inner = n.top[layer-1]
		}
		y := n.top[layer] + unit(n.next())*(inner-n.top[layer])
		if y < bell(x) {
			return float32(x)
		}
		bits = uint32(n.next() >> 32)
	}
}

// tail draws from the bell beyond tailFrom (Marsaglia 1964).
func (n *Noise) tail() float64 {
	for {
		// 1−u is never 0.
		x := -math.Log(1-unit(n.next())) / tailFrom
		y := -math.Log(1 - unit(n.next()))
		if 2*y > x*x {
			return tailFrom + x
		}
	}
}
