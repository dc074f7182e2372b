package main

import (
	"bytes"
	"context"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"rooftone/scan/receive"
	"rooftone/scan/station"
)

// impatient is standard output whose reader presses Ctrl-C after some lines.
type impatient struct {
	bytes.Buffer
	lines int
	press func()
}

func (i *impatient) Write(b []byte) (int, error) {
	if i.lines -= bytes.Count(b, []byte("\n")); i.lines <= 0 {
		i.press()
	}
	return i.Buffer.Write(b)
}

// Truth: the README: Ctrl-C ends a reception, and what was received by then is kept.
func TestReceiveInterrupted(t *testing.T) {
	if testing.Short() {
		t.Skip("it receives a second of samples")
	}
	ctx, stop := context.WithCancel(context.Background())
	defer stop()
	name := filepath.Join(t.TempDir(), "14.ts")
	out := &impatient{lines: 2, press: stop}
	var said bytes.Buffer
	code := run(ctx, []string{"receive", "14", "--from", "sim:lighthouse", "--ts", name}, strings.NewReader(""), out, &said, func(string) string { return "" })
	require.Equal(t, exitInterrupted, code, said.String())
	require.Contains(t, said.String(), "rooftone: note: interrupted: what was received by then is kept")
	require.Contains(t, out.String(), "8.1 QSKL-HD")
	require.Contains(t, out.String(), "none with errors")
	b, err := os.ReadFile(name)
	require.NoError(t, err)
	require.Greater(t, len(b), 12000*188)
	require.Zero(t, len(b)%188)
	for at := 0; at < len(b); at += 188 {
		require.EqualValues(t, 0x47, b[at])
		require.Zero(t, b[at+1]&0x80)
	}
	left, err := os.ReadDir(filepath.Dir(name))
	require.NoError(t, err)
	require.Len(t, left, 1)
}

// Common practice: people are told what a clock shows, not what its fields hold, and
// nothing that a station says reaches the terminal as it is.
func TestIdentityInWords(t *testing.T) {
	id := uint16(0x2c14)
	ahead := func(s float64) *float64 { return &s }
	who := &receive.Identity{Station: station.Station{
		TransportID: &id,
		Channels:    []station.Channel{{Major: 8, Minor: 1, Name: "QSKL-HD", Program: 3, Kind: station.DigitalTV}},
		Clock:       &station.Clock{UTC: time.Date(2026, 3, 14, 9, 30, 5, 0, time.UTC)},
	}}
	for _, c := range []struct {
		ahead *float64
		says  string
	}{
		{nil, "its clock says 2026-03-14T09:30:05Z"},
		{ahead(-0.7), "right by this source's to a second"},
		{ahead(62.3), "62 s ahead of this source's"},
		{ahead(-3600), "3600 s behind this source's"},
	} {
		who.ClockAheadS = c.ahead
		lines := strings.Join(identityOf(who).lines(), "\n")
		require.Contains(t, lines, c.says)
		require.Contains(t, lines, "8.1 QSKL-HD: no video or audio told of")
	}
	require.Equal(t, "8.1 QSKL-HD", identityOf(who).names())
	require.Nil(t, identityOf(nil))
	who.Channels = nil
	require.Equal(t, "stream 0x2c14", identityOf(who).names())
	who.Programs = []station.Program{{Number: 3, Streams: []station.Stream{{Type: 0x02}}}}
	require.Contains(t, strings.Join(identityOf(who).lines(), "\n"), "a service without number and name: MPEG-2 video")
}
