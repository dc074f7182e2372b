package hunt

import (
	"math"

	"rooftone/dsp/psd"
	"rooftone/scan/band"
	"rooftone/scan/listen"
	"rooftone/scan/measure"
	"rooftone/scan/tuner"
)

// earHz is the coarsest step of the spectra that the front end is judged by.
const earHz = 2500

// maxStays bounds what is kept of a recording of any length.
const maxStays = 4000

// stay is what is kept of one stay at one tuning.
type stay struct {
	centerHz, rateHz float64 // by the radio's clock
	gainDB           float64 // 0 when unknown
	realDB           float64 // what the gain really is, relative to the others
	realSigma        float64 // of that, as a part of the power
	knownGain        bool
	density          []float64 // FS²/Hz from −rate/2 up
	stepHz           float64
	averages         float64
	clipped          float64 // share of samples on a rail
	off              bool    // nothing but a terminator at the antenna socket
}

// at is the frequency, by the radio's clock, of a value of the density.
func (s *stay) at(i int) float64 {
	return s.centerHz + (float64(i)-float64(len(s.density)/2))*s.stepHz
}

// shows reports whether a stay shows a range of frequencies.
func (s *stay) shows(lowHz, highHz float64) bool {
	half := listen.UsableShare * s.rateHz
	return lowHz >= s.centerHz-half && highHz <= s.centerHz+half
}

// linear is the power of a dB value.
func linear(db float64) float64 { return math.Pow(10, db/10) }

// decibel is the inverse of linear, −Inf for none.
func decibel(power float64) float64 { return 10 * math.Log10(power) }

// perGain turns a power in FS² into one at the radio's input, in units that do
// not move with the gain: what 0 dB of gain would show.
func (s *stay) perGain(power float64) float64 { return power * linear(-s.realDB) }

// ear makes stays of blocks.
type ear struct {
	stays   []*stay
	open    *stay
	welch   *psd.Welch
	welchOf float64
	samples int64
	rails   int64
	off     bool // from now on
}

// keep takes the next block; newStay is true for the first one of a stay.
func (e *ear) keep(b tuner.Block, newStay bool) error {
	if newStay {
		e.end()
		size := 64
		for b.RateHz/float64(size) > earHz {
			size *= 2
		}
		if e.welch == nil || e.welchOf != b.RateHz {
			w, err := psd.NewWelch(b.RateHz, size, psd.Hann)
			if err != nil {
				return err
			}
			e.welch, e.welchOf = w, b.RateHz
		}
		e.welch.Reset()
		e.samples, e.rails = 0, 0
		e.open = &stay{centerHz: b.CenterHz, rateHz: b.RateHz, stepHz: b.RateHz / float64(size), off: e.off}
		if !math.IsNaN(b.GainDB) {
			e.open.gainDB, e.open.realDB, e.open.knownGain = b.GainDB, b.GainDB, true
		}
	}
	if e.open == nil {
		return nil
	}
	e.welch.Write(b.Samples)
	e.samples += int64(len(b.Samples))
	e.rails += int64(b.Clipped)
	return nil
}

// end finishes the stay under way.
func (e *ear) end() {
	s := e.open
	e.open = nil
	if s == nil || e.welch.Averages() < 1 || len(e.stays) >= maxStays {
		return
	}
	s.averages = e.welch.Averages()
	s.density = e.welch.Density(nil)
	s.clipped = float64(e.rails) / float64(max(e.samples, 1))
	e.stays = append(e.stays, s)
}

// last returns the stay that ended last, nil when there is none.
func (e *ear) last() *stay {
	e.end()
	if len(e.stays) == 0 {
		return nil
	}
	return e.stays[len(e.stays)-1]
}

// flatten divides the radio's own pass band out of all stays' densities.
func flatten(stays []*stay, channels []band.Channel) {
	byRate := map[float64][]*listen.Slice{}
	for _, s := range stays {
		if s.off {
			continue
		}
		gain := tuner.UnknownGain()
		if s.knownGain {
			gain = s.gainDB
		}
		byRate[s.rateHz] = append(byRate[s.rateHz], &listen.Slice{
			CenterHz: s.centerHz, RateHz: s.rateHz, GainDB: gain,
			Density: s.density, StepHz: s.stepHz, Averages: s.averages,
		})
	}
	shapes := map[float64]measure.Passband{}
	for rate, slices := range byRate {
		shapes[rate] = measure.FindPassband(slices, channels)
	}
	for _, s := range stays {
		p, ok := shapes[s.rateHz]
		if !ok {
			continue
		}
		for i := range s.density {
			s.density[i] *= linear(-p.At(s.at(i)-s.centerHz, s.rateHz))
		}
	}
}

// dcGapHz is how far from the middle of a slice the radio's own spike reaches.
func (s *stay) dcGapHz() float64 { return max(10e3, 4*s.stepHz) }

// values returns the densities between two frequencies of the radio's clock,
// without those around the spike in the middle.
func (s *stay) values(lowHz, highHz float64) []float64 {
	first := max(0, int(math.Ceil((lowHz-s.centerHz)/s.stepHz))+len(s.density)/2)
	last := min(len(s.density)-1, int(math.Floor((highHz-s.centerHz)/s.stepHz))+len(s.density)/2)
	gap := int(math.Ceil(s.dcGapHz() / s.stepHz))
	middle := len(s.density) / 2
	var out []float64
	for i := first; i <= last; i++ {
		if i < middle-gap || i > middle+gap {
			out = append(out, s.density[i])
		}
	}
	return out
}

// power is what is between two frequencies, in FS², with the gap in the middle
// filled with the mean of the rest. It is not ok where the stay does not show
// them.
func (s *stay) power(lowHz, highHz float64) (float64, bool) {
	if !s.shows(lowHz, highHz) {
		return 0, false
	}
	v := s.values(lowHz, highHz)
	if len(v) == 0 {
		return 0, false
	}
	var sum float64
	for _, x := range v {
		sum += x
	}
	return sum / float64(len(v)) * (highHz - lowHz), true
}

// floorParts is how many parts a floor's range is cut into.
const floorParts = 8

// floor is the mean density between two frequencies of the radio's clock, in
// FS²/Hz, without what tones add: the mean over some parts of what half of each
// does not exceed, corrected for how a median lies below a mean.
func (s *stay) floor(lowHz, highHz float64) float64 {
	var sum float64
	n := 0
	for k := range floorParts {
		width := (highHz - lowHz) / floorParts
		if v := s.values(lowHz+float64(k)*width, lowHz+float64(k+1)*width); len(v) > 0 {
			sum += quantile(v, 0.5)
			n++
		}
	}
	x := 1 - 1/(9*max(s.averages, 1)) // Wilson and Hilferty, of a gamma variable
	return sum / float64(n) / (x * x * x)
}
