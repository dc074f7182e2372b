// Package robust has the means that a few wild values cannot pull.
package robust

import (
	"math"
	"slices"
)

// Median returns the median of x, NaN when there is none, and leaves x as it
// is.
func Median(x []float64) float64 {
	if len(x) == 0 {
		return math.NaN()
	}
	y := slices.Clone(x)
	slices.Sort(y)
	if n := len(y); n%2 == 0 {
		return (y[n/2-1] + y[n/2]) / 2
	}
	return y[len(y)/2]
}

// Spread returns the standard deviation of x as the median of the distances
// from the median tells it, which is 1.4826 times that for a normal
// distribution; NaN when there is none.
func Spread(x []float64) float64 {
	middle := Median(x)
	away := make([]float64, len(x))
	for i, v := range x {
		away[i] = math.Abs(v - middle)
	}
	return 1.4826 * Median(away)
}

// Mean returns the arithmetic mean of x, NaN when there is none.
func Mean(x []float64) float64 {
	var sum float64
	for _, v := range x {
		sum += v
	}
	return sum / float64(len(x))
}

// MedianOfGamma returns the median over the mean of an average of k
// exponentially distributed values, such as a bin of a spectrum of k averages:
// Wilson and Hilferty's approximation, good to 1 % from k = 2 up.
func MedianOfGamma(k float64) float64 {
	x := 1 - 1/(9*k)
	return x * x * x
}
