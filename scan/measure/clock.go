package measure

import (
	"math"
	"rooftone/scan/listen"
	"slices"
	"sort"
)

// Clock is what is known of the radio's clock.
type Clock struct {
	// PPM is how fast the clock runs, in parts per million: asked for f, the
	// radio goes to f × (1 + PPM·1e−6).
	PPM      Estimate
	Given    bool // by the user, not measured
	Prior    bool // by what was kept of the radio, for want of stations
	Stations int  // how many pilots it rests on
}

const (
	// stationErrorHz is how far stations' pilots commonly are from their
	// nominal places. From memory of the trade: carriers locked to GPS are
	// within a few hertz, the others within a kilohertz.
	stationErrorHz = 70

	// unconfirmedWeight is what a line counts that nothing confirms: three that
	// agree are as good as one station.
	unconfirmedWeight = 0.34

	// unknownClockPPM is the standard uncertainty of a frequency by a clock of
	// which nothing is known but that it is within listen.MaxPPM.
	unknownClockPPM = listen.MaxPPM / 1.7320508
)

// ppmSigma is the standard uncertainty of a clock, also of an unknown one.
func (c *Clock) ppmSigma() float64 {
	if c == nil {
		return unknownClockPPM
	}
	return c.PPM.Sigma
}

// scale is the true frequency over the radio's own.
func (c *Clock) scale() float64 {
	if c == nil {
		return 1
	}
	return 1 + c.PPM.Value*1e-6
}

// candidate is something whose place on the air is known if it is a station's.
type candidate struct {
	channel int
	ppm     float64 // the clock error that would put it in its place
	hz      float64 // its nominal place
	sigmaHz float64
	weight  float64

	confirmed bool // by training or a bootstrap
}

// findClock finds the clock error that the most stations agree on. What training
// or a bootstrap proves to be a station counts whole; lines at pilots' places
// that nothing confirms agree with each other only if they are pilots, so it
// takes three. It returns nil when there is nothing to go by.
func findClock(all []evidence, prior *Clock) *Clock {
	var candidates []candidate
	for i := range all {
		candidates = all[i].clocks(candidates)
	}
	candidates = slices.DeleteFunc(candidates, func(c candidate) bool { return !c.confirmed && !prior.allows(c.ppm) })
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
	if bestWeight < 1-1e-9 {
		return nil
	}
	ppm, sigma := combineClock(best)
	return &Clock{PPM: Estimate{ppm, sigma}, Stations: stations(best)}
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

// stations is how many channels candidates are from.
func stations(list []candidate) int {
	seen := map[int]bool{}
	for _, c := range list {
		seen[c.channel] = true
	}
	return len(seen)
}

// clocks appends what a channel's evidence says of the clock. Several slices may
// show one pilot: each says it again, with the weight that one has in all.
func (e *evidence) clocks(out []candidate) []candidate {
	c := e.channel
	switch {
	case len(e.trained) > 0:
		ppm, sigma := e.carrierClock()
		// The pilot says it a hundred times finer, if it is where the
		// training's carrier is.
		var pilots []candidate
		for i := range e.lines {
			l := &e.lines[i]
			at := (c.PilotHz()/l.hz() - 1) * 1e6
			if math.Abs(at-ppm) <= 4*sigma+nearCarrierHz/c.PilotHz()*1e6 {
				pilots = append(pilots, candidate{c.Number, at, c.PilotHz(), l.SigmaHz, 1, true})
			}
		}
		if len(pilots) == 0 {
			return append(out, candidate{c.Number, ppm, c.PilotHz(), sigma * 1e-6 * c.PilotHz(), 1, true})
		}
		for i := range pilots {
			pilots[i].weight /= float64(len(pilots))
		}
		return append(out, pilots...)
	case e.bootstrap != nil:
		return append(out, candidate{c.Number, e.bootstrap.ClockPPM, c.CenterHz(), e.bootstrap.ClockSigmaPPM * 1e-6 * c.CenterHz(), 1, true})
	}
	var lines []candidate
	for i := range e.lines {
		if l := &e.lines[i]; e.mayBePilot(l) {
			lines = append(lines, candidate{c.Number, (c.PilotHz()/l.hz() - 1) * 1e6, c.PilotHz(), l.SigmaHz, unconfirmedWeight, false})
		}
	}
	if len(lines) == 0 {
		return out
	}
	// One of several lines at one place is the pilot at the most.
	best := lines[0]
	var agree []candidate
	for _, l := range lines {
		if math.Abs(l.ppm-best.ppm) <= nearCarrierHz/c.PilotHz()*1e6 {
			agree = append(agree, l)
		}
	}
	for i := range agree {
		agree[i].weight /= float64(len(agree))
	}
	return append(out, agree...)
}

// nearCarrierHz is how near the carrier that the training shows the pilot must
// be, and two lines that are taken for one.
const nearCarrierHz = 200

// carrierClock is the clock error that the training's carriers show, in ppm.
func (e *evidence) carrierClock() (ppm, sigma float64) {
	var sum, weight float64
	for i := range e.trained {
		p, s := e.trained[i].ClockByCarrier()
		s = math.Max(s, 1e-3)
		sum += p / (s * s)
		weight += 1 / (s * s)
	}
	return sum / weight, 1 / math.Sqrt(weight)
}

// mayBePilot reports whether a line that nothing confirms can be a pilot by what
// is around it in its own slice: a station's data stands beside it, and where
// that is strong enough the training would have been found.
func (e *evidence) mayBePilot(l *line) bool {
	const lifted = 4 // echoes lift a pilot over its data by 6 dB at the most
	share := l.dataShare()
	if share > 2*lifted {
		return false
	}
	// The data's density over the noise's, if echoes lift the pilot.
	data := share / lifted
	return !e.missed(data / math.Max(1e-3, 1-data/2))
}
