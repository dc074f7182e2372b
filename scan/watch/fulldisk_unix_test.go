//go:build linux || darwin || freebsd

package watch

import (
	"os/signal"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"golang.org/x/sys/unix"
)

// fullDisk runs where files may not grow beyond 40 kB until it lifts that.
func fullDisk(t *testing.T) {
	signal.Ignore(unix.SIGXFSZ)
	path := filepath.Join(t.TempDir(), "roof.watch")
	var notes []string
	w := keep(t, path, noon, 3000, func(s *Settings) { s.Notice = func(n string) { notes = append(notes, n) } })
	require.Error(t, w.Trouble())
	require.Len(t, notes, 1)
	require.Contains(t, notes[0], "measuring goes on")
	l, err := Read(path)
	require.NoError(t, err)
	require.False(t, l.Torn)
	require.Equal(t, int(w.Kept()), readings(l), "nothing that was kept is lost")
	require.Greater(t, w.Kept(), int64(100))
	require.EqualValues(t, 6000, w.Written())

	var limit unix.Rlimit
	require.NoError(t, unix.Getrlimit(unix.RLIMIT_FSIZE, &limit))
	limit.Cur = limit.Max
	require.NoError(t, unix.Setrlimit(unix.RLIMIT_FSIZE, &limit))
	add(t, w, noon, 3000, 20)
	require.NoError(t, w.Trouble())
	require.Len(t, notes, 2)
	require.NoError(t, w.Close(noon.Add(3020*time.Second)))
	l, err = Read(path)
	require.NoError(t, err)
	require.Zero(t, l.Damaged)
	require.Equal(t, 6040, readings(l), "what was measured meanwhile is there too")
	require.Len(t, l.Disk, 1)
	require.True(t, strings.Contains(l.Disk[0].Reason, "too large"), l.Disk[0].Reason)
	require.InDelta(t, 3000-float64(l.Disk[0].Start.Sub(noon).Seconds()), l.Disk[0].Seconds, 30)
}
