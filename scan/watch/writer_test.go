package watch

import (
	"bytes"
	"errors"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

// keep opens a log and adds readings to it, a second apart, from a moment on.
func keep(t *testing.T, path string, from time.Time, n int, o ...func(*Settings)) *Writer {
	t.Helper()
	s := Settings{Every: time.Second, RFChannels: []int{22, 24}}
	for _, f := range o {
		f(&s)
	}
	w, err := Open(path, s, from)
	require.NoError(t, err)
	add(t, w, from, 0, n)
	return w
}

// add adds n ticks from a number of seconds on.
func add(t *testing.T, w *Writer, start time.Time, first, n int) {
	t.Helper()
	for i := first; i < first+n; i++ {
		a, b := 9.0+float64(i%7)/10, -2.0
		since := time.Duration(i) * time.Second
		require.NoError(t, w.Add(Tick{Time: start.Add(since), Since: since, Readings: []Reading{{RFChannel: 22, MarginDB: &a}, {RFChannel: 24, MarginDB: &b}}}))
	}
}

func readings(l *Log) int {
	n := 0
	for i := range l.Hours {
		n += l.Hours[i].Readings
	}
	return n
}

// Truth: the promise: what a lost supply leaves, a file cut off at any byte, has
// all whole lines in it, and is gone on with.
func TestTornLog(t *testing.T) {
	t.Parallel()
	path := filepath.Join(t.TempDir(), "roof.watch")
	w := keep(t, path, noon, 1500)
	require.NoError(t, w.Close(noon.Add(1500*time.Second)))
	whole, err := os.ReadFile(path)
	require.NoError(t, err)
	rng := rand.New(rand.NewPCG(2, 7))
	cuts := 200
	if testing.Short() {
		cuts = 30
	}
	for range cuts {
		n := 300 + rng.IntN(len(whole)-300)
		ticks := bytes.Count(whole[:bytes.LastIndexByte(whole[:n], '\n')+1], []byte(`{"kind":"tick"`))
		require.NoError(t, os.WriteFile(path, whole[:n], 0o644))
		l, err := Read(path)
		require.NoError(t, err)
		require.Equal(t, whole[n-1] != '\n', l.Torn)
		require.Equal(t, 2*ticks, readings(l), "cut at %d", n)

		w := keep(t, path, noon.Add(2*time.Hour), 10)
		require.NoError(t, w.Close(noon.Add(2*time.Hour+10*time.Second)))
		l, err = Read(path)
		require.NoError(t, err)
		require.LessOrEqual(t, l.Damaged, 1)
		require.False(t, l.Torn)
		require.Equal(t, 2*ticks+20, readings(l), "gone on after a cut at %d", n)
		require.Len(t, l.Sessions, 2)
	}
}

// Truth: arithmetic. A line that sums an hour up and is damaged costs nothing as
// long as the hour's ticks are there.
func TestDamagedHour(t *testing.T) {
	path := filepath.Join(t.TempDir(), "roof.watch")
	w := keep(t, path, noon, 3*3600)
	require.NoError(t, w.Close(noon.Add(3*time.Hour)))
	text, err := os.ReadFile(path)
	require.NoError(t, err)
	whole, err := Read(path)
	require.NoError(t, err)
	text = bytes.Replace(text, []byte(`{"kind":"hour"`), []byte(`{"kind":"hxur`), 1)
	text = bytes.Replace(text, []byte(`{"kind":"minute"`), []byte(`{"kind":"minute`), 2)
	l, err := Decode(bytes.NewReader(text))
	require.NoError(t, err)
	require.Equal(t, 3, l.Damaged)
	require.Equal(t, readings(whole), readings(l))
	require.Len(t, l.Hours, len(whole.Hours))
	require.Len(t, l.Minutes[22], len(whole.Minutes[22]))
}

// Truth: the promise. Of a header that was cut off nothing is left to lose; a file
// that is no log is left alone.
func TestOpenRefuses(t *testing.T) {
	dir := t.TempDir()
	path := filepath.Join(dir, "roof.watch")
	require.NoError(t, os.WriteFile(path, []byte(`{"kind":"watch","sche`), 0o644))
	w := keep(t, path, noon, 3)
	require.NoError(t, w.Close(noon))
	l, err := Read(path)
	require.NoError(t, err)
	require.Equal(t, 6, readings(l))
	for _, text := range []string{"hello", "{}\n", "hello\nyou\n", `{"kind":"house","schema":"rooftone.house/1"}` + "\n", strings.Repeat("x", 3<<20)} {
		require.NoError(t, os.WriteFile(path, []byte(text), 0o644))
		_, err := Open(path, Settings{Every: time.Second, RFChannels: []int{22}}, noon)
		require.ErrorIs(t, err, ErrNotLog)
		_, err = Read(path)
		require.ErrorIs(t, err, ErrNotLog)
		left, err := os.ReadFile(path)
		require.NoError(t, err)
		require.Equal(t, text, string(left))
	}
	require.NoError(t, os.WriteFile(path, []byte(`{"kind":"watch","schema":"rooftone.watch/9"}`+"\n"), 0o644))
	_, err = Open(path, Settings{Every: time.Second, RFChannels: []int{22}}, noon)
	require.ErrorIs(t, err, ErrNewer)
	_, err = Open(dir, Settings{Every: time.Second, RFChannels: []int{22}}, noon)
	require.Error(t, err)
	_, err = Open(filepath.Join(dir, "no", "where"), Settings{Every: time.Second, RFChannels: []int{22}}, noon)
	require.Error(t, err)
}

// Truth: the promise: two programs on one log do not harm it, also when it is
// written anew meanwhile, and reading it is free to all.
func TestOneAtATime(t *testing.T) {
	t.Parallel()
	path := filepath.Join(t.TempDir(), "roof.watch")
	small := func(s *Settings) {
		s.bounds = &bounds{most: [classes]int{4000, 60, 60, 60, 4}, left: [classes]int{3800, 40, 40, 40, 2}, sync: 5 * time.Second}
	}
	w := keep(t, path, noon, 10, small)
	refused := func() {
		_, err := Open(path, Settings{Every: time.Second, RFChannels: []int{22}}, noon)
		require.ErrorIs(t, err, ErrBusy)
	}
	refused()
	// Held open, since a file system gives a deleted file's number away again.
	old, err := os.Open(path)
	require.NoError(t, err)
	defer old.Close()
	before, err := old.Stat()
	require.NoError(t, err)
	add(t, w, noon, 10, 6000)
	after, err := os.Stat(path)
	require.NoError(t, err)
	require.False(t, os.SameFile(before, after), "it was written anew")
	refused()
	require.NoError(t, w.Sync())
	l, err := Read(path)
	require.NoError(t, err)
	require.Equal(t, 2*6010, readings(l), "though only %d ticks are left", l.Ticks)
	require.Less(t, l.Ticks, 4100)
	require.NoError(t, w.Close(noon.Add(6010*time.Second)))
	w = keep(t, path, noon.Add(3*time.Hour), 1)
	require.NoError(t, w.Close(noon.Add(3*time.Hour)))
}

// Truth: the operating system, which refuses to let a file grow, and arithmetic.
func TestFullDisk(t *testing.T) {
	if os.Getenv("ROOFTONE_TEST_FULL_DISK") != "" {
		fullDisk(t)
		return
	}
	t.Parallel()
	shell, err := exec.LookPath("bash")
	if err != nil {
		t.Skip("no shell that can limit the size of files")
	}
	c := exec.Command(shell, "-c", `ulimit -S -f 40 && exec "$0" -test.run '^TestFullDisk$'`, os.Args[0])
	c.Env = append(os.Environ(), "ROOFTONE_TEST_FULL_DISK=yes")
	out, err := c.CombinedOutput()
	require.NoError(t, err, string(out))
}

// Truth: arithmetic. When the clock is set, what was before is moved to where the
// clock now says it was, and no fade and no gap comes of it.
func TestClockSet(t *testing.T) {
	path := filepath.Join(t.TempDir(), "roof.watch")
	var notes []string
	s := Settings{Every: time.Second, RFChannels: []int{22}, Notice: func(s string) { notes = append(notes, s) }}
	wrong := time.Date(2000, 1, 1, 0, 10, 0, 0, time.UTC) // a computer without a battery
	w, err := Open(path, s, wrong)
	require.NoError(t, err)
	m := 9.0
	for i := range 600 {
		since := time.Duration(i) * time.Second
		at := wrong.Add(since)
		if i >= 300 {
			at = noon.Add(since)
		}
		require.NoError(t, w.Add(Tick{Time: at, Since: since, Readings: []Reading{{RFChannel: 22, MarginDB: &m}}}))
	}
	require.NoError(t, w.Close(noon.Add(600*time.Second)))
	require.Len(t, notes, 1)
	l, err := Read(path)
	require.NoError(t, err)
	require.Len(t, l.Clocks, 1)
	require.Equal(t, 600, readings(l))
	require.Empty(t, l.Fades)
	r := Conclude(l)
	require.WithinDuration(t, noon, r.From, time.Second)
	require.WithinDuration(t, noon.Add(600*time.Second), r.To, time.Second)
	for _, list := range l.Minutes {
		require.WithinDuration(t, noon, list[0].Time, time.Second)
	}
	// A minute is lost to nobody: two of them are shorter.
	total := 0
	for _, m := range l.Minutes[22] {
		total += m.Readings
	}
	require.Equal(t, 600, total)
}

// Truth: the promise. A log that someone moves away is begun anew in its place,
// and the one that was moved stays whole.
func TestMovedAway(t *testing.T) {
	path := filepath.Join(t.TempDir(), "roof.watch")
	w := keep(t, path, noon, 100)
	require.NoError(t, w.Sync())
	require.NoError(t, os.Rename(path, path+".old"))
	add(t, w, noon, 100, 100)
	require.NoError(t, w.Close(noon.Add(200*time.Second)))
	old, err := Read(path + ".old")
	require.NoError(t, err)
	require.Equal(t, 200, readings(old))
	l, err := Read(path)
	require.NoError(t, err)
	require.Equal(t, 400, readings(l), "the hour is told where it ends")
	require.Zero(t, l.Damaged)
}

// Truth: common sense. Nothing that a file may hold makes the reader fail in any
// way but by an error, and what it gathers can be concluded from.
func FuzzDecode(f *testing.F) {
	path := filepath.Join(f.TempDir(), "roof.watch")
	w, err := Open(path, Settings{Every: 10 * time.Second, RFChannels: []int{22}}, noon)
	if err != nil {
		f.Fatal(err)
	}
	for i := range 400 {
		m := 9.0
		if i > 380 {
			m = -5
		}
		since := time.Duration(i) * 10 * time.Second
		if err := w.Add(Tick{Time: noon.Add(since), Since: since, Readings: []Reading{{RFChannel: 22, MarginDB: &m, Impulse: i == 385}}}); err != nil {
			f.Fatal(err)
		}
	}
	w.Away(noon.Add(time.Hour+7*time.Minute), time.Hour+7*time.Minute, "gone")
	w.Close(noon.Add(2 * time.Hour))
	whole, err := os.ReadFile(path)
	if err != nil {
		f.Fatal(err)
	}
	head := whole[:bytes.IndexByte(whole, '\n')+1]
	f.Add(whole[len(whole)-2000:])
	seen := map[string]bool{}
	for _, line := range bytes.SplitAfter(whole, []byte("\n")) {
		if kind := kindOf(line); !seen[kind] {
			seen[kind] = true
			f.Add(line)
		}
	}
	f.Fuzz(func(t *testing.T, text []byte) {
		l, err := Decode(bytes.NewReader(append(append([]byte(nil), head...), text...)))
		if err != nil {
			if !errors.Is(err, ErrNotLog) && !errors.Is(err, ErrNewer) {
				t.Fatal(err)
			}
			return
		}
		Conclude(l)
	})
}

// Truth: arithmetic. Years of a watch take no more room than the first one and its
// days after that: hours that are put together to days hold the same readings,
// and the oldest fades go.
func TestYears(t *testing.T) {
	t.Parallel()
	path := filepath.Join(t.TempDir(), "roof.watch")
	b := bounds{most: [classes]int{300, 10, 30, 10, 200}, left: [classes]int{200, 5, 20, 5, 100}, sync: 12 * time.Hour}
	w, err := Open(path, Settings{Every: 10 * time.Minute, RFChannels: []int{22, 24}, bounds: &b}, noon)
	require.NoError(t, err)
	const ticks = 60 * 144 // sixty days
	var largest int64
	for i := range ticks {
		a, b := 9.0, 4.0
		if i%100 == 50 {
			a -= 6
		}
		since := time.Duration(i) * 10 * time.Minute
		require.NoError(t, w.Add(Tick{Time: noon.Add(since), Since: since, Readings: []Reading{{RFChannel: 22, MarginDB: &a}, {RFChannel: 24, MarginDB: &b}}}))
		largest = max(largest, w.Bytes())
	}
	require.NoError(t, w.Close(noon.Add(ticks*10*time.Minute)))
	l, err := Read(path)
	require.NoError(t, err)
	require.Zero(t, l.Damaged)
	require.Equal(t, 2*ticks, readings(l))
	require.LessOrEqual(t, len(l.Fades), 31)
	require.Less(t, len(l.Hours), 2*60+200+4)
	require.Less(t, largest, int64(150e3))
	r := Conclude(l)
	require.Len(t, r.Channels, 2)
	require.Equal(t, ticks/100, r.Channels[0].Basis.Falls(5))
	require.InDelta(t, 86, r.Channels[0].Fades.Count, 1)
	require.WithinDuration(t, noon, r.From, time.Minute)
}
