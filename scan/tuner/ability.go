package tuner

import "time"

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
