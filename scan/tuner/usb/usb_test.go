package usb

import (
	"context"
	"errors"
	"math"
	"os"
	"path/filepath"
	"runtime"
	"testing"
	"time"

	"github.com/ebitengine/purego"
	"github.com/stretchr/testify/require"

	"rooftone/scan/tuner"
	"rooftone/scan/tuner/internal/problemtest"
	"rooftone/scan/tuner/internal/sharedlib"
	"rooftone/scan/tuner/internal/standin"
)

// bench is a loaded stand-in library and its knobs.
type bench struct {
	path string
	lib  *library
	set  func(name string, value int)
	get  func(name string) int
}

// newBench loads a stand-in of its own for the test.
func newBench(t *testing.T) *bench {
	t.Helper()
	b := &bench{path: standin.Build(t)}
	handle, err := sharedlib.Open(b.path)
	require.NoError(t, err)
	t.Cleanup(func() { require.Equal(t, b.get("opened"), b.get("closed")) })
	for name, fn := range map[string]any{"standin_set": &b.set, "standin_get": &b.get} {
		sym, err := sharedlib.Symbol(handle, name)
		require.NoError(t, err)
		purego.RegisterFunc(fn, sym)
	}
	b.lib, err = load(b.path)
	require.NoError(t, err)
	return b
}

func (b *bench) options() Options {
	return Options{Library: b.path, Settle: 2 * time.Millisecond, Backoff: []time.Duration{time.Millisecond, 10 * time.Millisecond}}
}

func (b *bench) open(t *testing.T, o Options) *radio {
	t.Helper()
	r, err := Open(bg, "", o)
	require.NoError(t, err)
	t.Cleanup(func() { r.Close() })
	return r.(*radio)
}

var bg = context.Background()

func at(mhz float64) tuner.Tuning {
	return tuner.Tuning{CenterHz: mhz * 1e6, RateHz: 2.4e6, GainDB: 30}
}

// Truth: the stand-in's samples carry their tuning and number, and its clock,
// not its threads, decides what is sampled when.
func TestSamplesFollowTheTuning(t *testing.T) {
	for _, c := range []struct {
		name  string
		knobs map[string]int
		o     func(*Options)
		hops  int
	}{
		{name: "as it comes", hops: 10},
		{name: "a full USB queue", knobs: map[string]int{"queue": queueBuffers - 1}, hops: 4},
		{name: "uneven parts", knobs: map[string]int{"odd": 1}, hops: 4},
		{name: "slow commands", knobs: map[string]int{"control_us": 5000, "tune_us": 60000}, hops: 3},
		{name: "no counter", knobs: map[string]int{"no_counter": 1, "queue": queueBuffers / 2}, hops: 3},
		{name: "told to do without", knobs: map[string]int{"queue": queueBuffers / 2},
			o: func(o *Options) { o.NoCounter = true }, hops: 3},
	} {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			b := newBench(t)
			for k, v := range c.knobs {
				b.set(k, v)
			}
			o := b.options()
			if c.o != nil {
				c.o(&o)
			}
			r := b.open(t, o)
			dst := make([]complex64, 144_000/4) // 15 ms
			for hop := range c.hops {
				to := at(470 + 2*float64(hop))
				require.NoError(t, r.Tune(bg, to))
				for range 2 {
					block, err := r.Read(bg, dst)
					require.NoError(t, err)
					require.Len(t, block.Samples, len(dst))
					require.Empty(t, standin.Check(block.Samples, to.CenterHz))
					require.False(t, block.Lost)
					require.InDelta(t, to.CenterHz, block.CenterHz, 600, "where the tuner really goes")
					require.Equal(t, 2.4e6, block.RateHz)
					require.Equal(t, 29.7, block.GainDB)
				}
			}
			require.Equal(t, 297, b.get("gain"))
			require.Equal(t, 1+c.hops, b.get("retunes"), "and one when it was opened")
		})
	}
}

func TestOpenSetsTheDongleUp(t *testing.T) {
	b := newBench(t)
	b.set("direct", 2)
	b.set("bias_tee", 1) // left on by someone
	r := b.open(t, b.options())
	require.Equal(t, 0, b.get("direct"))
	require.Equal(t, 0, b.get("agc"))
	require.Equal(t, 1, b.get("manual"))
	require.Equal(t, 0, b.get("bias_tee"))
	require.Equal(t, 1, b.get("resets"))

	info := r.Info()
	require.Equal(t, "usb:STAND0", info.Name)
	require.Equal(t, "cu8", info.Datatype)
	require.Len(t, info.GainsDB, 29)
	require.IsIncreasing(t, info.GainsDB)
	require.Equal(t, 49.6, info.GainsDB[28])
	require.Equal(t, 28.8e6, info.Clock.ReferenceHz)

	// The gain is kept where it is when none is asked for.
	to := at(500)
	to.GainDB = 12
	require.NoError(t, r.Tune(bg, to))
	require.Equal(t, 125, b.get("gain"))
	to.GainDB = math.NaN()
	require.NoError(t, r.Tune(bg, to))
	block, err := r.Read(bg, make([]complex64, 10))
	require.NoError(t, err)
	require.Equal(t, 12.5, block.GainDB)

	require.NoError(t, r.Close())
	require.NoError(t, r.Close())
	require.Equal(t, 1, b.get("closed"))
	require.ErrorIs(t, r.Tune(bg, to), os.ErrClosed)
	_, err = r.Read(bg, make([]complex64, 10))
	require.ErrorIs(t, err, os.ErrClosed)
}

func TestBiasTee(t *testing.T) {
	b := newBench(t)
	o := b.options()
	o.BiasTee = true
	r := b.open(t, o)
	require.Equal(t, 1, b.get("bias_tee"))
	require.NoError(t, r.Close())
	require.Equal(t, 0, b.get("bias_tee"), "what was switched on is switched off")

	var s tuner.Tuner = b.open(t, b.options())
	bias, ok := s.(tuner.BiasTee)
	require.True(t, ok)
	require.NoError(t, bias.SetBiasTee(true))
	require.Equal(t, 1, b.get("bias_tee"))
	require.NoError(t, s.Close())
	require.Equal(t, 0, b.get("bias_tee"))
	require.ErrorIs(t, bias.SetBiasTee(true), os.ErrClosed)
}

// A dongle whose gain librtlsdr does not set.
func TestNoGainSteps(t *testing.T) {
	b := newBench(t)
	b.set("gains", 1)
	r := b.open(t, b.options())
	require.Empty(t, r.Info().GainsDB)
	require.NoError(t, r.Tune(bg, at(500)))
	block, err := r.Read(bg, make([]complex64, 10))
	require.NoError(t, err)
	require.True(t, math.IsNaN(block.GainDB))
	require.Equal(t, -1, b.get("gain"), "no gain was set")
}

func TestListAndFind(t *testing.T) {
	b := newBench(t)
	b.set("devices", 3)
	devices, err := List(b.options())
	require.NoError(t, err)
	require.Len(t, devices, 3)
	require.Equal(t, Device{Name: "Stand-in RTL2832U", Manufacturer: "Harbour Works",
		Product: "Stand-in", Serial: "STAND1"}, devices[1])

	o := b.options()
	i, err := b.lib.find("STAND2", o)
	require.NoError(t, err)
	require.EqualValues(t, 2, i)
	i, err = b.lib.find("", o)
	require.NoError(t, err)
	require.Zero(t, i)
	_, err = Open(bg, "STAND", o)
	problemtest.Require(t, err, ErrNoDevice)
	require.ErrorContains(t, err, `"STAND"`)

	b.set("strings_rc", usbAccess)
	devices, err = List(o)
	require.NoError(t, err)
	problemtest.Require(t, devices[0].Problem, ErrNoPermission)
	_, err = Open(bg, "STAND1", o)
	problemtest.Require(t, err, ErrNoPermission)

	b.set("devices", 0)
	devices, err = List(o)
	require.NoError(t, err)
	require.Empty(t, devices)
	_, err = Open(bg, "", o)
	problemtest.Require(t, err, ErrNoDevice)
}

// Truth: libusb.h's error codes; librtlsdr's sources for what it does with
// them (a kernel driver that stays is reported as success without a handle).
func TestOpenProblems(t *testing.T) {
	sysfs := t.TempDir()
	holds := filepath.Join(sysfs, "bus/usb/drivers/dvb_usb_rtl28xxu")
	require.NoError(t, os.MkdirAll(filepath.Join(holds, "1-1.2:1.0"), 0o755))
	idle := t.TempDir()
	require.NoError(t, os.MkdirAll(filepath.Join(idle, "bus/usb/drivers/dvb_usb_rtl28xxu/module"), 0o755))

	b := newBench(t)
	for _, c := range []struct {
		name  string
		knobs map[string]int
		sysfs string
		want  error
	}{
		{"permission", map[string]int{"open_rc": -3}, idle, ErrNoPermission},
		{"gone", map[string]int{"open_rc": -4}, idle, ErrUnplugged},
		{"busy", map[string]int{"open_rc": -6}, idle, ErrBusy},
		{"busy, no such driver", map[string]int{"open_rc": -6}, t.TempDir(), ErrBusy},
		{"kernel driver", map[string]int{"open_rc": -6}, sysfs, ErrKernelDriver},
		{"kernel driver that stays", map[string]int{"open_null": 1}, idle, ErrKernelDriver},
		{"another driver", map[string]int{"open_rc": -12}, idle, ErrBusy},
		{"anything else", map[string]int{"open_rc": -99}, idle, ErrRefused},
	} {
		t.Run(c.name, func(t *testing.T) {
			for k, v := range c.knobs {
				b.set(k, v)
				defer b.set(k, 0)
			}
			o := b.options()
			o.sysfs = c.sysfs
			_, err := Open(bg, "", o)
			problemtest.Require(t, err, c.want)
			require.Equal(t, b.get("opened"), b.get("closed"))
		})
	}
}

func TestLibraryProblems(t *testing.T) {
	dir := t.TempDir()
	_, err := List(Options{Library: filepath.Join(dir, "none.so")})
	problemtest.Require(t, err, ErrNoLibrary)
	_, err = Open(bg, "", Options{Library: filepath.Join(dir, "none.so")})
	problemtest.Require(t, err, ErrNoLibrary)
	_, err = List(Options{Library: "librooftone-none.so.0"})
	problemtest.Require(t, err, ErrNoLibrary)

	junk := filepath.Join(dir, "junk.so")
	require.NoError(t, os.WriteFile(junk, []byte("not a library"), 0o644))
	_, err = List(Options{Library: junk})
	problemtest.Require(t, err, ErrBadLibrary)

	if runtime.GOOS == "linux" {
		_, err = List(Options{Library: "libc.so.6"})
		problemtest.Require(t, err, ErrBadLibrary)
		require.ErrorContains(t, err, "rtlsdr_")
	}

	t.Setenv(LibraryEnv, junk)
	_, err = List(Options{})
	problemtest.Require(t, err, ErrBadLibrary)
}

func TestOldLibraryWithoutBiasTee(t *testing.T) {
	b := newBench(t)
	b.lib.setBiasTee = nil
	require.Error(t, device{b.lib, 0}.setBiasTee(true))
}

// The time limits below are far above what is measured (some 10 ms) and far
// below the time-outs that they are to prove were not waited for.
func TestUnpluggedWhileReading(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	r := b.open(t, b.options())
	require.NoError(t, r.Tune(bg, at(500)))
	dst := make([]complex64, 24_000)
	b.set("devices", 0)
	b.set("unplug_after", 1_000_000) // 0.2 s
	var err error
	start := time.Now()
	for err == nil {
		var block tuner.Block
		block, err = r.Read(bg, dst)
		require.Empty(t, standin.Check(block.Samples, 500e6))
		if err != nil {
			require.Less(t, len(block.Samples), len(dst))
		}
	}
	require.Less(t, time.Since(start), 2*time.Second)
	problemtest.Require(t, err, ErrUnplugged)
	problemtest.Require(t, r.Tune(bg, at(502)), ErrUnplugged)
	_, err = r.Read(bg, dst)
	require.Error(t, err)
	require.NoError(t, r.Close())
	require.Equal(t, 1, b.get("closed"))
}

func TestUnpluggedWhileTuning(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	r := b.open(t, b.options())
	require.NoError(t, r.Tune(bg, at(500)))
	b.set("tune_us", 300_000)
	time.AfterFunc(50*time.Millisecond, func() { b.set("devices", 0); b.set("unplug_after", 1) })
	start := time.Now()
	problemtest.Require(t, r.Tune(bg, at(502)), ErrUnplugged)
	require.Less(t, time.Since(start), 2*time.Second)
	require.NoError(t, r.Close())
}

func TestStreamThatCannotStart(t *testing.T) {
	b := newBench(t)
	b.set("async_rc", usbNoMemory)
	r := b.open(t, b.options())
	err := r.Tune(bg, at(500))
	problemtest.Require(t, err, ErrRefused)
	require.ErrorContains(t, err, "memory")
	require.NoError(t, r.Close())
}

func TestRefusedFrequency(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	r := b.open(t, b.options())
	b.set("tune_rc", -1)
	err := r.Tune(bg, at(500))
	problemtest.Require(t, err, ErrRefused)
	require.ErrorContains(t, err, "500.000 MHz")
	b.set("tune_rc", 0)
	require.NoError(t, r.Tune(bg, at(502)))
	block, err := r.Read(bg, make([]complex64, 10_000))
	require.NoError(t, err)
	require.Empty(t, standin.Check(block.Samples, 502e6))
}

func TestStalledDongle(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	o := b.options()
	o.Timeout = 200 * time.Millisecond
	r := b.open(t, o)
	require.NoError(t, r.Tune(bg, at(500)))
	b.set("silent_after", 1)
	dst := make([]complex64, 24_000)
	var err error
	for start := time.Now(); err == nil; {
		_, err = r.Read(bg, dst)
		require.Less(t, time.Since(start), 5*time.Second)
	}
	problemtest.Require(t, err, ErrStalled)
	require.NoError(t, r.Close())
	require.Equal(t, 1, b.get("closed"))
}

// A library that does not return must not keep Close.
func TestCloseGivesUp(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	o := b.options()
	o.Timeout = 200 * time.Millisecond
	r := b.open(t, o)
	b.set("stuck", 1)
	start := time.Now()
	problemtest.Require(t, r.Close(), ErrStalled)
	require.Less(t, time.Since(start), 3*time.Second)
	b.set("stuck", 0)
	require.NoError(t, r.stream.stop(bg))
	r.lib.close(r.dev.handle)
}

func TestContexts(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	ctx, cancel := context.WithCancel(bg)
	cancel()

	b.set("open_us", 1_500_000)
	short, cancel := context.WithTimeout(bg, 20*time.Millisecond)
	defer cancel()
	start := time.Now()
	_, err := Open(short, "", b.options())
	require.ErrorIs(t, err, context.DeadlineExceeded)
	require.Less(t, time.Since(start), time.Second)
	require.Eventually(t, func() bool { return b.get("closed") == 1 }, 5*time.Second, 5*time.Millisecond,
		"what was opened too late is closed")
	b.set("open_us", 0)

	r := b.open(t, b.options())
	require.NoError(t, r.Tune(bg, at(500)))
	require.ErrorIs(t, r.Tune(ctx, at(502)), context.Canceled)
	require.NoError(t, r.Tune(bg, at(504)))
	_, err = r.Read(ctx, make([]complex64, 10))
	require.ErrorIs(t, err, context.Canceled)

	// In the middle of a long read.
	const middle = 2 * time.Second // in which samples come also where much else runs
	long, cancel := context.WithTimeout(bg, middle)
	defer cancel()
	start = time.Now()
	block, err := r.Read(long, make([]complex64, 24e6))
	require.ErrorIs(t, err, context.DeadlineExceeded)
	require.Less(t, time.Since(start), middle+2*time.Second)
	require.NotEmpty(t, block.Samples)
	require.Empty(t, standin.Check(block.Samples, 504e6))
	block, err = r.Read(bg, make([]complex64, 1000))
	require.NoError(t, err)
	require.Empty(t, standin.Check(block.Samples, 504e6))

	// In the middle of a command that hangs.
	b.set("tune_us", 1_500_000)
	short, cancel = context.WithTimeout(bg, 20*time.Millisecond)
	defer cancel()
	start = time.Now()
	require.ErrorIs(t, r.Tune(short, at(506)), context.DeadlineExceeded)
	require.Less(t, time.Since(start), time.Second)
	require.NoError(t, r.Close())
	require.Equal(t, 2, b.get("closed"))
}

// Nothing is left behind, and the one callback of the process serves as many
// dongles as are opened.
func TestManyOpensLeaveNothingBehind(t *testing.T) {
	b := newBench(t)
	before := runtime.NumGoroutine()
	for i := range 20 {
		r := b.open(t, b.options())
		if i%2 == 0 {
			require.NoError(t, r.Tune(bg, at(500)))
		}
		require.NoError(t, r.Close())
	}
	require.Equal(t, 20, b.get("closed"))
	require.Empty(t, receivers.to)
	for deadline := time.Now().Add(10 * time.Second); runtime.NumGoroutine() > before; {
		require.True(t, time.Now().Before(deadline), "goroutines are left")
		time.Sleep(10 * time.Millisecond)
	}
}

// Truth: the stand-in's sample numbers. A reader that comes too late is told.
func TestLateReader(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	r := b.open(t, b.options())
	require.NoError(t, r.Tune(bg, at(500)))
	from := r.ring.Written()
	require.Eventually(t, func() bool { return r.ring.Written() > from+ringBytes+1<<20 },
		20*time.Second, 10*time.Millisecond)
	// More than the receiver can have at hand from before the loss.
	block, err := r.Read(bg, make([]complex64, 40_000))
	require.NoError(t, err)
	require.True(t, block.Lost)
	require.Empty(t, standin.Check(block.Samples, 500e6))
}

func TestTwoDonglesAtOnce(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	b.set("devices", 2)
	var radios [2]tuner.Tuner
	for i := range radios {
		r, err := Open(bg, []string{"STAND0", "STAND1"}[i], b.options())
		require.NoError(t, err)
		defer r.Close()
		radios[i] = r
		require.NoError(t, r.Tune(bg, at(500+10*float64(i))))
	}
	for i, r := range radios {
		block, err := r.Read(bg, make([]complex64, 50_000))
		require.NoError(t, err)
		require.Empty(t, standin.Check(block.Samples, 500e6+10e6*float64(i)))
	}
}

func TestProblemKeepsContextErrors(t *testing.T) {
	var r radio
	require.NoError(t, r.problem(nil))
	require.Equal(t, context.Canceled, r.problem(context.Canceled))
	require.False(t, errors.As(r.problem(context.Canceled), new(*tuner.Problem)))
}
