package site

import (
	"time"

	"rooftone/scan/verdict"
)

// Options say how marks are put together and compared. Start from
// DefaultOptions: a zero field means zero.
type Options struct {
	EnoughDB float64 // the margin that is enough

	// RepeatDB is how far, as a standard deviation, the margin of one place
	// differs from visit to visit for no reason that a mark knows: the antenna
	// is not put back to the inch, someone stands beside it, leaves are wet.
	// It is added to each visit's own uncertainty, in squares.
	RepeatDB float64

	// Confidence is how probable it must be that one place serves better than
	// another before the two are told apart.
	Confidence float64

	// FalseAlarm is the probability that Changes reports a change in any
	// channel at any place when nothing has changed.
	FalseAlarm float64

	// Marks whose place is the same, and whose bearings and heights differ by
	// no more than this, are visits to one spot.
	BearingToleranceDeg float64
	HeightToleranceM    float64

	Since time.Time // marks before it are left out; zero: none are
}

// DefaultOptions are what is taken when nobody says otherwise: 9 dB are enough
// (see verdict.FirmMarginDB); a margin repeats within 1 dB (common practice, no
// source); 95 % to tell two places apart, so that of pairs that are exactly
// alike at most one in ten is taken for different; bearings within 2° and heights
// within half a foot.
func DefaultOptions() Options {
	return Options{
		EnoughDB:            verdict.FirmMarginDB,
		RepeatDB:            1,
		Confidence:          0.95,
		FalseAlarm:          0.05,
		BearingToleranceDeg: 2,
		HeightToleranceM:    0.1524,
	}
}
