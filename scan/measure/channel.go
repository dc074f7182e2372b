package measure

import (
	"math"
	"sort"

	"rooftone/dsp/decibel"
	"rooftone/dsp/psd"
	"rooftone/scan/band"
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
}

// Channels measures channels from slices.
func Channels(slices []*listen.Slice, o Options) Result {
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
	if len(slices) == 0 || len(o.Channels) == 0 {
		return out
	}
	if o.PPM != nil {
		out.Clock = &Clock{PPM: Estimate{Value: *o.PPM}, Given: true}
	} else {
		out.Clock = findClock(slices, o.FalseAlarm)
	}
	scale := 1.0
	if out.Clock != nil {
		scale += out.Clock.PPM.Value * 1e-6
	}
	all := views(slices, o.Channels, scale, roundingPower(o.Source.Datatype))
	for i, v := range all {
		v.stitch(o.Channels)
		m := &measurer{Options: o, slices: slices, view: v, clock: out.Clock}
		for _, c := range m.measure(out.Readings) {
			v.copyInto(all[0], c)
		}
		if i > 0 {
			all[i] = nil // a stitched band is large: only the first is shown
		}
	}
	out.Spectrum, out.SpectrumGainDB = all[0].spectrum, all[0].gainDB
	return out
}

// copyInto puts what v shows of a channel into another view's spectrum, as the
// other's gain would show it.
func (v *view) copyInto(other *view, c band.Channel) {
	from, to := &v.spectrum, &other.spectrum
	if v == other || from.StartHz != to.StartHz || from.StepHz != to.StepHz {
		return
	}
	scale := 1.0
	if !math.IsNaN(v.gainDB) && !math.IsNaN(other.gainDB) {
		scale = decibel.Power(other.gainDB - v.gainDB)
	}
	for i := range to.Density {
		if f := to.At(i); f >= c.LowerHz && f <= c.UpperHz() {
			to.Density[i] = from.Density[i] * scale
		}
	}
}

// measurer fills Readings from one view.
type measurer struct {
	Options
	slices []*listen.Slice // of all views
	view   *view
	clock  *Clock
}

// evidence is what one view shows in one channel before it is judged.
type evidence struct {
	parts []part
	tone  *listen.Tone
	tuned float64 // middle of the slice in which the tone was found
	width float64 // and how near two tones can be told apart there
}

// measure fills the Readings of the channels that the view covers and no
// earlier view did, and returns those channels.
func (m *measurer) measure(readings []Reading) (filled []band.Channel) {
	found := make([]evidence, len(readings))
	quiet := make([]bool, len(readings))
	crude := crudeFloors(m.view.slices)[listen.GainKey(m.view.gainDB)]
	for i := range readings {
		e := &found[i]
		e.parts = m.view.parts(readings[i].Channel)
		m.findTone(readings[i].Channel, e)
		quiet[i] = e.tone == nil || decibel.Of(impliedCN(e.tone.Power, math.Max(crude, e.tone.Density))) < dataShowsDB-3 || !m.inPlace(readings[i].Channel, e)
	}
	floors := m.view.vacantFloors(m.Channels, quiet)
	for i := range readings {
		if r := &readings[i]; !r.Heard() && found[i].parts != nil {
			m.fill(r, &found[i], m.view.noiseOf(r.Channel, floors))
			m.field(r)
			filled = append(filled, r.Channel)
		}
	}
	return filled
}

// findTone looks for the channel's pilot in the slice that shows it best.
func (m *measurer) findTone(c band.Channel, e *evidence) {
	nominal := c.PilotHz()
	reach := listen.PilotErrorHz + listen.MaxPPM*1e-6*nominal
	if m.clock != nil {
		reach = listen.PilotErrorHz
	}
	for _, s := range m.view.slices {
		for i := range s.Fine {
			f := &s.Fine[i]
			if f.Channel != c {
				continue
			}
			middle := nominal/m.view.clock - s.CenterHz
			t, ok := f.Strongest(middle-reach, middle+reach, m.FalseAlarm)
			if ok && (e.tone == nil || t.Power/t.Density > e.tone.Power/e.tone.Density) {
				e.tone, e.tuned, e.width = &t, s.CenterHz, f.ToneWidth()
			}
		}
	}
}

// offset is how far a tone is from the channel's nominal pilot on the
// corrected scale, with its uncertainty.
func (m *measurer) offset(c band.Channel, e *evidence) Estimate {
	sigma := e.tone.SigmaHz
	if m.clock != nil {
		sigma = math.Hypot(sigma, m.clock.PPM.Sigma*1e-6*c.PilotHz())
	}
	return Estimate{(e.tuned+e.tone.OffsetHz)*m.view.clock - c.PilotHz(), sigma}
}

// inPlace reports whether a tone is where a pilot can be.
func (m *measurer) inPlace(c band.Channel, e *evidence) bool {
	if m.clock == nil {
		return true
	}
	o := m.offset(c, e)
	return math.Abs(o.Value) <= listen.StationLimitHz+3*o.Sigma
}

// fill writes one channel's Reading.
func (m *measurer) fill(r *Reading, e *evidence, noise *floor) {
	r.Seen = []band.Span{{LowHz: r.Channel.LowerHz, HighHz: r.Channel.UpperHz()}}
	v := m.view
	if !math.IsNaN(v.gainDB) {
		gain := v.gainDB
		r.GainDB = &gain
	}
	r.ClippedFraction, r.LostSamples = v.health(r.Channel)

	power, relative := v.power(r.Channel)
	r.PowerDBFS = estimateDB(power, relative)
	trained := listen.TrainedOf(v.slices, r.Channel)
	under := m.under(r, noise, trained)
	if noise == nil && under != nil {
		noise = &floor{under.floor, under.relative, NoiseTraining}
	}
	if noise != nil {
		r.NoiseDBFS = estimateDB(noise.density*band.WidthHz, noise.relative)
		r.Noise = noise.method
		r.CNPower = carrierToNoise(power, relative, noise.density*band.WidthHz, noise.relative)
	}
	m.calibrate(r)
	m.pilot(r, e, noise)
	m.judge(r, e, noise)
	bootstrap, sought := bootstrapOf(r.Channel, m.slices)
	switch {
	case len(trained) > 0:
		r.Presence, r.Suspicion, r.Standard = Present, nil, ATSC1
	case bootstrap:
		r.Presence, r.Suspicion, r.Standard = Present, nil, ATSC3
		r.CNPilot = nil
		r.CN = better(r.CNPower, nil)
		return
	case r.Presence == Present:
		r.Standard = ATSC1
	case r.Presence == Unsure && sought:
		r.Standard = OtherStandard
	}
	if r.Presence != Present {
		r.CNPower, r.CNPilot = nil, nil
		return
	}
	r.CN = better(r.CNPower, r.CNPilot)
	m.mer(r, trained)
	paths := listen.PathsOf(v.slices, r.Channel)
	if paths == nil {
		paths = listen.FindPaths(r.Channel, trained)
	}
	if paths != nil {
		r.Echoes, r.EchoFloorDB = echoesOf(paths), &paths.FloorDB
	}
	m.margin(r, under)
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

func (m *measurer) pilot(r *Reading, e *evidence, noise *floor) {
	if e.tone == nil {
		return
	}
	density, relative := e.tone.Density, 0.05
	if noise != nil {
		density, relative = noise.density, noise.relative
	}
	sigma := math.Hypot(e.tone.SigmaDB, 10/math.Ln10*relative)
	r.Pilot = &Pilot{
		OffsetHz:  m.offset(r.Channel, e),
		ToNoise:   Estimate{decibel.Of(e.tone.Power / density), sigma},
		PowerDBFS: decibel.Of(e.tone.Power),
		ImpliedCN: Estimate{decibel.Of(impliedCN(e.tone.Power, density)), math.Hypot(sigma, echoSigmaDB)},
		KnownSpur: knownSpur(e.tuned, e.tone.OffsetHz, e.width, m.Source.Clock.ReferenceHz),
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

// power integrates the channel and returns its relative uncertainty.
func (v *view) power(c band.Channel) (power, relative float64) {
	power, _ = v.spectrum.Power(c.LowerHz, c.UpperHz())
	independent := v.spectrum.Averages * band.WidthHz / v.spectrum.StepHz / 1.5
	return power, math.Hypot(1/math.Sqrt(independent), v.passband.SigmaDB*math.Ln10/10/math.Sqrt(3))
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

// partLevels returns the excess over noise, relative to noise, of the pieces
// of a channel that a station fills, ascending.
func partExcess(parts []part, noise float64) []float64 {
	var out []float64
	for _, p := range parts {
		if p.offsetHz > skirtHz && p.offsetHz < band.WidthHz-skirtHz {
			out = append(out, p.density/noise-1)
		}
	}
	sort.Float64s(out)
	return out
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
