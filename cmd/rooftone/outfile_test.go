package main

import (
	"bytes"
	"errors"
	"io"
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/require"

	"rooftone/scan/site"
)

func names(t *testing.T, dir string) []string {
	t.Helper()
	entries, err := os.ReadDir(dir)
	require.NoError(t, err)
	out := []string{}
	for _, e := range entries {
		out = append(out, e.Name())
	}
	return out
}

// Truth: our own promise that a file is there complete or not at all.
func TestOutFile(t *testing.T) {
	dir := t.TempDir()
	name := filepath.Join(dir, "map.png")

	o, err := createOut(name)
	require.NoError(t, err)
	require.NoFileExists(t, name)
	broken := errors.New("no space left on device")
	require.ErrorIs(t, o.finish(func(w io.Writer) error {
		io.WriteString(w, "half")
		return broken
	}), broken)
	require.Empty(t, names(t, dir))

	o, err = createOut(name)
	require.NoError(t, err)
	o.discard()
	o.discard()
	require.Empty(t, names(t, dir))

	for _, content := range []string{"first", "second"} {
		o, err = createOut(name)
		require.NoError(t, err)
		require.NoError(t, o.finish(func(w io.Writer) error {
			_, err := io.WriteString(w, content)
			return err
		}))
		o.discard()
		got, err := os.ReadFile(name)
		require.NoError(t, err)
		require.Equal(t, content, string(got))
		require.Equal(t, []string{"map.png"}, names(t, dir))
	}
}

// Truth: our own promise that a bad place is refused before the measurement,
// in words that do not show the temporary name.
func TestOutFileRefuses(t *testing.T) {
	dir := t.TempDir()
	_, err := createOut(filepath.Join(dir, "nowhere", "map.png"))
	require.ErrorIs(t, err, os.ErrNotExist)
	require.NotContains(t, err.Error(), ".part-")
	_, err = createOut(dir)
	require.ErrorContains(t, err, "not a regular file")
	require.Empty(t, names(t, dir))
}

// Truth: the file system's own idea of one file.
func TestSameFile(t *testing.T) {
	dir := t.TempDir()
	a := filepath.Join(dir, "a.png")
	require.True(t, sameFile(a, filepath.Join(dir, ".", "x", "..", "a.png")))
	require.False(t, sameFile(a, filepath.Join(dir, "b.png")))
	require.NoError(t, os.WriteFile(a, nil, 0o666))
	link := filepath.Join(dir, "link.png")
	if err := os.Symlink(a, link); err == nil {
		require.True(t, sameFile(a, link))
	}
}

// Truth: our own rule: what can be made again is replaced, and that is said; what
// came from the air is not without being told to.
func TestOutFileSaysWhatItReplaces(t *testing.T) {
	name := filepath.Join(t.TempDir(), "map.png")
	var said bytes.Buffer
	c := &console{stderr: &said}
	require.NoError(t, keepOld(name, false))
	for range 2 {
		o, err := createOut(name)
		require.NoError(t, err)
		require.NoError(t, o.finish(func(io.Writer) error { return nil }))
		o.say(c, "the picture")
	}
	require.Equal(t, "rooftone: note: the picture is "+name+"\nrooftone: note: the picture is "+name+"; it replaces the file of that name\n", said.String())
	err := keepOld(name, false)
	require.ErrorContains(t, err, "is there already")
	require.Contains(t, hintOf(err), "--force")
	require.NoError(t, keepOld(name, true))
}

// Truth: the foot's definition, and the rule that a number alone is in the house's
// units.
func TestHeightFlag(t *testing.T) {
	var l length
	m, typed := l.in(site.Feet)
	require.Nil(t, m)
	require.Empty(t, typed)
	for text, want := range map[string]float64{"20ft": 6.096, "20": 6.096, "6.1 m": 6.1, "-3": -0.9144} {
		require.NoError(t, l.Set(text), text)
		m, _ = l.in(site.Feet)
		require.InDelta(t, want, *m, 1e-9, text)
	}
	for _, text := range []string{"", "high", "20 miles", "9001 m", "-600 m", "NaN"} {
		require.Error(t, l.Set(text), text)
	}
	var to *float64
	require.NoError(t, (&metres{to: &to}).Set("20ft"))
	require.Equal(t, 6.1, *to)
	require.NoError(t, (&metres{to: &to}).Set("9.5"))
	require.Equal(t, 9.5, *to)
	require.Error(t, (&metres{to: &to}).Set("tall"))
}

// Truth: the documented rule: what was told first settles how a house speaks, and
// only where it had not been settled.
func TestFirstSetting(t *testing.T) {
	west := -13.
	require.Empty(t, firstSetting(&site.House{}, "", "", nil))
	require.Empty(t, firstSetting(&site.House{Units: site.Metres, North: site.TrueNorth}, site.Feet, site.CompassNorth, &west))
	got := firstSetting(&site.House{}, site.Feet, site.CompassNorth, &west)
	require.Len(t, got, 1)
	s := got[0].(site.Setting)
	require.Equal(t, site.Feet, s.Units)
	require.Equal(t, site.CompassNorth, s.North)
	require.Equal(t, -13., *s.DeclinationDeg)
	var told telling
	told.learn(got)
	require.Equal(t, 131., told.trueDeg(144))
	told = telling{units: site.Metres}
	told.learn(got)
	require.Equal(t, site.Metres, told.units, "what a flag asked for stays")
}
