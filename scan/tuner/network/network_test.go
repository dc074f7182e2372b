package network

import (
	"bytes"
	"context"
	"maps"
	"math"
	"net"
	"os"
	"runtime"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"rooftone/scan/tuner"
	"rooftone/scan/tuner/internal/dongle"
	"rooftone/scan/tuner/internal/problemtest"
	"rooftone/scan/tuner/internal/standin"
)

var bg = context.Background()

func at(mhz float64) tuner.Tuning {
	return tuner.Tuning{CenterHz: mhz * 1e6, RateHz: 2.4e6, GainDB: 30}
}

// quick are options under which a test need not wait long for a failure.
func quick() Options {
	return Options{
		Timeout:   500 * time.Millisecond,
		Allowance: 150 * time.Millisecond,
		Backoff:   []time.Duration{time.Millisecond, 20 * time.Millisecond, 50 * time.Millisecond},
	}
}

func dial(t *testing.T, addr string, o Options) *radio {
	t.Helper()
	r, err := Dial(bg, addr, o)
	require.NoError(t, err)
	t.Cleanup(func() { r.Close() })
	return r.(*radio)
}

// Truth: the fake server's samples carry their tuning and their number.
func TestSamplesFollowTheTuning(t *testing.T) {
	for _, c := range []struct {
		name string
		f    faults
		o    func(*Options)
	}{
		{name: "as it comes"},
		{name: "half a second under way, in odd pieces", f: faults{late: 2_400_000, piece: 4801}},
		{name: "few bytes at a time", f: faults{piece: 997, pause: 200 * time.Microsecond}},
		{name: "a server without a counter", f: faults{late: 300_000, noCounter: true}},
		{name: "told to do without", f: faults{late: 300_000}, o: func(o *Options) { o.NoCounter = true }},
	} {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			o := Options{}
			if c.o != nil {
				c.o(&o)
			}
			r := dial(t, newServer(t, c.f).addr, o)
			dst := make([]complex64, 20_000)
			for hop := range 3 {
				to := at(500 + 2*float64(hop))
				require.NoError(t, r.Tune(bg, to))
				for range 2 {
					b, err := r.Read(bg, dst)
					require.NoError(t, err)
					require.Len(t, b.Samples, len(dst))
					require.Empty(t, standin.Check(b.Samples, to.CenterHz))
					require.InDelta(t, to.CenterHz, b.CenterHz, 600, "where the tuner really goes")
					require.Equal(t, 2.4e6, b.RateHz)
					require.Equal(t, 29.7, b.GainDB)
				}
			}
		})
	}
}

// Truth: the dongle server's commands, from its sources.
func TestDialTakesTheDongleOver(t *testing.T) {
	s := newServer(t, faults{})
	addr := s.addr
	r := dial(t, "tcp://"+addr, Options{})
	info := r.Info()
	require.Equal(t, "tcp://"+addr, info.Name)
	require.Equal(t, "cu8", info.Datatype)
	require.Len(t, info.GainsDB, 29)
	require.Equal(t, 28.8e6, info.Clock.ReferenceHz)

	to := at(561)
	to.RateHz, to.GainDB = 2e6, -5
	require.NoError(t, r.Tune(bg, to))
	require.InDelta(t, 561e6, s.order(0x01), 600, "the nearest that every librtlsdr meets alike")
	s.mu.Lock()
	orders := maps.Clone(s.orders)
	s.mu.Unlock()
	delete(orders, 0x01)
	require.Equal(t, map[byte]uint32{
		0x02: 2_000_000, // rate
		0x03: 1,         // gain by hand
		0x04: 0,         // the smallest gain
		0x05: 0,         // ppm
		0x07: 0,         // counter, off again
		0x08: 0,         // AGC
		0x09: 0,         // direct sampling
		0x0a: 0,         // offset tuning
	}, orders, "and no word about the bias tee")
	b, err := r.Read(bg, make([]complex64, 10))
	require.NoError(t, err)
	require.InDelta(t, 2e6, b.RateHz, 0.1)
	require.Zero(t, b.GainDB)

	var bias tuner.BiasTee = r
	require.NoError(t, bias.SetBiasTee(true))
	require.Eventually(t, func() bool { return s.order(0x0e) == 1 }, 5*time.Second, time.Millisecond)
	require.NoError(t, bias.SetBiasTee(false))
	require.Eventually(t, func() bool { return s.order(0x0e) == 0 }, 5*time.Second, time.Millisecond)
}

// A gain below zero goes as two's complement, as the server reads it.
func TestNegativeGain(t *testing.T) {
	s := newServer(t, faults{greeting: greet(dongle.E4000, 14)})
	r := dial(t, s.addr, Options{})
	to := at(500)
	to.GainDB = -1
	require.NoError(t, r.Tune(bg, to))
	b, err := r.Read(bg, make([]complex64, 10))
	require.NoError(t, err)
	require.Equal(t, -1.0, b.GainDB)
	require.Equal(t, uint32(0xfffffff6), s.order(0x04))
}

func TestChips(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		chip  dongle.Chip
		gains uint32
		want  int
	}{
		{dongle.E4000, 14, 14}, {dongle.FC0012, 5, 5}, {dongle.FC0013, 23, 23},
		{dongle.FC2580, 1, 0}, {dongle.R828D, 29, 29}, {dongle.ChipUnknown, 1, 0},
		{99, 29, 0}, {math.MaxUint32, math.MaxUint32, 0}, {dongle.R820T, 0, 0},
	} {
		s := newServer(t, faults{greeting: greet(c.chip, c.gains)})
		r := dial(t, s.addr, Options{})
		require.Len(t, r.Info().GainsDB, c.want)
		require.NoError(t, r.Tune(bg, at(500)))
		b, err := r.Read(bg, make([]complex64, 100))
		require.NoError(t, err)
		require.Equal(t, c.want == 0, math.IsNaN(b.GainDB))
		r.Close()
	}
}

func TestDialProblems(t *testing.T) {
	t.Parallel()
	closed, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	closed.Close()
	_, err = Dial(bg, closed.Addr().String(), quick())
	problemtest.Require(t, err, ErrUnreachable)
	_, err = Dial(bg, "no-such-computer.invalid:1234", quick())
	problemtest.Require(t, err, ErrUnreachable)
	for _, addr := range []string{"", ":1234", "a:b:c:d:e:f:1:99999", "host:notaport", "http://host:80", "tcp://", "host:70000"} {
		_, err = Dial(bg, addr, quick())
		problemtest.Require(t, err, ErrAddress)
	}
	for _, c := range []struct {
		name string
		f    faults
		want error
	}{
		{"busy", faults{silent: true}, ErrSilent},
		{"closes at once", faults{greeting: []byte{}}, ErrSilent},
		{"another protocol", faults{greeting: []byte("SSH-2.0-OpenSSH_9.2\r\n")}, ErrNotServer},
		{"a web server's short answer", faults{greeting: []byte("HTTP/1.1 4")}, ErrNotServer},
		{"half a greeting", faults{greeting: []byte("RTL0\x00\x00")}, ErrNotServer},
		{"half a greeting and silence", faults{greeting: []byte("RTL0\x00"), stallAfter: 1}, ErrNotServer},
	} {
		t.Run(c.name, func(t *testing.T) {
			start := time.Now()
			_, err := Dial(bg, newServer(t, c.f).addr, quick())
			problemtest.Require(t, err, c.want)
			require.Less(t, time.Since(start), 5*time.Second)
		})
	}
}

func TestParseAddr(t *testing.T) {
	for in, want := range map[string]string{
		"192.0.2.7:1234":       "192.0.2.7:1234",
		"tcp://192.0.2.7:5000": "192.0.2.7:5000",
		"tcp://attic/":         "attic:1234",
		"attic":                "attic:1234",
		"tcp://[2001:db8::7]":  "[2001:db8::7]:1234",
		"2001:db8::7":          "[2001:db8::7]:1234",
		"[2001:db8::7]:99":     "[2001:db8::7]:99",
	} {
		got, err := parseAddr(in)
		require.NoError(t, err, in)
		require.Equal(t, want, got)
	}
}

// A server that goes on listening but sends nothing more.
func TestStalledServer(t *testing.T) {
	t.Parallel()
	s := newServer(t, faults{stallAfter: 600_000})
	r := dial(t, s.addr, quick())
	require.NoError(t, r.Tune(bg, at(500)))
	dst := make([]complex64, 24_000)
	var err error
	start := time.Now()
	for err == nil {
		_, err = r.Read(bg, dst)
	}
	require.Less(t, time.Since(start), 10*time.Second)
	problemtest.Require(t, err, ErrStalled)
	problemtest.Require(t, r.Tune(bg, at(502)), ErrStalled)
	require.NoError(t, r.Close())
}

// Truth: the samples' numbers and tuning. A lost connection comes back, the
// tuning with it, and the block says that something is missing before it.
func TestReconnects(t *testing.T) {
	t.Parallel()
	s := newServer(t, faults{})
	r := dial(t, s.addr, quick())
	require.NoError(t, r.SetBiasTee(true))
	to := at(563)
	to.GainDB = 10
	require.NoError(t, r.Tune(bg, to))
	dst := make([]complex64, 20_000)
	_, err := r.Read(bg, dst)
	require.NoError(t, err)

	lost := 0
	for range 3 {
		s.mu.Lock()
		clear(s.orders)
		s.mu.Unlock()
		s.drop()
		for range 100 { // what was in the ring is still good
			b, err := r.Read(bg, dst)
			require.NoError(t, err)
			require.Empty(t, standin.Check(b.Samples, to.CenterHz))
			require.Equal(t, 8.7, b.GainDB)
			if b.Lost {
				lost++
				break
			}
		}
		require.InDelta(t, 563e6, s.order(0x01), 600)
		require.EqualValues(t, 87, s.order(0x04))
		require.EqualValues(t, 1, s.order(0x0e))
	}
	require.Equal(t, 3, lost)

	// While tuning: nothing was lost, then.
	s.drop()
	require.Eventually(t, func() bool { return isLost(r.rx.Tune(bg, to)) }, 5*time.Second, time.Millisecond)
	require.NoError(t, r.Tune(bg, at(570)))
	b, err := r.Read(bg, dst)
	require.NoError(t, err)
	require.Empty(t, standin.Check(b.Samples, 570e6))
}

func TestFailsWhenItCannotReconnect(t *testing.T) {
	t.Parallel()
	t.Run("the server is gone", func(t *testing.T) {
		s := newServer(t, faults{})
		r := dial(t, s.addr, quick())
		require.NoError(t, r.Tune(bg, at(500)))
		s.stop()
		var err error
		for start := time.Now(); err == nil; {
			_, err = r.Read(bg, make([]complex64, 24_000))
			require.Less(t, time.Since(start), 10*time.Second)
		}
		problemtest.Require(t, err, ErrLost)
		problemtest.Require(t, r.Tune(bg, at(502)), ErrLost)
	})
	t.Run("it closes each time", func(t *testing.T) {
		s := newServer(t, faults{closeAfter: 400_001})
		r := dial(t, s.addr, quick())
		var err error
		for start := time.Now(); err == nil; {
			if err = r.Tune(bg, at(500)); err == nil {
				_, err = r.Read(bg, make([]complex64, 300_000))
			}
			require.Less(t, time.Since(start), 20*time.Second)
		}
		problemtest.Require(t, err, ErrLost)
	})
	t.Run("it serves but once", func(t *testing.T) {
		s := newServer(t, faults{closeAfter: 400_001, serve: 1})
		r := dial(t, s.addr, quick())
		var err error
		for start := time.Now(); err == nil; {
			if err = r.Tune(bg, at(500)); err == nil {
				_, err = r.Read(bg, make([]complex64, 300_000))
			}
			require.Less(t, time.Since(start), 20*time.Second)
		}
		problemtest.Require(t, err, ErrLost)
	})
}

func TestContexts(t *testing.T) {
	t.Parallel()
	gone, cancel := context.WithCancel(bg)
	cancel()
	silent := newServer(t, faults{silent: true})
	_, err := Dial(gone, silent.addr, Options{})
	require.ErrorIs(t, err, context.Canceled)
	soon, cancel := context.WithTimeout(bg, 30*time.Millisecond)
	defer cancel()
	start := time.Now()
	_, err = Dial(soon, silent.addr, Options{Timeout: time.Minute})
	require.ErrorIs(t, err, context.DeadlineExceeded)
	require.Less(t, time.Since(start), 5*time.Second)

	s := newServer(t, faults{stallAfter: 2_000_000})
	r := dial(t, s.addr, Options{Timeout: time.Minute})
	require.NoError(t, r.Tune(bg, at(500)))
	_, err = r.Read(gone, make([]complex64, 10))
	require.ErrorIs(t, err, context.Canceled)
	require.ErrorIs(t, r.Tune(gone, at(502)), context.Canceled)
	require.NoError(t, r.Tune(bg, at(504)))

	// What came before the deadline is given. A busy machine brings the first
	// samples late: it gets longer, until some came.
	var b tuner.Block
	for allowed := 300 * time.Millisecond; len(b.Samples) == 0; allowed *= 2 {
		require.Less(t, allowed, time.Minute, "no samples came")
		stalls := dial(t, newServer(t, faults{stallAfter: 2_000_000}).addr, Options{Timeout: time.Minute})
		require.NoError(t, stalls.Tune(bg, at(504)))
		soon, cancel = context.WithTimeout(bg, allowed)
		b, err = stalls.Read(soon, make([]complex64, 24e6))
		cancel()
		require.ErrorIs(t, err, context.DeadlineExceeded)
	}
	require.Empty(t, standin.Check(b.Samples, 504e6))

	// While it tries to reconnect.
	s.stop()
	soon, cancel = context.WithTimeout(bg, 50*time.Millisecond)
	defer cancel()
	start = time.Now()
	require.ErrorIs(t, r.Tune(soon, at(506)), context.DeadlineExceeded)
	require.Less(t, time.Since(start), 5*time.Second)
}

// Samples that do not come as fast as they should are missing somewhere.
func TestSlowNetworkIsNoticed(t *testing.T) {
	t.Parallel()
	s := newServer(t, faults{piece: 1000, pause: time.Millisecond}) // a fifth
	r := dial(t, s.addr, Options{})
	require.NoError(t, r.Tune(bg, at(500)))
	dst := make([]complex64, 24_000)
	lost := false
	for start := time.Now(); !lost && time.Since(start) < 20*time.Second; {
		b, err := r.Read(bg, dst)
		require.NoError(t, err)
		lost = b.Lost
	}
	require.True(t, lost)
}

func TestNothingIsLeftBehind(t *testing.T) {
	before := runtime.NumGoroutine()
	for range 10 {
		s := newServer(t, faults{})
		r, err := Dial(bg, s.addr, Options{})
		require.NoError(t, err)
		require.NoError(t, r.Tune(bg, at(500)))
		require.NoError(t, r.Close())
		require.NoError(t, r.Close())
		require.ErrorIs(t, r.Tune(bg, at(500)), os.ErrClosed)
		_, err = r.Read(bg, make([]complex64, 1))
		require.ErrorIs(t, err, os.ErrClosed)
		require.ErrorIs(t, r.(tuner.BiasTee).SetBiasTee(true), os.ErrClosed)
		s.stop()
	}
	for deadline := time.Now().Add(10 * time.Second); runtime.NumGoroutine() > before; {
		require.True(t, time.Now().Before(deadline), "goroutines are left")
		time.Sleep(10 * time.Millisecond)
	}
}

func FuzzGreeting(f *testing.F) {
	f.Add(greet(dongle.R820T, 29))
	f.Add(greet(math.MaxUint32, math.MaxUint32))
	f.Add([]byte("RTL0"))
	f.Add([]byte("HTTP/1.1 400 Bad Request\r\n"))
	f.Add([]byte{})
	f.Fuzz(func(t *testing.T, b []byte) {
		g, err := parseGreeting(b)
		if err != nil {
			require.NotContains(t, err.Error(), "\n")
			require.Less(t, len(err.Error()), 300)
			return
		}
		require.True(t, bytes.HasPrefix(b, []byte("RTL0")))
		require.Equal(t, greet(g.chip, g.gains), b[:greetingBytes])
		require.LessOrEqual(t, len(g.steps()), 29)
	})
}

func FuzzAddr(f *testing.F) {
	for _, s := range []string{"host:1234", "host:", "a\nb:1", "tcp://[::1]:1234", "tcp://a/", "a:b:c", "[", "%zz"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		addr, err := parseAddr(s)
		if err != nil {
			require.NotContains(t, err.Error(), "\n")
			return
		}
		host, port, err := net.SplitHostPort(addr)
		require.NoError(t, err)
		require.NotEmpty(t, host)
		require.NotEmpty(t, port)
		require.False(t, strings.ContainsAny(addr, "/ \n\r\x00"), "%q", addr)
	})
}
