package recording

import (
	"context"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"rooftone/scan/character"
)

// knownRadio is a radio of which something is known.
func knownRadio() *character.Character {
	return &character.Character{
		Version: character.Version, Radio: "usb:00000007", Program: "rooftone", RateHz: 2.4e6,
		Measured: time.Date(2026, 3, 14, 9, 0, 0, 0, time.UTC),
		ClockPPM: &character.Figure{Value: 21.5, Sigma: 0.1},
		Response: []character.Point{{Share: -0.875, DB: -3, SigmaDB: 0.1}, {Share: 0, SigmaDB: 0.1}, {Share: 0.875, DB: -2.5, SigmaDB: 0.1}},
	}
}

// withRadio makes a recording with what is known of its radio.
func withRadio(t *testing.T, c *character.Character) string {
	base := filepath.Join(t.TempDir(), "a")
	w, err := Create(base, Meta{Datatype: "cu8", Radio: c})
	require.NoError(t, err)
	record(t, w, visit(t, "cu8"))
	return base
}

// Truth: what was written is what is read, and the standard's rule that fields of an
// extension need it to be named. What cannot be used is told, and is no reason not to
// read the samples.
func TestRecordingKeepsItsRadio(t *testing.T) {
	base := withRadio(t, knownRadio())
	r, err := Open(context.Background(), base, Hints{})
	require.NoError(t, err)
	defer r.Close()
	got, err := r.Radio()
	require.NoError(t, err)
	require.Equal(t, knownRadio(), got)
	meta, err := os.ReadFile(base + metaEnding)
	require.NoError(t, err)
	require.Contains(t, string(meta), `"rooftone:radio":`)
	require.Contains(t, string(meta), `"name": "rooftone"`)

	for _, broken := range []string{`"version": 77`, `"version": "1"`} {
		text := strings.Replace(string(meta), `"version": 1,`, broken+",", 1)
		require.NotEqual(t, string(meta), text)
		require.NoError(t, os.WriteFile(base+metaEnding, []byte(text), 0o666))
		r, err := Open(context.Background(), base, Hints{})
		require.NoError(t, err, broken)
		defer r.Close()
		got, err := r.Radio()
		require.ErrorContains(t, err, "rooftone:radio", broken)
		require.Nil(t, got)
		require.NotEmpty(t, r.Spans())
	}

	wrong := knownRadio()
	wrong.RateHz = 0
	_, err = Create(filepath.Join(t.TempDir(), "b"), Meta{Datatype: "cu8", Radio: wrong})
	require.ErrorContains(t, err, "the radio's character")
}

// Truth: the definition. Several recordings tell of their radio what they all tell.
func TestSetKeepsWhatAllKeep(t *testing.T) {
	other := knownRadio()
	other.Radio = "usb:00000008"
	for _, c := range []struct {
		b    *character.Character
		want *character.Character
	}{{knownRadio(), knownRadio()}, {other, nil}, {nil, nil}} {
		var readers []*Reader
		for _, base := range []string{withRadio(t, knownRadio()), withRadio(t, c.b)} {
			r, err := Open(context.Background(), base, Hints{})
			require.NoError(t, err)
			readers = append(readers, r)
		}
		s := Join(readers...)
		defer s.Close()
		got, err := s.Radio()
		require.NoError(t, err)
		require.Equal(t, c.want, got)
	}
}
