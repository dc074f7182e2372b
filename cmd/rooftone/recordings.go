package main

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"runtime/debug"
	"slices"
	"strings"

	"rooftone/scan/character"
	"rooftone/scan/recording"
	"rooftone/scan/tuner"
)

// recorded is a source of recorded samples: a recording, or several as one.
type recorded interface {
	tuner.Playlist
	Spans() []recording.Span
	Verify(ctx context.Context) error
	Radio() (*character.Character, error)
}

// exists reports whether a path is that of a recording. One of two files may go
// by what their names begin with.
func exists(path string) bool {
	for _, name := range []string{path, path + metaEnding} {
		if _, err := os.Stat(name); err == nil {
			return true
		}
	}
	return false
}

// splitFiles cuts a list of paths at its commas, but for those that belong to the
// name of something that is there.
func splitFiles(word string) []string {
	parts := strings.Split(word, ",")
	var out []string
	for i := 0; i < len(parts); {
		end := i + 1
		for n := len(parts); n > i+1; n-- {
			if exists(strings.Join(parts[i:n], ",")) {
				end = n
				break
			}
		}
		out = append(out, strings.Join(parts[i:end], ","))
		i = end
	}
	return out
}

// checkFiles refuses a list of recordings that makes no sense.
func (w sourceWord) checkFiles() error {
	for i, path := range w.files {
		switch other, err := parseSource(path); {
		case path == "" && len(w.files) > 1:
			return usagef("--from: the list %s has an empty name", quote(w.rest)).hint("write the paths as a.cu8,b.cu8, or --from a.cu8 --from b.cu8")
		case len(w.files) > 1 && !exists(path) && (err != nil || other.kind.radio()):
			return severalRadios(path)
		}
		for _, before := range w.files[:i] {
			if path == before || path != "-" && sameFile(path, before) {
				return usagef("--from names %s twice", path).hint("what was heard once counts once")
			}
		}
	}
	return nil
}

// stdin reports whether standard input is among the recordings.
func (w sourceWord) stdin() bool { return slices.Contains(w.files, "-") }

// reads reports whether a file is one of the recordings.
func (w sourceWord) reads(name string) bool {
	return slices.ContainsFunc(w.files, func(f string) bool { return sameFile(name, f) })
}

// openRecordings opens one recording, or several as one, and says what was taken
// for granted of them.
func (w sourceWord) openRecordings(ctx context.Context, c *console, raw rawFlags) (source, error) {
	p, err := w.reopen(ctx, c, raw)
	if err != nil {
		return source{}, err
	}
	debug.SetMemoryLimit(recordingMemory)
	readers := []*recording.Reader{}
	switch p := p.(type) {
	case *recording.Reader:
		readers = append(readers, p)
	case *recording.Set:
		readers = p.Readers()
	}
	c.tellNames(readers)
	c.tellScale(readers)
	return source{playlist: p}, nil
}

// reopen is the same without a word.
func (w sourceWord) reopen(ctx context.Context, c *console, raw rawFlags) (recorded, error) {
	if err := raw.suit(len(w.files)); err != nil {
		return nil, err
	}
	var readers []*recording.Reader
	for i, path := range w.files {
		r, err := openRecording(ctx, c, path, raw.hints(i, path, len(w.files)))
		if err != nil {
			for _, r := range readers {
				r.Close()
			}
			return nil, err
		}
		readers = append(readers, r)
	}
	if len(readers) == 1 {
		return readers[0], nil
	}
	return recording.Join(readers...), nil
}

func openRecording(ctx context.Context, c *console, path string, hints recording.Hints) (*recording.Reader, error) {
	var (
		r   *recording.Reader
		err error
	)
	if path == "-" {
		r, err = recording.NewReader(ctx, "standard input", c.stdin, hints)
	} else {
		r, err = recording.Open(ctx, path, hints)
	}
	missing := (*recording.MissingError)(nil)
	doubtful := (*recording.NameError)(nil)
	switch {
	case err == nil:
		return r, nil
	case errors.As(err, &missing) && extension(path) == ".jsonl":
		return nil, withHint(fmt.Errorf("%s is no recording", quote(path)), "a house's file goes with --site")
	case errors.As(err, &missing):
		return nil, withHint(err, "for example %s; or let its name tell, as in %s", exampleFlags(missing.Wants...), exampleName(path, missing.Wants))
	case errors.As(err, &doubtful):
		return nil, withHint(err, "for example %s", exampleFlags(doubtful.Want))
	case errors.Is(err, fs.ErrNotExist):
		if near := likeRecording(path); near != "" {
			return nil, withHint(fmt.Errorf("no recording %s: %w", quote(path), cause(err)), "there is %s", near)
		}
		return nil, withHint(fmt.Errorf("no recording %s: %w", quote(path), cause(err)), sourceHint)
	}
	return nil, fmt.Errorf("opening the recording: %w", err)
}

// exampleFlags shows flags as they might be given.
func exampleFlags(wants ...string) string {
	var out []string
	for _, w := range wants {
		out = append(out, map[string]string{"format": "--format cu8", "rate": "--rate 2.4M", "center": "--center 605M"}[w])
	}
	return strings.Join(out, " ")
}

// exampleName shows a recording's name that tells as much.
func exampleName(path string, wants []string) string {
	name := filepath.Base(path)
	ending := filepath.Ext(name)
	name = strings.TrimSuffix(name, ending)
	if slices.Contains(wants, "center") {
		name += "_605MHz"
	}
	if slices.Contains(wants, "rate") {
		name += "_2.4MSps"
	}
	if slices.Contains(wants, "format") {
		ending = ".cu8"
	}
	return name + ending
}

// likeRecording returns a recording that is there and has the name that was asked
// for but for its ending, or "".
func likeRecording(name string) string {
	endings := []string{".sigmf-meta", ".sigmf.gz", ".sigmf", ".wav"}
	for _, e := range append([]string{".sigmf-data"}, endings...) {
		name = strings.TrimSuffix(name, e)
	}
	for _, e := range endings {
		if fi, err := os.Stat(name + e); err == nil && fi.Mode().IsRegular() {
			return name + e
		}
	}
	return ""
}

// recordingMemory is what measuring a recording makes do with, whatever its
// length: a soft limit, so that the collector works harder rather than the
// program grows.
const recordingMemory = 48 << 20

// checkedSamples is the longest recording that is read a second time to compare
// it with its checksum: what one sends to a helper, not what one keeps.
const checkedSamples = 256 << 20

// verify reports whether a recording's samples are not those that it was
// written with. One without a checksum is taken at its word.
func (s source) verify(ctx context.Context) error {
	r, ok := s.playlist.(recorded)
	if !ok {
		return nil
	}
	var samples int64
	for _, span := range r.Spans() {
		samples += span.Samples
	}
	if samples > checkedSamples {
		return nil
	}
	if wrong := (*recording.ChecksumError)(nil); errors.As(r.Verify(ctx), &wrong) {
		return wrong
	}
	return nil
}
