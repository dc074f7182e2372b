package site

import (
	"math"

	"rooftone/scan/band"
	"rooftone/scan/measure"
	"rooftone/scan/verdict"
)

// Share is the part of the channel that was heard, 0 to 1. Marks that do not say
// rest on all of it.
func (h *Heard) Share() float64 {
	if h.SeenShare > 0 {
		return h.SeenShare
	}
	return 1
}

// HeardPart notes which parts of a channel its figures rest on, where that is not
// all of it, or none.
func (h *Heard) HeardPart(seen []band.Span) {
	r := measure.Reading{Seen: seen}
	if share := r.SeenShare(); verdict.Basis(share) != "" {
		h.SeenShare = *round(share, 1000)
		for _, s := range seen {
			h.Seen = append(h.Seen, band.Span{LowHz: math.Round(s.LowHz), HighHz: math.Round(s.HighHz)})
		}
	}
}

// parts are the parts of the channel that the figures rest on. Of a mark that
// tells only how much that was, it is taken to be the channel's middle.
func (h *Heard) parts(c band.Channel) []band.Span {
	switch {
	case len(h.Seen) > 0:
		return append([]band.Span(nil), h.Seen...)
	case h.SeenShare > 0:
		half := h.SeenShare * band.WidthHz / 2
		return []band.Span{{LowHz: c.CenterHz() - half, HighHz: c.CenterHz() + half}}
	}
	return []band.Span{c.Span()}
}

// seenPairs are spans as the file has them.
func seenPairs(list []band.Span) (out [][2]float64) {
	for _, s := range list[:min(len(list), maxSays)] {
		out = append(out, [2]float64{s.LowHz, s.HighHz})
	}
	return out
}

// readPart takes what the file says of the parts that were heard, as far as it
// makes sense.
func (h *Heard) readPart(l *heardLine) {
	const mostHz = 1e11
	for _, p := range l.SeenHz[:min(len(l.SeenHz), maxSays)] {
		if p[0] >= 0 && p[1] > p[0] && p[1] < mostHz {
			h.Seen = append(h.Seen, band.Span{LowHz: p[0], HighHz: p[1]})
		}
	}
	h.Seen = band.Join(h.Seen, 0)
	if s := l.SeenShare; s != nil && *s > 0 && *s <= 1 {
		h.SeenShare = *s
	} else if len(h.Seen) > 0 {
		r := measure.Reading{Seen: h.Seen}
		h.SeenShare = math.Min(1, r.SeenShare())
	}
}
