package soapy

import (
	"context"
	"errors"
	"flag"
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"rooftone/scan/tuner"
	"rooftone/scan/tuner/internal/problemtest"
	"rooftone/scan/tuner/soapy/soapytest"
)

var unplugs = flag.Int("unplugs", 10, "how many unplugs TestUnplugs draws, of each path")

var bg = context.Background()

// serve serves a radio for the test, and loads the module that finds it.
func serve(t *testing.T, source soapytest.Source, f soapytest.Facts) *soapytest.Server {
	t.Helper()
	soapytest.Load(t)
	s, err := soapytest.Serve(source, f)
	require.NoError(t, err)
	t.Cleanup(s.Close)
	return s
}

// paced is a wide radio that does not make samples faster than a small computer
// takes them.
func paced() soapytest.Facts {
	f := soapytest.Wide()
	f.Pace = 0.5
	return f
}

func openRadio(t *testing.T, word string, o Options) *radio {
	t.Helper()
	a, err := ParseAddress(word)
	require.NoError(t, err)
	r, err := Open(bg, a, o)
	require.NoError(t, err)
	t.Cleanup(func() { r.Close() })
	return r.(*radio)
}

func at(mhz float64) tuner.Tuning {
	return tuner.Tuning{CenterHz: mhz * 1e6, RateHz: 4e6, GainDB: 30}
}

// Truth: the radio's samples carry their tuning and number, and its clock, not the
// program's threads, decides what is sampled when.
func TestSamplesFollowTheTuning(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		name  string
		facts func(*soapytest.Facts)
	}{
		{"with times", func(*soapytest.Facts) {}},
		{"with times, much waits in the driver", func(f *soapytest.Facts) { f.Queue = 300_000 }},
		{"without times", func(f *soapytest.Facts) { f.NoTime, f.Queue = true, 0 }},
		{"small pieces", func(f *soapytest.Facts) { f.MTU, f.Queue = 360, 3600 }},
		{"floats", func(f *soapytest.Facts) { f.Format, f.FullScale = "CF32", 1 }},
		{"16 bits", func(f *soapytest.Facts) { f.FullScale = 32768 }},
	} {
		t.Run(c.name, func(t *testing.T) {
			f := paced()
			c.facts(&f)
			s := serve(t, &soapytest.Ruler{Settle: 8000, RateSettle: 300_000}, f)
			r := openRadio(t, s.Address(), Options{Settle: 2 * time.Millisecond})
			dst := make([]complex64, 60_000)
			for hop := range 4 {
				to := at(470 + 6*float64(hop))
				if hop == 3 {
					to.RateHz = 8e6
				}
				require.NoError(t, r.Tune(bg, to))
				for range 2 {
					b, err := r.Read(bg, dst)
					require.NoError(t, err)
					require.Len(t, b.Samples, len(dst))
					if !b.Lost { // a busy computer loses some; what is read is whole all the same
						require.WithinDuration(t, time.Now(), b.Start, 10*time.Second)
					}
					require.Empty(t, soapytest.Check(b.Samples, to.CenterHz))
					require.Equal(t, to.CenterHz, b.CenterHz)
					require.Equal(t, to.RateHz, b.RateHz)
					require.Equal(t, 30.0, b.GainDB)
					require.Zero(t, b.Clipped)
				}
			}
		})
	}
}

// Truth: the formats' definitions in Formats.h, and that an integer's two ends are
// its rails.
func TestFormats(t *testing.T) {
	for _, c := range []struct {
		name      string
		fullScale float64
		bytes     []byte
		want      complex64
		clipped   int
		datatype  string
	}{
		{"CS8", 128, []byte{64, 0xc0}, complex(0.5, -0.5), 0, "ci8"},
		{"CS8", 0, []byte{127, 0}, complex(127.0/128, 0), 1, "ci8"},
		{"CU8", 128, []byte{255, 0}, complex(1, -1), 1, "cu8"},
		{"CS16", 2048, []byte{0, 4, 0, 0xfc}, complex(0.5, -0.5), 0, "ci16_le"},
		{"CS16", 2048, []byte{0xff, 7, 0, 0}, complex(2047.0/2048, 0), 1, "ci16_le"},
		{"CS16", 2048, []byte{0, 0, 0, 0xf8}, complex(0, -1), 1, "ci16_le"},
		{"CS16", 2000, []byte{0xe8, 3, 0, 0}, complex(0.5, 0), 0, "cf32_le"},
		{"CS16", 0, []byte{0, 0x40, 0, 0}, complex(0.5, 0), 0, "ci16_le"},
		{"CF32", 1, []byte{0, 0, 0, 0x3f, 0, 0, 0x80, 0xbf}, complex(0.5, -1), 1, "cf32_le"},
		{"CF32", 2, []byte{0, 0, 0, 0x3f, 0, 0, 0x80, 0xbf}, complex(0.25, -0.5), 0, "cf32_le"},
	} {
		f := newFormat(c.name, c.fullScale)
		require.Equal(t, c.datatype, f.datatype, "%s, full scale %g", c.name, c.fullScale)
		require.Len(t, c.bytes, f.size)
		dst := make([]complex64, 2)
		n, clipped := f.convert(dst, c.bytes)
		require.Equal(t, 1, n)
		require.Equal(t, c.clipped, clipped, "%s: %v", c.name, c.bytes)
		require.Equal(t, c.want, dst[0], "%s: %v", c.name, c.bytes)
	}
	for _, c := range []struct {
		native  string
		offered []string
		want    string
	}{{"CS16", []string{"CF32"}, "CS16"}, {"CS12", []string{"CF32", "CS16"}, "CS16"}, {"CS4", []string{"CF32"}, "CF32"}, {"CF64", nil, ""}} {
		f, ok := chooseFormat(c.native, 7, c.offered)
		require.Equal(t, c.want, f.name)
		require.Equal(t, c.want != "", ok)
	}
}

// Truth: what the radio was told.
func TestSettings(t *testing.T) {
	t.Parallel()
	s := serve(t, &soapytest.Ruler{}, paced())
	told := func(command, want string) {
		t.Helper()
		got, n := s.Told(command)
		require.Positive(t, n, command)
		require.Equal(t, want, got, command)
	}
	r := openRadio(t, s.Address()+",antenna=ATTIC,gain.VGA=10", Options{})
	told("antenna", "ATTIC")
	told("agc", "0")
	told("dc", "1")
	require.Equal(t, "ci16_le", r.Info().Datatype)
	require.Contains(t, r.Info().Name, "soapy:driver=town")
	gains := r.Info().GainsDB
	require.Equal(t, []float64{10, 40}, []float64{gains[0], gains[len(gains)-1]})
	require.NoError(t, r.Tune(bg, tuner.Tuning{CenterHz: 500e6, RateHz: 10e6, GainDB: 25}))
	told("gain", "LNA 15.000000")
	told("bandwidth", "10000000.000000")
	b, err := r.Read(bg, make([]complex64, 100))
	require.NoError(t, err)
	require.Equal(t, 25.0, b.GainDB)

	require.NoError(t, r.SetBiasTee(true))
	told("setting", "biastee_ctrl true")
	require.NoError(t, r.Close())
	told("setting", "biastee_ctrl false")
	require.ErrorIs(t, r.Tune(bg, at(500)), os.ErrClosed)

	r = openRadio(t, s.Address()+",bandwidth=5M", Options{})
	require.NoError(t, r.Tune(bg, tuner.Tuning{CenterHz: 500e6, RateHz: 10e6, GainDB: math.NaN()}))
	told("bandwidth", "5000000.000000")
	rates := r.Rates()
	require.Equal(t, tuner.Rates{{LowHz: 1e6, HighHz: 20e6}}, rates)
	b, err = r.Read(bg, make([]complex64, 100))
	require.NoError(t, err)
	require.Equal(t, 25.0, b.GainDB, "what the driver had it at")
	require.NoError(t, r.Close())

	f := paced()
	f.NoBias = true
	r = openRadio(t, serve(t, &soapytest.Ruler{}, f).Address(), Options{})
	problemtest.Require(t, r.SetBiasTee(true), ErrRefused)
	require.NoError(t, r.SetBiasTee(false))
}

// Truth: arithmetic, with filters as radios have them.
func TestFilterFor(t *testing.T) {
	for _, c := range []struct {
		rate float64
		has  []span
		want float64
	}{
		{10e6, []span{{1.5e6, 28e6, 0}}, 10e6},
		{10e6, []span{{1.75e6, 1.75e6, 0}, {9e6, 9e6, 0}, {10e6, 10e6, 0}, {12e6, 12e6, 0}}, 9e6},
		{8e6, []span{{5e6, 5e6, 0}, {9e6, 9e6, 0}, {12e6, 12e6, 0}}, 9e6},
		{20e6, []span{{5e6, 5e6, 0}, {9e6, 9e6, 0}}, 9e6},
	} {
		require.Equal(t, c.want, filterFor(c.rate, c.has), "%g", c.rate)
	}
}

// Truth: what was lost, by the radio's own count.
func TestLosses(t *testing.T) {
	t.Parallel()
	s := serve(t, &soapytest.Ruler{}, paced())
	r := openRadio(t, s.Address(), Options{Timeout: 600 * time.Millisecond})
	require.NoError(t, r.Tune(bg, at(500)))
	dst := make([]complex64, 50_000)
	lost := false
	for range 8 {
		s.Lose(12_345)
		b, err := r.Read(bg, dst)
		require.NoError(t, err)
		require.Empty(t, soapytest.Check(b.Samples, 500e6))
		lost = lost || b.Lost
	}
	require.True(t, lost)
	s.Storm(true)
	began := time.Now()
	_, err := r.Read(bg, make([]complex64, 8_000_000))
	problemtest.Require(t, err, ErrTooSlow)
	require.Less(t, time.Since(began), 5*time.Second)
	// It is over, and all goes on.
	s.Storm(false)
	require.NoError(t, r.Tune(bg, at(506)))
	b, err := r.Read(bg, dst)
	require.NoError(t, err)
	require.Empty(t, soapytest.Check(b.Samples, 506e6))
}

// Truth: times that are the driver's invention tell nothing; the samples are whole.
func TestTimesThatMeanNothing(t *testing.T) {
	t.Parallel()
	f := paced()
	f.Queue = 0
	s := serve(t, &soapytest.Ruler{}, f)
	s.Jitter(5 * time.Millisecond)
	r := openRadio(t, s.Address(), Options{})
	dst := make([]complex64, 200_000)
	for hop := range 3 {
		to := at(500 + 6*float64(hop))
		require.NoError(t, r.Tune(bg, to))
		b, err := r.Read(bg, dst)
		require.NoError(t, err)
		require.Empty(t, soapytest.Check(b.Samples, to.CenterHz))
	}
}

// Truth: what README.md promises of errors: one line each, and what to do.
func TestProblems(t *testing.T) {
	t.Parallel()
	_, err := Open(bg, Address{}, Options{Library: filepath.Join(t.TempDir(), "none.so")})
	problemtest.Require(t, err, ErrNoLibrary)
	broken := filepath.Join(t.TempDir(), "broken.so")
	require.NoError(t, os.WriteFile(broken, []byte("no library"), 0o755))
	_, err = List(bg, Options{Library: broken})
	problemtest.Require(t, err, ErrBadLibrary)
	if math.MaxInt > math.MaxInt32 {
		_, err = Open(bg, Address{}, Options{Library: "libc.so.6"})
		problemtest.Require(t, err, ErrBadLibrary)
	}

	s := serve(t, &soapytest.Ruler{}, paced())
	_, err = Open(bg, Address{Device: "driver=nosuchradio"}, Options{})
	problemtest.Require(t, err, ErrNoDevice)
	_, err = Open(bg, Address{Device: s.Address() + ",serial=OTHER"}, Options{})
	problemtest.Require(t, err, ErrNoDevice)
	_, err = Open(bg, Address{Device: s.Address(), Antenna: "CELLAR"}, Options{})
	problemtest.Require(t, err, ErrOpen)
	_, err = Open(bg, Address{Device: s.Address(), Elements: []Element{{"MIXER", 3}}}, Options{})
	problemtest.Require(t, err, ErrOpen)
	f := paced()
	f.Format = "CS12"
	_, err = Open(bg, Address{Device: serve(t, &soapytest.Ruler{}, f).Address()}, Options{})
	problemtest.Require(t, err, ErrOpen)
	s.Refuse("it is held by somebody else.")
	_, err = Open(bg, Address{Device: s.Address()}, Options{})
	problemtest.Require(t, err, ErrOpen)
	s.Refuse("")

	r := openRadio(t, s.Address(), Options{})
	problemtest.Require(t, r.Tune(bg, tuner.Tuning{CenterHz: 3e9, RateHz: 4e6, GainDB: 30}), ErrRefused)
	problemtest.Require(t, r.Tune(bg, tuner.Tuning{CenterHz: 500e6, RateHz: 40e6, GainDB: 30}), ErrRefused)
	require.NoError(t, r.Tune(bg, at(500)))
	s.Refuse("the synthesiser does not lock.")
	problemtest.Require(t, r.Tune(bg, at(506)), ErrRefused)
	s.Refuse("")
	require.NoError(t, r.Tune(bg, at(506)), "it recovers by itself")
	b, err := r.Read(bg, make([]complex64, 1000))
	require.NoError(t, err)
	require.Empty(t, soapytest.Check(b.Samples, 506e6))

	s.Unplug(0, soapytest.Hung)
	_, err = Open(bg, Address{Device: s.Address()}, Options{OpenTimeout: time.Second})
	problemtest.Require(t, err, ErrStalled)
}

// Truth: the context's end, whatever the library does.
func TestContext(t *testing.T) {
	t.Parallel()
	s := serve(t, &soapytest.Ruler{}, paced())
	r := openRadio(t, s.Address(), Options{})
	require.NoError(t, r.Tune(bg, at(500)))
	s.Unplug(0, soapytest.Silent)
	ctx, cancel := context.WithTimeout(bg, 50*time.Millisecond)
	defer cancel()
	_, err := r.Read(ctx, make([]complex64, 100_000_000/8))
	require.ErrorIs(t, err, context.DeadlineExceeded)
	require.ErrorIs(t, r.Tune(ctx, at(506)), context.DeadlineExceeded)
	s.Unplug(0, soapytest.Here)
	require.NoError(t, r.Tune(bg, at(506)))
	b, err := r.Read(bg, make([]complex64, 10_000))
	require.NoError(t, err)
	require.Empty(t, soapytest.Check(b.Samples, 506e6))
}

// Truth: what is promised: at whatever moment and in whatever way a radio goes away,
// there is one clear line within five seconds, and it can be opened again.
func TestUnplugs(t *testing.T) {
	t.Parallel()
	rng := rand.New(rand.NewPCG(11, 3))
	kinds := []soapytest.End{soapytest.Error, soapytest.Gone, soapytest.Silent, soapytest.Hung}
	// The defaults take 4 s to give a radio up that hangs: a few draws go faster.
	timeouts := Options{
		Timeout: 400 * time.Millisecond, CommandTimeout: 800 * time.Millisecond,
		Backoff: []time.Duration{50 * time.Millisecond},
	}
	if *unplugs > 20 {
		timeouts = Options{}
	}
	draws := *unplugs
	if testing.Short() {
		draws = min(draws, 4)
	}
	for n := range draws {
		kind, after, size := kinds[n%len(kinds)], 1+rng.Int64N(400_000), 1+rng.IntN(60_000)
		t.Run(fmt.Sprint(n), func(t *testing.T) {
			t.Parallel()
			unplug(t, kind, after, size, timeouts)
		})
	}
}

// unplug reads a radio until it is gone, and opens it again.
func unplug(t *testing.T, kind soapytest.End, after int64, size int, o Options) {
	s := serve(t, &soapytest.Ruler{}, paced())
	a, err := ParseAddress(s.Address())
	require.NoError(t, err)
	s.Unplug(after, kind)
	rd, err := Open(bg, a, o)
	require.NoError(t, err)
	var failed time.Duration
	dst := make([]complex64, size)
	for hop := 0; err == nil; hop++ {
		began := time.Now()
		if err = rd.Tune(bg, at(470+float64(hop%20))); err == nil {
			_, err = rd.Read(bg, dst)
		}
		failed = time.Since(began)
	}
	require.True(t, errors.Is(err, ErrUnplugged) || errors.Is(err, ErrStalled) || errors.Is(err, ErrRefused), "%v", err)
	var p *tuner.Problem
	require.ErrorAs(t, err, &p)
	require.NotContains(t, p.What, "\n")
	began := time.Now()
	closing := rd.Close()
	failed += time.Since(began)
	t.Logf("end %d: %v after %.2f s; closing: %v", kind, err, failed.Seconds(), closing)
	require.Less(t, failed, 5*time.Second, "%v", err)
	if kind != soapytest.Hung {
		s.Unplug(0, soapytest.Here)
		again, err := Open(bg, a, o)
		require.NoError(t, err)
		require.NoError(t, again.Tune(bg, at(500)))
		require.NoError(t, again.Close())
	}
}

// Truth: what is promised: a radio that comes back is gone on with, and what was lost
// is said.
func TestComesBack(t *testing.T) {
	t.Parallel()
	s := serve(t, &soapytest.Ruler{}, paced())
	r := openRadio(t, s.Address(), Options{Timeout: 600 * time.Millisecond})
	require.NoError(t, r.Tune(bg, at(500)))
	require.NoError(t, r.SetBiasTee(true))
	dst := make([]complex64, 40_000)
	for _, how := range []soapytest.End{soapytest.Error, soapytest.Gone, soapytest.Silent} {
		s.Unplug(0, how)
		time.AfterFunc(100*time.Millisecond, func() { s.Unplug(0, soapytest.Here) })
		b, err := r.Read(bg, make([]complex64, 800_000))
		require.NoError(t, err)
		require.True(t, b.Lost || how == soapytest.Silent)
		require.Empty(t, soapytest.Check(b.Samples, 500e6))
		told, _ := s.Told("setting")
		require.Equal(t, "biastee_ctrl true", told)

		s.Unplug(0, how)
		time.AfterFunc(100*time.Millisecond, func() { s.Unplug(0, soapytest.Here) })
		require.NoError(t, r.Tune(bg, at(506)))
		require.NoError(t, r.Tune(bg, at(500)))
		b, err = r.Read(bg, dst)
		require.NoError(t, err)
		require.Empty(t, soapytest.Check(b.Samples, 500e6))
	}
	s.Unplug(0, soapytest.Gone)
	_, err := r.Read(bg, dst)
	for ; err == nil; _, err = r.Read(bg, dst) { // what the driver still had
	}
	problemtest.Require(t, err, ErrUnplugged)
	s.Unplug(0, soapytest.Here)
	b, err := r.Read(bg, dst)
	require.NoError(t, err)
	require.True(t, b.Lost)
	require.Empty(t, soapytest.Check(b.Samples, 500e6))
}

// Truth: the grammar in ParseAddress's comment.
func TestParseAddress(t *testing.T) {
	a, err := ParseAddress("driver=lime, serial=0123,antenna=LNAW,bandwidth=8M,gain.LNA=20,gain.TIA=3.5")
	require.NoError(t, err)
	require.Equal(t, Address{
		Device: "driver=lime,serial=0123", Antenna: "LNAW", BandwidthHz: 8e6,
		Elements: []Element{{"LNA", 20}, {"TIA", 3.5}},
	}, a)
	for _, bad := range []string{"lime", "=x", "driver=", "bandwidth=wide", "bandwidth=1", "gain.=3", "gain.LNA=loud", "gain.A=1,gain.A=2", "a=b,,c=d"} {
		_, err := ParseAddress(bad)
		require.Error(t, err, bad)
	}
	back, err := ParseAddress(address(map[string]string{"driver": "remote", "remote": "tcp://127.0.0.1:1", "remote:driver": "x", "serial": "7", "label": "A, B"}))
	require.NoError(t, err)
	require.Equal(t, "driver=remote,remote=tcp://127.0.0.1:1,remote:driver=x,serial=7", back.Device)
}

// Truth: nothing, but that no text makes it panic, and that what it takes it takes
// again.
func FuzzParseAddress(f *testing.F) {
	for _, s := range []string{"", "driver=a,serial=b", "gain.LNA=20,antenna=RX", "bandwidth=8M"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		a, err := ParseAddress(s)
		if err != nil {
			return
		}
		again, err := ParseAddress(a.Device)
		if err != nil || strings.ContainsRune(a.Device, 0) || again.Device != a.Device {
			t.Fatalf("%q became %q, and that %q, %v", s, a.Device, again.Device, err)
		}
	})
}
