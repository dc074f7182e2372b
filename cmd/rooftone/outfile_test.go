package main

import (
	"errors"
	"io"
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/require"
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
