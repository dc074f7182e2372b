package scan

import (
	"math"
	"slices"

	"rooftone/scan/band"
	"rooftone/scan/listen"
	"rooftone/scan/measure"
	"rooftone/scan/tuner"
)

// Stay is a recording's stay at one tuning, and its length.
type Stay struct {
	tuner.Stay
	Samples int64 // negative when not known
}

// Held is a stretch of the spectrum that a recording holds.
type Held struct {
	band.Span
	Seconds float64 // the least for which any part of it was listened to
}

// Holds returns what a recording's stays show, ascending and apart. Of each stay
// that is what is measured, not what the radio's filter cuts off at its ends.
func Holds(stays []Stay) []Held {
	type tuning struct{ centerHz, rateHz float64 }
	seconds := map[tuning]float64{}
	for _, s := range stays {
		if s.Samples > 0 {
			seconds[tuning{s.CenterHz, s.RateHz}] += float64(s.Samples) / s.RateHz
		}
	}
	var out []Held
	for t, length := range seconds {
		half := listen.UsableShare * t.rateHz
		out = append(out, Held{band.Span{LowHz: t.centerHz - half, HighHz: t.centerHz + half}, length})
	}
	slices.SortFunc(out, func(a, b Held) int {
		if a.LowHz != b.LowHz {
			return int(math.Copysign(1, a.LowHz-b.LowHz))
		}
		return int(math.Copysign(1, b.HighHz-a.HighHz)) // the wider one first
	})
	n := 0
	for i, h := range out {
		if last := max(0, n-1); i > 0 && h.LowHz <= out[last].HighHz {
			if h.HighHz > out[last].HighHz {
				out[last].HighHz = h.HighHz
				out[last].Seconds = min(out[last].Seconds, h.Seconds)
			}
			continue
		}
		out[n] = h
		n++
	}
	return out[:n]
}

// Unseen returns the parts of a channel that a reading does not rest on.
func Unseen(r *measure.Reading) []band.Span {
	const sliver = 1e3 // less is no part
	var out []band.Span
	from := r.Channel.LowerHz
	for _, s := range append(slices.Clone(r.Seen), band.Span{LowHz: r.Channel.UpperHz(), HighHz: r.Channel.UpperHz()}) {
		if s.LowHz-from >= sliver {
			out = append(out, band.Span{LowHz: from, HighHz: s.LowHz})
		}
		from = max(from, s.HighHz)
	}
	return out
}

// NextStay is how long a tuning is worth listening to when a channel is to be
// measured: longer tells little more of one that stands still.
const NextStay = 0.5 // seconds

// Next returns the tunings at a sample rate that would show what a reading does
// not rest on, as few and as round as may be, ascending.
func Next(r *measure.Reading, rateHz float64) []float64 {
	width := 2 * listen.UsableShare * rateHz
	if !(width > 0) {
		return nil
	}
	var out []float64
	unseen := Unseen(r)
	for i := 0; i < len(unseen); {
		piece := unseen[i]
		for i++; i < len(unseen) && unseen[i].HighHz-piece.LowHz <= width; i++ {
			piece.HighHz = unseen[i].HighHz
		}
		n := math.Ceil(piece.WidthHz()/width - 1e-9)
		part := piece.WidthHz() / n
		for k := range int(n) {
			low := piece.LowHz + float64(k)*part
			out = append(out, roundest(low+part-width/2, low+width/2))
		}
	}
	return out
}

// roundest returns the roundest frequency between two.
func roundest(lowHz, highHz float64) float64 {
	middle := (lowHz + highHz) / 2
	for _, step := range []float64{1e6, 0.5e6, 0.1e6, 0.05e6, 0.01e6, 1e3} {
		if v := math.Round(middle/step) * step; v >= lowHz && v <= highHz {
			return v
		}
	}
	return middle
}
