package plot

import (
	"math"
	"math/rand/v2"
	"time"

	"rooftone/dsp/psd"
	"rooftone/scan"
	"rooftone/scan/band"
	"rooftone/scan/measure"
	"rooftone/scan/verdict"
)

// lotOf builds one channel of an invented survey.
type lotOf struct {
	number   int
	margin   float64
	sigma    float64
	limits   []verdict.Limit
	presence measure.Presence
	doubts   []measure.Doubt
}

func est(v, sigma float64) *measure.Estimate { return &measure.Estimate{Value: v, Sigma: sigma} }

func gradeOf(margin float64) verdict.Grade {
	switch {
	case margin < 0:
		return verdict.Trace
	case margin < verdict.SlimMarginDB:
		return verdict.Cliff
	case margin < verdict.FirmMarginDB:
		return verdict.Slim
	}
	return verdict.Firm
}

// surveyOf is a full visit to a plan with the given lots, the others vacant.
// Place, source and levels are invented.
func surveyOf(plan string, some ...lotOf) *scan.Survey {
	p, err := band.ParsePlan(plan)
	if err != nil {
		panic(err)
	}
	s := &scan.Survey{
		Started:    time.Date(2031, time.May, 6, 14, 3, 20, 0, time.UTC),
		Source:     "sim:saltmarsh",
		Clock:      &measure.Clock{PPM: measure.Estimate{Value: -32.4, Sigma: 0.1}, Stations: 9},
		FalseAlarm: 1e-3,
	}
	gainDB := 28.0
	for _, ch := range p.Channels {
		c := scan.Channel{Reading: measure.Reading{
			Channel: ch, Seen: []band.Span{ch.Span()}, Presence: measure.Vacant, GainDB: &gainDB,
			PowerDBFS: est(-52, 0.1), NoiseDBFS: est(-52, 0.1), Noise: measure.NoiseVacant,
		}}
		for _, l := range some {
			if l.number != ch.Number {
				continue
			}
			c.Presence, c.Suspicion = l.presence, l.doubts
			if c.Presence == "" {
				c.Presence = measure.Present
			}
			if c.Presence == measure.Present {
				c.Margin = est(l.margin, l.sigma)
				c.CN = est(l.margin+15.2, l.sigma)
				c.PowerDBFS = est(-52+l.margin+15.2, 0.1)
				c.Grade = gradeOf(l.margin)
				c.Noise = measure.NoiseEdge
				c.Pilot = &measure.Pilot{ImpliedCN: est0(l.margin+15.2, 0.5)}
			}
			for _, lim := range l.limits {
				c.Reasons = append(c.Reasons, verdict.Reason{Limit: lim, Evidence: "invented"})
			}
		}
		s.Channels = append(s.Channels, c)
	}
	return s
}

func est0(v, sigma float64) measure.Estimate { return measure.Estimate{Value: v, Sigma: sigma} }

// saltmarsh is an invented town with one of everything.
func saltmarsh() *scan.Survey {
	s := surveyOf("us",
		lotOf{number: 4, margin: -12.6, sigma: 2.2, limits: []verdict.Limit{verdict.Weak}},
		lotOf{number: 6, margin: 2.4, sigma: 0.4, limits: []verdict.Limit{verdict.Impulse, verdict.Fading}},
		lotOf{number: 8, margin: 16.9, sigma: 0.3},
		lotOf{number: 10, margin: 11.2, sigma: 0.4, limits: []verdict.Limit{verdict.Echoes}},
		lotOf{number: 11, presence: measure.Unsure, doubts: []measure.Doubt{measure.DoubtNoClock}},
		lotOf{number: 12, margin: 8.7, sigma: 0.3, limits: []verdict.Limit{verdict.Adjacent}},
		lotOf{number: 14, presence: measure.Vacant, doubts: []measure.Doubt{measure.DoubtSpur}},
		lotOf{number: 15, margin: 21.3, sigma: 0.2},
		lotOf{number: 17, margin: 0.6, sigma: 0.9, limits: []verdict.Limit{verdict.Echoes, verdict.CoChannel}},
		lotOf{number: 18, margin: -4.1, sigma: 0.8, limits: []verdict.Limit{verdict.Weak, verdict.Adjacent}},
		lotOf{number: 20, margin: 14.2, sigma: 0.3, limits: []verdict.Limit{verdict.Overload, verdict.Adjacent}},
		lotOf{number: 21, margin: 4.8, sigma: 0.5, limits: []verdict.Limit{verdict.Echoes}},
		lotOf{number: 23, margin: -35.8, sigma: 3, limits: []verdict.Limit{verdict.Weak}},
		lotOf{number: 25, margin: 9.4, sigma: 1.6},
		lotOf{number: 27, margin: 47, sigma: 0.5, limits: []verdict.Limit{verdict.Overload}},
		lotOf{number: 28, margin: -0.6, sigma: 1.1, limits: []verdict.Limit{verdict.Tone}},
		lotOf{number: 31, presence: measure.Unsure, doubts: []measure.Doubt{measure.DoubtNoPilot, measure.DoubtShape}},
		lotOf{number: 33, margin: 12.9, sigma: 0.2},
		lotOf{number: 34, margin: 6.3, sigma: 0.4, limits: []verdict.Limit{verdict.Fading}},
	)
	for i := range s.Channels {
		c := &s.Channels[i]
		switch c.Channel.Number {
		case 35, 36:
			s.Channels[i] = scan.Channel{Reading: measure.Reading{Channel: c.Channel}}
		case 30:
			c.Presence, c.Margin = measure.Present, nil
		case 3:
			c.Presence, c.Grade = measure.Present, verdict.Trace
			c.Reasons = []verdict.Reason{{Limit: verdict.Weak}}
		case 27:
			c.ClippedFraction = 0.034
		}
	}
	return s
}

// crowded has a station on every channel, with what limits it.
func crowded() *scan.Survey {
	p, _ := band.ParsePlan("us")
	all := []verdict.Limit{verdict.Weak, verdict.Echoes, verdict.Overload, verdict.CoChannel, verdict.Adjacent,
		verdict.Tone, verdict.Impulse, verdict.Fading, verdict.OtherStandard}
	var some []lotOf
	for i, c := range p.Channels {
		l := lotOf{number: c.Number, margin: float64((i*37)%50) - 19.3, sigma: 0.2 + float64(i%7)*0.4}
		for k := 0; k < i%4; k++ {
			l.limits = append(l.limits, all[(i+k*2)%len(all)])
		}
		some = append(some, l)
	}
	return surveyOf("us", some...)
}

// withSpectrum adds an invented spectrum to a survey: a noise floor, a raised
// station with its pilot on each present channel, and nothing between slices.
func withSpectrum(s *scan.Survey, stepHz float64) *scan.Survey {
	const start, end = 50e6, 612e6
	rng := rand.New(rand.NewPCG(4, 2))
	sp := &psd.Spectrum{StartHz: start, StepHz: stepHz, Density: make([]float64, int((end-start)/stepHz)), Averages: 60}
	for i := range sp.Density {
		sp.Density[i] = math.NaN()
	}
	for _, c := range s.Channels {
		if !c.Heard() {
			continue
		}
		noise := math.Pow(10, (-52-10*math.Log10(6e6))/10)
		signal := 0.0
		if c.CN != nil {
			signal = noise * math.Pow(10, c.CN.Value/10)
		}
		for i := first(sp, c.Channel.LowerHz); i < first(sp, c.Channel.UpperHz()); i++ {
			f := sp.At(i) - c.Channel.LowerHz
			if math.Abs(f-3e6) < stepHz {
				continue
			}
			d := noise
			if f > 0.3e6 && f < 5.7e6 {
				d += signal
			}
			if c.Pilot != nil && math.Abs(f-band.PilotOffsetHz) < stepHz/2 {
				d += signal * 0.07 * 5.38e6 / stepHz
			}
			sp.Density[i] = d * math.Exp(0.13*rng.NormFloat64())
		}
	}
	s.Spectrum, s.SpectrumGainDB = sp, 28
	return s
}
