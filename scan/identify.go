package scan

import (
	"context"
	"fmt"
	"slices"
	"time"

	"rooftone/scan/band"
	"rooftone/scan/measure"
	"rooftone/scan/receive"
	"rooftone/scan/tuner"
)

const (
	// identifyTime is for how long a channel is received to learn who it is: a
	// station tells its clock once a second, everything else more often.
	identifyTime = 1300 * time.Millisecond

	// hopelessTime is after how long without a good packet it is given up.
	hopelessTime = 350 * time.Millisecond

	// leastMarginDB is the margin below which it is not tried.
	leastMarginDB = -1
)

// listener receives a channel until it is known who it is.
type listener struct {
	rx   *receive.Reception
	done bool
}

func listenTo(c band.Channel) *listener { return &listener{rx: receive.New(c, receive.Options{})} }

// write takes samples as long as they may help.
func (l *listener) write(b tuner.Block, fresh bool) error {
	if l.done {
		return nil
	}
	if err := l.rx.Write(b, fresh); err != nil {
		return err
	}
	total := l.rx.Total()
	heard := time.Duration(total.Seconds * 1e9)
	good := total.Packets > total.Failed
	l.done = heard >= identifyTime || heard >= hopelessTime && !good || good && l.rx.Identity().Known()
	return nil
}

// identify receives the channels that a wide radio may receive.
func (v *visit) identify(ctx context.Context) error {
	if !v.Identify || v.Keep != nil { // what is kept is what was measured
		return nil
	}
	buffer := make([]complex64, int(v.RateHz/20))
	for i := range v.survey.Channels {
		r := &v.survey.Channels[i].Reading
		if !slices.Contains(v.Channels, r.Channel) || !worthReceiving(r) || !receive.Covers(r.Channel, r.Channel.CenterHz(), v.RateHz) {
			continue
		}
		gain := tuner.UnknownGain()
		if r.GainDB != nil {
			gain = *r.GainDB
		}
		v.progress(r.Channel.CenterHz())
		if err := v.tuner.Tune(ctx, tuner.Tuning{CenterHz: r.Channel.CenterHz(), RateHz: v.RateHz, GainDB: gain}); err != nil {
			return fmt.Errorf("tuning to channel %d: %w", r.Channel.Number, err)
		}
		l := listenTo(r.Channel)
		for fresh := true; !l.done; fresh = false {
			b, err := v.read(ctx, r.Channel, buffer)
			if err != nil {
				return err
			}
			if err := l.write(b, fresh); err != nil {
				return err
			}
		}
		v.known(r.Channel, l)
	}
	return nil
}

// worthReceiving reports whether a channel may decode, by the upper end of what
// its margin may be. Whether the radio shows all of it is another question.
func worthReceiving(r *measure.Reading) bool {
	const coverage = 1.96
	return r.Heard() && r.Presence == measure.Present && r.Standard != measure.ATSC3 && r.Standard != measure.OtherStandard &&
		r.Margin != nil && r.Margin.Value+coverage*r.Margin.Sigma > leastMarginDB
}

// known keeps what was learnt of a channel.
func (v *visit) known(c band.Channel, l *listener) {
	if who := l.rx.Identity(); who != nil {
		if old := v.identities[c.Number]; old == nil || who.Known() || !old.Known() {
			v.identities[c.Number] = who
		}
	}
}

// listeners returns what receives the wanted channels that a recording's stay
// shows whole and of which it is not known yet who they are.
func (v *visit) listeners(stay tuner.Stay) map[band.Channel]*listener {
	if !v.Identify {
		return nil
	}
	out := map[band.Channel]*listener{}
	for _, c := range v.Channels {
		if receive.Covers(c, stay.CenterHz, stay.RateHz) && !v.identities[c.Number].Known() {
			out[c] = listenTo(c)
		}
	}
	return out
}
