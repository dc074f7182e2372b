package sim

import (
	"rooftone/dsp/air"
	"rooftone/scan/band"
)

// Truth is what is exactly so of a channel in a town, at the gain and the
// sample rate in use. Powers are in dBm at the antenna terminals and hold for
// the channel's 6 MHz; −Inf is none.
type Truth struct {
	Channel band.Channel

	// SignalDBm is the mean power of the strongest station on the channel, its
	// pilot and all its echoes included: the transmitted spectrum times the
	// response of the paths, integrated. Echoes with Doppler or scatter add in
	// power. Fading is left out, which makes it the median (lognormal) or the
	// mean (rayleigh).
	SignalDBm float64

	// ThermalDBm is k·290 K·6 MHz times the noise factor at this gain, the
	// preamplifier's and the lead's included, and the noise from Outside.
	ThermalDBm float64

	// RoundingDBm is what the converter adds: its error for Gaussian input of
	// the slice's mean power (Bussgang), spread evenly over the sample rate,
	// divided by the gain and by the pass band's power response, and averaged
	// over the frequencies at which a visit sees the channel: within 1 MHz, or
	// 0.4 of the rate where that is less, of slices centred 1, 3 and 5 MHz
	// above its lower edge; for rates of 7 MS/s and more all of one slice in
	// the middle. It contains the distortion of samples on a rail.
	RoundingDBm float64

	// InterferenceDBm is all else in the channel: further stations, shoulders
	// of neighbours, tones, services, impulses and the radio's own spurs. The
	// tone in the middle of a slice, a zero-IF radio's hump there, the image of
	// an I/Q imbalance, what folds in and the products of a limited front end
	// are left out.
	InterferenceDBm float64

	// NoiseDBm is ThermalDBm and RoundingDBm together, without
	// InterferenceDBm, and CNDB is SignalDBm − NoiseDBm.
	NoiseDBm float64
	CNDB     float64
}

// Truth returns what is so of a channel. Before the first Tune it holds for the
// highest gain and 2.4 MS/s.
func (t *Tuner) Truth(rfChannel int) (Truth, error) {
	c, err := channel(rfChannel)
	if err != nil {
		return Truth{}, err
	}
	var signal, others float64
	for _, e := range t.emitters {
		p := e.within(c.LowerHz, c.UpperHz())
		if s, ok := e.(*station); ok && s.RFChannel == rfChannel && p > signal {
			signal, p = p, signal
		}
		others += p
	}
	thermal := milliwatts(ThermalDBmPerHz) * band.WidthHz * (t.noiseFactor(t.realGain(t.gain)) + t.outside(c.CenterHz()))
	rounding := t.roundingWithin(c)
	return Truth{
		Channel:         c,
		SignalDBm:       dBm(signal),
		ThermalDBm:      dBm(thermal),
		RoundingDBm:     dBm(rounding),
		InterferenceDBm: dBm(others),
		NoiseDBm:        dBm(thermal + rounding),
		CNDB:            dBm(signal / (thermal + rounding)),
	}, nil
}

// roundingWithin returns the converter's error in a channel, in mW at the
// terminals.
func (t *Tuner) roundingWithin(c band.Channel) float64 {
	if t.rounding == nil {
		return 0
	}
	rate := t.tuning.RateHz
	if rate == 0 {
		rate = 2.4e6
	}
	const oneSliceFrom = 7e6
	offsets, half := []float64{1e6, 3e6, 5e6}, 1e6
	if rate >= oneSliceFrom {
		offsets, half = []float64{3e6}, 3e6
	}
	half = min(half, 0.4*rate) // what a visit uses of a slice
	var density float64        // mW/Hz
	for _, offset := range offsets {
		s := t.slice(c.LowerHz+offset, rate, t.gain)
		r := t.rounding.Rounding(t.slicePower(&s))
		pass := t.passBand(&s)
		const points = 200
		var flattened float64 // mean of 1/|H|²
		for i := range points {
			f := half * (2*(float64(i)+0.5)/points - 1)
			flattened += 1 / pass(f) / points
		}
		error := r.Error / (r.Gain * r.Gain) / s.rateHz / (s.scale * s.scale)
		density += error * flattened / float64(len(offsets))
	}
	return density * band.WidthHz
}

// passBand returns the power response of a slice's filters at an offset from
// its middle.
func (t *Tuner) passBand(s *slice) func(offsetHz float64) float64 {
	if s.band != nil {
		return s.band.Power
	}
	plain := air.NewFIR(air.PassBand(t.town.Radio.DroopDB, s.tiltDB))
	return func(offsetHz float64) float64 {
		h := plain.Response(offsetHz / s.rateHz)
		return real(h)*real(h) + imag(h)*imag(h)
	}
}

// slicePower returns the mean power, relative to full scale, that reaches the
// converter in a slice. Plain filters are counted for the noise, which is all
// there is when so little comes in that it matters.
func (t *Tuner) slicePower(s *slice) float64 {
	low, high := s.edges()
	const points = 256
	var sum, through float64
	if s.band == nil {
		for _, e := range t.emitters {
			sum += e.within(low, high)
		}
		pass := t.passBand(s)
		for i := range points {
			through += pass((float64(i)/points-0.5)*s.rateHz) / points
		}
	} else {
		for i := range points {
			through += s.band.Noise((float64(i)/points-0.5)*s.rateHz) / points
		}
		const parts = 24
		for i := range parts {
			from := low + (high-low)*float64(i)/parts
			to := low + (high-low)*float64(i+1)/parts
			p := s.passes((from + to) / 2)
			for _, e := range t.emitters {
				sum += p * p * e.within(from, to)
			}
		}
	}
	power := sum*s.scale*s.scale + s.noise*through
	if t.town.Radio.DCDBFS > -300 {
		power += air.Power(t.town.Radio.DCDBFS)
	}
	return power
}
