package meter

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"

	"rooftone/scan/measure"
	"rooftone/scan/verdict"
)

// Truth: README's table of grades.
func TestGradeOfAReading(t *testing.T) {
	for _, c := range []struct {
		margin  float64
		trained bool
		want    verdict.Grade
	}{
		{-0.1, true, ""},
		{0, true, verdict.Cliff},
		{2.9, true, verdict.Cliff},
		{3, true, verdict.Slim},
		{9, true, verdict.Firm},
		{20, false, ""},
		{math.NaN(), true, ""},
	} {
		u := Update{Margin: &measure.Estimate{Value: c.margin}, Trained: c.trained}
		require.Equal(t, c.want, u.Grade(), "%+v", c)
	}
	require.Empty(t, Update{Trained: true}.Grade(), "nothing measured")
}
