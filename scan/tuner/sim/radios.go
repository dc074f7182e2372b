package sim

import (
	"fmt"
	"math"

	"rooftone/dsp/air"
)

// The radios that a town file may name as its radio's model.
const (
	ModelDongle = "dongle"
	ModelZeroIF = "zero-if"
	ModelWide   = "wide"
	ModelBench  = "bench"
)

// RadioOf returns a radio by its model; "" is the common dongle.
func RadioOf(model string) (Radio, error) {
	switch model {
	case "", ModelDongle:
		return DefaultRadio(), nil
	case ModelZeroIF:
		return ZeroIFRadio(), nil
	case ModelWide:
		return WideRadio(), nil
	case ModelBench:
		return BenchRadio(), nil
	}
	return Radio{}, fmt.Errorf("radio: model = %.40q must be %s, %s, %s or %s", model, ModelDongle, ModelZeroIF, ModelWide, ModelBench)
}

// DefaultRadio returns a common dongle with a low-IF tuner: 8 bits, 6 dB of
// noise figure, 21 ppm. Where its figures come from:
//
//   - filters: recordings of such dongles, see air.Dongle;
//   - direct current of −55 to −63 dBFS, and an imbalance of at most 0.05 dB and
//     0.001 of correlation (0.06°): the same recordings;
//   - gain steps of 0 to 5 dB for 3: published measurements of one tuner
//     (sm5bsz); some dB lost above 30 dB: of another (N8UR);
//   - a retune with another rate may take 100 ms: a known fault of the common
//     driver; a crystal some ppm off its place until it is warm: common practice;
//   - ours, for want of measurements: how far the intercept strays, how fast it
//     warms up, how often samples are lost; the phase noise is some dB worse than
//     the −98 dBc/Hz at 10 kHz that such tuners are sold with.
func DefaultRadio() Radio {
	return Radio{
		Seed: 1, PPM: 21, NoiseFigureDB: 6, FullScaleDBm: -66, Bits: 8,
		SettleMS: 6, SettleMostMS: 100, LoseEveryS: 600,
		Front: FrontDongle, StrayDB: 0.8, TiltDB: 0.3, RippleDB: 1,
		StepStray: 0.5, TopLossDB: 3, InterceptStrayDB: 3,
		WarmUpPPM: -3, WarmUpSeconds: 300, PhaseNoiseDBc: -92,
		DCDBFS: -59, DCStrayDB: 4, SpurDBm: -112,
		IQGainDB: 0.05, IQPhaseDeg: 0.06,
	}
}

// ZeroIFRadio returns a dongle whose tuner mixes straight down: an image of −28
// to −40 dB that depends on frequency and a hump in the middle, as recordings
// show them, and more direct current (ours).
func ZeroIFRadio() Radio {
	r := DefaultRadio()
	r.Front = FrontZeroIF
	r.ImageDB, r.ImageStrayDB = -34, 6
	r.DCDBFS = -48
	return r
}

// WideRadio returns a better radio that sees whole channels: 12 bits, up to
// 20 MS/s, a steady crystal. It mixes straight down and calibrates itself; what
// is left of its image and its direct current is common practice.
func WideRadio() Radio {
	return Radio{
		Seed: 1, PPM: 1, NoiseFigureDB: 5, FullScaleDBm: -60, Bits: 12, SettleMS: 2,
		Wide: true, Front: FrontWide, StrayDB: 0.1, TiltDB: 0.1, RippleDB: 1,
		WarmUpPPM: 0.3, WarmUpSeconds: 300, PhaseNoiseDBc: -98,
		DCDBFS: -50, DCStrayDB: 4, SpurDBm: -130,
		ImageDB: -48, ImageStrayDB: 5,
	}
}

// imagePeriodHz is over what span an image goes up and down. Ours.
const imagePeriodHz = 170e6

// imbalance returns what is between I and Q at a frequency.
func (r *Radio) imbalance(hz float64) air.Imbalance {
	if r.ImageDB == 0 {
		return air.Imbalance{GainDB: r.IQGainDB, PhaseDeg: r.IQPhaseDeg}
	}
	at := float64(air.Seed(r.Seed, 80)%1000) / 1000
	image := r.ImageDB + r.ImageStrayDB*math.Sin(2*math.Pi*(hz/imagePeriodHz+at))
	// Half of its power is the phase's, half the gain's: each makes an image of
	// a quarter of its square, in radians and as a ratio.
	part := 2 * air.Amplitude(image) / math.Sqrt2
	return air.Imbalance{GainDB: 20 * math.Log10(1+part), PhaseDeg: part * 180 / math.Pi}
}

// directCurrent returns what a stay has in its middle.
func (r *Radio) directCurrent(seed uint64) complex64 {
	if r.DCDBFS <= -300 {
		return 0
	}
	draw := float64(air.Seed(seed, 10)>>11) * 0x1p-53
	level := r.DCDBFS + r.DCStrayDB*(2*draw-1)
	return complex64(turn(float64(air.Seed(seed, 7)%4096)/4096) * complex(air.Amplitude(level), 0))
}
