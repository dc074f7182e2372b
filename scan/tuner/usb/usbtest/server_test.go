package usbtest_test

import (
	"bufio"
	"flag"
	"io"
	"math/rand/v2"
	"net"
	"os"
	"os/exec"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"rooftone/scan/tuner"
	"rooftone/scan/tuner/internal/standin"
	"rooftone/scan/tuner/network"
	"rooftone/scan/tuner/usb/usbtest"
)

var serverUnplugs = flag.Int("server-unplugs", 1, "how often a server's dongle is unplugged at a random moment")

// Truth: the real server over the real library. Its dongle's registers are what the
// program believes at the other end of the network; and when it is pulled, that is an
// error soon.
func TestServersDongle(t *testing.T) {
	for n := range *serverUnplugs {
		bus := usbtest.Start(t)
		d := bus.Plug(t, pattern())
		r := dial(t, startServer(t, bus))
		dst := make([]complex64, 48_000)
		for hop, hz := range []float64{57e6, 201e6, 473e6, 599e6} {
			to := at(hz)
			to.GainDB = r.Info().GainsDB[5+6*hop]
			require.NoError(t, r.Tune(bg, to))
			b, err := r.Read(bg, dst)
			require.NoError(t, err)
			s := d.Setting()
			require.InDelta(t, s.CenterHz, b.CenterHz, 0.01)
			require.Equal(t, s.RateHz, b.RateHz)
			require.Equal(t, s.GainDB, b.GainDB)
			require.False(t, s.AutoGain || s.DigitalAGC || s.Counter)
			require.Empty(t, standin.Check(b.Samples, hz))
		}
		rng := rand.New(rand.NewPCG(uint64(n), 3))
		d.Fault(usbtest.Faults{UnplugAfterBytes: d.Streamed() + 1 + rng.Int64N(3_000_000)})
		var err error
		for err == nil {
			start := time.Now()
			if _, err = r.Read(bg, dst); err == nil && rng.IntN(8) == 0 {
				err = r.Tune(bg, at(500e6+1e6*float64(rng.IntN(90))))
			}
			took := time.Since(start)
			if err != nil {
				t.Logf("after %v: %v", took, err)
			}
			require.Less(t, took, 2*most)
		}
		require.ErrorAs(t, err, new(*tuner.Problem))
		r.Close()
	}
}

// startServer runs Debian's dongle server on the bus until the test ends, and returns
// its address.
func startServer(t *testing.T, bus *usbtest.Bus) string {
	t.Helper()
	path, err := exec.LookPath("rtl_tcp")
	if err != nil {
		t.Skip("the dongle server (Debian: apt install rtl-sdr) is not installed")
	}
	l, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	address := l.Addr().String()
	l.Close()
	_, port, _ := net.SplitHostPort(address)
	cmd := exec.Command(path, "-a", "127.0.0.1", "-p", port)
	cmd.Env = append(os.Environ(), bus.Env()...)
	said, err := cmd.StderrPipe()
	require.NoError(t, err)
	require.NoError(t, cmd.Start())
	t.Cleanup(func() { cmd.Process.Kill(); cmd.Wait() })
	for in := bufio.NewReader(said); ; {
		line, err := in.ReadString('\n')
		require.NoError(t, err, "the dongle server does not start")
		if strings.HasPrefix(line, "Tuned to") {
			go io.Copy(io.Discard, in)
			return address
		}
	}
}

// dial connects as soon as the server listens.
func dial(t *testing.T, address string) tuner.Tuner {
	t.Helper()
	var r tuner.Tuner
	require.Eventually(t, func() (ok bool) {
		var err error
		r, err = network.Dial(bg, address, network.Options{})
		return err == nil
	}, time.Minute, 20*time.Millisecond)
	return r
}
