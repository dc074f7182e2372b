package scan

import (
	"math"
	"math/cmplx"
	"math/rand/v2"
	"slices"

	"gonum.org/v1/gonum/dsp/fourier"

	"rooftone/scan/band"
)

// foreign is a signal that is made at a high rate around the middle of its
// channel, a new piece of it for each stay. Its sampling ignores the clock's
// error.
type foreign struct {
	make func(dst []complex128, rateHz float64, rng *rand.Rand)
	seed uint64
}

func (f foreign) add(dst []complex64, offsetHz float64, s span, gain float64, ffts transforms) error {
	const widest = 9.6e6
	times := int(math.Ceil(widest / s.rateHz))
	n := len(dst) * times
	x := make([]complex128, n)
	f.make(x, s.rateHz*float64(times), rand.New(rand.NewPCG(f.seed, math.Float64bits(s.start))))
	var sum float64
	for _, v := range x {
		sum += real(v)*real(v) + imag(v)*imag(v)
	}
	ffts.of(n).Coefficients(x, x)
	part := make([]complex128, len(dst))
	shift := int(math.Round((offsetHz - band.WidthHz/2) / s.rateHz * float64(len(dst))))
	for k := range part {
		from := k
		if k >= len(part)/2 {
			from -= len(part)
		}
		if from += shift; from >= -n/2 && from < n/2 {
			part[k] = x[(from+n)%n]
		}
	}
	ffts.of(len(part)).Sequence(part, part)
	scale := complex(gain*math.Sqrt(float64(n)/sum)/float64(n), 0)
	for i, v := range part {
		dst[i] += complex64(scale * v)
	}
	return nil
}

// ofdmLike has the frame of a 5 MHz cellular downlink: 300 carriers some 15 kHz
// apart, symbols of 1/15 ms and a guard of 7 %, 14 to the millisecond; blocks of
// 12 carriers that are on or off from millisecond to millisecond, and some that
// are always on; and every 5 ms the same sequence in the middle.
func ofdmLike(seed uint64) signal { return foreign{makeOFDM, seed} }

func makeOFDM(dst []complex128, rateHz float64, rng *rand.Rand) {
	const carriers, block, perSlot, load = 300, 12, 14, 0.7
	useful := smooth(int(rateHz / 15e3))
	guard := int(math.Round(0.07 * float64(useful)))
	f := fourier.NewCmplxFFT(useful)
	bins := make([]complex128, useful)
	var on [carriers / block]bool
	for at, symbol := 0, 0; at < len(dst); at, symbol = at+useful+guard, symbol+1 {
		if symbol%perSlot == 0 {
			for i := range on {
				on[i] = rng.Float64() < load
			}
		}
		for k := range carriers {
			carrier := k - carriers/2
			if carrier >= 0 {
				carrier++ // none in the middle
			}
			v := complex(0, 0)
			switch {
			case symbol%(5*perSlot) == 6 && carrier >= -31 && carrier <= 31:
				v = cmplx.Rect(1, -math.Pi*25*float64(k*(k+1))/63)
			case on[k/block] || k%6 == 0 && symbol%7%4 == 0:
				v = complex(float64(2*rng.IntN(4)-3), float64(2*rng.IntN(4)-3)) / complex(math.Sqrt(10), 0)
			}
			bins[(carrier+useful)%useful] = v
		}
		body := f.Sequence(nil, bins)
		copy(dst[at:], body[useful-guard:])
		if at+guard < len(dst) {
			copy(dst[at+guard:], body)
		}
	}
}

// videoLike is a carrier that is frequency-modulated by a picture: lines at
// 15.734 kHz, each with its sync pulse and much like the one before.
func videoLike(seed uint64) signal { return foreign{makeVideo, seed} }

func makeVideo(dst []complex128, rateHz float64, rng *rand.Rand) {
	const lineHz, syncShare, swingHz = 15734.26, 0.075, 1.9e6
	picture := make([]float64, 256)
	phase, value, last := 2*math.Pi*rng.Float64(), 0.0, -1
	start := rng.Float64()
	for i := range dst {
		at := start + float64(i)/rateHz*lineHz
		in := at - math.Floor(at)
		if line := int(at); line != last { // the picture changes slowly
			last = line
			for range 8 {
				k := rng.IntN(len(picture))
				level := 2*rng.Float64() - 1
				for n := range 10 + rng.IntN(30) {
					picture[(k+n)%len(picture)] = level
				}
			}
		}
		want := -1.0
		if in > syncShare {
			want = picture[int(in*float64(len(picture)))]
		}
		value += (want - value) * math.Min(1, 12e6/rateHz) // what the modulator's filter leaves
		phase += 2 * math.Pi * swingHz * value / rateHz
		dst[i] = cmplx.Rect(1, phase)
	}
}

// window is a random stretch of a recording, which begins anew at its end.
func window(x []complex64, n int, rng *rand.Rand) []complex64 {
	at := rng.IntN(len(x))
	out := slices.Clone(x[at:min(len(x), at+n)])
	for len(out) < n {
		out = append(out, x[:min(len(x), n-len(out))]...)
	}
	return out
}

// splice is one stay of noise of density 1 under a recording whose mean power
// over the whole slice is levelDB above it.
func (w *world) splice(centerHz, rateHz, seconds, levelDB float64, recording []complex64) heard {
	n := int(math.Round(seconds * rateHz))
	x := window(recording, n, w.rng)
	var sum float64
	for _, v := range x {
		sum += float64(real(v)*real(v) + imag(v)*imag(v))
	}
	scale := 0.0
	if sum > 0 {
		scale = math.Sqrt(power(levelDB) * rateHz / sum * float64(n))
	}
	out := heard{Stay: stayAt(centerHz, rateHz), samples: x}
	sd := math.Sqrt(rateHz / 2)
	for i, v := range x {
		z := complex(sd*w.rng.NormFloat64(), sd*w.rng.NormFloat64()) + complex(scale, 0)*complex128(v)
		clipped := 0
		x[i], clipped = eightBits(z*complex(w.level, 0) + w.dc)
		out.clipped += clipped
	}
	return out
}
