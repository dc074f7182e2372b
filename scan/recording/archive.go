package recording

import (
	"archive/tar"
	"errors"
	"fmt"
	"io"
	"path"
	"strings"
)

// A member is a file within an archive.
type member struct {
	name   string
	offset int64
	size   int64 // as far as the archive has it
}

// isTar tells whether a file that begins with head is a tar archive, POSIX.1.
func isTar(head []byte) bool {
	return len(head) >= 262 && string(head[257:262]) == "ustar"
}

// openArchive finds the one recording of a SigMF archive and returns its
// metadata and where in the archive its samples lie. Nothing is unpacked.
func openArchive(name string, f io.ReadSeeker, at io.ReaderAt, size int64) (*metadata, *member, error) {
	members, err := listArchive(f, size)
	if err != nil {
		return nil, nil, fmt.Errorf("%s: %w", name, err)
	}
	var metas []string
	for n := range members {
		if strings.HasSuffix(n, metaEnding) && !strings.HasPrefix(path.Base(n), "._") {
			metas = append(metas, n)
		}
	}
	if len(metas) != 1 {
		return nil, nil, fmt.Errorf("%s: the archive holds %d recordings, not one: unpack it with tar and name one of its files", name, len(metas))
	}
	meta := members[metas[0]]
	m, err := parseMetadata(io.NewSectionReader(at, meta.offset, meta.size))
	if err != nil {
		return nil, nil, fmt.Errorf("%s: %s: %w", name, short(meta.name), err)
	}
	want := strings.TrimSuffix(meta.name, metaEnding) + dataEnding
	if d := m.global.Dataset; d != nil {
		want = path.Join(path.Dir(meta.name), *d)
	}
	data, ok := members[want]
	if !ok {
		return nil, nil, noDataset(m, name, "the archive has no "+short(want))
	}
	return m, &data, nil
}

// listArchive finds the files of a tar archive of the given size. It passes
// over their contents.
func listArchive(f io.ReadSeeker, size int64) (map[string]member, error) {
	const maxMembers = 10_000
	if _, err := f.Seek(0, io.SeekStart); err != nil {
		return nil, err
	}
	tr := tar.NewReader(f)
	members := map[string]member{}
	for {
		h, err := tr.Next()
		switch {
		case errors.Is(err, io.EOF):
			return members, nil
		case errors.Is(err, io.ErrUnexpectedEOF) && len(members) > 0:
			// Cut short within a file or behind one: what is there counts.
			return members, nil
		case err != nil:
			return nil, fmt.Errorf("reading the archive: %w", err)
		}
		if h.Typeflag != tar.TypeReg {
			if h.Typeflag == tar.TypeGNUSparse {
				return nil, errors.New("the archive stores files sparsely: unpack it with tar")
			}
			continue
		}
		for key := range h.PAXRecords {
			if strings.HasPrefix(key, "GNU.sparse") {
				return nil, errors.New("the archive stores files sparsely: unpack it with tar")
			}
		}
		if len(members) >= maxMembers {
			return nil, fmt.Errorf("the archive holds more than %d files", maxMembers)
		}
		offset, err := f.Seek(0, io.SeekCurrent)
		if err != nil {
			return nil, err
		}
		n := path.Clean(h.Name)
		members[n] = member{n, offset, max(0, min(h.Size, size-offset))}
	}
}
