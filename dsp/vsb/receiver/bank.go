package receiver

import "math"

// bankErrors are the variances of the symbols' errors that the bank has filters for.
// Between two of them, what their filters make is mixed.
var bankErrors = [...]float64{0.2, 2, 20}

// unforeseen is by how much more noise soft symbols are believed to have than their
// filter promises: the promise holds where the symbols around are known equally well,
// and errors come in bursts. With less, bursts die out more slowly or start again.
const unforeseen = 1.5

// bank is the filters behind the first round. How well the symbols are known differs
// from place to place: where the trellises lost their way little is, and a filter that
// takes all others for known would make errors there of their errors. So each piece of
// a segment has the filter for what is known around it.
type bank struct {
	filters [len(bankErrors)]*filter
	pairs   [len(bankErrors) - 1]struct{ there, back []complex64 } // of neighbours, see fold
}

func newBank() *bank {
	b := new(bank)
	for i := range b.filters {
		b.filters[i] = newFilter()
	}
	for i := range b.pairs {
		b.pairs[i].there, b.pairs[i].back = make([]complex64, blockSize), make([]complex64, blockSize)
	}
	return b
}

// design makes the filters.
func (b *bank) design(d *designer, channel []complex64) {
	for i, f := range b.filters {
		d.design(f, channel, bankErrors[i], laterAhead)
	}
	for i := range b.pairs {
		pair(b.pairs[i].there, b.pairs[i].back, b.filters[i].spectrum, b.filters[i+1].spectrum)
	}
}

// least returns the variance of what stands in a soft symbol where the others are known.
func (b *bank) least() float64 { return b.filters[0].clean }

// noise returns the variance of what stands in a soft symbol where all others are known
// with errors of the variance v.
func (b *bank) noise(v float64) float64 {
	if v < bankErrors[0] {
		return b.filters[0].noise(v)
	}
	_, noise := b.at(v)
	return noise
}

// mixture is by which filters a piece's soft symbols are made: those of a pair, with
// what shares.
type mixture struct {
	pair          int
	first, second float32
}

// at returns the filters for errors of the variance v, and the variance of what stands
// in a soft symbol then: with less errors than the first filter is for, as with those.
func (b *bank) at(v float64) (m mixture, noise float64) {
	if v > bankErrors[1] {
		m.pair = 1
	}
	low, high := bankErrors[m.pair], bankErrors[m.pair+1]
	share := min(max(math.Log(v/low)/math.Log(high/low), 0), 1)
	m.first, m.second = float32(1-share), float32(share)
	return m, (1-share)*b.filters[m.pair].noise(low) + share*b.filters[m.pair+1].noise(max(v, high))
}

// mixed chooses the filters for a block's pieces by the variances of their levels, which
// begin with the piece before and end with one behind. It writes the variances of what
// will stand in the soft symbols to noise and returns which pairs are in use.
func (b *bank) mixed(mixtures *[blockPieces]mixture, noise, variances []float32) (used [len(bankErrors) - 1]bool) {
	for i := range mixtures {
		// What is near matters too.
		v := (variances[i] + 2*variances[i+1] + variances[i+2]) / 4
		m, n := b.at(max(float64(v), 1e-4))
		mixtures[i], noise[i] = m, float32(n*unforeseen)
		used[m.pair] = true
	}
	return used
}

// blockPieces is how many pieces the segments of a block have.
const blockPieces = blockSegments * pieces
