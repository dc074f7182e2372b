package meter

import (
	"cmp"
	"context"
	"fmt"
	"math"
	"slices"

	"rooftone/dsp/psd"
	"rooftone/scan"
	"rooftone/scan/band"
	"rooftone/scan/listen"
	"rooftone/scan/measure"
	"rooftone/scan/tuner"
)

// lessons is what the careful visit taught.
type lessons struct {
	survey   *scan.Survey
	clock    float64  // true frequency over the radio's own
	clockPPM *float64 // nil when not known
	passband measure.Passband
	rateHz   float64 // what the radio makes of the rate asked for
	vacant   []reference
}

// reference is a slice of a vacant channel, by which the noise is refreshed.
type reference struct {
	centerHz, gainDB float64
	density          float64 // when learnt, FS²/Hz
}

// maxReferences bounds the stays that a refreshing of the noise costs. It decides
// nothing: that a channel is vacant is the careful visit's word, whose test holds
// for a channel alone, and of the vacant ones those nearest to what is followed
// are taken. Where there is none the noise is not refreshed, and follows the
// training's residual alone.
const maxReferences = 3

// learn visits the channels carefully, with company.
func (m *Meter) learn(ctx context.Context) (*lessons, error) {
	k := keeper{}
	all := append(append([]band.Channel(nil), m.Plan...), m.Channels...)
	survey, err := scan.SweepTuner(ctx, m.tuner, scan.Options{
		// All of the plan is reported, so that vacant company is known.
		Channels: m.company, Plan: m.company, RateHz: m.RateHz, GainDB: m.GainDB, PPM: m.PPM,
		ThresholdDB: m.ThresholdDB, Progress: m.Progress, Keep: k.keep, Radio: m.Radio,
	})
	if err != nil {
		return nil, fmt.Errorf("learning the noise and the clock: %w", err)
	}
	if ctx.Err() != nil {
		return nil, ctx.Err()
	}
	k.end()
	l := lessonsOf(survey)
	l.rateHz = m.RateHz
	if len(k.slices) > 0 {
		l.rateHz = k.slices[0].RateHz
	}
	// A wide radio's longer looks are narrower.
	k.slices = slices.DeleteFunc(k.slices, func(s *listen.Slice) bool { return s.RateHz != l.rateHz })
	l.passband = measure.FindPassbandOf(m.Radio, k.slices, all)
	for _, c := range m.nearestVacant(survey) {
		for _, s := range k.slices {
			if math.Abs(s.CenterHz-c.CenterHz()) < 1e5 {
				l.vacant = append(l.vacant, reference{s.CenterHz, s.GainDB, inner(s.Density, s.Averages)})
				break
			}
		}
	}
	return l, nil
}

// nearestVacant are the vacant channels that lie nearest to those that are
// followed, at most maxReferences of them.
func (m *Meter) nearestVacant(survey *scan.Survey) (list []band.Channel) {
	for _, c := range survey.Channels {
		if c.Presence == measure.Vacant {
			list = append(list, c.Channel)
		}
	}
	away := func(c band.Channel) float64 {
		nearest := math.Inf(1)
		for _, f := range m.Channels {
			nearest = math.Min(nearest, math.Abs(f.LowerHz-c.LowerHz))
		}
		return nearest
	}
	slices.SortStableFunc(list, func(a, b band.Channel) int { return cmp.Compare(away(a), away(b)) })
	return list[:min(maxReferences, len(list))]
}

// lessonsOf takes from a survey what it tells of the radio's clock.
func lessonsOf(survey *scan.Survey) *lessons {
	l := &lessons{survey: survey, clock: 1}
	if c := survey.Clock; c != nil {
		l.clock += c.PPM.Value * 1e-6
		ppm := c.PPM.Value
		l.clockPPM = &ppm
	}
	return l
}

// inner is the density of a slice's inner half, as its median: lone tones do not
// count. The median of a mean of k exponential variables is less than their mean,
// after Wilson and Hilferty.
func inner(density []float64, k float64) float64 {
	return medianOf(append([]float64(nil), density[len(density)/4:3*len(density)/4]...)) / math.Pow(1-1/(9*k), 3)
}

// keeper makes coarse spectra of a visit's stays, for the pass band.
type keeper struct {
	welch  *psd.Welch
	rateHz float64
	stay   tuner.Block
	open   bool
	slices []*listen.Slice
}

func (k *keeper) keep(b tuner.Block, newStay bool) error {
	if newStay {
		k.end()
	}
	if k.welch == nil || k.rateHz != b.RateHz {
		w, err := psd.NewWelch(b.RateHz, spectrumSize(b.RateHz), psd.Hann)
		if err != nil {
			return err
		}
		k.welch, k.rateHz = w, b.RateHz
	}
	k.stay, k.open = b, true
	k.stay.Samples = nil
	k.welch.Write(b.Samples)
	return nil
}

func (k *keeper) end() {
	if !k.open {
		return
	}
	k.open = false
	if k.welch.Averages() >= 1 {
		k.slices = append(k.slices, &listen.Slice{
			CenterHz: k.stay.CenterHz, RateHz: k.stay.RateHz, GainDB: k.stay.GainDB,
			Density: k.welch.Density(nil), StepHz: k.welch.StepHz(), Averages: k.welch.Averages(),
		})
	}
	k.welch.Reset()
}

// gridHz is the coarsest spectrum step that resolves the notches of an echo
// 20 µs late.
const gridHz = 1250

func spectrumSize(rateHz float64) int {
	size := 64
	for rateHz/float64(size) > gridHz {
		size *= 2
	}
	return size
}
