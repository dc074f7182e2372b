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

	// Of one visit to a house, the marks whose place is the same, and whose
	// bearings and heights differ by no more than this, are of one spot: who
	// tells more on one day means it.
	BearingToleranceDeg float64
	HeightToleranceM    float64

	// From one visit to another a heading and a height are only as good as a
	// hand that finds them again: marks of one place that differ by no more
	// than this are of one spot, if it is clear which.
	HandDeg float64
	HandM   float64

	// VisitGap is the time without a mark that parts two visits.
	VisitGap time.Duration

	Since time.Time // marks before it are left out; zero: none are

	Units Units // in which spots tell their heights
	North North // from which their headings are counted
}

// DefaultOptions are what is taken when nobody says otherwise: 9 dB are enough
// (see verdict.FirmMarginDB); a margin repeats within 1 dB (common practice, no
// source); 95 % to tell two places apart, so that of pairs that are exactly
// alike at most one in ten is taken for different; bearings within 2° and heights
// within half a foot on one visit. From visit to visit bearings within 6°, the
// 95 % of the difference of two that are each known within the 2° of
// defaultPointingDeg (1.96·√2·2° = 5.5°), and heights within a foot (common
// practice, no source). Six hours without a mark begin another visit (common
// practice, no source).
func DefaultOptions() Options {
	return Options{
		EnoughDB:            verdict.FirmMarginDB,
		RepeatDB:            1,
		Confidence:          0.95,
		FalseAlarm:          0.05,
		BearingToleranceDeg: 2,
		HeightToleranceM:    0.1524,
		HandDeg:             6,
		HandM:               metresPerFoot,
		VisitGap:            6 * time.Hour,
	}
}
