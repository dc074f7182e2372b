// Package receive receives one channel from a source that sees the whole of it,
// and keeps account of it second by second: errors, modulation error ratio, who
// the station is. What the samples go through is dsp/vsb/receiver; what is read in
// the transport stream, scan/station.
package receive

import (
	"fmt"
	"math"
	"time"

	"rooftone/dsp/vsb/receiver"
	"rooftone/scan/band"
	"rooftone/scan/station"
	"rooftone/scan/tuner"
)

// Packet is a transport packet and what is known of its errors.
type Packet = receiver.Packet

// Options is how a channel is received. The zero value of a field asks for its default.
type Options struct {
	// ThresholdDB is the C/N at which a receiver decodes; 0: 15.2 dB (A/74).
	ThresholdDB float64

	// Packet, when not nil, gets each transport packet in turn. The packet is lent.
	// Its error ends the reception.
	Packet func(p *Packet) error

	// Second, when not nil, is told each second of the samples' time.
	Second func(s Second) error
}

// Second is a second of reception. A value that was not measured is NaN.
type Second struct {
	At     float64   // its end, in seconds of samples since the first
	Time   time.Time // the same by the source's clock; zero when unknown
	Length float64   // seconds: less than 1 for the last

	Locked      bool // at its end
	Relocked    bool // lock was lost before, and found again in this second
	MERBeforeDB float64
	MERDB       float64 // behind the equaliser
	IdealDB     float64 // of an ideal equaliser, see receiver.Status
	MarginDB    float64 // what the MER has in hand
	Packets     int64
	Failed      int64 // packets with errors left
	Corrected   int64 // bytes corrected in the others
	Clipped     float64
	Lost        bool    // samples were missing
	Skipped     float64 // seconds before or within it that were left out, as the receiver was too slow
}

// Total is the account of a whole reception.
type Total struct {
	Seconds    float64 // of samples
	Locks      int
	FirstGood  float64 // seconds of samples until the first packet without errors; NaN for none
	Packets    int64
	Failed     int64
	Corrected  int64
	BadSeconds int     // with packets that failed, or in which lock was lost or missing, after the first good one
	Lost       int     // how often samples were missing
	Skipped    float64 // seconds that were left out, as the receiver was too slow: not among Seconds
}

// HeardShare is the share of the time whose samples were received; NaN before any.
func (t Total) HeardShare() float64 { return t.Seconds / (t.Seconds + t.Skipped) }

// FailedShare is the share of packets with errors left; NaN where there were none.
func (t Total) FailedShare() float64 { return float64(t.Failed) / float64(t.Packets) }

// ThresholdErrorShare is the packet error ratio at the threshold of visibility: a
// packet is a segment. A/54A, 5.4.
const ThresholdErrorShare = 1.93e-4

// A NarrowError says that samples do not show the whole channel.
type NarrowError struct {
	Channel          band.Channel
	CenterHz, RateHz float64
}

func (e *NarrowError) Error() string {
	if e.RateHz < receiver.LowestRateHz {
		return fmt.Sprintf("%.3g MS/s show less than the %.0f MHz of channel %d", e.RateHz/1e6, band.WidthHz/1e6, e.Channel.Number)
	}
	return fmt.Sprintf("%.3g MS/s around %.3f MHz do not show the whole of channel %d, %.0f to %.0f MHz",
		e.RateHz/1e6, e.CenterHz/1e6, e.Channel.Number, e.Channel.LowerHz/1e6, e.Channel.UpperHz()/1e6)
}

// Covers reports whether samples show the whole of a channel, as far as a receiver needs it.
func Covers(c band.Channel, centerHz, rateHz float64) bool {
	if rateHz > receiver.HighestRateHz*(1+rateSlack) || rateHz < receiver.LowestRateHz*(1-rateSlack) {
		return false
	}
	slack := rateSlack*rateHz + 1
	return c.LowerHz >= centerHz-rateHz/2-slack && c.UpperHz() <= centerHz+rateHz/2+slack
}

// rateSlack is how far a radio's true rate may be off the round one it was asked for.
const rateSlack = 1e-4

// merOverCN is by how much the MER of a flat clean channel exceeds its C/N in
// 6 MHz: 6 MHz over half the symbol rate, less the pilot's share.
var merOverCN = 10 * math.Log10(6e6/(10.762237762e6/2)*21/(21+1.25*1.25))

// Reception receives a channel. It is used by one goroutine, and its memory is
// bounded.
type Reception struct {
	channel band.Channel
	options Options

	rx       *receiver.Receiver
	flushed  *snapshot    // how rx was before it was flushed; nil when it was not
	tuning   tuner.Tuning // that rx is for
	reader   *station.Reader
	failure  error  // of Options.Packet
	counted  counts // of receivers before rx
	total    Total
	bins     Timeline
	started  time.Time // of the first sample
	samples  int64     // of the second under way
	clipped  int
	lost     bool
	skipped  float64
	resumed  bool      // after samples were left out, in this second or the one before
	begun    counts    // at the second's beginning
	locks    int       // by then
	moment   time.Time // of the samples that the receiver has now
	clockAt  int64     // the packet that told the last clock
	clockOff *float64  // seconds
}

// snapshot is how a receiver is at a moment.
type snapshot struct {
	status        receiver.Status
	before, after []complex64
	taps          []receiver.Tap
}

func snapshotOf(rx *receiver.Receiver) *snapshot {
	s := &snapshot{status: rx.Status(), taps: rx.Channel(nil)}
	s.before, s.after = rx.Symbols(nil, nil)
	return s
}

type counts struct{ packets, failed, corrected int64 }

func (c counts) less(d counts) counts {
	return counts{c.packets - d.packets, c.failed - d.failed, c.corrected - d.corrected}
}

// New returns a reception of a channel.
func New(c band.Channel, o Options) *Reception {
	const defaultThreshold = 15.2
	if o.ThresholdDB == 0 {
		o.ThresholdDB = defaultThreshold
	}
	return &Reception{channel: c, options: o, reader: station.NewReader(), total: Total{FirstGood: math.NaN()}}
}

// Write takes samples. They follow the last ones unless the block says otherwise, or
// fresh does, or its tuning is another. Blocks that do not show the channel are a
// *NarrowError.
func (r *Reception) Write(b tuner.Block, fresh bool) error {
	if !Covers(r.channel, b.CenterHz, b.RateHz) {
		return &NarrowError{r.channel, b.CenterHz, b.RateHz}
	}
	if r.total.Seconds == 0 && r.started.IsZero() {
		r.started = b.Start
	}
	if r.rx == nil || r.tuning.CenterHz != b.CenterHz || r.tuning.RateHz != b.RateHz {
		if err := r.open(b); err != nil {
			return err
		}
	} else if fresh || b.Lost || b.Skipped > 0 {
		r.rx.Gap()
	}
	r.flushed = nil
	if b.Lost {
		r.lost = true
		r.total.Lost++
	}
	r.Skip(b.Skipped)
	r.clipped += b.Clipped
	at := b.Start
	for rest := b.Samples; len(rest) > 0; {
		// In pieces, so that seconds end where they should and what a packet
		// says of the time is known to a hundredth of a second.
		second := int64(math.Round(b.RateHz))
		n := int(min(int64(len(rest)), second-r.samples, second/100))
		r.moment = at
		if err := r.rx.Write(rest[:n]); err != nil {
			return fmt.Errorf("receiving channel %d: %w", r.channel.Number, err)
		}
		rest = rest[n:]
		r.samples += int64(n)
		if !at.IsZero() {
			at = at.Add(time.Duration(float64(n) / b.RateHz * 1e9))
		}
		if r.failure != nil {
			return r.failure
		}
		if r.samples == second {
			if err := r.second(at, r.rx.Status()); err != nil {
				return err
			}
		}
	}
	return nil
}

// Skip notes that so much was left out knowingly.
func (r *Reception) Skip(time time.Duration) {
	r.skipped += time.Seconds()
	r.total.Skipped += time.Seconds()
}

// open begins with samples of another tuning.
func (r *Reception) open(b tuner.Block) error {
	if r.rx != nil {
		if err := r.Flush(); err != nil {
			return err
		}
		r.counted = r.counts()
		r.total.Locks += r.rx.Status().Locks
	}
	rx, err := receiver.New(receiver.Options{
		RateHz:  min(max(b.RateHz, receiver.LowestRateHz), receiver.HighestRateHz),
		LowerHz: r.channel.LowerHz - b.CenterHz,
		Packet:  r.packet,
	})
	if err != nil {
		return fmt.Errorf("receiving channel %d: %w", r.channel.Number, err)
	}
	r.rx, r.tuning = rx, tuner.Tuning{CenterHz: b.CenterHz, RateHz: b.RateHz, GainDB: b.GainDB}
	return nil
}

// packet takes a packet from the receiver.
func (r *Reception) packet(p *Packet) {
	if !p.Failed && math.IsNaN(r.total.FirstGood) {
		r.total.FirstGood = r.total.Seconds + float64(r.samples)/r.tuning.RateHz
	}
	// The reader refuses only what is no packet, which the receiver never gives.
	_ = r.reader.Packet(p.Bytes[:])
	if r.failure == nil && r.options.Packet != nil {
		r.failure = r.options.Packet(p)
	}
	r.compareClock()
}

// compareClock notes how far the station's clock is ahead of the source's. A station
// tells whole seconds, gone by for up to one, so the most that is seen is nearest
// the truth.
func (r *Reception) compareClock() {
	c, at, ok := r.reader.Clock()
	if !ok || at == r.clockAt {
		return
	}
	r.clockAt = at
	if !r.moment.IsZero() {
		off := c.Sub(r.moment).Seconds()
		if r.clockOff == nil || off > *r.clockOff {
			r.clockOff = &off
		}
	}
}

func (r *Reception) counts() counts {
	c := r.counted
	if r.rx != nil {
		s := r.rx.Status()
		c.packets += s.Packets
		c.failed += s.Failed
		c.corrected += s.Corrected
	}
	return c
}

// second closes the second under way.
func (r *Reception) second(at time.Time, status receiver.Status) error {
	length := float64(r.samples) / r.tuning.RateHz
	c := r.counts().less(r.begun)
	r.total.Seconds += length
	locks := r.total.Locks + status.Locks
	resumed := r.resumed || r.skipped > 0
	s := Second{
		Relocked: r.locks > 0 && locks > r.locks && !resumed,
		At:       r.total.Seconds, Time: at, Length: length,
		Locked: status.Locked, MERBeforeDB: status.MERBeforeDB, MERDB: status.MERAfterDB, IdealDB: status.IdealDB,
		MarginDB: status.MERAfterDB - merOverCN - r.options.ThresholdDB,
		Packets:  c.packets, Failed: c.failed, Corrected: c.corrected,
		Clipped: float64(r.clipped) / float64(r.samples), Lost: r.lost, Skipped: r.skipped,
	}
	if !math.IsNaN(r.total.FirstGood) && (s.Failed > 0 || !s.Locked || s.Relocked) {
		r.total.BadSeconds++
	}
	r.bins.add(s)
	r.resumed = r.skipped > 0
	r.begun, r.locks, r.samples, r.clipped, r.lost, r.skipped = r.counts(), locks, 0, 0, false, 0
	if r.options.Second != nil {
		return r.options.Second(s)
	}
	return nil
}

// Flush works off what is under way at the end of the samples, and closes the
// second that is not full. More samples may follow all the same.
func (r *Reception) Flush() error {
	if r.rx == nil {
		return nil
	}
	if r.flushed == nil {
		r.flushed = snapshotOf(r.rx)
	}
	if err := r.rx.Flush(); err != nil {
		return fmt.Errorf("receiving channel %d: %w", r.channel.Number, err)
	}
	if r.failure != nil {
		return r.failure
	}
	if r.samples == 0 {
		return nil
	}
	return r.second(r.moment, r.flushed.status)
}

// Total returns the account so far.
func (r *Reception) Total() Total {
	t := r.total
	c := r.counts()
	t.Packets, t.Failed, t.Corrected = c.packets, c.failed, c.corrected
	t.Seconds += float64(r.samples) / max(r.tuning.RateHz, 1)
	if r.rx != nil {
		t.Locks += r.rx.Status().Locks
	}
	return t
}

// Timeline returns the account over time.
func (r *Reception) Timeline() *Timeline { return &r.bins }

// Receiver returns the receiver for its channel taps and symbols; nil before the
// first samples.
func (r *Reception) Receiver() *receiver.Receiver { return r.rx }

// ThresholdDB returns the C/N at which margins are counted from.
func (r *Reception) ThresholdDB() float64 { return r.options.ThresholdDB }

// Look is what a picture of a reception shows.
type Look struct {
	Channel     band.Channel
	Source      string // "" when unknown
	ThresholdDB float64
	Started     time.Time // of the first sample; zero when unknown
	Total       Total
	Timeline    Timeline
	Status      receiver.Status
	Identity    *Identity // nil when nobody said

	// Before and After are the last symbols before and behind the equaliser,
	// consecutive ones, on the scale of the symbol levels; real parts are what is
	// sliced.
	Before, After []complex64

	// Taps are the channel's impulse response; see receiver.Channel.
	Taps []receiver.Tap
}

// Look returns what a picture shows of the reception as it is now, or was before it
// was flushed.
func (r *Reception) Look() Look {
	l := Look{
		Channel: r.channel, ThresholdDB: r.options.ThresholdDB, Started: r.started,
		Total: r.Total(), Timeline: r.bins, Identity: r.Identity(),
		Status: receiver.Status{MERBeforeDB: math.NaN(), MERAfterDB: math.NaN(), IdealDB: math.NaN()},
	}
	now := r.flushed
	if now == nil && r.rx != nil {
		now = snapshotOf(r.rx)
	}
	if now != nil {
		l.Status, l.Before, l.After, l.Taps = now.status, now.before, now.after, now.taps
	}
	return l
}
