package main

import (
	"bytes"
	"context"
	"encoding/json"
	"net"
	"os"
	"os/exec"
	"path/filepath"
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
}

func startBus(t *testing.T, text string, faults usbtest.Faults) *onBus {
	t.Helper()
	town, err := sim.Parse([]byte(text))
	require.NoError(t, err)
	b := &onBus{Bus: usbtest.Start(t), dir: t.TempDir()}
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
	cmd.Dir, cmd.Env = b.dir, append(os.Environ(), b.Env()...)
	var out, said bytes.Buffer
	cmd.Stdout, cmd.Stderr = &out, &said
	cmd.Run()
	require.NoError(t, ctx.Err(), "it hangs: %s", said.String())
	return out.String(), said.String(), cmd.ProcessState.ExitCode()
}

// heardRow is what two ways to hear a town must agree on.
type heardRow struct {
	Channel  int      `json:"rf_channel"`
	Presence string   `json:"presence"`
	Grade    string   `json:"grade"`
	Limits   []string `json:"limits"`
	CN       *float64 `json:"cn_db"`
	Margin   *float64 `json:"margin_db"`
	Pilot    *float64 `json:"pilot_offset_hz"`
}

func verdicts(t *testing.T, report string) (rows []heardRow, ppm float64) {
	t.Helper()
	var r struct {
		PPM      float64   `json:"ppm"`
		Channels []heardRow `json:"channels"`
	}
	require.NoError(t, json.Unmarshal([]byte(report), &r))
	require.NotEmpty(t, r.Channels)
	return r.Channels, r.PPM
}

// requireAlike wants two reports' verdicts to be the same, and their figures within
// what noise does.
func requireAlike(t *testing.T, want, got string) {
	t.Helper()
	a, ppmA := verdicts(t, want)
	b, ppmB := verdicts(t, got)
	require.InDelta(t, ppmA, ppmB, 0.3)
	require.Len(t, b, len(a))
	near := func(name string, x, y *float64, within float64, v heardRow) {
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

// Truth: a second way to the same town, without the real library and its registers.
func TestSweepThroughUSB(t *testing.T) {
	b := startBus(t, riverside, usbtest.Faults{})
	channels := "2-36"
	if testing.Short() {
		channels = "14-18"
	}
	want, said, code := b.rooftone(t, time.Minute, "sweep", channels, "--json", "--from", "sim:town.toml")
	require.Zero(t, code, said)
	start := time.Now()
	got, said, code := b.rooftone(t, 4*time.Minute, "sweep", channels, "--json", "--from", "usb")
	t.Log(time.Since(start), b.dongle.Streamed()/2, said)
	require.Zero(t, code, said)
	requireAlike(t, want, got)
}
var _ = net.Dial
var _ = strings.Contains
