package bundle

import (
	"archive/zip"
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"time"
)

// Overhead is how many bytes a bundle has at the most besides its excerpt, of
// which the character has some.
func Overhead(characterBytes int) int64 {
	const heads = 64 << 10 // a manifest of 50 channels has some 8 kB, the ZIP file's own records 500 bytes
	return heads + int64(characterBytes)
}

// Write writes a bundle. The excerpt is a compressed SigMF archive; a nil
// character is left out.
func Write(w io.Writer, m Manifest, excerpt io.Reader, character json.RawMessage) error {
	m.Schema = Schema
	m.Facts = m.Facts.sorted()
	if err := m.check(); err != nil {
		return fmt.Errorf("the manifest: %w", err)
	}
	var text bytes.Buffer
	enc := json.NewEncoder(&text)
	enc.SetIndent("", "  ")
	enc.SetEscapeHTML(false) // it is meant to be read
	if err := enc.Encode(m); err != nil {
		return fmt.Errorf("the manifest: %w", err)
	}
	if text.Len() > maxManifestBytes || len(character) > maxCharacterBytes {
		return errors.New("the manifest or the radio's character is too large")
	}
	out := zip.NewWriter(w)
	if err := store(out, manifestName, text.Bytes()); err != nil {
		return err
	}
	if character != nil {
		if err := store(out, characterName, character); err != nil {
			return err
		}
	}
	// Packed already.
	entry, err := out.CreateHeader(&zip.FileHeader{Name: excerptName, Method: zip.Store, Modified: noTime()})
	if err != nil {
		return err
	}
	if _, err := io.Copy(entry, excerpt); err != nil {
		return err
	}
	return out.Close()
}

// noTime is what entries have for a time: the first that a ZIP file knows.
func noTime() time.Time { return time.Date(1980, 1, 1, 0, 0, 0, 0, time.UTC) }

func store(out *zip.Writer, name string, content []byte) error {
	entry, err := out.CreateHeader(&zip.FileHeader{Name: name, Method: zip.Deflate, Modified: noTime()})
	if err != nil {
		return err
	}
	_, err = entry.Write(content)
	return err
}
