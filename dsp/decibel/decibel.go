// Package decibel turns ratios of powers into decibels and back.
package decibel

import "math"

// Of returns a ratio of powers in dB: −Inf for 0, NaN below.
func Of(power float64) float64 { return 10 * math.Log10(power) }

// Power returns the ratio of powers that a level in dB stands for.
func Power(db float64) float64 { return math.Pow(10, db/10) }

// PerNeper is the dB of a relative change of 1, to first order: 10/ln 10. A
// relative standard uncertainty of a power times it is one in dB.
const PerNeper = 10 / math.Ln10
