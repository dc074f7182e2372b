// Package examine finds the character of a radio from the air, with no
// instruments: stations' pilots are lines of known place and steady level, and
// vacant channels are the radio's own noise.
package examine

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"math"
	"slices"
	"time"

	"rooftone/dsp/psd"
	"rooftone/scan"
	"rooftone/scan/band"
	"rooftone/scan/character"
	"rooftone/scan/measure"
	"rooftone/scan/tuner"
)

const (
	// mostStations is how many pilots are used: more say little more.
	mostStations = 3

	// leastCN is what C/N in dB a station needs, so that its pilot's alias is seen.
	leastCN = 12

	// seenRatio is from how far above its surroundings a line counts as seen.
	seenRatio = 20

	lookSeconds = 0.08 // at one pilot
	shortLook   = 0.04

	// wideReachHz is how far from its place a pilot may be that was not looked at
	// for a while.
	wideReachHz = 600
)

// Options says how to examine.
type Options struct {
	Plan   []band.Channel
	RateHz float64 // 0: scan.Rate

	// Survey is what a visit just found with the radio; nil: it is visited first.
	Survey *scan.Survey

	// Progress, when not nil, is told what is done next.
	Progress func(doing string)
}

// Radio examines a radio, in some 40 s of its time. When the context ends there is
// nothing: half an examination is none.
func Radio(ctx context.Context, t tuner.Tuner, o Options) (*character.Character, error) {
	e := newExam(t, o)
	began := e.now()
	if o.Survey == nil {
		e.tell("looking for stations")
		survey, err := scan.SweepTuner(ctx, t, scan.Options{Channels: o.Plan, Plan: o.Plan, RateHz: e.rate, Dwell: surveyDwell})
		if err != nil {
			return nil, fmt.Errorf("looking for stations to examine the radio with: %w", err)
		}
		if survey.Interrupted {
			return nil, cmp.Or(ctx.Err(), errors.New("the look for stations was cut short"))
		}
		e.survey = survey
	}
	e.choose()
	for _, step := range []struct {
		doing string
		do    func(context.Context) error
	}{
		{"finding the pilots", e.sight},
		{"pass band and folding", e.response},
		{"noise and own tones", e.quiet},
		{"gain steps", e.gains},
		{"floor by gain", e.floors},
		{"settling", e.settling},
		{"lost samples", e.losses},
		{"clock", e.clock},
	} {
		e.tell(step.doing)
		if err := step.do(ctx); err != nil {
			return nil, fmt.Errorf("examining the radio, %s: %w", step.doing, err)
		}
	}
	e.out.Measured = began
	e.out.AirSeconds = math.Round(e.now().Sub(began).Seconds()*10) / 10
	e.out.Conclude()
	return &e.out, nil
}

// surveyDwell is enough to find what is strong enough to measure with.
const surveyDwell = 40 * time.Millisecond

// exam is an examination under way.
type exam struct {
	Options
	t      tuner.Tuner
	rate   float64
	survey *scan.Survey
	buffer []complex64

	pilots []*pilot
	vacant []float64 // middles of vacant channels, Hz by the radio's clock
	topDB  float64   // the highest gain, NaN when there are none
	sights []sight
	out    character.Character
}

// pilot is a station's that is measured with.
type pilot struct {
	channel band.Channel
	radioHz float64 // where it was last, by the radio's clock
	gainDB  float64 // at which it does not overload
	cnDB    float64
	dbfs    float64
}

// sight is a pilot's frequency at a time.
type sight struct {
	at      time.Time
	channel int
	ppm     float64
	sigma   float64
}

func newExam(t tuner.Tuner, o Options) *exam {
	e := &exam{Options: o, t: t, rate: o.RateHz, survey: o.Survey, topDB: tuner.UnknownGain()}
	if e.rate == 0 {
		e.rate = scan.Rate(t)
	}
	if g := t.Info().GainsDB; len(g) > 0 {
		e.topDB = slices.Max(g)
	}
	e.out = character.Character{Version: character.Version, Radio: t.Info().Name, RateHz: e.rate}
	return e
}

func (e *exam) tell(doing string) {
	if e.Progress != nil {
		e.Progress(doing)
	}
}

// now is the radio's time.
func (e *exam) now() time.Time {
	if t, ok := e.t.(tuner.Timed); ok {
		return t.Now()
	}
	return time.Now()
}

// choose takes the pilots and the vacant channels out of the survey.
func (e *exam) choose() {
	clock := 1.
	if e.survey.Clock != nil {
		clock += e.survey.Clock.PPM.Value * 1e-6
	}
	for i := range e.survey.Channels {
		c := &e.survey.Channels[i]
		if c.Presence == measure.Vacant && c.Covered() {
			e.vacant = append(e.vacant, c.Channel.CenterHz()/clock)
		}
		if c.Presence != measure.Present || c.Pilot == nil || c.CN == nil || c.CN.Value < leastCN {
			continue
		}
		gain := tuner.UnknownGain()
		if c.GainDB != nil {
			gain = *c.GainDB
		}
		e.pilots = append(e.pilots, &pilot{
			channel: c.Channel, gainDB: gain, cnDB: c.CN.Value, dbfs: c.Pilot.PowerDBFS,
			radioHz: (c.Channel.PilotHz() + c.Pilot.OffsetHz.Value) / clock,
		})
	}
	slices.SortStableFunc(e.pilots, func(a, b *pilot) int { return cmp.Compare(b.cnDB, a.cnDB) })
	// Those that lie apart tell more of how the radio moves with frequency.
	e.pilots = e.pilots[:min(len(e.pilots), mostStations)]
	for _, p := range e.pilots {
		e.out.Stations = append(e.out.Stations, character.Station{RFChannel: p.channel.Number, PilotHz: p.channel.PilotHz(), CNDB: math.Round(p.cnDB*10) / 10})
	}
}

// listen tunes and reads.
func (e *exam) listen(ctx context.Context, to tuner.Tuning, seconds float64) (tuner.Block, error) {
	to.CenterHz = math.Round(to.CenterHz)
	if err := e.t.Tune(ctx, to); err != nil {
		return tuner.Block{}, err
	}
	return e.read(ctx, int(seconds*to.RateHz))
}

func (e *exam) read(ctx context.Context, n int) (tuner.Block, error) {
	if len(e.buffer) < n {
		e.buffer = make([]complex64, n)
	}
	return e.t.Read(ctx, e.buffer[:n])
}

// clippedShare is the share of a block's samples that may be at a rail.
const clippedShare = 2e-4

func overloaded(b tuner.Block) bool {
	return float64(b.Clipped) > clippedShare*float64(len(b.Samples))
}

// place is where a pilot shows in a block, or its alias.
func (p *pilot) place(b tuner.Block) float64 {
	offset := p.radioHz - b.CenterHz
	return offset - b.RateHz*math.Round(offset/b.RateHz)
}

// look tunes so that a pilot lies at a share of half the rate and finds its line.
// It is not ok when the radio did not lock there or was overloaded.
func (e *exam) look(ctx context.Context, p *pilot, share, gainDB, seconds, reachHz float64) (line psd.Line, b tuner.Block, ok bool, err error) {
	b, err = e.listen(ctx, tuner.Tuning{CenterHz: p.radioHz - share*e.rate/2, RateHz: e.rate, GainDB: gainDB}, seconds)
	if errors.Is(err, tuner.ErrNoLock) {
		return line, b, false, nil
	}
	if err != nil || overloaded(b) {
		return line, b, false, err
	}
	line, err = psd.FindLine(b.Samples, b.RateHz, p.place(b), reachHz)
	return line, b, err == nil, err
}

// sight finds where the pilots are, and how they stand in the middle of a slice. It
// lowers the gain where that overloads, and drops whom it does not find.
func (e *exam) sight(ctx context.Context) error {
	var found []*pilot
	for _, p := range e.pilots {
		for range 6 {
			line, b, ok, err := e.look(ctx, p, referenceShare, p.gainDB, lookSeconds, wideReachHz)
			if err != nil {
				return err
			}
			if !ok && overloaded(b) {
				if lower, ok := e.lower(p.gainDB); ok {
					p.gainDB = lower
					continue
				}
			}
			if ok && line.OverNoise > seenRatio {
				e.see(p, line, b)
				found = append(found, p)
			}
			break
		}
	}
	e.pilots = found
	return nil
}

// refresh finds a pilot again that was not looked at for a while: a crystal that
// warms up carries it away.
func (e *exam) refresh(ctx context.Context, p *pilot) (bool, error) {
	line, b, ok, err := e.look(ctx, p, referenceShare, p.gainDB, lookSeconds, wideReachHz)
	if err != nil || !ok || line.OverNoise < seenRatio {
		return false, err
	}
	e.see(p, line, b)
	return true, nil
}

// see takes a pilot's line for its place.
func (e *exam) see(p *pilot, line psd.Line, b tuner.Block) {
	p.radioHz = b.CenterHz + line.OffsetHz
	e.sights = append(e.sights, sight{
		e.now(), p.channel.Number, (p.channel.PilotHz()/p.radioHz - 1) * 1e6, line.SigmaHz / p.radioHz * 1e6,
	})
}

// lower returns a gain some 6 dB below one.
func (e *exam) lower(gainDB float64) (float64, bool) {
	best, ok := 0., false
	for _, g := range e.t.Info().GainsDB {
		if g <= gainDB-5 && (!ok || g > best) {
			best, ok = g, true
		}
	}
	return best, ok
}
