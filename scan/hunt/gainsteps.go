package hunt

import (
	"cmp"
	"context"
	"math"
	"slices"
	"time"

	"rooftone/scan/band"
	"rooftone/scan/character"
	"rooftone/scan/examine"
	"rooftone/scan/measure"
	"rooftone/scan/tuner"
)

const (
	// weighDwell is how long a station is listened to at each gain to find what the
	// gains are: shorter than two field syncs are apart, so that nobody takes it for
	// a look at the station.
	weighDwell = 20 * time.Millisecond

	// mostWeights is how many stations are listened to. Each serves from weighUpDB
	// above the gain that it was measured at to weighDownDB below.
	mostWeights, weighUpDB, weighDownDB = 4, 6.5, 26

	// weighLeastDB is what C/N a station needs for that: its pilot stands far higher
	// over the noise.
	weighLeastDB = 3

	// weighHz is how far below a slice's middle its pilot is put: so that a strong
	// neighbour below lies beyond the slice's end.
	weighHz = 850e3
)

// step is one of the radio's gains.
type step struct{ nameDB, realDB, sigmaDB float64 }

// relative is a gain by its name as the radio really has it, linear and relative to
// the highest.
func (s *scene) relative(nameDB float64) float64 { return linear(s.realGain(nameDB) - s.topDB) }

// realGain is what a gain really is, so that the highest is what its name says.
// Between those that were found, names are trusted, and all where none was.
func (s *scene) realGain(nameDB float64) float64 {
	k, found := slices.BinarySearchFunc(s.steps, nameDB, func(x step, name float64) int { return cmp.Compare(x.nameDB, name) })
	switch {
	case len(s.steps) == 0:
		return nameDB
	case found:
		return s.steps[k].realDB
	case k == 0:
		return nameDB + s.steps[0].realDB - s.steps[0].nameDB
	case k == len(s.steps):
		return nameDB + s.steps[k-1].realDB - s.steps[k-1].nameDB
	}
	a, b := s.steps[k-1], s.steps[k]
	t := (nameDB - a.nameDB) / (b.nameDB - a.nameDB)
	return a.realDB + t*(b.realDB-a.realDB)
}

// realSigma is the standard uncertainty of a gain's realGain, relative.
func (s *scene) realSigma(nameDB float64) float64 {
	for _, x := range s.steps {
		if x.nameDB == nameDB {
			return x.sigmaDB * math.Ln10 / 10
		}
	}
	return 0
}

// findGains finds what the radio's gains really are: what an examination of it
// found, or else what stations' pilots say that were heard at several. The names of
// gains are often some dB off, and what a floor that rises with the gain is put
// down to hangs on them.
func (s *scene) findGains(known *character.Character) {
	s.steps = stepsOf(known)
	if s.steps == nil {
		s.steps = s.weighed()
	}
	if len(s.steps) == 0 {
		return
	}
	shift := s.topDB - s.realGain(s.topDB)
	for i := range s.steps {
		s.steps[i].realDB += shift
	}
	for _, x := range s.stays {
		if x.knownGain {
			x.realDB = s.realGain(x.gainDB)
			x.realSigma = s.realSigma(x.gainDB)
		}
	}
}

// stepsOf are the gains of a radio's character, ascending; nil for none.
func stepsOf(c *character.Character) []step {
	if c == nil || c.GainsWork != nil && !*c.GainsWork {
		return nil
	}
	var out []step
	for _, g := range c.Gains {
		if g.RealDB != nil {
			out = append(out, step{g.NameDB, g.RealDB.Value, g.RealDB.Sigma})
		}
	}
	const enough = 3
	if len(out) < enough {
		return nil
	}
	slices.SortFunc(out, func(a, b step) int { return cmp.Compare(a.nameDB, b.nameDB) })
	return out
}

// weighed finds the gains from the pilots that were heard at several.
func (s *scene) weighed() []step {
	if s.survey == nil {
		return nil
	}
	var names []float64
	for _, x := range s.stays {
		if x.knownGain && !slices.Contains(names, x.gainDB) {
			names = append(names, x.gainDB)
		}
	}
	slices.Sort(names)
	var levels []examine.Level
	signals := 0
	ladders := s.ladders()
	for i := range s.survey.Channels {
		r := &s.survey.Channels[i].Reading
		if !isStation(r) || r.Pilot == nil || r.Standard == measure.ATSC3 {
			continue
		}
		for k := range ladders {
			for _, read := range []func(*ladder, *measure.Reading) []weight{s.pilotWeights, s.dataWeights} {
				found := read(&ladders[k], r)
				if len(found) < 2 {
					continue
				}
				for _, w := range found {
					levels = append(levels, examine.Level{Gain: slices.Index(names, w.gainDB), Signal: signals, DB: w.dB, Sigma: w.sigmaDB})
				}
				signals++
			}
		}
	}
	var out []step
	for i, f := range examine.Steps(levels, len(names), signals) {
		if f != nil {
			out = append(out, step{names[i], f.Value, f.Sigma})
		}
	}
	return out
}

// weight is how strong a steady signal is at one gain, at the output.
type weight struct{ gainDB, dB, sigmaDB float64 }

// pilotWeights reads a station's pilot in one ladder.
func (s *scene) pilotWeights(l *ladder, r *measure.Reading) []weight {
	const seen, steady = 10, 0.03 // times its uncertainty; dB
	var out []weight
	for _, x := range l.stays {
		one := ladder{centerHz: l.centerHz, stays: []*stay{x}}
		if v := one.lines(s.topDB, pilotPlace(r)/s.clock, 2*x.stepHz); len(v) > 0 && v[0].value > seen*v[0].sigma {
			out = append(out, weight{x.gainDB, decibel(v[0].value) + x.realDB, math.Hypot(10/math.Ln10*v[0].sigma/v[0].value, steady)})
		}
	}
	return out
}

// dataWeights reads the data beside a station's pilot in one ladder, while they are
// far above the noise, of which it is only known how much it was at one gain.
func (s *scene) dataWeights(l *ladder, r *measure.Reading) []weight {
	const lowHz, highHz, share, steady = 0.2e6, 1.75e6, 0.06, 0.06
	if r.NoiseDBFS == nil || r.GainDB == nil {
		return nil
	}
	low, high := (pilotPlace(r)+lowHz)/s.clock, (pilotPlace(r)+highHz)/s.clock
	var out []weight
	for _, x := range l.stays {
		if x.clipped > railShare || !x.shows(low, high) {
			continue
		}
		// At less gain noise falls by less than the gain does, at more by as much as
		// it grows: half of that is in doubt.
		fall := x.gainDB - *r.GainDB
		noise := linear(r.NoiseDBFS.Value+math.Max(fall/2, fall)) / band.WidthHz
		d := x.floor(low, high)
		if !(d > noise/share) {
			continue
		}
		const half = 0.5
		scatter := 1.25 / math.Sqrt(x.averages*(high-low)/x.stepHz/1.5)
		out = append(out, weight{x.gainDB, decibel(d - noise), math.Hypot(10/math.Ln10*math.Hypot(scatter, half*noise/d), steady)})
	}
	return out
}

// weighGains listens to some stations at the gains that they are fit for, until the
// gains hang together or no station tells of more of them.
func (l *listener) weighGains(ctx context.Context) error {
	if len(l.info.GainsDB) < 2 || l.GainDB != nil || stepsOf(l.Radio) != nil {
		return nil
	}
	clock, _ := clockOf(l.survey.Clock)
	list := l.weighable()
	heard := map[float64]bool{}
	l.what, l.done, l.total = "what the gain steps are", 0, 0
	for range mostWeights {
		next := l.nextWeight(list, heard)
		if next < 0 {
			return nil
		}
		r := list[next]
		list = slices.Delete(list, next, next+1)
		for _, g := range l.fit(r) {
			if err := l.stay(ctx, tuner.Tuning{CenterHz: pilotPlace(r)/clock + weighHz, RateHz: l.RateHz, GainDB: g}, weighDwell); err != nil {
				return err
			}
			if x := l.ear.last(); x != nil && x.clipped <= railShare {
				heard[g] = true
			}
		}
	}
	return nil
}

// weighable are the stations that gains can be found with, those for the highest
// gains first, and of them the clearest.
func (l *listener) weighable() []*measure.Reading {
	var list []*measure.Reading
	for i := range l.survey.Channels {
		r := &l.survey.Channels[i].Reading
		if isStation(r) && r.Standard != measure.ATSC3 && r.Pilot != nil && r.GainDB != nil && r.CN != nil && r.CN.Value > weighLeastDB {
			list = append(list, r)
		}
	}
	slices.SortStableFunc(list, func(a, b *measure.Reading) int {
		return cmp.Or(cmp.Compare(*b.GainDB, *a.GainDB), cmp.Compare(b.CN.Value, a.CN.Value))
	})
	return list
}

// fit are the gains that a station is fit for, the highest first.
func (l *listener) fit(r *measure.Reading) []float64 {
	return slices.DeleteFunc(l.gains(), func(g float64) bool { return g > *r.GainDB+weighUpDB || g < *r.GainDB-weighDownDB })
}

// nextWeight is the station that tells of the most gains not heard so far, and of
// some that were, so that they hang together; −1 for none.
func (l *listener) nextWeight(list []*measure.Reading, heard map[float64]bool) int {
	best, most := -1, 0
	for i, r := range list {
		adds, joins := 0, 0
		for _, g := range l.fit(r) {
			if heard[g] {
				joins++
			} else {
				adds++
			}
		}
		switch {
		case len(heard) == 0 && adds > 0:
			return i
		case joins > 0 && adds > most:
			best, most = i, adds
		}
	}
	return best
}
