package measure

import (
	"cmp"
	"math"
	"slices"

	"rooftone/dsp/decibel"
	"rooftone/dsp/psd"
	"rooftone/scan/band"
	"rooftone/scan/character"
	"rooftone/scan/listen"
	"rooftone/scan/tuner"
)

const (
	// DefaultThresholdDB is the C/N in 6 MHz at which a typical receiver
	// decodes, ATSC A/74.
	DefaultThresholdDB = 15.2

	// thermalDBm is the noise of a perfect receiver in 6 MHz,
	// FCC OET Bulletin 69, Table 3.
	thermalDBm = -106.2
)

// Calibration is one thing known about the absolute level: one of the first two
// fields is set.
type Calibration struct {
	NoiseFigureDB *float64 // of the radio at the gain in use; its measured floor then gives the level
	FullScaleDBm  *float64 // the level at the antenna input that makes 0 dBFS

	// For the field strength: the antenna's gain over a dipole, nil when it is
	// not known, and what is lost between it and the radio.
	AntennaGainDBd *float64
	LineLossDB     float64
}

// Options say what to make of slices.
type Options struct {
	// Channels are all that may be looked at, ascending in frequency. Those
	// that the slices do not cover are returned as not covered.
	Channels []band.Channel

	PPM         *float64   // the clock error when it is known
	ThresholdDB float64    // 0: DefaultThresholdDB
	FalseAlarm  float64    // 0: DefaultFalseAlarm
	Source      tuner.Info // of the radio or recording
	Calibration *Calibration

	// Controlled says that the radio changed its gain by itself: levels of different
	// stays are then not compared in what is concluded.
	Controlled bool

	// Radio is what an examination of the radio found; nil for nothing.
	Radio *character.Character
}

// Result is what slices say about channels.
type Result struct {
	Clock    *Clock // nil when nothing is known of it
	Readings []Reading

	// Spectrum is shown at SpectrumGainDB, the gain that most slices have (NaN
	// when unknown); what was measured at another gain is moved by the
	// difference.
	Spectrum       psd.Spectrum
	SpectrumGainDB float64

	FalseAlarm  float64
	ThresholdDB float64

	// Misfits are what of Options.Radio does not fit what was heard; in its place
	// is what was heard, or what would be taken without it.
	Misfits []string

	// StrayedHz are the centres of slices that show another place than they are said
	// to, of which nothing is used.
	StrayedHz []float64
}

// Channels measures channels from slices, in whatever order these are.
func Channels(list []*listen.Slice, o Options) Result {
	if o.ThresholdDB == 0 {
		o.ThresholdDB = DefaultThresholdDB
	}
	if o.FalseAlarm == 0 {
		o.FalseAlarm = listen.DefaultFalseAlarm
	}
	out := Result{FalseAlarm: o.FalseAlarm, ThresholdDB: o.ThresholdDB}
	for _, c := range o.Channels {
		out.Readings = append(out.Readings, Reading{Channel: c})
	}
	if len(list) == 0 || len(o.Channels) == 0 {
		return out
	}
	list = busy(list, roundingPower(o.Source.Datatype))
	slices.SortStableFunc(list, func(a, b *listen.Slice) int {
		return cmp.Or(cmp.Compare(a.CenterHz, b.CenterHz), cmp.Compare(a.RateHz, b.RateHz), cmp.Compare(listen.GainKey(a.GainDB), listen.GainKey(b.GainDB)))
	})
	list, out.StrayedHz = withoutStrayed(list, o.Channels)
	all := gather(list, o.Channels, o.FalseAlarm)
	radio := newKnownRadio(o.Radio)
	if o.PPM != nil {
		out.Clock = &Clock{PPM: Estimate{Value: *o.PPM}, Given: true}
	} else {
		out.Clock = radio.findClock(all)
	}
	shown := views(list, occupied(list, all), out.Clock.scale(), roundingPower(o.Source.Datatype), radio)
	for _, v := range shown {
		v.stitch(o.Channels)
		m := &measurer{Options: o, view: v, clock: out.Clock}
		for i, r := range m.measure(all) {
			was := out.Readings[i]
			if !r.Heard() {
				continue
			}
			if tellsMore(&r, &was) {
				out.Readings[i] = r
				v.copyInto(shown[0], r.Channel)
			}
			if was.Presence == Vacant && r.Presence == Vacant {
				// Nothing here at one gain and nothing there at another.
				out.Readings[i].Seen = band.Join(slices.Concat(was.Seen, r.Seen), 2*v.spectrum.StepHz)
			}
		}
		if v != shown[0] {
			v.spectrum.Density, v.lift, v.from, v.folded = nil, nil, nil, nil // a stitched band is large: only the first is shown
		}
	}
	out.Spectrum, out.SpectrumGainDB = shown[0].spectrum, shown[0].gainDB
	if radio != nil {
		out.Misfits = radio.misfits
	}
	for i := range out.Readings {
		if o.Controlled && out.Readings[i].Heard() {
			out.Readings[i].withoutLevels()
		}
	}
	return out
}

// busy returns the slices that fill the converter's steps, or all where none
// does: what a converter makes of less than a step tells nothing of what it was
// given. rounding is the power in FS² that the rounding of busy samples adds.
func busy(list []*listen.Slice, rounding float64) []*listen.Slice {
	const least = 2
	var out []*listen.Slice
	for _, s := range list {
		var power float64
		for _, d := range s.Bridged() { // without the spike, which moves no step
			power += d * s.StepHz
		}
		if power >= least*rounding {
			out = append(out, s)
		}
	}
	if len(out) == 0 {
		out = slices.Clone(list)
	}
	return out
}

// occupied returns the channels in which something stands.
func occupied(list []*listen.Slice, all []evidence) []band.Channel {
	var out []band.Channel
	for i := range all {
		e := &all[i]
		some := e.proven() || unlikeNoise(patternOf(list, e.channel))
		for k := range e.lines {
			some = some || e.mayBePilot(&e.lines[k]) && e.lines[k].dataShare() > quietShare
		}
		if some {
			out = append(out, e.channel)
		}
	}
	return out
}

// tellsMore reports whether a Reading of one view is better than that of an
// earlier one: of a station the one that knows its margin better, otherwise the
// one that saw more.
func tellsMore(r, than *Reading) bool {
	if !than.Heard() {
		return true
	}
	const clearly = 1.02 // the earlier one has more slices around it
	if r.Margin != nil && than.Margin != nil {
		return r.Margin.Sigma*clearly < than.Margin.Sigma
	}
	if (r.Margin != nil) != (than.Margin != nil) {
		return r.Margin != nil
	}
	return r.SeenShare() > than.SeenShare()*clearly
}

// copyInto puts what v shows of a channel into another view's spectrum, as the
// other's gain would show it.
func (v *view) copyInto(other *view, c band.Channel) {
	from, to := &v.spectrum, &other.spectrum
	if v == other {
		return
	}
	scale := 1.0
	if !math.IsNaN(v.gainDB) && !math.IsNaN(other.gainDB) {
		scale = decibel.Power(other.gainDB - v.gainDB)
	}
	for i := range to.Density {
		f := to.At(i)
		k := int(math.Round((f - from.StartHz) / from.StepHz))
		if f >= c.LowerHz && f <= c.UpperHz() && k >= 0 && k < len(from.Density) && !math.IsNaN(from.Density[k]) {
			to.Density[i] = from.Density[k] * scale
		}
	}
}

// measurer makes Readings from one view.
type measurer struct {
	Options
	view  *view
	clock *Clock
}

// viewTone is the likeliest line for a channel's pilot in one view.
type viewTone struct {
	line
	inPlace bool // it is where a pilot can be
}

// measure returns the Readings of the channels; those of which the view shows
// nothing are not heard.
func (m *measurer) measure(all []evidence) []Reading {
	tones := make([]*viewTone, len(all))
	each(len(all), func(i int) { tones[i] = m.findTone(&all[i]) })
	floors := m.view.plainFloors(all, tones)
	out := make([]Reading, len(all))
	each(len(all), func(i int) {
		e := &all[i]
		out[i].Channel = e.channel
		if seen := m.view.seen(e.channel); len(seen) > 0 && len(m.view.parts(e.channel)) > 0 {
			out[i].Seen = seen
			m.fill(&out[i], e, tones[i], m.view.floorOf(e, tones[i], floors), m.view.isPlain(e.channel, floors))
			m.field(&out[i])
		}
	})
	return out
}

// findTone looks for the channel's pilot in the slices of the view: the line
// that stands out most where a pilot can be, or else the one that does anywhere
// near.
func (m *measurer) findTone(e *evidence) *viewTone {
	c := e.channel
	reach := 0.
	if m.clock == nil {
		reach = listen.MaxPPM
	} else if m.clock.Prior {
		reach = 3 * m.clock.PPM.Sigma
	}
	var best *viewTone
	for _, s := range m.view.slices {
		for i := range s.Fine {
			f := &s.Fine[i]
			if f.Channel != c {
				continue
			}
			// The pilot's place by the radio's own clock.
			lines, _ := f.PilotLines(s.CenterHz+c.PilotHz()*(1-1/m.view.clock), reach, m.FalseAlarm)
			for _, t := range lines {
				if t.Power < footRatio*lines[0].Power {
					break // perhaps the foot of a strong one
				}
				if m.clock != nil || m.nearCarrier(e, s, t) {
					best = m.better(c, best, &viewTone{line: line{t, s, f.ToneWidth()}})
				}
			}
		}
	}
	return best
}

// footRatio is the power, relative to the strongest line near a pilot's place,
// below which another may be what that one's phase noise makes.
const footRatio = 0.01

// nearCarrier reports whether a line is where the training says that the carrier
// is; true where there is no training.
func (m *measurer) nearCarrier(e *evidence, s *listen.Slice, t listen.Tone) bool {
	if len(e.trained) == 0 {
		return true
	}
	ppm, sigma := e.carrierClock()
	at := (e.channel.PilotHz()/(s.CenterHz+t.OffsetHz) - 1) * 1e6
	return math.Abs(at-ppm) <= 4*sigma+nearCarrierHz/e.channel.PilotHz()*1e6
}

// better returns the likelier of two lines.
func (m *measurer) better(c band.Channel, a, b *viewTone) *viewTone {
	b.inPlace = m.inPlace(c, b)
	switch {
	case a == nil, b.inPlace && !a.inPlace:
		return b
	case a.inPlace && !b.inPlace:
		return a
	case b.Power/b.Density > a.Power/a.Density:
		return b
	}
	return a
}

// offset is how far a line is from the channel's nominal pilot on the corrected
// scale, with its uncertainty: that of an unknown clock is wide.
func (m *measurer) offset(c band.Channel, l *viewTone) Estimate {
	return Estimate{
		l.hz()*m.view.clock - c.PilotHz(),
		math.Hypot(l.SigmaHz, m.clock.ppmSigma()*1e-6*c.PilotHz()),
	}
}

// inPlace reports whether a line is where a pilot can be.
func (m *measurer) inPlace(c band.Channel, l *viewTone) bool {
	o := m.offset(c, l)
	return math.Abs(o.Value) <= listen.StationLimitHz+3*o.Sigma
}

// fill writes what the view shows of one channel.
func (m *measurer) fill(r *Reading, e *evidence, tone *viewTone, noise *floor, plain bool) {
	v := m.view
	if !math.IsNaN(v.gainDB) {
		gain := v.gainDB
		r.GainDB = &gain
	}
	r.ClippedFraction, r.LostSamples = v.health(r.Channel)
	trained := listen.TrainedOf(v.slices, r.Channel)
	under := m.under(r, noise, trained)
	promised := m.promise(r, trained, under)
	power := v.powerOf(r, e, noise, promised)
	r.PowerDBFS = estimateDB(power.all, power.relative)
	if noise != nil {
		r.NoiseDBFS = estimateDB(noise.density*band.WidthHz, noise.relative)
		r.Noise = noise.method
		r.CNPower = carrierToNoise(power.all, power.relative, noise.density*band.WidthHz, noise.relative)
	}
	m.calibrate(r)
	m.pilot(r, tone, noise)
	m.judge(r, e, tone, noise, plain)
	if r.Presence == Vacant {
		r.CNAtMostDB = m.atMost(r)
	}
	if r.Presence != Present {
		r.CNPower, r.CNPilot = nil, nil
		return
	}
	if r.Standard == ATSC3 {
		r.CNPilot = nil
		r.CN = widened(better(r.CNPower, nil))
		return
	}
	if len(trained) == 0 && apart(r.CNPower, r.CNPilot) {
		// More power than the pilot stands for, and no training that shows a
		// notch at the pilot: part of the power is something else's.
		r.CN = widened(better(r.CNPilot, nil))
	} else {
		r.CN = widened(better(r.CNPower, r.CNPilot))
	}
	m.mer(r, trained)
	paths := listen.PathsOf(v.slices, r.Channel)
	if paths == nil {
		paths = listen.FindPaths(r.Channel, trained)
	}
	if paths != nil {
		r.Echoes, r.EchoFloorDB = echoesOf(paths), &paths.FloorDB
	}
	m.margin(r, under, promised)
	m.response(r, under)
}

// echoesOf returns a channel's echoes in a Reading's units; not nil.
func echoesOf(p *listen.Paths) []Echo {
	const micro = 1e6
	out := []Echo{}
	for _, e := range p.Echoes {
		out = append(out, Echo{
			DelayUS: Estimate{e.DelaySeconds * micro, e.DelaySigma * micro},
			LevelDB: Estimate{e.LevelDB, e.LevelSigmaDB},
			Merged:  e.Merged,
		})
	}
	return out
}

// echoSigmaDB is how far echoes commonly pull the pilot away from the data:
// common practice, no source.
const echoSigmaDB = 2

func (m *measurer) pilot(r *Reading, tone *viewTone, noise *floor) {
	if tone == nil {
		return
	}
	// Without a floor the noise is what stands around the line, of which a
	// station's own data is a part that is taken off as far as it goes.
	density, relative := tone.Density, 0.05
	if noise != nil {
		density, relative = noise.density, noise.relative
	} else if own := tone.Density * (1 - tone.dataShare()/2); own > tone.Density/4 {
		density, relative = own, 0.3
	}
	sigma := math.Hypot(tone.SigmaDB, decibel.PerNeper*relative)
	r.Pilot = &Pilot{
		OffsetHz:  m.offset(r.Channel, tone),
		ToNoise:   Estimate{decibel.Of(tone.Power / density), sigma},
		PowerDBFS: decibel.Of(tone.Power),
		ImpliedCN: Estimate{decibel.Of(impliedCN(tone.Power, density)), math.Hypot(sigma, echoSigmaDB)},
		KnownSpur: cmp.Or(knownSpur(tone.slice.CenterHz, tone.OffsetHz, tone.width, m.Source.Clock.ReferenceHz),
			m.view.radio.ownTone(tone.slice.RateHz, tone.OffsetHz, tone.width)),
	}
	cn := r.Pilot.ImpliedCN
	r.CNPilot = &cn
}

func (m *measurer) calibrate(r *Reading) {
	switch c := m.Calibration; {
	case c == nil:
	case c.FullScaleDBm != nil:
		r.PowerDBm = &Estimate{r.PowerDBFS.Value + *c.FullScaleDBm, r.PowerDBFS.Sigma}
	case c.NoiseFigureDB != nil && r.NoiseDBFS != nil:
		r.PowerDBm = &Estimate{
			r.PowerDBFS.Value - r.NoiseDBFS.Value + thermalDBm + *c.NoiseFigureDB,
			math.Hypot(r.PowerDBFS.Sigma, r.NoiseDBFS.Sigma),
		}
	}
}

// field makes the field strength of a station from the power at the antenna
// input, as FCC OET Bulletin 69 does: what noise adds is taken off, line and
// antenna are put in, and the dipole factor of the channel's middle.
func (m *measurer) field(r *Reading) {
	c := m.Calibration
	if c == nil || c.AntennaGainDBd == nil || r.PowerDBm == nil || r.CN == nil || r.Presence != Present {
		return
	}
	station := r.PowerDBm.Value + r.CN.Value - decibel.Of(1+decibel.Power(r.CN.Value))
	r.FieldDBuVm = &Estimate{
		band.FieldDBuVm(station+c.LineLossDB-*c.AntennaGainDBd, r.Channel.CenterHz()),
		math.Hypot(r.PowerDBm.Sigma, r.CN.Sigma/(1+decibel.Power(r.CN.Value))),
	}
}

// health sums up clipping and loss over the slices that show a channel.
func (v *view) health(c band.Channel) (clipped float64, lost bool) {
	var samples, rails int64
	for _, s := range v.slices {
		half := listen.UsableShare * s.RateHz
		if s.CenterHz+half > c.LowerHz && s.CenterHz-half < c.UpperHz() {
			samples += s.Samples
			rails += s.Clipped
			lost = lost || s.Lost
		}
	}
	if samples == 0 {
		return 0, lost
	}
	return float64(rails) / float64(samples), lost
}

// carrierToNoise is (power − noise)/noise in dB, or nil when the difference
// drowns in its uncertainty.
func carrierToNoise(power, powerRelative, noise, noiseRelative float64) *Estimate {
	r := power/noise - 1
	sigma := power / noise * math.Hypot(powerRelative, noiseRelative)
	if r <= 2*sigma {
		return nil
	}
	return estimateDB(r, sigma/r)
}

func estimateDB(linear, relative float64) *Estimate {
	if !(linear > 0) {
		return nil
	}
	return &Estimate{decibel.Of(linear), 10 / math.Ln10 * relative}
}

// commonSigmaDB is what ways to read one floor are off by alike, which their
// agreeing does not take away: pass bands, folding, a radio's noise that is not flat.
// Found by the spread of 144 channels through the simulated dongle.
const commonSigmaDB = 0.13

// widened is a C/N with that in its uncertainty; nil of nil.
func widened(cn *Estimate) *Estimate {
	if cn == nil {
		return nil
	}
	return &Estimate{cn.Value, math.Hypot(cn.Sigma, commonSigmaDB)}
}

// apart reports whether the first estimate clearly exceeds the second.
func apart(a, b *Estimate) bool {
	return a != nil && b != nil && a.Value-b.Value > 3*math.Hypot(a.Sigma, b.Sigma)
}

func better(a, b *Estimate) *Estimate {
	if a == nil || b != nil && b.Sigma < a.Sigma {
		a = b
	}
	if a == nil {
		return nil
	}
	c := *a
	return &c
}

// roundingPower is the mean square error in FS² that a sample format's rounding
// of I and Q makes: a step squared over twelve each, for any busy input.
func roundingPower(datatype string) float64 {
	if datatype != "cu8" && datatype != "ci8" {
		return 0 // 16 bits and more round far below any radio's noise
	}
	const step = 1 / 127.5
	return 2 * step * step / 12
}
