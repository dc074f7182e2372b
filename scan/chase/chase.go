// Package chase follows one thing that spoils a channel, many times a second,
// while somebody switches devices off or walks towards it: its strength, where it
// stands and in what rhythm, since when it is gone, and what it costs the wanted
// channel right now.
package chase

import (
	"time"

	"rooftone/scan/band"
	"rooftone/scan/hunt"
	"rooftone/scan/measure"
)

// Target is what is followed. A hunt's suspect makes one, or what a person typed.
type Target struct {
	Kind hunt.Kind
	Name string // in a few words, such as "tone at 533.21 MHz"

	// FrequencyHz is absolute and clock-corrected: of a tone or carrier its middle, of
	// a part of a channel that part's, of impulses where to listen. SigmaHz is how well
	// that is known; 0 for as well as the radio's clock allows.
	FrequencyHz, SigmaHz float64
	WidthHz              float64 // 0 for a tone
	RateHz               float64 // of impulses, pulses a second; 0 when not known
	MainsHz              float64 // of impulses, 100 or 120 when they go with the mains, else 0

	// Channel is the wanted channel that it spoils, for what it costs there; its
	// Number is 0 when there is none.
	Channel band.Channel
}

// State says what an Update stands on.
type State string

const (
	Learning  State = "learning"  // listening carefully first, or again; there is no reading
	Following State = "following" // there is a reading
	Gone      State = "gone"      // it is below AtMost, where it was above; GoneSince says since when
	Uncovered State = "uncovered" // the source shows nothing of the place
)

// Trend is the sign of the strength's slope over the last seconds, as far as its
// scatter lets that be told.
type Trend string

const (
	Rising  Trend = "rising"
	Falling Trend = "falling"
	Steady  Trend = "steady"
)

// Update is one reading. A value that was not measured is nil.
type Update struct {
	Time  time.Time // of the last sample it rests on
	Count int64     // from 1
	State State

	Strength *measure.Estimate // dBFS of the suspect alone; Sigma is of this reading's own scatter and bias together
	AtMost   *float64          // dBFS; in state Gone it is very probably below this
	// OverNoiseDB is Strength, or AtMost, over the receiver's noise in the suspect's
	// own width (a tone: in 6 MHz).
	OverNoiseDB *float64

	FrequencyHz *measure.Estimate // where it stands now, absolute and clock-corrected
	RateHz      *measure.Estimate // impulses: pulses a second
	MainsHz     float64           // impulses: 100 or 120 when they keep the mains' time now
	Duty        *measure.Estimate // impulses: the share of time that they take

	CostDB   *measure.Estimate // what it costs the wanted channel's margin now
	MarginDB *measure.Estimate // of the wanted channel now, where that can be told beside it

	Quietest   *float64 // dBFS of a quarter-second average, the least since the last reset
	QuietestAt time.Time
	Loudest    *float64 // dBFS likewise, the most
	LoudestAt  time.Time
	GoneSince  time.Time // in state Gone

	Trend   Trend   // "" before there is enough to tell
	SlopeDB float64 // dB per second; 0 unless Trend is Rising or Falling

	Strip *Strip // the spectrum around it; nil when this reading brings none

	GainDB   *float64
	Overload bool // too many samples on a rail: the reading is wrong
	Lost     bool // samples were missing before this reading: the computer is too slow
}

// Strip is the spectrum around the suspect, for looking at: StartHz is the first
// bin's absolute frequency, clock-corrected.
type Strip struct {
	StartHz, StepHz float64
	Mean, Highest   []float32 // dBFS/Hz, since the strip before
}
