package sim

import (
	"fmt"
	"math"

	"rooftone/dsp/air"
	"rooftone/dsp/vsb"
)

const (
	// ReferenceHz is the nominal frequency of the radio's crystal.
	ReferenceHz = 28.8e6

	// ThermalDBmPerHz is the noise of a matched source at 290 K,
	// k = 1.380649e−23 J/K (SI).
	ThermalDBmPerHz = -173.975

	lowestHz  = 24e6
	highestHz = 1766e6

	lowestRate   = 1e6
	highestRate  = 3.2e6
	wideRate     = 20e6
	channelWidth = vsb.ChannelWidthHz

	beatHz = 317e3
)

// Radio is the simulated radio: a cheap dongle, with its faults.
type Radio struct {
	Seed uint64 `toml:"seed"` // of all that is random in the town

	// PPM is how fast the radio's crystal runs, in parts per million: asked
	// for f it tunes to f·(1 + PPM·10⁻⁶), and so with the sample rate.
	PPM float64 `toml:"ppm"`

	// NoiseFigureDB is at the highest gain. It rises as the gain falls, by
	// Friis's formula for what follows the gain: 32.8 dB, so that a noise
	// figure of 6 dB becomes 7.0 at 33 dB of gain, 15 at 18 and 33 at 0.
	NoiseFigureDB float64 `toml:"noise_figure_db"`

	// FullScaleDBm is the level at the antenna terminals that, at the highest
	// gain, reaches the converter's rails: 0 dBFS.
	FullScaleDBm float64 `toml:"full_scale_dbm"`

	Bits     int     `toml:"bits"`      // of the converter; 0 keeps the samples unrounded
	SettleMS float64 `toml:"settle_ms"` // how long samples are wrong after a Tune
	DroopDB  float64 `toml:"droop_db"`  // of plain filters' pass band at ±0.4375 of the sample rate
	TiltDB   float64 `toml:"tilt_db"`   // of the pass band, from −1/4 to +1/4 of the sample rate
	RippleDB float64 `toml:"ripple_db"` // how far the gain strays with frequency, over tens of MHz

	// Front is the radio's filters, and with them what of the spectrum beyond
	// half the rate folds back: "plain" (or nothing), which is none of it,
	// "dongle", "zero-if" or "wide". See dsp/air for where they come from.
	Front   string  `toml:"front"`
	FoldDB  float64 `toml:"fold_db"`  // by how much more than measured folds back
	StrayDB float64 `toml:"stray_db"` // how far the pass band leans with frequency and gain, to an edge

	// StepStray is how far gain steps are from what their names say: 1 makes
	// of a step anything from nothing to 5/3 of its name (0 to 5 dB were found
	// for steps of 3), 0 nothing else than its name. TopLossDB is by how much
	// the highest gain stays behind its name, from 30 dB up, relative to the
	// others. Levels and intercepts are stated for the highest gain.
	StepStray float64 `toml:"step_stray"`
	TopLossDB float64 `toml:"top_loss_db"`

	// AGC leaves a gain control on behind all gains, which nobody is told.
	AGC bool `toml:"agc"`

	// InterceptStrayDB is how far intercepts go up and down with frequency.
	InterceptStrayDB float64 `toml:"intercept_stray_db"`

	// PPM is of a cold crystal. It goes WarmUpPPM from there, with a time
	// constant of WarmUpSeconds.
	WarmUpPPM     float64 `toml:"warm_up_ppm"`
	WarmUpSeconds float64 `toml:"warm_up_seconds"`

	// PhaseNoiseDBc is the oscillator's phase noise 10 kHz from it, in dBc/Hz;
	// −300 and less is none.
	PhaseNoiseDBc float64 `toml:"phase_noise_dbc"`

	// UnlockedShare is the share of frequencies, by the megahertz, on which the
	// synthesiser does not lock. It says nothing, and hears something else.
	UnlockedShare float64 `toml:"unlocked_share"`

	// SettleMostMS is how long samples may be wrong after a Tune to another
	// sample rate. Nobody knows: SettleMS is passed over all the same. 0 is
	// never longer than that.
	SettleMostMS float64 `toml:"settle_most_ms"`

	// LoseEveryS is after how many seconds on the mean some samples are lost
	// without a word; 0 is never.
	LoseEveryS float64 `toml:"lose_every_s"`

	// The radio's own signals. −300 and less is none.
	DCDBFS    float64 `toml:"dc_dbfs"`     // in the middle of every slice
	DCStrayDB float64 `toml:"dc_stray_db"` // how far that goes up and down from stay to stay
	SpurDBm   float64 `toml:"spur_dbm"`    // harmonics of the crystal, ±6 dB; as if they came in at the antenna

	IQGainDB   float64 `toml:"iq_gain_db"`
	IQPhaseDeg float64 `toml:"iq_phase_deg"`

	// ImageDB, when not 0, is the image in place of the two above, from where
	// it goes up and down with frequency by ImageStrayDB.
	ImageDB      float64 `toml:"image_db"`
	ImageStrayDB float64 `toml:"image_stray_db"`

	// BeatDBFS is a tone that stands beatHz above the middle of every slice,
	// wherever that is; nil is none.
	BeatDBFS *float64 `toml:"beat_dbfs"`

	// IIP3DBm and IIP2DBm are the input intercepts of third and second order at
	// the highest gain; they rise by as much as the gain falls. nil is a front
	// end without that limit.
	IIP3DBm *float64 `toml:"iip3_dbm"`
	IIP2DBm *float64 `toml:"iip2_dbm"`

	// TuningStepHz is the grid that the synthesiser can really reach, which
	// it does not tell; 0 reaches every frequency.
	TuningStepHz float64 `toml:"tuning_step_hz"`

	// Wide makes a better radio that also does rates up to 20 MS/s, with the
	// filters of one unless they are plain.
	Wide bool `toml:"wide"`
}

// BenchRadio returns a radio whose only faults are thermal noise (6 dB of noise
// figure) and an 8-bit converter: for tests that compare with theory.
func BenchRadio() Radio {
	return Radio{Seed: 1, NoiseFigureDB: 6, FullScaleDBm: -66, Bits: 8, SettleMS: 6, DCDBFS: -300, SpurDBm: -300, PhaseNoiseDBc: -300}
}

func (r *Radio) validate() error {
	err := check(
		limit{"ppm", r.PPM, -200, 200},
		limit{"noise_figure_db", r.NoiseFigureDB, 0.5, 40},
		limit{"full_scale_dbm", r.FullScaleDBm, -120, 20},
		limit{"bits", float64(r.Bits), 0, 16},
		limit{"settle_ms", r.SettleMS, 0, 1000},
		limit{"droop_db", r.DroopDB, 0, 12},
		limit{"tilt_db", r.TiltDB, -6, 6},
		limit{"ripple_db", r.RippleDB, 0, 6},
		limit{"dc_dbfs", r.DCDBFS, -1000, -6},
		limit{"spur_dbm", r.SpurDBm, -1000, 0},
		limit{"iq_gain_db", r.IQGainDB, -3, 3},
		limit{"iq_phase_deg", r.IQPhaseDeg, -20, 20},
		limit{"tuning_step_hz", r.TuningStepHz, 0, 100e3},
		limit{"dc_stray_db", r.DCStrayDB, 0, 20},
		limit{"image_db", r.ImageDB, -100, 0},
		limit{"image_stray_db", r.ImageStrayDB, 0, 20},
	)
	for _, validate := range []func() error{r.validateFront, r.validateGain, r.validateClock} {
		if err == nil {
			err = validate()
		}
	}
	if err != nil {
		return err
	}
	if r.BeatDBFS != nil {
		if err := check(limit{"beat_dbfs", *r.BeatDBFS, -200, -6}); err != nil {
			return err
		}
	}
	return checkIntercepts(r.IIP2DBm, r.IIP3DBm)
}

// Gains returns the radio's gain steps in dB, ascending: 29 uneven ones, made
// by two stages.
func Gains() []float64 {
	// What the two stages add from step to step, in tenths of a dB.
	steps := [...]int{0, 10, 14, 13, 21, 19, 24, 11, 23, 15, 26, 9, 22, 17, 20, 16, 24, 12, 19, 25, 8, 21, 18, 14, 22, 13, 27, 15, 18}
	gains := make([]float64, len(steps))
	sum := 0
	for i, s := range steps {
		sum += s
		gains[i] = float64(sum) / 10
	}
	return gains
}

// backEndNoise is the noise factor, less 1, of what follows the gain.
const backEndNoise = 1900

// noiseFactor returns the radio's noise factor at a gain.
func (r *Radio) noiseFactor(gainDB, maxGainDB float64) float64 {
	atTop := air.Power(r.NoiseFigureDB)
	return math.Max(atTop-backEndNoise*air.Power(-maxGainDB), 1) + backEndNoise*air.Power(-gainDB)
}

// ripple returns how far the gain strays at a frequency, in dB, and its slope
// in dB per Hz.
func (r *Radio) ripple(hz float64) (dB, slope float64) {
	const slow, fast = 2 * math.Pi / 137e6, 2 * math.Pi / 61e6
	a := 2 * math.Pi * float64(air.Seed(r.Seed, 71)%1000) / 1000
	b := 2 * math.Pi * float64(air.Seed(r.Seed, 72)%1000) / 1000
	dB = r.RippleDB * (0.6*math.Sin(slow*hz+a) + 0.4*math.Sin(fast*hz+b))
	slope = r.RippleDB * (0.6*slow*math.Cos(slow*hz+a) + 0.4*fast*math.Cos(fast*hz+b))
	return dB, slope
}

// rate returns the sample rate that the radio makes of the one asked for, by
// its own clock: a whole step of its resampler's 28-bit ratio.
func (r *Radio) rate(asked float64) (float64, error) {
	highest := highestRate
	if r.Wide {
		highest = wideRate
	}
	if !(asked >= lowestRate && asked <= highest) {
		return 0, fmt.Errorf("a sample rate of %.4g MS/s is not between %.4g and %.4g MS/s", asked/1e6, lowestRate/1e6, highest/1e6)
	}
	if r.Wide {
		return asked, nil
	}
	const scale = ReferenceHz * (1 << 22)
	return scale / (4 * math.Floor(scale/asked/4)), nil
}
