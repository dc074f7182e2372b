package coding

// A soft symbol is looked up in a table of branch metrics, so its level is
// rounded to 1/64 and held within ±9: beyond the outer levels by 2, where the
// nearest level is no longer in question.
const (
	softSteps   = 64 // per unit of level
	softLimit   = 9
	softEntries = 2*softLimit*softSteps + 1
	softErased  = softEntries // the entry of a symbol of which nothing is known
)

// The eight levels are four cosets, named by their bits Z1 Z0, of two levels eight
// apart, told by Z2. An entry has for each coset sixteen bits, coset 0 in the
// lowest: the squared distance to the nearer of its levels less the least of the
// four, in units of 1/metricSteps, and on top of it the nearer one's Z2.
//
// The largest metric is (8² − 2²)·24 = 1440: those of 16 symbols fit below bit 15,
// those of the 69 of a segment would not.
type branchMetrics [softEntries + 1]uint64

const metricSteps = 24

func newBranchMetrics() *branchMetrics {
	m := new(branchMetrics)
	for i := range softEntries {
		level := float64(i)/softSteps - softLimit
		var distance [4]float64
		var upper [4]uint64
		least := 1e9
		for coset := range distance {
			low := level - float64(2*coset-7)
			high := low - 8
			distance[coset] = low * low
			if high*high < low*low {
				distance[coset], upper[coset] = high*high, 1
			}
			least = min(least, distance[coset])
		}
		for coset, d := range distance {
			metric := uint64((d-least)*metricSteps + 0.5)
			m[i] |= (metric | upper[coset]<<15) << (16 * coset)
		}
	}
	return m
}

// quantise writes the entries of soft symbols. Symbols that are no number or
// infinite are erased. It returns whether there were any.
func quantise(dst *[dataSymbols]uint16, soft []float32) (erased bool) {
	soft = soft[:len(dst)]
	for i, v := range soft {
		x := v*softSteps + softMiddle
		if x >= 0 && x < softEntries {
			dst[i] = uint16(int32(x))
			continue
		}
		dst[i] = outerEntry(v)
		erased = erased || dst[i] == softErased
	}
	return erased
}

// softMiddle is where the entry of level 0 begins.
const softMiddle = softLimit*softSteps + 0.5

// outerEntry returns the entry of a soft symbol beyond ±softLimit.
func outerEntry(v float32) uint16 {
	switch difference := v - v; {
	case difference != 0: // not a number, as is the difference of infinities
		return softErased
	case v > 0:
		return softEntries - 1
	default:
		return 0
	}
}
