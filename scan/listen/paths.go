package listen

import (
	"math"

	"rooftone/dsp/decibel"
	"rooftone/dsp/vsb"
	"rooftone/scan/band"
)

// Paths are the paths that one channel's slices show together.
type Paths struct {
	Channel band.Channel
	*vsb.Profile

	// FloorDB is the level, relative to the strongest path, down to which
	// another would have been found.
	FloorDB float64
}

// pathsShare is how much of the Nyquist bandwidth slices must show together
// before a channel's paths are looked for without waiting for more.
const pathsShare = 0.85

// maxWaiting is how many fits are kept for slices yet to come. Each holds half
// a megabyte until its channel's paths are found.
const maxWaiting = 12

// findPaths looks for the paths of the channels that a slice has just been
// added for, as soon as the slices show enough of them, and lets go of what is
// needed for that.
func (s *Slices) findPaths(added *Slice) {
	for _, t := range added.Trained {
		like := s.like(added)
		if PathsOf(like, t.Channel) != nil {
			t.Forget()
			continue
		}
		trained := TrainedOf(like, t.Channel)
		var shown float64
		for _, x := range trained {
			shown += x.HighHz - x.LowHz
		}
		if shown >= pathsShare*vsb.SymbolRateHz/2 {
			if p := FindPaths(t.Channel, trained); p != nil {
				added.Paths = append(added.Paths, *p)
			}
			for _, x := range trained {
				x.Forget()
			}
			continue
		}
		s.waiting = append(s.waiting, t.Training)
	}
	for len(s.waiting) > maxWaiting {
		s.waiting[0].Forget()
		s.waiting = s.waiting[1:]
	}
}

// like returns the slices of a slice's gain and rate, itself included.
func (s *Slices) like(x *Slice) []*Slice {
	var out []*Slice
	for _, o := range s.list {
		if GainKey(o.GainDB) == GainKey(x.GainDB) && o.RateHz == x.RateHz {
			out = append(out, o)
		}
	}
	return out
}

// PathsOf returns what was found of a channel's paths, or nil.
func PathsOf(list []*Slice, c band.Channel) *Paths {
	for _, s := range list {
		for i := range s.Paths {
			if s.Paths[i].Channel == c {
				return &s.Paths[i]
			}
		}
	}
	return nil
}

// FindPaths joins the fits of a channel's slices to its paths; nil when no
// slice has one.
func FindPaths(c band.Channel, trained []Trained) *Paths {
	var fits []*vsb.Training
	for _, t := range trained {
		fits = append(fits, t.Training)
	}
	profile, err := vsb.Echoes(fits...)
	if err != nil {
		return nil
	}
	return &Paths{Channel: c, Profile: profile, FloorDB: echoFloorDB(trained)}
}

// echoFloorDB is the level of an echo that stands 12 dB above what noise makes
// of one: each field sync shows a slice's bandwidth times the training's
// duration independent values, of which the strongest path has all.
func echoFloorDB(trained []Trained) float64 {
	const trainingSeconds, standsOutDB = vsb.KnownSymbols / vsb.SymbolRateHz, 12
	var signal float64
	for _, t := range trained {
		signal += decibel.Power(t.MERdB) * float64(t.Fields) * (t.HighHz - t.LowHz) * trainingSeconds
	}
	return math.Min(0, math.Max(vsb.FaintestEchoDB, standsOutDB-decibel.Of(signal)))
}

// TrainedOf returns what the training says of a channel, slice by slice from
// the lower edge up.
func TrainedOf(list []*Slice, c band.Channel) []Trained {
	var out []Trained
	for _, s := range list {
		for _, t := range s.Trained {
			if t.Channel == c {
				out = append(out, t)
			}
		}
	}
	for i := 1; i < len(out); i++ {
		for k := i; k > 0 && out[k].OffsetHz < out[k-1].OffsetHz; k-- {
			out[k], out[k-1] = out[k-1], out[k]
		}
	}
	return out
}
