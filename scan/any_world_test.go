package scan

import (
	"context"
	"io"
	"math"
	"math/cmplx"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/dsp/fourier"

	"rooftone/dsp/ofdm"
	"rooftone/dsp/vsb"
	"rooftone/scan/band"
	"rooftone/scan/tuner"
)

// The truth in the any_* tests is plain arithmetic that shares nothing with the
// estimators: signals of power 1 (8-VSB and ATSC 3.0 by the renderers that are
// checked against independent transmitters), times the response of the paths,
// plus white noise, times the response of a front end, all of it multiplied
// out in the discrete Fourier transform of a wide stay at twice the sample
// rate; the two halves of that transform then fold onto each other, as they do
// when every other sample is kept.

// world is what a radio hears. Powers are relative to noise of density 1 per
// hertz at the radio's input.
type world struct {
	rng   *rand.Rand
	ppm   float64 // the radio's clock error
	front frontEnd
	level float64 // the sample that an amplitude of 1 makes; full scale is 1
	dc    complex128

	tiltDBPerMHz, pivotHz float64 // of the noise

	on    []*emission
	lines []lineAt

	now  float64 // seconds, when the next stay begins
	ffts transforms
}

// transforms are the transforms of every length so far, for all the worlds of
// one test.
type transforms map[int]*fourier.CmplxFFT

func (f transforms) of(n int) *fourier.CmplxFFT {
	if f[n] == nil {
		f[n] = fourier.NewCmplxFFT(n)
	}
	return f[n]
}

// emission is one transmission on a channel.
type emission struct {
	channel band.Channel
	cnDB    float64 // its mean power over the noise in 6 MHz
	errorHz float64
	rays    []ray // none: one path
	signal  signal
}

// ray is one path: amplitude with phase, and delay in seconds.
type ray struct {
	gain  complex128
	delay float64
}

// lineAt is a tone at a true frequency, its power over the noise in 6 MHz.
type lineAt struct{ hz, overNoiseDB float64 }

// signal adds to dst the samples of a wide stay, of power gain², whose middle is
// offsetHz above the channel's lower edge.
type signal interface {
	add(dst []complex64, offsetHz float64, s span, gain float64, ffts transforms) error
}

// span is a wide stay: it begins at a time and has a step by the true clock,
// and a sample rate by the radio's.
type span struct{ rateHz, start, step float64 }

// frontEnd is the amplitude response of a radio's filters at an offset from
// the slice's middle, over half the sample rate.
type frontEnd func(share float64) float64

// sharpFront is flat to 0.92 of half the rate and has nothing beyond all of it.
func sharpFront(share float64) float64 {
	const pass = 0.92
	switch x := (math.Abs(share) - pass) / (1 - pass); {
	case x <= 0:
		return 1
	case x < 1:
		return 0.5 + 0.5*math.Cos(math.Pi*x)
	}
	return 0
}

// measuredFront is a real dongle's: the mean of noise at 1.92 MS/s, less what
// folds back, up to half the rate, and beyond it what a strong signal across
// the edge was seen to fold back; from 1.2 on it is continued by a guess.
func measuredFront(share float64) float64 {
	at := []float64{0, 0.5, 0.7, 0.8, 0.85, 0.9, 0.95, 1, 1.04, 1.08, 1.12, 1.16, 1.2, 1.3, 1.5, 2}
	below := []float64{0, 0.7, -0.1, -1.1, -2.4, -3.7, -5.0, -7.8, -10, -13, -15, -21, -25, -32, -45, -60}
	above := []float64{0, -0.8, -0.6, -1.7, -2.8, -3.8, -5.7, -8.0, -10, -13, -15, -21, -25, -32, -45, -60}
	db := above
	if share < 0 {
		db = below
	}
	share = math.Min(math.Abs(share), at[len(at)-1])
	k := 1
	for at[k] < share {
		k++
	}
	t := (share - at[k-1]) / (at[k] - at[k-1])
	return math.Pow(10, (db[k-1]+t*(db[k]-db[k-1]))/20)
}

// newWorld is a world without any signals, its clock off by at most 60 ppm.
func newWorld(seed uint64, front frontEnd, ffts transforms) *world {
	rng := rand.New(rand.NewPCG(seed, 7))
	return &world{
		rng: rng, ppm: 120*rng.Float64() - 60, front: front,
		dc:  cmplx.Rect(1.2e-3, 2*math.Pi*rng.Float64()), // −58 dBFS
		now: rng.Float64(), ffts: ffts,
	}
}

// put adds a transmission and returns it.
func (w *world) put(c band.Channel, cnDB float64, s signal, rays ...ray) *emission {
	e := &emission{channel: c, cnDB: cnDB, errorHz: 8 * w.rng.NormFloat64(), rays: rays, signal: s}
	w.on = append(w.on, e)
	return e
}

// setLevel puts the strongest slices of a sample rate at −12 dBFS.
func (w *world) setLevel(rateHz float64) {
	most := rateHz
	for _, e := range w.on {
		most = math.Max(most, rateHz+power(e.cnDB)*band.WidthHz*math.Min(1, 1.3*rateHz/band.WidthHz))
	}
	w.level = math.Sqrt(power(-12) / most)
}

// rounding is the density that the converter's 8 bits add: a step squared over
// twelve each for I and Q, spread over the sample rate.
func (w *world) rounding(rateHz float64) float64 {
	const step = 1 / 127.5
	return 2 * step * step / 12 / (w.level * w.level * rateHz)
}

// noise is the density of the noise at a true frequency.
func (w *world) noise(hz float64) float64 { return power(w.tiltDBPerMHz * (hz - w.pivotHz) / 1e6) }

func power(db float64) float64 { return math.Pow(10, db/10) }

func decibels(power float64) float64 { return 10 * math.Log10(power) }

// response is that of an emission's paths at a true frequency.
func (e *emission) response(hz float64) complex128 {
	if len(e.rays) == 0 {
		return 1
	}
	var h complex128
	for _, r := range e.rays {
		h += r.gain * cmplx.Rect(1, -2*math.Pi*math.Mod(hz*r.delay, 1))
	}
	return h
}

// pass multiplies a transform, whose second half comes first in frequency, from
// lowHz up in steps, by the response.
func (e *emission) pass(x []complex128, lowHz, stepHz float64) {
	const anew = 512 // how often the phases are made anew
	turn, step := make([]complex128, len(e.rays)), make([]complex128, len(e.rays))
	for i, r := range e.rays {
		step[i] = cmplx.Rect(1, -2*math.Pi*math.Mod(stepHz*r.delay, 1))
	}
	for k := range x {
		var h complex128
		for i, r := range e.rays {
			if k%anew == 0 {
				turn[i] = r.gain * cmplx.Rect(1, -2*math.Pi*math.Mod((lowHz+float64(k)*stepHz)*r.delay, 1))
			}
			h += turn[i]
			turn[i] *= step[i]
		}
		x[(k+len(x)/2)%len(x)] *= h
	}
}

// hear is one stay with a radio's centre and rate.
func (w *world) hear(t testing.TB, centerHz, rateHz, seconds float64) heard {
	t.Helper()
	if w.level == 0 {
		w.setLevel(rateHz)
	}
	clock := 1 + w.ppm*1e-6
	n, guard := int(math.Round(seconds*rateHz)), max(128, int(60e-6*rateHz))
	half := smooth(n + 2*guard)
	s := span{rateHz: 2 * rateHz, start: w.now, step: 1 / (2 * rateHz * clock)}
	bins := w.transformOf(t, centerHz*clock, s, 2*half)
	for k := range half {
		bins[k] = (bins[k] + bins[k+half]) / 2 // every other sample
	}
	x := w.ffts.of(half).Sequence(bins[:half], bins[:half])[guard : guard+n]
	for _, l := range w.lines {
		w.addLine(x, l, centerHz*clock, rateHz)
	}
	out := heard{Stay: stayAt(centerHz, rateHz), samples: make([]complex64, n)}
	for i, v := range x {
		z, clipped := eightBits(v*complex(w.level/float64(half), 0) + w.dc)
		out.samples[i] = z
		out.clipped += clipped
	}
	w.now += seconds + 0.01 + 0.02*w.rng.Float64()
	return out
}

// transformOf is the transform of a wide stay behind the front end.
func (w *world) transformOf(t testing.TB, trueHz float64, s span, n int) []complex128 {
	sum, one := make([]complex128, n), make([]complex128, n)
	hz := func(k int) float64 { // from the middle
		if k >= n/2 {
			k -= n
		}
		return float64(k) / (float64(n) * s.step)
	}
	wide := make([]complex64, n)
	straight := false // something without echoes is in wide
	forward := func() {
		for i, v := range wide {
			one[i] = complex128(v)
		}
		w.ffts.of(n).Coefficients(one, one)
	}
	for _, withRays := range []bool{true, false} {
		for _, e := range w.on {
			offset := trueHz - e.channel.LowerHz - e.errorHz
			reach := s.rateHz/2*1.1 + 0.1e6
			if withRays != (len(e.rays) > 0) || offset < -reach || offset > band.WidthHz+reach {
				continue
			}
			require.NoError(t, e.signal.add(wide, offset, s, math.Sqrt(power(e.cnDB)*band.WidthHz), w.ffts))
			if straight = !withRays; straight {
				continue
			}
			forward()
			e.pass(one, trueHz-1/(2*s.step), 1/(float64(n)*s.step))
			for k := range sum {
				sum[k] += one[k]
			}
			clear(wide)
		}
	}
	if straight {
		forward()
		for k := range sum {
			sum[k] += one[k]
		}
	}
	// Each bin of white noise of density D has a variance of n·D·rate.
	white := math.Sqrt(float64(n) / s.step / 2)
	for k := range sum {
		f := hz(k)
		sd := white
		if w.tiltDBPerMHz != 0 {
			sd *= math.Sqrt(w.noise(trueHz + f))
		}
		sum[k] += complex(sd*w.rng.NormFloat64(), sd*w.rng.NormFloat64())
		sum[k] *= complex(w.front(f*4*s.step), 0) // half the rate is 1/(4·step)
	}
	return sum
}

// addLine adds a tone, wherever it folds to, to a stay before its scale.
func (w *world) addLine(x []complex128, l lineAt, trueHz, rateHz float64) {
	clock := 1 + w.ppm*1e-6
	offset := (l.hz - trueHz) / (rateHz * clock) // cycles a sample
	amplitude := math.Sqrt(power(l.overNoiseDB)*band.WidthHz) * w.front(2*offset)
	if amplitude == 0 || math.Abs(offset) > 1 {
		return
	}
	scale := amplitude * float64(smooth(len(x)+2*max(128, int(60e-6*rateHz))))
	for i := range x {
		x[i] += cmplx.Rect(scale, 2*math.Pi*math.Mod(offset*float64(i), 1))
	}
}

// eightBits is what a converter of 8 bits whose middle lies between two of its
// steps makes of a sample.
func eightBits(z complex128) (complex64, int) {
	clipped := 0
	one := func(v float64) float32 {
		k := math.Floor(v*127.5 + 128)
		if k <= 0 || k >= 255 {
			clipped = 1
		}
		return float32((math.Max(0, math.Min(255, k)) - 127.5) / 127.5)
	}
	return complex(one(real(z)), one(imag(z))), clipped
}

// smooth is the least number from n up without prime factors above 5.
func smooth(n int) int {
	for ; ; n++ {
		rest := n
		for _, p := range []int{2, 3, 5} {
			for rest%p == 0 {
				rest /= p
			}
		}
		if rest == 1 {
			return n
		}
	}
}

// eightVSB and threeOh are rendered.
type eightVSB struct{ *vsb.Waveform }

func (v eightVSB) add(dst []complex64, offsetHz float64, s span, gain float64, _ transforms) error {
	r, err := vsb.NewRenderer(s.rateHz, offsetHz)
	if err != nil {
		return err
	}
	return r.Add(dst, v.Waveform, s.start, s.step, complex(gain, 0))
}

type threeOh struct{ *ofdm.Waveform }

func (v threeOh) add(dst []complex64, offsetHz float64, s span, gain float64, _ transforms) error {
	r, err := ofdm.NewRenderer(s.rateHz, offsetHz)
	if err != nil {
		return err
	}
	return r.Add(dst, v.Waveform, s.start, s.step, complex(gain, 0))
}

// heard is one stay as a recording holds it.
type heard struct {
	tuner.Stay
	samples []complex64
	clipped int
}

func stayAt(centerHz, rateHz float64) tuner.Stay {
	return tuner.Stay{CenterHz: centerHz, RateHz: rateHz, GainDB: math.NaN()}
}

// recorded plays stays.
type recorded struct {
	stays []heard
	next  int
	at    int
}

func (p *recorded) Info() tuner.Info { return tuner.Info{Name: "heard", Datatype: "cu8"} }
func (p *recorded) Close() error     { return nil }

func (p *recorded) Next(context.Context) (tuner.Stay, error) {
	if p.next == len(p.stays) {
		return tuner.Stay{}, io.EOF
	}
	p.next, p.at = p.next+1, 0
	return p.stays[p.next-1].Stay, nil
}

func (p *recorded) Read(_ context.Context, dst []complex64) (tuner.Block, error) {
	s := &p.stays[p.next-1]
	n := copy(dst, s.samples[p.at:])
	b := tuner.Block{Samples: dst[:n], CenterHz: s.CenterHz, RateHz: s.RateHz, GainDB: s.GainDB}
	if p.at == 0 {
		b.Clipped = s.clipped
	}
	if p.at += n; n == 0 {
		return b, io.EOF
	}
	return b, nil
}

// survey sweeps stays.
func survey(t testing.TB, stays []heard, o Options) *Survey {
	t.Helper()
	s, err := SweepPlaylist(context.Background(), &recorded{stays: stays}, o)
	require.NoError(t, err)
	return s
}

// lone sweeps stays for one channel, of which alone the plan consists.
func lone(t testing.TB, stays []heard, c band.Channel) *Channel {
	t.Helper()
	s := survey(t, stays, Options{Channels: []band.Channel{c}, Plan: []band.Channel{c}})
	require.Len(t, s.Channels, 1)
	return &s.Channels[0]
}

// uhf draws one of the channels 14 to 36.
func (w *world) uhf() band.Channel {
	c, _ := band.Plans()[0].Channel(14 + w.rng.IntN(23))
	return c
}
