package bundle

import (
	"archive/zip"
	"bufio"
	"bytes"
	"compress/gzip"
	"context"
	"encoding/binary"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"

	"rooftone/scan/recording"
)

const (
	// maxDirectoryBytes bounds the ZIP file's directory: three entries of 46 bytes
	// with short names, and what other programs add to each.
	maxDirectoryBytes = 2 << 10
	maxEntries        = 3

	// maxUnpackedBytes bounds what an excerpt unpacks to. Entropy coding alone, by
	// which excerpts are packed, makes eight bits one at the best.
	maxUnpackedBytes = 8 * MaxBytes
)

// Bundle is one that was read, but for its excerpt, which stays in the file.
type Bundle struct {
	Manifest  Manifest
	Character json.RawMessage // nil when there is none

	path    string
	excerpt *zip.File
}

// Open reads a bundle's file. It has to be closed.
func Open(path string) (*Bundle, io.Closer, error) {
	f, err := os.Open(path)
	if err != nil {
		return nil, nil, err
	}
	info, err := f.Stat()
	var b *Bundle
	if err == nil {
		b, err = Read(f, info.Size())
	}
	if err != nil {
		f.Close()
		return nil, nil, fmt.Errorf("%s: %w", path, err)
	}
	b.path = path
	return b, f, nil
}

// Read reads a bundle of so many bytes.
func Read(r io.ReaderAt, size int64) (*Bundle, error) {
	if err := checkDirectory(r, size); err != nil {
		return nil, err
	}
	z, err := zip.NewReader(r, size)
	if err != nil {
		return nil, fmt.Errorf("is no bundle: %w", err)
	}
	if len(z.File) > maxEntries {
		return nil, fmt.Errorf("is no bundle: it has %d entries", len(z.File))
	}
	limits := map[string]int64{manifestName: maxManifestBytes, characterName: maxCharacterBytes, excerptName: MaxBytes}
	entries := map[string]*zip.File{}
	for _, f := range z.File {
		limit, known := limits[f.Name]
		switch {
		case !known:
			return nil, fmt.Errorf("holds %.60q, which no bundle does", f.Name)
		case entries[f.Name] != nil:
			return nil, fmt.Errorf("holds %s twice", f.Name)
		case f.UncompressedSize64 > uint64(limit):
			return nil, fmt.Errorf("its %s is larger than %d bytes", f.Name, limit)
		}
		entries[f.Name] = f
	}
	if entries[manifestName] == nil || entries[excerptName] == nil {
		return nil, fmt.Errorf("is no bundle: one holds %s and %s", manifestName, excerptName)
	}
	b := &Bundle{excerpt: entries[excerptName]}
	text, err := readEntry(entries[manifestName], maxManifestBytes)
	if err != nil {
		return nil, err
	}
	if b.Manifest, err = parseManifest(text); err != nil {
		return nil, fmt.Errorf("its %s: %w", manifestName, err)
	}
	if f := entries[characterName]; f != nil {
		if b.Character, err = readEntry(f, maxCharacterBytes); err != nil {
			return nil, err
		}
		if !json.Valid(b.Character) {
			return nil, fmt.Errorf("its %s is not JSON", characterName)
		}
	}
	return b, nil
}

// checkDirectory looks at the record that ends a ZIP file (APPNOTE 4.3.16) before
// the directory is read: how many entries it promises, and that it is small and
// stands right before that record.
func checkDirectory(r io.ReaderAt, size int64) error {
	const recordBytes = 22
	if size > MaxBytes {
		return fmt.Errorf("is no bundle: it has %d bytes, more than %d", size, MaxBytes)
	}
	var end [recordBytes]byte
	if size < recordBytes {
		return errors.New("is no bundle: it is too short")
	}
	if _, err := r.ReadAt(end[:], size-recordBytes); err != nil && !errors.Is(err, io.EOF) {
		return err
	}
	if !bytes.Equal(end[:4], []byte("PK\x05\x06")) {
		return errors.New("is no bundle, or was cut short")
	}
	entries := binary.LittleEndian.Uint16(end[10:])
	length, offset := int64(binary.LittleEndian.Uint32(end[12:])), int64(binary.LittleEndian.Uint32(end[16:]))
	if entries > maxEntries || length > maxDirectoryBytes || offset+length+recordBytes != size {
		return fmt.Errorf("is no bundle: its directory promises %d entries in %d bytes", entries, length)
	}
	return nil
}

// readEntry reads a small entry.
func readEntry(f *zip.File, limit int64) ([]byte, error) {
	r, err := openEntry(f)
	if err != nil {
		return nil, err
	}
	defer r.Close()
	text, err := io.ReadAll(io.LimitReader(r, limit+1))
	if err != nil {
		return nil, fmt.Errorf("reading its %s: %w", f.Name, err)
	}
	if int64(len(text)) > limit {
		return nil, fmt.Errorf("its %s is larger than %d bytes", f.Name, limit)
	}
	return text, nil
}

func openEntry(f *zip.File) (io.ReadCloser, error) {
	if f.Method != zip.Store && f.Method != zip.Deflate {
		return nil, fmt.Errorf("its %s is packed in a way that no bundle is", f.Name)
	}
	r, err := f.Open()
	if err != nil {
		return nil, fmt.Errorf("opening its %s: %w", f.Name, err)
	}
	return r, nil
}

// Excerpt unpacks the excerpt into a folder, and opens it. The Reader has to be
// closed; the file may be removed then.
func (b *Bundle) Excerpt(ctx context.Context, folder string) (*recording.Reader, error) {
	name := filepath.Join(folder, "excerpt.sigmf")
	if err := b.unpack(ctx, name); err != nil {
		return nil, fmt.Errorf("%s: its %s: %w", b.path, excerptName, err)
	}
	r, err := recording.Open(ctx, name, recording.Hints{})
	if err != nil {
		return nil, fmt.Errorf("%s: its %s: %w", b.path, excerptName, err)
	}
	return r, nil
}

func (b *Bundle) unpack(ctx context.Context, name string) (err error) {
	r, err := openEntry(b.excerpt)
	if err != nil {
		return err
	}
	defer r.Close()
	z, err := gzip.NewReader(bufio.NewReader(io.LimitReader(r, MaxBytes)))
	if err != nil {
		return err
	}
	f, err := os.OpenFile(name, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o600)
	if err != nil {
		return err
	}
	defer func() {
		err = errors.Join(err, f.Close())
		if err != nil {
			os.Remove(name)
		}
	}()
	return copyBounded(ctx, f, z, maxUnpackedBytes)
}

// copyBounded copies at most so many bytes; more are an error.
func copyBounded(ctx context.Context, to io.Writer, from io.Reader, limit int64) error {
	buffer := make([]byte, 256<<10)
	for total := int64(0); ; {
		n, readErr := from.Read(buffer)
		if total += int64(n); total > limit {
			return fmt.Errorf("unpacks to more than %d bytes", limit)
		}
		if _, err := to.Write(buffer[:n]); err != nil {
			return err
		}
		if errors.Is(readErr, io.EOF) {
			return nil
		}
		if err := errors.Join(readErr, ctx.Err()); err != nil {
			return err
		}
	}
}
