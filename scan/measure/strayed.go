package measure

import (
	"slices"

	"rooftone/dsp/decibel"
	"rooftone/scan/band"
	"rooftone/scan/listen"
)

const (
	// notch is how much less than the others of its channel a slice may hold of a
	// station for echoes' sake: none leaves so little of all of a slice. 10 dB.
	notch = 0.1
	// coverRatio is by how much more power than a station's own something may hide
	// its training that is to be told, and not to be left out.
	coverRatio = 1.25
	// leastOfChannelHz is how much of a channel a slice must show, to be expected to
	// hold its training.
	leastOfChannelHz = 600e3
	// strayedRatio is by how much a slice's density differs from both its neighbours'
	// where they overlap, coveredRatio the same of one that lacks a training, and
	// leastOverlapHz how far they must overlap.
	strayedRatio   = 10
	coveredRatio   = 2
	leastOverlapHz = 30e3
)

// withoutStrayed leaves out the slices that show another place than they are said to:
// a synthesiser that does not lock says nothing, and stands some MHz away. Two things
// tell. Others of the slice's channel hold a station's training that could not go
// unnoticed in it, and no more power is there that could hide it; or all of the slice
// is far from what both its neighbours hold where they overlap, on the same side of
// both, as what is on the air cannot begin and end with a slice.
//
// A slice is compared with those of its own gain. list is in the order of centres; it
// also returns the strayed ones' centres.
func withoutStrayed(list []*listen.Slice, channels []band.Channel) (kept []*listen.Slice, strayedHz []float64) {
	out := make([]bool, len(list))
	for i, s := range list {
		out[i] = len(s.Trained) == 0 && (outOfPlace(list, i, strayedRatio) || slices.ContainsFunc(channels, func(c band.Channel) bool {
			return lacksTraining(list, i, c)
		}))
	}
	for i, s := range list {
		if out[i] {
			strayedHz = append(strayedHz, s.CenterHz)
		} else {
			kept = append(kept, s)
		}
	}
	if len(kept) == 0 {
		return list, nil
	}
	return kept, strayedHz
}

// lacksTraining says whether a slice should hold a channel's training, by what others
// of the channel hold, and does not.
func lacksTraining(list []*listen.Slice, at int, c band.Channel) bool {
	s := list[at]
	i := slices.IndexFunc(s.Searched, func(o listen.Searched) bool { return o.Channel == c })
	if i < 0 || s.Searched[i].Found || s.Lost || s.Shows(c).WidthHz() < leastOfChannelHz {
		return false
	}
	level := s.MeanDensity(s.Shows(c))
	for _, other := range list {
		if !alike(s, other) {
			continue
		}
		for k := range other.Trained {
			t := &other.Trained[k]
			if t.Channel != c || other.Shows(c).WidthHz() < leastOfChannelHz {
				continue
			}
			theirs := other.MeanDensity(other.Shows(c))
			if level > coverRatio*theirs {
				if outOfPlace(list, at, coveredRatio) {
					return true
				}
				continue
			}
			// What the station must be there, by the notches there are and by the
			// power that is there above the noise.
			ratio := decibel.Power(t.MERdB)
			least := max(ratio*notch, (level/theirs*(1+ratio)-1)/2)
			if least > s.Searched[i].CertainSNR {
				return true
			}
		}
	}
	return false
}

// outOfPlace says whether a slice differs by a ratio from both its neighbours where
// they overlap, and is so all over.
func outOfPlace(list []*listen.Slice, i int, ratio float64) bool {
	s := list[i]
	side := func(step int) (above, below bool) {
		for k := i + step; k >= 0 && k < len(list); k += step {
			other := list[k]
			if !alike(s, other) {
				continue
			}
			own, its := shownBy(s), shownBy(other)
			both := band.Span{LowHz: max(own.LowHz, its.LowHz), HighHz: min(own.HighHz, its.HighHz)}
			if both.HighHz-both.LowHz < leastOverlapHz {
				return false, false
			}
			theirs, inside := other.MedianDensity(both), s.MedianDensity(own)
			least, most := min(s.MedianDensity(both), inside), max(s.MedianDensity(both), inside)
			return least > ratio*theirs, most*ratio < theirs
		}
		return false, false
	}
	aboveLeft, belowLeft := side(-1)
	aboveRight, belowRight := side(+1)
	return aboveLeft && aboveRight || belowLeft && belowRight
}

// alike says whether two slices can be compared.
func alike(a, b *listen.Slice) bool {
	return a != b && a.RateHz == b.RateHz && listen.GainKey(a.GainDB) == listen.GainKey(b.GainDB)
}

// shownBy is what a slice is used for.
func shownBy(s *listen.Slice) band.Span {
	half := listen.UsableShare * s.RateHz
	return band.Span{LowHz: s.CenterHz - half, HighHz: s.CenterHz + half}
}
