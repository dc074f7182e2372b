package recording

import (
	"bytes"
	"context"
	"errors"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

// Truth: the bytes of the file, one format at a time.
func TestRaw(t *testing.T) {
	data := ramp(1001)
	path := filepath.Join(t.TempDir(), "roof.bin")
	require.NoError(t, os.WriteFile(path, data, 0o600))
	for _, word := range []string{"cu8", "ci8", "ci16_le", "ci16_be", "cu16_le", "ci32_le"} {
		h := Hints{word, 2.4e6, 473e6}
		want := decoded(t, word, data)
		stays := openAll(t, path, h)
		require.Len(t, stays, 1)
		require.Equal(t, want, stays[0].samples)
		require.True(t, stays[0].Start.IsZero())

		r, err := NewReader(context.Background(), "pipe", &trickle{data}, h)
		require.NoError(t, err)
		require.Equal(t, int64(unknownCount), r.Spans()[0].Samples)
		again, err := play(t, r, 50)
		require.NoError(t, err)
		require.NoError(t, again[0].err)
		require.Equal(t, want, again[0].samples)
		require.NoError(t, r.Close())
	}
}

// Truth: what the hints of the case leave out.
func TestWhatIsMissing(t *testing.T) {
	path := filepath.Join(t.TempDir(), "roof.bin")
	require.NoError(t, os.WriteFile(path, ramp(100), 0o600))
	for want, h := range map[string]Hints{
		"sample format, sample rate and centre frequency: give --format, --rate and --center": {},
		"sample rate and centre frequency: give --rate and --center":                          {Format: "cu8"},
		"sample format: give --format":                                                        {RateHz: 2.4e6, CenterHz: 473e6},
		"centre frequency: give --center":                                                     {Format: "cu8", RateHz: 2.4e6},
	} {
		require.EqualError(t, openError(t, path, h), path+": does not tell its "+want)
		_, err := NewReader(context.Background(), "pipe", bytes.NewReader(ramp(9)), h)
		require.EqualError(t, err, "pipe: does not tell its "+want)
	}
	h := Hints{"cu8", 2.4e6, 473e6}
	empty := filepath.Join(t.TempDir(), "empty")
	require.NoError(t, os.WriteFile(empty, []byte{1}, 0o600))
	require.ErrorContains(t, openError(t, empty, h), "holds no samples")
	require.ErrorIs(t, openError(t, path+"x", h), os.ErrNotExist)
	require.ErrorIs(t, openError(t, path+"x", Hints{}), os.ErrNotExist)
	require.ErrorContains(t, openError(t, filepath.Join(references, "toolkit-ci16.sigmf-meta"), h), "holds metadata, not samples")
	for name, magic := range map[string]string{"a.gz": "\x1f\x8b\x08", "a.sigmf.zip": "PK\x03\x04"} {
		p := filepath.Join(t.TempDir(), name)
		require.NoError(t, os.WriteFile(p, []byte(magic+"....."), 0o600))
		require.ErrorContains(t, openError(t, p, Hints{}), "is compressed: unpack it first")
	}
	p := filepath.Join(t.TempDir(), "a.sigmf-collection")
	require.NoError(t, os.WriteFile(p, []byte("{}"), 0o600))
	require.ErrorContains(t, openError(t, p, Hints{}), "is a list of recordings: name one of them")
}

// Truth: the interface's promise that a call ends soon after its context does,
// also while a stream stands still; and that nothing that came is lost.
func TestStreamThatStandsStill(t *testing.T) {
	in, out := io.Pipe()
	ctx, stop := context.WithTimeout(context.Background(), 20*time.Millisecond)
	defer stop()
	_, err := NewReader(ctx, "pipe", in, Hints{CenterHz: 473e6})
	require.ErrorIs(t, err, context.DeadlineExceeded)

	in, out = io.Pipe()
	r, err := NewReader(context.Background(), "pipe", in, Hints{"cu8", 2.4e6, 473e6})
	require.NoError(t, err)
	_, err = r.Next(context.Background())
	require.NoError(t, err)
	data := ramp(64)
	sent := make(chan error, 1)
	go func() {
		_, err := out.Write(data[:21])
		sent <- err
	}()
	require.NoError(t, <-sent)
	ctx, stop = context.WithTimeout(context.Background(), 20*time.Millisecond)
	defer stop()
	b, err := r.Read(ctx, make([]complex64, 32))
	require.ErrorIs(t, err, context.DeadlineExceeded)
	require.Empty(t, b.Samples)
	go func() {
		_, err := out.Write(data[21:])
		sent <- errors.Join(err, out.Close())
	}()
	b, err = r.Read(context.Background(), make([]complex64, 40))
	require.NoError(t, err)
	require.Equal(t, decoded(t, "cu8", data), b.Samples)
	require.NoError(t, <-sent)
	_, err = r.Read(context.Background(), make([]complex64, 40))
	require.ErrorIs(t, err, io.EOF)
	require.NoError(t, r.Close())
	require.NoError(t, r.Close())
}

// Truth: an error of the device is no end of the recording.
func TestStreamThatBreaks(t *testing.T) {
	broken := errors.New("cable pulled")
	in, out := io.Pipe()
	r, err := NewReader(context.Background(), "pipe", in, Hints{"cu8", 2.4e6, 473e6})
	require.NoError(t, err)
	defer r.Close()
	go func() {
		_, _ = out.Write(ramp(20))
		out.CloseWithError(broken)
	}()
	stays, err := play(t, r, 64)
	require.NoError(t, err)
	require.Len(t, stays[0].samples, 10)
	require.ErrorIs(t, stays[0].err, broken)
	require.ErrorContains(t, stays[0].err, "reading pipe")
}

// Truth: the operating system's own pipe.
func TestNamedPipe(t *testing.T) {
	path := filepath.Join(t.TempDir(), "pipe")
	if out, err := exec.Command("mkfifo", path).CombinedOutput(); err != nil {
		t.Skipf("no named pipes here: %s", out)
	}
	data := ramp(500_000)
	go func() { _ = os.WriteFile(path, data, os.ModeNamedPipe) }()
	require.Equal(t, decoded(t, "cu8", data), openAll(t, path, Hints{"cu8", 2.4e6, 473e6})[0].samples)
}

// sparse makes a recording of many samples that takes no room on the disk.
func sparse(t testing.TB, word string, bytes int64) string {
	base := pair(t, metaJSON(t, func(g object, c []object, _ object) {
		g["core:datatype"] = word
	}), []byte{})
	require.NoError(t, os.Truncate(base+dataEnding, bytes))
	return base
}

// Truth: the Go runtime's own account of its heap. The limit is our promise
// of 64 MB for a recording of any length.
func TestMemoryIsBounded(t *testing.T) {
	const size = 1 << 29
	ctx := context.Background()
	r, err := Open(ctx, sparse(t, "ci16_le", size), Hints{})
	require.NoError(t, err)
	defer r.Close()
	var before, now runtime.MemStats
	runtime.ReadMemStats(&before)
	dst := make([]complex64, 144_000)
	samples, peak := 0, uint64(0)
	for {
		if _, err := r.Next(ctx); errors.Is(err, io.EOF) {
			break
		} else {
			require.NoError(t, err)
		}
		for i := 0; ; i++ {
			b, err := r.Read(ctx, dst)
			samples += len(b.Samples)
			if errors.Is(err, io.EOF) {
				break
			}
			require.NoError(t, err)
			if i%100 == 0 {
				runtime.ReadMemStats(&now)
				peak = max(peak, now.HeapInuse)
			}
		}
	}
	runtime.ReadMemStats(&now)
	require.Equal(t, size/4, samples)
	require.Less(t, peak, uint64(64<<20))
	require.Less(t, now.TotalAlloc-before.TotalAlloc, uint64(8<<20), "steady state allocates nothing")
	t.Logf("heap in use at most %d KiB", peak>>10)
}

func BenchmarkRead(b *testing.B) {
	for _, word := range []string{"cu8", "ci16_le", "cf32_le"} {
		b.Run(word, func(b *testing.B) {
			ctx := context.Background()
			f, err := parseFormat(word)
			require.NoError(b, err)
			const samples = 24_000_000 // ten seconds
			data := make([]byte, samples*f.size())
			if word != "cf32_le" {
				for i := range data {
					data[i] = byte(100 + i%57)
				}
			}
			base := pair(b, metaJSON(b, func(g object, c []object, _ object) { g["core:datatype"] = word }), data)
			dst := make([]complex64, 144_000)
			r, err := Open(ctx, base, Hints{})
			require.NoError(b, err)
			defer r.Close()
			total := 0
			b.ReportAllocs()
			for b.Loop() {
				r.at = 0 // so that Next plays the long capture again
				if _, err := r.Next(ctx); err != nil {
					b.Fatal(err)
				}
				for {
					block, err := r.Read(ctx, dst)
					total += len(block.Samples)
					if err != nil {
						break
					}
				}
			}
			b.ReportMetric(float64(total)/b.Elapsed().Seconds()/1e6, "MS/s")
		})
	}
}
