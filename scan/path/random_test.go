package path_test

import (
	"encoding/csv"
	"math"
	"os"
	"strconv"
	"testing"

	"github.com/stretchr/testify/require"

	"rooftone/scan/path"
)

// draw gives numbers from 0 to 1, the same everywhere.
type draw uint64

func (d *draw) next() float64 {
	*d = *d*6364136223846793005 + 1442695040888963407
	return float64(*d>>11) / (1 << 53)
}

// randomCase is the case with a number: testdata/README.md has it in words.
func randomCase(number int) (path.Link, path.Profile, path.Share) {
	d := draw(number)
	for range 8 {
		d.next()
	}
	steps := 20 + int(d.next()*380)
	p := path.Profile{StepM: 30 + d.next()*470, M: make([]float64, steps+1)}
	size, base := math.Pow(10, 2.5*d.next()), 1500*d.next()
	whole := d.next() < 0.5
	var waves [6][3]float64
	for j := range waves {
		waves[j][0] = size * d.next() / float64(j+1)
		waves[j][1] = (float64(j) + d.next()) * 3 / float64(steps)
		waves[j][2] = d.next()
	}
	for k := range p.M {
		h := base
		for _, w := range waves {
			h += w[0] * math.Sin(2*math.Pi*(float64(k)*w[1]+w[2]))
		}
		h += 0.1 * size * d.next()
		if whole {
			h = math.Floor(h)
		}
		p.M[k] = h
	}
	var l path.Link
	l.HeightsM = [2]float64{math.Pow(10, 3*d.next()), math.Pow(10, 2*d.next())}
	span := 2.69
	if d.next() < 0.8 {
		span = 1.5
	}
	l.FrequencyHz = 40e6 * math.Pow(10, span*d.next())
	l.Refractivity, l.Permittivity = 250+150*d.next(), 4+77*d.next()
	l.Conductivity = math.Pow(10, -3+3.5*d.next())
	l.Vertical = d.next() >= 0.7
	l.Climate = path.Climate(int(7 * d.next()))
	uses := [...]int{0, 1, 2, 3, 10, 11, 12, 13, 20, 23, 30, 33}
	s := useOf(uses[int(12*d.next())])
	s.Time, s.Place, s.Situation = (1+98*d.next())/100, (1+98*d.next())/100, (1+98*d.next())/100
	return l, p, s
}

// useOf is the mode of variability as the model's authors count it.
func useOf(mode int) path.Share {
	return path.Share{Use: path.Use(mode % 10), OnePlace: mode/10%2 == 1, OneSituation: mode/20 == 1}
}

// Truth: a second implementation: the model's authors' own program, version 1.4, on
// 2000 random profiles; testdata/README.md has the recipe.
func TestRandomProfiles(t *testing.T) {
	f, err := os.Open("testdata/random.csv")
	require.NoError(t, err)
	defer f.Close()
	rows, err := csv.NewReader(f).ReadAll()
	require.NoError(t, err)
	require.Len(t, rows, 2000)
	modes := map[string]path.Mode{"1": path.InSight, "2": path.Bent, "3": path.Scattered}
	worst := 0.0
	for i, row := range rows {
		l, p, s := randomCase(i + 1)
		got, err := path.Predict(l, p)
		require.NoError(t, err, row)
		loss, err := got.LossDB(s)
		require.NoError(t, err)
		want, err := strconv.ParseFloat(row[1], 64)
		require.NoError(t, err)
		reference, err := strconv.ParseFloat(row[2], 64)
		require.NoError(t, err)
		if d := math.Abs(loss - want); d > 0.01 {
			t.Errorf("case %d: %.4f dB for %.4f, reference %.4f for %.4f, %s", i+1, loss, want, got.ReferenceDB, reference, got.Mode)
		}
		if modes[row[3]] != got.Mode {
			t.Errorf("case %d: mode %s for %s", i+1, got.Mode, row[3])
		}
		worst = max(worst, math.Abs(loss-want))
	}
	t.Logf("worst %.4f dB", worst)
}
