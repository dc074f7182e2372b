package sim

import (
	"math"

	"rooftone/dsp/air"
)

const (
	// widestStep and leastStep are what a step of gain may be of what its
	// name says: on one tuner steps of 3 dB were found to be 0 to 5 dB.
	widestStep = 5. / 3
	leastStep  = 0.

	// topFrom is the gain in dB from which the real one stays behind its name:
	// on another tuner by a few dB above 30.
	topFrom = 30
)

func (r *Radio) validateGain() error {
	return check(
		limit{"step_stray", r.StepStray, 0, 1},
		limit{"top_loss_db", r.TopLossDB, 0, 10},
		limit{"intercept_stray_db", r.InterceptStrayDB, 0, 10},
	)
}

// realGains returns what gain the radio's steps really have, in dB. The highest
// is what it says: levels are stated for it.
func (r *Radio) realGains(names []float64) []float64 {
	out := make([]float64, len(names))
	top := names[len(names)-1]
	behind := func(name float64) float64 {
		x := math.Max(0, name-topFrom) / (top - topFrom)
		return r.TopLossDB * x * x
	}
	out[len(out)-1] = top
	for i := len(out) - 1; i > 0; i-- {
		draw := float64(air.Seed(r.Seed, 75, uint64(i))>>11) * 0x1p-53
		share := 1 + r.StepStray*(leastStep-1+draw*(widestStep-leastStep))
		step := share * (names[i] - names[i-1])
		out[i-1] = out[i] - step + behind(names[i]) - behind(names[i-1])
	}
	return out
}

// realGain is what a step of gain really has.
func (t *Tuner) realGain(nameDB float64) float64 {
	for i, name := range t.gains {
		if name == nameDB {
			return t.real[i]
		}
	}
	return nameDB
}

// RealGainDB is the gain that a step really has, so that the highest is what its
// name says. A radio tells nobody.
func (t *Tuner) RealGainDB(nameDB float64) float64 { return t.realGain(nameDB) }

// InterceptDB is how far the radio's intercepts lie, at a frequency and the highest
// gain, from what they are stated as.
func (t *Tuner) InterceptDB(hz float64) float64 { return t.town.Radio.interceptDB(hz) }

// interceptDB is how far the radio's intercepts lie from what they are stated
// as at a frequency: they go up and down over some 200 MHz.
func (r *Radio) interceptDB(hz float64) float64 {
	const period = 190e6
	at := float64(air.Seed(r.Seed, 76)%1000) / 1000
	return r.InterceptStrayDB * math.Sin(2*math.Pi*(hz/period+at))
}

// control is a gain control that was left on: it brings the samples to a level
// of its own and tells nobody.
type control struct{ gainDB float64 }

const (
	controlTo    = -14 // dBFS
	controlShare = 0.1 // of what is missing that it makes up for in a frame
	controlReach = 20  // dB
)

// apply carries the gain on over a frame.
func (c *control) apply(x []complex64) {
	before := c.gainDB
	missing := controlTo - air.DB(air.MeanPower(x)+1e-12) - before
	c.gainDB = math.Max(-controlReach, math.Min(controlReach, before+controlShare*missing))
	g := float32(air.Amplitude(before))
	step := (float32(air.Amplitude(c.gainDB)) - g) / float32(len(x))
	for k, z := range x {
		x[k] = complex(g*real(z), g*imag(z))
		g += step
	}
}
