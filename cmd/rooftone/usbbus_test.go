package main

import (
	"bufio"
	"bytes"
	"context"
	"encoding/json"
	"flag"
	"fmt"
	"math/rand/v2"
	"net"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"rooftone/scan/tuner/sim"
	"rooftone/scan/tuner/usb/usbtest"
)

// riverside is a small town: one station of each kind that a verdict knows.
const riverside = `
[town]
name = "riverside"
about = "Six stations for a dongle on a simulated bus."

[radio]
seed = 5
ppm = 31

[[station]]
rf_channel = 14
call = "QRVA"
level_dbm = -70

[[station]]
rf_channel = 17
call = "QRVB"
level_dbm = -78
echoes = [{ delay_us = 3.1, level_db = -8, phase_deg = 40 }]

[[station]]
rf_channel = 21
call = "QRVC"
level_dbm = -83.5

[[station]]
rf_channel = 24
call = "QRVD"
level_dbm = -97
`

// onBus is a folder with a town, and a dongle on a bus that hears it.
type onBus struct {
	*usbtest.Bus
	dongle *usbtest.Device
	dir    string
	env    []string
}

// onlyDongles are the settings with which SoapySDR finds its module for dongles alone:
// those of other radios may want more of libusb than the bus's stand-in has.
func onlyDongles(t *testing.T) []string {
	t.Helper()
	dir := t.TempDir()
	for _, module := range soapyDongles() {
		require.NoError(t, os.Symlink(module, filepath.Join(dir, filepath.Base(module))))
	}
	return []string{"SOAPY_SDR_ROOT=" + dir, "SOAPY_SDR_PLUGIN_PATH=" + dir}
}

// soapyDongles is where SoapySDR's module for dongles is installed.
func soapyDongles() []string {
	found, _ := filepath.Glob("/usr/lib/*/SoapySDR/modules*/librtlsdrSupport.so")
	return found
}

func startBus(t *testing.T, text string, faults usbtest.Faults) *onBus {
	t.Helper()
	town, err := sim.Parse([]byte(text))
	require.NoError(t, err)
	b := &onBus{Bus: usbtest.Start(t), dir: t.TempDir()}
	b.env = append(append(b.Env(), onlyDongles(t)...), "ROOFTONE_RADIOS="+t.TempDir())
	b.dongle = b.Plug(t, usbtest.Dongle{Serial: "SIM1", Air: usbtest.Town(t, town), Faults: faults})
	require.NoError(t, os.WriteFile(filepath.Join(b.dir, "town.toml"), []byte(text), 0o644))
	return b
}

// rooftone runs the program on the bus. It must end within a time.
func (b *onBus) rooftone(t *testing.T, within time.Duration, args ...string) (stdout, stderr string, code int) {
	t.Helper()
	path, err := exec.LookPath("rooftone")
	require.NoError(t, err)
	ctx, cancel := context.WithTimeout(context.Background(), within)
	defer cancel()
	cmd := exec.CommandContext(ctx, path, args...)
	cmd.Dir, cmd.Env = b.dir, append(os.Environ(), b.env...)
	var out, said bytes.Buffer
	cmd.Stdout, cmd.Stderr = &out, &said
	cmd.Run()
	require.NoError(t, ctx.Err(), "it hangs: %s", said.String())
	return out.String(), said.String(), cmd.ProcessState.ExitCode()
}

// skipSlowTown skips a test in short mode, which is the race detector's, with which
// making a town's samples is slow.
func skipSlowTown(t *testing.T) {
	if testing.Short() {
		t.Skip("making a town's samples is slow with the race detector")
	}
}

// busRow is what two ways to hear a town must agree on.
type busRow struct {
	Channel  int      `json:"rf_channel"`
	Presence string   `json:"presence"`
	Grade    string   `json:"grade"`
	Limits   []string `json:"limits"`
	CN       *float64 `json:"cn_db"`
	Margin   *float64 `json:"margin_db"`
	Pilot    *float64 `json:"pilot_offset_hz"`
}

func busRows(t *testing.T, report string) (rows []busRow, ppm float64) {
	t.Helper()
	var r struct {
		PPM      float64  `json:"ppm"`
		Channels []busRow `json:"channels"`
	}
	require.NoError(t, json.Unmarshal([]byte(report), &r))
	require.NotEmpty(t, r.Channels)
	return r.Channels, r.PPM
}

// requireAlike wants two reports' verdicts to be the same, and their figures within
// what noise does.
func requireAlike(t *testing.T, want, got string) {
	t.Helper()
	a, ppmA := busRows(t, want)
	b, ppmB := busRows(t, got)
	require.InDelta(t, ppmA, ppmB, 0.3)
	require.Len(t, b, len(a))
	near := func(name string, x, y *float64, within float64, v busRow) {
		require.Equal(t, x == nil, y == nil, "RF %d: %s", v.Channel, name)
		if x != nil {
			require.InDelta(t, *x, *y, within, "RF %d: %s", v.Channel, name)
		}
	}
	for i := range a {
		require.Equal(t, a[i].Channel, b[i].Channel)
		require.Equal(t, a[i].Presence, b[i].Presence, "RF %d", a[i].Channel)
		require.Equal(t, a[i].Grade, b[i].Grade, "RF %d", a[i].Channel)
		require.Equal(t, a[i].Limits, b[i].Limits, "RF %d", a[i].Channel)
		near("C/N", a[i].CN, b[i].CN, 1, a[i])
		near("margin", a[i].Margin, b[i].Margin, 1.5, a[i])
		near("pilot", a[i].Pilot, b[i].Pilot, 150, a[i])
	}
}

var busChannels = flag.String("bus-channels", "14-21", "the channels of the sweeps on the simulated USB bus")

// Truth: a second way to the same town, without the real library and its registers.
// What is swept, recorded and measured again through the real librtlsdr, and through
// the real server over it, is what the town itself gives.
func TestTownThroughUSB(t *testing.T) {
	skipSlowTown(t)
	b := startBus(t, riverside, usbtest.Faults{})
	channels := *busChannels
	direct := make(chan string, 1)
	go func() {
		out, said, _ := b.rooftone(t, 5*time.Minute, "sweep", channels, "--json", "--from", "sim:town.toml")
		t.Log(said)
		direct <- out
	}()
	began, sent := time.Now(), b.dongle.Streamed()
	got, said, code := b.rooftone(t, 5*time.Minute, "record", "roof", channels, "--json", "--from", "usb")
	require.Zero(t, code, said)
	took := time.Since(began)
	t.Logf("%v; the samples came at %.2f times their rate", took, float64(b.dongle.Streamed()-sent)/2/2.4e6/took.Seconds())
	requireAlike(t, <-direct, got)
	again, said, code := b.rooftone(t, time.Minute, "sweep", channels, "--json", "--from", "roof")
	require.Zero(t, code, said)
	a, _ := busRows(t, got)
	c, _ := busRows(t, again)
	require.Equal(t, a, c)

	got, said, code = b.rooftone(t, 5*time.Minute, "sweep", "14,21", "--json", "--from", startServer(t, b))
	require.Zero(t, code, said)
	all, _ := busRows(t, got)
	for _, row := range all {
		same := slices.IndexFunc(a, func(r busRow) bool { return r.Channel == row.Channel })
		require.Equal(t, a[same].Presence, row.Presence)
		require.Equal(t, a[same].Grade, row.Grade)
		if row.CN != nil {
			require.InDelta(t, *a[same].CN, *row.CN, 1)
		}
	}
}

// Truth: the same town without any of it. Through SoapySDR, Debian's module for dongles
// and the real librtlsdr under that, it is the same; only the tuner's steps, of which the
// module knows nothing, move the pilots.
func TestSoapyThroughUSB(t *testing.T) {
	skipSlowTown(t)
	if len(soapyDongles()) == 0 {
		t.Skip("SoapySDR's module for dongles (Debian: apt install soapysdr-module-rtlsdr) is not installed")
	}
	b := startBus(t, riverside, usbtest.Faults{})
	want, said, code := b.rooftone(t, time.Minute, "sweep", "14,21", "--json", "--from", "sim:town.toml")
	require.Zero(t, code, said)
	got, said, code := b.rooftone(t, time.Minute, "sweep", "14,21", "--json", "--from", "soapy:driver=rtlsdr", "--rate", "2.4M")
	require.Zero(t, code, said)
	x, _ := busRows(t, want)
	y, _ := busRows(t, got)
	for i := range x {
		require.Equal(t, x[i].Presence, y[i].Presence)
		require.Equal(t, x[i].Grade, y[i].Grade)
		require.Equal(t, x[i].Limits, y[i].Limits)
		require.InDelta(t, *x[i].CN, *y[i].CN, 1)
		require.InDelta(t, *x[i].Pilot, *y[i].Pilot, 600)
	}
	out, said, code := b.rooftone(t, time.Minute, "devices")
	require.Zero(t, code, said)
	require.Contains(t, out, "soapy:driver=rtlsdr,serial=SIM1")
}

// startServer runs the real dongle server on the bus until the test ends, and returns
// its source word.
func startServer(t *testing.T, b *onBus) string {
	t.Helper()
	path, err := exec.LookPath("rtl_tcp")
	if err != nil {
		t.Skip("the dongle server (Debian: apt install rtl-sdr) is not installed")
	}
	l, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	address := l.Addr().String()
	_, port, _ := net.SplitHostPort(address)
	l.Close()
	ctx, stop := context.WithCancel(context.Background())
	cmd := exec.CommandContext(ctx, path, "-a", "127.0.0.1", "-p", port)
	cmd.Env = append(os.Environ(), b.Env()...)
	said, err := cmd.StderrPipe()
	require.NoError(t, err)
	require.NoError(t, cmd.Start())
	listens := make(chan struct{})
	go func() {
		for in := bufio.NewScanner(said); in.Scan(); {
			if strings.Contains(in.Text(), "Tuned to") {
				close(listens)
			}
		}
	}()
	t.Cleanup(func() { stop(); cmd.Wait() })
	select {
	case <-listens:
	case <-time.After(time.Minute):
		t.Fatal("the dongle server does not start")
	}
	require.Eventually(t, func() bool { return listening(port) }, time.Minute, 10*time.Millisecond)
	return "tcp://" + address
}

// listening says whether a TCP socket of this computer listens at a port, without
// connecting: the server takes one connection at a time.
func listening(port string) bool {
	table, err := os.ReadFile("/proc/net/tcp")
	n, _ := strconv.Atoi(port)
	return err == nil && regexp.MustCompile(fmt.Sprintf(`(?m):%04X [0-9A-F]{8}:0000 0A`, n)).Match(table)
}

// What aims through the real library says what the town is; and receiving is refused in
// one line, for a dongle sees a part of a channel only.
func TestAimThroughUSB(t *testing.T) {
	skipSlowTown(t)
	b := startBus(t, riverside, usbtest.Faults{})
	out, said, code := b.rooftone(t, 2*time.Minute, "aim", "21", "--from", "usb:SIM1", "--lines", "--for", "1s")
	require.Zero(t, code, said)
	require.Contains(t, out, `"rf_channel":21,"state":"measuring","margin_db":`)
	require.Contains(t, out, `"training":true`)

	_, said, code = b.rooftone(t, time.Minute, "receive", "14", "--from", "usb", "--for", "1s")
	require.Equal(t, 1, code)
	require.Contains(t, said, "rooftone: error: ")
	out, _, code = b.rooftone(t, time.Minute, "devices")
	require.Zero(t, code)
	require.Regexp(t, `(?m)^usb:SIM1 +Harbour Works Simulated dongle \(Generic RTL2832U OEM\)$`, out)
}

// Truth: what README.md promises of errors. Whatever keeps a dongle from being used is
// one line that says so.
func TestRefusedThroughUSB(t *testing.T) {
	for want, faults := range map[string]usbtest.Faults{
		"no permission to use":                   {OpenCode: -3},
		"in use by another program":              {ClaimCode: -6},
		"held by the kernel's television driver": {KernelDriver: true, KernelStays: true},
		"has no tuner that librtlsdr finds":      {NoTuner: true},
	} {
		b := startBus(t, riverside, faults)
		_, said, code := b.rooftone(t, time.Minute, "sweep", "14", "--from", "usb")
		require.Equal(t, 1, code)
		require.Equal(t, 1, strings.Count(said, "rooftone: error: "), said)
		require.Equal(t, 1, strings.Count(said, "rooftone: hint: "), said)
		require.Contains(t, said, want)
	}
}

// Where the tuner does not lock, of which the real library says nothing but a line on
// standard error, a visit says that it knows nothing, and goes on.
func TestUnlockedThroughUSB(t *testing.T) {
	skipSlowTown(t)
	b := startBus(t, riverside, usbtest.Faults{NoLock: func(loHz float64) bool { return loHz > 484e6 && loHz < 490e6 }})
	out, said, code := b.rooftone(t, time.Minute, "sweep", "15-17", "--json", "--from", "usb")
	require.Zero(t, code, said)
	require.Regexp(t, `(?m)^rooftone: note: the radio's tuner does not lock at 48\d\.\d, 48\d\.\d, 48\d\.\d MHz`, said)
	require.NotContains(t, said, "R82XX")
	rows, _ := busRows(t, out)
	for _, row := range rows {
		if row.Channel == 16 { // 482 to 488 MHz
			require.NotContains(t, []string{"present", "vacant"}, row.Presence)
		} else {
			require.NotEmpty(t, row.Presence, "RF %d", row.Channel)
		}
	}
}

var busUnplugs = flag.Int("bus-unplugs", 1, "how often a recording's dongle is unplugged at a random moment")

// Pulled at a random moment for good, a dongle leaves a recording of all that was
// heard until then; the program says so and ends.
func TestUnpluggedRecording(t *testing.T) {
	skipSlowTown(t)
	for n := range *busUnplugs {
		rng := rand.New(rand.NewPCG(uint64(n), 5))
		b := startBus(t, riverside, usbtest.Faults{UnplugAfterBytes: 1_500_000 + rng.Int64N(10_000_000)})
		live, said, code := b.rooftone(t, time.Minute, "record", "roof", "14-17", "--json", "--from", "usb")
		if n > 0 && code == 0 { // it was over before
			require.Contains(t, live, `"interrupted": false`)
			continue
		}
		require.Equal(t, 1, code, said)
		require.Contains(t, said, "was unplugged or dropped off the USB")
		again, said, code := b.rooftone(t, time.Minute, "sweep", "14-17", "--json", "--from", "roof")
		require.Zero(t, code, said)
		x, _ := busRows(t, live)
		y, _ := busRows(t, again)
		require.Equal(t, x, y, "unplugged after %d bytes", b.dongle.Streamed())
	}
}

// A watch outlives its dongle: pulled for longer than one is looked for by itself, it is
// used again when it is back at another address, and the log has the gap.
func TestWatchThroughUSB(t *testing.T) {
	if *busUnplugs < 2 {
		t.Skip("it takes half a minute: -bus-unplugs 2")
	}
	b := startBus(t, riverside, usbtest.Faults{})
	ticks := func() int {
		log, _ := os.ReadFile(filepath.Join(b.dir, "roof.watch"))
		return bytes.Count(log, []byte(`"kind":"tick"`))
	}
	path, err := exec.LookPath("rooftone")
	require.NoError(t, err)
	cmd := exec.Command(path, "watch", "14", "--from", "usb:SIM1", "--every", "300ms", "--log", "roof.watch")
	cmd.Dir, cmd.Env = b.dir, append(os.Environ(), b.env...)
	var said bytes.Buffer
	cmd.Stderr = &said
	require.NoError(t, cmd.Start())
	t.Cleanup(func() { cmd.Process.Kill() })

	require.Eventually(t, func() bool { return ticks() > 0 }, 2*time.Minute, 50*time.Millisecond)
	b.Unplug(b.dongle)
	time.Sleep(3 * time.Second) // it is looked for itself for 2.5
	b.env = append(b.Env(), onlyDongles(t)...)
	b.dongle = b.Plug(t, usbtest.Dongle{Serial: "SIM1", Air: b.dongle.Air})
	before := ticks()
	require.Eventually(t, func() bool { return ticks() > before+1 }, 2*time.Minute, 50*time.Millisecond)
	require.NoError(t, cmd.Process.Signal(os.Interrupt))
	cmd.Wait()
	log, err := os.ReadFile(filepath.Join(b.dir, "roof.watch"))
	require.NoError(t, err)
	t.Log(said.String())
	require.Contains(t, string(log), `"kind":"away"`)
	require.Contains(t, string(log), `"kind":"back"`)
	require.NotContains(t, said.String(), "error")
}
