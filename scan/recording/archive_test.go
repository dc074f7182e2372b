package recording

import (
	"archive/tar"
	"bytes"
	"context"
	"io"
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/require"
)

type entry struct {
	name string
	body []byte
	kind byte
}

func tarFile(t testing.TB, format tar.Format, entries ...entry) []byte {
	t.Helper()
	var b bytes.Buffer
	w := tar.NewWriter(&b)
	for _, e := range entries {
		h := &tar.Header{Name: e.name, Mode: 0o644, Size: int64(len(e.body)), Typeflag: e.kind, Format: format}
		if e.kind == 0 {
			h.Typeflag = tar.TypeReg
		}
		require.NoError(t, w.WriteHeader(h))
		_, err := w.Write(e.body)
		require.NoError(t, err)
	}
	require.NoError(t, w.Close())
	return b.Bytes()
}

// Truth: the same two files outside an archive.
func TestArchive(t *testing.T) {
	meta, data := metaJSON(t, nil), ramp(100)
	want := openAll(t, pair(t, meta, data), Hints{})
	odd := metaJSON(t, func(g object, _ []object, _ object) { g["core:dataset"] = "odd.dat" })
	long := "a/" + string(bytes.Repeat([]byte("x"), 150))
	tests := map[string][]byte{
		"metadata first": tarFile(t, tar.FormatUSTAR, entry{name: "roof.sigmf-meta", body: meta}, entry{name: "roof.sigmf-data", body: data}),
		"data first":     tarFile(t, tar.FormatUSTAR, entry{name: "roof.sigmf-data", body: data}, entry{name: "roof.sigmf-meta", body: meta}),
		"in a folder": tarFile(t, tar.FormatUSTAR, entry{"roof/", nil, tar.TypeDir}, entry{name: "roof/roof.sigmf-meta", body: meta},
			entry{name: "./roof/roof.sigmf-data", body: data}),
		"with others": tarFile(t, tar.FormatPAX, entry{name: "read.me", body: ramp(1000)}, entry{name: "._roof.sigmf-meta", body: []byte("x")},
			entry{name: "roof.sigmf-meta", body: meta}, entry{name: "all.sigmf-collection", body: []byte("{}")}, entry{name: "roof.sigmf-data", body: data}),
		"long names":  tarFile(t, tar.FormatPAX, entry{name: long + ".sigmf-data", body: data}, entry{name: long + ".sigmf-meta", body: meta}),
		"GNU":         tarFile(t, tar.FormatGNU, entry{name: long + ".sigmf-data", body: data}, entry{name: long + ".sigmf-meta", body: meta}),
		"own dataset": tarFile(t, tar.FormatUSTAR, entry{name: "d/roof.sigmf-meta", body: odd}, entry{name: "d/odd.dat", body: data}),
	}
	for name, file := range tests {
		t.Run(name, func(t *testing.T) {
			for _, n := range []string{"roof.sigmf", "roof.tar"} {
				path := filepath.Join(t.TempDir(), n)
				require.NoError(t, os.WriteFile(path, file, 0o600))
				got := openAll(t, path, Hints{})
				require.Len(t, got, len(want))
				for i := range want {
					require.Equal(t, want[i].samples, got[i].samples)
					require.Equal(t, want[i].CenterHz, got[i].CenterHz)
				}
			}
		})
	}
	_, err := NewReader(context.Background(), "pipe", bytes.NewReader(tests["data first"]), Hints{})
	require.ErrorContains(t, err, "cannot be read as a stream: save it as a file")
}

// Truth: arithmetic on where the test cut the file.
func TestArchiveCutShort(t *testing.T) {
	meta := metaJSON(t, func(_ object, _ []object, all object) {
		all["annotations"] = []object{{"core:sample_start": 0, "core:sample_count": 1000}}
	})
	file := tarFile(t, tar.FormatUSTAR, entry{name: "roof.sigmf-meta", body: meta}, entry{name: "roof.sigmf-data", body: ramp(2000)})
	path := filepath.Join(t.TempDir(), "roof.sigmf")
	require.NoError(t, os.WriteFile(path, file[:512*3+300], 0o600))
	r, err := Open(context.Background(), path, Hints{})
	require.NoError(t, err)
	defer r.Close()
	stays, err := play(t, r, 100)
	require.NoError(t, err)
	require.Len(t, stays[1].samples, 140)
	require.ErrorIs(t, stays[1].err, io.ErrUnexpectedEOF)
	require.ErrorContains(t, stays[1].err, "150 of at least 1000")
}

// Truth: our promise that hostile archives are one clear line.
func TestRefusedArchive(t *testing.T) {
	meta, data := metaJSON(t, nil), ramp(100)
	real := bytes.Replace(meta, []byte("cu8"), []byte("ri8"), 1)
	two := []entry{{name: "a.sigmf-meta", body: meta}, {name: "a.sigmf-data", body: data}, {name: "b.sigmf-meta", body: meta}, {name: "b.sigmf-data", body: data}}
	sparse := tarFile(t, tar.FormatGNU, entry{name: "a.sigmf-meta", body: meta}, entry{name: "a.sigmf-data", body: data})
	garbled := bytes.Clone(sparse)
	garbled[0] ^= 1
	tests := map[string]struct {
		file []byte
		want string
	}{
		"two":         {tarFile(t, tar.FormatUSTAR, two...), "holds 2 recordings, not one: unpack it with tar"},
		"none":        {tarFile(t, tar.FormatUSTAR, entry{name: "x", body: data}), "holds 0 recordings"},
		"no data":     {tarFile(t, tar.FormatUSTAR, two[0]), "the archive has no a.sigmf-data"},
		"real":        {tarFile(t, tar.FormatUSTAR, entry{name: "a.sigmf-meta", body: real}, two[1]), "real samples"},
		"link":        {tarFile(t, tar.FormatUSTAR, two[0], entry{"a.sigmf-data", nil, tar.TypeSymlink}), "the archive has no a.sigmf-data"},
		"bad sum":     {garbled, "reading the archive: archive/tar: invalid tar header"},
		"not tar":     {ramp(2000), "reading the archive"},
		"empty":       {nil, "is empty"},
		"only a head": {tarFile(t, tar.FormatUSTAR, two[0])[:512], "the JSON ends in the middle"},
	}
	for name, test := range tests {
		t.Run(name, func(t *testing.T) {
			path := filepath.Join(t.TempDir(), "a.sigmf")
			require.NoError(t, os.WriteFile(path, test.file, 0o600))
			require.ErrorContains(t, openError(t, path, Hints{}), test.want)
		})
	}
}
