package recording

import (
	"bytes"
	"compress/gzip"
	"context"
	"errors"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/require"
)

// packedFile packs a recording with a checksum.
func packedFile(t testing.TB, packed bool) []byte {
	t.Helper()
	data := bytes.Repeat(ramp(256), 40)
	base := filepath.Join(t.TempDir(), "roof")
	w, err := Create(base, Meta{Datatype: "cu8"})
	require.NoError(t, err)
	r, err := NewReader(context.Background(), "ramp", bytes.NewReader(data), Hints{"cu8", 2.4e6, 473e6})
	require.NoError(t, err)
	_, err = r.Next(context.Background())
	require.NoError(t, err)
	b, err := r.Read(context.Background(), make([]complex64, len(data)/2))
	require.NoError(t, err)
	require.NoError(t, w.WriteBlock(b))
	require.NoError(t, w.Close())
	var out bytes.Buffer
	require.NoError(t, Pack(&out, base+metaEnding, "roof", packed))
	return out.Bytes()
}

func written(t testing.TB, name string, file []byte) string {
	t.Helper()
	path := filepath.Join(t.TempDir(), name)
	require.NoError(t, os.WriteFile(path, file, 0o600))
	return path
}

// Truth: what was packed comes out again; and tar and gzip, other people's
// programs, unpack it to the standard's names.
func TestPack(t *testing.T) {
	t.Setenv("TMPDIR", t.TempDir())
	want := bytes.Repeat(ramp(256), 40)
	for name, packed := range map[string]bool{"roof.sigmf": false, "roof.sigmf.gz": true} {
		path := written(t, name, packedFile(t, packed))
		isOne, isPacked := IsArchive(path)
		require.True(t, isOne)
		require.Equal(t, packed, isPacked)
		require.Equal(t, "roof", ArchiveName(path))
		r, err := Open(context.Background(), path, Hints{})
		require.NoError(t, err)
		require.NoError(t, r.Verify(context.Background()))
		require.Equal(t, int64(len(want)/2), r.Spans()[0].Samples)
		require.NoError(t, r.Close())
		left, err := os.ReadDir(os.Getenv("TMPDIR"))
		require.NoError(t, err)
		require.Empty(t, left, "nothing is left of unpacking")

		if _, err := exec.LookPath("tar"); err != nil {
			continue
		}
		dir := t.TempDir()
		out, err := exec.Command("tar", "-xf", path, "-C", dir).CombinedOutput()
		require.NoError(t, err, "%s", out)
		got, err := os.ReadFile(filepath.Join(dir, "roof", "roof.sigmf-data"))
		require.NoError(t, err)
		require.Equal(t, want, got)
		require.FileExists(t, filepath.Join(dir, "roof", "roof.sigmf-meta"))
	}
}

// Truth: where the test cut the file, or turned a bit of it.
func TestPackedDamage(t *testing.T) {
	ctx := context.Background()
	whole := packedFile(t, true)
	wrong := func(r *Reader) bool {
		sum := (*ChecksumError)(nil)
		return errors.As(r.Verify(ctx), &sum)
	}
	// Cut short: what there is, and then that it is cut short.
	r, err := Open(ctx, written(t, "roof.sigmf.gz", whole[:len(whole)-1500]), Hints{})
	require.NoError(t, err)
	stays, err := play(t, r, 100)
	require.ErrorIs(t, errors.Join(err, stays[len(stays)-1].err), io.ErrUnexpectedEOF)
	require.True(t, wrong(r))
	require.NoError(t, r.Close())

	for _, n := range []int{0, 5, 20, 60} {
		_, err := Open(ctx, written(t, "roof.sigmf.gz", whole[:n]), Hints{})
		require.Error(t, err, "%d bytes", n)
	}

	// One bit anywhere is noticed: by the header, by the metadata's form, or at
	// the latest by a checksum.
	for at := range len(whole) {
		if at%97 != 0 && at > 40 && at < len(whole)-12 {
			continue
		}
		if at >= 3 && at < 10 {
			continue // gzip's time, flags and system, which nothing depends on
		}
		broken := bytes.Clone(whole)
		broken[at] ^= 0x10
		path := written(t, "roof.sigmf.gz", broken)
		r, err := Open(ctx, path, Hints{})
		if err != nil {
			continue
		}
		stays, err := play(t, r, 1000)
		var last error
		if len(stays) > 0 {
			last = stays[len(stays)-1].err
		}
		require.True(t, wrong(r) || errors.Is(errors.Join(err, last), io.ErrUnexpectedEOF), "a bit of byte %d", at)
		require.NoError(t, r.Close())
	}
}

// Truth: our promise that hostile files are one clear line.
func TestRefusedPacked(t *testing.T) {
	var text bytes.Buffer
	z := gzip.NewWriter(&text)
	_, err := z.Write(bytes.Repeat([]byte("no archive "), 100))
	require.NoError(t, err)
	require.NoError(t, z.Close())
	require.ErrorContains(t, openError(t, written(t, "a.gz", text.Bytes()), Hints{}), "is compressed: unpack it first")
	require.ErrorContains(t, openError(t, written(t, "a.sigmf.gz", packedFile(t, true)[:30]), Hints{}), "was cut short or damaged on its way")
	ctx, stop := context.WithCancel(context.Background())
	stop()
	_, err = Open(ctx, written(t, "a.sigmf.gz", packedFile(t, true)), Hints{})
	require.ErrorIs(t, err, context.Canceled)
	require.ErrorIs(t, Pack(io.Discard, filepath.Join(t.TempDir(), "none"), "none", true), os.ErrNotExist)
}

func FuzzPacked(f *testing.F) {
	f.Add(packedFile(f, true))
	f.Add(packedFile(f, true)[:400])
	f.Fuzz(func(t *testing.T, file []byte) {
		if len(file) > 4<<10 { // what it unpacks to is a thousand times that at the most
			return
		}
		r, err := Open(context.Background(), written(t, "fuzzed.sigmf.gz", file), Hints{})
		if err != nil {
			return
		}
		defer r.Close()
		playFuzzed(t, r, 1<<30)
	})
}
