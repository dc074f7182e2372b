package listen

import (
	"math"

	"rooftone/dsp/decibel"
	"rooftone/dsp/vsb"
	"rooftone/scan/band"
)

const (
	// keptSeconds and keptSamples are how much of a stay is kept to look for
	// training in. Some eighteen fields say all that a channel that stands
	// still has to tell.
	keptSeconds = 0.5
	keptSamples = 1 << 20

	// pilotRangePPM is how far a pilot's word on the clock may be off: the
	// station's and the synthesiser's own error.
	pilotRangePPM = 3

	// trainingChance is the probability per slice of taking something else for
	// training. A channel has about three slices.
	trainingChance = 3e-4

	// pilotTries is how many lines near a pilot's place are tried for it.
	pilotTries = 3
)

// Trained is what the field-sync training says in one slice of one channel.
type Trained struct {
	Channel  band.Channel
	OffsetHz float64 // of the slice's middle above the channel's lower edge
	CenterHz float64 // of the slice, by the radio's clock
	*vsb.Training

	// Moving says that the channel changed during the stay. The error is then
	// what each field leaves by itself, as an equaliser that follows has it.
	Moving bool
}

// ClockByCarrier is the clock error in ppm that puts the station's carrier in
// its place, and its standard uncertainty without the station's own error.
func (t *Trained) ClockByCarrier() (ppm, sigma float64) {
	return -t.CarrierHz / t.CenterHz * 1e6, t.CarrierSigmaHz / t.CenterHz * 1e6
}

// trainerKey tells trainers apart.
type trainerKey struct{ rateHz, offsetHz float64 }

// Searched says that a slice was searched for a channel's training, and how
// strong a station would have been found for certain.
type Searched struct {
	Channel band.Channel
	Found   bool

	// CertainSNR is the ratio of the data's density to that of the noise in the
	// slice from which the training is found with certainty, also where echoes
	// divide it among three equal paths. +Inf where the stay was too short to
	// hold a field sync for certain, or samples of it were lost.
	CertainSNR float64
}

// train looks for the training and the bootstrap of every channel that the
// finished slice shows enough of. It asks nothing but this slice's samples
// whether they are there; what other slices said of the clock and the pilot's
// place only decides where to look first, so the order of stays changes the
// cost and not what is found.
func (s *Slicer) train(out *Slice) {
	if s.pilots == nil {
		s.pilots = map[int]*pilotNews{}
	}
	removeOwnTones(s.kept, out.CenterHz, out.RateHz, s.source.Clock.ReferenceHz)
	found := false
	for _, c := range s.channels {
		if shown := out.Shows(c); shown.WidthHz() > 0 {
			news := s.hearPilot(out, c)
			f := s.findTraining(out, c, news)
			found = found || f
			if !f {
				found = s.findBootstrap(out, c) || found
			}
		}
	}
	if !found {
		s.findPattern(out)
	}
}

// elsewhere says whether a slice's density is so different from that of its channel's
// pilot's slice, which had none, that the two may be of different places. Ripple and
// folding alone are not as much.
func elsewhere(density, pilots float64) bool {
	const ratio = 4
	return density > ratio*pilots || density*ratio < pilots
}

// pilotNews is what slices showed of a channel's pilot so far.
type pilotNews struct {
	// ppm are the clock errors that lines near the pilot's place stand for,
	// the strongest first.
	ppm []float64

	// empty says that the pilot's place was seen and held no line, nor
	// anything that could hide one.
	empty bool
	// level is the mean density then. A slice that holds another may be of another
	// place: of a radio that strays.
	level float64

	// trained says that ppm holds what a training confirmed.
	trained bool
}

// hearPilot looks for lines at a channel's pilot's place.
func (s *Slicer) hearPilot(out *Slice, c band.Channel) *pilotNews {
	news := s.pilots[c.Number]
	if news == nil {
		news = &pilotNews{}
		s.pilots[c.Number] = news
	}
	for i := range out.Fine {
		f := &out.Fine[i]
		if f.Channel != c || news.trained {
			continue
		}
		lines, hidden := f.PilotLines(out.CenterHz, MaxPPM, DefaultFalseAlarm)
		news.ppm = news.ppm[:0]
		for _, t := range lines[:min(len(lines), pilotTries)] {
			news.ppm = append(news.ppm, (c.PilotHz()/(out.CenterHz+t.OffsetHz)-1)*1e6)
		}
		news.empty, news.level = len(lines) == 0 && !hidden, out.MeanDensity(out.Shows(c))
	}
	return news
}

// findTraining searches and fits one channel's training. Where the pilot's place
// was seen and holds no line there is none: a pilot is found 10 dB below the
// weakest training that is, and no echo takes that much from it alone.
func (s *Slicer) findTraining(out *Slice, c band.Channel, news *pilotNews) bool {
	t, err := s.trainer(trainerKey{out.RateHz, math.Round(out.CenterHz - c.LowerHz)})
	if err != nil {
		return false // too little of the channel, or an odd rate: the other figures do without
	}
	searched := Searched{Channel: c, CertainSNR: t.CertainSNR(float64(len(s.kept))/out.RateHz, trainingChance)}
	if out.Lost {
		searched.CertainSNR = math.Inf(1)
	}
	var tries []vsb.Knowledge
	for _, ppm := range news.ppm {
		tries = append(tries, vsb.Knowledge{CenterHz: out.CenterHz, ClockPPM: ppm, RangePPM: pilotRangePPM})
	}
	if len(tries) == 0 && (!news.empty || elsewhere(out.MeanDensity(out.Shows(c)), news.level)) {
		tries = append(tries, vsb.Knowledge{CenterHz: out.CenterHz, RangePPM: MaxPPM})
	}
	for i, know := range tries {
		fit, err := t.Fit(s.kept, know)
		if err != nil || fit.Fields == 0 || fit.FalseAlarm > trainingChance/float64(len(tries)) {
			continue
		}
		if know.RangePPM == MaxPPM {
			// Once more from where the carrier was found: a fit that begins
			// there ends where one does that the pilot led to.
			know.ClockPPM, know.RangePPM = -fit.CarrierHz/out.CenterHz*1e6, pilotRangePPM
			if again, err := t.Fit(s.kept, know); err == nil && again.Fields > 0 {
				again.FalseAlarm = fit.FalseAlarm
				fit = again
			}
		}
		found := Trained{Channel: c, OffsetHz: out.CenterHz - c.LowerHz, CenterHz: out.CenterHz, Training: fit}
		if fit.Changing < changingChance {
			s.followFields(t, &found, out.RateHz, know)
		}
		ppm, _ := found.ClockByCarrier()
		if i < len(news.ppm) {
			ppm = news.ppm[i]
		}
		news.ppm, news.trained = []float64{ppm}, true
		searched.Found = true
		out.Trained = append(out.Trained, found)
		break
	}
	out.Searched = append(out.Searched, searched)
	return searched.Found
}

const (
	// changingChance is the chance that a still channel shows what a stay's
	// fields do, from which down it is asked whether the channel moves.
	changingChance = 1e-3
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
	var density, variance, signal float64
	var n int
	for _, at := range found.StartSeconds {
		first, last := int((at-movingBefore)*rateHz), int((at+movingAfter)*rateHz)
		if n == movingFields || last > len(s.kept) {
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

func (s *Slicer) trainer(key trainerKey) (*vsb.Trainer, error) {
	if made, ok := s.trainers[key]; ok {
		return made.trainer, made.err
	}
	if s.trainers == nil || len(s.trainers) >= maxTrainers {
		s.trainers = map[trainerKey]madeTrainer{}
	}
	made, err := vsb.NewTrainer(key.rateHz, key.offsetHz)
	s.trainers[key] = madeTrainer{made, err}
	return made, err
}

// madeTrainer is a trainer, or why there is none.
type madeTrainer struct {
	trainer *vsb.Trainer
	err     error
}
