package listen

import (
	"math"

	"rooftone/dsp/ofdm"
	"rooftone/dsp/pattern"
	"rooftone/scan/band"
)

// Bootstrap is what a search for an ATSC 3.0 bootstrap came to in one slice of
// one channel.
type Bootstrap struct {
	Channel band.Channel
	Seconds float64 // of the stay
	Found   bool

	// Of one that was found: the clock error in ppm that puts it in its place,
	// its standard uncertainty without the station's own error, and the share
	// of the slice's power that was the bootstrap's.
	ClockPPM, ClockSigmaPPM float64
	Share                   float64
}

// BootstrapSeconds is how long a stay must be for a bootstrap that is not found
// to say that there is none: frames are mostly 50 to 250 ms long.
const BootstrapSeconds = 0.25

// leastShare is the least share of the slice's power that a bootstrap has. What
// Spot finds has 0.13 at least, which echoes divide. The false-alarm bound is for
// noise: video by FM sweeps as the bootstrap's sequence does, and has a fiftieth.
const leastShare = 0.06

// findBootstrap searches one channel for an ATSC 3.0 bootstrap: at the places
// where the stay is like itself, whatever the clock.
func (s *Slicer) findBootstrap(out *Slice, c band.Channel) bool {
	search, err := s.searcher(trainerKey{out.RateHz, math.Round(out.CenterHz - c.LowerHz)})
	if err != nil {
		return false // too little of the channel, or an odd rate
	}
	b := Bootstrap{Channel: c, Seconds: float64(len(s.kept)) / out.RateHz}
	if !s.spotted {
		s.spots, s.spotted = s.spotter.Spot(s.kept, out.RateHz), true
	}
	reach := math.Min(MaxPPM*1e-6*c.CenterHz()+StationLimitHz, out.RateHz/16)
	for _, place := range s.spots {
		_, part := ofdm.Around(s.kept, out.RateHz, place)
		found, err := search.Search(part, 0, reach)
		// The place was chosen among all that the stay holds.
		chosen := float64(len(s.kept)) / float64(len(part))
		if err != nil || !found.Found || found.FalseAlarm*chosen > ofdm.FoundBelow || found.Share < leastShare {
			continue
		}
		low, high := search.Seen()
		middle := out.CenterHz + (low+high)/2
		b.Found = true
		b.ClockPPM, b.ClockSigmaPPM = -found.CarrierErrorHz/middle*1e6, found.CarrierSigmaHz/middle*1e6
		b.Share = found.Share
		break
	}
	out.Bootstraps = append(out.Bootstraps, b)
	return b.Found
}

func (s *Slicer) searcher(key trainerKey) (*ofdm.Searcher, error) {
	if made, ok := s.searchers[key]; ok {
		return made.searcher, made.err
	}
	if s.searchers == nil || len(s.searchers) >= maxTrainers {
		s.searchers = map[trainerKey]madeSearcher{}
	}
	made, err := ofdm.NewSearcher(key.rateHz, key.offsetHz, ofdm.AroundSamples(key.rateHz))
	s.searchers[key] = madeSearcher{made, err}
	return made, err
}

// madeSearcher is a searcher, or why there is none.
type madeSearcher struct {
	searcher *ofdm.Searcher
	err      error
}

// findPattern looks whether a slice without a station in it is like noise.
func (s *Slicer) findPattern(out *Slice) {
	if s.finder == nil || s.finderOf != out.RateHz {
		f, err := pattern.NewFinder(out.RateHz)
		if err != nil {
			return // an odd rate
		}
		s.finder, s.finderOf = f, out.RateHz
	}
	low, high := s.ownBand(out)
	if found, err := s.finder.Find(s.kept, low, high); err == nil {
		out.Pattern = &found
	}
}

// besideHz is how far inside a channel's edge a neighbour's foot is left out.
const besideHz = 100e3

// ownBand is the part of a slice, from its middle, in which the channel lies that
// it shows most of, or all that the slice shows.
func (s *Slicer) ownBand(out *Slice) (lowHz, highHz float64) {
	var most band.Span
	for _, c := range s.channels {
		if shown := out.Shows(c); shown.WidthHz() > most.WidthHz() {
			most = shown
			lowHz, highHz = shown.LowHz-out.CenterHz, shown.HighHz-out.CenterHz
			if shown.LowHz == c.LowerHz {
				lowHz += besideHz
			}
			if shown.HighHz == c.UpperHz() {
				highHz -= besideHz
			}
		}
	}
	return lowHz, highHz
}
