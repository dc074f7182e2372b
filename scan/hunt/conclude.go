package hunt

import (
	"cmp"
	"fmt"
	"math"
	"slices"

	"rooftone/scan"
	"rooftone/scan/band"
)

// Combination is a sum or difference of strong signals that was found where it
// belongs.
type Combination struct {
	Formula     string // such as "2 × FM 98.1 MHz"
	Order       int
	FrequencyHz float64 // of its middle
	SigmaHz     float64 // its standard uncertainty
	WidthHz     float64
	Services    []string // that its parents belong to
	Channels    []band.Channel
	LevelDBFS   float64 // at the highest gain, all of it
	ToNoiseDB   float64 // in the channel where it is strongest, over the receiver's noise
}

// scene puts in order what was heard so far.
func (l *listener) scene() *scene {
	s := &scene{survey: l.survey, plan: l.Plan, referenceHz: l.info.Clock.ReferenceHz}
	s.clock, s.clockPPM = clockOf(l.survey.Clock)
	if len(l.info.GainsDB) > 0 {
		s.topDB = slices.Max(l.info.GainsDB)
	}
	for _, x := range l.ear.stays {
		y := *x
		y.density = slices.Clone(x.density)
		s.stays = append(s.stays, &y)
		if y.knownGain && len(l.info.GainsDB) == 0 {
			s.topDB = max(s.topDB, y.gainDB)
		}
	}
	flatten(s.stays, l.Plan)
	s.findGains(l.Radio)
	return s
}

// narrow returns the true places of the strongest narrow products that no
// station hides.
func (s *scene) narrow(all []mix, survey *scan.Survey) []float64 {
	var out []float64
	for i := range all {
		m := &all[i]
		if len(out) == mostProducts {
			break
		}
		if m.reach() > narrowHz || s.hidden(m.hz, survey) || slices.ContainsFunc(out, func(o float64) bool { return math.Abs(o-m.hz) < 50e3 }) {
			continue
		}
		out = append(out, m.hz)
	}
	return out
}

// doubtHz is how far off a place may be for want of a known clock.
func (s *scene) doubtHz(hz float64) float64 { return 2 * s.clockPPM.Sigma * 1e-6 * hz }

// narrowHz is the half width up to which a product is looked for as a line.
const narrowHz = 300e3

// hidden reports whether a station stands at a frequency, or nothing that was
// visited.
func (s *scene) hidden(hz float64, survey *scan.Survey) bool {
	for i := range survey.Channels {
		r := &survey.Channels[i].Reading
		if hz >= r.Channel.LowerHz && hz < r.Channel.UpperHz() {
			return isStation(r)
		}
	}
	return true
}

// lineRungs climbs the places of narrow products.
func (s *scene) lineRungs(all []mix, places []float64) []lineRungs {
	var out []lineRungs
	ladders := s.ladders()
	for _, hz := range places {
		reach := 6e3 + s.doubtHz(hz)
		for i := range all {
			if m := &all[i]; math.Abs(m.hz-hz) < 10e3 && m.reach() < narrowHz {
				reach = max(reach, m.reach())
			}
		}
		best := lineRungs{hz: hz}
		for i := range ladders {
			if r := ladders[i].lines(s.topDB, hz/s.clock, reach); len(r) > len(best.rungs) {
				best.rungs = r
			}
		}
		if len(best.rungs) < 2 {
			continue
		}
		best.predict(all, reach)
		out = append(out, best)
	}
	return out
}

// predict sums up what narrow products put within reach of a line.
func (l *lineRungs) predict(all []mix, reachHz float64) {
	for i := range all {
		m := &all[i]
		if m.reach() > narrowHz {
			continue
		}
		p := m.strength * m.share(l.hz-reachHz, l.hz+reachHz)
		if m.order == 2 {
			l.second += p
		} else {
			l.third += p
		}
	}
}

// finding is everything that the front end's part of a hunt has worked out.
type finding struct {
	*scene
	parents []Emitter
	all     []mix
	front   *frontEnd
	rungs   []channelRungs
	lines   []lineRungs
	wanted  []channelAt
}

// conclude makes a Hunt of what was heard.
func (l *listener) conclude(interrupted bool) *Hunt {
	h := &Hunt{Survey: l.survey, Interrupted: interrupted}
	if l.survey == nil {
		h.Survey = &scan.Survey{Source: l.info.Name}
		return h
	}
	s := l.scene()
	f := &finding{scene: s}
	h.Bands = s.find(l.services(), l.Calibration)
	channels := l.channels()
	station := map[int]bool{}
	for i := range l.survey.Channels {
		r := &l.survey.Channels[i].Reading
		station[r.Channel.Number] = isStation(r)
	}
	suspects := l.inside.Suspects(l.survey.Clock, l.readings())
	h.Heard = l.inside.Coverage(l.survey.Clock, l.readings())
	tones := tonesOf(suspects)
	// Twice: what the first time shows to be a product is no parent.
	for range 2 {
		f.parents = s.parents()
		f.all = mixes(f.parents, channels)
		f.lines = s.lineRungs(f.all, s.narrow(f.all, l.survey))
		h.Spurs, h.Own = l.testTones(f, tones)
		f.front, f.rungs = s.climb(channels, func(c band.Channel) bool { return station[c.Number] }, f.parents, f.all, f.lines, levels(l.info.Datatype))
		if f.front == nil || !f.dropProducts() {
			break
		}
	}
	h.Emitters = s.emitter
	gains := l.radioGains(s)
	if f.front != nil {
		f.wanted = slices.DeleteFunc(s.wantedAt(f.front, f.all), func(c channelAt) bool { return !slices.Contains(l.Channels, c.channel) })
		h.Gains = s.gainTest(f.front, f.wanted, gains, f.all, f.parents, l.ThresholdDB)
		h.Products = f.products()
		h.Origins = f.origins()
	}
	suspects = f.reclassify(suspects, h.Spurs, l.info)
	f.oneGain(suspects)
	suspects = append(suspects, f.suspects(h)...)
	h.Suspects = l.order(f, suspects)
	h.Fall = l.faller.choose(h.Suspects, s.clock)
	h.Missing = l.missing(s, h, tones)
	l.trimSurvey()
	h.Heard = slices.DeleteFunc(h.Heard, func(c Coverage) bool { return !slices.Contains(l.Channels, c.Channel) })
	return h
}

// dropProducts leaves out the emitters that are products of others, and
// reports whether there were any.
func (f *finding) dropProducts() bool {
	wide := mixesWhere(f.parents, func(low, high float64) bool {
		return slices.ContainsFunc(f.emitter, func(e Emitter) bool { return high > e.LowHz && low < e.HighHz })
	})
	isProduct := func(e Emitter) bool {
		x := f.best(e.middleHz()-pieceHz/2, e.middleHz()+pieceHz/2)
		if x == nil || e.Service == television && f.surelyStation(&e) {
			return false
		}
		gain := linear(x.realDB - f.topDB)
		var made float64
		for i := range wide {
			m := &wide[i]
			if slices.ContainsFunc(m.parents, func(p int) bool { return f.parents[p].Name == e.Name }) {
				continue
			}
			share := m.share(e.LowHz, e.HighHz)
			if m.order == 2 {
				made += f.front.second * m.strength * share * gain
			} else {
				made += f.front.third * m.strength * share * gain * gain
			}
		}
		const part = 0.25 // the prediction is good to a few dB
		return made > part*e.power
	}
	before := len(f.emitter)
	f.emitter = slices.DeleteFunc(f.emitter, isProduct)
	return len(f.emitter) < before
}

// surelyStation reports whether an emitter in a television channel was proven
// to be a station.
func (f *finding) surelyStation(e *Emitter) bool {
	for i := range f.survey.Channels {
		if r := &f.survey.Channels[i].Reading; e.middleHz() > r.Channel.LowerHz && e.middleHz() < r.Channel.UpperHz() {
			return isStation(r)
		}
	}
	return false
}

// radioGains are the gains to choose from: the radio's, or those that a
// recording was made with.
func (l *listener) radioGains(s *scene) []float64 {
	if len(l.info.GainsDB) > 0 {
		return l.gains()
	}
	var out []float64
	for _, x := range s.stays {
		if x.knownGain && !slices.Contains(out, x.gainDB) {
			out = append(out, x.gainDB)
		}
	}
	slices.Sort(out)
	slices.Reverse(out)
	return out
}

// trimSurvey leaves the wanted channels in the survey.
func (l *listener) trimSurvey() {
	l.survey.Channels = slices.DeleteFunc(l.survey.Channels, func(c scan.Channel) bool { return !slices.Contains(l.Channels, c.Channel) })
}

// products lists those that stand out where the intercepts put them.
func (f *finding) products() []Combination {
	var out []Combination
	for i := range f.all {
		m := &f.all[i]
		power := f.front.second * m.strength
		if m.order == 3 {
			power = f.front.third * m.strength
		}
		if power == 0 {
			continue
		}
		p := Combination{
			Formula: m.formula(f.parents), Order: m.order, FrequencyHz: m.hz, SigmaHz: m.sigmaHz(f.parents), WidthHz: 2 * m.reach(),
			Services: m.services(f.parents), LevelDBFS: decibel(power) + f.topDB, ToNoiseDB: math.Inf(-1),
		}
		for _, c := range f.channels() {
			share := m.share(c.LowerHz, c.UpperHz())
			if share <= 0.01 {
				continue
			}
			p.Channels = append(p.Channels, c)
			p.ToNoiseDB = max(p.ToNoiseDB, decibel(power*share/(f.front.noise(c.CenterHz(), 1)*band.WidthHz)))
		}
		const showsDB = -13 // a twentieth of the noise
		if p.ToNoiseDB > showsDB {
			out = append(out, p)
		}
	}
	slices.SortStableFunc(out, func(a, b Combination) int { return cmp.Compare(b.ToNoiseDB, a.ToNoiseDB) })
	return out[:min(len(out), 60)]
}

func (f *finding) channels() []band.Channel {
	var out []band.Channel
	for i := range f.survey.Channels {
		out = append(out, f.survey.Channels[i].Channel)
	}
	return out
}

// made is the power that the receiver's products put in a channel at the
// highest gain, over its noise there; only says for which products.
func (f *finding) made(c band.Channel, gain float64, only func(*mix) bool) float64 {
	if f.front == nil {
		return 0
	}
	var sum float64
	for i := range f.all {
		m := &f.all[i]
		if only != nil && !only(m) || m.hz+m.reach() < c.LowerHz || m.hz-m.reach() > c.UpperHz() {
			continue
		}
		share := m.share(c.LowerHz, c.UpperHz())
		if m.order == 2 {
			sum += f.front.second * m.strength * share * gain
		} else {
			sum += f.front.third * m.strength * share * gain * gain
		}
	}
	return sum / (f.front.noise(c.CenterHz(), gain) * band.WidthHz)
}

// missing says what could not be done.
func (l *listener) missing(s *scene, h *Hunt, tones []Suspect) []string {
	if h.Interrupted {
		return []string{"the hunt ended before all was heard"}
	}
	var out []string
	if len(s.ladders()) == 0 {
		what := "the gain-step test wants a radio with more than one gain"
		if l.tuner == nil {
			what = "the recording holds one gain only: the gain-step test, which tells stations from what the receiver makes of them, wants the radio, or a recording that rooftone hunt --keep has made"
		}
		out = append(out, what)
	} else if h.Gains == nil {
		out = append(out, "no channel was vacant enough to read the receiver's own noise in: name some vacant channels too")
	}
	heard := false
	for _, b := range h.Bands {
		if b.Covered > 0.5 && b.StrongestHz >= 0 {
			if _, known := band.ServiceAt((b.LowHz + b.HighHz) / 2); known {
				heard = true
			}
		}
	}
	if !heard {
		out = append(out, "nothing outside the television channels was heard, so what is strong there is not known")
	}
	switch {
	case len(tones) == 0:
	case l.tuner == nil && len(h.Spurs) == 0:
		out = append(out, "whether a tone moves with the tuning, or stays without an antenna, cannot be asked of a recording")
	case l.tuner == nil:
		out = append(out, "whether a tone stays without an antenna cannot be asked of a recording")
	case l.Terminate == nil:
		out = append(out, fmt.Sprintf("%d tones were not compared with the antenna off: add --terminator", len(tones)))
	}
	return out
}
