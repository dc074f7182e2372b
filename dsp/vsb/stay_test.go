package vsb

import (
	"math"
	"math/cmplx"
	"math/rand/v2"
	"slices"
	"testing"

	"github.com/stretchr/testify/require"
)

// arrival is a path of a simulated channel, with the gain that it has in the
// slice.
type arrival struct {
	delay float64
	gain  complex128
}

// decibels returns an amplitude of the given level and phase.
func decibels(level, phase float64) complex128 {
	return cmplx.Rect(math.Pow(10, level/20), phase)
}

// stay is a simulated stay on a slice. All its random numbers hang on seed.
type stay struct {
	rate, offset, center float64
	ppm, stationHz       float64
	seconds              float64
	cn                   float64 // dB in 6 MHz
	paths                []arrival
	seed                 uint64
	noiseOnly            bool
}

// plainStay is a stay of two or three fields on one path.
func plainStay(offset, cn float64, seed uint64) stay {
	return stay{
		rate: 2.4e6, offset: offset, center: 600e6, seconds: 0.06,
		cn: cn, paths: []arrival{{0, 1}}, seed: seed,
	}
}

// power is that of all paths together.
func (s stay) power() float64 {
	var sum float64
	for _, p := range s.paths {
		sum += real(p.gain)*real(p.gain) + imag(p.gain)*imag(p.gain)
	}
	return sum
}

func (s stay) noiseDensity() float64 { return s.power() / math.Pow(10, s.cn/10) / ChannelWidthHz }

// carrierHz is by how much the signal appears too high.
func (s stay) carrierHz() float64 { return s.stationHz - s.ppm*1e-6*s.center }

func (s stay) samples(t testing.TB) []complex64 {
	e := s.ppm * 1e-6
	x := make([]complex64, int(s.seconds*s.rate))
	rng := rand.New(rand.NewPCG(s.seed, 1))
	start, step := rng.Float64()*0.1, 1/(s.rate*(1+e))
	if !s.noiseOnly {
		// A station that is too high has the slice as much lower on it.
		r, err := NewRenderer(s.rate, s.offset-s.carrierHz())
		require.NoError(t, err)
		w := NewWaveform(s.seed)
		for _, p := range s.paths {
			require.NoError(t, r.Add(x, w, start-p.delay, step, p.gain))
		}
	}
	sigma := math.Sqrt(s.noiseDensity() * s.rate / 2)
	for i := range x {
		x[i] += complex(float32(rng.NormFloat64()*sigma), float32(rng.NormFloat64()*sigma))
	}
	return x
}

// mer is the true modulation error ratio in a band of the channel, in dB: by
// the response of the paths there, as seen from the slice.
func (s stay) mer(lowHz, highHz float64) float64 {
	const count = 512
	var mean float64
	for k := range count {
		h := s.response(lowHz + (float64(k)+0.5)/count*(highHz-lowHz))
		mean += (real(h)*real(h) + imag(h)*imag(h)) / count
	}
	return 10 * math.Log10(mean*Density(ChannelWidthHz/2)/s.noiseDensity())
}

func (s stay) response(hz float64) (h complex128) {
	for _, p := range s.paths {
		h += p.gain * turn(-(hz-s.offset)*p.delay)
	}
	return h
}

// fit fits a stay with a trainer made for it, unless there is one.
func (s stay) fit(t testing.TB, trainers map[float64]*Trainer, know Knowledge) *Training {
	tr := trainers[s.offset]
	if tr == nil {
		var err error
		tr, err = NewTrainer(s.rate, s.offset)
		require.NoError(t, err)
		trainers[s.offset] = tr
	}
	know.CenterHz = s.center
	got, err := tr.Fit(s.samples(t), know)
	require.NoError(t, err)
	return got
}

// slicesOf are the three slices of the channel, which have nothing but the
// paths in common. center and offset of s are those of the channel's lower
// edge, and the paths' gains those on the air.
func (s stay) slicesOf(t testing.TB, trainers map[float64]*Trainer) []*Training {
	rng := rand.New(rand.NewPCG(s.seed, 2))
	var out []*Training
	for _, offset := range []float64{1e6, 3e6, 5e6} {
		c := s
		c.offset, c.center = offset, s.center+offset
		c.seed = rng.Uint64()
		c.paths = nil
		common := cmplx.Rect(1, rng.Float64()*7)
		for _, p := range s.paths {
			c.paths = append(c.paths, arrival{p.delay, common * p.gain * turn(-c.center*p.delay)})
		}
		out = append(out, c.fit(t, trainers, Knowledge{ClockPPM: s.ppm + 0.3*rng.NormFloat64(), RangePPM: 1}))
	}
	return out
}

// scatter is what estimates show against the truth.
type scatter struct{ errors, scores []float64 }

func (s *scatter) add(err, sigma float64) {
	s.errors = append(s.errors, err)
	s.scores = append(s.scores, err/sigma)
}

func rms(x []float64) float64 {
	var sum float64
	for _, v := range x {
		sum += v * v / float64(len(x))
	}
	return math.Sqrt(sum)
}

func mean(x []float64) float64 {
	var sum float64
	for _, v := range x {
		sum += v / float64(len(x))
	}
	return sum
}

// within is the magnitude that a share of x does not exceed.
func within(x []float64, share float64) float64 {
	sorted := make([]float64, len(x))
	for i, v := range x {
		sorted[i] = math.Abs(v)
	}
	slices.Sort(sorted)
	return sorted[min(len(sorted)-1, int(share*float64(len(sorted))))]
}
