package site

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

// antenna is an amplitude pattern over the angle off its axis, in degrees.
type antenna func(deg float64) float64

// cosinePower is cosⁿ in power forward, with a constant back of the given
// level.
func cosinePower(n, frontToBackDB float64) antenna {
	back := math.Pow(10, -frontToBackDB/20)
	return func(deg float64) float64 {
		c := math.Cos(deg * math.Pi / 180)
		if c <= 0 {
			return back
		}
		return math.Hypot(math.Pow(c, n/2), back)
	}
}

// endFire is a row of dipoles on a boom along the axis, each fed a little later
// than the wave takes to reach it, as in a Yagi: array factor times the
// dipole's own pattern. Spacing is in wavelengths.
func endFire(elements int, spacing float64) antenna {
	extra := 2.94 / float64(elements) // Hansen and Woodyard 1938
	factor := func(cos float64) float64 {
		psi := 2*math.Pi*spacing*(cos-1) - extra
		var re, im float64
		for i := range elements {
			s, c := math.Sincos(psi * float64(i))
			re, im = re+c, im+s
		}
		return math.Hypot(re, im)
	}
	return func(deg float64) float64 {
		s, c := math.Sincos(deg * math.Pi / 180)
		dipole := 0.0
		if math.Abs(c) > 1e-6 {
			dipole = math.Abs(math.Cos(math.Pi/2*s) / c)
		}
		return dipole * factor(c) / factor(1)
	}
}

// tabulated is a pattern that is quick to look up, at each tenth of a degree.
func tabulated(a antenna) antenna {
	table := make([]float64, 3601)
	for i := range table {
		table[i] = a(float64(i)/10 - 180)
	}
	return func(deg float64) float64 {
		x := (math.Remainder(deg, 360) + 180) * 10
		i := min(int(x), 3599)
		return table[i] + (x-float64(i))*(table[i+1]-table[i])
	}
}

// wave is a path to the antenna.
type wave struct {
	deg     float64 // where it comes from
	levelDB float64
	delayUS float64
	phase   float64
}

// airwaves is the margin of an ideal decision-feedback equaliser (Salz 1973)
// over bearing, in a channel of 5.38 MHz.
func airwaves(a antenna, cnDB float64, waves ...wave) func(deg float64) float64 {
	const points, perDegree = 32, 2
	table := make([]float64, 360*perDegree+1)
	for t := range table {
		deg := float64(t) / perDegree
		var sum float64
		for i := range points {
			f := 5.38 * ((float64(i)+0.5)/points - 0.5) // MHz
			var re, im float64
			for _, w := range waves {
				amplitude := a(w.deg-deg) * math.Pow(10, w.levelDB/20)
				s, c := math.Sincos(w.phase - 2*math.Pi*f*w.delayUS)
				re, im = re+amplitude*c, im+amplitude*s
			}
			sum += math.Log1p(math.Pow(10, cnDB/10) * (re*re + im*im))
		}
		table[t] = 10*math.Log10(math.Expm1(sum/points)) - 15.2
	}
	return func(deg float64) float64 {
		x := turn360(deg) * perDegree
		i := int(x)
		return table[i] + (x-float64(i))*(table[i+1]-table[i])
	}
}

// highest is where a curve is highest within 40° of a bearing.
func highest(curve func(float64) float64, near float64) float64 {
	best := near
	for d := -40.0; d <= 40; d += 0.1 {
		if curve(near+d) > curve(best) {
			best = near + d
		}
	}
	return turn360(best)
}

// hand is how someone turns an antenna and how the meter reads.
type hand struct {
	rate      float64 // degrees a second
	uneven    float64 // of the rate
	pointing  float64 // error of the pointings, degrees
	every     float64 // degrees between pointings
	noise     float64 // of each sample, dB
	fading    float64 // dB, slow
	fadeTime  float64 // seconds
	outliers  float64 // share of samples that are off by many dB
	from, arc float64 // degrees
	back      bool    // and back again
	exact     bool    // the pointings are without error
}

var steadyHand = hand{rate: 5, uneven: 0.15, pointing: 2, every: 60, noise: 0.4, fading: 0.4, fadeTime: 2, outliers: 0.01, arc: 400}

// turnOnce simulates one turn: ten samples a second.
func turnOnce(r *rand.Rand, h hand, curve func(float64) float64) ([]Sample, Turn) {
	var samples []Sample
	turn := Turn{SigmaDeg: h.pointing}
	fade := h.fading * r.NormFloat64()
	keep := math.Exp(-0.1 / h.fadeTime)
	// The rate swings slowly.
	swing, phase := 10+20*r.Float64(), 2*math.Pi*r.Float64()
	next := 0.0
	for i := 0; ; i++ {
		s := float64(i) / 10
		w := 2 * math.Pi / swing
		gone := h.rate * (s - h.uneven*math.Sqrt2/w*(math.Cos(w*s+phase)-math.Cos(phase)))
		total := gone
		if h.back && gone > h.arc {
			gone = 2*h.arc - gone
		}
		at := noon.Add(time.Duration(s * float64(time.Second)))
		if total >= next {
			seen := h.from + gone
			if !h.exact {
				seen += h.pointing * r.NormFloat64()
			}
			turn.Pointings = append(turn.Pointings, Pointing{at, turn360(seen)})
			next += h.every
		}
		if total >= h.arc && !h.back || total >= 2*h.arc {
			return samples, turn
		}
		fade = keep*fade + h.fading*math.Sqrt(1-keep*keep)*r.NormFloat64()
		level := curve(h.from+gone) + fade + h.noise*r.NormFloat64()
		if r.Float64() < h.outliers {
			level -= 3 + 10*r.Float64()
		}
		samples = append(samples, Sample{at, level, h.noise})
	}
}

// antennas are what tests turn: from little more than a dipole to a long Yagi.
func antennas() (list []antenna, names []string) {
	return []antenna{
		tabulated(cosinePower(2, 12)), tabulated(cosinePower(6, 18)), tabulated(endFire(5, 0.25)), tabulated(endFire(10, 0.3)),
	}, []string{"cosine", "cosine cubed", "5 elements", "10 elements"}
}

// clean is one path; withEchoes has three more from anywhere, 6 to 16 dB down.
func clean(r *rand.Rand) []wave { return []wave{{deg: 360 * r.Float64()}} }

func withEchoes(r *rand.Rand) []wave {
	waves := clean(r)
	for range 3 {
		waves = append(waves, wave{360 * r.Float64(), -6 - 10*r.Float64(), 0.1 + 3*r.Float64(), 2 * math.Pi * r.Float64()})
	}
	return waves
}

// tally is what came of many turns.
type tally struct {
	toPeak, toStation, z []float64 // errors in degrees, and in uncertainties
	failed               int
}

// share is the value below which a share of the list's magnitudes lies.
func share(list []float64, p float64) float64 {
	a := make([]float64, len(list))
	for i, v := range list {
		a[i] = math.Abs(v)
	}
	slices.Sort(a)
	return a[min(len(a)-1, int(p*float64(len(a))))]
}

func rms(list []float64) float64 {
	var s float64
	for _, v := range list {
		s += v * v / float64(len(list))
	}
	return math.Sqrt(s)
}

func (t *tally) turn(r *rand.Rand, n int, h hand, a antenna, draw func(*rand.Rand) []wave) {
	for range n {
		waves := draw(r)
		curve := airwaves(a, 25, waves...)
		h.from = 360 * r.Float64()
		p, err := FitTurn(turnOnce(r, h, curve))
		if err != nil {
			t.failed++
			continue
		}
		e := math.Remainder(p.Heading.Value-highest(curve, waves[0].deg), 360)
		t.toPeak = append(t.toPeak, e)
		t.z = append(t.z, e/p.Heading.Sigma)
		t.toStation = append(t.toStation, math.Remainder(p.Heading.Value-waves[0].deg, 360))
	}
}

func (t *tally) String() string {
	return fmt.Sprintf("to the true peak rms %.2f°, 95%% %.2f°, worst %.2f°; to the station 95%% %.2f°, worst %.2f°; error/uncertainty rms %.2f, 95%% %.2f; %d failed",
		rms(t.toPeak), share(t.toPeak, 0.95), share(t.toPeak, 1), share(t.toStation, 0.95), share(t.toStation, 1), rms(t.z), share(t.z, 0.95), t.failed)
}

// Truth: theory: patterns of cosines and of rows of dipoles, and the margin of
// an ideal equaliser, none of which is the fit's own model. On a rotator whose
// bearings are exact, the peak is found within 3° on a clean channel and 6°
// with echoes.
func TestFitTurnReach(t *testing.T) {
	t.Parallel()
	r := rand.New(rand.NewPCG(21, 22))
	list, names := antennas()
	each := 16
	if testing.Short() {
		each = 4
	}
	for i, a := range list {
		name := names[i]
		var one, many tally
		rotator := hand{rate: 5, every: 60, noise: 0.4, fadeTime: 1, outliers: 0.01, arc: 420, exact: true, pointing: 0.1}
		one.turn(r, each, rotator, a, clean)
		many.turn(r, each, rotator, a, withEchoes)
		t.Logf("%s, clean: %v", name, &one)
		t.Logf("%s, with echoes: %v", name, &many)
		require.Zero(t, one.failed+many.failed, name)
		require.Less(t, share(one.toPeak, 1), 3.0, name)
		require.Less(t, share(one.toStation, 1), 3.0, name)
		require.Less(t, share(many.toPeak, 0.95), 6.0, name)
		require.Less(t, share(many.toStation, 0.9), 6.0, name)
	}
}

// Truth: the definition of a standard uncertainty, over turns of all antennas
// with the faults that turns have: fading, an uneven hand, wrong bearings,
// echoes, someone walking by. In still air the uncertainty errs to the safe
// side, for it allows for fading that one turn cannot show.
func TestFitTurnHonest(t *testing.T) {
	t.Parallel()
	faded := hand{rate: 5, every: 60, noise: 0.4, fading: 0.5, fadeTime: 2, outliers: 0.01, arc: 420, exact: true, pointing: 0.1}
	there := faded
	there.fading, there.fadeTime, there.back = 1, 5, true
	list, _ := antennas()
	each, slack := 9, 1.0
	if testing.Short() {
		each, slack = 2, 1.5 // too few to say more
	}
	for name, c := range map[string]struct {
		hand      hand
		low, high float64
	}{
		"by hand":                     {steadyHand, 0.75, 1.2},
		"fading":                      {faded, 0.6, 1.2},
		"slow fading, there and back": {there, 0.6, 1.4},
		"still air":                   {hand{rate: 5, every: 60, noise: 0.4, fadeTime: 1, arc: 420, exact: true, pointing: 0.1}, 0.05, 0.7},
	} {
		r := rand.New(rand.NewPCG(23, 24))
		var all tally
		for _, a := range list {
			all.turn(r, each, c.hand, a, clean)
			all.turn(r, each, c.hand, a, withEchoes)
		}
		t.Logf("%s: %v", name, &all)
		require.LessOrEqual(t, all.failed, 2, name)
		require.Greater(t, rms(all.z), c.low/slack, name)
		require.Less(t, rms(all.z), c.high*slack, name)
		require.Less(t, share(all.z, 0.95), 2.5*c.high*slack, name)
	}
}

// Truth: theory, as above: the marks of a rose are few, with a margin's uncertainty each.
func TestFitPeakOfMarks(t *testing.T) {
	r := rand.New(rand.NewPCG(25, 26))
	a := tabulated(cosinePower(6, 18))
	for _, step := range []float64{15, 30, 45} {
		var errs, z []float64
		failed := 0
		for range 60 {
			station := 360 * r.Float64()
			curve := airwaves(a, 25, wave{deg: station})
			var marks []Aimed
			for deg := 360 * r.Float64(); len(marks) < int(360/step); deg += step {
				marks = append(marks, Aimed{deg, curve(deg) + r.NormFloat64(), 1})
			}
			p, err := FitPeak(marks)
			if step > 30 {
				require.ErrorIs(t, err, ErrFewSamples, "three unknowns, and three marks in the lobe")
				continue
			}
			if err != nil {
				failed++
				continue
			}
			e := math.Remainder(p.Heading.Value-station, 360)
			errs, z = append(errs, e), append(z, e/p.Heading.Sigma)
		}
		if step > 30 {
			continue
		}
		t.Logf("a mark each %g°: error rms %.1f°, 95%% %.1f°, error/uncertainty rms %.2f, %d of 60 without a peak", step, rms(errs), share(errs, 0.95), rms(z), failed)
		require.Less(t, rms(errs), 0.2*step+2)
		require.Less(t, rms(z), 1.3)
		require.LessOrEqual(t, failed, 12)
	}
}

// Truth: what a person did: bearings that do not move are no turn, and a level that
// stays the same does not rise.
func TestTurnThatFoundNothing(t *testing.T) {
	var samples []Sample
	for i := range 200 {
		samples = append(samples, Sample{Time: noon.Add(time.Duration(i) * 50 * time.Millisecond), LevelDB: 14 + 0.05*math.Sin(float64(i))})
	}
	turn := func(bearings ...float64) Turn {
		var t Turn
		for i, b := range bearings {
			t.Pointings = append(t.Pointings, Pointing{noon.Add(time.Duration(i) * 9 * time.Second), b})
		}
		return t
	}
	_, err := FitTurn(samples, turn(131, 131))
	require.ErrorIs(t, err, ErrPointings)
	require.ErrorContains(t, err, "they are all 131°, so it was not turned")
	_, err = FitTurn(samples, turn(90, 200))
	require.ErrorIs(t, err, ErrFlatPart)
	for i := range samples { // a level that does rise
		samples[i].LevelDB += 0.05 * float64(i)
	}
	_, err = FitTurn(samples, turn(90, 200))
	require.ErrorIs(t, err, ErrNotPassed)
}
