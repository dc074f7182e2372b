package air

import "math"

// Dongle returns the filters of a common dongle with a low-IF tuner.
//
// The curve at 1.92 MS/s is the averaged noise of three recordings with the
// tuner at 557 to 648 MHz, less what folds back; beyond the edge it is what the
// synchronisation signal of a cellular downlink across the edge was seen to
// fold back with, ±2 dB, up to 1.2 of half the rate, and from there a guess that
// goes on as it fell. The one at 2.4 MS/s is the same of four recordings at
// 868 and 1090 MHz within the slice; beyond it is the first one's less what
// Taps take away in addition.
//
// Taps are the default filter of the demodulator, at its converter's rate, as
// published on the osmocom-sdr list in July 2012: −3.0 dB at 1.2 MHz, −5.3 at
// 1.4, −20.6 at 2.0.
//
// The recordings' two sides differ from each other and from file to file by up
// to 0.8 dB within 0.8 of half the rate. How much of that is the frequency's
// doing and how much the gain's is not known; StrayDB is our share of both.
func Dongle() FrontEnd {
	return FrontEnd{
		Curves: []PassCurve{
			{RateHz: 1.92e6, Points: []PassPoint{
				{0, 0, 0}, {0.5, 0.7, -0.8}, {0.7, -0.1, -0.6}, {0.8, -1.1, -1.7}, {0.85, -2.4, -2.8},
				{0.9, -3.7, -3.8}, {0.95, -5.0, -5.7}, {1, -7.8, -8.0}, {1.04, -10, -10}, {1.08, -13, -13},
				{1.12, -15, -15}, {1.16, -21, -21}, {1.2, -25, -25}, {1.3, -32, -32}, {1.5, -45, -45}, {2, -70, -70},
			}},
			{RateHz: 2.4e6, Points: []PassPoint{
				{0, 0, 0}, {0.5, -0.2, 0.2}, {0.7, 0.5, 0.5}, {0.8, -0.5, -0.8}, {0.85, -1.8, -1.9},
				{0.9, -4.9, -3.6}, {0.95, -8.2, -6.5}, {1, -10.2, -10.1}, {1.04, -12, -12}, {1.08, -15.3, -15.3},
				{1.12, -17.6, -17.6}, {1.16, -23.9, -23.9}, {1.2, -28.3, -28.3}, {1.3, -36.4, -36.4}, {1.5, -52.5, -52.5}, {2, -80, -80},
			}},
		},
		Taps: []float64{
			-54, -36, -41, -40, -32, -14, 14, 53, 101, 156, 215, 273, 327, 372, 404, 421,
			421, 404, 372, 327, 273, 215, 156, 101, 53, 14, -14, -32, -40, -41, -36, -54,
		},
		TapsHz:  28.8e6,
		StrayDB: 0.8,
	}
}

// ZeroIF returns the filters of a dongle whose tuner mixes straight down to 0:
// those of Dongle, with the hump in the middle that a recording of such a tuner
// at 1.92 MS/s shows in what is mostly noise. From 20 to 300 kHz it is within
// 0.3 dB white noise and some of density 1/|f| that is as strong at 233 kHz.
func ZeroIF() FrontEnd {
	f := Dongle()
	f.FlickerHz = 233e3
	return f
}

// Wide returns the filters of a better radio that mixes straight down: flat,
// and at the end a half-band filter, which by its symmetry (theory) is 6 dB
// down at half the rate and folds back as much as it takes from within.
func Wide() FrontEnd {
	points := []PassPoint{{0, 0, 0}}
	for k := range 33 { // to where nothing is left
		share := wideFlat + float64(k)*0.0125
		x := math.Max(0, math.Min(1, (share-wideFlat)/(2*(1-wideFlat))))
		// An amplitude of ½ ± ½·cos is the raised cosine that adds up to 1.
		dB := 20 * math.Log10(math.Max(0.5+0.5*math.Cos(math.Pi*x), 1e-4))
		points = append(points, PassPoint{share, dB, dB})
	}
	return FrontEnd{Curves: []PassCurve{{RateHz: 10e6, Points: points}}, StrayDB: 0.1}
}

// wideFlat is the share of half the rate to which Wide is flat.
const wideFlat = 0.8
