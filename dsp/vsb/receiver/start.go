package receiver

import (
	"rooftone/dsp/psd"
	"rooftone/dsp/vsb"
)

// The channel's impulse response as the receiver follows it, in symbols around the
// strongest path: 13 µs before it to 35 µs after.
const (
	tapsAhead   = 144 // taps before the strongest path's
	channelTaps = 528
	tapsBehind  = channelTaps - tapsAhead // that one and after
)

// starter estimates a channel from one field sync.
//
// Of the samples r around it, r = S·h + noise: S has the known symbols, with the mean
// of 1.25 for the unknown ones around them, which are noise in the rows that they
// reach, as strong as the channel that is looked for makes them. Of h most is zero,
// in places that are not known. So least squares with a prior variance for each tap
// is solved by conjugate gradients, and the variances and the rows' noise are taken
// from the solution before, a few times over.
type starter struct {
	fft      *psd.FFT
	shape    []float32   // transform of a path's pulse
	symbols  []complex64 // transform of the known symbols' pulses
	unknown  []float32   // 1 where a symbol is not known
	weights  []float32   // of the rows
	variance []float32   // of the taps
	taps     []complex64
	noise    float32

	work, rows, right, residual, direction, product []complex64
}

const (
	startSize  = 2048
	startFirst = -tapsAhead                    // the first row
	startRows  = vsb.KnownSymbols + tapsBehind // up to this one
	startCount = startRows - startFirst
	// symbol i of the window is the field sync's symbol i+startSymbol.
	startSymbol = startFirst - tapsBehind + 1
	startValid  = channelTaps - 1 // where the rows begin in a convolution
)

func newStarter() (*starter, error) {
	s := &starter{
		shape:   pulseShape(startSize),
		symbols: make([]complex64, startSize), unknown: make([]float32, startSize),
		weights: make([]float32, startCount), variance: make([]float32, channelTaps),
	}
	for _, b := range []*[]complex64{&s.work, &s.rows, &s.right, &s.residual, &s.direction, &s.product, &s.taps} {
		*b = make([]complex64, startSize)
	}
	var err error
	s.fft, err = psd.NewFFT(startSize)
	return s, err
}

// estimate finds the taps in samples, which begin with row startFirst.
func (s *starter) estimate(samples []complex64, odd bool) (taps []complex64, noise float32) {
	known := training(odd)
	clear(s.symbols)
	clear(s.unknown)
	for i := range startCount + channelTaps - 1 {
		m := i + startSymbol
		if m >= 0 && m < len(known) {
			s.symbols[i] = complex(known[m]+vsb.PilotLevel, 0)
		} else {
			s.symbols[i] = vsb.PilotLevel
			s.unknown[i] = 1
		}
	}
	_ = s.fft.Transform(s.symbols, s.symbols)
	for i, v := range s.shape {
		s.symbols[i] *= complex(v, 0)
	}
	samples = samples[:startCount]
	var power float32
	for _, v := range samples {
		power += real(v)*real(v) + imag(v)*imag(v)
	}
	power /= startCount
	// To begin with, a channel spread over where echoes are to be expected.
	for l := range s.variance {
		s.variance[l] = power / vsb.LevelMeanSquare / 400
		if l < 40 || l > tapsAhead+300 {
			s.variance[l] /= 100
		}
	}
	clear(s.taps)
	s.noise = power / 50
	const rounds = 8
	for range rounds {
		s.weigh()
		s.solve(samples, 24)
		s.learn(samples)
	}
	return s.taps[:channelTaps], s.noise
}

// weigh sets the rows' weights from the noise and from what the unknown symbols leave
// in them.
func (s *starter) weigh() {
	for n := range s.weights {
		var leak float32
		for l, v := range s.variance {
			if s.unknown[n+startValid-l] != 0 {
				leak += v
			}
		}
		s.weights[n] = 1 / (s.noise + vsb.LevelMeanSquare*leak)
	}
}

// apply writes (Sᴴ·W·S + V⁻¹)·x to dst.
func (s *starter) apply(dst, x []complex64) {
	s.forward(x)
	for n, w := range s.weights {
		s.rows[n] = complex(real(s.rows[n])*w, imag(s.rows[n])*w)
	}
	s.backward(dst)
	for l, v := range s.variance {
		dst[l] += complex(real(x[l])/v, imag(x[l])/v)
	}
}

// forward writes S·x to rows.
func (s *starter) forward(x []complex64) {
	copy(s.work, x[:channelTaps])
	clear(s.work[channelTaps:])
	_ = s.fft.Transform(s.work, s.work)
	for i, v := range s.symbols {
		s.work[i] = product(s.work[i], v*(1./startSize))
	}
	_ = s.fft.Inverse(s.work, s.work)
	copy(s.rows[:startCount], s.work[startValid:])
}

// backward writes Sᴴ·rows to dst.
func (s *starter) backward(dst []complex64) {
	clear(s.work)
	copy(s.work[startValid:], s.rows[:startCount])
	_ = s.fft.Transform(s.work, s.work)
	for i, v := range s.symbols {
		s.work[i] = product(s.work[i], complex(real(v)/startSize, -imag(v)/startSize))
	}
	_ = s.fft.Inverse(s.work, s.work)
	copy(dst[:channelTaps], s.work)
}

// solve improves the taps by conjugate gradients.
func (s *starter) solve(samples []complex64, steps int) {
	for n, w := range s.weights {
		s.rows[n] = complex(real(samples[n])*w, imag(samples[n])*w)
	}
	s.backward(s.right)
	s.apply(s.product, s.taps)
	var energy float32 // of the symbols in the weighted rows, for the preconditioner
	for _, w := range s.weights {
		energy += w
	}
	energy *= vsb.SyncLevel * vsb.SyncLevel
	var rho float32
	scaled := func(l int) complex64 {
		d := 1 / (energy + 1/s.variance[l])
		return complex(real(s.residual[l])*d, imag(s.residual[l])*d)
	}
	for l := range channelTaps {
		s.residual[l] = s.right[l] - s.product[l]
		z := scaled(l)
		s.direction[l] = z
		rho += real(z)*real(s.residual[l]) + imag(z)*imag(s.residual[l])
	}
	for range steps {
		if !(rho > 0) {
			return
		}
		s.apply(s.product, s.direction)
		var bent float32
		for l, v := range s.direction[:channelTaps] {
			bent += real(v)*real(s.product[l]) + imag(v)*imag(s.product[l])
		}
		if !(bent > 0) {
			return
		}
		step := rho / bent
		var next float32
		for l, v := range s.direction[:channelTaps] {
			s.taps[l] += complex(step*real(v), step*imag(v))
			s.residual[l] -= complex(step*real(s.product[l]), step*imag(s.product[l]))
			z := scaled(l)
			next += real(z)*real(s.residual[l]) + imag(z)*imag(s.residual[l])
		}
		turn := next / rho
		rho = next
		for l, v := range s.direction[:channelTaps] {
			s.direction[l] = scaled(l) + complex(turn*real(v), turn*imag(v))
		}
	}
}

// learn sets the taps' variances and the noise from the taps.
func (s *starter) learn(samples []complex64) {
	const near = 1
	var energy, total float32 // of the symbols over the weighted rows
	for _, w := range s.weights {
		energy += w
	}
	energy *= vsb.SyncLevel * vsb.SyncLevel
	for _, v := range s.taps[:channelTaps] {
		total += real(v)*real(v) + imag(v)*imag(v)
	}
	// A tap that is nothing but the estimate's error has the variance 1/energy,
	// less where it was held back.
	var used float32 // taps that the estimate was free to choose
	for l := range s.variance {
		used += 1 / (1 + 1/(energy*s.variance[l]))
	}
	used *= bandShare
	for l := range s.variance {
		var sum float32
		for k := max(0, l-near); k < min(channelTaps, l+near+1); k++ {
			v := s.taps[k]
			sum += real(v)*real(v) + imag(v)*imag(v)
		}
		s.variance[l] = max(sum/(2*near+1)-1.5/energy, 0) + total*1e-6
	}
	s.forward(s.taps)
	// The rows that unknown symbols matter least in tell the noise.
	var sum, count float32
	for n, w := range s.weights {
		share := w * s.noise // 1 where there is noise only
		d := samples[n] - s.rows[n]
		sum += share * share * (real(d)*real(d) + imag(d)*imag(d))
		count += share
	}
	s.noise = max(sum/max(count-used, count/4), total*1e-4)
}

// pulseShape returns the transform of the pulse that a symbol on one path is behind the
// front's matched filter, sampled once a symbol and with the pilot at 0 Hz: 1 in the
// flat of the band.
func pulseShape(size int) []float32 {
	flat := vsb.Density(vsb.ChannelWidthHz / 2)
	shape := make([]float32, size)
	for k := range shape {
		hz := vsb.PilotOffsetHz + float64(k)/float64(size)*vsb.SymbolRateHz
		shape[k] = float32((vsb.Density(hz) + vsb.Density(hz-vsb.SymbolRateHz)) / flat)
	}
	return shape
}

// bandShare is the part of the symbol rate that the channel occupies: so many of the
// taps are independent.
const bandShare = vsb.ChannelWidthHz / vsb.SymbolRateHz
