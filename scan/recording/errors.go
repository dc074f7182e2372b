package recording

import (
	"fmt"
	"io"
	"strings"
)

// A MissingError says what a file does not tell and its Hints do not either.
type MissingError struct {
	Path  string
	Wants []string // of "format", "rate" and "center"
}

func (e *MissingError) Error() string {
	what := map[string]string{"format": "sample format", "rate": "sample rate", "center": "centre frequency"}
	var says, give []string
	for _, w := range e.Wants {
		says = append(says, what[w])
		give = append(give, "--"+w)
	}
	return fmt.Sprintf("%s: does not tell its %s: give %s", e.Path, join(says), join(give))
}

func join(words []string) string {
	if len(words) < 2 {
		return strings.Join(words, "")
	}
	last := len(words) - 1
	return strings.Join(words[:last], ", ") + " and " + words[last]
}

// A TruncatedError says that a recording ends before what its metadata
// promise. It comes after the last sample that is there, so what was read
// before it is good. It unwraps to io.ErrUnexpectedEOF.
type TruncatedError struct {
	Path     string
	Promised int64 // samples; at least that many
	Got      int64 // samples
}

func (e *TruncatedError) Error() string {
	return fmt.Sprintf("%s: is cut short: %d of at least %d samples are there", e.Path, e.Got, e.Promised)
}

func (e *TruncatedError) Unwrap() error { return io.ErrUnexpectedEOF }

// A SampleError says that a sample is none: NaN, infinite, or so far beyond
// full scale that the file must be damaged.
type SampleError struct {
	Path  string
	Index int64 // in the file, from 0
	Value complex64
}

func (e *SampleError) Error() string {
	return fmt.Sprintf("%s: sample %d is %v: the recording is damaged", e.Path, e.Index, e.Value)
}

// A ChecksumError says that the samples are not those that the metadata were
// written for.
type ChecksumError struct {
	Path string
	Want string // hexadecimal; "" when it is the archive around them that is wrong
	Got  string
}

func (e *ChecksumError) Error() string {
	if e.Want == "" {
		return fmt.Sprintf("%s: does not unpack as it was packed: it was changed or damaged", e.Path)
	}
	return fmt.Sprintf("%s: the samples do not match core:sha512: they were changed or damaged", e.Path)
}
