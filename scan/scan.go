// Package scan visits television channels with a source of samples and
// measures each: the loop around scan/tuner and scan/measure.
package scan

import (
	"slices"
	"time"

	"rooftone/dsp/psd"
	"rooftone/scan/band"
	"rooftone/scan/character"
	"rooftone/scan/listen"
	"rooftone/scan/measure"
	"rooftone/scan/receive"
	"rooftone/scan/tuner"
	"rooftone/scan/verdict"
)

// DefaultDwell is how long each slice is listened to when nothing else is
// asked for.
const DefaultDwell = 60 * time.Millisecond

// Options says what to visit and how. The zero value of a field asks for its
// default.
type Options struct {
	// Channels are the ones to report, ascending in frequency.
	Channels []band.Channel

	// Plan is all that may be visited besides them: a visit to a few channels
	// looks at some others too, to learn the noise and the clock.
	Plan []band.Channel

	RateHz float64       // of a radio; 0: Rate
	Dwell  time.Duration // samples kept of each slice; 0: DefaultDwell

	GainDB *float64 // of a radio; nil: choose by itself, channel by channel
	PPM    *float64 // clock error; nil: find by itself

	ThresholdDB float64 // C/N at which a receiver decodes; 0: 15.2 dB (A/74)
	Calibration *measure.Calibration

	// Radio is what an examination of the radio found; nil for nothing.
	Radio *character.Character

	// Progress, when not nil, is told before every stay, from the goroutine
	// that called: how many stays are done and how many there will be, as far
	// as that is known (0 when not).
	Progress func(done, total int, centerHz float64)

	// Keep, when not nil, is handed what is measured, stay by stay and block
	// by block: how a visit is recorded. newStay is true for the first block
	// of a stay. Its error ends the visit.
	Keep func(b tuner.Block, newStay bool) error

	// Identify has channels received, where the samples show the whole of
	// them and they may decode, to learn who they are: about a second each.
	// A visit that is kept goes without, and so does one that was not asked for
	// a rate.
	Identify bool
}

// Channel is one channel's row of a Survey.
type Channel struct {
	measure.Reading
	verdict.Verdict

	// Identity is who the station says it is, where it was received; else nil.
	Identity *receive.Identity

	// Label is what to call the station, in few words; "" when that is not
	// known.
	Label string
}

// Survey is the result of one visit to a list of channels.
type Survey struct {
	Started time.Time
	Source  string

	Clock    *measure.Clock // nil when nothing is known of it
	Channels []Channel
	Spectrum *psd.Spectrum // stitched, on the corrected grid; nil when nothing was covered
	// SpectrumGainDB is the gain at which Spectrum is shown; NaN when unknown.
	SpectrumGainDB float64
	FalseAlarm     float64 // per vacant channel, that presence was tested with

	ThresholdDB float64
	Calibrated  bool

	Stays       int                  // how many stays were measured
	Listened    time.Duration        // and their length in all
	Interrupted bool                 // the visit ended before every channel was seen
	Radio       *character.Character // what was known of it beforehand; nil for nothing
	Misfits     []string             // what of that does not fit what was heard, as in measure.Result
	Controlled  bool                 // the radio changed its gain by itself, though it was told one
	Unlocked    []float64            // Hz, where the radio could not stay, of which nothing is known
	Strayed     []float64            // Hz, where the radio was somewhere else without saying so; left out
}

// conclude measures the channels from the slices and judges them.
func conclude(s *Survey, list []*listen.Slice, info tuner.Info, o Options) {
	all := allChannels(o)
	r := measure.Channels(list, measure.Options{
		Channels: all, PPM: o.PPM, ThresholdDB: o.ThresholdDB,
		Source: info, Calibration: o.Calibration, Radio: o.Radio, Controlled: s.Controlled,
	})
	s.Clock, s.FalseAlarm, s.ThresholdDB = r.Clock, r.FalseAlarm, r.ThresholdDB
	s.Radio, s.Misfits, s.Strayed = o.Radio, r.Misfits, r.StrayedHz
	if len(r.Spectrum.Density) > 0 {
		s.Spectrum, s.SpectrumGainDB = &r.Spectrum, r.SpectrumGainDB
	}
	s.Channels = s.Channels[:0]
	for i := range r.Readings {
		if slices.Contains(o.Channels, r.Readings[i].Channel) {
			below, above := neighbours(r.Readings, i)
			s.Channels = append(s.Channels, Channel{Reading: r.Readings[i], Verdict: verdict.Of(&r.Readings[i], below, above)})
		}
	}
}

// neighbours returns the Readings of the channels that touch one, nil where
// there is none.
func neighbours(all []measure.Reading, i int) (below, above *measure.Reading) {
	c := all[i].Channel
	if i > 0 && all[i-1].Channel.UpperHz() == c.LowerHz {
		below = &all[i-1]
	}
	if i+1 < len(all) && all[i+1].Channel.LowerHz == c.UpperHz() {
		above = &all[i+1]
	}
	return below, above
}

// allChannels is the plan with the wanted channels in it, ascending.
func allChannels(o Options) []band.Channel {
	all := slices.Clone(o.Plan)
	for _, c := range o.Channels {
		if !slices.Contains(all, c) {
			all = append(all, c)
		}
	}
	slices.SortFunc(all, byFrequency)
	return all
}

func byFrequency(a, b band.Channel) int {
	switch {
	case a.LowerHz < b.LowerHz:
		return -1
	case a.LowerHz > b.LowerHz:
		return 1
	}
	return 0
}
