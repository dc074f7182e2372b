package main

import (
	"context"
	"encoding/binary"
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"reflect"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/rogpeppe/go-internal/testscript"

	"rooftone/scan/tuner"
	"rooftone/scan/tuner/sim"
	"rooftone/scan/tuner/soapy/soapytest"
)

func TestMain(m *testing.M) {
	testscript.Main(m, map[string]func(){"rooftone": main})
}

// Truth: what README.md and the help promise. Each story runs the program as a
// person would.
func TestStories(t *testing.T) {
	if *otherProgram != "" {
		elsewhere(t)
	}
	testscript.Run(t, testscript.Params{
		Dir: "testdata",
		Setup: func(e *testscript.Env) error {
			e.Setenv("LC_ALL", "C.UTF-8")
			e.Setenv("NO_COLOR", "")
			e.Setenv("COLUMNS", "")
			e.Values[radioKey{}] = &radio{}
			return nil
		},
		Condition: func(name string) (bool, error) {
			switch name {
			case "root":
				return os.Geteuid() == 0, nil
			case "soapysdr":
				return soapytest.Missing() == "", nil
			case "soapyremote":
				return soapytest.MissingRemote() == "", nil
			}
			return false, fmt.Errorf("unknown condition %s", name)
		},
		Cmds: map[string]func(*testscript.TestScript, bool, []string){
			"exits":     exits,
			"refuses":   refuses,
			"only":      only,
			"samerows":  sameRows,
			"contract":  contract,
			"row":       row,
			"shorten":   shorten,
			"damage":    damage,
			"smaller":   smaller,
			"lean":      lean,
			"capture":   capture,
			"listen":    listen,
			"radio":     startRadio,
			"soapy":     startSoapy(t),
			"remote":    startRemote(t),
			"interrupt": interrupt,
			"loose":     startLoose,
			"port":      port,
			"scrape":    scrapeTo,
			"logrow":    logRow,
			"until":     waitUntil,
			"tile":      writeTile,
		},
	})
}

// exits CODE PROGRAM ARGS… runs a program and wants an exit code.
func exits(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) < 2 {
		ts.Fatalf("usage: exits CODE PROGRAM ARGS…")
	}
	if got := exitCode(ts, ts.Exec(args[1], args[2:]...)); strconv.Itoa(got) != args[0] {
		ts.Fatalf("exit code %d, not %s", got, args[0])
	}
}

func exitCode(ts *testscript.TestScript, err error) int {
	exit := (*exec.ExitError)(nil)
	switch {
	case err == nil:
		return 0
	case errors.As(err, &exit):
		return exit.ExitCode()
	}
	ts.Fatalf("%v", err)
	return -1
}

// complaint is how the program says no: speak.go's rules.
var complaint = regexp.MustCompile(`^rooftone: error: [^A-Z\n][^\n]*[^.\n]\n(rooftone: hint: [^A-Z\n][^\n]*[^.\n]\n)?$`)

// refuses CODE PROGRAM ARGS… wants an exit code, nothing on standard output,
// one error line with at most one hint, and no trace among the files.
func refuses(ts *testscript.TestScript, neg bool, args []string) {
	before := listing(ts)
	exits(ts, neg, args)
	if out := ts.ReadFile("stdout"); out != "" {
		ts.Fatalf("standard output is not empty: %q", out)
	}
	if said := ts.ReadFile("stderr"); !complaint.MatchString(said) {
		ts.Fatalf("not one error line and at most one hint: %q", said)
	}
	if after := listing(ts); !slices.Equal(before, after) {
		ts.Fatalf("files before: %q, after: %q", before, after)
	}
}

// only FILE… wants nothing but these files in the current directory, hidden
// ones included.
func only(ts *testscript.TestScript, neg bool, args []string) {
	slices.Sort(args)
	if got := listing(ts); neg || !slices.Equal(got, args) {
		ts.Fatalf("files: %q", got)
	}
}

// listing returns the files in and below the current directory but for the
// script's own temporary ones.
func listing(ts *testscript.TestScript) []string {
	names := []string{}
	dir := ts.MkAbs(".")
	ts.Check(filepath.WalkDir(dir, func(path string, d fs.DirEntry, err error) error {
		switch {
		case err != nil:
			return err
		case d.IsDir() && d.Name() == ".tmp":
			return filepath.SkipDir
		case !d.IsDir():
			name, _ := filepath.Rel(dir, path)
			names = append(names, filepath.ToSlash(name))
		}
		return nil
	}))
	slices.Sort(names)
	return names
}

func readReport(ts *testscript.TestScript, name string) map[string]any {
	var r map[string]any
	ts.Check(json.Unmarshal([]byte(ts.ReadFile(name)), &r))
	return r
}

// samerows A B wants two reports to have the same channels, figure for figure.
func sameRows(ts *testscript.TestScript, neg bool, args []string) {
	a, b := readReport(ts, args[0])["channels"].([]any), readReport(ts, args[1])["channels"].([]any)
	if len(a) == 0 || len(a) != len(b) {
		ts.Fatalf("%d and %d channels", len(a), len(b))
	}
	for i := range a {
		if equal := reflect.DeepEqual(a[i], b[i]); equal == neg {
			ts.Fatalf("channels differ:\n%v\n%v", a[i], b[i])
		}
	}
}

// contract FILE wants the fields that the README promises, with their types.
func contract(ts *testscript.TestScript, _ bool, args []string) {
	r := readReport(ts, args[0])
	want := func(where string, o map[string]any, name string, kinds ...string) {
		v, ok := o[name]
		if !ok {
			ts.Fatalf("%s lacks %s", where, name)
		}
		kind := "null"
		switch v.(type) {
		case string:
			kind = "string"
		case float64:
			kind = "number"
		case bool:
			kind = "boolean"
		case []any:
			kind = "list"
		case map[string]any:
			kind = "object"
		}
		if !slices.Contains(kinds, kind) {
			ts.Fatalf("%s: %s is %v, a %s", where, name, v, kind)
		}
	}
	want("report", r, "schema", "string")
	want("report", r, "started", "string", "null")
	want("report", r, "source", "string")
	want("report", r, "ppm", "number", "null")
	want("report", r, "interrupted", "boolean")
	want("report", r, "channels", "list")
	for i, c := range r["channels"].([]any) {
		where, o := "channel "+strconv.Itoa(i), c.(map[string]any)
		for _, name := range []string{"rf_channel", "lower_hz", "upper_hz"} {
			want(where, o, name, "number")
		}
		want(where, o, "covered", "boolean")
		want(where, o, "limits", "list")
		want(where, o, "seen_share", "number")
		want(where, o, "seen_hz", "list")
		want(where, o, "occupant", "object", "null")
		number, text, truth := "number", "string", "boolean"
		if o["seen_share"] == 0.0 {
			number, text, truth = "null", "null", "null"
		}
		for _, name := range []string{"power_dbfs", "noise_dbfs", "cn_db", "cn_sigma_db", "pilot_offset_hz", "pilot_to_noise_dbhz", "margin_db", "power_dbm", "mer_db", "tilt_db", "ripple_db"} {
			want(where, o, name, number, "null")
		}
		want(where, o, "noise_method", text, "null")
		want(where, o, "grade", text, "null")
		want(where, o, "presence", text)
		want(where, o, "pilot_found", truth)
		want(where, o, "clipped_fraction", number)
	}
}

// row FILE CHANNEL FIELD VALUE wants a value in a report; LOW..HIGH is a range
// of numbers, and a list's entries are joined with commas.
func row(ts *testscript.TestScript, neg bool, args []string) {
	for _, c := range readReport(ts, args[0])["channels"].([]any) {
		o := c.(map[string]any)
		if strconv.Itoa(int(o["rf_channel"].(float64))) != args[1] {
			continue
		}
		if matches(o[args[2]], args[3]) == neg {
			ts.Fatalf("channel %s: %s is %v, not %s", args[1], args[2], o[args[2]], args[3])
		}
		return
	}
	ts.Fatalf("no channel %s", args[1])
}

func matches(v any, want string) bool {
	low, high, isRange := strings.Cut(want, "..")
	switch v := v.(type) {
	case nil:
		return want == "null"
	case bool:
		return strconv.FormatBool(v) == want
	case string:
		return v == want
	case float64:
		if !isRange {
			high = low
		}
		a, err := strconv.ParseFloat(low, 64)
		b, err2 := strconv.ParseFloat(high, 64)
		return err == nil && err2 == nil && a <= v && v <= b
	case []any:
		var words []string
		for _, w := range v {
			words = append(words, w.(string))
		}
		return strings.Join(words, ",") == want
	}
	return false
}

// shorten FILE BYTES cuts a file's end off; a negative number says how much.
func shorten(ts *testscript.TestScript, _ bool, args []string) {
	name := ts.MkAbs(args[0])
	n, err := strconv.ParseInt(args[1], 10, 64)
	ts.Check(err)
	if n < 0 {
		fi, err := os.Stat(name)
		ts.Check(err)
		n += fi.Size()
	}
	ts.Check(os.Truncate(name, n))
}

// capture FILE TOWN CENTER RATE TIME [SCALE] writes the samples of one stay in a
// town: as a WAV file of 16 bits that tells its centre, as floats with full scale
// at SCALE or as integers of 16 bits, by the file's ending, else as cu8.
func capture(ts *testscript.TestScript, _ bool, args []string) {
	town, err := sim.Load(ts.MkAbs(args[1]))
	ts.Check(err)
	radio, err := sim.New(town, sim.Options{})
	ts.Check(err)
	center, err := strconv.ParseFloat(args[2], 64)
	ts.Check(err)
	rate, err := strconv.ParseFloat(args[3], 64)
	ts.Check(err)
	length, err := time.ParseDuration(args[4])
	ts.Check(err)
	scale := 1.0
	if len(args) > 5 {
		scale, err = strconv.ParseFloat(args[5], 64)
		ts.Check(err)
	}
	ctx := context.Background()
	ts.Check(radio.Tune(ctx, tuner.Tuning{CenterHz: center, RateHz: rate, GainDB: tuner.UnknownGain()}))
	b, err := radio.Read(ctx, make([]complex64, int(length.Seconds()*rate)))
	ts.Check(err)
	ts.Check(os.WriteFile(ts.MkAbs(args[0]), encoded(filepath.Ext(args[0]), b, scale), 0o666))
}

// encoded writes a block's samples as a file with an ending has them.
func encoded(ending string, b tuner.Block, scale float64) []byte {
	var value func(raw []byte, v float32) []byte
	switch ending {
	case ".cf32":
		value = func(raw []byte, v float32) []byte {
			return binary.LittleEndian.AppendUint32(raw, math.Float32bits(v*float32(scale)))
		}
	case ".cs16", ".wav":
		value = func(raw []byte, v float32) []byte {
			return binary.LittleEndian.AppendUint16(raw, uint16(int16(max(-32768, min(32767, math.Round(float64(v)*32768))))))
		}
	default:
		value = func(raw []byte, v float32) []byte { return append(raw, tuner.ToByte(v)) }
	}
	var raw []byte
	for _, z := range b.Samples {
		raw = value(value(raw, real(z)), imag(z))
	}
	if ending == ".wav" {
		return append(wavHead(uint32(b.RateHz), uint32(b.CenterHz), uint32(len(raw))), raw...)
	}
	return raw
}

// wavHead is the head of a WAV file of 16 bits with an auxi chunk.
func wavHead(rate, center, size uint32) []byte {
	le := binary.LittleEndian
	h := []byte("RIFF\x00\x00\x00\x00WAVEfmt \x10\x00\x00\x00\x01\x00\x02\x00")
	h = le.AppendUint32(le.AppendUint32(h, rate), 4*rate)
	h = append(h, "\x04\x00\x10\x00auxi\x44\x00\x00\x00"...)
	h = le.AppendUint32(append(h, make([]byte, 32)...), center)
	h = append(append(h, make([]byte, 32)...), "data"...)
	return le.AppendUint32(h, size)
}

// interrupt TUNINGS CODE PROGRAM ARGS… runs a program against the radio that
// the command radio started, sends it an interrupt once the radio has been
// tuned that often, and wants an exit code. Its output is saved as for exec.
func interrupt(ts *testscript.TestScript, _ bool, args []string) {
	tunings, err := strconv.ParseInt(args[0], 10, 64)
	ts.Check(err)
	path, err := exec.LookPath(args[2])
	ts.Check(err)
	cmd := exec.Command(path, args[3:]...)
	cmd.Dir, cmd.Stdout, cmd.Stderr = ts.MkAbs("."), ts.Stdout(), ts.Stderr()
	ts.Check(cmd.Start())
	ended := make(chan error, 1)
	go func() { ended <- cmd.Wait() }()
	deadline := time.After(time.Minute)
	r := ts.Value(radioKey{}).(*radio)
	for r.tunings.Load() < tunings {
		select {
		case err := <-ended:
			ts.Fatalf("ended by itself: %v", err)
		case <-deadline:
			cmd.Process.Kill()
			ts.Fatalf("never got to %d tunings", tunings)
		case <-time.After(5 * time.Millisecond):
		}
	}
	ts.Check(cmd.Process.Signal(os.Interrupt))
	if got := exitCode(ts, <-ended); strconv.Itoa(got) != args[1] {
		ts.Fatalf("exit code %d, not %s", got, args[1])
	}
}

// damage FILE changes one byte in a file's middle.
func damage(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) != 1 {
		ts.Fatalf("usage: damage FILE")
	}
	name := ts.MkAbs(args[0])
	b, err := os.ReadFile(name)
	ts.Check(err)
	b[len(b)/2] ^= 1
	ts.Check(os.WriteFile(name, b, 0o644))
}

// smaller FILE BYTES wants a file of at most so many bytes, and of at least half
// as many.
func smaller(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) != 2 {
		ts.Fatalf("usage: smaller FILE BYTES")
	}
	most, err := strconv.ParseInt(args[1], 10, 64)
	ts.Check(err)
	fi, err := os.Stat(ts.MkAbs(args[0]))
	ts.Check(err)
	if fi.Size() > most || fi.Size() < most/2 {
		ts.Fatalf("%s has %d bytes", args[0], fi.Size())
	}
}

// lean MB ARGS… runs rooftone and fails if it ever took more memory than that.
func lean(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) < 2 {
		ts.Fatalf("usage: lean MB ARGS…")
	}
	most, err := strconv.ParseFloat(args[0], 64)
	ts.Check(err)
	for _, dir := range filepath.SplitList(ts.Getenv("PATH")) {
		name := filepath.Join(dir, "rooftone")
		if _, err := os.Stat(name); err != nil {
			continue
		}
		c := exec.Command(name, args[1:]...)
		c.Dir = ts.MkAbs(".")
		took, err := runPeakMB(c)
		ts.Check(err)
		ts.Logf("%.1f MB at the most", took)
		// With -short the race detector may be in, which takes its own.
		if took > most && !testing.Short() {
			ts.Fatalf("it took %.1f MB", took)
		}
		return
	}
	ts.Fatalf("rooftone is not on the path")
}
