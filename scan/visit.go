package scan

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"io"
	"maps"
	"math"
	"slices"
	"time"

	"rooftone/scan/band"
	"rooftone/scan/listen"
	"rooftone/scan/measure"
	"rooftone/scan/receive"
	"rooftone/scan/tuner"
)

const (
	// A stay is overloaded when more than this part of its samples touch a
	// rail: what a noise-like signal 10 dB below the rails does.
	overloadShare = 1e-3
	// overloadPeek is how much of a stay is looked at before the rest is
	// waited for, widePeek the same of a stay that brings four times as much.
	overloadPeek, widePeek = 4 * time.Millisecond, 2 * time.Millisecond
	// gainStepDB is by how much the gain is taken back from an overload. Every
	// gain in use wants its own noise floor, so there should be few; but each
	// dB too many raises the converter's rounding against the signal, which
	// for 8 bits near the rails is some 38 dB down.
	gainStepDB = 6
)

// SweepTuner visits the channels with a radio. When the context ends, or the
// radio fails, it returns what was measured until then; only the latter is an
// error.
func SweepTuner(ctx context.Context, t tuner.Tuner, o Options) (*Survey, error) {
	if o.RateHz == 0 {
		o.RateHz = Rate(t)
		// Receiving takes a second a station: for who asks for whole channels.
		o.Identify = false
	}
	v := newVisit(t.Info(), &o)
	if err := check(o); err != nil {
		return nil, err
	}
	channels := Company(o.Channels, o.Plan)
	v.tuner, v.narrowHz, v.wide = t, min(o.RateHz, NarrowRate(t)), o.RateHz >= wholeRateHz
	v.analyst = newAnalyst(v.newSlicer, &v.slices)
	err := v.channels(ctx, channels)
	for _, next := range []func() error{
		v.analyst.wait,
		func() error { return v.references(ctx, channels) },
		v.analyst.wait,
		func() error { return v.lookLonger(ctx, channels) },
	} {
		if err == nil {
			err = next()
		}
	}
	if ended := v.analyst.end(); err == nil {
		err = ended
	}
	if err == nil {
		err = v.identify(ctx)
	}
	return v.finish(ctx, err)
}

// check refuses what no radio could be asked for.
func check(o Options) error {
	const leastRateHz, mostRateHz = 0.5e6, 100e6
	switch {
	case len(o.Channels) == 0:
		return errors.New("no channels to visit")
	case !(o.RateHz >= leastRateHz && o.RateHz <= mostRateHz):
		return fmt.Errorf("a sample rate of %g Hz is not between 0.5 and 100 MHz", o.RateHz)
	case o.Dwell < time.Millisecond || o.Dwell > time.Minute:
		return fmt.Errorf("a dwell of %v is not between 1 ms and 1 min", o.Dwell)
	}
	return nil
}

// SweepPlaylist measures the channels that a recording covers, whatever its
// tunings. What could not be read any more is an error beside what could.
func SweepPlaylist(ctx context.Context, p tuner.Playlist, o Options) (*Survey, error) {
	v := newVisit(p.Info(), &o)
	v.slicer = v.newSlicer()
	buffer := make([]complex64, 1<<16)
	for {
		stay, err := p.Next(ctx)
		if errors.Is(err, io.EOF) {
			return v.finish(ctx, nil)
		}
		if err != nil {
			return v.finish(ctx, err)
		}
		if !v.slicer.Useful(stay) {
			continue
		}
		if err := v.play(ctx, p, stay, buffer); err != nil {
			return v.finish(ctx, err)
		}
	}
}

// visit is one sweep under way.
type visit struct {
	Options
	info   tuner.Info
	tuner  tuner.Tuner
	slicer *listen.Slicer // of a playlist
	slices listen.Slices
	survey *Survey

	analyst *analyst // of what a radio delivers

	buffer []complex64
	total  int
	gains  []float64 // in use, the highest first
	rung   int       // of those, where the last stop ended

	narrowHz float64 // the rate of a look at a part of a channel
	wide     bool    // a stay shows whole channels

	identities map[int]*receive.Identity // by RF channel
}

func newVisit(info tuner.Info, o *Options) *visit {
	if o.RateHz == 0 {
		o.RateHz = defaultRateHz
	}
	if o.Dwell == 0 {
		o.Dwell = DefaultDwell
	}
	return &visit{
		Options: *o, info: info,
		survey: &Survey{Source: info.Name, Calibrated: o.Calibration != nil},

		identities: map[int]*receive.Identity{},
	}
}

func (v *visit) newSlicer() *listen.Slicer {
	return listen.NewSlicer(allChannels(v.Options), v.info)
}

// finish concludes from what was measured. The end of the context is not an
// error of the radio's.
func (v *visit) finish(ctx context.Context, err error) (*Survey, error) {
	if err != nil {
		v.survey.Interrupted = true
		if ctx.Err() != nil {
			err = nil
		}
	}
	v.survey.Controlled = v.slices.Controlled()
	v.slicer, v.buffer = nil, nil // what is left to do needs the memory, but not them
	conclude(v.survey, v.slices.List(), v.info, v.Options)
	for i := range v.survey.Channels {
		c := &v.survey.Channels[i]
		if c.Identity = v.identities[c.Channel.Number]; c.Identity != nil {
			c.Label = c.Identity.Label()
		}
	}
	return v.survey, err
}

// play reads one stay of a recording to its end.
func (v *visit) play(ctx context.Context, p tuner.Playlist, stay tuner.Stay, buffer []complex64) error {
	if err := v.slicer.Begin(stay); err != nil {
		return err
	}
	v.progress(stay.CenterHz)
	listeners := v.listeners(stay)
	var samples int64
	for first := true; ; first = false {
		b, err := p.Read(ctx, buffer)
		if len(b.Samples) > 0 {
			samples += int64(len(b.Samples))
			if err := v.take(b, first); err != nil {
				return err
			}
			for _, l := range listeners {
				if err := l.write(b, first); err != nil {
					return err
				}
			}
		}
		if err != nil {
			for c, l := range listeners {
				v.known(c, l)
			}
			v.slices.Add(v.slicer.End())
			v.endStay(samples, stay.RateHz)
			if errors.Is(err, io.EOF) {
				return nil
			}
			return err
		}
	}
}

func (v *visit) progress(centerHz float64) {
	if v.Progress != nil {
		v.Progress(v.survey.Stays, v.total, centerHz)
	}
}

func (v *visit) take(b tuner.Block, newStay bool) error {
	v.slicer.Write(b)
	return v.keep(b, newStay)
}

// keep hands on what is measured to who keeps it.
func (v *visit) keep(b tuner.Block, newStay bool) error {
	if v.survey.Started.IsZero() {
		v.survey.Started = b.Start
	}
	if v.Keep != nil {
		if err := v.Keep(b, newStay); err != nil {
			return fmt.Errorf("keeping what was heard: %w", err)
		}
	}
	return nil
}

// endStay takes account of a stay.
func (v *visit) endStay(samples int64, rateHz float64) {
	v.survey.Stays++
	v.survey.Listened += time.Duration(float64(samples) / rateHz * 1e9)
}

// channels visits channels one after the other, or several at once, each at the
// highest gain that does not overload.
func (v *visit) channels(ctx context.Context, list []band.Channel) error {
	v.buffer = make([]complex64, int(v.Dwell.Seconds()*v.RateHz))
	v.gains = v.gainLadder()
	all := stops(list, v.RateHz)
	for _, s := range all {
		v.total += len(s.centersHz)
	}
	if len(v.gains) > longLadder {
		v.rung = len(v.gains) / 2
	}
	for _, s := range all {
		if err := v.climb(ctx, s); err != nil {
			return err
		}
	}
	return nil
}

// stop visits the slices of one stop. It leaves as soon as leave, where there is one,
// says so of the first look at one of them.
func (v *visit) stop(ctx context.Context, s stop, gainDB float64, leave func(tuner.Block) bool) (left bool, err error) {
	for _, center := range s.centersHz {
		if left, err := v.slice(ctx, s.channels[0], center, gainDB, leave); left || err != nil {
			return left, err
		}
	}
	return false, nil
}

// slice visits one slice for as long as the buffer is.
func (v *visit) slice(ctx context.Context, c band.Channel, centerHz, gainDB float64, leave func(tuner.Block) bool) (left bool, err error) {
	v.progress(centerHz)
	tuning := tuner.Tuning{CenterHz: centerHz, RateHz: v.RateHz, GainDB: gainDB}
	if err := v.tuner.Tune(ctx, tuning); errors.Is(err, tuner.ErrNoLock) {
		v.survey.Unlocked = append(v.survey.Unlocked, centerHz)
		return false, nil
	} else if err != nil {
		return false, fmt.Errorf("tuning to %.3f MHz for channel %d: %w", centerHz/1e6, c.Number, err)
	}
	first := overloadPeek
	if v.wide {
		first = widePeek
	}
	peek := min(int(first.Seconds()*v.RateHz), len(v.buffer))
	b, err := v.read(ctx, c, v.buffer[:peek])
	if err != nil {
		return false, err
	}
	if leave != nil && leave(b) {
		return true, nil
	}
	rest, err := v.read(ctx, c, v.buffer[peek:])
	if err != nil {
		return false, err
	}
	return false, v.stay(c, b, rest)
}

func (v *visit) read(ctx context.Context, c band.Channel, dst []complex64) (tuner.Block, error) {
	b, err := v.tuner.Read(ctx, dst)
	if err != nil {
		return b, fmt.Errorf("listening to channel %d: %w", c.Number, err)
	}
	return b, nil
}

// stay has the two blocks of one stay measured as one.
func (v *visit) stay(c band.Channel, b, rest tuner.Block) error {
	b.Samples = v.buffer[:len(b.Samples)+len(rest.Samples)]
	b.Clipped += rest.Clipped
	b.Lost = b.Lost || rest.Lost
	if err := v.keep(b, true); err != nil {
		return err
	}
	v.endStay(int64(len(b.Samples)), b.RateHz)
	v.analyst.take(c.Number, b)
	v.buffer = v.analyst.buffer(len(v.buffer))
	return nil
}

// references visits a vacant channel at each lower gain that was used, so that
// the strong channels' noise floor is known at their own gain.
func (v *visit) references(ctx context.Context, list []band.Channel) error {
	used := map[float64][]float64{} // gain → middles of the slices taken with it
	for _, s := range v.slices.List() {
		if !math.IsNaN(s.GainDB) {
			used[s.GainDB] = append(used[s.GainDB], s.CenterHz)
		}
	}
	if len(used) < 2 {
		return nil
	}
	conclude(v.survey, v.slices.List(), v.info, Options{Channels: list, PPM: v.PPM, Radio: v.Radio})
	if v.wide {
		// A floor that is read from a whole channel at once is read in less time.
		const share = 3
		whole := len(v.buffer)
		v.buffer = v.buffer[:whole/share]
		defer func() { v.buffer = v.analyst.buffer(whole) }()
	}
	for _, gain := range slices.Sorted(maps.Keys(used))[:len(used)-1] {
		if c := v.nearestVacant(used[gain]); c != nil {
			if _, err := v.stop(ctx, stop{[]band.Channel{*c}, Hops(*c, v.RateHz)}, gain, nil); err != nil {
				return err
			}
		}
	}
	return nil
}

// longLook is how long a channel with power but no pilot is listened to, for
// the bootstrap of an ATSC 3.0 frame to come by.
const longLook = 260 * time.Millisecond

// lookLonger goes back to the channels whose power nothing explained yet. What
// is looked for shows in a slice: a wide radio need not keep more of it.
func (v *visit) lookLonger(ctx context.Context, list []band.Channel) error {
	conclude(v.survey, v.slices.List(), v.info, Options{Channels: list, PPM: v.PPM, Radio: v.Radio})
	wide := v.RateHz
	defer func() { v.RateHz = wide }()
	v.RateHz = v.narrowHz
	if longLook > v.Dwell || v.RateHz < wide {
		v.buffer = make([]complex64, int(max(longLook, v.Dwell).Seconds()*v.RateHz))
	}
	for _, r := range v.worthLooking() {
		gain := tuner.UnknownGain()
		if r.GainDB != nil {
			gain = *r.GainDB
		}
		if _, err := v.slice(ctx, r.Channel, r.Channel.CenterHz(), gain, nil); err != nil {
			return err
		}
	}
	return nil
}

// longLooks is how many channels are gone back to at the most, lest a visit to a
// place full of products or sparks take twice its time; wideLooks is the same of a
// visit that is a third as long.
const longLooks, wideLooks = 5, 2

// worthLooking returns the channels that something unknown fills, the evenest
// first: ATSC 3.0 fills its channel evenly.
func (v *visit) worthLooking() []measure.Reading {
	var out []measure.Reading
	for i := range v.survey.Channels {
		if r := v.survey.Channels[i].Reading; r.Presence == measure.Unsure && slices.Contains(r.Suspicion, measure.DoubtNoPilot) {
			out = append(out, r)
		}
	}
	uneven := func(r measure.Reading) float64 {
		if r.Occupant == nil {
			return math.Inf(1)
		}
		return r.Occupant.UnevenDB
	}
	slices.SortStableFunc(out, func(a, b measure.Reading) int { return cmp.Compare(uneven(a), uneven(b)) })
	most := longLooks
	if v.wide {
		most = wideLooks
	}
	return out[:min(len(out), most)]
}

// nearestVacant returns the vacant channel, as far as the survey knows by now,
// that lies nearest to the middle of some slices.
func (v *visit) nearestVacant(centers []float64) *band.Channel {
	var middle float64
	for _, c := range centers {
		middle += c / float64(len(centers))
	}
	var best *band.Channel
	for i := range v.survey.Channels {
		r := &v.survey.Channels[i].Reading
		away := math.Abs(r.Channel.CenterHz() - middle)
		if r.Presence == measure.Vacant && (best == nil || away < math.Abs(best.CenterHz()-middle)) {
			best = &r.Channel
		}
	}
	return best
}
