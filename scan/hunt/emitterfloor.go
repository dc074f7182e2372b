package hunt

import (
	"math"

	"rooftone/scan/band"
)

// findFloors takes each gain's floor from the survey, which reads the noise by
// evidence of its own: never from what is loudest or emptiest here, which may all
// be somebody's signal. The noise at the input is the same at all gains but for
// what the converter adds to it at low ones. Elsewhere in the spectrum the radio
// may be quieter, so that less than the survey's noise is believed where a tenth
// of the stays show it: a stay is no emptier than its noise.
func (s *scene) findFloors() {
	s.floors = map[float64]float64{}
	known := s.surveyNoise()
	by := map[float64][]float64{}
	for _, x := range s.stays {
		if !x.off {
			by[x.gainDB] = append(by[x.gainDB], x.floor(x.centerHz-1e6, x.centerHz+1e6))
		}
	}
	for g, v := range by {
		s.floors[g] = math.Min(s.noiseAt(g, known), quantile(v, 0.1))
	}
}

// surveyNoise is the median of the noise densities that the survey read, by gain.
func (s *scene) surveyNoise() map[float64]float64 {
	by := map[float64][]float64{}
	if s.survey == nil {
		return nil
	}
	for i := range s.survey.Channels {
		r := &s.survey.Channels[i].Reading
		if !r.Heard() || r.NoiseDBFS == nil {
			continue
		}
		gain := 0.0
		if r.GainDB != nil {
			gain = *r.GainDB
		}
		by[gain] = append(by[gain], linear(r.NoiseDBFS.Value)/band.WidthHz)
	}
	out := map[float64]float64{}
	for g, v := range by {
		out[g] = quantile(v, 0.5)
	}
	return out
}

// noiseAt is the noise at a gain: as read, or that of the nearest gain moved by
// the difference, but no further down than the converter's own share allows. It
// is NaN where none was read.
func (s *scene) noiseAt(gainDB float64, known map[float64]float64) float64 {
	const downDB = 12
	nearest, best := math.NaN(), math.NaN()
	for g, v := range known {
		if away := math.Abs(g - gainDB); !(away >= math.Abs(nearest-gainDB)) {
			nearest, best = g, v
		}
	}
	return best * linear(math.Max(s.realGain(gainDB)-s.realGain(nearest), -downDB))
}
