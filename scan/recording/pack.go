package recording

import (
	"archive/tar"
	"bufio"
	"compress/gzip"
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strings"
	"time"
)

// packedEnding is that of an archive that was compressed as a whole.
const packedEnding = archiveEnding + ".gz"

// mostUnpacked bounds what a compressed archive may unpack to.
const mostUnpacked = 4 << 30

// Squeeze is the level at which archives are compressed. Samples are noise:
// there is nothing in them to be found again, so entropy coding alone makes
// them as small as searching does, at fifty times the speed. What it gains is
// that quiet samples use few of their bits.
const Squeeze = gzip.HuffmanOnly

// IsArchive tells by its name whether a path is that of a SigMF archive, and
// whether of a compressed one.
func IsArchive(path string) (archive, packed bool) {
	packed = strings.HasSuffix(path, packedEnding)
	return packed || strings.HasSuffix(path, archiveEnding), packed
}

// Pack writes a SigMF recording of two files as a SigMF archive, one file in
// which the recording goes by the given name; packed, the archive is compressed
// (gzip, RFC 1952). The path is that of one of the two files or their common
// base.
func Pack(w io.Writer, path, name string, packed bool) error {
	base := strings.TrimSuffix(strings.TrimSuffix(path, metaEnding), dataEnding)
	if err := pack(w, base, name, packed); err != nil {
		return fmt.Errorf("packing %s: %w", name, err)
	}
	return nil
}

func pack(w io.Writer, base, name string, packed bool) (err error) {
	if packed {
		z, err := gzip.NewWriterLevel(w, Squeeze)
		if err != nil {
			return err
		}
		if err := packTar(z, base, name); err != nil {
			return err
		}
		return z.Close()
	}
	return packTar(w, base, name)
}

// packTar writes the archive as the standard has it: a folder and, below it,
// both files. The metadata come first, so that a file that was cut short still
// tells what its samples are.
func packTar(w io.Writer, base, name string) error {
	out := tar.NewWriter(w)
	// Of one recording the same archive is made at any time, by anyone.
	head := tar.Header{Format: tar.FormatPAX, ModTime: time.Unix(0, 0)}
	folder := head
	folder.Name, folder.Typeflag, folder.Mode = name+"/", tar.TypeDir, 0o755
	if err := out.WriteHeader(&folder); err != nil {
		return err
	}
	for _, ending := range []string{metaEnding, dataEnding} {
		if err := packFile(out, head, base+ending, name+"/"+name+ending); err != nil {
			return err
		}
	}
	return out.Close()
}

func packFile(out *tar.Writer, h tar.Header, path, name string) error {
	f, err := os.Open(path)
	if err != nil {
		return err
	}
	defer f.Close()
	info, err := f.Stat()
	if err != nil {
		return err
	}
	h.Name, h.Typeflag, h.Mode, h.Size = name, tar.TypeReg, 0o644, info.Size()
	if err := out.WriteHeader(&h); err != nil {
		return err
	}
	_, err = io.Copy(out, f)
	return err
}

// Sizes returns how many bytes a sample of each span takes in an archive. It
// reads the whole recording, which must be a file, and leaves the Reader where
// it is.
func (r *Reader) Sizes(ctx context.Context, packed bool) ([]float64, error) {
	file, ok := r.data.(*fileData)
	if !ok {
		return nil, fmt.Errorf("%s: the size of a stream is not known before its end", r.path)
	}
	sizes := make([]float64, len(r.spans))
	b := make([]byte, 256<<10)
	for i, s := range r.spans {
		sizes[i] = float64(r.format.size())
		if !packed {
			continue
		}
		var n counter
		z, err := gzip.NewWriterLevel(&n, Squeeze)
		if err != nil {
			return nil, err
		}
		left := s.Samples * r.format.size()
		for at := s.offset; left > 0; {
			got, err := file.readAt(ctx, b[:min(left, int64(len(b)))], at)
			z.Write(b[:got]) // a counter takes everything
			at, left = at+int64(got), left-int64(got)
			if err != nil && left > 0 {
				return nil, fmt.Errorf("reading %s: %w", r.path, err)
			}
		}
		z.Close()
		sizes[i] = float64(n) / float64(s.Samples)
	}
	return sizes, nil
}

// counter counts what is written to it.
type counter int64

func (c *counter) Write(b []byte) (int, error) {
	*c += counter(len(b))
	return len(b), nil
}

// isGzip tells whether a file that begins with head is compressed by gzip.
func isGzip(head []byte) bool { return len(head) >= 3 && string(head[:3]) == "\x1f\x8b\x08" }

// errNotArchive is that of a compressed file with something else in it.
var errNotArchive = errors.New("not an archive")

// openPacked opens a compressed archive by unpacking it into a temporary file,
// which closing the Reader removes. What cannot be unpacked is missing from the
// recording; Verify tells so too.
func openPacked(ctx context.Context, path string, f *os.File, h Hints) (*Reader, error) {
	if _, err := f.Seek(0, io.SeekStart); err != nil {
		return nil, err
	}
	z, err := gzip.NewReader(bufio.NewReaderSize(f, 256<<10))
	if err != nil {
		return nil, errNotArchive
	}
	in := bufio.NewReaderSize(z, 512)
	head, err := in.Peek(512)
	switch {
	case err != nil && strings.HasSuffix(path, packedEnding):
		return nil, fmt.Errorf("%s: was cut short or damaged on its way: nothing of it can be read", path)
	case !isTar(head):
		return nil, errNotArchive
	}
	temp, err := os.CreateTemp("", "rooftone-*.sigmf")
	if err != nil {
		return nil, fmt.Errorf("unpacking %s: %w", path, err)
	}
	held := &temporaryFile{temp}
	size, damage, err := unpack(ctx, temp, in)
	if err == nil && size > mostUnpacked {
		err = fmt.Errorf("it is larger than %d GiB", mostUnpacked>>30)
	}
	if err != nil {
		held.Close()
		return nil, fmt.Errorf("unpacking %s: %w", path, err)
	}
	m, d, err := openArchive(path, temp, temp, size)
	if err == nil {
		var r *Reader
		r, err = newSigMF(path, m, &fileData{io.NewSectionReader(temp, d.offset, d.size), d.size, held}, h)
		if err == nil {
			f.Close()
			r.unpacked = damage
			return r, nil
		}
	}
	held.Close()
	if damage != nil {
		return nil, fmt.Errorf("%s: was damaged on its way: %w", path, damage)
	}
	return nil, err
}

// unpack copies what can be decompressed. Damage is what stopped it in the
// middle, or came to light at the end.
func unpack(ctx context.Context, to io.Writer, in io.Reader) (size int64, damage, err error) {
	b := make([]byte, 256<<10)
	for size <= mostUnpacked {
		if err := ctx.Err(); err != nil {
			return size, nil, err
		}
		n, readErr := in.Read(b)
		if _, err := to.Write(b[:n]); err != nil {
			return size, nil, err
		}
		size += int64(n)
		if readErr == io.EOF {
			return size, nil, nil
		}
		if readErr != nil {
			return size, readErr, nil
		}
	}
	return size, nil, nil
}

// temporaryFile goes when it is closed.
type temporaryFile struct{ *os.File }

func (t *temporaryFile) Close() error {
	err := t.File.Close()
	return errors.Join(err, os.Remove(t.Name()))
}

// ArchiveName is what a recording in an archive is called: the archive's own
// name without its endings.
func ArchiveName(path string) string {
	return strings.TrimSuffix(strings.TrimSuffix(filepath.Base(path), ".gz"), archiveEnding)
}
