package bundle

import (
	"archive/zip"
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"rooftone/scan/character"
	"rooftone/scan/measure"
)

// manifest is one that is right.
func manifest() Manifest {
	return Manifest{
		Schema: Schema, Program: "rooftone", Plan: "us", Radio: Radio{Kind: "sim", Datatype: "cu8", GainsDB: []float64{0, 20}},
		Channels: []int{14, 15}, Facts: Facts{Shows: []int{14}}, Day: DayOf(time.Date(2026, 3, 5, 23, 30, 0, 0, time.FixedZone("", 3600))),
	}
}

type entry struct {
	name, content string
}

func zipped(t testing.TB, entries ...entry) []byte {
	var b bytes.Buffer
	w := zip.NewWriter(&b)
	for _, e := range entries {
		method := zip.Store
		if len(e.content) > 10_000 { // setting up to deflate takes longer than all else
			method = zip.Deflate
		}
		f, err := w.CreateHeader(&zip.FileHeader{Name: e.name, Method: method})
		require.NoError(t, err)
		_, err = f.Write([]byte(e.content))
		require.NoError(t, err)
	}
	require.NoError(t, w.Close())
	return b.Bytes()
}

func manifestText(t testing.TB, change func(*Manifest)) string {
	m := manifest()
	change(&m)
	text, err := json.Marshal(m)
	require.NoError(t, err)
	return string(text)
}

// Truth: what was written is what is read, and the file is one that the standard
// library's own reader takes.
func TestWriteAndRead(t *testing.T) {
	var b bytes.Buffer
	want := manifest()
	want.Facts = Facts{Shows: []int{22, 7}, NotFound: []int{3}}
	want.Typed = Typed{Set: "a set", Note: "größer"}
	require.NoError(t, Write(&b, want, strings.NewReader("samples"), json.RawMessage(`{"droop_db": 3.1}`)))
	z, err := zip.NewReader(bytes.NewReader(b.Bytes()), int64(b.Len()))
	require.NoError(t, err)
	for _, f := range z.File {
		require.Equal(t, 1980, f.Modified.UTC().Year(), f.Name)
	}
	got, err := Read(bytes.NewReader(b.Bytes()), int64(b.Len()))
	require.NoError(t, err)
	require.JSONEq(t, `{"droop_db": 3.1}`, string(got.Character))
	require.Equal(t, []int{7, 22}, got.Manifest.Facts.Shows)
	require.Equal(t, []int{}, got.Manifest.Facts.BreaksUp)
	require.Equal(t, want.Typed, got.Manifest.Typed)
	require.Equal(t, "2026-03-05", *got.Manifest.Day)
	require.Less(t, int64(b.Len()), Overhead(len(got.Character)))

	want.Facts.NotFound = []int{7}
	require.ErrorContains(t, Write(&b, want, strings.NewReader(""), nil), "channel 7 stands under")
}

// Truth: the package's promise that a stranger's file is bounded before it is
// taken in, and refused in one clear line.
func TestRefused(t *testing.T) {
	good := entry{manifestName, manifestText(t, func(*Manifest) {})}
	excerpt := entry{excerptName, "x"}
	whole := zipped(t, good, excerpt)
	_, err := Read(bytes.NewReader(whole), int64(len(whole)))
	require.NoError(t, err)
	many := []entry{good, excerpt}
	for i := range 2000 {
		many = append(many, entry{fmt.Sprint(i), ""})
	}
	// A directory of many entries that promises two: its record is changed.
	lying := zipped(t, many...)
	copy(lying[len(lying)-14:], []byte{2, 0, 2, 0})
	said := func(change func(*Manifest)) []byte {
		return zipped(t, entry{manifestName, manifestText(t, change)}, excerpt)
	}
	for name, test := range map[string]struct {
		file []byte
		want string
	}{
		"empty":             {nil, "too short"},
		"no zip":            {bytes.Repeat([]byte("a"), 100), "is no bundle, or was cut short"},
		"cut":               {whole[:len(whole)-5], "is no bundle, or was cut short"},
		"comment":           {append(slices.Clone(whole), 0), "is no bundle, or was cut short"},
		"something before":  {append([]byte("#!"), whole...), "directory promises"},
		"many":              {zipped(t, many...), "directory promises"},
		"many, told as two": {lying, "directory promises"},
		"path":              {zipped(t, good, excerpt, entry{"../../etc/passwd", "x"}), `holds "../../etc/passwd"`},
		"folder":            {zipped(t, good, excerpt, entry{"a/", ""}), `holds "a/"`},
		"twice":             {zipped(t, good, excerpt, excerpt), "twice"},
		"no excerpt":        {zipped(t, good), "one holds manifest.json and excerpt.sigmf.gz"},
		"bomb":              {zipped(t, entry{manifestName, strings.Repeat(" ", 1<<20)}, excerpt), "manifest.json is larger than"},
		"character":         {zipped(t, good, excerpt, entry{characterName, "{"}), "character.json is not JSON"},
		"not JSON":          {zipped(t, entry{manifestName, "{"}, excerpt), "unexpected end"},
		"other schema":      {said(func(m *Manifest) { m.Schema = "rooftone.bundle/2" }), "rooftone.bundle/1 is known"},
		"hour":              {said(func(m *Manifest) { day := "2026-03-05T10:00:00Z"; m.Day = &day }), "is no day"},
		"kind":              {said(func(m *Manifest) { m.Radio.Kind = "usb:0001" }), "is no kind of radio"},
		"channel":           {said(func(m *Manifest) { m.Channels = []int{1} }), "1 is no RF channel"},
		"plan":              {said(func(m *Manifest) { m.Plan = "/etc" }), "plan"},
		"two facts":         {said(func(m *Manifest) { m.Facts.BreaksUp = []int{14} }), "channel 14 stands under"},
		"too many":          {said(func(m *Manifest) { m.Channels = make([]int, 5000) }), "5000 entries"},
		"controls":          {said(func(m *Manifest) { m.Typed.Note = "\x1b[2J" }), "control characters"},
		"many limits":       {said(func(m *Manifest) { m.Verdicts = []Judge{{Limits: make([]string, 1000)}} }), "1000 limits"},
		"long word":         {said(func(m *Manifest) { m.Verdicts = []Judge{{Grade: strings.Repeat("a", 99)}} }), "word has 99 bytes"},
		"long":              {said(func(m *Manifest) { m.Typed.Note = strings.Repeat("a", 3000) }), "3000 bytes"},
	} {
		t.Run(name, func(t *testing.T) {
			_, err := Read(bytes.NewReader(test.file), int64(len(test.file)))
			require.ErrorContains(t, err, test.want)
		})
	}
	_, err = Read(bytes.NewReader(nil), MaxBytes+1)
	require.ErrorContains(t, err, "more than")
}

// Truth: arithmetic on the limit.
func TestUnpacksNoMoreThanItsLimit(t *testing.T) {
	var to bytes.Buffer
	require.NoError(t, copyBounded(t.Context(), &to, strings.NewReader("12345"), 5))
	require.Equal(t, "12345", to.String())
	require.ErrorContains(t, copyBounded(t.Context(), &to, strings.NewReader("123456"), 5), "more than 5 bytes")
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	require.ErrorIs(t, copyBounded(ctx, &to, bytes.NewReader(make([]byte, 1<<20)), 1<<20), context.Canceled)
}

// Truth: our promise that of an excerpt that cannot be unpacked one clear line and
// no file is left.
func TestDamagedExcerpt(t *testing.T) {
	for name, content := range map[string]string{
		"no gzip": "nothing of the kind", "cut": "\x1f\x8b\x08\x00\x00\x00\x00\x00\x00\x00", "empty": "",
	} {
		t.Run(name, func(t *testing.T) {
			path := filepath.Join(t.TempDir(), "a.zip")
			require.NoError(t, os.WriteFile(path, zipped(t, entry{manifestName, manifestText(t, func(*Manifest) {})}, entry{excerptName, content}), 0o600))
			b, closer, err := Open(path)
			require.NoError(t, err)
			defer closer.Close()
			folder := t.TempDir()
			_, err = b.Excerpt(t.Context(), folder)
			require.ErrorContains(t, err, "excerpt.sigmf.gz")
			left, err := os.ReadDir(folder)
			require.NoError(t, err)
			require.Empty(t, left)
		})
	}
}

// Truth: the rule as the README states it.
func TestAgreement(t *testing.T) {
	at := func(db, sigma float64) *measure.Estimate { return &measure.Estimate{Value: db, Sigma: sigma} }
	for _, test := range []struct {
		fact   Fact
		word   string
		margin *measure.Estimate
		want   Agreement
	}{
		{Shows, "firm", at(12, 0.2), Agree},
		{Shows, "slim", at(5, 0.2), Agree},
		{Shows, "cliff", at(1, 0.2), Agree},
		{Shows, "trace", at(-0.3, 0.2), Near},
		{Shows, "trace", at(-2, 0.2), Differ},
		{Shows, "trace", nil, Differ},
		{Shows, "vacant", nil, Differ},
		{BreaksUp, "cliff", at(1, 0.2), Agree},
		{BreaksUp, "slim", at(7, 0.2), Near},
		{BreaksUp, "trace", at(-2, 0.1), Near},
		{BreaksUp, "trace", at(-6, 0.1), Differ},
		{BreaksUp, "firm", at(15, 0.3), Differ},
		{BreaksUp, "trace", at(-5, 8), Near}, // could be anything
		{BreaksUp, "firm", at(10, 4), Near},
		{BreaksUp, "vacant", nil, Differ},
		{NotFound, "vacant", nil, Agree},
		{NotFound, "trace", at(-5, 0.1), Agree},
		{NotFound, "atsc3", nil, Agree},
		{NotFound, "other", nil, Agree},
		{NotFound, "cliff", at(1, 0.1), Near},
		{NotFound, "slim", at(4, 0.1), Differ},
		{NotFound, "firm", at(14, 0.1), Differ},
		{NotFound, "unsure", nil, Void},
		{Shows, notHeard, nil, Void},
	} {
		require.Equal(t, test.want, agreement(test.fact, test.word, test.margin), "%v", test)
	}
}

// Truth: what the package says is left out of a character, and that its figures
// stay to the last digit.
func TestBare(t *testing.T) {
	out, err := Bare(json.RawMessage(`{
		"schema": "x/1", "serial": "00004711", "made": "2026-03-05T18:01:02Z", "droop_db": 3.10000000000000001,
		"radio": "usb:00004711", "kind": {"tuner": "R820T", "gainsDb": [0, 0.9], "hostName": "attic"},
		"findings": ["usb:00004711 drifts", "drifts by 2 ppm"], "unixSeconds": 1772733662, "seen": [{"at": "2026-03-05 18:01:02", "hz": 1}]
	}`), "00004711", "1")
	require.NoError(t, err)
	require.JSONEq(t, `{
		"schema": "x/1", "made": "2026-03-05", "droop_db": 3.1, "kind": {"tuner": "R820T", "gainsDb": [0, 0.9]},
		"findings": ["drifts by 2 ppm"], "seen": [{"at": "2026-03-05", "hz": 1}]
	}`, string(out))
	require.Contains(t, string(out), "3.10000000000000001")
	for _, bad := range []string{"", "[1]", "{} {}", "{"} {
		_, err := Bare(json.RawMessage(bad))
		require.Error(t, err, bad)
	}
}

// Truth: the file that an examination keeps of a radio: its figures stay, its serial
// number and the hour go.
func TestBareOfAnExaminedRadio(t *testing.T) {
	of := character.Character{
		Version: 1, Radio: "usb:00004711", Program: "rooftone", Measured: time.Date(2026, 3, 5, 18, 1, 2, 3, time.UTC), RateHz: 2.4e6,
		DroopDB: &character.Figure{Value: 3.125, Sigma: 0.1}, Gains: []character.Gain{{NameDB: 49.6}},
		Tones: []character.Tone{{Kind: character.ToneHarmonic, Hz: 57.6e6}}, Stations: []character.Station{{RFChannel: 22}},
	}
	text, err := json.Marshal(of)
	require.NoError(t, err)
	out, err := Bare(text, "00004711")
	require.NoError(t, err)
	for _, gone := range []string{"4711", "18:01", "radio"} {
		require.Contains(t, string(text), gone)
		require.NotContains(t, string(out), gone)
	}
	for _, stays := range []string{`"name_db": 49.6`, `"value": 3.125`, `"measured": "2026-03-05"`, `"kind": "harmonic"`, `"rf_channel": 22`, `"hz": 57600000`} {
		require.Contains(t, string(out), stays)
	}
}

// Any file is read or refused, what is read is within its limits, and can be
// written again.
func FuzzRead(f *testing.F) {
	good := entry{manifestName, manifestText(f, func(*Manifest) {})}
	f.Add(zipped(f, good, entry{excerptName, "x"}, entry{characterName, "{}"}))
	f.Add(zipped(f, good, good))
	f.Add(zipped(f, entry{"../a", ""}))
	f.Fuzz(func(t *testing.T, file []byte) {
		b, err := Read(bytes.NewReader(file), int64(len(file)))
		if err != nil {
			require.NotContains(t, err.Error(), "\x1b")
			return
		}
		require.LessOrEqual(t, len(b.Character), maxCharacterBytes)
		var again bytes.Buffer
		require.NoError(t, Write(&again, b.Manifest, strings.NewReader("x"), b.Character))
		folder := t.TempDir()
		if r, err := b.Excerpt(t.Context(), folder); err == nil {
			r.Close()
		}
	})
}

// A manifest's text is read or refused; what is read is what its check allows.
func FuzzManifest(f *testing.F) {
	f.Add([]byte(manifestText(f, func(*Manifest) {})))
	f.Fuzz(func(t *testing.T, text []byte) {
		m, err := parseManifest(text)
		if err != nil {
			return
		}
		require.NoError(t, m.check())
		require.LessOrEqual(t, len(m.Facts.All()), maxList)
	})
}

// A character loses what it must, or is refused.
func FuzzBare(f *testing.F) {
	f.Add([]byte(`{"serial": "4711", "a": ["4711", {"4711": 1}], "at": "2026-03-05T18:01:02Z"}`))
	f.Fuzz(func(t *testing.T, text []byte) {
		out, err := Bare(text, "4711")
		if err == nil {
			require.NotContains(t, string(out), "4711")
		}
	})
}
