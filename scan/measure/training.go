package measure

import (
	"math"

	"rooftone/dsp/ofdm"
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

// bootstrapSeconds is how long a stay must be for a bootstrap that is not found
// to say that there is none: frames are mostly 50 to 250 ms long.
const bootstrapSeconds = 0.25

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
	level := median(out.Density)
	lowest, known := s.lowest[gainKey(out.GainDB)]
	if !known || level < lowest {
		lowest = level
		s.lowest[gainKey(out.GainDB)] = level
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
	quietest := math.Min(s.lowest[gainKey(out.GainDB)], s.quietest)
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
	still.MERdB, still.MERSigmaDB = toDB(signal/density), 10/math.Ln10*sigma/mean
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
	found, err := search.Search(s.kept, -know.ClockPPM*1e-6*c.CenterHz(), reach*1e-6*c.CenterHz()+stationLimitHz)
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
		reach := MaxPPM*1e-6*f.Channel.PilotHz() + pilotErrorHz
		if t, ok := strongest(f, nominal-reach, nominal+reach, DefaultFalseAlarm); ok && math.Abs(t.offsetHz) > toneWidth(f) {
			s.pilotPPM[f.Channel.Number] = (f.Channel.PilotHz()/(out.CenterHz+t.offsetHz) - 1) * 1e6
		}
	}
}

// usualPPM is the median of what the pilots so far say.
func (s *Slicer) usualPPM() float64 {
	var all []float64
	for _, v := range s.pilotPPM {
		all = append(all, v)
	}
	return median(all)
}

// trainedOf returns what the training says of a channel, slice by slice from
// the lower edge up.
func (v *view) trainedOf(c band.Channel) []Trained {
	var out []Trained
	for _, s := range v.slices {
		for _, t := range s.Trained {
			if t.Channel == c {
				out = append(out, t)
			}
		}
	}
	for i := 1; i < len(out); i++ {
		for k := i; k > 0 && out[k].OffsetHz < out[k-1].OffsetHz; k-- {
			out[k], out[k-1] = out[k-1], out[k]
		}
	}
	return out
}

// bootstrapOf says whether a bootstrap was found in a channel in any slice, of
// whatever gain and rate, and whether it was sought for long enough to say that
// there is none.
func bootstrapOf(c band.Channel, slices []*Slice) (found, sought bool) {
	for _, s := range slices {
		for _, b := range s.Bootstraps {
			if b.Channel == c {
				found = found || b.Found
				sought = sought || b.Seconds >= bootstrapSeconds
			}
		}
	}
	return found, sought
}

// errorOf is the density of a training's error on the stitched spectrum's
// scale, in FS²/Hz, and its relative standard uncertainty.
func (v *view) errorOf(c band.Channel, t Trained) (density, relative float64, ok bool) {
	if !(t.ErrorDensity > 0) {
		return 0, 0, false
	}
	// The fit saw the slice as the radio's filters left it.
	return t.ErrorDensity * v.meanLift(c.LowerHz+t.LowHz, c.LowerHz+t.HighHz), t.ErrorSigma / t.ErrorDensity, true
}

// mer fills a Reading's modulation error ratio from its slices: data power and
// error power add up over the slices.
func (m *measurer) mer(r *Reading, trained []Trained) {
	var data, errors, variance float64
	for _, t := range trained {
		r.Moving = r.Moving || t.Moving
		r.SliceMER = append(r.SliceMER, SliceMER{t.OffsetHz, Estimate{t.MERdB, t.MERSigmaDB}})
		if e, relative, ok := m.view.errorOf(r.Channel, t); ok {
			data += e * fromDB(t.MERdB)
			errors += e
			variance += math.Pow(e*relative, 2)
		}
	}
	if errors > 0 {
		r.MER = &Estimate{toDB(data / errors), 10 / math.Ln10 * math.Sqrt(variance) / errors}
	}
}

// Paths are the paths that one channel's slices show together.
type Paths struct {
	Channel band.Channel
	Echoes  []Echo // not nil
	FloorDB float64
}

// pathsShare is how much of the Nyquist bandwidth slices must show together
// before a channel's paths are looked for without waiting for more.
const pathsShare = 0.85

// maxWaiting is how many fits are kept for slices yet to come. Each holds half
// a megabyte until its channel's paths are found.
const maxWaiting = 12

// findPaths looks for the paths of the channels that a slice has just been
// added for, as soon as the slices show enough of them, and lets go of what is
// needed for that.
func (s *Slices) findPaths(added *Slice) {
	for _, t := range added.Trained {
		v := view{slices: s.like(added)}
		if v.pathsOf(t.Channel) != nil {
			t.Forget()
			continue
		}
		trained := v.trainedOf(t.Channel)
		var shown float64
		for _, x := range trained {
			shown += x.HighHz - x.LowHz
		}
		if shown >= pathsShare*vsb.SymbolRateHz/2 {
			if p := findPaths(t.Channel, trained); p != nil {
				added.Paths = append(added.Paths, *p)
			}
			for _, x := range trained {
				x.Forget()
			}
			continue
		}
		s.waiting = append(s.waiting, t.Training)
	}
	for len(s.waiting) > maxWaiting {
		s.waiting[0].Forget()
		s.waiting = s.waiting[1:]
	}
}

// like returns the slices of a slice's gain and rate, itself included.
func (s *Slices) like(x *Slice) []*Slice {
	var out []*Slice
	for _, o := range s.list {
		if gainKey(o.GainDB) == gainKey(x.GainDB) && o.RateHz == x.RateHz {
			out = append(out, o)
		}
	}
	return out
}

// pathsOf returns what was found of a channel's paths, or nil.
func (v *view) pathsOf(c band.Channel) *Paths {
	for _, s := range v.slices {
		for i := range s.Paths {
			if s.Paths[i].Channel == c {
				return &s.Paths[i]
			}
		}
	}
	return nil
}

// findPaths joins the fits of a channel's slices to its paths; nil when no
// slice has one.
func findPaths(c band.Channel, trained []Trained) *Paths {
	var fits []*vsb.Training
	for _, t := range trained {
		fits = append(fits, t.Training)
	}
	profile, err := vsb.Echoes(fits...)
	if err != nil {
		return nil
	}
	out := &Paths{Channel: c, Echoes: []Echo{}, FloorDB: echoFloorDB(trained)}
	const micro = 1e6
	for _, e := range profile.Echoes {
		out.Echoes = append(out.Echoes, Echo{
			DelayUS: Estimate{e.DelaySeconds * micro, e.DelaySigma * micro},
			LevelDB: Estimate{e.LevelDB, e.LevelSigmaDB},
			Merged:  e.Merged,
		})
	}
	return out
}

// echoFloorDB is the level of an echo that stands 12 dB above what noise makes
// of one: each field sync shows a slice's bandwidth times the training's
// duration independent values, of which the strongest path has all.
func echoFloorDB(trained []Trained) float64 {
	const trainingSeconds, standsOutDB = vsb.KnownSymbols / vsb.SymbolRateHz, 12
	var signal float64
	for _, t := range trained {
		signal += fromDB(t.MERdB) * float64(t.Fields) * (t.HighHz - t.LowHz) * trainingSeconds
	}
	return math.Min(0, math.Max(vsb.FaintestEchoDB, standsOutDB-toDB(signal)))
}

const (
	// A slice's error is put down to more than noise when it exceeds the floor
	// by this many standard uncertainties, and by this much.
	standsOutSigma = 3.3
	standsOutDB    = 0.3
)

// under says what stands under a channel: the noise floor, what the training
// left where that is clearly more, or the training alone where the floor is
// known less well.
func (m *measurer) under(r *Reading, noise *floor, trained []Trained) *interference {
	var pieces []errorPiece
	var relatives []float64
	var sum, weight float64
	for _, t := range trained {
		if density, relative, ok := m.view.errorOf(r.Channel, t); ok {
			pieces = append(pieces, errorPiece{t.LowHz, t.HighHz, density})
			relatives = append(relatives, relative)
			sum += density / (relative * relative)
			weight += 1 / (relative * relative)
		}
	}
	if len(pieces) == 0 {
		if noise == nil {
			return nil
		}
		return &interference{floor: noise.density, relative: noise.relative, method: noise.method}
	}
	residual := floor{sum / weight, 1 / math.Sqrt(weight), NoiseTraining}
	if noise == nil {
		noise = &residual
	}
	standsOut := func(density, relative float64) bool {
		excess := density/noise.density - 1
		return excess > standsOutSigma*math.Hypot(relative, noise.relative) && toDB(1+excess) > standsOutDB
	}
	out := &interference{floor: noise.density, relative: noise.relative, method: noise.method}
	evenly := standsOut(residual.density, residual.relative)
	var variance float64
	stands := false
	for i, p := range pieces {
		if evenly || standsOut(p.density, relatives[i]) {
			p.density = math.Max(p.density, noise.density)
			variance += math.Pow(relatives[i]/float64(len(pieces)), 2)
			stands = true
		} else {
			p.density = noise.density
		}
		out.pieces = append(out.pieces, p)
	}
	if stands {
		out.relative = math.Hypot(math.Sqrt(variance), noise.relative)
		return out
	}
	out.pieces = nil
	if residual.relative < noise.relative {
		out.floor, out.relative, out.method = residual.density, residual.relative, NoiseTraining
	}
	return out
}
