package recording

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/dlclark/regexp2"
	"github.com/santhosh-tekuri/jsonschema/v6"
	"github.com/stretchr/testify/require"

	"rooftone/scan/tuner"
)

func ptr(v float64) *float64 { return &v }

// visit makes the blocks of a visit as a tuner would: three tunings, one of
// them twice with a loss between, one with another gain, in several blocks.
func visit(t testing.TB, word string) []tuner.Block {
	t.Helper()
	f, err := parseFormat(word)
	require.NoError(t, err)
	random := rand.New(rand.NewPCG(1, 2))
	start := time.Date(2026, 3, 5, 18, 0, 0, 123456789, time.UTC)
	var blocks []tuner.Block
	for i, s := range []struct {
		hz, gain float64
		samples  int
		lost     bool
	}{
		{471e6, 20.7, 1000, false}, {471e6, 20.7, 1, false}, {473e6, 20.7, 70_000, false},
		{473e6, 20.7, 500, true}, {473e6, 32.8, 500, false}, {475.25e6, math.NaN(), 10, false},
	} {
		raw := make([]byte, int64(s.samples)*f.size())
		for j := range raw {
			raw[j] = byte(random.Uint32()) // with rails among them
		}
		b := tuner.Block{
			Samples: make([]complex64, s.samples), CenterHz: s.hz, RateHz: 2.4e6, GainDB: s.gain,
			Start: start.Add(time.Duration(i) * 71 * time.Millisecond), Lost: s.lost,
		}
		if word == "cf32_le" {
			for j := range b.Samples {
				b.Samples[j] = complex(float32(random.NormFloat64()/2), float32(random.NormFloat64()/2))
				if x := b.Samples[j]; math.Abs(float64(real(x))) >= 1 || math.Abs(float64(imag(x))) >= 1 {
					b.Clipped++
				}
			}
		} else {
			b.Clipped, _ = f.decode(b.Samples, raw)
		}
		if i == 1 {
			b.Start = after(start, 1000, 2.4e6) // runs on
		}
		blocks = append(blocks, b)
	}
	return blocks
}

func record(t testing.TB, w *Writer, blocks []tuner.Block) {
	t.Helper()
	for _, b := range blocks {
		require.NoError(t, w.WriteBlock(b))
	}
	require.NoError(t, w.Close())
}

// Truth: what was written. A recording plays back the same blocks, bit for
// bit, with the same tunings, times, losses and clip counts.
func TestRoundTrip(t *testing.T) {
	for _, word := range []string{"cu8", "ci8", "ci16_le", "cf32_le"} {
		t.Run(word, func(t *testing.T) {
			blocks := visit(t, word)
			base := filepath.Join(t.TempDir(), "roof")
			w, err := Create(base+metaEnding, Meta{Datatype: word})
			require.NoError(t, err)
			record(t, w, blocks)

			r, err := Open(context.Background(), base, Hints{})
			require.NoError(t, err)
			defer r.Close()
			require.NoError(t, r.Verify(context.Background()))
			require.Equal(t, word, r.Info().Datatype)
			stays, err := play(t, r, 333)
			require.NoError(t, err)
			want := []tuner.Block{blocks[0], blocks[2], blocks[3], blocks[4], blocks[5]}
			want[0].Samples = append(append([]complex64{}, want[0].Samples...), blocks[1].Samples...)
			want[0].Clipped += blocks[1].Clipped
			require.Len(t, stays, len(want))
			for i, b := range want {
				require.NoError(t, stays[i].err)
				require.Equal(t, b.Samples, stays[i].samples)
				require.Equal(t, b.Clipped, stays[i].clipped)
				require.Equal(t, b.Lost, stays[i].lost)
				require.Equal(t, b.Start, stays[i].Start)
				require.True(t, sameTuning(stays[i].Stay, tuner.Stay{CenterHz: b.CenterHz, RateHz: b.RateHz, GainDB: b.GainDB}))
			}
		})
	}
}

// Truth: the same recording, copied by what Info and Meta say of it.
func TestCopyLosesNothing(t *testing.T) {
	dir := t.TempDir()
	full := Meta{
		Clock:    tuner.ClockSource{ReferenceHz: 28.8e6},
		Radio:    knownRadio(),
		Datatype: "cu8", Hardware: "stick 7", Recorder: "a program", Author: "A. Example", Description: "from the roof",
		License:  "https://creativecommons.org/licenses/by/4.0/",
		Position: &Position{-107.6183682, 34.0787916, ptr(2120)},
		Antenna:  &Antenna{"Long 4", "log periodic", ptr(7.5), ptr(2.25), ptr(9), ptr(143.5), ptr(1.5), "horizontal"},
	}
	bare := Meta{Datatype: "cu8", Recorder: "rooftone", Antenna: &Antenna{HeightM: ptr(4)}}
	for i, m := range []Meta{full, bare} {
		base := filepath.Join(dir, fmt.Sprint("a", i))
		w, err := Create(base, m)
		require.NoError(t, err)
		record(t, w, visit(t, "cu8"))
		r, err := Open(context.Background(), base, Hints{})
		require.NoError(t, err)
		defer r.Close()
		require.Equal(t, m, r.Meta())

		w, err = Create(base+"copy", r.Meta())
		require.NoError(t, err)
		dst := make([]complex64, 5000)
		for {
			if _, err := r.Next(context.Background()); err != nil {
				break
			}
			for {
				b, err := r.Read(context.Background(), dst)
				if err != nil {
					break
				}
				require.NoError(t, w.WriteBlock(b))
			}
		}
		require.NoError(t, w.Close())
		for _, ending := range []string{metaEnding, dataEnding} {
			a, err := os.ReadFile(base + ending)
			require.NoError(t, err)
			b, err := os.ReadFile(base + "copy" + ending)
			require.NoError(t, err)
			name := filepath.Base(base)
			require.Equal(t, strings.ReplaceAll(string(a), name+dataEnding, name+"copy"+dataEnding), string(b))
		}
	}
}

// An ecma is a regular expression as JSON Schema means it.
type ecma struct{ *regexp2.Regexp }

func (r ecma) MatchString(s string) bool {
	ok, err := r.Regexp.MatchString(s)
	return ok && err == nil
}

func (r ecma) String() string { return r.Regexp.String() }

// schema compiles one of the published schemas.
func schema(t testing.TB, name string) *jsonschema.Schema {
	t.Helper()
	c := jsonschema.NewCompiler()
	c.AssertFormat()
	c.UseRegexpEngine(func(s string) (jsonschema.Regexp, error) {
		r, err := regexp2.Compile(s, regexp2.ECMAScript)
		return ecma{r}, err
	})
	s, err := c.Compile(filepath.Join(references, name))
	require.NoError(t, err)
	return s
}

// Truth: the schemas that the SigMF project publishes.
func TestSchemas(t *testing.T) {
	core, antenna := schema(t, "sigmf-schema.json"), schema(t, "antenna-schema.json")
	validate := func(s *jsonschema.Schema, b []byte) error {
		v, err := jsonschema.UnmarshalJSON(strings.NewReader(string(b)))
		require.NoError(t, err)
		return s.Validate(v)
	}
	metas := map[string]Meta{
		"nothing known": {},
		"all known": {
			Datatype: "cu8", Hardware: "stick 7", Author: "A. Example", Description: "<from> the roof & attic",
			License:  "https://creativecommons.org/licenses/by/4.0/",
			Position: &Position{-107.6183682, 34.0787916, ptr(2120)},
			Antenna:  &Antenna{"Long 4", "log periodic", ptr(7.5), ptr(2.25), ptr(9), ptr(143.5), ptr(1.5), "horizontal"},
		},
		"an antenna without a name": {Antenna: &Antenna{BearingDeg: ptr(0)}},
	}
	for name, m := range metas {
		t.Run(name, func(t *testing.T) {
			base := filepath.Join(t.TempDir(), "roof")
			w, err := Create(base, m)
			require.NoError(t, err)
			record(t, w, visit(t, "cu8"))
			b, err := os.ReadFile(base + metaEnding)
			require.NoError(t, err)
			require.NoError(t, validate(core, b))
			if m.Antenna != nil {
				require.NoError(t, validate(antenna, b))
			}
			require.NotContains(t, string(b), `\u003c`, "readable")
			// The schemas do bite.
			require.Error(t, validate(core, []byte(strings.Replace(string(b), "core:version", "core:wersion", 1))))
			require.Error(t, validate(core, []byte(strings.Replace(string(b), "2026-", "MMXXVI-", 1))))
		})
	}
}

// Truth: the published extension says which fields stand beside its gain
// (sigmf/SigMF, extensions/capture_details.sigmf-ext.md, 1.0.0, section 2).
func TestGainIsWrittenAsTheExtensionAsks(t *testing.T) {
	base := filepath.Join(t.TempDir(), "roof")
	w, err := Create(base, Meta{Datatype: "cu8"})
	require.NoError(t, err)
	blocks := visit(t, "cu8")
	blocks[2].Start = time.Time{}
	record(t, w, blocks)
	b, err := os.ReadFile(base + metaEnding)
	require.NoError(t, err)
	var all struct {
		Global   struct{ Extensions []extension } `json:"global"`
		Captures []object
	}
	require.NoError(t, json.Unmarshal([]byte(strings.ReplaceAll(string(b), "core:extensions", "Extensions")), &all))
	var names []string
	for _, e := range all.Global.Extensions {
		names = append(names, e.Name)
		require.True(t, e.Optional)
	}
	require.Equal(t, []string{"capture_details", "rooftone"}, names)
	first := all.Captures[0]
	require.Equal(t, 20.7, first["capture_details:gain"])
	require.Equal(t, "2026-03-05T18:00:00Z", first["capture_details:start_capture"])
	require.Equal(t, "2026-03-05T18:00:00Z", first["capture_details:stop_capture"])
	require.Equal(t, "roof.sigmf-data", first["capture_details:source_file"])
	require.Equal(t, 2.4e6, first["capture_details:acquisition_bandwidth"])
	for _, key := range []string{"acq_scale_factor", "attenuation"} {
		require.Contains(t, first, "capture_details:"+key)
	}
	require.Equal(t, 20.7, all.Captures[1]["rooftone:gain"], "without a time")
	require.NotContains(t, all.Captures[1], "capture_details:gain")
	require.Equal(t, true, all.Captures[2]["rooftone:lost"])
	require.NotContains(t, all.Captures[4], "capture_details:gain")
	require.NotContains(t, all.Captures[4], "rooftone:gain")
}

// Truth: our promise that a recording is there whole or not at all.
func TestNothingHalfWritten(t *testing.T) {
	blocks := visit(t, "cu8")
	list := func(dir string) (names []string) {
		entries, err := os.ReadDir(dir)
		require.NoError(t, err)
		for _, e := range entries {
			names = append(names, e.Name())
		}
		return names
	}
	begin := func(t *testing.T) (*Writer, string) {
		dir := t.TempDir()
		w, err := Create(filepath.Join(dir, "roof"), Meta{Datatype: "cu8"})
		require.NoError(t, err)
		require.NoError(t, w.WriteBlock(blocks[0]))
		require.Len(t, list(dir), 1)
		return w, dir
	}
	t.Run("abort", func(t *testing.T) {
		w, dir := begin(t)
		w.Abort()
		w.Abort()
		require.Empty(t, list(dir))
		require.ErrorContains(t, w.WriteBlock(blocks[0]), "was given up")
		require.ErrorContains(t, w.Close(), "was given up")
	})
	t.Run("abort after close does nothing", func(t *testing.T) {
		w, dir := begin(t)
		require.NoError(t, w.Close())
		w.Abort()
		require.NoError(t, w.Close())
		require.Equal(t, []string{"roof.sigmf-data", "roof.sigmf-meta"}, list(dir))
		require.ErrorIs(t, w.WriteBlock(blocks[0]), fs.ErrClosed)
	})
	t.Run("no samples", func(t *testing.T) {
		dir := t.TempDir()
		w, err := Create(filepath.Join(dir, "roof"), Meta{})
		require.NoError(t, err)
		require.ErrorContains(t, w.Close(), "no samples came")
		require.Empty(t, list(dir))
	})
	for name, change := range map[string]func(*tuner.Block){
		"changed from 2.4e+06 to 2e+06 Hz": func(b *tuner.Block) { b.RateHz = 2e6 },
		"centre frequency of NaN Hz":       func(b *tuner.Block) { b.CenterHz = math.NaN() },
		"a gain of 1000 dB is absurd":      func(b *tuner.Block) { b.GainDB = 1000 },
		"sample 1002 is (NaN+0i)":          func(b *tuner.Block) { b.Samples[2] = complex(float32(math.NaN()), 0) },
	} {
		t.Run(name, func(t *testing.T) {
			w, dir := begin(t)
			b := blocks[4]
			b.Samples = append([]complex64(nil), b.Samples...)
			change(&b)
			require.ErrorContains(t, w.WriteBlock(b), name)
			require.Empty(t, list(dir))
			require.Error(t, w.Close())
			require.Empty(t, list(dir))
		})
	}
	t.Run("something took the name meanwhile", func(t *testing.T) {
		w, dir := begin(t)
		require.NoError(t, os.WriteFile(filepath.Join(dir, "roof.sigmf-meta"), []byte("mine"), 0o600))
		require.ErrorIs(t, w.Close(), fs.ErrExist)
		require.Equal(t, []string{"roof.sigmf-meta"}, list(dir))
	})
	t.Run("the metadata cannot take their name", func(t *testing.T) {
		dir := t.TempDir()
		w, err := Replace(filepath.Join(dir, "roof"), Meta{Datatype: "cu8"})
		require.NoError(t, err)
		require.NoError(t, w.WriteBlock(blocks[0]))
		inTheWay := filepath.Join(dir, "roof.sigmf-meta", "folder")
		require.NoError(t, os.MkdirAll(inTheWay, 0o700))
		require.Error(t, w.Close())
		require.Equal(t, []string{"roof.sigmf-meta"}, list(dir))
	})
	t.Run("the folder is gone", func(t *testing.T) {
		w, dir := begin(t)
		require.NoError(t, os.RemoveAll(dir))
		require.ErrorIs(t, w.Close(), fs.ErrNotExist)
	})
}

// Truth: what the names promise.
func TestCreateAndReplace(t *testing.T) {
	blocks := visit(t, "cu8")
	dir := t.TempDir()
	base := filepath.Join(dir, "roof")
	w, err := Create(base+dataEnding, Meta{})
	require.NoError(t, err)
	meta, data := w.Names()
	require.Equal(t, []string{base + metaEnding, base + dataEnding}, []string{meta, data})
	record(t, w, blocks[:1])
	old, err := os.ReadFile(meta)
	require.NoError(t, err)

	_, err = Create(base, Meta{})
	require.ErrorIs(t, err, fs.ErrExist)
	require.NoError(t, os.Remove(meta))
	_, err = Create(base, Meta{})
	require.ErrorIs(t, err, fs.ErrExist, "the other half is enough")
	require.NoError(t, os.WriteFile(meta, old, 0o600))

	w, err = Replace(base, Meta{Datatype: "cu8"})
	require.NoError(t, err)
	require.NoError(t, w.WriteBlock(blocks[2]))
	require.Len(t, openAll(t, base, Hints{})[0].samples, 1000, "the old one stands until Close")
	w.Abort()
	require.Len(t, openAll(t, base, Hints{})[0].samples, 1000, "and after Abort")
	w, err = Replace(base, Meta{Datatype: "cu8"})
	require.NoError(t, err)
	record(t, w, blocks[2:3])
	require.Len(t, openAll(t, base, Hints{})[0].samples, 70_000)

	for path, want := range map[string]string{
		"roof.wav": "leave out the ending", "roof.sigmf": "leave out the ending", "": "not a name", ".sigmf-meta": "not a name",
		dir + "/": "not a name", dir + "/..": "not a name", dir + "/none/roof": "no such file",
	} {
		_, err := Create(path, Meta{})
		require.ErrorContains(t, err, want, path)
	}
	for want, m := range map[string]Meta{
		"is no place on Earth":   {Position: &Position{LatitudeDeg: 91}},
		"is not a finite number": {Antenna: &Antenna{HeightM: ptr(math.Inf(1))}},
		"altitude":               {Position: &Position{AltitudeM: ptr(math.NaN())}},
	} {
		_, err := Create(filepath.Join(dir, "new"), m)
		require.ErrorContains(t, err, want)
	}
	require.False(t, errors.Is(err, fs.ErrExist))
}

// Truth: what NewCapture says, and that an empty block still tells of a loss.
func TestNewCaptureAndEmptyBlocks(t *testing.T) {
	b := visit(t, "cu8")[0]
	base := filepath.Join(t.TempDir(), "roof")
	w, err := Create(base, Meta{Datatype: "cu8"})
	require.NoError(t, err)
	require.NoError(t, w.WriteBlock(b))
	require.NoError(t, w.WriteBlock(b))
	w.NewCapture()
	require.NoError(t, w.WriteBlock(b))
	require.NoError(t, w.WriteBlock(tuner.Block{Lost: true}))
	record(t, w, []tuner.Block{b})
	stays := openAll(t, base, Hints{})
	require.Len(t, stays, 3)
	require.Equal(t, []int{2000, 1000, 1000}, []int{len(stays[0].samples), len(stays[1].samples), len(stays[2].samples)})
	require.Equal(t, []bool{false, false, true}, []bool{stays[0].lost, stays[1].lost, stays[2].lost})
}

func BenchmarkWriteBlock(b *testing.B) {
	for _, word := range []string{"cu8", "cf32_le"} {
		b.Run(word, func(b *testing.B) {
			w, err := Create(filepath.Join(b.TempDir(), "roof"), Meta{Datatype: word})
			require.NoError(b, err)
			defer w.Abort()
			block := visit(b, word)[2]
			b.ReportAllocs()
			for b.Loop() {
				if err := w.WriteBlock(block); err != nil {
					b.Fatal(err)
				}
			}
			b.ReportMetric(float64(b.N*len(block.Samples))/b.Elapsed().Seconds()/1e6, "MS/s")
		})
	}
}
