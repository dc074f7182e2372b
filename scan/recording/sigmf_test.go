package recording

import (
	"bytes"
	"context"
	"crypto/sha512"
	"encoding/hex"
	"errors"
	"io"
	"math"
	"math/cmplx"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

// Truth: a second implementation. GNU Radio wrote the files, from the tone
// 0.5·exp(2πi·k/16).
func TestReadsWhatGNURadioWrote(t *testing.T) {
	for name, tolerance := range map[string]float64{"toolkit-cf32": 1e-7, "toolkit-ci16": 1.0 / 32768} {
		for _, ending := range []string{"", metaEnding, dataEnding} {
			stays := openAll(t, filepath.Join(references, name+ending), Hints{})
			require.Len(t, stays, 1)
			require.Equal(t, 473e6, stays[0].CenterHz)
			require.Equal(t, 2.4e6, stays[0].RateHz)
			require.True(t, math.IsNaN(stays[0].GainDB))
			requireTone(t, stays[0].samples, tolerance)
		}
		r, err := Open(context.Background(), filepath.Join(references, name), Hints{})
		require.NoError(t, err)
		require.Equal(t, "A. Example", r.Meta().Author)
		require.Equal(t, "signal source", r.Meta().Hardware)
		require.NoError(t, r.Close())
	}
}

// requireTone checks samples against the tone of the reference files.
func requireTone(t *testing.T, samples []complex64, tolerance float64) {
	t.Helper()
	require.Len(t, samples, 100)
	for k, z := range samples {
		want := cmplx.Rect(0.5, 2*math.Pi*float64(k)/16)
		require.InDelta(t, real(want), float64(real(z)), tolerance)
		require.InDelta(t, imag(want), float64(imag(z)), tolerance)
	}
}

// Truth: the SigMF specification's field descriptions, through files made here.
func TestCaptures(t *testing.T) {
	data := ramp(100)
	want := decoded(t, "cu8", data)
	start := time.Date(2026, 3, 5, 18, 0, 0, 250e6, time.UTC)

	t.Run("each has its own tuning", func(t *testing.T) {
		base := pair(t, metaJSON(t, func(g object, c []object, _ object) {
			merge(c[0], object{"core:datetime": "2026-03-05T18:00:00.25Z", "rooftone:gain": 20.5})
			merge(c[1], object{"capture_details:gain": 30})
		}), data)
		stays := openAll(t, base, Hints{})
		require.Len(t, stays, 2)
		require.Equal(t, want[:10], stays[0].samples)
		require.Equal(t, want[10:], stays[1].samples)
		require.Equal(t, []float64{471e6, 473e6}, []float64{stays[0].CenterHz, stays[1].CenterHz})
		require.Equal(t, []float64{20.5, 30}, []float64{stays[0].GainDB, stays[1].GainDB})
		require.Equal(t, start, stays[0].Start)
		require.True(t, stays[1].Start.IsZero())
	})
	t.Run("samples before the first have no tuning and are passed over", func(t *testing.T) {
		base := pair(t, metaJSON(t, func(_ object, c []object, _ object) { c[0]["core:sample_start"] = 4 }), data)
		stays := openAll(t, base, Hints{})
		require.Equal(t, want[4:10], stays[0].samples)
		require.Equal(t, want[10:], stays[1].samples)
	})
	t.Run("indices count from core:offset", func(t *testing.T) {
		base := pair(t, metaJSON(t, func(g object, c []object, _ object) {
			g["core:offset"] = 1000
			c[0]["core:sample_start"], c[1]["core:sample_start"] = 1002, 1007
		}), data)
		stays := openAll(t, base, Hints{})
		require.Equal(t, want[2:7], stays[0].samples)
		require.Equal(t, want[7:], stays[1].samples)
	})
	t.Run("none is one from the beginning", func(t *testing.T) {
		base := pair(t, metaJSON(t, func(_ object, _ []object, all object) { all["captures"] = []object{} }), data)
		stays := openAll(t, base, Hints{CenterHz: 473e6})
		require.Len(t, stays, 1)
		require.Equal(t, want, stays[0].samples)
		require.Equal(t, 473e6, stays[0].CenterHz)
	})
	t.Run("the specification's example of headers", func(t *testing.T) {
		// Two captures with headers of 4 bytes; the first has 500 samples of
		// 2 bytes; the second begins at byte 1008.
		data := ramp(1108)
		base := pair(t, metaJSON(t, func(g object, c []object, _ object) {
			g["core:dataset"], g["core:trailing_bytes"] = "odd name.dat", 20
			c[0]["core:header_bytes"], c[1]["core:header_bytes"] = 4, 4
			c[1]["core:sample_start"] = 500
		}), nil)
		odd := filepath.Join(filepath.Dir(base), "odd name.dat")
		require.NoError(t, os.WriteFile(odd, data, 0o600))
		stays := openAll(t, base, Hints{})
		require.Equal(t, decoded(t, "cu8", data[4:1004]), stays[0].samples)
		require.Equal(t, decoded(t, "cu8", data[1008:1088]), stays[1].samples)
	})
	t.Run("a dataset named after its metadata finds them", func(t *testing.T) {
		base := pair(t, metaJSON(t, func(g object, _ []object, _ object) { g["core:dataset"] = "roof.dat" }), nil)
		require.NoError(t, os.WriteFile(base+".dat", data, 0o600))
		require.Len(t, openAll(t, base+".dat", Hints{}), 2)
	})
	t.Run("a gap in core:global_index is a loss", func(t *testing.T) {
		base := pair(t, metaJSON(t, func(_ object, c []object, _ object) {
			merge(c[1], object{"core:frequency": 471e6, "core:global_index": 11})
		}), data)
		stays := openAll(t, base, Hints{})
		require.Equal(t, []bool{false, true}, []bool{stays[0].lost, stays[1].lost})
	})
	t.Run("no gap, or another frequency, is none", func(t *testing.T) {
		base := pair(t, metaJSON(t, func(_ object, c []object, _ object) { c[1]["core:global_index"] = 11 }), data)
		require.False(t, openAll(t, base, Hints{})[1].lost)
		base = pair(t, metaJSON(t, func(_ object, c []object, _ object) {
			merge(c[1], object{"core:frequency": 471e6, "core:global_index": 10})
		}), data)
		require.False(t, openAll(t, base, Hints{})[1].lost)
	})
}

// Truth: RFC 3339, which the specification names; times without a zone are
// common practice.
func TestParseTime(t *testing.T) {
	for in, want := range map[string]string{
		"2026-03-05T18:00:00Z":           "2026-03-05T18:00:00Z",
		"2026-03-05T18:00:00.123456789Z": "2026-03-05T18:00:00.123456789Z",
		"2026-03-05T18:00:00+02:00":      "2026-03-05T16:00:00Z",
		"2026-03-05T18:00:00.5":          "2026-03-05T18:00:00.5Z",
		"2016-12-31T23:59:60.5Z":         "2017-01-01T00:00:00.5Z",
	} {
		got, err := parseTime(in)
		require.NoError(t, err)
		require.Equal(t, want, got.Format(time.RFC3339Nano))
	}
	for _, in := range []string{"", "yesterday", "2026-13-05T18:00:00Z", "2026-03-05", "60606060606060606060"} {
		_, err := parseTime(in)
		require.Error(t, err)
	}
}

// Truth: our promise that absurd metadata are one clear line, not a panic.
func TestRefusedMetadata(t *testing.T) {
	set := func(key string, v any) func(object, []object, object) {
		return func(g object, _ []object, _ object) { g[key] = v }
	}
	second := func(key string, v any) func(object, []object, object) {
		return func(_ object, c []object, _ object) { c[1][key] = v }
	}
	const huge = int64(math.MaxInt64)
	tests := map[string]struct {
		change func(object, []object, object)
		want   string
	}{
		"real":               {set("core:datatype", "ri16_le"), "core:datatype: holds real samples (ri16_le), which have no centre frequency: record I and Q instead"},
		"unknown format":     {set("core:datatype", "cx9"), `sample format "cx9" is not known: use cu8`},
		"no format":          {set("core:datatype", nil), "lack core:datatype"},
		"format is a number": {set("core:datatype", 5), "global: core:datatype cannot be a number"},
		"two channels":       {set("core:num_channels", 2), "core:num_channels is 2"},
		"negative rate":      {set("core:sample_rate", -2.4e6), "core:sample_rate: sample rate of -2.4e+06 Hz is not between 0.25 and 20 MS/s"},
		"zero rate":          {set("core:sample_rate", 0), "sample rate of 0 Hz"},
		"audio rate":         {set("core:sample_rate", 48000), "sample rate of 48000 Hz"},
		"fast":               {set("core:sample_rate", 61.44e6), "not between 0.25 and 20 MS/s"},
		"rate is text":       {set("core:sample_rate", "2.4e6"), "global: core:sample_rate cannot be a string"},
		"rate of infinity":   {set("core:sample_rate", 1e300), "not between"},
		"negative offset":    {set("core:offset", -1), "core:offset is -1"},
		"offset of a half":   {set("core:offset", 0.5), "global: core:offset cannot be a value of 0.5"},
		"offset beyond":      {set("core:offset", 5), "core:sample_start 0 lies before core:offset 5"},
		"trailing":           {set("core:trailing_bytes", -5), "core:trailing_bytes is -5"},
		"all is trailing":    {set("core:trailing_bytes", huge), "cut short: 0 of at least 10"},
		"other folder":       {set("core:dataset", "../secret"), "not the name of a file beside"},
		"this folder":        {set("core:dataset", "."), "not the name of a file beside"},
		"other dataset":      {set("core:dataset", "none.dat"), "there is no "},
		"extension":          {set("core:extensions", []object{{"name": "cipher", "version": "1", "optional": false}}), `needs the SigMF extension "cipher"`},
		"frequency":          {second("core:frequency", 1e300), "captures[1]: core:frequency: centre frequency of 1e+300 Hz is not between"},
		"negative frequency": {second("core:frequency", -473e6), "captures[1]: core:frequency"},
		"frequency is text":  {second("core:frequency", "473 MHz"), "captures[1]: core:frequency cannot be a string"},
		"no frequency":       {second("core:frequency", nil), "does not tell its centre frequency: give --center"},
		"gain":               {second("rooftone:gain", 1e9), "captures[1]: a gain of 1e+09 dB is absurd"},
		"time":               {second("core:datetime", "noon"), `captures[1]: core:datetime "noon" is not a time`},
		"overlap":            {second("core:sample_start", 0), "captures[1]: core:sample_start 0 does not come after"},
		"negative start":     {second("core:sample_start", -1), "captures[1]: core:sample_start is missing or negative"},
		"no start":           {second("core:sample_start", nil), "captures[1]: core:sample_start is missing or negative"},
		"start beyond all":   {second("core:sample_start", huge), "captures[1]: core:sample_start 9223372036854775807 with its headers lies beyond any file"},
		"header beyond all": {func(_ object, c []object, _ object) {
			c[0]["core:header_bytes"], c[1]["core:header_bytes"] = huge, huge
		}, "captures[1]: core:sample_start 10 with its headers lies beyond any file"},
		"negative header": {second("core:header_bytes", -4), "captures[1]: core:header_bytes is negative"},
		"negative global": {second("core:global_index", -4), "captures[1]: core:global_index is negative"},
		"out of order": {func(_ object, c []object, _ object) {
			c[0]["core:sample_start"] = 20
		}, "captures[1]: core:sample_start 10 does not come after that of the capture before, 20"},
		"captures is an object": {func(_ object, _ []object, all object) { all["captures"] = object{} }, "captures: no [ where one should be"},
		"a capture is a number": {func(_ object, _ []object, all object) { all["captures"] = []any{5} }, "captures[0] cannot be a number"},
		"no global":             {func(_ object, _ []object, all object) { delete(all, "global") }, "lack their global object"},
		"annotation count": {func(_ object, _ []object, all object) {
			all["annotations"] = []object{{"core:sample_start": 5, "core:sample_count": huge}}
		}, "annotations[0]: core:sample_count 9223372036854775807 is absurd"},
		"annotation start": {func(_ object, _ []object, all object) {
			all["annotations"] = []object{{"core:sample_start": -5}}
		}, "annotations[0]: core:sample_start is missing or negative"},
	}
	for name, test := range tests {
		t.Run(name, func(t *testing.T) {
			base := pair(t, metaJSON(t, test.change), ramp(100))
			require.ErrorContains(t, openError(t, base, Hints{}), test.want)
		})
	}
	texts := map[string]struct{ text, want string }{
		"empty":       {"", "the metadata: the JSON ends in the middle"},
		"cut":         {`{"global": {"core:data`, "global: the JSON ends in the middle"},
		"not JSON":    {"RIFF", "the metadata: not JSON at byte"},
		"a list":      {"[]", "no { where one should be"},
		"NaN":         {`{"global": {"core:datatype": "cu8", "core:sample_rate": NaN}}`, "global: not JSON at byte"},
		"twice":       {`{"global": {"core:datatype": "cu8"}, "global": {"core:datatype": "ci8"}}`, `"global" twice`},
		"goes on":     {`{"global": {"core:datatype": "cu8"}} {}`, "go on behind"},
		"deep":        {`{"global": ` + strings.Repeat(`{"a":`, 20000), "exceeded max depth"},
		"deep lists":  {`{"x": ` + strings.Repeat(`[`, 20000), "exceeded max depth"},
		"giant value": {`{"global": {"core:author": "` + strings.Repeat("x", 2<<20) + `"}}`, "is larger than 1024 KiB"},
		"giant file":  {`{"global": {"core:datatype": "cu8"}, "annotations": [` + strings.Repeat(`{"core:sample_start":0,"core:comment":"`+strings.Repeat("x", 500_000)+`"},`, 150) + `{}]}`, "larger than 64 MiB"},
		"many captures": {`{"captures": [{"core:sample_start":0}` +
			strings.Repeat(`,{"core:sample_start":1}`, 5), "captures[2]: core:sample_start 1 does not come after"},
	}
	for name, test := range texts {
		t.Run(name, func(t *testing.T) {
			base := pair(t, []byte(test.text), ramp(100))
			err := openError(t, base, Hints{})
			require.ErrorContains(t, err, test.want)
			require.Less(t, len(err.Error()), 400)
		})
	}
}

// Truth: common practice. What other programs write beside or instead of what
// we do is no reason to refuse.
func TestTolerance(t *testing.T) {
	data := ramp(100)
	tests := map[string]func(object, []object, object){
		"unknown fields": func(g object, c []object, all object) {
			g["core:colour"], c[0]["other:x"], all["later"] = "red", []int{1}, object{"a": []object{{}}}
		},
		"optional extension": func(g object, _ []object, _ object) {
			g["core:extensions"] = []object{{"name": "other", "version": "1", "optional": true}}
		},
		"whole numbers as floats": func(_ object, c []object, _ object) { c[1]["core:sample_start"] = 10.0 },
		"metadata_only with data": func(g object, _ []object, _ object) { g["core:metadata_only"] = true },
		"a true rate":             func(g object, _ []object, _ object) { g["core:sample_rate"] = 999999.982 },
		"one channel":             func(g object, _ []object, _ object) { g["core:num_channels"] = 1 },
		"no annotations":          func(_ object, _ []object, all object) { delete(all, "annotations") },
	}
	for name, change := range tests {
		t.Run(name, func(t *testing.T) {
			require.Len(t, openAll(t, pair(t, metaJSON(t, change), data), Hints{}), 2)
		})
	}
	withMark := append([]byte("\ufeff"), metaJSON(t, nil)...)
	require.Len(t, openAll(t, pair(t, withMark, data), Hints{}), 2)
	require.Len(t, openAll(t, pair(t, bytes.Replace(metaJSON(t, nil), []byte(`"core:sample_start":10`), []byte(`"core:sample_start":1e1`), 1), data), Hints{}), 2)
}

// Truth: the SigMF project's published example of real samples, its metadata
// unchanged.
func TestPublishedRealRecordingIsRefused(t *testing.T) {
	meta, err := os.ReadFile(filepath.Join(references, "sigmf_logo.sigmf-meta"))
	require.NoError(t, err)
	require.ErrorContains(t, openError(t, pair(t, meta, make([]byte, 1000)), Hints{}),
		"holds real samples (ri16_le), which have no centre frequency: record I and Q instead, as cu8, ci8, ci16_le or cf32_le")
}

// Truth: the file system.
func TestMissingHalf(t *testing.T) {
	require.ErrorContains(t, openError(t, pair(t, metaJSON(t, nil), nil), Hints{}), "roof.sigmf-data, where its samples should be")
	only := metaJSON(t, func(g object, _ []object, _ object) { g["core:metadata_only"] = true })
	require.ErrorContains(t, openError(t, pair(t, only, nil), Hints{}), "given away without its samples (core:metadata_only)")
	base := pair(t, metaJSON(t, nil), ramp(100))
	require.NoError(t, os.Remove(base+metaEnding))
	require.ErrorContains(t, openError(t, base+dataEnding, Hints{}), "has no roof.sigmf-meta beside it: give --format, --rate and --center")
	require.Len(t, openAll(t, base+dataEnding, Hints{"cu8", 2.4e6, 473e6}), 1)
	require.ErrorIs(t, openError(t, base, Hints{}), os.ErrNotExist)
	require.ErrorContains(t, openError(t, base+metaEnding, Hints{}), "has no roof.sigmf-meta beside it")
	require.ErrorIs(t, openError(t, base+"2"+metaEnding, Hints{}), os.ErrNotExist)
	require.ErrorContains(t, openError(t, filepath.Dir(base), Hints{}), "is a folder")
	require.NoError(t, os.Mkdir(base+dataEnding+"x", 0o700))
	require.NoError(t, os.WriteFile(base+metaEnding, metaJSON(t, func(g object, _ []object, _ object) {
		g["core:dataset"] = "roof.sigmf-datax"
	}), 0o600))
	require.ErrorContains(t, openError(t, base, Hints{}), "is not a regular file")
}

// Truth: arithmetic. Every sample that is there is delivered; then what is
// missing is told, once.
func TestTruncated(t *testing.T) {
	whole := func(_ object, _ []object, all object) {
		all["annotations"] = []object{{"core:sample_start": 0, "core:sample_count": 50}}
	}
	tests := map[string]struct {
		change         func(object, []object, object)
		bytes          int
		stays          []int // samples in each
		promised, got  int64
		toldByNextOnly bool
	}{
		"in the last capture":  {whole, 60, []int{10, 20}, 50, 30, false},
		"within a sample":      {whole, 61, []int{10, 20}, 50, 30, false},
		"in the first capture": {whole, 12, []int{6}, 50, 6, false},
		"no length promised":   {nil, 12, []int{6}, 10, 6, false},
		"half a sample over":   {nil, 61, []int{10, 20}, 31, 30, false},
		"between captures":     {whole, 20, []int{10}, 50, 10, false},
		"with an offset": {func(g object, c []object, all object) {
			whole(g, c, all)
			g["core:offset"], c[0]["core:sample_start"] = 5, 5
		}, 60, []int{5, 25}, 45, 30, false},
	}
	for name, test := range tests {
		t.Run(name, func(t *testing.T) {
			base := pair(t, metaJSON(t, test.change), ramp(test.bytes))
			for _, skip := range []bool{false, true} {
				r, err := Open(context.Background(), base, Hints{})
				require.NoError(t, err)
				defer r.Close()
				var cut *TruncatedError
				if skip {
					for range test.stays {
						_, err = r.Next(context.Background())
						require.NoError(t, err)
					}
					_, err = r.Next(context.Background())
					require.ErrorAs(t, err, &cut)
					_, err = r.Next(context.Background())
					require.ErrorIs(t, err, io.EOF)
				} else {
					stays, err := play(t, r, 4)
					require.NoError(t, err)
					require.Len(t, stays, len(test.stays))
					for i, n := range test.stays {
						require.Len(t, stays[i].samples, n)
						if i < len(test.stays)-1 {
							require.NoError(t, stays[i].err)
						}
					}
					require.ErrorAs(t, stays[len(stays)-1].err, &cut)
				}
				require.Equal(t, test.promised, cut.Promised)
				require.Equal(t, test.got, cut.Got)
				require.ErrorIs(t, cut, io.ErrUnexpectedEOF)
			}
		})
	}
	var cut *TruncatedError
	require.ErrorAs(t, openError(t, pair(t, metaJSON(t, whole), []byte{}), Hints{}), &cut)
	require.Equal(t, int64(0), cut.Got)
	empty := metaJSON(t, func(_ object, _ []object, all object) { all["captures"] = nil; delete(all, "captures") })
	require.ErrorContains(t, openError(t, pair(t, empty, []byte{}), Hints{CenterHz: 473e6}), "holds no samples")

	// The file shrinks while it is read.
	base := pair(t, metaJSON(t, nil), ramp(100))
	r, err := Open(context.Background(), base, Hints{})
	require.NoError(t, err)
	defer r.Close()
	require.NoError(t, os.Truncate(base+dataEnding, 31))
	stays, err := play(t, r, 100)
	require.NoError(t, err)
	require.Len(t, stays[1].samples, 5)
	require.ErrorAs(t, stays[1].err, &cut)
	require.Equal(t, &TruncatedError{base + metaEnding, 50, 15}, cut)
}

// Truth: IEEE 754 and the position that the test chose.
func TestDamagedSample(t *testing.T) {
	meta := metaJSON(t, func(g object, _ []object, _ object) { g["core:datatype"] = "cf32_le" })
	for _, at := range []int{0, 3, 9, 10, 49} {
		data := make([]byte, 50*8)
		copy(data[8*at+4:], "\x00\x00\xc0\x7f") // Q is NaN
		r, err := Open(context.Background(), pair(t, meta, data), Hints{})
		require.NoError(t, err)
		stays, err := play(t, r, 7)
		require.NoError(t, err)
		require.NoError(t, r.Close())
		require.Len(t, stays, 2, "the other stay is good")
		bad, good, first := stays[0], stays[1], 0
		if at >= 10 {
			bad, good, first = good, bad, 10
		}
		var damage *SampleError
		require.ErrorAs(t, bad.err, &damage)
		require.Equal(t, int64(at), damage.Index)
		require.Len(t, bad.samples, at-first)
		require.NoError(t, good.err)
	}
}

// Truth: crypto/sha512 over the bytes.
func TestVerify(t *testing.T) {
	ctx := context.Background()
	data := ramp(1 << 20)
	sum := sha512.Sum512(data)
	base := pair(t, metaJSON(t, func(g object, _ []object, _ object) {
		g["core:sha512"] = strings.ToUpper(hex.EncodeToString(sum[:]))
	}), data)
	r, err := Open(ctx, base, Hints{})
	require.NoError(t, err)
	defer r.Close()
	_, err = r.Next(ctx)
	require.NoError(t, err)
	require.NoError(t, r.Verify(ctx))
	b, err := r.Read(ctx, make([]complex64, 10))
	require.NoError(t, err)
	require.Equal(t, decoded(t, "cu8", data[:20]), b.Samples, "Verify leaves the place")
	stopped, stop := context.WithCancel(ctx)
	stop()
	require.ErrorIs(t, r.Verify(stopped), context.Canceled)

	f, err := os.OpenFile(base+dataEnding, os.O_WRONLY, 0)
	require.NoError(t, err)
	_, err = f.WriteAt([]byte{0}, 777777)
	require.NoError(t, err)
	require.NoError(t, f.Close())
	var wrong *ChecksumError
	require.ErrorAs(t, r.Verify(ctx), &wrong)
	require.Equal(t, hex.EncodeToString(sum[:]), wrong.Want)

	r, err = Open(ctx, filepath.Join(references, "toolkit-cf32"), Hints{})
	require.NoError(t, err)
	defer r.Close()
	require.ErrorIs(t, r.Verify(ctx), ErrNoChecksum)
}

// Truth: what hints are for: they fill in, they do not overrule.
func TestHints(t *testing.T) {
	ctx := context.Background()
	data := ramp(100)
	noRate := metaJSON(t, func(g object, c []object, _ object) {
		delete(g, "core:sample_rate")
		c[1]["core:frequency"] = 0
	})
	base := pair(t, noRate, data)
	var missing *MissingError
	require.ErrorAs(t, openError(t, base, Hints{}), &missing)
	require.Equal(t, []string{"rate", "center"}, missing.Wants)
	require.ErrorAs(t, openError(t, base, Hints{CenterHz: 473e6}), &missing)
	require.Equal(t, []string{"rate"}, missing.Wants)
	stays := openAll(t, base, Hints{RateHz: 2e6, CenterHz: 479e6})
	require.Equal(t, []float64{471e6, 479e6}, []float64{stays[0].CenterHz, stays[1].CenterHz})
	base = pair(t, metaJSON(t, nil), data)
	require.ErrorContains(t, openError(t, base, Hints{CenterHz: 473e6}), "tells its centre frequency, 471000000 Hz for a start: leave out --center")
	require.ErrorContains(t, openError(t, base, Hints{RateHz: 2e6}), "recorded at 2.4 MS/s: leave out --rate")
	require.Len(t, openAll(t, base, Hints{RateHz: 2.4e6}), 2)
	for _, h := range []Hints{{RateHz: -1}, {RateHz: math.NaN()}, {CenterHz: -5}, {CenterHz: math.Inf(1)}, {Format: "ri8"}} {
		_, err := Open(ctx, base, h)
		require.Error(t, err)
	}
}

// Truth: the interface's promises about contexts and order.
func TestReaderOrder(t *testing.T) {
	ctx, stop := context.WithCancel(context.Background())
	r, err := Open(ctx, pair(t, metaJSON(t, nil), ramp(100)), Hints{})
	require.NoError(t, err)
	_, err = r.Read(ctx, make([]complex64, 5))
	require.ErrorContains(t, err, "call Next first")
	require.Equal(t, []int64{10, 40}, []int64{r.Spans()[0].Samples, r.Spans()[1].Samples})
	require.Equal(t, 473e6, r.Spans()[1].CenterHz)
	require.Equal(t, "cu8", r.Info().Datatype)
	_, err = r.Next(ctx)
	require.NoError(t, err)
	b, err := r.Read(ctx, nil)
	require.NoError(t, err)
	require.Empty(t, b.Samples)
	b, err = r.Read(ctx, make([]complex64, 4))
	require.NoError(t, err)
	require.Len(t, b.Samples, 4)
	stop()
	_, err = r.Read(ctx, make([]complex64, 4))
	require.ErrorIs(t, err, context.Canceled)
	_, err = r.Next(ctx)
	require.ErrorIs(t, err, context.Canceled)
	ctx = context.Background()
	b, err = r.Read(ctx, make([]complex64, 100))
	require.NoError(t, err)
	require.Len(t, b.Samples, 6, "nothing was lost to the context")
	_, err = r.Read(ctx, make([]complex64, 1))
	require.ErrorIs(t, err, io.EOF)
	require.NoError(t, r.Close())
	_, err = r.Next(ctx)
	require.NoError(t, err)
	_, err = r.Read(ctx, make([]complex64, 1))
	require.True(t, errors.Is(err, os.ErrClosed))
}
