package dongle

import (
	"context"
	"math"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"rooftone/scan/tuner"
	"rooftone/scan/tuner/internal/standin"
)

// far is a simulated dongle whose samples arrive a fixed number of bytes late.
type far struct {
	standin.Dongle
	ring *Ring
	late atomic.Int64
	stop chan struct{}
	wg   sync.WaitGroup
	hold chan struct{} // when not nil, SetCenter waits for it
	fail error         // what SetCenter returns
	deaf error         // what SetCounter returns
}

func (f *far) SetCounter(on bool) error {
	if f.deaf != nil {
		return f.deaf
	}
	if on {
		f.Tell(standin.Counter, 1)
	} else {
		f.Tell(standin.Counter, 0)
	}
	return nil
}
func (f *far) SetRate(hz uint32) error  { f.Tell(standin.Rate, hz); return nil }
func (f *far) SetGain(tenths int) error { f.Tell(standin.Gain, uint32(tenths)); return nil }
func (f *far) SetCenter(hz uint32) error {
	if f.hold != nil {
		<-f.hold
	}
	if f.fail == nil {
		f.Tell(standin.Center, hz)
	}
	return f.fail
}

// run sends the samples at about 2.4 MS/s.
func (f *far) run(t *testing.T) {
	f.stop = make(chan struct{})
	f.wg.Go(func() {
		var queue []byte
		piece := make([]byte, 4801) // an odd number
		tick := time.NewTicker(time.Millisecond)
		defer tick.Stop()
		half := false
		for {
			select {
			case <-f.stop:
				return
			case <-tick.C:
			}
			// Whole samples are made, odd numbers of bytes are sent.
			p := piece[:4800]
			f.Fill(p)
			queue = append(queue, p...)
			n := max(0, len(queue)-int(f.late.Load()))
			if half = !half; half && n > 0 {
				n--
			}
			f.ring.Write(queue[:n])
			queue = queue[n:]
		}
	})
	t.Cleanup(func() { close(f.stop); f.wg.Wait() })
}

// fastOptions have little to pass over. Their limits are out of reach of a
// machine that is busy with other things: what waits for one sets its own.
func fastOptions() Options {
	return Options{
		Settle:    2 * time.Millisecond,
		Allowance: 100 * time.Millisecond,
		Patience:  time.Minute,
		Lag:       time.Minute,
	}
}

var bg = context.Background()

// Truth: as below. A dongle's oscillator is longer on its way where the rate changed
// with the frequency, as it always does at first; also where a Tune was broken off.
func TestRateSettles(t *testing.T) {
	for name, noCounter := range map[string]bool{"with the counter": false, "without": true} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			f := &far{ring: NewRing(1 << 22)}
			f.RateSettle = 200_000
			f.run(t)
			o := fastOptions()
			o.NoCounter, o.RateSettle = noCounter, RateSettle
			o.Allowance = 30 * time.Millisecond // more than the commands take
			r := NewReceiver(f, f.ring, R820T.Gains(), o)
			dst := make([]complex64, 30_000)
			for hop, rate := range []float64{2.4e6, 1.92e6, 1.92e6, 2.4e6} {
				to := tuner.Tuning{CenterHz: 500e6 + 2e6*float64(hop), RateHz: rate, GainDB: 20}
				if hop == 1 {
					broken, cancel := context.WithTimeout(bg, 20*time.Millisecond)
					require.Error(t, r.Tune(broken, to))
					cancel()
				}
				require.NoError(t, r.Tune(bg, to))
				b, err := r.Read(bg, dst)
				require.NoError(t, err)
				require.Empty(t, standin.Check(b.Samples, to.CenterHz), "hop %d", hop)
			}
		})
	}
}

// Truth: the simulated dongle's samples carry their tuning and their number,
// so a block that holds one of another tuning, of the oscillator still moving,
// of the counter, or that misses one, is seen.
func TestReceiverNeverMixesTunings(t *testing.T) {
	for _, c := range []struct {
		name      string
		late      int64 // bytes
		noCounter bool
		o         func(*Options)
	}{
		{name: "no queue"},
		{name: "55 ms of queue", late: 264_001},
		{name: "half a second of queue, more than any allowance", late: 2_400_000},
		{name: "a dongle without a counter", late: 200_000, noCounter: true},
		{name: "told to do without", late: 200_000, o: func(o *Options) { o.NoCounter = true }},
	} {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			f := &far{ring: NewRing(1 << 22)}
			f.NoCounter = c.noCounter
			f.late.Store(c.late)
			o := fastOptions()
			if c.o != nil {
				c.o(&o)
			}
			f.run(t)
			r := NewReceiver(f, f.ring, R820T.Gains(), o)
			dst := make([]complex64, 30_000)
			for hop := range 4 {
				to := tuner.Tuning{CenterHz: 500e6 + 2e6*float64(hop), RateHz: 2.4e6, GainDB: 20}
				require.NoError(t, r.Tune(bg, to))
				for range 2 {
					b, err := r.Read(bg, dst)
					require.NoError(t, err)
					require.Len(t, b.Samples, len(dst))
					require.Empty(t, standin.Check(b.Samples, to.CenterHz))
					require.False(t, b.Lost)
					require.Equal(t, to.CenterHz, b.CenterHz)
					require.Equal(t, 2.4e6, b.RateHz)
					require.Equal(t, 19.7, b.GainDB) // the R820T's step nearest to 20 dB
					require.WithinDuration(t, time.Now(), b.Start, 5*time.Second)
				}
			}
			told, _ := f.Told(standin.Gain)
			require.EqualValues(t, 197, told)
		})
	}
}

// The wait for the old samples must not be longer than they take: with a queue
// of 55 ms a retune is the queue, the commands and the settling.
func TestReceiverWaitsNoLongerThanTheQueue(t *testing.T) {
	t.Parallel()
	f := &far{ring: NewRing(1 << 22)}
	f.late.Store(264_000)
	f.run(t)
	r := NewReceiver(f, f.ring, nil, fastOptions())
	require.NoError(t, r.Tune(bg, tuner.Tuning{CenterHz: 600e6, RateHz: 2.4e6, GainDB: 10}))
	b, err := r.Read(bg, make([]complex64, 100))
	require.NoError(t, err)
	require.True(t, math.IsNaN(b.GainDB), "no gain steps, no gain")
	from := f.ring.Written()
	require.NoError(t, r.Tune(bg, tuner.Tuning{CenterHz: 602e6, RateHz: 2.4e6}))
	// The queue, the commands, the settling, and 100 ms for a busy computer.
	took := f.ring.Written() - from
	require.Less(t, took, uint64(264_000+2*(9600+2*720+4800)+480_000))
}

// Truth: as above. A Tune that is broken off leaves its counter in the stream;
// the next one must not take that for its own.
func TestReceiverSurvivesABrokenOffTune(t *testing.T) {
	t.Parallel()
	f := &far{ring: NewRing(1 << 22)}
	f.late.Store(600_000)
	f.run(t)
	r := NewReceiver(f, f.ring, R820T.Gains(), fastOptions())
	require.NoError(t, r.Tune(bg, tuner.Tuning{CenterHz: 500e6, RateHz: 2.4e6, GainDB: math.NaN()}))
	dst := make([]complex64, 20_000)
	for i := range 6 {
		ctx, cancel := context.WithTimeout(bg, time.Duration(i)*25*time.Millisecond)
		err := r.Tune(ctx, tuner.Tuning{CenterHz: 700e6, RateHz: 2.4e6, GainDB: 30})
		cancel()
		require.ErrorIs(t, err, context.DeadlineExceeded)
		_, err = r.Read(bg, dst)
		require.ErrorContains(t, err, "not tuned")

		to := tuner.Tuning{CenterHz: 510e6 + 2e6*float64(i), RateHz: 2.4e6, GainDB: 30}
		require.NoError(t, r.Tune(bg, to))
		b, err := r.Read(bg, dst)
		require.NoError(t, err)
		require.Empty(t, standin.Check(b.Samples, to.CenterHz))
	}
}

// Commands that are carried out before the stream begins leave no counter in
// it, so Tune must not give them before.
func TestReceiverWaitsForTheStreamToBegin(t *testing.T) {
	t.Parallel()
	f := &far{ring: NewRing(1 << 22)}
	r := NewReceiver(f, f.ring, nil, fastOptions())
	time.AfterFunc(100*time.Millisecond, func() {
		_, ever := f.Told(standin.Counter)
		assert.False(t, ever)
		f.run(t)
	})
	require.NoError(t, r.Tune(bg, tuner.Tuning{CenterHz: 500e6, RateHz: 2.4e6}))
	require.True(t, r.known)
	b, err := r.Read(bg, make([]complex64, 5000))
	require.NoError(t, err)
	require.Empty(t, standin.Check(b.Samples, 500e6))
}

// A command that hangs must not hang Tune, and its end must not confuse the
// next one.
func TestReceiverDoesNotWaitForAHangingCommand(t *testing.T) {
	t.Parallel()
	f := &far{ring: NewRing(1 << 22)}
	f.run(t)
	r := NewReceiver(f, f.ring, nil, fastOptions())
	require.NoError(t, r.Tune(bg, tuner.Tuning{CenterHz: 500e6, RateHz: 2.4e6}))

	f.hold = make(chan struct{})
	ctx, cancel := context.WithTimeout(bg, 30*time.Millisecond)
	defer cancel()
	start := time.Now()
	require.ErrorIs(t, r.Tune(ctx, tuner.Tuning{CenterHz: 600e6, RateHz: 2.4e6}), context.DeadlineExceeded)
	require.Less(t, time.Since(start), 2*time.Second)
	require.ErrorIs(t, r.Wait(ctx), context.DeadlineExceeded)
	close(f.hold)
	require.NoError(t, r.Tune(bg, tuner.Tuning{CenterHz: 520e6, RateHz: 2.4e6}))
	require.NoError(t, r.Wait(bg))
	b, err := r.Read(bg, make([]complex64, 5000))
	require.NoError(t, err)
	require.Empty(t, standin.Check(b.Samples, 520e6))

	f.fail = ErrStalled // any error
	require.ErrorIs(t, r.Tune(bg, tuner.Tuning{CenterHz: 530e6, RateHz: 2.4e6}), ErrStalled)
	f.fail = nil
	require.NoError(t, r.Tune(bg, tuner.Tuning{CenterHz: 540e6, RateHz: 2.4e6}))
	b, err = r.Read(bg, make([]complex64, 5000))
	require.NoError(t, err)
	require.Empty(t, standin.Check(b.Samples, 540e6))
}

// Truth: the sample numbers. A reader that comes too late gets a block without
// a gap, that is marked.
func TestReceiverMarksWhatTheRingDropped(t *testing.T) {
	t.Parallel()
	f := &far{ring: NewRing(2_000_000)} // 0.4 s
	f.run(t)
	r := NewReceiver(f, f.ring, nil, fastOptions())
	require.NoError(t, r.Tune(bg, tuner.Tuning{CenterHz: 500e6, RateHz: 2.4e6}))
	dst := make([]complex64, 20_000)
	b, err := r.Read(bg, dst)
	require.NoError(t, err)
	require.False(t, b.Lost)

	for from := f.ring.Written(); f.ring.Written() < from+4_000_000; {
		time.Sleep(10 * time.Millisecond)
	}
	b, err = r.Read(bg, dst)
	require.NoError(t, err)
	require.True(t, b.Lost)
	require.Empty(t, standin.Check(b.Samples, 500e6))

	b, err = r.Read(bg, dst)
	require.NoError(t, err)
	require.False(t, b.Lost)
}

func TestReceiverErrors(t *testing.T) {
	t.Parallel()
	f := &far{ring: NewRing(1 << 20)}
	o := fastOptions()
	o.Patience = 30 * time.Millisecond
	r := NewReceiver(f, f.ring, nil, o)
	_, err := r.Read(bg, make([]complex64, 1))
	require.ErrorContains(t, err, "not tuned")
	for _, to := range []tuner.Tuning{
		{CenterHz: 500e6, RateHz: 8e6},
		{CenterHz: 500e6, RateHz: math.NaN()},
		{CenterHz: math.NaN(), RateHz: 2.4e6},
		{CenterHz: 5e9, RateHz: 2.4e6},
		{CenterHz: -1, RateHz: 2.4e6},
	} {
		require.ErrorContains(t, r.Tune(bg, to), "a dongle has no")
	}
	// Nothing arrives.
	require.ErrorIs(t, r.Tune(bg, tuner.Tuning{CenterHz: 500e6, RateHz: 2.4e6}), ErrStalled)

	// A dongle that does not leave its counter.
	stuck := &far{ring: NewRing(1 << 22)}
	stuck.Tell(standin.Counter, 1)
	o.Lag, o.Patience = 100*time.Millisecond, time.Second
	stuck.run(t)
	r = NewReceiver(deaf{stuck}, stuck.ring, nil, o)
	require.ErrorIs(t, r.Tune(bg, tuner.Tuning{CenterHz: 500e6, RateHz: 2.4e6}), ErrStuck)
}

// deaf does what it is told, except about the counter.
type deaf struct{ *far }

func (deaf) SetCounter(bool) error { return nil }

// A stream that is late by more than it may is an error, and when it then does
// come, still no mixture.
func TestReceiverGivesUpOnALateStream(t *testing.T) {
	t.Parallel()
	f := &far{ring: NewRing(1 << 22)}
	f.late.Store(2_400_000) // half a second
	f.run(t)
	o := fastOptions()
	o.Lag = 150 * time.Millisecond
	r := NewReceiver(f, f.ring, nil, o)
	require.NoError(t, r.Tune(bg, tuner.Tuning{CenterHz: 500e6, RateHz: 2.4e6}))
	require.ErrorIs(t, r.Tune(bg, tuner.Tuning{CenterHz: 502e6, RateHz: 2.4e6}), ErrBehind)
	o.Lag = time.Minute
	r.o = o
	require.NoError(t, r.Tune(bg, tuner.Tuning{CenterHz: 504e6, RateHz: 2.4e6}))
	b, err := r.Read(bg, make([]complex64, 20_000))
	require.NoError(t, err)
	require.Empty(t, standin.Check(b.Samples, 504e6))
}

// A counter that could not be switched on is not waited for: what failed may be well
// again the next time.
func TestCounterThatWasRefusedIsNotOwed(t *testing.T) {
	f := &far{ring: NewRing(1 << 22)}
	f.run(t)
	r := NewReceiver(f, f.ring, nil, fastOptions())
	require.NoError(t, r.Tune(bg, tuner.Tuning{CenterHz: 500e6, RateHz: 2.4e6}))
	f.deaf = assert.AnError
	require.ErrorIs(t, r.Tune(bg, tuner.Tuning{CenterHz: 501e6, RateHz: 2.4e6}), assert.AnError)
	require.Nil(t, r.owed)
	f.deaf = nil
	dst := make([]complex64, 10_000)
	require.NoError(t, r.Tune(bg, tuner.Tuning{CenterHz: 502e6, RateHz: 2.4e6}))
	b, err := r.Read(bg, dst)
	require.NoError(t, err)
	require.Empty(t, standin.Check(b.Samples, 502e6))
}
