// Package hunt looks for what does not belong: tones, impulses and other
// signals inside television channels, what is strong enough outside them to
// overload a tuner, and what the receiver itself makes of it. It names
// suspects in order of harm, each with its evidence and the cheapest next test.
package hunt

import (
	"rooftone/scan/band"
	"rooftone/scan/measure"
)

// Kind is a kind of suspect.
type Kind string

const (
	Tone        Kind = "tone"         // a lone carrier
	Carrier     Kind = "carrier"      // a narrow signal, wider than a tone
	RaisedFloor Kind = "raised-floor" // more noise in a part of a channel than beside it
	Impulses    Kind = "impulses"     // noise in short pulses, over a wide band
	Bursts      Kind = "bursts"       // a signal that comes in bursts or frames, on one channel
	CoChannel   Kind = "co-channel"   // a second station under the first
	Splatter    Kind = "splatter"     // what a neighbour sends outside its own channel
	Overload    Kind = "overload"     // more power than the receiver can take
	Product     Kind = "product"      // a sum or difference of strong signals, made in the receiver
	Spur        Kind = "spur"         // a tone of the receiver's own
)

// Harm is what a suspect does to one channel.
type Harm struct {
	Channel band.Channel
	// CostDB is by how many dB it alone would lower the margin of a channel that
	// nothing else spoils, so that the costs of several compare; nil when it
	// could not be told. A suspect that does no harm has 0 here.
	CostDB *measure.Estimate
	// Breaks says that the channel does not decode because of it.
	Breaks bool
}

// Suspect is something that does not belong, and what speaks for it.
type Suspect struct {
	Kind Kind
	Name string // in a few words, such as "tone at 533.21 MHz"

	FrequencyHz *measure.Estimate // absolute, clock-corrected, of its most harmful place; nil where it has none
	PlacesHz    []float64         // all of its places where there are several, the most harmful first
	SpacingHz   *measure.Estimate // of tones in a row; else nil
	WidthHz     float64           // 0 for a tone, or where it has none
	LevelDBFS   *measure.Estimate // nil where it was not measured
	RateHz      *measure.Estimate // impulses: pulses or bursts a second
	MainsHz     float64           // impulses: 100 or 120 when the mains keep their time, else 0
	Duty        *measure.Estimate // impulses: the share of time that they take, 0 to 1

	Evidence []string // one line each, the strongest first
	Harms    []Harm   // the worst first; empty when no channel suffers
	Next     string   // the cheapest next test
	Cure     string   // what helps if the test confirms it

	cause    cause
	whole    bool    // overload and products: all that the receiver makes, not one place of it
	bandName string  // impulses: where they were heard
	into     int     // splatter and bursts: the channel that it falls into
	offsetHz float64 // tones: from the middle of the slice that it was found in; 0 for others
}

// WorstDB is the largest cost among a suspect's harms in dB; 0 when none is
// known.
func (s *Suspect) WorstDB() float64 {
	var worst float64
	for _, h := range s.Harms {
		if h.CostDB != nil {
			worst = max(worst, h.CostDB.Value)
		}
	}
	return worst
}
