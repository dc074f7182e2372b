package watch

import (
	"bufio"
	"fmt"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

// killedEnv names the log into which this test's own binary, started once more,
// watches until it is killed.
const killedEnv = "ROOFTONE_TEST_WATCH_UNTIL_KILLED"

func TestMain(m *testing.M) {
	if path := os.Getenv(killedEnv); path != "" {
		watchUntilKilled(path)
		os.Exit(1)
	}
	os.Exit(m.Run())
}

// watchUntilKilled adds ticks and says which are kept. Its bounds are so small
// that the log is written anew all the time.
func watchUntilKilled(path string) {
	time.AfterFunc(20*time.Second, func() { os.Exit(2) }) // whatever becomes of the parent
	s := Settings{Every: 20 * time.Second, RFChannels: []int{22, 24}, Notice: func(s string) { fmt.Fprintln(os.Stderr, s) }, bounds: &bounds{most: [classes]int{260, 60, 60, 1000, 60}, left: [classes]int{200, 40, 40, 1000, 40}, sync: time.Minute}}
	start := time.Now()
	w, err := Open(path, s, start)
	if err != nil {
		fmt.Fprintln(os.Stderr, err)
		return
	}
	// Hours pass in a second, so that they end too.
	for i := 0; ; i++ {
		since := time.Duration(i) * s.Every
		a, b := 9+rand.Float64(), -3+8*rand.Float64()
		if err := w.Add(Tick{Time: start.Add(since), Since: since, Readings: []Reading{{RFChannel: 22, MarginDB: &a}, {RFChannel: 24, MarginDB: &b}}}); err != nil {
			fmt.Fprintln(os.Stderr, err)
			return
		}
		if i%5 == 0 {
			fmt.Println("kept", w.Kept())
		}
	}
}

// Truth: the promise: whatever was reported as kept is in the log, however often
// the program is killed and at whatever moment, also while it writes the log
// anew.
func TestKilledWhileWatching(t *testing.T) {
	t.Parallel()
	self, err := os.Executable()
	if err != nil {
		t.Skip("the test's own binary is not known: ", err)
	}
	kills := 200
	if testing.Short() {
		kills = 30
	}
	dir := t.TempDir()
	path := filepath.Join(dir, "roof.watch")
	var kept int
	for i := range kills {
		c := exec.Command(self)
		c.Env = append(os.Environ(), killedEnv+"="+path)
		var complaint strings.Builder
		c.Stderr = &complaint
		out, err := c.StdoutPipe()
		require.NoError(t, err)
		require.NoError(t, c.Start())
		lines := bufio.NewScanner(out)
		last, begun := 0, false
		for lines.Scan() {
			_, err := fmt.Sscanf(lines.Text(), "kept %d", &last)
			require.NoError(t, err)
			if !begun {
				begun = true
				time.AfterFunc(time.Duration(rand.Int64N(int64(40*time.Millisecond))), func() { c.Process.Kill() })
			}
		}
		c.Wait() // killed, as it should be
		require.Empty(t, complaint.String())
		kept += last
		if i%20 == 0 || i == kills-1 {
			l, err := Read(path)
			require.NoError(t, err)
			there := 0
			for k := range l.Hours {
				there += l.Hours[k].Readings
			}
			require.GreaterOrEqual(t, there, kept)
			require.Len(t, l.Sessions, i+1)
			require.Less(t, l.Ticks, 500, "the log was shortened")
		}
	}
	l, err := Read(path)
	require.NoError(t, err)
	require.Greater(t, kept, kills*10, "the programs had time to watch")
	t.Logf("%d kills, %d readings reported as kept, %d lines damaged", kills, kept, l.Damaged)
}
