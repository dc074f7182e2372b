package robust

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/stat/distuv"
)

// Truth: the definition of a median.
func TestMedian(t *testing.T) {
	x := []float64{5, 1, 4}
	require.Equal(t, 4., Median(x))
	require.Equal(t, []float64{5, 1, 4}, x)
	require.Equal(t, 2.5, Median([]float64{4, 1, 2, 3}))
	require.True(t, math.IsNaN(Median(nil)))
	require.Equal(t, 2., Mean([]float64{1, 3}))
}

// Truth: the normal distribution's quantiles and the gamma distribution's, by
// gonum.
func TestAgainstDistributions(t *testing.T) {
	var x []float64
	normal := distuv.Normal{Mu: 3, Sigma: 2}
	for i := range 10001 {
		x = append(x, normal.Quantile((float64(i)+0.5)/10001))
	}
	require.InDelta(t, 2, Spread(x), 0.01)
	for _, k := range []float64{2, 10, 100} {
		require.InEpsilon(t, distuv.Gamma{Alpha: k, Beta: k}.Quantile(0.5), MedianOfGamma(k), 0.01)
	}
}
