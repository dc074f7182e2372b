package site

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

// sweepOf samples a curve at each step of the way.
func sweepOf(r *rand.Rand, curve func(float64) float64, from, to, step, noise float64) []Aimed {
	var list []Aimed
	for d := from; d <= to; d += step {
		list = append(list, Aimed{d, curve(d) + noise*r.NormFloat64(), noise})
	}
	return list
}

// Truth: geometry: turning the compass turns the heading and nothing else, and
// adding to every level changes the level alone.
func TestFitPeakSymmetry(t *testing.T) {
	r := rand.New(rand.NewPCG(31, 32))
	curve := airwaves(tabulated(endFire(5, 0.25)), 25, wave{deg: 100}, wave{200, -8, 1, 0})
	points := sweepOf(r, curve, 0, 359.5, 0.5, 0.3)
	base, err := FitPeak(points)
	require.NoError(t, err)
	for _, turned := range []float64{17, 100, 259.9, -400, 720} {
		moved := make([]Aimed, len(points))
		for i, p := range points {
			moved[i] = Aimed{p.BearingDeg + turned, p.LevelDB - 40, p.SigmaDB}
		}
		got, err := FitPeak(moved)
		require.NoError(t, err)
		require.InDelta(t, 0, math.Remainder(got.Heading.Value-base.Heading.Value-turned, 360), 0.15, "%g", turned)
		require.InDelta(t, base.Level.Value-40, got.Level.Value, 0.02)
		require.True(t, got.Heading.Value >= 0 && got.Heading.Value < 360)
	}
	mirrored := make([]Aimed, len(points))
	for i, p := range points {
		mirrored[i] = Aimed{-p.BearingDeg, p.LevelDB, p.SigmaDB}
	}
	got, err := FitPeak(mirrored)
	require.NoError(t, err)
	require.InDelta(t, 0, math.Remainder(got.Heading.Value+base.Heading.Value, 360), 0.15)
}

// Truth: theory: the width of a cosine's power 3 dB down, 2·acos(10^(−0.3/n)),
// and the level at its top.
func TestFitPeakWidth(t *testing.T) {
	r := rand.New(rand.NewPCG(33, 34))
	for _, n := range []float64{2, 4, 8, 16} {
		curve := func(d float64) float64 {
			c := math.Max(0.05, math.Cos(math.Remainder(d-200, 360)*math.Pi/180))
			return 20 + 10*n*math.Log10(c)
		}
		want := 2 * math.Acos(math.Pow(10, -0.3/n)) * 180 / math.Pi
		p, err := FitPeak(sweepOf(r, curve, 0, 360, 0.5, 0.3))
		require.NoError(t, err)
		require.NotNil(t, p.Width)
		require.InDelta(t, want, p.Width.Value, 4*math.Max(p.Width.Sigma, 0.01*want), "n = %g", n)
		require.Less(t, p.Width.Sigma, 0.1*want)
		require.InDelta(t, 20, p.Level.Value, 0.25)
		require.InDelta(t, 0.3, p.ScatterDB, 0.1)
		require.Empty(t, p.Others)

		// Not so far down on one side: a heading, but no width.
		narrow, err := FitPeak(sweepOf(r, curve, 200-0.6*want, 200+0.42*want, 0.25, 0.1))
		require.NoError(t, err)
		require.Nil(t, narrow.Width)
		require.InDelta(t, 200, narrow.Heading.Value, math.Max(1, 3*narrow.Heading.Sigma))
	}
}

// Truth: the documented meaning of each error.
func TestFitPeakErrors(t *testing.T) {
	r := rand.New(rand.NewPCG(35, 36))
	a := tabulated(cosinePower(6, 18))
	curve := airwaves(a, 25, wave{deg: 90})
	flat := func(float64) float64 { return 12 }
	for name, c := range map[string]struct {
		points []Aimed
		want   error
	}{
		"nothing":             {nil, ErrFewSamples},
		"four":                {sweepOf(r, curve, 80, 100, 6, 0.1), ErrFewSamples},
		"no numbers":          {[]Aimed{{math.NaN(), 1, 1}, {1, math.NaN(), 1}, {1, 1, math.NaN()}, {math.Inf(1), 1, 1}, {1, math.Inf(-1), 1}, {1, 1, -1}}, ErrFewSamples},
		"flat":                {sweepOf(r, flat, 0, 360, 1, 0.5), ErrFlat},
		"flat and noisy":      {sweepOf(r, flat, 0, 360, 1, 3), ErrFlat},
		"exactly flat":        {sweepOf(r, flat, 0, 360, 1, 0), ErrFlat},
		"one bearing":         {sweepOf(r, func(float64) float64 { return 5 }, 90, 90.0001, 0.00001, 0.5), ErrFlatPart},
		"stopped before":      {sweepOf(r, curve, 0, 80, 0.5, 0.3), ErrNotPassed},
		"began after":         {sweepOf(r, curve, 97, 200, 0.5, 0.3), ErrNotPassed},
		"only the back of it": {sweepOf(r, flat, 200, 340, 0.5, 0.3), ErrFlatPart},
	} {
		_, err := FitPeak(c.points)
		require.ErrorIs(t, err, c.want, name)
	}
}

// Truth: theory: two stations' worth of signal 140° apart, 2 dB different.
func TestFitPeakOthers(t *testing.T) {
	r := rand.New(rand.NewPCG(37, 38))
	a := tabulated(cosinePower(8, 25))
	curve := airwaves(a, 25, wave{deg: 60}, wave{200, -2, 2, 0})
	p, err := FitPeak(sweepOf(r, curve, 0, 360, 0.5, 0.3))
	require.NoError(t, err)
	require.InDelta(t, 60, p.Heading.Value, 2)
	require.Len(t, p.Others, 1)
	require.InDelta(t, 200, p.Others[0].BearingDeg, 5)
	require.InDelta(t, 2, p.Others[0].BelowDB, 0.7)
}

// Truth: the true heading, where a weak station is heard in its main and back
// lobe only.
func TestFitPeakGaps(t *testing.T) {
	r := rand.New(rand.NewPCG(45, 46))
	curve := airwaves(tabulated(endFire(10, 0.3)), 10, wave{deg: 120})
	var points []Aimed
	for _, p := range sweepOf(r, curve, 0, 400, 0.5, 0.3) {
		if off := bearingApart(p.BearingDeg, 120); off < 30 || off > 160 {
			points = append(points, p)
		}
	}
	p, err := FitPeak(points)
	require.NoError(t, err)
	require.InDelta(t, 120, p.Heading.Value, 1)
}

// Truth: the true heading: one sample in eight is off by 5 to 25 dB, and some
// pretend to be exact.
func TestFitPeakOutliers(t *testing.T) {
	r := rand.New(rand.NewPCG(39, 40))
	curve := airwaves(tabulated(endFire(5, 0.25)), 25, wave{deg: 300})
	for range 20 {
		points := sweepOf(r, curve, 0, 360, 0.5, 0.4)
		wrong := 0
		for i := range points {
			if r.IntN(8) == 0 {
				points[i].LevelDB += float64(1-2*r.IntN(2)) * (5 + 20*r.Float64())
				points[i].SigmaDB = 1e-6
				wrong++
			}
		}
		p, err := FitPeak(points)
		require.NoError(t, err)
		require.InDelta(t, 300, p.Heading.Value, 1.5)
		require.Greater(t, p.Outliers, p.Points/20)
		require.Less(t, p.Outliers, p.Points/4)
	}
}

// Truth: geometry, worked out by hand.
func TestTurnBearings(t *testing.T) {
	at := func(s float64) time.Time { return noon.Add(time.Duration(s * float64(time.Second))) }
	for name, c := range map[string]struct {
		turn  Turn
		when  float64
		want  float64 // running on
		sigma float64
		none  bool
	}{
		"between two":          {Turn{Pointings: []Pointing{{at(0), 10}, {at(10), 50}}}, 5, 30, math.Hypot(math.Sqrt2, 1), false},
		"at a pointing":        {Turn{Pointings: []Pointing{{at(0), 10}, {at(10), 50}}, SigmaDeg: 3}, 10, 50, 3, false},
		"at the first":         {Turn{Pointings: []Pointing{{at(0), 10}, {at(10), 50}}, SigmaDeg: 3}, 0, 10, 3, false},
		"through north":        {Turn{Pointings: []Pointing{{at(0), 350}, {at(10), 20}}}, 5, 365, -1, false},
		"through north, back":  {Turn{Pointings: []Pointing{{at(0), 20}, {at(10), 350}}}, 5, 5, -1, false},
		"the long way":         {Turn{Pointings: []Pointing{{at(0), 20}, {at(10), 350}}, Clockwise: true}, 5, 185, -1, false},
		"the other way":        {Turn{Pointings: []Pointing{{at(0), 20}, {at(10), 30}}, Counter: true}, 5, -155, -1, false},
		"a full turn":          {Turn{Pointings: []Pointing{{at(0), 90}, {at(60), 90}}, Clockwise: true}, 30, 270, -1, false},
		"no turn":              {Turn{Pointings: []Pointing{{at(0), 90}, {at(60), 90}}}, 30, 90, -1, false},
		"before":               {Turn{Pointings: []Pointing{{at(0), 10}, {at(10), 50}}}, -1, 0, 0, true},
		"after":                {Turn{Pointings: []Pointing{{at(0), 10}, {at(10), 50}}}, 11, 0, 0, true},
		"in any order":         {Turn{Pointings: []Pointing{{at(20), 90}, {at(0), 10}, {at(10), 50}}}, 15, 70, -1, false},
		"constant rate":        {Turn{Pointings: []Pointing{{at(10), 30}}, RateDegPerS: -6}, 20, -30, 2, false},
		"constant rate before": {Turn{Pointings: []Pointing{{at(10), 30}}, RateDegPerS: 6}, 0, -30, 2, false},
		"rate and two":         {Turn{Pointings: []Pointing{{at(0), 358}, {at(60), 2}}, RateDegPerS: 6}, 0, 360, math.Sqrt2, false},
	} {
		p, err := c.turn.path()
		require.NoError(t, err, name)
		deg, sigma, ok := p.bearing(at(c.when))
		require.Equal(t, !c.none, ok, name)
		require.InDelta(t, c.want, deg, 1e-9, name)
		if c.sigma >= 0 {
			require.InDelta(t, c.sigma, sigma, 1e-9, name)
		}
	}
	for name, turn := range map[string]Turn{
		"nothing":        {},
		"one":            {Pointings: []Pointing{{noon, 10}}},
		"rate alone":     {RateDegPerS: 3},
		"opposite":       {Pointings: []Pointing{{at(0), 0}, {at(1), 180}}},
		"same moment":    {Pointings: []Pointing{{at(0), 0}, {at(0), 90}}},
		"both ways":      {Pointings: []Pointing{{at(0), 0}, {at(1), 90}}, Clockwise: true, Counter: true},
		"not a number":   {Pointings: []Pointing{{at(0), math.NaN()}, {at(1), 90}}},
		"no rate":        {Pointings: []Pointing{{at(0), 0}}, RateDegPerS: math.NaN()},
		"no uncertainty": {Pointings: []Pointing{{at(0), 0}, {at(1), 90}}, SigmaDeg: math.Inf(1)},
		"not that rate":  {Pointings: []Pointing{{at(0), 0}, {at(10), 90}}, RateDegPerS: 3},
	} {
		_, err := FitTurn([]Sample{{noon, 1, 1}}, turn)
		require.ErrorIs(t, err, ErrPointings, name)
	}
	_, err := FitTurn(nil, Turn{Pointings: []Pointing{{at(0), 0}, {at(1), 90}}})
	require.ErrorIs(t, err, ErrFewSamples)
}

// Truth: the documented promise: samples come in any order, from a constant
// rate, with gaps where nothing was heard.
func TestFitTurnSteady(t *testing.T) {
	r := rand.New(rand.NewPCG(41, 42))
	curve := airwaves(tabulated(endFire(5, 0.25)), 12, wave{deg: 40})
	for _, rate := range []float64{4, -4} {
		var samples []Sample
		for s := 0.0; s < 95; s += 0.1 {
			if level := curve(200 + rate*s); level > -12 {
				samples = append(samples, Sample{noon.Add(time.Duration(s * 1e9)), level + 0.4*r.NormFloat64(), 0.4})
			}
		}
		r.Shuffle(len(samples), func(i, j int) { samples[i], samples[j] = samples[j], samples[i] })
		p, err := FitTurn(samples, Turn{Pointings: []Pointing{{noon, 200}}, RateDegPerS: rate, SigmaDeg: 1})
		require.NoError(t, err)
		require.InDelta(t, 40, p.Heading.Value, 1)
		require.GreaterOrEqual(t, p.Heading.Sigma, 1.0, "that of the pointing at least")
		require.Less(t, p.Heading.Sigma, 2.0)
	}
}

func FuzzFitPeak(f *testing.F) {
	f.Add(uint64(1), 90.0, 8.0, 0.3, uint16(300), 360.0)
	f.Add(uint64(2), 359.9, 0.0, 0.0, uint16(9), 80.0)
	f.Add(uint64(3), -1e9, 400.0, 1e5, uint16(50), 1e300)
	f.Fuzz(func(t *testing.T, seed uint64, peak, n, noise float64, count uint16, arc float64) {
		r := rand.New(rand.NewPCG(seed, 1))
		var points []Aimed
		for i := range int(count % 400) {
			d := arc * float64(i) / float64(count)
			level := n*math.Cos((d-peak)*math.Pi/180) + noise*r.NormFloat64()
			points = append(points, Aimed{d, level, math.Abs(noise)})
		}
		p, err := FitPeak(points)
		if err != nil {
			return
		}
		h := p.Heading
		require.True(t, h.Value >= 0 && h.Value < 360, "%+v", p)
		require.True(t, h.Sigma >= 0 && !math.IsInf(h.Sigma, 0), "%+v", p)
		require.False(t, math.IsNaN(p.Level.Value+p.Level.Sigma+p.ScatterDB), "%+v", p)
		if p.Width != nil {
			require.True(t, p.Width.Value > 0 && p.Width.Value <= 360 && p.Width.Sigma >= 0, "%+v", p)
		}
	})
}

func ExampleFitTurn() {
	// A quarter turn in 30 seconds past a station at 121°, with a meter that
	// reads five times a second.
	var samples []Sample
	for s := 0.0; s <= 30; s += 0.2 {
		off := (80 + 3*s - 121) * math.Pi / 180
		level := 18 + 60*math.Log10(math.Cos(off)) + 0.3*math.Sin(40*s)
		samples = append(samples, Sample{noon.Add(time.Duration(s * 1e9)), level, 0.3})
	}
	peak, err := FitTurn(samples, Turn{
		Pointings: []Pointing{{noon, 80}, {noon.Add(15 * time.Second), 125}, {noon.Add(30 * time.Second), 170}},
		SigmaDeg:  1,
	})
	if err != nil {
		fmt.Println(err)
		return
	}
	fmt.Printf("%.0f° ± %.0f°, %.0f dB, %.0f° wide\n", peak.Heading.Value, peak.Heading.Sigma, peak.Level.Value, peak.Width.Value)
	// Output: 121° ± 1°, 18 dB, 54° wide
}

func BenchmarkFitTurn(b *testing.B) {
	r := rand.New(rand.NewPCG(43, 44))
	samples, turn := turnOnce(r, steadyHand, airwaves(tabulated(endFire(5, 0.25)), 25, wave{deg: 40}))
	for b.Loop() {
		if _, err := FitTurn(samples, turn); err != nil {
			b.Fatal(err)
		}
	}
}
