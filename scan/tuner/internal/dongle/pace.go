package dongle

import "time"

// Pace watches whether as many samples arrive as the rate promises: those that a
// USB or a server drops come without a word.
type Pace struct {
	rate    float64 // samples per second; 0: not known yet
	since   time.Time
	written uint64
}

// paceSpan is how often it looks at the most.
const paceSpan = 2 * time.Second

// At says what the rate is from now on.
func (p *Pace) At(rateHz float64) {
	if p.rate != rateHz {
		*p = Pace{rate: rateHz}
	}
}

// Restart begins anew with another stream at the same rate.
func (p *Pace) Restart() { *p = Pace{rate: p.rate} }

// Look reports whether a tenth or more of what should have arrived since the last
// look did not.
func (p *Pace) Look(ring *Ring) (short bool) {
	if p.rate == 0 {
		return false
	}
	now, written := time.Now(), ring.Written()
	span := now.Sub(p.since)
	if !p.since.IsZero() && span < paceSpan {
		return false
	}
	if !p.since.IsZero() {
		short = float64(written-p.written) < 0.9*2*p.rate*span.Seconds()
	}
	p.since, p.written = now, written
	return short
}
