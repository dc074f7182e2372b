package recording

import (
	"context"
	"errors"
	"fmt"
	"io"
	"strings"

	"rooftone/scan/character"
	"rooftone/scan/tuner"
)

// A Set plays several recordings one after the other, as the one visit that
// they make together. It implements tuner.Playlist. Floats of all of them have
// one full scale, so that levels keep their ratio.
type Set struct {
	readers []*Reader
	info    tuner.Info
	at      int   // the recording that plays
	trouble error // what is wrong with one that was played
}

var _ tuner.Playlist = (*Set)(nil)

// Join makes a Set of recordings that have not been played. It takes them over.
func Join(readers ...*Reader) *Set {
	s := &Set{readers: readers}
	var names []string
	for i, r := range readers {
		names = append(names, r.info.Name)
		info := r.info
		switch {
		case i == 0:
			s.info = info
			continue
		case info.Datatype != s.info.Datatype:
			s.info.Datatype = "cf32_le" // holds the values of all
		}
		if info.Clock != s.info.Clock {
			s.info.Clock = tuner.ClockSource{}
		}
	}
	s.info.Name = inShort(names)
	s.shareScale()
	return s
}

// inShort names several recordings in a line.
func inShort(names []string) string {
	const most = 4
	if len(names) > most {
		return fmt.Sprintf("%s and %d more", strings.Join(names[:most-1], ", "), len(names)-most+1)
	}
	return strings.Join(names, ", ")
}

// shareScale gives the floats that other programs wrote one full scale.
func (s *Set) shareScale() {
	all := newLevels()
	for _, r := range s.readers {
		if r.levels != nil && !r.own {
			all.join(r.levels)
		}
	}
	for _, r := range s.readers {
		if r.levels != nil && !r.own {
			r.setLevels(all)
		}
	}
}

// Info describes the recordings. Its Datatype holds the values of them all.
func (s *Set) Info() tuner.Info { return s.info }

// Readers returns the recordings, in the order in which they are played.
func (s *Set) Readers() []*Reader { return s.readers }

// Radio returns what the recordings keep of their radio, as Reader.Radio does, where
// they all keep the same; else nil.
func (s *Set) Radio() (*character.Character, error) {
	var same *character.Character
	for i, r := range s.readers {
		c, err := r.Radio()
		switch {
		case err != nil:
			return nil, err
		case c == nil, i > 0 && (c.Radio != same.Radio || !c.Measured.Equal(same.Measured)):
			return nil, nil
		}
		same = c
	}
	return same, nil
}

// Spans returns the stays of all recordings, as Reader.Spans does.
func (s *Set) Spans() []Span {
	var out []Span
	for _, r := range s.readers {
		out = append(out, r.Spans()...)
	}
	return out
}

// Next moves to the next stay, of the next recording after the last of one.
// What was wrong with a recording is told behind the last stay of all.
func (s *Set) Next(ctx context.Context) (tuner.Stay, error) {
	for s.at < len(s.readers) {
		stay, err := s.readers[s.at].Next(ctx)
		switch {
		case err == nil:
			return stay, nil
		case ctx.Err() != nil:
			return stay, err
		case !errors.Is(err, io.EOF):
			s.note(err)
		}
		s.at++
	}
	if err := s.trouble; err != nil {
		s.trouble = nil
		return tuner.Stay{}, err
	}
	return tuner.Stay{}, io.EOF
}

// note keeps the first error.
func (s *Set) note(err error) {
	if s.trouble == nil {
		s.trouble = err
	}
}

// Read fills dst as Reader.Read does. A recording that is cut short or damaged
// ends there, and the next one is played.
func (s *Set) Read(ctx context.Context, dst []complex64) (tuner.Block, error) {
	if s.at >= len(s.readers) {
		return tuner.Block{}, io.EOF
	}
	b, err := s.readers[s.at].Read(ctx, dst)
	var cut *TruncatedError
	var damage *SampleError
	if errors.As(err, &cut) || errors.As(err, &damage) {
		s.note(err)
		err = io.EOF
	}
	return b, err
}

// Verify compares every recording that has a checksum with it, as Reader.Verify
// does, and returns the first error.
func (s *Set) Verify(ctx context.Context) error {
	for _, r := range s.readers {
		if err := r.Verify(ctx); err != nil && !errors.Is(err, ErrNoChecksum) {
			return err
		}
	}
	return nil
}

// Close ends the reading.
func (s *Set) Close() error {
	var all error
	for _, r := range s.readers {
		all = errors.Join(all, r.Close())
	}
	return all
}
