package site

import (
	"encoding/csv"
	"errors"
	"fmt"
	"math"
	"os"
	"strconv"
	"testing"

	"github.com/stretchr/testify/require"
)

// Truth: published geodesics and GeographicLib's own program; see
// testdata/README.txt.
func TestPathBetween(t *testing.T) {
	f, err := os.Open("testdata/geodesics.csv")
	require.NoError(t, err)
	defer f.Close()
	rows, err := csv.NewReader(f).ReadAll()
	require.NoError(t, err)
	require.Len(t, rows, 1+20+33)
	var worstM, worstDeg float64
	opposite := 0
	for _, row := range rows[1:] {
		v := make([]float64, len(row)-1)
		for i := range v {
			v[i], err = strconv.ParseFloat(row[i+1], 64)
			require.NoError(t, err)
		}
		got, err := PathBetween(Position{v[0], v[1]}, Position{v[2], v[3]})
		if errors.Is(err, ErrAntipodal) {
			require.Greater(t, v[4], 19.8e6, "%v", row)
			opposite++
			continue
		}
		require.NoError(t, err)
		worstM = max(worstM, math.Abs(got.DistanceM-v[4]))
		require.InDelta(t, v[4], got.DistanceM, 1e-4, "%v", row)
		if v[4] < 1 {
			continue // 6 decimals of a degree are 0.1 m
		}
		if math.Abs(v[0]) < 90 || math.Abs(v[2]) < 90 { // no north at a pole
			for i, b := range []float64{got.BearingDeg, got.ArrivalDeg} {
				d := math.Abs(math.Remainder(b-v[5+i], 360))
				worstDeg = max(worstDeg, d)
				micrometre := 1e-6 / v[4] * 180 / math.Pi // for what lies metres away
				tolerance := max(1e-8, micrometre)
				if v[4] > 19e6 { // nearly opposite: any direction is nearly the shortest
					tolerance = 1e-6
				}
				require.LessOrEqual(t, d, tolerance, "%v", row)
				require.True(t, b >= 0 && b < 360)
			}
		}
	}
	require.LessOrEqual(t, opposite, 3)
	t.Logf("worst %.1g m, %.1g degrees; %d of %d are antipodal", worstM, worstDeg, opposite, len(rows)-1)
}

// Truth: theory: a path back is the same path.
func TestPathBack(t *testing.T) {
	a, b := Position{44.26, -72.58}, Position{45.01, -71.8}
	there, err := PathBetween(a, b)
	require.NoError(t, err)
	back, err := PathBetween(b, a)
	require.NoError(t, err)
	require.InDelta(t, there.DistanceM, back.DistanceM, 1e-6)
	require.InDelta(t, turn360(there.ArrivalDeg+180), back.BearingDeg, 1e-9)
	none, err := PathBetween(a, a)
	require.NoError(t, err)
	require.Equal(t, Path{}, none)
}

// Truth: Vincenty's paper: the formula does not converge for some points that
// are nearly opposite.
func TestPathAntipodal(t *testing.T) {
	for _, to := range []Position{{0.5, 179.7}, {0, 180}, {0, 179.9}} {
		_, err := PathBetween(Position{}, to)
		require.ErrorIs(t, err, ErrAntipodal, "%v", to)
	}
}

// Truth: the documented ranges.
func TestPositionRange(t *testing.T) {
	for _, p := range []Position{{91, 0}, {-90.1, 0}, {0, 181}, {0, -181}, {math.NaN(), 0}, {0, math.NaN()}, {math.Inf(1), 0}} {
		_, err := PathBetween(Position{}, p)
		require.Error(t, err, "%v", p)
		_, err = PathBetween(p, Position{})
		require.Error(t, err, "%v", p)
		_, err = From(p, nil)
		require.Error(t, err, "%v", p)
	}
	for text, want := range map[string]Position{
		"44.26,-72.58": {44.26, -72.58}, " 1 , 2 ": {1, 2}, "-90,180": {-90, 180}, "1e1,0": {10, 0},
	} {
		got, err := ParsePosition(text)
		require.NoError(t, err)
		require.Equal(t, want, got)
	}
	for _, text := range []string{"", "44", "44;2", "44,2,3", "N44,W72", "91,0", "0,200", "nan,0", "44°,72°"} {
		_, err := ParsePosition(text)
		require.Error(t, err, "%q", text)
		require.NotContains(t, err.Error(), "\n")
	}
	p, err := ParsePosition(Position{44.26, -72.58}.String())
	require.NoError(t, err)
	require.Equal(t, Position{44.26, -72.58}, p)
}

// Truth: the definition of declination: true = magnetic + east declination.
func TestDeclination(t *testing.T) {
	for _, c := range []struct{ true, declination, magnetic float64 }{
		{135, -14, 149}, {5, 10, 355}, {350, -20, 10}, {0, 0, 0}, {0, 360, 0},
	} {
		require.InDelta(t, c.magnetic, MagneticBearing(c.true, c.declination), 1e-12)
		require.InDelta(t, c.true, TrueBearing(c.magnetic, c.declination), 1e-12)
	}
	require.Zero(t, turn360(-1e-20))
}

func ExamplePathBetween() {
	house, _ := ParsePosition("44.26,-72.58")
	station := Position{LatDeg: 44.53, LonDeg: -72.82}
	p, _ := PathBetween(house, station)
	fmt.Printf("%.1f km at %.0f° true, %.0f° by a compass where the declination is 14° west\n",
		p.DistanceM/1e3, p.BearingDeg, MagneticBearing(p.BearingDeg, -14))
	// Output: 35.6 km at 328° true, 342° by a compass where the declination is 14° west
}
