//go:build unix

package recording

import (
	"fmt"
	"os"
	"os/exec"
	"os/signal"
	"path/filepath"
	"syscall"
	"testing"

	"github.com/stretchr/testify/require"

	"rooftone/scan/tuner"
)

// Truth: the operating system, which refuses to let the file grow.
func TestFullDisk(t *testing.T) {
	if dir := os.Getenv("RECORDING_TEST_FULL_DISK"); dir != "" {
		signal.Ignore(syscall.SIGXFSZ)
		w, err := Create(filepath.Join(dir, "roof"), Meta{Datatype: "cu8"})
		require.NoError(t, err)
		b := tuner.Block{Samples: make([]complex64, 100_000), CenterHz: 473e6, RateHz: 2.4e6}
		require.NoError(t, w.WriteBlock(b))
		err = w.WriteBlock(b)
		fmt.Println("second:", err)
		require.Equal(t, err, w.Close())
		return
	}
	shell, err := exec.LookPath("bash")
	if err != nil {
		t.Skip("no shell that can limit the size of files")
	}
	dir := t.TempDir()
	cmd := exec.Command(shell, "-c", `ulimit -f 300 && exec "$0" -test.run '^TestFullDisk$'`, os.Args[0])
	cmd.Env = append(os.Environ(), "RECORDING_TEST_FULL_DISK="+dir)
	out, err := cmd.CombinedOutput()
	require.NoError(t, err, string(out))
	require.Contains(t, string(out), "second: recording "+dir)
	require.Contains(t, string(out), "file too large")
	left, err := os.ReadDir(dir)
	require.NoError(t, err)
	require.Empty(t, left)
}
