package measure

import (
	"math"

	"rooftone/dsp/decibel"
	"rooftone/dsp/vsb"
	"rooftone/scan/band"
	"rooftone/scan/listen"
)

// promise is what the training lets expect of a channel that was seen in part.
type promise struct {
	snr, snrSigmaDB          float64 // as EqualisedSNR has it
	carrier, carrierRelative float64 // the station's whole power, FS²
}

// promisedShare is the share of the channel from which it counts as seen: what
// is missing is like what is beside it.
const promisedShare = 0.9

// guessedDB is the standard uncertainty of the margin of a channel of which
// nothing but a slice's MER is known, for each share of it that was not seen.
const guessedDB = 4

// promise returns what the training promises of a channel of which much was not
// seen; nil where that is not so, or there is none.
func (m *measurer) promise(r *Reading, trained []listen.Trained, n *interference) *promise {
	if r.SeenShare() >= promisedShare || n == nil || len(trained) == 0 {
		return nil
	}
	var fits []*vsb.Training
	for _, t := range trained {
		fits = append(fits, t.Training)
	}
	outlook, err := vsb.NewOutlookThrough(m.view.passBandOf(trained[0]), fits...)
	if err != nil {
		return m.guess(r, trained, n)
	}
	snr, sigma, err := outlook.Equalised(n.at, n.relative)
	if err != nil || !(snr > 0) {
		return m.guess(r, trained, n)
	}
	carrier, relative := outlook.Power()
	return &promise{snr, math.Hypot(sigma, m.view.passbandSigma()/math.Sqrt(3)), carrier, relative}
}

// passBandOf is the radio's pass band as it is known in a training's slice.
func (v *view) passBandOf(t listen.Trained) vsb.PassBand {
	for _, s := range v.slices {
		p := v.passbands[s.RateHz]
		if s.CenterHz == t.CenterHz && p.coefficients != nil {
			return vsb.PassBand{
				Gain:    func(offsetHz float64) float64 { return math.Sqrt(decibel.Power(p.At(offsetHz, s.RateHz))) },
				SigmaDB: p.SigmaDB,
			}
		}
	}
	for _, s := range v.slices {
		if s.CenterHz == t.CenterHz && s.RateHz <= dongleRateHz {
			return vsb.PassBand{
				Gain: func(offsetHz float64) float64 {
					return math.Sqrt(decibel.Power(usualDroopDB(2 * math.Abs(offsetHz) / s.RateHz)))
				},
				SigmaDB: droopScatterDB,
			}
		}
	}
	return vsb.PassBand{SigmaDB: unknownPassbandDB}
}

const (
	// dongleRateHz is the highest rate of the dongles whose droop was measured.
	dongleRateHz = 3.2e6

	// droopScatterDB is how far one dongle is from the usual droop.
	droopScatterDB = 0.6
)

// usualDroopDB is how far below its middle a dongle's pass band lies, halfway
// between one that does not droop and the mean of three that were measured, at a
// share of half the sample rate.
func usualDroopDB(share float64) float64 {
	at := []float64{0, 0.7, 0.8, 0.85, 0.9, 1}
	db := []float64{0, 0, -0.45, -1, -1.9, -3}
	for i := 1; i < len(at); i++ {
		if share <= at[i] {
			return db[i-1] + (share-at[i-1])/(at[i]-at[i-1])*(db[i]-db[i-1])
		}
	}
	return db[len(db)-1]
}

// guess is a promise by what the slices hold alone, where their fits are too
// poor or too old to tell more.
func (m *measurer) guess(r *Reading, trained []listen.Trained, n *interference) *promise {
	var data, hz, variance float64
	for _, t := range trained {
		w := t.HighHz - t.LowHz
		data += w * t.DataDensity
		hz += w
		variance += w * w * t.DataSigma * t.DataSigma
	}
	if !(data > 0) {
		return nil
	}
	relative := math.Sqrt(variance) / data
	unseen := (1 - r.SeenShare()) * guessedDB
	return &promise{
		snr:             data / hz / n.mean(),
		snrSigmaDB:      math.Hypot(decibel.PerNeper*math.Hypot(relative, n.relative), unseen),
		carrier:         data / hz / vsb.Density(band.WidthHz/2),
		carrierRelative: math.Hypot(relative, unseen/decibel.PerNeper),
	}
}
