package meter

import (
	"context"
	"fmt"
	"math"
	"slices"
	"sort"
	"sync/atomic"
	"time"

	"rooftone/dsp/psd"
	"rooftone/scan"
	"rooftone/scan/band"
	"rooftone/scan/character"
	"rooftone/scan/measure"
	"rooftone/scan/tuner"
)

const (
	// StaySeconds is how long a slice is listened to at a time: a little more
	// than a field, so that every stay has a field sync in it.
	StaySeconds = 25e-3

	// MostChannels is how many channels a Meter follows at most.
	MostChannels = 8

	defaultRateHz = 2.4e6

	// A stay is overloaded when more of its samples than this are on a rail, as
	// in a careful visit.
	overloadShare = 1e-3
	overloadStays = 3 // in a row, before the gain is chosen anew
	// At a lowered gain a channel this far below the rails deserves more.
	quietDBFS  = -32.0
	quietStays = 20
	// learnAgain is how long a careful visit is good for at least.
	learnAgain = 5 * time.Second
	// quietAgain is the same after a visit that found the gain right as it was.
	quietAgain = 5 * time.Minute

	refreshEvery  = 10 * time.Second
	refreshWeight = 0.2
	refreshMostDB = 3
)

// Options says what to follow. The zero value of a field asks for its default.
type Options struct {
	Channels []band.Channel // one to MostChannels
	Plan     []band.Channel // all that may be visited besides, to learn from

	RateHz      float64  // 0: 2.4 MS/s, or of a wide radio one that shows a channel
	GainDB      *float64 // nil: chosen channel by channel
	PPM         *float64 // clock error; nil: found
	ThresholdDB float64  // 0: measure.DefaultThresholdDB

	// Radio is what an examination of the radio found, of a recording's the one that
	// it was made with; nil for nothing.
	Radio *character.Character

	// Pace is the least time, by the wall's clock, from one stay to the next.
	// What is saved is the computer's battery; 0 saves nothing.
	Pace time.Duration

	// Progress is scan.Options.Progress, for the careful visits.
	Progress func(done, total int, centerHz float64)
	// Learned, when not nil, is told what each careful visit found, from the
	// goroutine in Run.
	Learned func(*scan.Survey)
}

// Meter follows channels with a radio, or in a recording.
type Meter struct {
	Options
	tuner   tuner.Tuner // nil for a recording
	company []band.Channel

	taught    *lessons
	learnedAt time.Time
	last      time.Time // of the last sample that was heard
	away      bool      // a careful visit has been since
	followers []*follower
	welch     *psd.Welch
	welchHz   float64
	buffer    []complex64
	long      []complex64
	strained  int // stays in a row that touched the rails
	quiet     []int
	lookedAt  []time.Time   // by channel, for what has come to it
	quietFor  time.Duration // how long a visit is good for, by quietness
	refreshAt time.Time
	due       time.Time     // of the next stay
	forget    []atomic.Bool // the best, by channel

	visits chan visitRequest
	ended  chan struct{} // closed when Run is over
}

// New makes a Meter. The tuner is used by Run alone; nil will do for Play.
func New(t tuner.Tuner, o Options) (*Meter, error) {
	if len(o.Channels) < 1 || len(o.Channels) > MostChannels {
		return nil, fmt.Errorf("following %d channels: one to %d can be", len(o.Channels), MostChannels)
	}
	if o.RateHz == 0 && t != nil {
		o.RateHz = scan.FollowRate(t)
	} else if o.RateHz == 0 {
		o.RateHz = defaultRateHz
	}
	if o.ThresholdDB == 0 {
		o.ThresholdDB = measure.DefaultThresholdDB
	}
	wanted := slices.Clone(o.Channels)
	sort.Slice(wanted, func(i, j int) bool { return wanted[i].LowerHz < wanted[j].LowerHz })
	return &Meter{
		Options: o, tuner: t, company: scan.Company(wanted, o.Plan),
		quiet: make([]int, len(o.Channels)), lookedAt: make([]time.Time, len(o.Channels)), forget: make([]atomic.Bool, len(o.Channels)),
		visits: make(chan visitRequest), ended: make(chan struct{}),
	}, nil
}

// ResetBest forgets the best of a channel; the next reading takes its place. It
// may be called from any goroutine.
func (m *Meter) ResetBest(rfChannel int) {
	for i, c := range m.Channels {
		if c.Number == rfChannel {
			m.forget[i].Store(true)
		}
	}
}

// Run follows the channels until the context ends, which is no error, or the
// radio or deliver fails. Every reading is given to deliver, in the goroutine
// of the call: while deliver takes its time, nothing is heard. No
// goroutine of Run's outlives it. A Meter runs once.
func (m *Meter) Run(ctx context.Context, deliver func(Update) error) error {
	defer close(m.ended)
	err := m.run(ctx, deliver)
	if ctx.Err() != nil {
		return nil
	}
	return err
}

func (m *Meter) run(ctx context.Context, deliver func(Update) error) error {
	for again := true; again; {
		if err := m.begin(ctx, deliver); err != nil {
			return err
		}
		again = false
		for !again {
			for i := range m.followers {
				if err := m.visitIfAsked(ctx, deliver); err != nil {
					return err
				}
				var err error
				if again, err = m.channel(ctx, i, deliver); err != nil {
					return err
				} else if again {
					break
				}
			}
			if err := m.refresh(ctx); err != nil {
				return err
			}
		}
	}
	return nil
}

// begin visits carefully and starts to follow from what that taught. What was
// best stays so.
func (m *Meter) begin(ctx context.Context, deliver func(Update) error) error {
	if err := m.listening(deliver, 0); err != nil {
		return err
	}
	l, err := m.learn(ctx)
	if err != nil {
		return err
	}
	m.taught = l
	if m.Learned != nil {
		m.Learned(l.survey)
	}
	old := m.followers
	m.followers = make([]*follower, len(m.Channels))
	same := old != nil
	for i, c := range m.Channels {
		where := layout{rateHz: l.rateHz, centersHz: scan.Hops(c, l.rateHz)}
		if m.followers[i], err = newFollower(c, l, where, m.ThresholdDB, m.tuner.Info().Clock.ReferenceHz); err != nil {
			return err
		}
		if old != nil {
			m.followers[i].follow(old[i])
			same = same && old[i].gainDB == m.followers[i].gainDB
		}
	}
	m.quietFor = learnAgain
	if same {
		m.quietFor = quietAgain
	}
	m.learnedAt, m.refreshAt, m.strained = time.Time{}, time.Time{}, 0
	clear(m.quiet)
	return nil
}

// channel visits the slices of one channel, and says whether the gain has to be
// chosen anew.
func (m *Meter) channel(ctx context.Context, i int, deliver func(Update) error) (again bool, err error) {
	f := m.followers[i]
	for k := range f.hops {
		b, at, err := m.stay(ctx, f.hops[k].centerHz, f.gainDB)
		if err != nil {
			return false, fmt.Errorf("listening to channel %d: %w", f.channel.Number, err)
		}
		if m.learnedAt.IsZero() {
			m.learnedAt, m.refreshAt = at, at.Add(refreshEvery)
		}
		overload, err := m.take(i, k, b, at, deliver)
		if err != nil {
			return false, err
		}
		if f.longIsDue(at, len(m.followers)) {
			if err := m.longer(ctx, i, k, b, deliver); err != nil {
				return false, fmt.Errorf("listening to channel %d: %w", f.channel.Number, err)
			}
		}
		if m.wantsGain(i, overload, f.slicePower(), at) || m.wantsLook(i, at) {
			return true, nil
		}
	}
	return false, nil
}

// longer goes on with a stay for as long as a faint channel's training asks. Its
// pieces make readings as they come.
func (m *Meter) longer(ctx context.Context, i, k int, b tuner.Block, deliver func(Update) error) error {
	n := len(b.Samples)
	if len(m.long) < longStays*n {
		m.long = make([]complex64, longStays*n)
	}
	copy(m.long, b.Samples)
	whole := true
	for j := 1; j < longStays; j++ {
		next, err := m.tuner.Read(ctx, m.long[j*n:(j+1)*n])
		if err != nil {
			return err
		}
		if err := m.spectrum(next); err != nil {
			return err
		}
		whole = whole && !next.Lost && next.RateHz == b.RateHz
		m.last = endOf(next)
		if _, err := m.take(i, k, next, m.last, deliver); err != nil {
			return err
		}
	}
	m.due = time.Time{}
	if whole {
		b.Samples = m.long[:longStays*n]
		m.followers[i].fit(k, b, m.last)
	}
	return nil
}

// endOf is when a block ended.
func endOf(b tuner.Block) time.Time {
	if b.Start.IsZero() {
		return time.Now()
	}
	return b.Start.Add(time.Duration(float64(len(b.Samples)) / b.RateHz * 1e9))
}

// take makes a reading of one stay, whose spectrum is in m.welch.
func (m *Meter) take(i, k int, b tuner.Block, at time.Time, deliver func(Update) error) (overload bool, err error) {
	f := m.followers[i]
	f.hear(k, b, m.welch, at)
	f.train(k, b, at)
	if m.forget[i].CompareAndSwap(true, false) {
		f.history.reset()
	}
	u, ok := f.evaluate(at)
	u.Clipped = float64(b.Clipped) / float64(max(1, len(b.Samples)))
	u.Overload, u.Lost = u.Clipped > overloadShare, b.Lost
	if ok {
		err = deliver(u)
	}
	return u.Overload, err
}

// pause waits until the next stay is due.
func (m *Meter) pause(ctx context.Context) error {
	wait := time.Until(m.due)
	if m.Pace > 0 {
		m.due = time.Now().Add(max(0, wait) + m.Pace)
	}
	if wait <= 0 {
		return nil
	}
	timer := time.NewTimer(wait)
	defer timer.Stop()
	select {
	case <-ctx.Done():
		return ctx.Err()
	case <-timer.C:
		return nil
	}
}

// stay listens to one slice. The spectrum is in m.welch afterwards.
func (m *Meter) stay(ctx context.Context, centerHz, gainDB float64) (tuner.Block, time.Time, error) {
	if err := m.pause(ctx); err != nil {
		return tuner.Block{}, time.Time{}, err
	}
	if err := m.tuner.Tune(ctx, tuner.Tuning{CenterHz: centerHz, RateHz: m.RateHz, GainDB: gainDB}); err != nil {
		return tuner.Block{}, time.Time{}, err
	}
	if m.buffer == nil {
		m.buffer = make([]complex64, int(StaySeconds*m.RateHz))
	}
	b, err := m.tuner.Read(ctx, m.buffer)
	if err != nil {
		return b, time.Time{}, err
	}
	if err := m.spectrum(b); err != nil {
		return b, time.Time{}, err
	}
	at := endOf(b)
	if m.away {
		for _, f := range m.followers {
			f.sleep(at.Sub(m.last))
		}
		m.away = false
	}
	m.last = at
	return b, at, nil
}

// spectrum leaves the spectrum of a stay in m.welch.
func (m *Meter) spectrum(b tuner.Block) error {
	if m.welch == nil || m.welchHz != b.RateHz {
		w, err := psd.NewWelch(b.RateHz, spectrumSize(b.RateHz), psd.Hann)
		if err != nil {
			return err
		}
		m.welch, m.welchHz = w, b.RateHz
	}
	m.welch.Reset()
	m.welch.Write(b.Samples)
	return nil
}

// slicePower is the power of the stay in FS².
func (f *follower) slicePower() float64 {
	var sum float64
	for _, d := range f.slice {
		sum += d
	}
	return sum * f.stepHz
}

// wantsGain decides whether a channel has outgrown its gain.
func (m *Meter) wantsGain(i int, overload bool, power float64, at time.Time) bool {
	if m.GainDB != nil || len(m.tuner.Info().GainsDB) < 2 {
		return false
	}
	gains := m.tuner.Info().GainsDB
	gain := m.followers[i].gainDB
	if overload && gain > slices.Min(gains) {
		m.strained++
	} else {
		m.strained = 0
	}
	if gain < slices.Max(gains) && toDB(power) < quietDBFS {
		m.quiet[i]++
	} else {
		m.quiet[i] = 0
	}
	age := at.Sub(m.learnedAt)
	return m.strained >= overloadStays && age >= learnAgain || m.quiet[i] >= quietStays && age >= m.quietFor
}

// refresh goes to the vacant slices when it is time to, and lets the noise follow
// what they show.
//
// What moved since the careful visit can only be told against it. Three things
// keep a vacant channel that is vacant no more from passing for noise: the least
// rise counts, for a signal can add and not take away; no step moves the noise by
// more than refreshWeight of refreshMostDB; and where training is found the error
// that it leaves, which needs no other channel, overrules the noise in either
// direction (noiseAt).
func (m *Meter) refresh(ctx context.Context) error {
	if len(m.taught.vacant) == 0 || m.refreshAt.IsZero() {
		return nil
	}
	now := m.last
	if now.Before(m.refreshAt) {
		return nil
	}
	m.refreshAt = now.Add(refreshEvery)
	var ratios []float64
	for _, ref := range m.taught.vacant {
		if _, _, err := m.stay(ctx, ref.centerHz, ref.gainDB); err != nil {
			return fmt.Errorf("refreshing the noise: %w", err)
		}
		f := m.followers[0]
		f.slice = m.welch.Density(f.slice)
		ratios = append(ratios, inner(f.slice, m.welch.Averages())/ref.density)
	}
	moved := leastOf(ratios)
	bound := fromDB(refreshMostDB)
	moved = math.Max(1/bound, math.Min(bound, moved))
	for _, f := range m.followers {
		f.drift += refreshWeight * (moved - f.drift)
	}
	return nil
}

// leastOf is the mean of those ratios that are as good as the least: noise rises
// everywhere, a station in one place.
func leastOf(ratios []float64) float64 {
	const alike = 1.05
	least := slices.Min(ratios)
	var sum, n float64
	for _, r := range ratios {
		if r <= alike*least {
			sum += r
			n++
		}
	}
	return sum / n
}

func toDB(power float64) float64 { return 10 * math.Log10(power) }

func fromDB(db float64) float64 { return math.Pow(10, db/10) }

func meanOf(x []float64) float64 {
	var sum float64
	for _, v := range x {
		sum += v
	}
	return sum / float64(len(x))
}

// medianOf sorts x.
func medianOf(x []float64) float64 {
	sort.Float64s(x)
	if n := len(x); n%2 == 0 && n > 0 {
		return (x[n/2-1] + x[n/2]) / 2
	} else if n > 0 {
		return x[n/2]
	}
	return math.NaN()
}
