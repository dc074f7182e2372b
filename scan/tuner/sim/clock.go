package sim

import (
	"math"

	"rooftone/dsp/air"
)

const (
	// phaseCornerHz is to where the oscillator's phase noise is level; beyond
	// it falls with the square of the frequency. Ours.
	phaseCornerHz = 30e3

	// phaseStatedHz is where Radio.PhaseNoiseDBc is stated.
	phaseStatedHz = 10e3

	// turnEvery is after how many samples the oscillator's phase is computed
	// anew; between, its phasor goes along a straight line. At 2.4 MS/s its
	// noise is then as stated up to some 70 kHz, and less beyond.
	turnEvery = 8

	// unlockedHz is by how much an oscillator that has not locked trembles.
	unlockedHz = 5e3
)

func (r *Radio) validateClock() error {
	return check(
		limit{"warm_up_ppm", r.WarmUpPPM, -50, 50},
		limit{"warm_up_seconds", r.WarmUpSeconds, 0, 1e5},
		limit{"phase_noise_dbc", r.PhaseNoiseDBc, -1000, -50},
		limit{"unlocked_share", r.UnlockedShare, 0, 1},
		limit{"settle_most_ms", r.SettleMostMS, 0, 1000},
		limit{"lose_every_s", r.LoseEveryS, 0, 1e6},
	)
}

// ppm is how fast the crystal runs at a time after the radio was opened: it
// goes from PPM to WarmUpPPM more along an exponential.
func (r *Radio) ppm(seconds float64) float64 {
	if r.WarmUpPPM == 0 || r.WarmUpSeconds == 0 {
		return r.PPM
	}
	return r.PPM + r.WarmUpPPM*(1-math.Exp(-seconds/r.WarmUpSeconds))
}

// gained is by how many seconds a clock that ran on at the rate of a moment
// falls behind the crystal, in so many seconds from there.
func (r *Radio) gained(from, seconds float64) float64 {
	if r.WarmUpPPM == 0 || r.WarmUpSeconds == 0 {
		return 0
	}
	// The integral of ppm(from+s) − ppm(from) over s.
	tau := r.WarmUpSeconds
	left := r.WarmUpPPM * 1e-6 * math.Exp(-from/tau)
	return left * (seconds + tau*math.Expm1(-seconds/tau))
}

// oscillator is what the radio mixes with: its phase in a stay.
type oscillator struct {
	turn   complex128 // at the stay's beginning
	noise  *air.Noise
	sigma  float64 // of the phase noise, rad
	keep   float64 // of it from one knot to the next
	phase  float64 // rad, of the noise now
	wander float64 // Hz, of one that has not locked; 0 is one that has
	lost   float64 // turns that it has run away by
	slope  float64 // Hz now
	at     complex128
	draws  [frame / turnEvery / 2]complex64
}

// open begins a stay.
func (o *oscillator) open(seed uint64, r *Radio, rateHz float64, locked bool) {
	if o.noise == nil {
		o.noise = air.NewNoise(0)
	}
	o.noise.Seed(air.Seed(seed, 9))
	o.turn = turn(float64(air.Seed(seed, 6)%4096) / 4096)
	o.sigma, o.phase, o.wander, o.lost, o.slope = 0, 0, 0, 0, 0
	if r.PhaseNoiseDBc > -300 {
		// Density L/(1 + (f/c)²) around the stated L at 10 kHz has the
		// integral π·c·L.
		level := air.Power(r.PhaseNoiseDBc) * (1 + math.Pow(phaseStatedHz/phaseCornerHz, 2))
		o.sigma = math.Sqrt(level * math.Pi * phaseCornerHz)
		o.keep = math.Exp(-2 * math.Pi * phaseCornerHz * turnEvery / rateHz)
	}
	if !locked {
		o.wander = unlockedHz
	}
	o.at = o.turn
}

// steady says whether the oscillator's phase stands still in a stay.
func (o *oscillator) steady() bool { return o.sigma == 0 && o.wander == 0 }

// apply turns x by the oscillator's phase, which has gone on from its place at
// the stay's beginning by so many turns at x's first sample and at its end.
func (o *oscillator) apply(x []complex64, rateHz, from, to float64) {
	o.noise.Fill(o.draws[:], 2)
	each := (to - from) / float64(len(x))
	fresh := o.sigma * math.Sqrt(1-o.keep*o.keep)
	for k := 0; k < len(x); k += turnEvery {
		draw := o.draws[k/turnEvery/2]
		normal := float64(real(draw))
		if k/turnEvery%2 == 1 {
			normal = float64(imag(draw))
		}
		o.phase = o.keep*o.phase + fresh*normal
		if o.wander > 0 {
			const keep = 0.98
			o.slope = keep*o.slope + math.Sqrt(1-keep*keep)*o.wander*normal
			o.lost += o.slope * turnEvery / rateHz
		}
		part := x[k:min(k+turnEvery, len(x))]
		next := o.turn * turn(o.phase/(2*math.Pi)+o.lost-from-each*float64(k+len(part)))
		z := complex64(o.at)
		step := complex64((next - o.at) / complex(float64(len(part)), 0))
		for i := range part {
			part[i] *= z
			z += step
		}
		o.at = next
	}
}

// locks says whether the synthesiser locks at a frequency. One that does not
// says nothing, and stands somewhere else.
func (r *Radio) locks(hz float64) bool {
	const raster = 1e6
	draw := air.Seed(r.Seed, 77, uint64(int64(math.Round(hz/raster))))
	return r.UnlockedShare == 0 || float64(draw>>11)*0x1p-53 >= r.UnlockedShare
}

// strayedHz is how far from a frequency an oscillator stands that did not lock
// there: 2 to 15 MHz.
func (r *Radio) strayedHz(hz float64) float64 {
	draw := float64(air.Seed(r.Seed, 78, uint64(int64(hz)))>>11) * 0x1p-53
	if draw < 0.5 {
		return -2e6 - 26e6*draw
	}
	return 2e6 + 26e6*(draw-0.5)
}

// settles is how long samples are wrong after a Tune, in seconds. What passes
// over them counts on SettleMS; with another rate it may take longer.
func (t *Tuner) settles(rateHz float64) float64 {
	r := &t.town.Radio
	least := r.SettleMS / 1e3
	if t.stays == 0 || rateHz == t.tuning.RateHz || r.SettleMostMS <= r.SettleMS {
		return least
	}
	draw := float64(air.Seed(r.Seed, 79, t.stays)>>11) * 0x1p-53
	return least + draw*(r.SettleMostMS/1e3-least)
}

// loses returns how many samples the radio loses before the next frame, and
// does not tell.
func (t *Tuner) loses() int64 {
	every := t.town.Radio.LoseEveryS
	if every == 0 || t.framed == 0 {
		return 0
	}
	draw := air.Seed(t.stay.seed, 8, uint64(t.framed))
	if float64(draw>>11)*0x1p-53 >= frame/t.stay.rateHz/every {
		return 0
	}
	// A few of the blocks of 256 samples of a full-size USB packet; ours.
	return 256 * (1 + int64(air.Seed(draw)%64))
}
