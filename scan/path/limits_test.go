package path_test

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"

	"rooftone/scan/path"
)

// Truth: ITU-R P.525: the loss of equation 4 in closed form, (4πd/λ)², and the field
// of 1 kW from a half-wave dipole at 1 km, 106.9 dBµV/m (FCC OET Bulletin 69 counts
// from the same: 106.92 dBµV/m less 20 log of the distance in km).
func TestFreeSpace(t *testing.T) {
	for _, hz := range []float64{57e6, 195e6, 605e6} {
		for _, m := range []float64{1e3, 30e3, 100e3} {
			want := 20 * math.Log10(4*math.Pi*m*hz/299792458)
			require.InDelta(t, want, path.FreeSpaceDB(hz, m), 0.003)
			field := path.FieldDBuVm(1, hz, path.FreeSpaceDB(hz, m))
			require.InDelta(t, 106.92-20*math.Log10(m/1e3), field, 0.01)
		}
	}
}

// Truth: theory: half the field is left at the edge's own height, and ITU-R P.526
// gives the approximation of equation 31 for v above −0.78, good to a few tenths of a
// dB at most; Abramowitz and Stegun, table 7.7, has C and S themselves.
func TestKnifeEdge(t *testing.T) {
	require.InDelta(t, 20*math.Log10(2), path.KnifeEdgeDB(0), 1e-12)
	for v := -0.7; v <= 10; v += 0.1 {
		want := 6.9 + 20*math.Log10(math.Hypot(v-0.1, 1)+v-0.1)
		require.InDelta(t, want, path.KnifeEdgeDB(v), 0.3, "v = %.1f", v)
	}
	// C(1) = 0.7798934, S(1) = 0.4382591; C(5) = 0.5636312, S(5) = 0.4991914.
	for v, cs := range map[float64][2]float64{1: {0.7798934, 0.4382591}, 5: {0.5636312, 0.4991914}} {
		want := -20 * math.Log10(math.Hypot(1-cs[0]-cs[1], cs[0]-cs[1])/2)
		require.InDelta(t, want, path.KnifeEdgeDB(v), 1e-4)
	}
	require.InDelta(t, path.KnifeEdgeDB(3.9999), path.KnifeEdgeDB(4.0001), 1e-2)
	require.InDelta(t, 0, path.KnifeEdgeDB(-30), 0.1)
}

// Truth: theory: high over short, flat ground the model leaves free space with at
// most the two rays' 6 dB; over one sharp ridge between high antennas it costs what
// an edge costs, within the model's rounding of the earth.
func TestModelMeetsItsLimits(t *testing.T) {
	l := path.Link{FrequencyHz: 605e6, HeightsM: [2]float64{300, 100}, Surroundings: path.Television()}
	flat := path.Profile{StepM: 100, M: make([]float64, 51)}
	p, err := path.Predict(l, flat)
	require.NoError(t, err)
	require.Equal(t, path.InSight, p.Mode)
	loss, err := p.LossDB(path.Median())
	require.NoError(t, err)
	require.InDelta(t, p.FreeSpaceDB, loss, 3)

	ridge := path.Profile{StepM: 100, M: make([]float64, 401)}
	ridge.M[200] = 500
	l.HeightsM = [2]float64{200, 200}
	p, err = path.Predict(l, ridge)
	require.NoError(t, err)
	edge := path.KnifeEdgeDB(path.FresnelV(l.FrequencyHz, 300+20e3*20e3/2*157e-9*(1-0.04665*math.Exp(301/179.3)), 20e3, 20e3))
	require.InDelta(t, edge, p.ReferenceDB, 6)
	require.Greater(t, p.ReferenceDB, 20.0)
}

// Truth: common practice: what the model cannot answer is an error that says so.
func TestRefuses(t *testing.T) {
	good := path.Link{FrequencyHz: 605e6, HeightsM: [2]float64{300, 10}, Surroundings: path.Television()}
	flat := path.Profile{StepM: 100, M: make([]float64, 51)}
	_, err := path.Predict(good, flat)
	require.NoError(t, err)
	for name, change := range map[string]func(*path.Link, *path.Profile){
		"a frequency":        func(l *path.Link, _ *path.Profile) { l.FrequencyHz = math.NaN() },
		"an antenna":         func(l *path.Link, _ *path.Profile) { l.HeightsM[1] = 0 },
		"a refractivity":     func(l *path.Link, _ *path.Profile) { l.Refractivity = 1 },
		"no radio climate":   func(l *path.Link, _ *path.Profile) { l.Climate = 7 },
		"a ground":           func(l *path.Link, _ *path.Profile) { l.Conductivity = 0 },
		"does not hold over": func(l *path.Link, _ *path.Profile) { l.Permittivity = 1; l.Conductivity = 5 },
		"three points":       func(_ *path.Link, p *path.Profile) { p.M = p.M[:2] },
		"steps":              func(_ *path.Link, p *path.Profile) { p.StepM = 0 },
		"a height":           func(_ *path.Link, p *path.Profile) { p.M[3] = math.Inf(1) },
		"surface refractivity": func(_ *path.Link, p *path.Profile) {
			for i := range p.M {
				p.M[i] = 9000
			}
		},
	} {
		l, p := good, path.Profile{StepM: flat.StepM, M: append([]float64{}, flat.M...)}
		change(&l, &p)
		_, err := path.Predict(l, p)
		require.ErrorContains(t, err, name)
	}
	p, err := path.Predict(good, flat)
	require.NoError(t, err)
	_, err = p.LossDB(path.Share{Use: path.Broadcast, Time: 1, Place: 0.5, Situation: 0.5})
	require.Error(t, err)
	_, err = path.PredictOver(good, 0, 90)
	require.Error(t, err)
}

func BenchmarkPredict(b *testing.B) {
	l := path.Link{FrequencyHz: 605e6, HeightsM: [2]float64{300, 10}, Surroundings: path.Television()}
	p := path.Profile{StepM: 30.9, M: make([]float64, 3237)}
	for i := range p.M {
		p.M[i] = 200 + 100*math.Sin(float64(i)/90)
	}
	b.ReportAllocs()
	for b.Loop() {
		if _, err := path.Predict(l, p); err != nil {
			b.Fatal(err)
		}
	}
}
