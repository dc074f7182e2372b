package hunt

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"math"
	"slices"
	"time"

	"rooftone/scan"
	"rooftone/scan/band"
	"rooftone/scan/character"
	"rooftone/scan/listen"
	"rooftone/scan/measure"
	"rooftone/scan/tuner"
)

const (
	defaultRateHz = 2.4e6

	// outsideDwell is how long each slice outside the wanted channels is
	// listened to, stepDwell each rung of the gain-step test, and spurDwell
	// each second look at a tone.
	outsideDwell = 20 * time.Millisecond
	stepDwell    = 40 * time.Millisecond
	spurDwell    = 60 * time.Millisecond

	// asideHz is how far the radio is tuned aside to see whether a tone moves
	// with it, and withoutHz how far when its antenna is off.
	asideHz, withoutHz = 363e3, 330e3

	// Bounds of what is looked at again.
	mostTones, mostProducts, mostLadders = 16, 12, 45
)

// Options says where to hunt and how. The zero value of a field asks for its
// default.
type Options struct {
	Channels []band.Channel // the wanted ones, ascending in frequency
	Plan     []band.Channel // all that hold television here

	Dwell       time.Duration // in the wanted channels; 0: InsideDwell
	RateHz      float64       // of a radio; 0: 2.4 MS/s
	GainDB      *float64      // of a radio, for the wanted channels; nil: as high as each allows
	PPM         *float64
	ThresholdDB float64
	Calibration *measure.Calibration

	// Radio is what an examination of the radio found; nil for nothing. Its gain
	// steps are then not looked for.
	Radio *character.Character

	// Services are the ones to listen to outside the channels; nil: all that are
	// known, but for what lies within television's own channels.
	Services []band.Service

	// Reach has all that the radio reaches looked at, not only the services
	// that are known to be strong.
	Reach bool

	// Terminate, when not nil, is called when all else was heard: it has the
	// antenna taken off and returns when that is done. What is still there is
	// the radio's own.
	Terminate func(context.Context) error

	// Fall asks for a Fall of the stay that shows the first suspect.
	Fall bool

	// Progress, when not nil, is told before every stay what is being done,
	// how many stays are done and how many there will be, 0 when not known.
	Progress func(what string, done, total int)

	// Keep, when not nil, is handed all that is heard with the antenna on, as
	// in scan.Options.
	Keep func(b tuner.Block, newStay bool) error
}

// Hunt is what was found.
type Hunt struct {
	Survey   *scan.Survey  // of the wanted channels
	Heard    []Coverage    // which parts of them were looked into
	Suspects []Suspect     // in order of harm
	Bands    []Band        // ascending in frequency
	Emitters []Emitter     // the strongest first
	Gains    *GainTest     // nil when there was nothing to tell it from
	Products []Combination // the strongest first
	Origins  []Origin      // of what stands in each channel that was stepped through
	Spurs    []SpurTest    // what second looks at tones told
	Fall     *Fall         // nil when it was not asked for, or nothing was heard
	Own      []float64     // true Hz of tones that stay without an antenna; nil without that test

	Missing     []string // what could not be done, and what would let it be
	Interrupted bool
}

// Listen hunts with a radio. When the context ends or the radio fails it
// returns what was found by then; only the latter is an error.
func Listen(ctx context.Context, t tuner.Tuner, o Options) (*Hunt, error) {
	if o.RateHz == 0 {
		o.RateHz = scan.NarrowRate(t)
	}
	l := newListener(o, t.Info())
	l.tuner = t
	l.relay = newRelay(l.info)
	surveyed := l.surveyAll(ctx)
	err := l.listen(ctx)
	l.relay.stop()
	l.survey = <-surveyed
	l.survey.Interrupted = l.survey.Interrupted || err != nil
	h := l.conclude(err != nil)
	if ctx.Err() != nil {
		err = nil
	}
	return h, err
}

func newListener(o Options, info tuner.Info) *listener {
	o.fill()
	l := &listener{Options: o, info: info}
	l.inside = NewInside(scan.Company(o.Channels, o.Plan), info)
	l.inside.ThresholdDB, l.inside.Radio = o.ThresholdDB, o.Radio
	return l
}

// surveyOptions are those of the survey that is concluded from.
func (l *listener) surveyOptions() scan.Options {
	return scan.Options{
		Channels: scan.Company(l.Channels, l.Plan), Plan: l.Plan,
		PPM: l.PPM, ThresholdDB: l.ThresholdDB, Calibration: l.Calibration, Radio: l.Radio,
	}
}

// surveyAll measures the channels from all that is relayed, not only from the
// visit that the hunt begins with: what a recording of the hunt says, live.
func (l *listener) surveyAll(ctx context.Context) <-chan *scan.Survey {
	out := make(chan *scan.Survey, 1)
	go func() {
		defer l.relay.Close()
		// What was heard by the end of the context counts. A relay does not fail;
		// a stay that cannot be measured ends the survey, not the hunt.
		s, _ := scan.SweepPlaylist(context.WithoutCancel(ctx), newSieve(l.relay, l.Plan), l.surveyOptions())
		out <- s
	}()
	return out
}

func (o *Options) fill() {
	if o.RateHz == 0 {
		o.RateHz = defaultRateHz
	}
	if o.Dwell == 0 {
		o.Dwell = time.Duration(InsideDwell * float64(time.Second))
	}
	if o.ThresholdDB == 0 {
		o.ThresholdDB = measure.DefaultThresholdDB
	}
}

// listener is a hunt under way.
type listener struct {
	Options
	tuner  tuner.Tuner // nil when playing a recording
	info   tuner.Info
	inside *Inside
	ear    ear
	faller faller
	relay  *relay       // nil when playing a recording
	survey *scan.Survey // of what was heard so far
	tones  []Suspect    // those that are looked at again
	buffer []complex64
	done   int
	what   string
	total  int
}

// listen does all that wants the radio.
func (l *listener) listen(ctx context.Context) error {
	var err error
	l.survey, err = scan.SweepTuner(ctx, l.tuner, scan.Options{
		Channels: scan.Company(l.Channels, l.Plan), Plan: l.Plan, RateHz: l.RateHz, Dwell: l.Dwell,
		GainDB: l.GainDB, PPM: l.PPM, ThresholdDB: l.ThresholdDB, Calibration: l.Calibration, Radio: l.Radio,
		Progress: func(done, total int, _ float64) {
			l.done = done
			if l.Progress != nil {
				l.Progress("the wanted channels", done, total)
			}
		},
		Keep: l.take,
	})
	if err != nil || l.survey.Interrupted {
		return stopped(ctx, err)
	}
	l.what = "what the middle of a slice hid"
	for _, w := range l.inside.Wants() {
		// From the one side or the other, where a strong neighbour drives the
		// converter to its rails: what that makes is not in the channel.
		for _, aside := range []float64{0, -2 * (listen.UsableShare*w.RateHz - 50e3)} {
			to := w
			to.CenterHz += aside
			if err := l.stay(ctx, to, l.Dwell); err != nil {
				return err
			}
			if x := l.ear.last(); x == nil || x.clipped <= railShare {
				break
			}
		}
	}
	if err := l.outside(ctx); err != nil {
		return err
	}
	if err := l.weighGains(ctx); err != nil {
		return err
	}
	if err := l.steps(ctx); err != nil {
		return err
	}
	return l.secondLooks(ctx)
}

// stopped returns why a visit ended early.
func stopped(ctx context.Context, err error) error {
	if err == nil {
		err = ctx.Err()
	}
	if err == nil {
		err = errors.New("the visit ended early")
	}
	return err
}

// take keeps a block of a stay. With the antenna off it says something of the
// radio's own tones alone.
func (l *listener) take(b tuner.Block, newStay bool) error {
	if err := l.ear.keep(b, newStay); err != nil {
		return fmt.Errorf("preparing the spectrum of a slice: %w", err)
	}
	if l.ear.off {
		return nil
	}
	if err := l.inside.Keep(b, newStay); err != nil {
		return err
	}
	if l.Fall {
		if err := l.faller.keep(b, newStay); err != nil {
			return fmt.Errorf("preparing a waterfall: %w", err)
		}
	}
	if l.relay != nil {
		l.relay.add(b, newStay)
	}
	if l.Keep != nil {
		return l.Keep(b, newStay)
	}
	return nil
}

// stay listens at one tuning.
func (l *listener) stay(ctx context.Context, to tuner.Tuning, dwell time.Duration) error {
	if l.Progress != nil {
		l.Progress(l.what, l.done, l.total)
	}
	l.done++
	if err := l.tuner.Tune(ctx, to); err != nil {
		return fmt.Errorf("tuning to %.3f MHz: %w", to.CenterHz/1e6, err)
	}
	n := int(dwell.Seconds() * to.RateHz)
	if cap(l.buffer) < n {
		l.buffer = make([]complex64, n)
	}
	b, err := l.tuner.Read(ctx, l.buffer[:n])
	if err != nil {
		return fmt.Errorf("listening at %.3f MHz: %w", to.CenterHz/1e6, err)
	}
	if err := l.take(b, true); err != nil {
		return err
	}
	l.ear.end()
	return nil
}

// services are what is looked at outside the channels.
func (l *listener) services() []band.Service {
	known := l.Services
	if known == nil {
		known = band.Services()
	}
	all := slices.DeleteFunc(slices.Clone(known), func(s band.Service) bool {
		return l.television(s.LowHz) && l.television(s.HighHz-1)
	})
	if !l.Reach {
		return all
	}
	const lowest, highest = 26e6, 1700e6
	low := lowest
	var gaps []band.Service
	for f := low; f < highest; f += 1e6 {
		_, known := band.ServiceAt(f)
		if known || l.television(f) {
			if f > low {
				gaps = append(gaps, band.Service{Name: "elsewhere", About: "elsewhere", LowHz: low, HighHz: f})
			}
			low = f + 1e6
		}
	}
	if highest > low {
		gaps = append(gaps, band.Service{Name: "elsewhere", About: "elsewhere", LowHz: low, HighHz: highest})
	}
	all = append(all, gaps...)
	slices.SortFunc(all, func(a, b band.Service) int { return cmp.Compare(a.LowHz, b.LowHz) })
	return all
}

func (l *listener) television(hz float64) bool {
	return slices.ContainsFunc(l.Plan, func(c band.Channel) bool { return hz >= c.LowerHz && hz < c.UpperHz() })
}

// outside listens to the services' bands and to the television channels that
// were not visited, each slice at the highest gain that does not overload.
func (l *listener) outside(ctx context.Context) error {
	var centers []float64
	step := 2 * listen.UsableShare * l.RateHz
	for _, s := range l.services() {
		n := math.Ceil((s.HighHz - s.LowHz) / (step - 100e3))
		for k := range int(n) {
			centers = append(centers, s.LowHz+(float64(k)+0.5)*(s.HighHz-s.LowHz)/n)
		}
	}
	for _, c := range l.Plan {
		if !slices.ContainsFunc(l.survey.Channels, func(x scan.Channel) bool { return x.Channel == c }) {
			centers = append(centers, c.CenterHz())
		}
	}
	slices.Sort(centers)
	l.what, l.done, l.total = "what else is strong", 0, len(centers)
	gains := l.gains()
	for _, hz := range centers {
		for k := 0; k < len(gains); k += 4 {
			if err := l.stay(ctx, tuner.Tuning{CenterHz: hz, RateHz: l.RateHz, GainDB: gains[k]}, outsideDwell); err != nil {
				return err
			}
			const rails = 1e-3
			if x := l.ear.last(); x == nil || x.clipped <= rails {
				break
			}
		}
	}
	return nil
}

// gains are the radio's, the highest first; the unknown one when it tells
// none.
func (l *listener) gains() []float64 {
	if len(l.info.GainsDB) == 0 {
		return []float64{tuner.UnknownGain()}
	}
	g := slices.Clone(l.info.GainsDB)
	slices.Sort(g)
	slices.Reverse(g)
	return g
}

// channels are those that the visit to the wanted ones took in.
func (l *listener) channels() []band.Channel {
	var out []band.Channel
	for i := range l.survey.Channels {
		out = append(out, l.survey.Channels[i].Channel)
	}
	return out
}

// isStation reports whether a channel surely holds a station, not a product
// that looks like one: it was proven by what it sends. Where two stations'
// pilots meet, their product has a line just where a pilot belongs.
func isStation(r *measure.Reading) bool {
	return r.Presence == measure.Present && (r.MER != nil || r.Standard == measure.ATSC3)
}

func (l *listener) readings() []measure.Reading {
	var out []measure.Reading
	for i := range l.survey.Channels {
		out = append(out, l.survey.Channels[i].Reading)
	}
	return out
}
