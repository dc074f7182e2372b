package meter

import (
	"math"
	"time"
)

const (
	trendSpan   = 1500 * time.Millisecond
	trendPoints = 6
	trendSigmas = 3   // that a slope must stand out by
	trendLeast  = 0.3 // dB/s; a slower one is no news on a roof

	// bestSpan is the time constant of what competes for the best, so that a
	// lucky stay does not win.
	bestSpan = 250 * time.Millisecond

	historyLength = 256
)

// history is what the readings of one channel were lately, and the best.
type history struct {
	at     [historyLength]time.Time
	value  [historyLength]float64
	next   int
	filled int

	smooth   float64
	smoothAt time.Time
	best     float64
	bestTime time.Time
	hasBest  bool
}

// add takes a reading and reports whether it raised the best.
func (h *history) add(at time.Time, v float64) (raised bool) {
	h.at[h.next], h.value[h.next] = at, v
	h.next = (h.next + 1) % historyLength
	h.filled = min(h.filled+1, historyLength)

	if gap := at.Sub(h.smoothAt); h.smoothAt.IsZero() || gap > 8*bestSpan {
		h.smooth = v
	} else {
		h.smooth += (v - h.smooth) * (1 - math.Exp(-gap.Seconds()/bestSpan.Seconds()))
	}
	h.smoothAt = at
	if !h.hasBest || h.smooth > h.best {
		raised = true
		h.best, h.bestTime, h.hasBest = h.smooth, at, true
	}
	return raised
}

// reset forgets the best; the next reading is it.
func (h *history) reset() { h.hasBest, h.smoothAt = false, time.Time{} }

// trend is the sign of the slope over the last readings. share is how many
// readings in a row rest on the same samples, each in part.
func (h *history) trend(share int) (Trend, float64) {
	var n, st, sv float64
	newest := h.at[(h.next+historyLength-1)%historyLength]
	each := func(f func(t, v float64)) {
		for i := 1; i <= h.filled; i++ {
			k := (h.next + historyLength - i) % historyLength
			age := newest.Sub(h.at[k])
			if age > trendSpan {
				return
			}
			f(-age.Seconds(), h.value[k])
		}
	}
	each(func(t, v float64) { n++; st += t; sv += v })
	if n < trendPoints {
		return "", 0
	}
	var stt, stv, rest float64
	each(func(t, v float64) { stt += (t - st/n) * (t - st/n); stv += (t - st/n) * (v - sv/n) })
	if !(stt > 0) {
		return "", 0
	}
	slope := stv / stt
	each(func(t, v float64) { d := v - sv/n - slope*(t-st/n); rest += d * d })
	sigma := math.Sqrt(rest / (n - 2) / stt * float64(share))
	if math.Abs(slope) < trendLeast || math.Abs(slope) < trendSigmas*sigma {
		return Steady, 0
	}
	if slope > 0 {
		return Rising, slope
	}
	return Falling, slope
}
