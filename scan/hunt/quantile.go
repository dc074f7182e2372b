package hunt

import (
	"math"
	"slices"
)

// quantile returns the value that a share of x does not exceed, NaN for none.
func quantile(x []float64, share float64) float64 {
	if len(x) == 0 {
		return math.NaN()
	}
	y := slices.Clone(x)
	slices.Sort(y)
	at := share * float64(len(y)-1)
	i := int(at)
	if i+1 >= len(y) {
		return y[len(y)-1]
	}
	return y[i] + (at-float64(i))*(y[i+1]-y[i])
}
