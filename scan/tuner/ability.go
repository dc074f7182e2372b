package tuner

import (
	"math"
	"time"
)

// BiasTee is what a Tuner has besides when it can put a direct voltage on its
// antenna socket, to feed an amplifier at the antenna.
type BiasTee interface {
	SetBiasTee(on bool) error
}

// Timed is what a Tuner has besides when its time need not be the wall's: a
// simulated radio's passes as it is read from.
type Timed interface {
	// Now is what a clock beside the radio shows.
	Now() time.Time

	// Wait lets some of its time pass at once. It counts from the next Tune.
	Wait(d time.Duration)
}

// Rated is what a Tuner has besides when its sample rates are its own, and not
// those of the common dongles.
type Rated interface {
	// Rates returns the sample rates that it can be asked for.
	Rates() Rates
}

// Rates are stretches of sample rates, in samples per second.
type Rates []RateRange

// RateRange is a stretch of sample rates with both its ends. With a StepHz only
// whole steps from its lower end can be had.
type RateRange struct{ LowHz, HighHz, StepHz float64 }

// AtLeast returns the lowest rate that is not below one, false when there is none.
func (r Rates) AtLeast(hz float64) (float64, bool) {
	best := math.Inf(1)
	for _, s := range r {
		up := max(hz, s.LowHz)
		if s.StepHz > 0 {
			up = s.LowHz + math.Ceil((up-s.LowHz)/s.StepHz-1e-9)*s.StepHz
		}
		if up <= s.HighHz {
			best = min(best, up)
		}
	}
	return best, !math.IsInf(best, 1)
}

// AtMost returns the highest rate that is not above one, false when there is none.
func (r Rates) AtMost(hz float64) (float64, bool) {
	best := 0.0
	for _, s := range r {
		down := min(hz, s.HighHz)
		if s.StepHz > 0 {
			down = s.LowHz + math.Floor((down-s.LowHz)/s.StepHz+1e-9)*s.StepHz
		}
		if down >= s.LowHz {
			best = max(best, down)
		}
	}
	return best, best > 0
}
