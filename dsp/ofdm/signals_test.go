package ofdm

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/dsp/fourier"

	"rooftone/dsp/air"
	"rooftone/dsp/vsb"
)

func newWaveform(t testing.TB, seed uint64, symbols int) *Waveform {
	w, err := NewWaveform(seed, symbols)
	require.NoError(t, err)
	return w
}

func newRenderer(t testing.TB, rateHz, offsetHz float64) *Renderer {
	r, err := NewRenderer(rateHz, offsetHz)
	require.NoError(t, err)
	return r
}

func newTestSearcher(t testing.TB, rateHz, offsetHz float64, samples int) *Searcher {
	s, err := NewSearcher(rateHz, offsetHz, samples)
	require.NoError(t, err)
	return s
}

// stay is what a radio delivers of a channel.
type stay struct {
	rate, offset float64 // as the radio believes
	seconds      float64
	ppm, hz      float64 // the clock's error, and the slice's centre on the air
	cn           float64 // dB, in 6 MHz; +Inf for no noise
	bits         int     // 0 for float samples
	start        float64 // s, on the transmitter's clock
	echoes       []air.Path
}

// carrierError is about how far off the radio sees the transmission.
func (s stay) carrierError() float64 { return -s.hz * s.ppm * 1e-6 }

// add is one way to render a transmission.
type add func(dst []complex64, start, step float64, gain complex128) error

// of renders what a transmission of power 1, made by add, is in the stay.
func (s stay) of(t testing.TB, add add, noise *air.Noise) []complex64 {
	x := make([]complex64, int(s.seconds*s.rate))
	step := 1 / s.rate / (1 + s.ppm*1e-6)
	require.NoError(t, add(x, s.start, step, 1))
	for _, e := range s.echoes {
		gain := complex(air.Amplitude(e.LevelDB), 0) * turn(e.PhaseDeg/360)
		require.NoError(t, add(x, s.start-e.DelaySeconds, step, gain))
	}
	s.receive(t, x, noise)
	return x
}

// receive adds noise and rounds.
func (s stay) receive(t testing.TB, x []complex64, noise *air.Noise) {
	if !math.IsInf(s.cn, 1) {
		noise.Add(x, s.rate/6e6*air.Power(-s.cn))
	}
	if s.bits > 0 {
		q, err := air.NewQuantiser(s.bits)
		require.NoError(t, err)
		// A well-set gain: 12 dB below the rails.
		gain := float32(0.25 / math.Sqrt(air.MeanPower(x)))
		for i, v := range x {
			x[i] = complex(gain*real(v), gain*imag(v)) + complex(0.01, -0.006) // the converter's offset
		}
		q.Apply(x)
	}
}

// station renders an ATSC 3.0 station in a stay.
func (s stay) station(t testing.TB, w *Waveform) add {
	r := newRenderer(t, s.rate*(1+s.ppm*1e-6), s.offset+s.hz*s.ppm*1e-6)
	return func(dst []complex64, start, step float64, gain complex128) error {
		return r.Add(dst, w, start, step, gain)
	}
}

// olderStation renders an 8-VSB station in a stay.
func (s stay) olderStation(t testing.TB, seed uint64) add {
	r, err := vsb.NewRenderer(s.rate*(1+s.ppm*1e-6), s.offset+s.hz*s.ppm*1e-6)
	require.NoError(t, err)
	w := vsb.NewWaveform(seed)
	return func(dst []complex64, start, step float64, gain complex128) error {
		return r.Add(dst, w, start, step, gain)
	}
}

// foreign is a multicarrier signal of another standard, sampled at a slice's
// rate, of power 1.
type foreign struct {
	random         *rand.Rand
	plan           *fourier.CmplxFFT
	guard          int
	carriers       int
	pilots         int // every so many carriers a fixed and louder one; 0 for none
	syncEvery      int // symbols from one Zadoff–Chu symbol to the next; 0 for none
	index          int
	symbol, values []complex128
}

// newLTE is like the downlink of 3GPP TS 36.211: 15 kHz spacing, QPSK, guard
// 4.7 µs, and twice a frame the primary synchronisation sequence, a
// Zadoff–Chu sequence of length 63.
func newLTE(rateHz float64, seed uint64) *foreign {
	n := int(math.Round(rateHz / 15e3))
	return newForeign(n, int(math.Round(4.7e-6*rateHz)), 150, seed, 0, 70)
}

// newDVB is like the 8k mode of ETSI EN 300 744: some 0.84 kHz spacing, guard
// 1/8, pilots 4/3 as strong on every twelfth carrier.
func newDVB(rateHz float64, seed uint64) *foreign {
	n := int(math.Round(rateHz * 1.2e-3))
	return newForeign(n, n/8, 2700, seed, 12, 0)
}

func newForeign(length, guard, carriers int, seed uint64, pilots, syncEvery int) *foreign {
	return &foreign{
		random: rand.New(rand.NewPCG(seed, 1)), plan: fourier.NewCmplxFFT(length), guard: guard,
		carriers: min(carriers, length*9/10), pilots: pilots, syncEvery: syncEvery,
		symbol: make([]complex128, length), values: make([]complex128, length),
	}
}

func (f *foreign) fill(dst []complex64) {
	length := len(f.symbol)
	scale := complex(1/math.Sqrt(float64(f.carriers)), 0)
	for len(dst) > 0 {
		clear(f.values)
		fixed := rand.New(rand.NewPCG(7, 7))
		for i := range f.carriers {
			k := (i - f.carriers/2 + length) % length
			bits := f.random.Uint64()
			f.values[k] = complex(float64(bits&2)-1, float64(bits>>1&2)-1) / math.Sqrt2 * scale
			if f.pilots > 0 && i%f.pilots == 0 {
				f.values[k] = complex(8./3*(float64(fixed.Uint64()&1)-0.5), 0) * scale
			}
		}
		if f.syncEvery > 0 && f.index%f.syncEvery == 0 {
			for n := range 62 {
				at, k := n, (n-31+length)%length
				if n >= 31 {
					at, k = n+1, n-30
				}
				f.values[k] = turn(-25*float64(at*(at+1))/2/63) * scale
			}
		}
		f.index++
		f.plan.Sequence(f.symbol, f.values)
		for n := -f.guard; n < length && len(dst) > 0; n++ {
			dst[0] = complex64(f.symbol[(n+length)%length])
			dst = dst[1:]
		}
	}
}
