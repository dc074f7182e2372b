package main

import (
	"archive/tar"
	"archive/zip"
	"bytes"
	"compress/gzip"
	"context"
	"io"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"rooftone/scan/character"
	"rooftone/scan/recording"
	"rooftone/scan/tuner"
)

// Truth: a search for every byte string that is personal in a recording and in a
// character, in all that a bundle of them holds. That the same search finds them
// in the recording shows that it can.
func TestNothingPersonalInABundle(t *testing.T) {
	if testing.Short() {
		t.Skip("with the race detector measuring is slow")
	}
	dir := filepath.Join(t.TempDir(), "Quilla Roe")
	require.NoError(t, os.Mkdir(dir, 0o700))
	base := filepath.Join(dir, "roe-house")
	personal := []string{"Quilla", "roe-house", "4711XY", "44.26", "72.58", "north gable", "kitchen", "10:11", "T10", "131.5", "7.25"}
	writePersonal(t, base)
	meta, err := os.ReadFile(base + metaEnding)
	require.NoError(t, err)
	for _, word := range personal {
		require.Contains(t, string(meta), word)
	}
	ofIts := filepath.Join(dir, "4711XY.json")
	require.NoError(t, os.WriteFile(ofIts, []byte(`{"serial": "4711XY", "of": "usb:4711XY", "made": "2026-03-05T10:11:12Z", "droop_db": 3.125}`), 0o600))

	out := filepath.Join(dir, "out.zip")
	var said bytes.Buffer
	env := func(string) string { return "" }
	code := run(context.Background(), []string{"bundle", out, "--from", base, "--shows", "22", "--set", "typed words", "--character", ofIts}, strings.NewReader(""), io.Discard, &said, env)
	require.Zero(t, code, said.String())
	held := allOf(t, out)
	for _, word := range personal {
		require.NotContains(t, held, word)
	}
	for _, word := range []string{"typed words", "2026-03-05", "3.125", `"kind": "usb"`, `"core:hw": "usb"`, "0.8125", "2026-03-04T00:00:00Z"} {
		require.Contains(t, held, word)
	}
}

// writePersonal writes a recording that tells all that one can.
func writePersonal(t *testing.T, base string) {
	bearing, height, altitude := 131.5, 7.25, 120.0
	w, err := recording.Create(base, recording.Meta{
		Datatype: "cu8", Hardware: "usb:4711XY", Recorder: "rooftone", Author: "Quilla Roe", Description: "above the kitchen",
		Radio: &character.Character{
			Version: character.Version, Radio: "usb:4711XY", Program: "Quilla's", RateHz: 2.4e6, Measured: time.Date(2026, 3, 4, 10, 11, 0, 0, time.UTC),
			StrayDB: 0.8125, Tones: []character.Tone{{Kind: "kitchen"}, {Kind: character.ToneFollows, Hz: 317e3}},
		},
		Position: &recording.Position{LongitudeDeg: -72.58, LatitudeDeg: 44.26, AltitudeM: &altitude},
		Antenna:  &recording.Antenna{Model: "north gable", BearingDeg: &bearing, HeightM: &height},
	})
	require.NoError(t, err)
	samples := make([]complex64, 240_000)
	state := uint32(1)
	for i := range samples {
		state = state*1664525 + 1013904223 // Numerical Recipes' generator
		samples[i] = complex(float32(state>>24)/512-0.25, float32(state>>16&255)/512-0.25)
	}
	for _, hz := range []float64{519e6, 521e6, 523e6} {
		w.NewCapture()
		require.NoError(t, w.WriteBlock(tuner.Block{Samples: samples, CenterHz: hz, RateHz: 2.4e6, GainDB: 20, Start: time.Date(2026, 3, 5, 10, 11, 12, 13, time.UTC)}))
	}
	require.NoError(t, w.Close())
}

// allOf is the text of everything in a bundle but the samples, and the names and
// times that its archives hold. The bundle's own name is its maker's to choose.
func allOf(t *testing.T, name string) string {
	var held strings.Builder
	z, err := zip.OpenReader(name)
	require.NoError(t, err)
	defer z.Close()
	require.Len(t, z.File, 3)
	held.WriteString(z.Comment)
	for _, f := range z.File {
		held.WriteString(f.Name + f.Comment + f.Modified.String() + "\n")
		r, err := f.Open()
		require.NoError(t, err)
		content, err := io.ReadAll(r)
		require.NoError(t, err)
		if !strings.HasSuffix(f.Name, ".gz") {
			held.Write(content)
			continue
		}
		g, err := gzip.NewReader(bytes.NewReader(content))
		require.NoError(t, err)
		held.WriteString(g.Name + g.Comment + string(g.Extra))
		require.True(t, g.ModTime.IsZero())
		for archive := tar.NewReader(g); ; {
			h, err := archive.Next()
			if err == io.EOF {
				break
			}
			require.NoError(t, err)
			held.WriteString(h.Name + h.Uname + h.Gname + h.ModTime.UTC().String() + "\n")
			if strings.HasSuffix(h.Name, metaEnding) {
				_, err = io.Copy(&held, archive)
				require.NoError(t, err)
			}
		}
	}
	return held.String()
}

// Truth: the promise of Ctrl-C, while a question stands.
func TestInterruptedQuestion(t *testing.T) {
	ctx, cancel := context.WithCancel(context.Background())
	cancel()
	var said bytes.Buffer
	_, err := askFacts(ctx, &console{stderr: &said}, nil, make(chan typedLine))
	require.ErrorIs(t, err, errInterrupted)
	require.Contains(t, said.String(), "no bundle was written")
}
