package vsb

import (
	"flag"
	"fmt"
	"math"
	"math/cmplx"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"rooftone/dsp/air"
)

var ensembleDraws = flag.Int("draws", 6, "channels of each ensemble")

func draws() int {
	if testing.Short() {
		return min(*ensembleDraws, 2)
	}
	return *ensembleDraws
}

// family draws channels, with the gains that the paths have at the channel's
// lower edge.
type family struct {
	name    string
	leastCN float64
	paths   func(rng *rand.Rand) []arrival
}

func families() []family {
	out := []family{
		{"flat", 6, func(*rand.Rand) []arrival { return []arrival{{0, 1}} }},
		{"one to three echoes", 12, func(rng *rand.Rand) []arrival {
			paths := []arrival{{0, 1}}
			for range 1 + rng.IntN(3) {
				paths = append(paths, arrival{(22*rng.Float64() - 2) * 1e-6, decibels(-1.5-15*rng.Float64(), 7*rng.Float64())})
			}
			return paths
		}},
	}
	for name, profile := range testProfiles {
		out = append(out, family{"profile " + name, 12, func(rng *rand.Rand) (paths []arrival) {
			for _, p := range profile {
				paths = append(paths, arrival{p[0] * 1e-6, decibels(p[1], 7*rng.Float64())})
			}
			return paths
		}})
	}
	slices.SortFunc(out[2:], func(a, b family) int { return strings.Compare(a.name, b.name) })
	return out
}

// seenChannel is a simulated channel and what its slices show.
type seenChannel struct {
	stay   // as it is at the channel's lower edge
	slices []*Training
	noise  float64 // density, as the fits have it
	sigma  float64 // its relative uncertainty
}

// see simulates the slices at the given offsets, of which nothing is known
// beforehand. bent is the radio's pass band, nil when flat. It returns false
// when a slice was not fitted.
func see(t testing.TB, trainers map[float64]*Trainer, s stay, bent *air.FIR, offsets ...float64) (seenChannel, bool) {
	c := seenChannel{stay: s}
	rng := rand.New(rand.NewPCG(s.seed, 5))
	edge := s.center
	for _, offset := range offsets {
		s.offset, s.center, s.seed = offset, edge+offset, rng.Uint64()
		common := decibels(0, 7*rng.Float64())
		s.paths = nil
		for _, p := range c.paths {
			s.paths = append(s.paths, arrival{p.delay, common * p.gain * turn(-offset*p.delay)})
		}
		if trainers[offset] == nil {
			var err error
			trainers[offset], err = NewTrainer(s.rate, offset)
			require.NoError(t, err)
		}
		x := s.samples(t)
		if bent != nil {
			bent.Reset()
			bent.Apply(x)
		}
		got, err := trainers[offset].Fit(x, Knowledge{CenterHz: s.center})
		require.NoError(t, err)
		if got.Fields == 0 {
			return c, false
		}
		c.slices = append(c.slices, got)
		c.noise += got.ErrorDensity / float64(len(offsets))
		relative := got.ErrorSigma / got.ErrorDensity
		c.sigma = math.Hypot(c.sigma, relative/float64(len(offsets)))
	}
	return c, true
}

// truth is the ratio, in dB, that an ideal equaliser has on the channel, by the
// paths and the noise alone.
func (c seenChannel) truth() float64 {
	const step = 2e3
	ratio := func(hz float64) float64 {
		var h complex128
		for _, p := range c.paths {
			h += p.gain * turn(-hz*p.delay)
		}
		return norm2([]complex128{h}) * Density(hz) / c.noiseDensity()
	}
	var sum, count float64
	for hz := PilotOffsetHz + step/2; hz < topHz; hz += step {
		sum += math.Log1p(ratio(hz) + ratio(2*PilotOffsetHz-hz) + ratio(2*topHz-hz))
		count++
	}
	return dB(math.Expm1(sum / count))
}

// told is the outlook's figure, in dB, by the noise that the fits found.
func (c seenChannel) told(t testing.TB, pass PassBand) (levelDB, sigmaDB float64) {
	o, err := NewOutlookThrough(pass, c.slices...)
	require.NoError(t, err)
	snr, sigmaDB, err := o.Equalised(constant(c.noise), c.sigma)
	require.NoError(t, err)
	return dB(snr), sigmaDB
}

// draw draws a channel of a family.
func (f family) draw(rate float64, seed uint64) (stay, *rand.Rand) {
	rng := rand.New(rand.NewPCG(seed, 41))
	s := plainStay(0, f.leastCN+(28-f.leastCN)*rng.Float64(), seed)
	s.rate, s.paths = rate, f.paths(rng)
	s.center, s.ppm = 180e6+400e6*rng.Float64(), 80*rng.Float64()-40
	return s, rng
}

// anywhere draws the middle of a slice of which a fit covers 1.2 MHz of the
// channel at least, or all of it when it is narrower.
func anywhere(rate float64, rng *rand.Rand) float64 {
	const edge = 0.47e6
	half := usableShare * rate
	least := math.Min(1.2e6, 2*half) - half + edge
	return least + (ChannelWidthHz-2*least)*rng.Float64()
}

// ensemble is what outlooks told, against the truth.
type ensemble struct {
	scatter
	sigmas []float64
	missed int
}

func (e *ensemble) judge(t testing.TB, c seenChannel) { e.judgeThrough(t, c, PassBand{}) }

func (e *ensemble) judgeThrough(t testing.TB, c seenChannel, pass PassBand) {
	told, sigma := c.told(t, pass)
	err := told - c.truth()
	e.add(err, sigma)
	e.sigmas = append(e.sigmas, sigma)
	if math.Abs(err) > 1.96*sigma {
		e.missed++
	}
}

// require checks that the stated interval holds the truth in nine of ten at
// least, but for what chance does to a count.
func (e *ensemble) require(t testing.TB, name string) {
	n := float64(len(e.errors))
	require.Positive(t, n)
	t.Logf("%s: %.0f channels, %.1f %% held, bias %.2f dB, rms %.2f, sigma %.2f on average and %.2f at most",
		name, n, 100-100*float64(e.missed)/n, mean(e.errors), rms(e.errors), mean(e.sigmas), slices.Max(e.sigmas))
	require.LessOrEqual(t, float64(e.missed), 0.1*n+2.5*math.Sqrt(0.09*n), name)
}

func TestOutlookOfOneSlice(t *testing.T) {
	if testing.Short() {
		t.Skip("an ensemble: it has its time in the long run")
	}
	// Truth: the simulation's paths and noise. One stay of 60 ms anywhere in the
	// channel, nothing known of the clock.
	t.Parallel()
	for _, f := range families() {
		var e ensemble
		for seed := range uint64(draws()) {
			s, rng := f.draw(2.4e6, seed)
			c, ok := see(t, map[float64]*Trainer{}, s, nil, anywhere(s.rate, rng))
			if ok {
				e.judge(t, c)
			}
		}
		e.require(t, f.name)
		if f.name == "flat" {
			require.LessOrEqual(t, within(e.sigmas, 0.95), 1.)
			require.Less(t, mean(e.sigmas), 0.6)
		}
	}
}

func TestOutlookAtOtherRates(t *testing.T) {
	if testing.Short() {
		t.Skip("an ensemble: it has its time in the long run")
	}
	// Truth: the simulation's paths and noise.
	t.Parallel()
	for _, rate := range []float64{1.024e6, 2.048e6, 3.2e6, 5e6} {
		var e ensemble
		for k, f := range families() {
			for seed := range uint64(max(1, draws()/5)) {
				s, rng := f.draw(rate, 1000*uint64(k)+seed)
				c, ok := see(t, map[float64]*Trainer{}, s, nil, anywhere(s.rate, rng))
				if ok {
					e.judge(t, c)
				}
			}
		}
		e.require(t, fmt.Sprintf("%g MS/s", rate/1e6))
	}
}

func TestOutlookOfMoreSlices(t *testing.T) {
	if testing.Short() {
		t.Skip("an ensemble: it has its time in the long run")
	}
	// Truth: the simulation's paths and noise. Two or three slices of three see
	// nearly all, so the figure is EqualisedSNR's of the truth; and what saw
	// more of a channel is no less sure.
	t.Parallel()
	trainers := map[float64]*Trainer{}
	var one, two, three ensemble
	for k, f := range families() {
		for seed := range uint64(max(1, draws()/4)) {
			s, rng := f.draw(2.4e6, 1000*uint64(k)+seed)
			order := rng.Perm(3)
			all, ok := see(t, trainers, s, nil, 1e6+2e6*float64(order[0]), 1e6+2e6*float64(order[1]), 1e6+2e6*float64(order[2]))
			if !ok {
				continue
			}
			for n, e := range []*ensemble{&one, &two, &three} {
				c := all
				c.slices = all.slices[:n+1]
				e.judge(t, c)
			}
		}
	}
	one.require(t, "one slice")
	two.require(t, "two slices")
	three.require(t, "three slices")
	require.Less(t, mean(two.sigmas), mean(one.sigmas))
	require.Less(t, mean(three.sigmas), 1.15*mean(two.sigmas)) // by then what is left is the noise
	// 200 draws tell an interval's ends to some 10 %.
	wider := 0
	for i, sigma := range one.sigmas {
		for _, r := range []float64{two.sigmas[i] / sigma, three.sigmas[i] / two.sigmas[i]} {
			require.LessOrEqual(t, r, 1.3, "channel %d, sigma %.2f", i, sigma)
			if r > 1.05 {
				wider++
			}
		}
	}
	t.Logf("%d of %d intervals grew by more than 5 %%", wider, 2*len(one.sigmas))
	require.LessOrEqual(t, wider, 1+len(one.sigmas)/20)
	require.Less(t, within(three.errors, 0.68), 0.3)
}

func TestOutlookThroughPassBand(t *testing.T) {
	if testing.Short() {
		t.Skip("an ensemble: it has its time in the long run")
	}
	// Truth: the simulation's paths and noise. The radio's own pass band, which
	// droops by 2 dB towards the edges and leans by 0.3 dB, is not the
	// channel's.
	t.Parallel()
	bent := air.NewFIR(air.PassBand(2, 0.3))
	known := PassBand{func(hz float64) float64 { return cmplx.Abs(bent.Response(hz / 2.4e6)) }, 0.1}
	for _, f := range families()[:2] {
		var unknown, told ensemble
		for seed := range uint64(draws()) {
			s, rng := f.draw(2.4e6, seed)
			offset := anywhere(s.rate, rng)
			c, ok := see(t, map[float64]*Trainer{}, s, bent, offset)
			if ok {
				// The fit's noise has come through the pass band as well.
				var mean float64
				const points = 100
				for k := range points {
					x := (float64(k) + 0.5) / points
					gain := known.Gain(c.slices[0].LowHz + x*(c.slices[0].HighHz-c.slices[0].LowHz) - offset)
					mean += gain * gain / points
				}
				c.noise /= mean
				unknown.judge(t, c)
				told.judgeThrough(t, c, known)
			}
		}
		unknown.require(t, f.name+", not known")
		told.require(t, f.name+", known")
		require.Less(t, mean(told.sigmas), mean(unknown.sigmas))
	}
}

func TestImpossiblePassBand(t *testing.T) {
	// Truth: the definition.
	got := plainStay(3e6, 20, 1).fit(t, map[float64]*Trainer{}, Knowledge{RangePPM: 1})
	for _, gain := range []float64{0, -1, math.NaN(), math.Inf(1)} {
		_, err := NewOutlookThrough(PassBand{Gain: constant(gain)}, got)
		require.Error(t, err)
	}
}

func TestOutlookOfNothing(t *testing.T) {
	// Truth: the definition.
	_, err := NewOutlook()
	require.Error(t, err)
	_, err = NewOutlook(nil, &Training{})
	require.Error(t, err)
}

func BenchmarkOutlook(b *testing.B) {
	for _, f := range families() {
		s, _ := f.draw(2.4e6, 3)
		c, ok := see(b, map[float64]*Trainer{}, s, nil, 3e6, 1e6, 5e6)
		if !ok {
			continue
		}
		for _, n := range []int{1, 3} {
			b.Run(fmt.Sprintf("%s/%d", f.name, n), func(b *testing.B) {
				for b.Loop() {
					if _, err := NewOutlook(c.slices[:n]...); err != nil {
						b.Fatal(err)
					}
				}
			})
		}
	}
}
