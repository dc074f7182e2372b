package site

import (
	"bytes"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"runtime"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"rooftone/scan/internal/linefile"
	"rooftone/scan/measure"
	"rooftone/scan/verdict"
)

var noon = time.Date(2026, 3, 5, 12, 0, 0, 0, time.UTC)

func newHouse(t testing.TB) string {
	path := filepath.Join(t.TempDir(), "house.jsonl")
	require.NoError(t, Create(path, Header{Name: "Mill Lane 4", Created: noon, Program: "test 1"}))
	return path
}

func ptr[T any](v T) *T { return &v }

func read(t testing.TB, path string) *House {
	h, err := Read(path)
	require.NoError(t, err)
	return h
}

func fullMark() Mark {
	return Mark{
		Time: noon.Add(1500 * time.Millisecond), Place: "chimney, east side", BearingDeg: ptr(135.5), HeightM: ptr(7.25),
		Note: "ladder on the east side", Program: "test 1", Source: "sim:town", ThresholdDB: 15.2,
		Clock: &measure.Estimate{Value: -3.25, Sigma: 0.125}, Interrupted: true,
		Heard: []Heard{
			{RFChannel: 9, Presence: measure.Vacant},
			{
				RFChannel: 22, Presence: measure.Present, Grade: verdict.Slim, Standard: measure.ATSC1,
				Margin: &measure.Estimate{Value: 7.5, Sigma: 0.25}, MarginMethod: measure.MarginEqualised,
				CN: &measure.Estimate{Value: 22.75, Sigma: 0.5}, MER: &measure.Estimate{Value: 21, Sigma: 0.25},
				Power: &measure.Estimate{Value: -31.5, Sigma: 0.25}, Tilt: &measure.Estimate{Value: -1.5, Sigma: 0.5},
				Ripple: &measure.Estimate{Value: 6, Sigma: 1}, Limits: []verdict.Limit{verdict.Weak, verdict.Echoes},
				Evidence: []string{"C/N 23 dB", "echo 1.2 µs late"}, Advice: []string{"turn it"},
				Echoes:   []measure.Echo{{DelayUS: measure.Estimate{Value: 1.25, Sigma: 0.002}, LevelDB: measure.Estimate{Value: -9, Sigma: 0.25}, Merged: true}},
				EchoCost: &measure.Estimate{Value: 2, Sigma: 0.5}, UnderCost: &measure.Estimate{Value: 1, Sigma: 0.25},
				GainDB: ptr(28.0), Clipped: 0.0001, Lost: true,
			},
		},
	}
}

// Truth: what was given comes back.
func TestRoundTrip(t *testing.T) {
	path := newHouse(t)
	m := fullMark()
	s := Station{RFChannel: 22, Label: "North Hill", At: Position{44.5, -72.5}, ERPKW: ptr(850.0), HeightM: ptr(400.0)}
	require.NoError(t, Append(path, WantChange{Time: noon, RFChannel: 22, Label: ptr("North Hill"), Importance: ptr(2)}, WantChange{RFChannel: 9}))
	require.NoError(t, Append(path, m))
	require.NoError(t, Append(path, s))
	require.NoError(t, Append(path), "nothing to add is no error")
	h := read(t, path)
	require.Equal(t, Header{Name: "Mill Lane 4", Created: noon, Program: "test 1"}, h.Header)
	require.Equal(t, []Want{{9, "", 1}, {22, "North Hill", 2}}, h.Wanted)
	require.Equal(t, []Mark{m}, h.Marks)
	require.Equal(t, []Station{s}, h.Stations)
	require.Zero(t, h.Damaged)

	b, err := os.ReadFile(path)
	require.NoError(t, err)
	require.Equal(t, 5, bytes.Count(b, []byte("\n")))
	require.True(t, strings.HasPrefix(string(b), `{"kind":"house","schema":"rooftone.house/1","name":"Mill Lane 4","created":"2026-03-05T12:00:00Z"`), "%s", b)
}

// Truth: the documented rule: a later record replaces what an earlier one
// said, field by field.
func TestWantOverrides(t *testing.T) {
	path := newHouse(t)
	add := func(w WantChange) []Want {
		require.NoError(t, Append(path, w))
		return read(t, path).Wanted
	}
	require.Equal(t, []Want{{22, "", 1}}, add(WantChange{RFChannel: 22}))
	require.Equal(t, []Want{{22, "North", 1}}, add(WantChange{RFChannel: 22, Label: ptr("North")}))
	require.Equal(t, []Want{{22, "North", 3}}, add(WantChange{RFChannel: 22, Importance: ptr(3)}))
	require.Equal(t, []Want{{7, "", 1}, {22, "North", 3}}, add(WantChange{RFChannel: 7, Wanted: ptr(true)}))
	require.Equal(t, []Want{{7, "", 1}, {22, "", 3}}, add(WantChange{RFChannel: 22, Label: ptr("")}))
	require.Equal(t, []Want{{7, "", 1}}, add(WantChange{RFChannel: 22, Wanted: ptr(false)}))
	require.Equal(t, []Want{{7, "", 1}, {22, "", 1}}, add(WantChange{RFChannel: 22}))
}

// Truth: the documented limits. What is refused leaves the file as it was.
func TestAppendRefuses(t *testing.T) {
	path := newHouse(t)
	before, err := os.ReadFile(path)
	require.NoError(t, err)
	mark := func(change func(*Mark)) Mark {
		m := fullMark()
		change(&m)
		return m
	}
	for name, r := range map[string]Record{
		"no place":       mark(func(m *Mark) { m.Place = " \t" }),
		"place escape":   mark(func(m *Mark) { m.Place = "roof\x1b[2J" }),
		"place not text": mark(func(m *Mark) { m.Place = "roof\xff" }),
		"long place":     mark(func(m *Mark) { m.Place = strings.Repeat("ä", maxName+1) }),
		"long note":      mark(func(m *Mark) { m.Note = strings.Repeat("n", maxNote+1) }),
		"no time":        mark(func(m *Mark) { m.Time = time.Time{} }),
		"bearing":        mark(func(m *Mark) { m.BearingDeg = ptr(360.5) }),
		"height":         mark(func(m *Mark) { m.HeightM = ptr(1e9) }),
		"channel":        mark(func(m *Mark) { m.Heard[0].RFChannel = 0 }),
		"channels":       mark(func(m *Mark) { m.Heard = make([]Heard, maxChannels+1) }),
		"want channel":   WantChange{RFChannel: -1},
		"importance":     WantChange{RFChannel: 22, Importance: ptr(10)},
		"label":          WantChange{RFChannel: 22, Label: ptr("a\u202eb")},
		"station":        Station{RFChannel: 22, At: Position{LatDeg: 91}},
	} {
		err := Append(path, WantChange{RFChannel: 7}, r)
		require.Error(t, err, name)
		require.NotContains(t, err.Error(), "\n", name)
		after, err := os.ReadFile(path)
		require.NoError(t, err)
		require.Equal(t, before, after, name)
	}
	nan := mark(func(m *Mark) { m.Heard[1].Margin.Value = nanValue(); m.Note = "two\r\nlines" })
	require.NoError(t, Append(path, nan))
	h := read(t, path)
	require.Nil(t, h.Marks[0].Heard[1].Margin, "not a number is not measured")
	require.Equal(t, "two lines", h.Marks[0].Note)
}

func nanValue() float64 { zero := 0.0; return zero / zero }

// Truth: the documented promise: only house files are added to.
func TestOtherFiles(t *testing.T) {
	dir := t.TempDir()
	for name, content := range map[string]string{
		"empty":  "",
		"blank":  "\n\n",
		"text":   "shopping list\n",
		"json":   `{"kind":"mark"}` + "\n",
		"other":  `{"kind":"house","schema":"thing/1","name":"x"}` + "\n",
		"binary": strings.Repeat("\x00\xff", 1<<17),
	} {
		path := filepath.Join(dir, name)
		require.NoError(t, os.WriteFile(path, []byte(content), 0o644))
		_, err := Read(path)
		require.ErrorIs(t, err, ErrNotHouse, name)
		require.ErrorIs(t, Append(path, WantChange{RFChannel: 7}), ErrNotHouse, name)
		b, err := os.ReadFile(path)
		require.NoError(t, err)
		require.Equal(t, content, string(b), name)
		require.ErrorIs(t, Create(path, Header{}), fs.ErrExist, name)
	}
	newer := filepath.Join(dir, "newer")
	require.NoError(t, os.WriteFile(newer, []byte(`{"kind":"house","schema":"rooftone.house/2","name":"x"}`+"\n"), 0o644))
	_, err := Read(newer)
	require.ErrorIs(t, err, ErrNewer)
	require.ErrorIs(t, Append(newer, WantChange{RFChannel: 7}), ErrNewer)

	require.ErrorIs(t, Append(filepath.Join(dir, "none"), WantChange{RFChannel: 7}), fs.ErrNotExist)
	_, err = Read(filepath.Join(dir, "none"))
	require.ErrorIs(t, err, fs.ErrNotExist)
	require.ErrorIs(t, Create(filepath.Join(dir, "no", "folder"), Header{}), fs.ErrNotExist)
	_, err = Read(dir)
	require.Error(t, err)
	require.Error(t, Append(dir, WantChange{RFChannel: 7}))

	left, err := filepath.Glob(filepath.Join(dir, ".*"))
	require.NoError(t, err)
	require.Empty(t, left, "no temporary file stays")
}

// Truth: the documented promise: fields and kinds that are not known survive.
func TestUnknownSurvives(t *testing.T) {
	path := newHouse(t)
	strange := `{"kind":"guess","of":"tomorrow"}` + "\n" +
		`{"kind":"want","rf_channel":22,"colour":"blue","importance":null}` + "\n" +
		`{"kind":"mark","time":"2026-03-05T12:00:00+01:00","place":"roof","channels":[{"rf_channel":22,"margin_db":3,"mood":[1,2]}],"weather":{"rain":true}}` + "\n"
	before, err := os.ReadFile(path)
	require.NoError(t, err)
	require.NoError(t, os.WriteFile(path, append(before, strange...), 0o644))
	require.NoError(t, Append(path, WantChange{RFChannel: 22, Label: ptr("North")}))
	after, err := os.ReadFile(path)
	require.NoError(t, err)
	require.True(t, bytes.HasPrefix(after, append(before, strange...)))
	h := read(t, path)
	require.Equal(t, 1, h.Others)
	require.Zero(t, h.Damaged)
	require.Equal(t, []Want{{22, "North", 1}}, h.Wanted)
	require.Equal(t, &measure.Estimate{Value: 3}, h.Marks[0].Heard[0].Margin)
}

// Truth: the documented promise: a file cut off at any byte loses the line
// that was cut and no other, and the next record is whole. Zeros at the end
// are what some file systems leave after a lost supply.
func TestCutAnywhere(t *testing.T) {
	t.Parallel()
	path := newHouse(t)
	for i := range 3 {
		m := fullMark()
		m.Place = fmt.Sprintf("place %d", i)
		require.NoError(t, Append(path, WantChange{RFChannel: 7 + i}, m))
	}
	whole, err := os.ReadFile(path)
	require.NoError(t, err)
	header := bytes.IndexByte(whole, '\n') + 1
	cut := filepath.Join(t.TempDir(), "cut")
	for n := range whole {
		for _, tail := range []string{"", "\x00\x00\x00"} {
			if tail != "" && n%17 != 0 {
				continue
			}
			content := append(bytes.Clone(whole[:n]), tail...)
			h, err := Decode(bytes.NewReader(content))
			if n < header-1 || n == header-1 && tail != "" {
				require.ErrorIs(t, err, ErrNotHouse, n)
				continue
			}
			require.NoError(t, err, n)
			lines := bytes.Count(whole[:n], []byte("\n"))
			if tail == "" && whole[n] == '\n' {
				lines++ // only its line feed is missing
			}
			records := len(h.Wanted) + len(h.Marks)
			require.Equal(t, lines-1, records, n)
			torn := n > header && whole[n-1] != '\n' && whole[n] != '\n' || tail != ""
			require.Equal(t, torn, h.Damaged == 1, "%d", n)
			if torn {
				require.True(t, h.Damage[0].Torn)
				require.Equal(t, lines+1, h.Damage[0].Line)
				require.EqualValues(t, bytes.LastIndexByte(whole[:n], '\n')+1, h.Damage[0].Offset)
			}
			if n%7 != 0 && !(n > 0 && whole[n-1] == '\n') {
				continue // the disk is slow
			}
			require.NoError(t, os.WriteFile(cut, content, 0o644))
			require.NoError(t, Append(cut, WantChange{RFChannel: 36}))
			after, err := os.ReadFile(cut)
			require.NoError(t, err)
			require.True(t, bytes.HasPrefix(after, content))
			h = read(t, cut)
			require.Equal(t, records+1, len(h.Wanted)+len(h.Marks), n)
			require.Equal(t, 36, h.Wanted[len(h.Wanted)-1].RFChannel)
			require.Equal(t, torn, h.Damaged == 1)
			if torn {
				require.False(t, h.Damage[0].Torn, "it is not the last line any more")
			}
		}
	}
}

// Truth: the documented promise: several programs at once do not corrupt the
// file, with locks and without.
func TestTogether(t *testing.T) {
	t.Parallel()
	for _, locked := range []bool{true, false} {
		path := newHouse(t)
		const writers, each = 8, 25
		var wg sync.WaitGroup
		errs := make([]error, writers)
		for w := range writers {
			wg.Go(func() {
				for i := range each {
					m := fullMark()
					m.Place = fmt.Sprintf("%d-%d", w, i)
					if locked {
						errs[w] = errors.Join(errs[w], Append(path, m))
					} else {
						errs[w] = errors.Join(errs[w], appendWithoutLock(path, m))
					}
				}
			})
		}
		wg.Wait()
		require.NoError(t, errors.Join(errs...))
		h := read(t, path)
		require.Zero(t, h.Damaged)
		require.Len(t, h.Marks, writers*each)
		seen := map[string]bool{}
		for _, m := range h.Marks {
			seen[m.Place] = true
		}
		require.Len(t, seen, writers*each)
	}
}

func appendWithoutLock(path string, r Record) error {
	b, err := encode(r)
	if err != nil {
		return err
	}
	f, err := linefile.Open(path, os.O_RDWR|os.O_APPEND)
	if err != nil {
		return err
	}
	return errors.Join(appendLines(f, b), f.Close())
}

// Truth: the documented promise: a program that was stopped while it held the
// lock does not stop others.
func TestLockHeld(t *testing.T) {
	path := newHouse(t)
	f, err := os.OpenFile(path, os.O_RDWR|os.O_APPEND, 0)
	require.NoError(t, err)
	defer f.Close()
	unlock := lock(f, time.Second)
	g, err := os.OpenFile(path, os.O_RDWR|os.O_APPEND, 0)
	require.NoError(t, err)
	defer g.Close()
	started := time.Now()
	lock(g, 50*time.Millisecond)()
	if runtime.GOOS == "linux" {
		require.GreaterOrEqual(t, time.Since(started), 50*time.Millisecond, "the lock was held")
	}
	require.NoError(t, appendTo(path, 50*time.Millisecond, []Record{WantChange{RFChannel: 7}}), "after waiting, without it")
	unlock()
	require.Len(t, read(t, path).Wanted, 1)
}

// Truth: the documented promise: where there is no lock, a line that another
// program left unfinished in the wrong moment does not swallow ours.
func TestArrived(t *testing.T) {
	path := newHouse(t)
	f, err := os.OpenFile(path, os.O_RDWR|os.O_APPEND, 0)
	require.NoError(t, err)
	defer f.Close()
	ours := []byte(`{"kind":"want","rf_channel":7}` + "\n")
	for _, c := range []struct {
		between string // written by another between our look and our write
		want    bool
	}{
		{"", true},
		{`{"kind":"want","rf_channel":9}` + "\n", true},
		{`{"kind":"wa`, false},
	} {
		end, whole, err := fileEnd(f)
		require.NoError(t, err)
		require.True(t, whole)
		_, err = f.WriteString(c.between + string(ours))
		require.NoError(t, err)
		got, err := arrived(f, end, whole, ours)
		require.NoError(t, err)
		require.Equal(t, c.want, got, "%q", c.between)
	}
}

// Truth: the documented promise: a house file appears whole, and one of several
// that start it at once does.
func TestCreateTogether(t *testing.T) {
	path := filepath.Join(t.TempDir(), "house.jsonl")
	var wg sync.WaitGroup
	errs := make([]error, 12)
	for i := range errs {
		wg.Go(func() {
			errs[i] = Create(path, Header{Name: fmt.Sprint("house ", i)})
			if errs[i] == nil || errors.Is(errs[i], fs.ErrExist) {
				if err := Append(path, WantChange{RFChannel: i + 1}); err != nil {
					errs[i] = err
				}
			}
		})
	}
	wg.Wait()
	made := 0
	for _, err := range errs {
		if err == nil {
			made++
		} else {
			require.ErrorIs(t, err, fs.ErrExist)
		}
	}
	require.Equal(t, 1, made)
	h := read(t, path)
	require.Len(t, h.Wanted, len(errs))
	require.Zero(t, h.Damaged)
}

// Truth: the documented limits: a line without end costs no memory and no
// other line.
func TestHostileLines(t *testing.T) {
	header := `{"kind":"house","schema":"rooftone.house/1","name":"a` + "\\u001b[2J" + `b"}`
	content := strings.Join([]string{
		header,
		strings.Repeat("x", 5*maxLine),
		`[1,2]`, `null`, `{}`, `"text"`, `{"kind":7}`, `{"kind":"mark"}`,
		`{"kind":"mark","time":"noon","place":"p"}`,
		`{"kind":"mark","time":"2026-03-05T12:00:00Z","place":"\u0000"}`,
		`{"kind":"mark","time":"2026-03-05T12:00:00Z","place":" "}`,
		`{"kind":"mark","time":"2026-03-05T12:00:00Z","place":"p","bearing_deg":1e9}`,
		`{"kind":"mark","time":"2026-03-05T12:00:00Z","place":"p","bearing_deg":1e999}`,
		`{"kind":"mark","time":"2026-03-05T12:00:00Z","place":"p","channels":[{"rf_channel":-4}]}`,
		`{"kind":"mark","time":"2026-03-05T12:00:00Z","place":"p","channels":[` + strings.Repeat(`{"rf_channel":7},`, maxChannels) + `{"rf_channel":7}]}`,
		`{"kind":"want","rf_channel":22.5}`, `{"kind":"want","rf_channel":22,"importance":99}`,
		`{"kind":"station","rf_channel":22,"latitude":100,"longitude":0}`,
		`{"kind":"house","schema":"other/1"}`,
		strings.Repeat(`{"kind":`, 50000),
		`{"kind":"want","rf_channel":22}`,
	}, "\n")
	h, err := Decode(strings.NewReader(content))
	require.NoError(t, err)
	require.Equal(t, "a\ufffd[2Jb", h.Name)
	require.Len(t, h.Wanted, 1)
	require.Len(t, h.Marks, 1)
	require.Equal(t, "\ufffd", h.Marks[0].Place, "named, if strangely")
	for _, d := range h.Damage {
		require.NotContains(t, d.String(), "\n")
		require.Less(t, len(d.String()), 300)
	}
	require.Equal(t, 2, h.Damage[0].Line)
	require.EqualValues(t, 5*maxLine+1, h.Damage[0].Bytes)
	require.EqualValues(t, len(header)+1, h.Damage[0].Offset)
	require.Equal(t, 18, h.Damaged)

	many := header + strings.Repeat("\nx", 3*maxDamage)
	h, err = Decode(strings.NewReader(many))
	require.NoError(t, err)
	require.Equal(t, 3*maxDamage, h.Damaged)
	require.Len(t, h.Damage, maxDamage)
}

func FuzzDecode(f *testing.F) {
	const header = `{"kind":"house","schema":"rooftone.house/1"}` + "\n"
	f.Add([]byte(header + `{"kind":"want","rf_channel":22,"label":"x","importance":2}` + "\n" + `{"kind":"want","rf_channel":22,"wanted":false}`))
	f.Add([]byte(header + `{"kind":"mark","time":"2026-03-05T12:00:00Z","place":"p","bearing_deg":1,"channels":[{"rf_channel":7,"margin_db":3,"margin_sigma_db":1}]}` + "\r\n\r\n"))
	f.Add([]byte(header + `{"kind":"learnt","time":"2026-03-05T12:00:00Z","rf_channel":14,"transport_id":11284,"services":[{"number":"8.1","name":"Q","video":["MPEG-2 video"],"audio":["AC-3 eng"]}]}`))
	f.Add([]byte(header + `{"kind":"station","rf_channel":22,"latitude":1,"longitude":2,"erp_kw":3}` + "\n\x00\x00"))
	f.Add([]byte(header + `{"kind":"turn","time":"2026-03-05T12:00:00Z","place":"p","declination_deg":-13,"curves":[{"rf_channel":7,"points":[[3,1],[5.5,2]]}]}`))
	f.Fuzz(func(t *testing.T, b []byte) {
		h, err := Decode(bytes.NewReader(b))
		if err != nil {
			return
		}
		// One more record is always found, whatever came before.
		fixed := append(bytes.Clone(b), "\n{\"kind\":\"want\",\"rf_channel\":9999}\n"...)
		again, err := Decode(bytes.NewReader(fixed))
		require.NoError(t, err)
		require.Equal(t, maxRF, again.Wanted[len(again.Wanted)-1].RFChannel)
		require.Equal(t, h.Marks, again.Marks)
		require.Equal(t, h.Damaged, again.Damaged)
		// What was read can be written, and says the same. Text that could not
		// be shown is the exception.
		for _, m := range h.Marks {
			line, err := encode(m)
			if err != nil {
				require.Contains(t, err.Error(), "cannot be printed")
				continue
			}
			back, err := Decode(bytes.NewReader(append([]byte(header), line...)))
			require.NoError(t, err)
			require.Len(t, back.Marks, 1, "%s", line)
			require.Equal(t, m.Place, back.Marks[0].Place)
			require.True(t, m.Time.Equal(back.Marks[0].Time))
			require.Len(t, back.Marks[0].Heard, len(m.Heard))
		}
		Spots(h.Marks, DefaultOptions())
	})
}
