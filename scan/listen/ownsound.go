package listen

import (
	"math"
	"math/cmplx"
)

const (
	// ownReachHz is how far a harmonic of the radio's clock can be from its
	// place in a slice: what the synthesiser rounds of the tuning.
	ownReachHz = 150

	// ownBlockSeconds is how much of a stay is summed up before the search.
	ownBlockSeconds = 0.5e-3

	// ownLeast is how many times the power that noise has at one frequency a
	// tone must have to be taken out. Of the 40 or so frequencies that are
	// independent, none has it by chance in 1000 stays.
	ownLeast = 12
)

// removeOwnTones takes the harmonics of the radio's own clock out of a stay.
// They are not on the air, and a receiver will not hear them, so they must not
// count as error. x is changed in place.
func removeOwnTones(x []complex64, centerHz, rateHz, referenceHz float64) {
	if !(referenceHz > 0) {
		return
	}
	first := math.Ceil((centerHz - rateHz/2) / referenceHz)
	last := math.Floor((centerHz + rateHz/2) / referenceHz)
	const most = 20 // a reference so low that more fit is no dongle's
	if last-first >= most {
		return
	}
	for k := first; k <= last; k++ {
		removeTone(x, (k*referenceHz-centerHz)/rateHz, rateHz)
	}
}

// removeTone takes out a tone near a frequency in cycles per sample, if there
// is one that stands out.
func removeTone(x []complex64, frequency, rateHz float64) {
	size := max(1, int(ownBlockSeconds*rateHz))
	blocks := len(x) / size
	if blocks < 16 {
		return
	}
	// Mixed to 0 and summed up block by block.
	sums := make([]complex128, blocks)
	var power float64
	step := cmplx.Rect(1, -2*math.Pi*frequency)
	for b := range sums {
		turn := cmplx.Rect(1, -2*math.Pi*math.Mod(frequency*float64(b*size), 1))
		for _, v := range x[b*size : (b+1)*size] {
			sums[b] += complex128(v) * turn
			turn *= step
		}
		power += real(sums[b])*real(sums[b]) + imag(sums[b])*imag(sums[b])
	}
	// The best frequency, on a grid of a quarter of what the stay resolves and
	// then between its values. What is searched is in cycles per block.
	at := func(f float64) complex128 {
		var s complex128
		for b, v := range sums {
			s += v * cmplx.Rect(1, -2*math.Pi*f*float64(b))
		}
		return s
	}
	reach := ownReachHz * float64(size) / rateHz
	grid := 0.25 / float64(blocks)
	best, most := 0.0, 0.0
	for f := -reach; f <= reach; f += grid {
		if a := cmplx.Abs(at(f)); a > most {
			best, most = f, a
		}
	}
	if before, after := cmplx.Abs(at(best-grid)), cmplx.Abs(at(best+grid)); before+after < 2*most {
		best += grid * (after - before) / (2 * (2*most - before - after))
	}
	sum := at(best)
	if p := real(sum)*real(sum) + imag(sum)*imag(sum); p < ownLeast*power {
		return
	}
	// A block's sum falls short of its length by the tone's turning in it.
	short := 1.0
	if turn := math.Pi * best; turn != 0 {
		short = math.Sin(turn) / turn
	}
	middle := cmplx.Rect(1, -math.Pi*best) // the sum stands for the block's middle
	amplitude := sum * middle / complex(short*float64(blocks*size), 0)
	f := frequency + best/float64(size)
	step = cmplx.Rect(1, 2*math.Pi*f)
	for from := 0; from < len(x); from += size {
		turn := amplitude * cmplx.Rect(1, 2*math.Pi*math.Mod(f*float64(from), 1))
		for i := from; i < min(from+size, len(x)); i++ {
			x[i] -= complex64(turn)
			turn *= step
		}
	}
}
