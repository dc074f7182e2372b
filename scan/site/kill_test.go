package site

import (
	"bufio"
	"fmt"
	"math/rand/v2"
	"os"
	"os/exec"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

// killedEnv names the house file to which this test's own binary, started once
// more, adds marks until it is killed.
const killedEnv = "ROOFTONE_TEST_MARK_UNTIL_KILLED"

func TestMain(m *testing.M) {
	if path := os.Getenv(killedEnv); path != "" {
		markUntilKilled(path)
		os.Exit(1)
	}
	os.Exit(m.Run())
}

func markUntilKilled(path string) {
	time.AfterFunc(20*time.Second, func() { os.Exit(2) }) // whatever becomes of the parent
	for i := 0; ; i++ {
		mark := fullMark()
		mark.Place = fmt.Sprintf("%d-%d", os.Getpid(), i)
		if err := Append(path, mark); err != nil {
			fmt.Fprintln(os.Stderr, err)
			return
		}
		fmt.Println("kept", mark.Place)
	}
}

// Truth: the promise: whatever was reported as kept is there, however often
// the programs that mark are killed, two at a time on one file.
func TestKilledWhileMarking(t *testing.T) {
	t.Parallel()
	if _, err := os.Executable(); err != nil {
		t.Skip("the test's own binary is not known: ", err)
	}
	kills := 200
	if testing.Short() {
		kills = 40
	}
	path := newHouse(t)
	var (
		mu   sync.Mutex
		kept []string
		wg   sync.WaitGroup
		errs = make(chan error, 2)
	)
	for range 2 {
		wg.Go(func() {
			for i := range kills / 2 {
				got, err := killOne(path)
				if err != nil {
					errs <- err
					return
				}
				mu.Lock()
				kept = append(kept, got...)
				mu.Unlock()
				if i%10 != 0 {
					continue
				}
				if _, err := Read(path); err != nil {
					errs <- err
					return
				}
			}
		})
	}
	wg.Wait()
	close(errs)
	for err := range errs {
		require.NoError(t, err)
	}
	h := read(t, path)
	there := map[string]bool{}
	for _, m := range h.Marks {
		there[m.Place] = true
		require.Len(t, m.Heard, 2)
	}
	for _, place := range kept {
		require.True(t, there[place], "%s was reported as kept", place)
	}
	require.Greater(t, len(kept), kills, "the programs had time to mark")
	t.Logf("%d kills, %d marks reported as kept, %d there, %d lines damaged", kills, len(kept), len(there), h.Damaged)
}

// killOne starts a program that marks, kills it at a random moment after its
// first mark, and returns what it had reported as kept.
func killOne(path string) ([]string, error) {
	self, err := os.Executable()
	if err != nil {
		return nil, err
	}
	c := exec.Command(self)
	c.Env = append(os.Environ(), killedEnv+"="+path)
	var complaint strings.Builder
	c.Stderr = &complaint
	out, err := c.StdoutPipe()
	if err != nil {
		return nil, err
	}
	if err := c.Start(); err != nil {
		return nil, err
	}
	var kept []string
	lines := bufio.NewScanner(out)
	for lines.Scan() {
		if place, ok := strings.CutPrefix(lines.Text(), "kept "); ok {
			kept = append(kept, place)
		}
		if len(kept) == 1 {
			time.AfterFunc(time.Duration(rand.Int64N(int64(10*time.Millisecond))), func() { c.Process.Kill() })
		}
	}
	c.Wait() // killed, as it should be
	if complaint.Len() > 0 {
		return nil, fmt.Errorf("the program that marks: %s", complaint.String())
	}
	return kept, nil
}
