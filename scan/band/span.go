package band

import "slices"

// Span is a stretch of frequencies, from LowHz up to HighHz.
type Span struct{ LowHz, HighHz float64 }

// WidthHz is the span's width.
func (s Span) WidthHz() float64 { return s.HighHz - s.LowHz }

// Join returns what the spans cover together, ascending and apart. Gaps of up
// to bridgeHz between two of them are taken for covered, empty spans left out.
func Join(spans []Span, bridgeHz float64) []Span {
	spans = slices.Clone(spans)
	slices.SortFunc(spans, func(a, b Span) int {
		switch {
		case a.LowHz < b.LowHz:
			return -1
		case a.LowHz > b.LowHz:
			return 1
		}
		return 0
	})
	var out []Span
	for _, s := range spans {
		if !(s.HighHz > s.LowHz) {
			continue
		}
		if n := len(out); n > 0 && s.LowHz <= out[n-1].HighHz+bridgeHz {
			out[n-1].HighHz = max(out[n-1].HighHz, s.HighHz)
			continue
		}
		out = append(out, s)
	}
	return out
}

// Span is the channel's 6 MHz.
func (c Channel) Span() Span { return Span{c.LowerHz, c.UpperHz()} }
