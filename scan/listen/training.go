package listen

import (
	"math"

	"rooftone/dsp/decibel"
	"rooftone/dsp/ofdm"
	"rooftone/dsp/robust"
	"rooftone/dsp/vsb"
	"rooftone/scan/band"
)

const (
	// keptSeconds and keptSamples are how much of a stay is kept to look for
	// training in. Some eighteen fields say all that a channel that stands
	// still has to tell.
	keptSeconds = 0.5
	keptSamples = 1 << 20

	// trainingSpanHz is how much of a channel a slice must show to be worth a
	// search.
	trainingSpanHz = 1.2e6

	// occupiedRatio is the density relative to the emptiest slice from which a
	// slice is searched although no pilot was seen: 0.5 dB.
	occupiedRatio = 1.12

	// pilotRangePPM is how far a pilot's word on the clock may be off: the
	// station's and the synthesiser's own error.
	pilotRangePPM = 3

	// trainingChance is the probability per slice of taking something else for
	// training. A channel has about three slices.
	trainingChance = 3e-4
)

// Trained is what the field-sync training says in one slice of one channel.
type Trained struct {
	Channel  band.Channel
	OffsetHz float64 // of the slice's middle above the channel's lower edge
	*vsb.Training

	// Moving says that the channel changed during the stay. The error is then
	// what each field leaves by itself, as an equaliser that follows has it.
	Moving bool
}

// trainerKey tells trainers apart.
type trainerKey struct{ rateHz, offsetHz float64 }

// Bootstrap is what a search for an ATSC 3.0 bootstrap came to in one slice of
// one channel.
type Bootstrap struct {
	Channel band.Channel
	Seconds float64 // of the stay
	Found   bool
}

// BootstrapSeconds is how long a stay must be for a bootstrap that is not found
// to say that there is none: frames are mostly 50 to 250 ms long.
const BootstrapSeconds = 0.25

// bootstrapRatio is the density relative to the emptiest slice from which a
// slice without pilot and training is searched for a bootstrap: 1 dB.
const bootstrapRatio = 1.26

// train looks for the training of every channel that the finished slice shows
// enough of. What earlier slices said of the clock narrows the search, so the
// order of stays can change its cost, but not what is found.
func (s *Slicer) train(out *Slice) {
	if s.lowest == nil {
		s.lowest, s.pilotPPM, s.trainers = map[float64]float64{}, map[int]float64{}, map[trainerKey]*vsb.Trainer{}
	}
	level := robust.Median(out.Density)
	lowest, known := s.lowest[GainKey(out.GainDB)]
	if !known || level < lowest {
		lowest = level
		s.lowest[GainKey(out.GainDB)] = level
	}
	s.notePilots(out)
	half := UsableShare * out.RateHz
	cleaned := false
	for _, c := range s.channels {
		shown := math.Min(out.CenterHz+half, c.UpperHz()) - math.Max(out.CenterHz-half, c.LowerHz)
		ppm, pilot := s.pilotPPM[c.Number]
		if shown < trainingSpanHz || !pilot && level < lowest*occupiedRatio {
			continue
		}
		know := vsb.Knowledge{CenterHz: out.CenterHz}
		switch {
		case pilot:
			know.ClockPPM, know.RangePPM = ppm, pilotRangePPM
		case len(s.pilotPPM) > 2:
			know.ClockPPM, know.RangePPM = s.usualPPM(), pilotRangePPM
		}
		if !cleaned {
			removeOwnTones(s.kept, out.CenterHz, out.RateHz, s.source.Clock.ReferenceHz)
			cleaned = true
		}
		if !s.findTraining(out, c, know) && !pilot && level > lowest*bootstrapRatio {
			s.findBootstrap(out, c, know)
		}
	}
}

// findTraining searches and fits one channel's training.
func (s *Slicer) findTraining(out *Slice, c band.Channel, know vsb.Knowledge) bool {
	t, err := s.trainer(trainerKey{out.RateHz, math.Round(out.CenterHz - c.LowerHz)})
	if err != nil {
		return false // a slice of an odd rate: the other figures do without
	}
	fit, err := t.Fit(s.kept, know)
	if err != nil || fit.Fields == 0 || fit.FalseAlarm > trainingChance {
		return false
	}
	found := Trained{Channel: c, OffsetHz: out.CenterHz - c.LowerHz, Training: fit}
	quietest := math.Min(s.lowest[GainKey(out.GainDB)], s.quietest)
	if fit.Fields > 1 && fit.ErrorDensity > quietest*movingRatio {
		s.followFields(t, &found, out.RateHz, know)
	}
	s.quietest = math.Min(s.quietest, found.ErrorDensity)
	out.Trained = append(out.Trained, found)
	return true
}

const (
	// movingRatio is the error density relative to the emptiest slice, or the
	// least error so far where no slice is empty, from which it is worth
	// asking whether the channel moves.
	movingRatio = 1.2
	// Of a long stay this many fields are looked at.
	movingFields = 4
	// The error of single fields must be this much lower, and by so many of
	// its standard uncertainties.
	movingDrop, movingSigma = 0.85, 3
	// A field sync is cut out with this much around it.
	movingBefore, movingAfter = 1e-3, 1.5e-3
)

// followFields fits single fields of a stay. Where they leave clearly less
// error than the whole stay does, the channel moves, and their error counts.
func (s *Slicer) followFields(t *vsb.Trainer, found *Trained, rateHz float64, know vsb.Knowledge) {
	const fieldSeconds = vsb.FieldSymbols / vsb.SymbolRateHz
	var density, variance, signal float64
	var n int
	for k := 0; n < movingFields; k++ {
		at := found.FirstSeconds + float64(k)*fieldSeconds
		first, last := int((at-movingBefore)*rateHz), int((at+movingAfter)*rateHz)
		if last > len(s.kept) {
			break
		}
		if first < 0 {
			continue
		}
		fit, err := t.Fit(s.kept[first:last], know)
		if err != nil || fit.Fields == 0 || fit.FalseAlarm > trainingChance || !(fit.ErrorDensity > 0) {
			return
		}
		density += fit.ErrorDensity
		variance += fit.ErrorSigma * fit.ErrorSigma
		signal += fit.DataDensity
		n++
	}
	if n < 2 {
		return
	}
	mean, sigma := density/float64(n), math.Sqrt(variance)/float64(n)
	if mean > movingDrop*found.ErrorDensity || found.ErrorDensity-mean < movingSigma*sigma {
		return
	}
	still := *found.Training
	still.ErrorDensity, still.ErrorSigma = mean, sigma
	still.MERdB, still.MERSigmaDB = decibel.Of(signal/density), 10/math.Ln10*sigma/mean
	found.Training, found.Moving = &still, true
}

// findBootstrap searches one channel for an ATSC 3.0 bootstrap.
func (s *Slicer) findBootstrap(out *Slice, c band.Channel, know vsb.Knowledge) {
	search, err := ofdm.NewSearcher(out.RateHz, out.CenterHz-c.LowerHz, len(s.kept))
	if err != nil {
		return
	}
	reach := know.RangePPM
	if reach == 0 {
		reach = MaxPPM
	}
	found, err := search.Search(s.kept, -know.ClockPPM*1e-6*c.CenterHz(), reach*1e-6*c.CenterHz()+StationLimitHz)
	if err != nil {
		return
	}
	out.Bootstraps = append(out.Bootstraps, Bootstrap{c, float64(len(s.kept)) / out.RateHz, found.Found})
}

func (s *Slicer) trainer(key trainerKey) (*vsb.Trainer, error) {
	if t, ok := s.trainers[key]; ok {
		return t, nil
	}
	t, err := vsb.NewTrainer(key.rateHz, key.offsetHz)
	if err != nil {
		return nil, err
	}
	if len(s.trainers) >= maxTrainers {
		clear(s.trainers)
	}
	s.trainers[key] = t
	return t, nil
}

// notePilots remembers what a slice's pilots say of the clock.
func (s *Slicer) notePilots(out *Slice) {
	for i := range out.Fine {
		f := &out.Fine[i]
		nominal := f.Channel.PilotHz() - out.CenterHz
		reach := MaxPPM*1e-6*f.Channel.PilotHz() + PilotErrorHz
		if t, ok := f.Strongest(nominal-reach, nominal+reach, DefaultFalseAlarm); ok && math.Abs(t.OffsetHz) > f.ToneWidth() {
			s.pilotPPM[f.Channel.Number] = (f.Channel.PilotHz()/(out.CenterHz+t.OffsetHz) - 1) * 1e6
		}
	}
}

// usualPPM is the median of what the pilots so far say.
func (s *Slicer) usualPPM() float64 {
	var all []float64
	for _, v := range s.pilotPPM {
		all = append(all, v)
	}
	return robust.Median(all)
}
