package cure

import (
	"math"

	"rooftone/dsp/decibel"
)

// Surroundings are the kinds of places that ITU-R P.372 tells man-made noise for.
type Surroundings string

const (
	City        Surroundings = "city"
	Residential Surroundings = "residential"
	Rural       Surroundings = "rural"
)

// ManMadeDB is the median external noise figure of man-made noise at a frequency,
// dB over k·290 K·B: c − d·log f with f in MHz, ITU-R P.372, table of man-made noise
// (c 76.8, 72.5 and 67.2, d 27.7, for 0.3 to 250 MHz), and for cities 44.3 − 12.3·log f
// from where that is more, up to 900 MHz (P.372-8, same section). Outside cities
// nothing is said above 250 MHz; the same line is followed down.
func ManMadeDB(s Surroundings, hz float64) float64 {
	log := math.Log10(hz / 1e6)
	switch s {
	case City:
		return math.Max(76.8-27.7*log, 44.3-12.3*log)
	case Rural:
		return 67.2 - 27.7*log
	}
	return 72.5 - 27.7*log
}

// GalacticDB is that of the noise of the galaxy: 52 − 23·log f, ITU-R P.372.
func GalacticDB(hz float64) float64 { return 52 - 23*math.Log10(hz/1e6) }

const (
	// manMadeSigmaDB is how far one place's noise is from the median of its kind:
	// P.372 gives deciles of 4.6 to 11.0 dB, which is 1.28 σ. Its figures are for a
	// short rod near the ground; an antenna on a roof hears less: roofDB, common
	// practice, no source.
	manMadeSigmaDB = 6
	roofDB         = 3

	// An antenna that looks along the ground sees half of it, at 290 K, and half of
	// the sky: coldest is of a part of 290 K. Common practice, no source.
	coldest, warmest = 0.4, 1
)

// outside is the noise from outside in units of k·290 K·B: what is warm or not
// before the antenna, the galaxy and man-made noise, which is sigmas away from its
// median.
func outside(s Surroundings, hz, warm, sigmas float64) float64 {
	manMade := ManMadeDB(s, hz) - roofDB + manMadeSigmaDB*sigmas
	return coldest + (warmest-coldest)*warm + decibel.Power(GalacticDB(hz)) + decibel.Power(manMade)
}
