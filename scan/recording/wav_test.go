package recording

import (
	"bytes"
	"context"
	"encoding/binary"
	"io"
	"math"
	"os"
	"path/filepath"
	"testing"
	"time"

	"github.com/mjibson/go-dsp/wav"
	"github.com/stretchr/testify/require"
)

// wavFiles are the reference files with the step of their format.
func wavFiles() map[string]float64 {
	return map[string]float64{
		"toolkit-u8.wav": 1.0 / 128, "toolkit-i16.wav": 1.0 / 32768, "toolkit-i24.wav": 1.0 / (1 << 23),
		"toolkit-i32.wav": 1e-7, "toolkit-f32.wav": 1e-7, "toolkit-rf64.wav": 1.0 / 32768, "scipy-i32.wav": 1e-7,
	}
}

// Truth: second implementations. GNU Radio (with libsndfile) and SciPy wrote
// the files, from the tone 0.5·exp(2πi·k/16).
func TestReadsWhatOthersWroteAsWAV(t *testing.T) {
	for name, step := range wavFiles() {
		t.Run(name, func(t *testing.T) {
			path := filepath.Join(references, name)
			stays := openAll(t, path, Hints{CenterHz: 473e6})
			require.Len(t, stays, 1)
			require.Equal(t, 473e6, stays[0].CenterHz)
			require.Equal(t, 2.4e6, stays[0].RateHz)
			requireTone(t, stays[0].samples, step)

			// The same as a stream that trickles.
			b, err := os.ReadFile(path)
			require.NoError(t, err)
			r, err := NewReader(context.Background(), "pipe", &trickle{b}, Hints{CenterHz: 473e6})
			require.NoError(t, err)
			defer r.Close()
			again, err := play(t, r, 13)
			require.NoError(t, err)
			require.Equal(t, stays[0].samples, again[0].samples)
			require.NoError(t, again[0].err)

			var missing *MissingError
			require.ErrorAs(t, openError(t, path, Hints{}), &missing)
			require.Equal(t, path+": does not tell its centre frequency: give --center", missing.Error())
			require.ErrorContains(t, openError(t, path, Hints{RateHz: 3e6, CenterHz: 1e6}), "leave out --rate")
		})
	}
}

// A trickle yields one byte at a time.
type trickle struct{ b []byte }

func (r *trickle) Read(p []byte) (int, error) {
	if len(r.b) == 0 {
		return 0, io.EOF
	}
	n := copy(p[:1], r.b)
	r.b = r.b[n:]
	return n, nil
}

// riffChunk makes a RIFF chunk.
func riffChunk(id string, size uint32, body []byte) []byte {
	b := binary.LittleEndian.AppendUint32([]byte(id), size)
	return append(b, body...)
}

// fmtChunk makes a fmt chunk of 16 bytes.
func fmtChunk(tag, channels uint16, rate uint32, bits uint16) []byte {
	b := binary.LittleEndian.AppendUint16(nil, tag)
	b = binary.LittleEndian.AppendUint16(b, channels)
	b = binary.LittleEndian.AppendUint32(b, rate)
	b = binary.LittleEndian.AppendUint32(b, rate*uint32(channels*bits/8))
	b = binary.LittleEndian.AppendUint16(b, channels*bits/8)
	b = binary.LittleEndian.AppendUint16(b, bits)
	return riffChunk("fmt ", 16, b)
}

func riff(id string, chunks ...[]byte) []byte {
	return append(append([]byte(id), "\x00\x00\x00\x00WAVE"...), bytes.Join(chunks, nil)...)
}

// Truth: a second implementation, go-dsp's reader, on the kinds that it has.
func TestSameAsGoDSP(t *testing.T) {
	for _, name := range []string{"toolkit-i16.wav", "toolkit-f32.wav"} {
		b, err := os.ReadFile(filepath.Join(references, name))
		require.NoError(t, err)
		w, err := wav.New(bytes.NewReader(b))
		require.NoError(t, err)
		raw, err := w.ReadSamples(200)
		require.NoError(t, err)
		values := make([]float32, 200)
		switch raw := raw.(type) {
		case []int16:
			for i, v := range raw {
				values[i] = float32(v) / 32768
			}
		case []float32:
			copy(values, raw)
		}
		got := openAll(t, filepath.Join(references, name), Hints{CenterHz: 473e6})[0].samples
		require.Equal(t, float64(w.SampleRate), 2.4e6)
		for i, z := range got {
			require.Equal(t, complex(values[2*i], values[2*i+1]), z)
		}
	}
}

// Truth: the RIFF and RF64 (EBU Tech 3306) layouts. Sizes that cannot be true
// and placeholders that programs leave behind.
func TestWAVLengths(t *testing.T) {
	f := fmtChunk(wavPCM, 2, 2400000, 8)
	body := ramp(20)
	data := func(size uint32) []byte { return riffChunk("data", size, body) }
	list := riffChunk("LIST", 4, []byte("INFO"))
	ds64 := func(size uint64) []byte {
		b := binary.LittleEndian.AppendUint64(make([]byte, 8), size)
		return riffChunk("ds64", 28, append(b, make([]byte, 12)...))
	}
	tests := map[string]struct {
		file     []byte
		samples  int
		promised int64 // 0: all there
	}{
		"exact":                  {riff("RIFF", f, data(20)), 10, 0},
		"chunks before":          {riff("RIFF", list, f, riffChunk("junk", 3, make([]byte, 4)), data(20)), 10, 0},
		"chunks behind":          {riff("RIFF", f, data(20), list), 10, 0},
		"never finished, 0":      {riff("RIFF", f, data(0)), 10, 0},
		"never finished, all":    {riff("RIFF", f, data(math.MaxUint32)), 10, 0},
		"never finished, signed": {riff("RIFF", f, data(math.MaxInt32)), 10, 0},
		"a pipe's placeholder":   {riff("RIFF", f, data(0x7ffff000)), 10, 0},
		"cut":                    {riff("RIFF", f, data(60)), 10, 30},
		"cut within a sample":    {riff("RIFF", f, data(60))[:12+24+8+19], 9, 30},
		"RF64":                   {riff("RF64", ds64(20), f, data(math.MaxUint32), list), 10, 0},
		"RF64 that is short":     {riff("RF64", ds64(20), f, data(20), list), 10, 0},
		"RF64, cut":              {riff("RF64", ds64(1<<40), f, data(math.MaxUint32)), 10, 1 << 39},
		"RF64, never finished":   {riff("RF64", ds64(0), f, data(math.MaxUint32)), 10, 0},
		"RF64, all ones":         {riff("RF64", ds64(math.MaxUint64), f, data(math.MaxUint32)), 10, 0},
		"RF64, 0":                {riff("RF64", ds64(0), f, data(0)), 10, 0},
		"RF64, 0 in one":         {riff("RF64", ds64(20), f, data(0), list), 10, 0},
		"zeros behind":           {riff("RIFF", f, data(20), make([]byte, 32)), 10, 0},
		"BW64, no length":        {riff("BW64", f, data(math.MaxUint32)), 10, 0},
	}
	for name, test := range tests {
		t.Run(name, func(t *testing.T) {
			path := filepath.Join(t.TempDir(), "a.wav")
			require.NoError(t, os.WriteFile(path, test.file, 0o600))
			for _, stream := range []bool{false, true} {
				ctx := context.Background()
				r, err := Open(ctx, path, Hints{CenterHz: 473e6})
				if stream {
					require.NoError(t, r.Close())
					r, err = NewReader(ctx, "pipe", bytes.NewReader(test.file), Hints{CenterHz: 473e6})
				}
				require.NoError(t, err)
				stays, err := play(t, r, 6)
				require.NoError(t, err)
				require.NoError(t, r.Close())
				require.Len(t, stays, 1)
				require.Len(t, stays[0].samples, test.samples)
				if test.promised == 0 {
					require.NoError(t, stays[0].err)
					continue
				}
				var cut *TruncatedError
				require.ErrorAs(t, stays[0].err, &cut)
				require.Equal(t, []int64{test.promised, int64(test.samples)}, []int64{cut.Promised, cut.Got})
			}
		})
	}
}

// Truth: 32 bits hold lengths up to 4 GiB; some programs let a longer one wrap.
func TestWAVLengthWraps(t *testing.T) {
	require.Equal(t, int64(unknownCount), dataLength(100, 100+1<<32))
	require.Equal(t, int64(unknownCount), dataLength(101, 102+3<<32), "a padded one")
	require.Equal(t, int64(100), dataLength(100, 150+1<<32))
	require.Equal(t, int64(100), dataLength(100, 100))
	require.Equal(t, int64(100), dataLength(100, -1))
}

// Truth: our promise that hostile headers are one clear line.
func TestRefusedWAV(t *testing.T) {
	f := fmtChunk(wavPCM, 2, 2400000, 8)
	align := bytes.Clone(f)
	align[20] = 7
	extensible := fmtChunk(wavExtensible, 2, 2400000, 16)
	tests := map[string]struct {
		file []byte
		want string
	}{
		"one channel":    {riff("RIFF", fmtChunk(wavPCM, 1, 2400000, 16)), "has 1 channels: I and Q as two are needed"},
		"six channels":   {riff("RIFF", fmtChunk(wavPCM, 6, 2400000, 16)), "has 6 channels"},
		"no rate":        {riff("RIFF", fmtChunk(wavPCM, 2, 0, 16)), "sample rate of 0 Hz"},
		"audio":          {riff("RIFF", fmtChunk(wavPCM, 2, 48000, 16)), "sample rate of 48000 Hz is not between 0.25 and 20 MS/s"},
		"fast":           {riff("RIFF", fmtChunk(wavPCM, 2, math.MaxUint32, 16)), "not between 0.25 and 20"},
		"12 bits":        {riff("RIFF", fmtChunk(wavPCM, 2, 2400000, 12)), "samples of format 1 and 12 bits"},
		"compressed":     {riff("RIFF", fmtChunk(0x55, 2, 2400000, 0)), "samples of format 85 and 0 bits"},
		"odd align":      {riff("RIFF", align), "a sample takes 7 bytes"},
		"short fmt":      {riff("RIFF", riffChunk("fmt ", 4, make([]byte, 4))), "fmt chunk of 4 bytes"},
		"no GUID":        {riff("RIFF", extensible), "sample format that is not known"},
		"no fmt":         {riff("RIFF", riffChunk("data", 20, ramp(20))), "does not tell its sample format before"},
		"no data":        {riff("RIFF", f), "ends within its headers"},
		"no samples":     {riff("RIFF", f, riffChunk("data", 0, nil)), "holds no samples"},
		"all cut":        {riff("RIFF", f, riffChunk("data", 100, nil)), "cut short: 0 of at least 50"},
		"cut header":     {riff("RIFF", f)[:20], "ends within its headers"},
		"huge chunk":     {riff("RIFF", riffChunk("junk", math.MaxUint32, make([]byte, 50))), "ends within its headers"},
		"endless chunks": {riff("RIFF", bytes.Repeat(riffChunk("junk", 0, nil), 2000)), "too many chunks"},
		"not WAV":        {[]byte("a text"), "does not begin as a WAV file does"},
	}
	for name, test := range tests {
		t.Run(name, func(t *testing.T) {
			path := filepath.Join(t.TempDir(), "a.wav")
			require.NoError(t, os.WriteFile(path, test.file, 0o600))
			require.ErrorContains(t, openError(t, path, Hints{CenterHz: 473e6}), test.want)
			if name == "no samples" || name == "all cut" || name == "not WAV" {
				return // a stream cannot know, or has no name that ends in .wav
			}
			_, err := NewReader(context.Background(), "pipe", bytes.NewReader(test.file), Hints{CenterHz: 473e6})
			require.ErrorContains(t, err, test.want)
		})
	}
}

// auxiChunk makes an auxi chunk.
func auxiChunk(start time.Time, hz uint32) []byte {
	var b []byte
	for range 2 {
		for _, v := range []int{start.Year(), int(start.Month()), int(start.Weekday()), start.Day(), start.Hour(), start.Minute(), start.Second(), start.Nanosecond() / 1e6} {
			if start.IsZero() {
				v = 0
			}
			b = binary.LittleEndian.AppendUint16(b, uint16(v))
		}
	}
	b = binary.LittleEndian.AppendUint32(b, hz)
	return riffChunk("auxi", 68, append(b, make([]byte, 68-len(b))...))
}

// Truth: the layout of the auxi chunk as recorders of radio samples have it in
// common: two Windows SYSTEMTIMEs, then the centre frequency.
func TestCentreOfWAV(t *testing.T) {
	f, body := fmtChunk(wavPCM, 2, 2400000, 16), riffChunk("data", 20, ramp(20))
	when := time.Date(2026, 3, 5, 18, 30, 1, 250e6, time.UTC)
	broken := auxiChunk(when, 521e6)
	broken[8+2] = 13 // no such month
	for name, test := range map[string]struct {
		file   []byte
		name   string
		given  float64
		center float64 // 0: missing
		start  time.Time
	}{
		"before":           {riff("RIFF", f, auxiChunk(when, 521e6), body), "a.wav", 0, 521e6, when},
		"behind":           {riff("RIFF", f, body, auxiChunk(when, 521e6)), "a.wav", 0, 521e6, when},
		"without a time":   {riff("RIFF", auxiChunk(time.Time{}, 521e6), f, body), "a.wav", 0, 521e6, time.Time{}},
		"the flag wins":    {riff("RIFF", f, auxiChunk(when, 521e6), body), "a.wav", 99e6, 99e6, when},
		"before the name":  {riff("RIFF", f, auxiChunk(when, 521e6), body), "a_555MHz.wav", 0, 521e6, when},
		"the name":         {riff("RIFF", f, body), "a_555MHz.wav", 0, 555e6, time.Time{}},
		"no frequency":     {riff("RIFF", f, auxiChunk(when, 0), body), "a_555MHz.wav", 0, 555e6, time.Time{}},
		"neither":          {riff("RIFF", f, body), "a_2M4.wav", 0, 0, time.Time{}},
		"another's chunk":  {riff("RIFF", f, riffChunk("auxi", 40, []byte("<?xml version='1.0' something='different")), body), "a.wav", 0, 0, time.Time{}},
		"no such time":     {riff("RIFF", f, broken, body), "a.wav", 0, 0, time.Time{}},
		"too short":        {riff("RIFF", f, riffChunk("auxi", 34, make([]byte, 34)), body), "a.wav", 0, 0, time.Time{}},
		"cut off, behind":  {riff("RIFF", f, body, auxiChunk(when, 521e6)[:30]), "a_555MHz.wav", 0, 555e6, time.Time{}},
		"header says less": {riff("RIFF", f, body, ramp(100), auxiChunk(when, 521e6)), "a_555MHz.wav", 0, 555e6, time.Time{}},
	} {
		t.Run(name, func(t *testing.T) {
			path := filepath.Join(t.TempDir(), test.name)
			require.NoError(t, os.WriteFile(path, test.file, 0o600))
			h := Hints{CenterHz: test.given}
			if test.center == 0 {
				var missing *MissingError
				require.ErrorAs(t, openError(t, path, h), &missing)
				require.Equal(t, []string{"center"}, missing.Wants)
				return
			}
			r, err := Open(context.Background(), path, h)
			require.NoError(t, err)
			defer r.Close()
			require.Equal(t, test.center, r.Spans()[0].CenterHz)
			require.Equal(t, test.start, r.Spans()[0].Start)
			require.Equal(t, test.center == 555e6, r.Named().CenterHz == 555e6)
		})
	}
}

// Truth: our own promise that a recorder which was stopped, and had written its
// headers for what it had by then, loses nothing.
func TestHeaderLeftBehind(t *testing.T) {
	f := fmtChunk(wavPCM, 2, 2400000, 8)
	samples := []byte("\x80\x81\x7f\x80\x80\x81\x7f\x80\x80\x81\x7f\x80\x80\x81")
	path := filepath.Join(t.TempDir(), "a.wav")
	require.NoError(t, os.WriteFile(path, riff("RIFF", f, riffChunk("data", 4, samples)), 0o600))
	stays := openAll(t, path, Hints{CenterHz: 473e6})
	require.Len(t, stays[0].samples, 7)
}
