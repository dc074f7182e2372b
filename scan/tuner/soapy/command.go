package soapy

import (
	"context"
	"fmt"
	"math"
	"time"

	"rooftone/scan/tuner"
)

// outcome waits for the commands that are under way.
func (r *radio) outcome(ctx context.Context) (commanded, error) {
	timer := time.NewTimer(r.o.CommandTimeout)
	defer timer.Stop()
	select {
	case got := <-r.inHand:
		r.inHand, r.hung = nil, false
		r.now, r.ring, r.stream = got.now, got.ring, got.stream
		return got, got.err
	case <-ctx.Done():
		return commanded{}, ctx.Err()
	case <-timer.C:
		r.hung = true
		return commanded{}, fmt.Errorf("%w for %v", errSilent, r.o.CommandTimeout)
	}
}

// command carries out what leads from one state to a tuning. It runs in a
// goroutine of its own, since a radio that hangs does not say so.
func (r *radio) command(was commanded, to tuner.Tuning) commanded {
	l, d := r.lib, r.dev
	out := was
	fail := func(err error) commanded {
		out.err = err
		return out
	}
	fresh := out.stream == nil || to.RateHz != was.now.askedHz
	if fresh {
		// Drivers take another rate for granted only while nothing runs.
		if err := r.halt(out.stream); err != nil {
			return fail(err)
		}
		out.stream, out.now = nil, state{askedDB: was.now.askedDB}
		err := l.call(fmt.Sprintf("take %.0f samples per second", to.RateHz), func() int32 { return l.setRate(d, receiving, channel, to.RateHz) })
		if err != nil {
			return fail(err)
		}
		out.now.askedHz, out.now.realHz = to.RateHz, to.RateHz
		if hz := l.rate(d, receiving, channel); hz > 0 {
			out.now.realHz = hz
		}
		if err := r.setFilter(out.now.realHz); err != nil {
			return fail(err)
		}
	}
	if err := r.setGain(&out.now, to.GainDB); err != nil {
		return fail(err)
	}
	err := l.call(fmt.Sprintf("go to %.6f MHz", to.CenterHz/1e6), func() int32 { return l.setFrequency(d, receiving, channel, to.CenterHz, nil) })
	if err != nil {
		return fail(err)
	}
	const nearHz = 100e3 // what a synthesiser's steps may come to
	out.now.centerHz = to.CenterHz
	if hz := l.frequency(d, receiving, channel); math.Abs(hz-to.CenterHz) < nearHz {
		out.now.centerHz = hz
	}
	if fresh {
		if err := l.call("send samples", func() int32 { return l.activate(d, r.handle, 0, 0, 0) }); err != nil {
			return fail(err)
		}
		samples := min(int(ringSeconds*out.now.realHz), ringBytes/r.format.size)
		out.ring = newRing(max(samples, 4*r.most), r.format.size)
		out.stream = &stream{lib: l, dev: d, handle: r.handle, ring: out.ring, format: r.format, most: r.most, rateHz: out.now.realHz}
		out.stream.start()
	}
	if r.hasTime {
		err := l.call("tell its time", func() int32 {
			out.atNS = l.time(d, "")
			return l.lastStatus()
		})
		out.timed = err == nil
	}
	return out
}

// halt ends the stream, if one runs.
func (r *radio) halt(s *stream) error {
	if s == nil {
		return nil
	}
	if !s.stop(r.o.Timeout) {
		return errSilent
	}
	return r.lib.call("stop its samples", func() int32 { return r.lib.deactivate(r.dev, r.handle, 0, 0) })
}

// setFilter sets the filter before the converter: as wide as the slice, or the
// next that the radio has.
func (r *radio) setFilter(rateHz float64) error {
	want := r.bandwidth
	if want == 0 {
		if len(r.filters) == 0 {
			return nil
		}
		want = filterFor(rateHz, r.filters)
	}
	return r.lib.call(fmt.Sprintf("set its filter to %.4g MHz", want/1e6), func() int32 {
		return r.lib.setBandwidth(r.dev, receiving, channel, want)
	})
}

// filterFor returns the filter for a sample rate: of the slice's width, or else the
// next wider one if there is one, or else the widest. A narrower one that leaves
// all that is measured is better than a wider one.
func filterFor(rateHz float64, has []span) float64 {
	const measured = 0.9 // of the rate
	above, widest := math.Inf(1), 0.0
	for _, s := range has {
		if s.High >= measured*rateHz && s.Low <= rateHz {
			return min(s.High, rateHz)
		}
		if s.Low > rateHz {
			above = min(above, s.Low)
		}
		widest = max(widest, s.High)
	}
	if !math.IsInf(above, 1) {
		return above
	}
	return widest
}

// setGain sets the gain, unless it is NaN or set so already.
func (r *radio) setGain(now *state, dB float64) error {
	l, d := r.lib, r.dev
	if len(r.info.GainsDB) == 0 {
		return nil
	}
	if math.IsNaN(dB) {
		if now.hasGain {
			return nil
		}
		dB = now.askedDB
		if dB == 0 {
			dB = l.gain(d, receiving, channel)
		}
	}
	low, high := r.info.GainsDB[0], r.info.GainsDB[len(r.info.GainsDB)-1]
	dB = min(max(dB, low), high)
	if now.hasGain && now.askedDB == dB {
		return nil
	}
	what := fmt.Sprintf("take a gain of %.1f dB", dB)
	now.hasGain = false
	if !r.shared {
		if err := l.call(what, func() int32 { return l.setGain(d, receiving, channel, dB) }); err != nil {
			return err
		}
		now.askedDB, now.gainDB, now.hasGain = dB, dB, true
		if real := l.gain(d, receiving, channel); math.Abs(real-dB) < 6 {
			now.gainDB = real
		}
		return nil
	}
	// What is nearest to the antenna gets its gain first: noise that comes in
	// later then counts least.
	left := dB - r.least
	for _, e := range r.free {
		more := min(left, e.High-e.Low)
		left -= more
		if err := l.call(what, func() int32 { return l.setElement(d, receiving, channel, e.name, e.Low+more) }); err != nil {
			return err
		}
	}
	now.askedDB, now.gainDB, now.hasGain = dB, dB, true
	return nil
}

// samples returns how many samples come in a time.
func (r *radio) samples(d time.Duration) uint64 {
	return uint64(math.Ceil(d.Seconds() * r.now.realHz))
}

// arrive passes over the stream up to where it is after the last command.
func (r *radio) arrive(ctx context.Context, got commanded) error {
	began, _, _ := r.ring.state()
	if err := r.ring.await(ctx, began+1, r.o.Timeout); err != nil {
		return err
	}
	more := uint64(r.mtu) + r.samples(r.settle)
	for got.timed {
		written, newest, _ := r.ring.state()
		at, ok := newest.sampleAt(got.atNS, r.now.realHz)
		if !ok || at > written+r.samples(r.o.Timeout) || at+r.samples(r.o.Timeout) < began {
			got.timed = false // two clocks that have nothing to do with each other
			r.hasTime = ok
			break
		}
		if at+more <= written {
			r.ring.skip(at + more)
			return nil
		}
		if err := r.ring.await(ctx, min(at+more, written+more), r.o.Timeout); err != nil {
			return err
		}
	}
	allowance := hostAllowance
	if r.remote {
		allowance = networkAllowance
	}
	at := began + more + uint64(r.mtu) + r.samples(allowance)
	if err := r.ring.await(ctx, at, r.o.Timeout); err != nil {
		return err
	}
	r.ring.skip(at)
	return nil
}
