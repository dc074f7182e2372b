package linefile

import (
	"errors"
	"io/fs"
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/require"
)

func TestHold(t *testing.T) {
	// Truth: the definition. One at a time, each until it lets go or closes.
	path := filepath.Join(t.TempDir(), "held")
	open := func() *os.File {
		f, err := Open(path, os.O_RDWR|os.O_CREATE|os.O_APPEND)
		require.NoError(t, err)
		t.Cleanup(func() { f.Close() })
		return f
	}
	a, b := open(), open()
	release, certain, err := Hold(a)
	require.NoError(t, err)
	if !certain {
		t.Skip("no locks here")
	}
	_, _, err = Hold(b)
	require.ErrorIs(t, err, ErrHeld)
	release()
	_, _, err = Hold(b)
	require.NoError(t, err)
	_, _, err = Hold(a)
	require.ErrorIs(t, err, ErrHeld)
	require.NoError(t, b.Close())
	_, _, err = Hold(a)
	require.NoError(t, err)
}

func TestOpenRefusesFolders(t *testing.T) {
	// Truth: what the documentation says.
	_, err := Open(t.TempDir(), os.O_RDONLY)
	require.ErrorContains(t, err, "not a regular file")
	_, err = Open(filepath.Join(t.TempDir(), "none"), os.O_RDWR)
	require.ErrorIs(t, err, fs.ErrNotExist)
	require.False(t, errors.As(Cause(err), new(*fs.PathError)))
}

func TestPrintable(t *testing.T) {
	// Truth: the definition.
	require.Equal(t, "a b", Printable(" a\n\t b ", 10))
	require.Equal(t, "a\ufffd[31m", Printable("a\x1b[31m", 10))
	require.Equal(t, "äöü", Printable("äöüß", 3))
}
