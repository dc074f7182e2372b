package recording

import (
	"archive/tar"
	"bytes"
	"context"
	"errors"
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/require"
)

// playFuzzed plays what a fuzz target opened and checks what holds of any
// recording: it ends, it delivers no more than its bytes can hold, and every
// sample is sane.
func playFuzzed(t *testing.T, r *Reader, bytes int) {
	defer r.Close()
	require.NoError(t, checkRate(r.spans[0].RateHz))
	stays, err := play(t, r, 31)
	total := 0
	for _, s := range stays {
		total += len(s.samples)
		require.LessOrEqual(t, s.clipped, len(s.samples))
		require.NoError(t, checkCenter(s.CenterHz))
		for _, z := range s.samples {
			require.True(t, sane(z), "%v", z)
		}
		if s.err != nil {
			err = s.err
		}
	}
	require.LessOrEqual(t, int64(total)*r.format.size(), int64(bytes))
	var cut *TruncatedError
	var damage *SampleError
	if err != nil && !errors.As(err, &damage) {
		require.ErrorAs(t, err, &cut)
		require.Greater(t, cut.Promised, cut.Got)
		require.GreaterOrEqual(t, cut.Got, int64(0))
	}
}

func memory(b []byte) *fileData { return &fileData{bytes.NewReader(b), int64(len(b)), nil} }

func FuzzSigMFMeta(f *testing.F) {
	f.Add(metaJSON(f, nil), ramp(100))
	f.Add(metaJSON(f, func(g object, c []object, all object) {
		merge(g, object{"core:datatype": "cf32_be", "core:offset": 3, "core:trailing_bytes": 4, "core:dataset": "x", "core:num_channels": 1,
			"core:sha512": "00", "antenna:model": "m", "core:extensions": []object{{"name": "antenna", "version": "1", "optional": false}}})
		merge(c[0], object{"core:sample_start": 3, "core:header_bytes": 4, "core:datetime": "2026-03-05T18:00:60.5Z", "rooftone:lost": true})
		merge(c[1], object{"core:global_index": 99, "capture_details:gain": 12.5, "core:geolocation": object{"type": "Point", "coordinates": []float64{1, 2}}})
		all["annotations"] = []object{{"core:sample_start": 3, "core:sample_count": 90, "antenna:azimuth_angle": 10}}
	}), ramp(300))
	for _, name := range []string{"sigmf_logo.sigmf-meta", "toolkit-ci16.sigmf-meta"} {
		b, err := os.ReadFile(filepath.Join(references, name))
		require.NoError(f, err)
		f.Add(b, ramp(64))
	}
	f.Fuzz(func(t *testing.T, meta, data []byte) {
		m, err := parseMetadata(bytes.NewReader(meta))
		if err != nil {
			require.Less(t, len(err.Error()), 1000)
			return
		}
		r, err := newSigMF("fuzzed", m, memory(data), Hints{})
		if err != nil {
			return
		}
		_ = r.Verify(context.Background())
		playFuzzed(t, r, len(data))
	})
}

func FuzzWAV(f *testing.F) {
	for name := range wavFiles() {
		b, err := os.ReadFile(filepath.Join(references, name))
		require.NoError(f, err)
		f.Add(b)
	}
	f.Fuzz(func(t *testing.T, file []byte) {
		ctx := context.Background()
		h := Hints{CenterHz: 473e6}
		r, err := newWAV(ctx, "fuzzed", memory(file), h)
		s, streamErr := NewReader(ctx, "fuzzed", bytes.NewReader(file), h)
		if err == nil {
			// The one exception: samples of which none came are an error of a
			// file, and an end of a stream.
			require.NoError(t, streamErr)
			playFuzzed(t, r, len(file))
		}
		if streamErr == nil {
			playFuzzed(t, s, len(file))
		}
	})
}

func FuzzArchive(f *testing.F) {
	meta, data := metaJSON(f, nil), ramp(100)
	for _, format := range []tar.Format{tar.FormatUSTAR, tar.FormatPAX, tar.FormatGNU} {
		f.Add(tarFile(f, format, entry{name: "a/a.sigmf-meta", body: meta}, entry{name: "a/a.sigmf-data", body: data}))
	}
	f.Add(tarFile(f, tar.FormatUSTAR, entry{name: "a.sigmf-data", body: data}, entry{name: "a.sigmf-meta", body: meta}))
	f.Fuzz(func(t *testing.T, file []byte) {
		b := bytes.NewReader(file)
		m, d, err := openArchive("fuzzed", b, b, int64(len(file)))
		if err != nil {
			return
		}
		require.LessOrEqual(t, d.offset+d.size, int64(len(file)))
		body := file[d.offset : d.offset+d.size]
		if r, err := newSigMF("fuzzed", m, memory(body), Hints{}); err == nil {
			playFuzzed(t, r, len(body))
		}
	})
}

func FuzzRaw(f *testing.F) {
	f.Add("cu8", 2.4e6, 473e6, ramp(20))
	f.Add("cf32_be", 20e6, 1e12, ramp(33))
	f.Add("cf64", 0.9999e6, 1e-300, ramp(160))
	f.Add("ri16_le", -1.0, 0.0, []byte{})
	f.Fuzz(func(t *testing.T, word string, rate, center float64, data []byte) {
		path := filepath.Join(t.TempDir(), "fuzzed")
		require.NoError(t, os.WriteFile(path, data, 0o600))
		h := Hints{word, rate, center}
		r, err := Open(context.Background(), path, h)
		s, streamErr := NewReader(context.Background(), "fuzzed", bytes.NewReader(data), h)
		if err == nil {
			require.NoError(t, streamErr)
			playFuzzed(t, r, len(data))
		}
		if streamErr == nil {
			playFuzzed(t, s, len(data))
		}
	})
}
