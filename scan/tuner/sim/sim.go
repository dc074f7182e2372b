package sim

import (
	"context"
	"errors"
	"fmt"
	"math"
	"slices"
	"time"

	"rooftone/dsp/air"
	"rooftone/dsp/vsb/coding"
	"rooftone/scan/tuner"
)

// Options is how a town is listened to.
type Options struct {
	// RealTime lets the samples come no faster than a radio's. A reader who
	// is more than a quarter of a second late has lost what the radio had no
	// room for.
	RealTime bool

	// Unsettled has Tune return at once, so that the samples of the settling
	// time are seen.
	Unsettled bool

	// PPM and Seed, when not nil, stand for the town's.
	PPM  *float64
	Seed *uint64

	// BearingDeg, when not nil, turns the town's antenna there. A town without
	// an antenna hears all bearings alike.
	BearingDeg *float64

	// GainsDB, when not nil, are the gain steps, ascending, of a radio that has
	// others than Gains.
	GainsDB []float64

	// Epoch is the time of the first sample; zero is a date of our own.
	Epoch time.Time
}

// frame is how many samples are made at once.
const frame = 4096

// Tuner is a simulated dongle. It is a tuner.Tuner.
type Tuner struct {
	town      Town
	antenna   *Antenna // the town's, as it is now; nil for none
	info      tuner.Info
	options   Options
	gains     []float64 // by their names
	real      []float64 // what they really are, dB
	emitters  []emitter
	stations  []*station
	rounding  *air.Quantiser // nil rounds nothing
	imbalance air.Imbalance

	gain   float64
	tuning tuner.Tuning
	stays  uint64 // how many tunings there were

	stay    slice
	heard   *slice // the stay as the layers know it
	layers  []layer
	own     []layer     // the radio's own tones
	filter  *air.FIR    // plain filters, nil of others
	hiss    *air.Shaper // the noise behind the others
	noise   *air.Noise
	dc      complex64
	mixer   oscillator
	control *control // nil is none
	limit   float64  // air.Compress's, 0 is none
	passed  float64  // seconds of settling that were passed over before the stay began
	unsure  float64  // seconds at the stay's beginning for which samples are wrong
	jump    float64  // how far the oscillator came from, Hz
	ready   []complex64
	framed  int64 // frames made in this stay
	lost    int64 // samples that were lost in this stay without a word
	samples [frame]complex64

	began  float64   // virtual seconds at which the stay began
	read   int64     // samples of it that were read or lost
	wall   time.Time // real time: when the radio's own time was 0
	closed bool
	waited float64 // seconds of its time that pass before the next tuning

	terminated bool // nothing but a resistor at the antenna socket
}

var _ tuner.Tuner = (*Tuner)(nil)

// New opens a town. What the town's lists hold must not change while it is open.
func New(town Town, options Options) (*Tuner, error) {
	if town.Radio == (Radio{}) {
		town.Radio = DefaultRadio()
	}
	if options.PPM != nil {
		town.Radio.PPM = *options.PPM
	}
	if options.Seed != nil {
		town.Radio.Seed = *options.Seed
	}
	if options.Epoch.IsZero() {
		options.Epoch = time.Date(2026, time.March, 14, 9, 30, 0, 0, time.UTC)
	}
	if err := town.Validate(); err != nil {
		return nil, fmt.Errorf("opening the simulated town: %w", err)
	}
	t := &Tuner{town: town, options: options, gains: Gains(), noise: air.NewNoise(0)}
	if town.Antenna != nil {
		a := *town.Antenna // Rotate changes it
		if options.BearingDeg != nil {
			a.BearingDeg = math.Mod(*options.BearingDeg, 360)
		}
		t.antenna = &a
	}
	if len(options.GainsDB) > 0 {
		t.gains = options.GainsDB
	}
	t.gain = t.gains[len(t.gains)-1]
	t.real = town.Radio.realGains(t.gains)
	if town.Radio.AGC {
		t.control = &control{}
	}
	t.info = tuner.Info{
		Name: "sim:" + town.Name, Datatype: datatype(town.Radio.Bits), GainsDB: slices.Clone(t.gains),
		Clock: tuner.ClockSource{ReferenceHz: ReferenceHz, MaxPPM: 60},
	}
	if town.Radio.Bits > 0 {
		q, err := air.NewQuantiser(town.Radio.Bits)
		if err != nil {
			return nil, fmt.Errorf("opening the simulated town: %w", err)
		}
		t.rounding = q
	}
	if err := t.populate(); err != nil {
		return nil, fmt.Errorf("opening the simulated town: %w", err)
	}
	return t, nil
}

// datatype names the smallest of SigMF's types that holds so many bits.
func datatype(bits int) string {
	switch {
	case bits == 0:
		return "cf32_le"
	case bits <= 8:
		return "cu8"
	}
	return "ci16_le"
}

// populate makes the emitters of all that the radio can hear.
func (t *Tuner) populate() error {
	t.emitters, t.stations = nil, nil
	if !t.terminated {
		if err := t.populateAir(); err != nil {
			return err
		}
	}
	for _, spur := range t.town.Radio.spurs() {
		spur.LevelDBm -= t.amplifiedDB()
		t.emitters = append(t.emitters, spur)
	}
	return nil
}

// populateAir makes the emitters of what comes from the antenna.
func (t *Tuner) populateAir() error {
	seed := t.town.Radio.Seed
	playout := coding.NewPlayout()
	for i, s := range t.town.Stations {
		e, err := newStation(s, air.Seed(seed, 1, uint64(i)), playout, t.options.Epoch)
		if err != nil {
			return err
		}
		e.antenna, e.now = t.antenna, t.now
		e.suffer(t.town.Losses)
		t.stations = append(t.stations, e)
		t.emitters = append(t.emitters, e)
	}
	for _, s := range t.town.Tones {
		t.emitters = append(t.emitters, tone{Tone: s})
	}
	for i, s := range t.town.Services {
		if own := air.Seed(seed, 2, uint64(i)); s.Kind == "lte" {
			t.emitters = append(t.emitters, block{s, own})
		} else {
			t.emitters = append(t.emitters, newCarrier(s, own))
		}
	}
	for i, s := range t.town.Impulses {
		t.emitters = append(t.emitters, impulses{s, air.Seed(seed, 3, uint64(i))})
	}
	return nil
}

// Info implements tuner.Tuner.
func (t *Tuner) Info() tuner.Info { return t.info }

// Town returns what the tuner listens to.
func (t *Tuner) Town() Town { return t.town }

// Elapsed returns the radio's own time since it was opened: what was read, what
// was lost and what was spent on settling.
func (t *Tuner) Elapsed() time.Duration { return seconds(t.now()) }

func (t *Tuner) now() float64 {
	if t.stay.rateHz == 0 {
		return t.began
	}
	return t.began + float64(t.read)/t.stay.rateHz
}

func seconds(s float64) time.Duration { return time.Duration(math.Round(s * 1e9)) }

var errClosed = errors.New("the simulated radio is closed")

// Tune implements tuner.Tuner. It takes Radio.SettleMS of the radio's time.
func (t *Tuner) Tune(ctx context.Context, to tuner.Tuning) error {
	if err := t.tune(ctx, to); err != nil {
		return fmt.Errorf("tuning %s to %.6f MHz: %w", t.info.Name, to.CenterHz/1e6, err)
	}
	return nil
}

func (t *Tuner) tune(ctx context.Context, to tuner.Tuning) error {
	if t.closed {
		return errClosed
	}
	if err := ctx.Err(); err != nil {
		return err
	}
	if !(to.CenterHz >= lowestHz && to.CenterHz <= highestHz) {
		return fmt.Errorf("the radio reaches from %g to %g MHz", lowestHz/1e6, highestHz/1e6)
	}
	rate, err := t.town.Radio.rate(to.RateHz)
	if err != nil {
		return err
	}
	gain := t.gain
	if !math.IsNaN(to.GainDB) {
		gain = nearest(t.gains, to.GainDB)
	}
	now, settles := t.now()+t.idle()+t.waited, t.settles(rate)
	t.began, t.read, t.waited = now, 0, 0
	if err := t.open(tuner.Tuning{CenterHz: to.CenterHz, RateHz: rate, GainDB: gain}); err != nil {
		return err
	}
	t.passed, t.unsure = 0, settles
	if !t.options.Unsettled {
		t.passed = t.town.Radio.SettleMS / 1e3
		t.began, t.unsure = now+t.passed, settles-t.passed
	}
	return t.pace(ctx, t.began)
}

func nearest(steps []float64, want float64) float64 {
	best := steps[0]
	for _, g := range steps {
		if math.Abs(g-want) < math.Abs(best-want) {
			best = g
		}
	}
	return best
}

// open begins a stay.
func (t *Tuner) open(to tuner.Tuning) error {
	r := &t.town.Radio
	s := t.slice(to.CenterHz, to.RateHz, to.GainDB)
	s.seed = air.Seed(r.Seed, 4, t.stays)
	locked := r.locks(to.CenterHz)
	if !locked {
		s.centerHz += r.strayedHz(to.CenterHz)
	}
	heard := s // its rate goes with the clock
	layers, own, err := t.layersOf(&heard, to.GainDB)
	if err != nil {
		return err
	}
	if err := t.openFront(&s); err != nil {
		return err
	}
	t.jump = s.rateHz / 2
	if t.stays > 0 && to.RateHz == t.tuning.RateHz {
		t.jump = math.Max(-s.rateHz/2, math.Min(s.rateHz/2, t.stay.centerHz-s.centerHz))
	}
	t.stay, t.heard, t.layers, t.own, t.tuning, t.gain = s, &heard, layers, own, to, to.GainDB
	t.stays++
	t.noise.Seed(air.Seed(s.seed, 5))
	// Neither the oscillator nor the converter's offset comes back as it was.
	t.mixer.open(s.seed, r, s.rateHz, locked)
	t.dc = r.directCurrent(s.seed)
	t.imbalance = r.imbalance(s.centerHz)
	t.limit = 0
	if r.IIP3DBm != nil {
		// On the samples' scale the intercept does not move with the gain.
		t.limit = air.Power(*r.IIP3DBm + r.interceptDB(s.centerHz) - r.FullScaleDBm)
	}
	t.ready, t.framed, t.lost = nil, 0, 0
	return nil
}

// layersOf returns what is heard in a slice, and the radio's own tones in it.
func (t *Tuner) layersOf(s *slice, gainDB float64) (layers, own []layer, err error) {
	heard := append(t.products(s, gainDB), t.emitters...)
	if beat := t.town.Radio.BeatDBFS; beat != nil {
		heard = append(heard, tone{own: true, Tone: Tone{
			FrequencyHz: (s.centerHz + beatHz) / s.warmed, LevelDBm: *beat - air.DB(s.scale*s.scale),
		}})
	}
	for _, e := range heard {
		l, err := e.open(s)
		if err != nil {
			return nil, nil, err
		}
		if l == nil {
			continue
		}
		if radios, ok := e.(tone); ok && radios.own {
			own = append(own, l)
		} else {
			layers = append(layers, l)
		}
	}
	return layers, own, nil
}

// Read implements tuner.Tuner.
func (t *Tuner) Read(ctx context.Context, dst []complex64) (tuner.Block, error) {
	if t.closed {
		return tuner.Block{}, fmt.Errorf("reading %s: %w", t.info.Name, errClosed)
	}
	if t.stays == 0 {
		return tuner.Block{}, fmt.Errorf("reading %s: it was not tuned", t.info.Name)
	}
	lost := t.catchUp()
	b := tuner.Block{
		CenterHz: t.tuning.CenterHz, RateHz: t.tuning.RateHz, GainDB: t.gain,
		Start: t.options.Epoch.Add(t.Elapsed()), Lost: lost,
	}
	var err error
	n := 0
	for n < len(dst) {
		if err = ctx.Err(); err != nil {
			break
		}
		if len(t.ready) == 0 {
			if err = t.make(); err != nil {
				break
			}
		}
		got := copy(dst[n:], t.ready)
		b.Clipped += clipped(t.ready[:got])
		t.ready = t.ready[got:]
		n += got
		t.read += int64(got)
	}
	if err == nil {
		err = t.pace(ctx, t.now())
	}
	b.Samples = dst[:n]
	if err != nil {
		err = fmt.Errorf("reading %s: %w", t.info.Name, err)
	}
	return b, err
}

// clipped counts the samples that have I or Q on a rail.
func clipped(x []complex64) (n int) {
	for _, z := range x {
		if re, im := real(z), imag(z); re >= 1 || re <= -1 || im >= 1 || im <= -1 {
			n++
		}
	}
	return n
}

// make makes the next frame of the stay.
func (t *Tuner) make() error {
	x := t.samples[:]
	gap := t.loses()
	t.lost += gap
	t.read += gap
	from := float64(t.framed*frame+t.lost) / t.stay.rateHz
	if err := t.hear(x, from); err != nil {
		return err
	}
	if err := t.digitise(x, from); err != nil {
		return err
	}
	t.framed++
	t.ready = x
	return nil
}

// hear sets x to what comes out of the radio's front end from a time after the
// stay's beginning.
func (t *Tuner) hear(x []complex64, from float64) error {
	clear(x)
	r := &t.town.Radio
	at := t.began + from - r.gained(t.began, from)
	t.heard.rateHz = t.stay.rateHz * (1 + (r.ppm(t.began+from)-r.ppm(t.began))*1e-6)
	for _, l := range t.layers {
		if err := l.add(x, at); err != nil {
			return err
		}
	}
	if from < t.unsure {
		t.settling(x, from)
	}
	if t.stay.band == nil {
		t.noise.Add(x, t.stay.noise)
	} else if err := t.hiss.Add(x); err != nil {
		return err
	}
	if t.limit > 0 {
		air.Compress(x, t.limit)
	}
	return nil
}

// settling does to x what the oscillator does before it has settled: for the
// first tenth of the time nothing comes through, and its frequency runs to its
// place along an exponential of a sixteenth of the time.
func (t *Tuner) settling(x []complex64, from float64) {
	whole := t.passed + t.unsure
	constant := whole / 16
	for k := range x {
		at := from + t.passed + float64(k)/t.stay.rateHz
		if at < whole/10 {
			x[k] = 0
			continue
		}
		x[k] *= complex64(turn(t.jump * constant * (1 - math.Exp(-at/constant))))
	}
}

// digitise does to x what follows the front end, from a time after the stay's
// beginning.
func (t *Tuner) digitise(x []complex64, from float64) error {
	t.mix(x, from)
	if t.filter != nil {
		t.filter.Apply(x)
	}
	for _, l := range t.own {
		if err := l.add(x, t.began+from); err != nil {
			return err
		}
	}
	if t.imbalance != (air.Imbalance{}) {
		t.imbalance.Apply(x)
	}
	if t.dc != 0 {
		air.Offset(x, t.dc)
	}
	if t.control != nil {
		t.control.apply(x)
	}
	if t.rounding != nil {
		t.rounding.Apply(x)
	}
	return nil
}

// mix turns x by what the oscillator's phase is, and what it has gained since
// the stay began with the crystal.
func (t *Tuner) mix(x []complex64, from float64) {
	r := &t.town.Radio
	if t.mixer.steady() && r.WarmUpPPM == 0 {
		turned := complex64(t.mixer.turn)
		for k := range x {
			x[k] *= turned
		}
		return
	}
	to := from + float64(len(x))/t.stay.rateHz
	t.mixer.apply(x, t.stay.rateHz, t.stay.centerHz*r.gained(t.began, from), t.stay.centerHz*r.gained(t.began, to))
}

// Close implements tuner.Tuner.
func (t *Tuner) Close() error {
	t.closed = true
	return nil
}
