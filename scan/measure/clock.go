package measure

import (
	"math"
	"rooftone/dsp/decibel"
	"rooftone/dsp/robust"
	"rooftone/scan/listen"
	"sort"
)

// Clock is what is known of the radio's clock.
type Clock struct {
	// PPM is how fast the clock runs, in parts per million: asked for f, the
	// radio goes to f × (1 + PPM·1e−6).
	PPM      Estimate
	Given    bool // by the user, not measured
	Stations int  // how many pilots it rests on
}

const (
	// stationErrorHz is how far stations' pilots commonly are from their
	// nominal places. From memory of the trade: carriers locked to GPS are
	// within a few hertz, the others within a kilohertz.
	stationErrorHz = 70

	// dataShowsDB is the C/N above which a pilot's data must be seen beside it.
	dataShowsDB = -12

	// dataShortDB is by how much less data than the pilot promises is still
	// put down to echoes: one as strong as the station's own path lifts the
	// pilot by 6 dB at the most, and the data by 3 on the mean.
	dataShortDB = 7
)

// candidate is a tone that may be a pilot.
type candidate struct {
	ppm     float64 // the clock error that would put it in its place
	hz      float64 // its nominal place
	sigmaHz float64
	weight  float64
}

// findClock finds the clock error that the most pilots agree on. Tones that
// only look like pilots do not agree with each other, so the widest agreement
// wins; a lone station is believed only with its data beside it. It returns
// nil when there is nothing to go by.
func findClock(slices []*listen.Slice, falseAlarm float64) *Clock {
	candidates := clockCandidates(slices, falseAlarm)
	var best []candidate
	var bestWeight float64
	for _, c := range candidates {
		var agree []candidate
		var weight float64
		for _, other := range candidates {
			// Two pilots may each be off their places, and lie in bands where
			// a hertz is worth unlike shares of the clock.
			reach := (listen.StationLimitHz/2 + 3*math.Hypot(c.sigmaHz, other.sigmaHz)) / math.Max(c.hz, other.hz) * 1e6
			if math.Abs(other.ppm-c.ppm) <= reach {
				agree = append(agree, other)
				weight += other.weight
			}
		}
		if weight > bestWeight {
			best, bestWeight = agree, weight
		}
	}
	if bestWeight < 1 {
		return nil
	}
	ppm, sigma := combineClock(best)
	return &Clock{PPM: Estimate{ppm, sigma}, Stations: len(best)}
}

// combineClock takes the weighted median of the agreeing pilots and then the
// weighted mean of those near it: the median so that one station off its place
// does no harm, the mean so that the good ones add up.
func combineClock(c []candidate) (ppm, sigma float64) {
	sort.Slice(c, func(i, j int) bool { return c[i].ppm < c[j].ppm })
	weight := func(x candidate) float64 {
		s := math.Hypot(x.sigmaHz, stationErrorHz) / x.hz * 1e6
		return x.weight / (s * s)
	}
	var total float64
	for _, x := range c {
		total += weight(x)
	}
	var run, middle float64
	for _, x := range c {
		if run += weight(x); run >= total/2 {
			middle = x.ppm
			break
		}
	}
	var sum, sumWeight, scatter float64
	var used int
	for _, x := range c {
		if s := math.Hypot(x.sigmaHz, stationErrorHz) / x.hz * 1e6; math.Abs(x.ppm-middle) <= 4*s || x.ppm == middle {
			sum += weight(x) * x.ppm
			sumWeight += weight(x)
			used++
		}
	}
	ppm = sum / sumWeight
	for _, x := range c {
		if s := math.Hypot(x.sigmaHz, stationErrorHz) / x.hz * 1e6; math.Abs(x.ppm-middle) <= 4*s || x.ppm == middle {
			scatter += weight(x) * (x.ppm - ppm) * (x.ppm - ppm)
		}
	}
	// What their scatter says or what their usual accuracy says, whichever is
	// more: two that agree by chance are not worth more than two.
	expected := math.Sqrt(1 / sumWeight)
	if used > 1 {
		sigma = math.Sqrt(scatter / sumWeight / float64(used-1))
	}
	return ppm, math.Max(sigma, expected)
}

// clockCandidates looks at the strongest tones around each pilot's place.
func clockCandidates(slices []*listen.Slice, falseAlarm float64) []candidate {
	floors := crudeFloors(slices)
	var out []candidate
	for _, s := range slices {
		floor := floors[listen.GainKey(s.GainDB)]
		for i := range s.Fine {
			f := &s.Fine[i]
			nominal := f.Channel.PilotHz() - s.CenterHz
			reach := listen.MaxPPM*1e-6*f.Channel.PilotHz() + listen.PilotErrorHz
			tone, ok := f.Strongest(nominal-reach, nominal+reach, falseAlarm)
			if !ok || math.Abs(tone.OffsetHz) < f.ToneWidth() { // the DC spike
				continue
			}
			c := candidate{
				hz:      f.Channel.PilotHz(),
				ppm:     (f.Channel.PilotHz()/(s.CenterHz+tone.OffsetHz) - 1) * 1e6,
				sigmaHz: tone.SigmaHz,
			}
			switch implied := impliedCN(tone.Power, floor); {
			case decibel.Of(implied) < dataShowsDB:
				c.weight = 0.34 // three that agree are as good as one with data
			case crudeData(s, f, floor) >= implied*decibel.Power(-dataShortDB):
				c.weight = 1
			default:
				continue
			}
			out = append(out, c)
		}
	}
	return out
}

// crudeFloors is for each gain the density in FS²/Hz that the emptier slices
// share: good to a few dB, enough to tell a tone with data from one without.
func crudeFloors(slices []*listen.Slice) map[float64]float64 {
	levels := map[float64][]float64{}
	for _, s := range slices {
		levels[listen.GainKey(s.GainDB)] = append(levels[listen.GainKey(s.GainDB)], robust.Median(s.Density))
	}
	most := math.Inf(-1) // the gain with the most slices
	for gain, l := range levels {
		if n := len(levels[most]); len(l) > n || len(l) == n && gain > most {
			most = gain
		}
	}
	out := map[float64]float64{}
	for gain, l := range levels {
		// The lowest tenth, so that a band full of stations still gives a floor.
		sort.Float64s(l)
		out[gain] = robust.Median(l[:(len(l)+9)/10])
	}
	for gain := range out {
		// A gain that was used for strong stations alone has no empty slice.
		if known := out[most] * decibel.Power(gain-most); known < out[gain] {
			out[gain] = known
		}
	}
	return out
}

// crudeData is the C/N that the data beside a pilot shows in this slice,
// against a crude floor.
func crudeData(s *listen.Slice, f *listen.Fine, floor float64) float64 {
	pilot := f.Channel.PilotHz() - s.CenterHz
	var data []float64
	for i, d := range s.Density {
		hz := (float64(i) - float64(len(s.Density)/2)) * s.StepHz
		if hz > pilot+100e3 && hz < pilot+1600e3 && hz < listen.UsableShare*s.RateHz && math.Abs(hz) > s.DCGapHz() {
			data = append(data, d)
		}
	}
	if len(data) == 0 {
		return 0
	}
	return robust.Median(data)/floor - 1
}
