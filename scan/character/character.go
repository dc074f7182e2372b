// Package character is what is known of one radio: what an examination of it from
// the air found, and the file in which that is kept for later visits.
package character

import (
	"math"
	"slices"
	"time"
)

// Version is that of the file's format. Fields are only ever added.
const Version = 1

// Figure is a measured value with its standard uncertainty. What was not measured
// is a nil *Figure.
type Figure struct {
	Value float64 `json:"value"`
	Sigma float64 `json:"sigma"`
}

// Character is what was found of a radio. Nil and empty are what was not measured.
type Character struct {
	Version int    `json:"version"`
	Radio   string `json:"radio"` // its name, with its serial number
	Program string `json:"program"`

	Measured   time.Time `json:"measured"`
	AirSeconds float64   `json:"air_seconds"` // how long it was listened to, settling included
	RateHz     float64   `json:"rate_hz"`     // of all but what says another

	Stations []Station `json:"stations"` // what it was measured with

	// ClockPPM is how fast the clock runs in the end, and DriftPPMPerMinute how
	// that went on during the examination.
	ClockPPM          *Figure `json:"clock_ppm"`
	DriftPPMPerMinute *Figure `json:"drift_ppm_per_minute"`

	// Response is what becomes of a signal by its distance from the middle, in
	// parts of half the rate: beyond ±1 it is what folds in. By pilots, in
	// order of Share, 0 dB in the middle.
	Response []Point `json:"response"`
	// NoiseResponse is the same by the noise of vacant channels, without what
	// folds in and the converter's rounding.
	NoiseResponse []Point `json:"noise_response"`
	// StrayDB is how far it moves with the frequency, rms.
	StrayDB float64 `json:"stray_db"`

	DroopDB   *Figure `json:"droop_db"`   // at ±EdgeShare, positive
	FoldingDB *Figure `json:"folding_db"` // from beyond, onto ±EdgeShare
	// HumpDB is by how much the noise near the middle stands above the rest.
	HumpDB *Figure `json:"hump_db"`

	Gains []Gain `json:"gains"` // ascending
	// GainsWork is false when signals do not follow the gain, as with a gain
	// control that was left on; nil when that was not measured.
	GainsWork *bool `json:"gains_work"`

	Settling *Settling `json:"settling"`
	Tones    []Tone    `json:"own_tones"`
	Middle   *Figure   `json:"middle_dbfs"` // the tone in a slice's middle
	Images   []Image   `json:"images"`
	Losses   []Loss    `json:"losses"`
}

// EdgeShare is the end of what is used of a slice, in parts of half the rate.
const EdgeShare = 0.875

// Station is one whose pilot was used.
type Station struct {
	RFChannel int     `json:"rf_channel"`
	PilotHz   float64 `json:"pilot_hz"`
	CNDB      float64 `json:"cn_db"`
}

// Point is one of a response.
type Point struct {
	Share   float64 `json:"share"`
	DB      float64 `json:"db"`
	SigmaDB float64 `json:"sigma_db"`
	AtMost  bool    `json:"at_most"` // nothing was seen: it is no more than that
}

// Gain is one step of gain.
type Gain struct {
	NameDB float64 `json:"name_db"`
	// RealDB is what it is, so that the highest that was measured is what its
	// name says.
	RealDB *Figure `json:"real_db"`
	// FloorDBFSHz is the noise of a vacant channel, in dBFS in 1 Hz.
	FloorDBFSHz *float64 `json:"floor_dbfs_hz"`
}

// Settling is how long samples are wrong after the radio says that it is tuned.
type Settling struct {
	SameRateMS  float64 `json:"same_rate_ms"`  // the longest of Tries
	OtherRateMS float64 `json:"other_rate_ms"` // after one with another rate
	Tries       int     `json:"tries"`         // of each
}

// The kinds of own tones.
const (
	ToneHarmonic = "harmonic" // of the radio's crystal: it stands at a frequency
	ToneFollows  = "follows"  // it stands at the same place of every slice
)

// Tone is one of the radio's own.
type Tone struct {
	Kind  string  `json:"kind"`
	Hz    float64 `json:"hz"` // the frequency, or from the slice's middle
	DBFS  float64 `json:"dbfs"`
	Times int     `json:"times"` // multiple of the crystal, 0 for others
}

// Image is how strongly a signal shows on the other side of the middle.
type Image struct {
	Hz     float64 `json:"hz"`
	DB     float64 `json:"db"`
	AtMost bool    `json:"at_most"`
}

// Loss is what was lost at a sample rate.
type Loss struct {
	RateHz  float64 `json:"rate_hz"`
	Seconds float64 `json:"seconds"`
	Jumps   int     `json:"jumps"` // of a pilot's phase: samples that went missing
	Told    int     `json:"told"`  // of which the radio spoke
}

// At returns the response at a share of half the rate by straight lines between
// its points, by the noise where there were no pilots. It is not ok where nothing
// is known.
func (c *Character) At(share float64) (Figure, bool) {
	points := c.Response
	if len(points) == 0 {
		points = c.NoiseResponse
	}
	return At(points, share)
}

// At returns a response at a share of half the rate.
func At(points []Point, share float64) (Figure, bool) {
	k, _ := slices.BinarySearchFunc(points, share, func(p Point, share float64) int {
		switch {
		case p.Share < share:
			return -1
		case p.Share > share:
			return 1
		}
		return 0
	})
	if k == len(points) {
		return Figure{}, false
	}
	b := points[k]
	if b.Share == share && !b.AtMost {
		return Figure{b.DB, b.SigmaDB}, true
	}
	if k == 0 || b.AtMost || points[k-1].AtMost {
		return Figure{}, false
	}
	a := points[k-1]
	t := (share - a.Share) / (b.Share - a.Share)
	return Figure{a.DB + t*(b.DB-a.DB), math.Max(a.SigmaDB, b.SigmaDB)}, true
}

// both returns the mean of the response at a share on both sides.
func (c *Character) both(share float64) *Figure {
	low, lowOK := c.At(-share)
	high, highOK := c.At(share)
	switch {
	case lowOK && highOK:
		return &Figure{(low.Value + high.Value) / 2, math.Hypot(low.Sigma, high.Sigma) / 2}
	case lowOK:
		return &low
	case highOK:
		return &high
	}
	return nil
}

// Conclude fills in what follows from the response.
func (c *Character) Conclude() {
	if f := c.both(EdgeShare); f != nil {
		c.DroopDB = &Figure{-f.Value, f.Sigma}
	}
	c.FoldingDB = c.both(2 - EdgeShare)
}

// Folding is what comes back onto a share of half the rate from beyond it, the mean
// of both sides; nil where that was not seen.
func (c *Character) Folding(share float64) *Figure { return c.both(2 - share) }

// Antenna reports whether anything came in through the antenna socket.
func (c *Character) Antenna() bool { return len(c.Stations) > 0 }

// Anonymous is what of it does not tell one radio from another of its kind: it is
// called by the kind, and of times only the day is left.
func (c *Character) Anonymous(kind string) *Character {
	out := *c
	out.Radio, out.Program, out.Measured = kind, "", c.Measured.UTC().Truncate(24*time.Hour)
	out.Tones = nil
	for _, t := range c.Tones {
		if t.Kind == ToneHarmonic || t.Kind == ToneFollows {
			out.Tones = append(out.Tones, t)
		}
	}
	return &out
}
