package impulse

import (
	"math"

	"gonum.org/v1/gonum/mathext"
)

const (
	// Mains of 50 and 60 Hz; what they drive sparks once or twice a period.
	harmonics = 32 // of 50 or 60 Hz
	tries     = 25 // frequencies around each
	// reach is how far mains are off their frequency at the most, from memory
	// of the trade: 0.2 Hz in 60 on a bad day, and more on a generator.
	reach = 0.006
)

// Rhythm gathers how much of the power behind the filter goes with the mains,
// over any number of pieces. Their phases need not agree. The zero Rhythm has
// heard nothing.
type Rhythm struct {
	pieces float64
	// power is, for mains of 50 and 60 Hz, each frequency tried and each of its
	// harmonics, the power of the rhythm in units of what chance has there.
	power [2][tries][harmonics]float64
	frame [frameLines]float64 // power at the multiples of 100 Hz, in units of what chance has
}

// Mains is a rhythm that goes with the mains.
type Mains struct {
	RateHz, SigmaHz float64 // of the bursts: once or twice a period
	MainsHz         float64 // 100 or 120: twice the mains' nominal frequency
	Chance          float64 // probability that chance has a rhythm as strong
}

func mainsHz(which int) float64 { return []float64{50, 60}[which] }

func tried(try int) float64 { return 1 + reach*(2*float64(try)/(tries-1)-1) }

// Add takes in another's pieces.
func (r *Rhythm) Add(o *Rhythm) {
	r.pieces += o.pieces
	for w := range r.power {
		for t := range r.power[w] {
			for h := range r.power[w][t] {
				r.power[w][t][h] += o.power[w][t][h]
			}
		}
	}
	for k := range r.frame {
		r.frame[k] += o.frame[k]
	}
}

// add takes in a piece's power, in parts of its quiet level, in steps of some
// seconds. Unlike a single spectrum's, the frequencies here may lie close.
func (r *Rhythm) add(x []float64, stepSeconds float64) {
	if len(x) < 64 {
		return
	}
	var mean, variance float64
	for _, v := range x {
		mean += v / float64(len(x))
	}
	for _, v := range x {
		variance += (v - mean) * (v - mean)
	}
	if !(variance > 0) {
		return
	}
	r.pieces++
	r.addFrame(x, stepSeconds, mean, variance)
	var level [harmonics]float64
	for w := range r.power {
		between(level[:], x, mean, variance, mainsHz(w)*stepSeconds)
		for h := range harmonics {
			var turns, power [tries]float64
			for t := range turns {
				turns[t] = mainsHz(w) * tried(t) * float64(h+1) * stepSeconds
			}
			turningPower(power[:], x, mean, turns[:])
			for t, p := range power {
				r.power[w][t][h] += p / level[h]
			}
		}
	}
}

// between fills level with what chance has near each harmonic: what is found
// between them, but no less than what white noise of the same variance has. A
// lone cluster of pulses has power at all low frequencies.
func between(level, x []float64, mean, variance, turn float64) {
	const per = 5
	var turns, power [(harmonics + 1) * per]float64
	for i := range turns {
		turns[i] = turn * (float64(i/per) + 0.4 + 0.05*float64(i%per))
	}
	turningPower(power[:], x, mean, turns[:])
	var own [harmonics + 1]float64
	for i, p := range power {
		own[i/per] += p / per
	}
	for h := range level {
		level[h] = math.Max(variance, (own[h]+own[h+1])/2)
	}
}

// turningPower sets power[k] to |Σ (x−mean)·exp(−2πi·turns[k]·n)|².
func turningPower(power, x []float64, mean float64, turns []float64) {
	// Goertzel's recurrence, of which each step waits for the last: four side
	// by side take hardly longer than one. In pieces short enough for its
	// rounding.
	const piece, side = 4096, 4
	for k := 0; k < len(turns); k += side {
		var cos, sin, re, im [side]float64
		n := min(side, len(turns)-k)
		for i := range n {
			sin[i], cos[i] = math.Sincos(2 * math.Pi * turns[k+i])
		}
		for from := 0; from < len(x); from += piece {
			part := x[from:min(from+piece, len(x))]
			c0, c1, c2, c3 := 2*cos[0], 2*cos[1], 2*cos[2], 2*cos[3]
			var a0, a1, a2, a3, b0, b1, b2, b3 float64
			for _, v := range part {
				v -= mean
				a0, b0 = v+c0*a0-b0, a0
				a1, b1 = v+c1*a1-b1, a1
				a2, b2 = v+c2*a2-b2, a2
				a3, b3 = v+c3*a3-b3, a3
			}
			a, b := [side]float64{a0, a1, a2, a3}, [side]float64{b0, b1, b2, b3}
			for i := range n {
				// a − b·e^{−iω} is Σ v·e^{iω(N−1−n)}; turn it to the start of x.
				zr, zi := a[i]-b[i]*cos[i], b[i]*sin[i]
				s, c := math.Sincos(2 * math.Pi * math.Mod(turns[k+i]*float64(from+len(part)-1), 1))
				re[i] += zr*c + zi*s
				im[i] += zi*c - zr*s
			}
		}
		for i := range n {
			power[k+i] = re[i]*re[i] + im[i]*im[i]
		}
	}
}

// Mains tells what goes with the mains, if chance has as much with no more than
// the given probability.
func (r *Rhythm) Mains(falseAlarm float64) (Mains, bool) {
	if r.pieces == 0 {
		return Mains{}, false
	}
	best := Mains{Chance: 1}
	var bestExponent float64
	for w := range r.power {
		for t := range r.power[w] {
			// Bursts twice a period have the even harmonics only.
			for _, every := range [2]int{2, 1} {
				for _, most := range [4]int{2, 4, 8, 16} {
					sum, n := 0.0, 0.0
					for h := every; h <= min(most*every, harmonics); h += every {
						sum += r.power[w][t][h-1]
						n += r.pieces
					}
					// Chernoff's bound, in logarithms: the probability itself
					// may be too small for a number.
					if sum <= n {
						continue
					}
					if exponent := sum - n - n*math.Log(sum/n); exponent > bestExponent {
						bestExponent = exponent
						// So many sums were looked at, and a third of them
						// shares too little with its neighbours to be one.
						const looks = 2 * tries * 2 * 4 / 3
						best = Mains{MainsHz: 2 * mainsHz(w), Chance: math.Min(1, looks*mathext.GammaIncRegComp(n, sum))}
					}
				}
			}
		}
	}
	if !(best.Chance <= falseAlarm) {
		return Mains{}, false
	}
	r.refine(&best)
	return best, true
}

// refine moves the rate to where the harmonics' power has its middle, and tells
// whether it is once or twice a period.
func (r *Rhythm) refine(m *Mains) {
	w := 0
	if m.MainsHz == 120 {
		w = 1
	}
	total := make([]float64, tries)
	var odd, even float64
	top := 0
	for t := range total {
		for h := range harmonics {
			total[t] += r.power[w][t][h]
		}
		if total[t] > total[top] {
			top = t
		}
	}
	for h := range harmonics {
		if extra := r.power[w][top][h] - r.pieces; h%2 == 0 {
			odd += extra
		} else {
			even += extra
		}
	}
	every := 2.0
	if odd > 0.25*even {
		every = 1
	}
	// A power in units of chance's is the logarithm of a likelihood, and its
	// bend at the top one over the variance. The tries are a step apart.
	step := mainsHz(w) * every * reach * 2 / (tries - 1)
	at, sigma := float64(top), 1/math.Sqrt(12)
	if top > 0 && top < tries-1 {
		if a, b, c := total[top-1], total[top], total[top+1]; a-2*b+c < 0 {
			bend := a - 2*b + c
			at += max(-0.5, min(0.5, (a-c)/(2*bend)))
			sigma = rateDoubt / math.Sqrt(-bend)
		}
	}
	m.RateHz = mainsHz(w) * every * (1 + reach*(2*at/(tries-1)-1))
	m.SigmaHz = step * min(sigma, 1)
}

// rateDoubt is by how much a rate is less sure than the bend says: pulses do
// not come quite evenly.
const rateDoubt = 3
