package plot

import (
	"math"
	"math/cmplx"

	"rooftone/scan"
	"rooftone/scan/band"
	"rooftone/scan/measure"
	"rooftone/scan/verdict"
)

// echoOf is one echo of an invented channel.
type echoOf struct{ us, db float64 }

// withEchoes gives a channel echoes, and the response that they and the
// strongest path make together, the way a measurement would hold them. Its
// uncertainties grow with the noise.
func withEchoes(c *scan.Channel, echoes ...echoOf) {
	c.Standard = measure.ATSC1
	noise := math.Pow(10, -c.CN.Value/20)
	c.Echoes = []measure.Echo{}
	for _, e := range echoes {
		relative := noise * math.Pow(10, -e.db/20)
		c.Echoes = append(c.Echoes, measure.Echo{
			DelayUS: est0(e.us, 0.004+0.08*relative), LevelDB: est0(e.db, 0.1+1.5*relative),
		})
	}
	var mean float64
	c.Response = nil
	for hz := 150e3; hz < band.WidthHz-100e3; hz += 31.25e3 {
		h := complex(1, 0)
		for i, e := range echoes {
			h += cmplx.Rect(math.Pow(10, e.db/20), -2*math.Pi*hz*e.us*1e-6+float64(2*i))
		}
		gain := cmplx.Abs(h) * cmplx.Abs(h)
		mean += gain
		c.Response = append(c.Response, measure.ResponsePoint{OffsetHz: hz, LevelDB: est0(decibels(gain)-hz/5e6, 0.2+3*noise*noise/gain)})
	}
	mean = decibels(mean / float64(len(c.Response)))
	low, high := math.Inf(1), math.Inf(-1)
	for i := range c.Response {
		p := &c.Response[i]
		p.LevelDB.Value -= mean - 0.6
		if p.OffsetHz > 0.62e6 && p.OffsetHz < 5.38e6 {
			rest := p.LevelDB.Value + p.OffsetHz/5e6
			low, high = math.Min(low, rest), math.Max(high, rest)
		}
	}
	c.Tilt, c.Ripple = est(-4.76/5, 0.15+noise), est(high-low, 0.2+noise)
	c.MER = est(c.CN.Value+0.17-0.4, 0.25)
	for i, hz := range []float64{1e6, 3e6, 5e6} {
		c.SliceMER = append(c.SliceMER, measure.SliceMER{CenterHz: hz, MER: est0(c.CN.Value+float64(i)-1, 0.4)})
	}
	c.CNPower, c.CNPilot = est(c.CN.Value+0.3, 0.2), est(c.CN.Value-0.8, 0.6)
	c.MarginMethod = measure.MarginEqualised
	c.Pilot = &measure.Pilot{
		OffsetHz: est0(-14, 6), ToNoise: est0(c.CN.Value+56.2, 0.5), PowerDBFS: c.PowerDBFS.Value - 11.6,
		ImpliedCN: *c.CNPilot,
	}
	c.PowerDBm = est(c.PowerDBFS.Value-44, 1)
}

// channelOf is a channel of a survey.
func channelOf(s *scan.Survey, number int) *scan.Channel {
	for i := range s.Channels {
		if s.Channels[i].Channel.Number == number {
			return &s.Channels[i]
		}
	}
	return nil
}

// harbour is an invented town among tall things: some channels share a
// reflector, and not every station speaks 8-VSB.
func harbour() *scan.Survey {
	s := surveyOf("us",
		lotOf{number: 5, margin: -9.5, sigma: 1.4, limits: []verdict.Limit{verdict.Weak}},
		lotOf{number: 9, margin: 7.4, sigma: 0.4, limits: []verdict.Limit{verdict.Echoes}},
		lotOf{number: 12, margin: 18.3, sigma: 0.3},
		lotOf{number: 16, margin: 2.1, sigma: 0.5, limits: []verdict.Limit{verdict.Echoes, verdict.Weak}},
		lotOf{number: 19, margin: 11.8, sigma: 0.3},
		lotOf{number: 21, margin: 4.8, sigma: 0.5, limits: []verdict.Limit{verdict.Echoes}},
		lotOf{number: 24, margin: 13.9, sigma: 0.3},
		lotOf{number: 26, margin: 0, presence: measure.Present},
		lotOf{number: 29, margin: -2.2, sigma: 0.6, limits: []verdict.Limit{verdict.Echoes, verdict.CoChannel}},
		lotOf{number: 32, margin: 9.6, sigma: 0.5, limits: []verdict.Limit{verdict.CoChannel}},
		lotOf{number: 33, margin: 0, presence: measure.Present},
		lotOf{number: 35, presence: measure.Unsure, doubts: []measure.Doubt{measure.DoubtNoPilot}},
	)
	withEchoes(channelOf(s, 9), echoOf{1.41, -4.2}, echoOf{2.9, -13.1}, echoOf{9.9, -17.2})
	withEchoes(channelOf(s, 12))
	withEchoes(channelOf(s, 16), echoOf{0.15, -13.8}, echoOf{2.22, -6.2}, echoOf{3.05, -4.9}, echoOf{5.86, -13.6}, echoOf{5.93, -16.4})
	withEchoes(channelOf(s, 19), echoOf{1.4, -11.3}, echoOf{9.84, -15.8})
	withEchoes(channelOf(s, 21), echoOf{0.3, -12}, echoOf{3.5, -4}, echoOf{4.4, -6.2}, echoOf{9.5, -15}, echoOf{12.7, -19.4})
	withEchoes(channelOf(s, 24), echoOf{1.38, -9.1})
	withEchoes(channelOf(s, 29), echoOf{-1.2, -2.1}, echoOf{3.1, -5.4}, echoOf{17.6, -11})
	withEchoes(channelOf(s, 32), echoOf{19.2, -18.5})
	c := channelOf(s, 21)
	c.Reasons = []verdict.Reason{{Limit: verdict.Echoes, Evidence: "echo 3.5 µs late, −4 dB, about 3440 ft of extra path: turn away from it or try a foot or two sideways"}}
	c.Advice = []string{
		"turn the antenna in steps of a few degrees and watch the margin, not the strength",
		"try a foot or two sideways, then up",
		"an antenna with a narrower beam, or one that hears less behind it",
	}
	foreign := func(number int, standard measure.Standard, evidence string) {
		c := channelOf(s, number)
		c.Standard, c.Margin, c.CN, c.Pilot, c.Grade = standard, nil, est(24, 0.4), nil, ""
		c.Reasons = []verdict.Reason{{Limit: verdict.OtherStandard, Evidence: evidence}}
	}
	foreign(26, measure.ATSC3, "ATSC 3.0: a TV or tuner without it will not show this channel, whatever the aim")
	foreign(33, measure.OtherStandard, "power without a pilot: another standard or another service")
	return s
}
