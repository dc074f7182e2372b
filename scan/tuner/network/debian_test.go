package network

import (
	"bufio"
	"context"
	"io"
	"net"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"rooftone/scan/tuner"
	"rooftone/scan/tuner/internal/problemtest"
	"rooftone/scan/tuner/internal/standin"
)

// debian runs the dongle server of Debian's rtl-sdr package over the stand-in
// librtlsdr, with knobs as in standin.c, and returns where it listens.
func debian(t *testing.T, knobs ...string) string {
	t.Helper()
	bin, err := exec.LookPath("rtl_tcp")
	if err != nil {
		t.Skip("the dongle server (Debian: apt install rtl-sdr) is not installed")
	}
	lib := standin.Build(t)
	// A newer Debian's server asks for the library by another name.
	require.NoError(t, os.Symlink(lib, filepath.Join(filepath.Dir(lib), "librtlsdr.so.2")))

	l, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	addr := l.Addr().String()
	l.Close()
	_, port, _ := net.SplitHostPort(addr)

	ctx, cancel := context.WithCancel(context.Background())
	cmd := exec.CommandContext(ctx, bin, "-a", "127.0.0.1", "-p", port)
	cmd.Env = append(os.Environ(), "LD_LIBRARY_PATH="+filepath.Dir(lib))
	for _, k := range knobs {
		cmd.Env = append(cmd.Env, "STANDIN_"+k)
	}
	out, err := cmd.StderrPipe()
	require.NoError(t, err)
	require.NoError(t, cmd.Start())
	t.Cleanup(func() { cancel(); cmd.Wait() })

	// It says on which device and to what it is tuned when it is about to
	// listen; that its socket is there shows by connecting, but it takes only
	// one connection, so that is left to the test.
	tuned := make(chan string, 1)
	go func() {
		lines := bufio.NewScanner(out)
		var seen []string
		for lines.Scan() {
			seen = append(seen, lines.Text())
			if strings.Contains(lines.Text(), "Tuned to") {
				break
			}
		}
		tuned <- strings.Join(seen, "\n")
		io.Copy(io.Discard, out)
	}()
	select {
	case said := <-tuned:
		require.Contains(t, said, "Stand-in", "it must run on the stand-in, not on a real dongle")
		require.Contains(t, said, "Tuned to")
	case <-time.After(20 * time.Second):
		t.Fatal("the dongle server does not start")
	}
	return addr
}

// dialDebian connects as soon as the server listens.
func dialDebian(t *testing.T, addr string, o Options) *radio {
	t.Helper()
	var err error
	for deadline := time.Now().Add(20 * time.Second); time.Now().Before(deadline); time.Sleep(20 * time.Millisecond) {
		var r tuner.Tuner
		if r, err = Dial(bg, addr, o); err == nil {
			t.Cleanup(func() { r.Close() })
			return r.(*radio)
		}
	}
	require.NoError(t, err)
	return nil
}

// Truth: a second implementation of the protocol, the real server. The
// stand-in's samples show that each command arrived and took effect, and that
// no block mixes tunings though the server's buffers hold 55 ms each.
func TestDebiansServer(t *testing.T) {
	t.Parallel()
	addr := debian(t)
	r := dialDebian(t, addr, Options{})
	require.Len(t, r.Info().GainsDB, 29)
	dst := make([]complex64, 144_000) // 60 ms
	var slowest time.Duration
	for hop := range 5 {
		to := at(470 + 2*float64(hop))
		start := time.Now()
		require.NoError(t, r.Tune(bg, to))
		if hop > 0 {
			slowest = max(slowest, time.Since(start))
		}
		b, err := r.Read(bg, dst)
		require.NoError(t, err)
		require.Empty(t, standin.Check(b.Samples, to.CenterHz))
		require.Equal(t, 29.7, b.GainDB)
	}
	t.Logf("the slowest retune took %v", slowest)
	require.False(t, r.o.NoCounter)

	// While this one is connected, another hears nothing.
	_, err := Dial(bg, addr, Options{Timeout: 200 * time.Millisecond})
	problemtest.Require(t, err, ErrSilent)
	require.NoError(t, r.Close())

	// And when it has gone, the server serves again.
	r = dialDebian(t, addr, Options{})
	require.NoError(t, r.Tune(bg, at(600)))
	b, err := r.Read(bg, dst)
	require.NoError(t, err)
	require.Empty(t, standin.Check(b.Samples, 600e6))
}

// A chip other than the usual one, buffers on their way in the USB queue too,
// and a dongle without the counter.
func TestDebiansServerWithAnotherDongle(t *testing.T) {
	t.Parallel()
	r := dialDebian(t, debian(t, "TUNER=3", "GAINS=23", "QUEUE=2"), Options{})
	require.Len(t, r.Info().GainsDB, 23)
	require.NoError(t, r.Tune(bg, at(500)))
	require.NoError(t, r.Tune(bg, at(501)))
	b, err := r.Read(bg, make([]complex64, 50_000))
	require.NoError(t, err)
	require.Empty(t, standin.Check(b.Samples, 501e6))
	require.Equal(t, 19.7, b.GainDB)
	require.NoError(t, r.Close())

	r = dialDebian(t, debian(t, "NO_COUNTER=1"), Options{})
	for hop := range 3 {
		to := at(500 + float64(hop))
		require.NoError(t, r.Tune(bg, to))
		b, err := r.Read(bg, make([]complex64, 50_000))
		require.NoError(t, err)
		require.Empty(t, standin.Check(b.Samples, to.CenterHz))
	}
}

// What an unplugged dongle does to the real server: it ends, or waits for the
// next connection and then has nothing to send. Either is an error that says
// so, not a hang.
func TestDebiansServerUnplugged(t *testing.T) {
	t.Parallel()
	r := dialDebian(t, debian(t, "UNPLUG_AFTER=4000000"),
		Options{Timeout: 700 * time.Millisecond, Backoff: []time.Duration{10 * time.Millisecond, 100 * time.Millisecond}})
	err := r.Tune(bg, at(500))
	for start := time.Now(); err == nil; {
		_, err = r.Read(bg, make([]complex64, 24_000))
		require.Less(t, time.Since(start), 30*time.Second)
	}
	var p *tuner.Problem
	require.ErrorAs(t, err, &p)
	t.Logf("error: %s", p.What)
	t.Logf("hint: %s", p.Hint)
}
