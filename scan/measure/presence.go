package measure

import (
	"math"
	"rooftone/dsp/decibel"
	"rooftone/scan/listen"
)

const (
	// weakPlaceHz is how near its place a tone must be to count as a pilot
	// when its data cannot be seen.
	weakPlaceHz = listen.StationLimitHz

	// powerShows is the excess over the noise, relative to it, from which a
	// channel without a pilot is not called vacant: −10 dB.
	powerShows = 0.1
)

// judge decides presence from the evidence.
//
// A tone strong enough that its data must show is a station only with that
// data, in a station's shape, beside it. A weaker one is a station by its
// exact place alone, which takes a known clock. Power without a pilot is never
// a vacant channel, and never a station on its own.
func (m *measurer) judge(r *Reading, e *evidence, noise *floor) {
	doubt := func(p Presence, why Doubt) {
		r.Presence = p
		r.Suspicion = append(r.Suspicion, why)
	}
	if r.Pilot == nil || !m.inPlace(r.Channel, e) {
		m.judgeWithoutPilot(r, e, noise, doubt)
		return
	}
	if r.Pilot.ImpliedCN.Value >= dataShowsDB {
		m.judgeStrong(r, e, noise, doubt)
		return
	}
	switch {
	case r.Pilot.KnownSpur != "":
		doubt(Vacant, DoubtSpur)
	case m.clock == nil:
		doubt(Unsure, DoubtNoClock)
	case m.clock.PPM.Sigma*1e-6*r.Channel.PilotHz() > weakPlaceHz/2:
		doubt(Unsure, DoubtNoClock)
	default:
		r.Presence = Present
	}
}

func (m *measurer) judgeWithoutPilot(r *Reading, e *evidence, noise *floor, doubt func(Presence, Doubt)) {
	if noise == nil {
		doubt(Unsure, DoubtNoiseLevel)
		return
	}
	excess := partExcess(e.parts, noise.density)
	middle := excess[len(excess)/2]
	switch {
	case middle > powerShows && middle > 4*noise.relative*(1+middle):
		doubt(Unsure, DoubtNoPilot)
	case r.Pilot != nil && r.Pilot.KnownSpur != "":
		doubt(Vacant, DoubtSpur)
	case r.Pilot != nil:
		doubt(Vacant, DoubtOffPlace)
	default:
		r.Presence = Vacant
	}
}

func (m *measurer) judgeStrong(r *Reading, e *evidence, noise *floor, doubt func(Presence, Doubt)) {
	if noise == nil {
		doubt(Unsure, DoubtNoiseLevel)
		return
	}
	excess := partExcess(e.parts, noise.density)
	middle := excess[len(excess)/2]
	expected := decibel.Power(r.Pilot.ImpliedCN.Value)
	sigma := noise.relative * (1 + math.Max(0, middle))
	least := expected * decibel.Power(-dataShortDB)
	// Where data should stand far out of the noise floor's uncertainty, it must.
	clear := 3 * sigma
	if expected > 8*sigma {
		clear = 4 * sigma
	}
	why := DoubtNoData
	if r.Pilot.KnownSpur != "" {
		why = DoubtSpur
	}
	switch {
	case middle < least-2*sigma || middle < 2*sigma && expected > 4*sigma:
		doubt(Vacant, why)
	case middle < least || middle < clear:
		doubt(Unsure, DoubtNoiseLevel)
	case excess[len(excess)/5] < middle*decibel.Power(-15):
		// A station fills its channel; echoes notch pieces of it, not a fifth.
		doubt(Unsure, DoubtShape)
	default:
		r.Presence = Present
	}
}
