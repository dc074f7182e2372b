package hunt

import (
	"context"
	"errors"
	"io"
	"math"
	"slices"

	"rooftone/scan/band"
	"rooftone/scan/tuner"
)

// sieve is a Playlist without the stays at the converter's rails of channels
// that were heard better before: the gain-step test drives strong channels far
// beyond them, which says nothing of the station; and without such that are shorter
// than a field and were made to find what the gain steps are. Where all is at the
// rails, all passes.
type sieve struct {
	tuner.Playlist
	channels []band.Channel
	well     map[int]bool // channels heard better, by number

	buffer []complex64
	first  tuner.Block // of the stay under way, already read
	held   bool        // and not handed on yet
	err    error       // that came with it
}

// peekSamples is how much of a stay tells whether it is at the rails, and peekSeconds
// whether it holds a field.
const (
	peekSamples = 1 << 15
	peekSeconds = 0.025
)

func newSieve(p tuner.Playlist, channels []band.Channel) *sieve {
	return &sieve{Playlist: p, channels: channels, well: map[int]bool{}, buffer: make([]complex64, peekSamples)}
}

// Next implements tuner.Playlist.
func (s *sieve) Next(ctx context.Context) (tuner.Stay, error) {
	for {
		stay, err := s.Playlist.Next(ctx)
		if err != nil {
			return stay, err
		}
		s.peek(ctx, stay.RateHz)
		s.held = true
		if s.err != nil && !errors.Is(s.err, io.EOF) && len(s.first.Samples) == 0 {
			return stay, nil // Read tells of it
		}
		at := slices.IndexFunc(s.channels, func(c band.Channel) bool { return stay.CenterHz >= c.LowerHz && stay.CenterHz < c.UpperHz() })
		if at < 0 {
			return stay, nil
		}
		c := s.channels[at]
		if s.well[c.Number] && s.err != nil && errors.Is(s.err, io.EOF) && float64(len(s.first.Samples)) < peekSeconds*stay.RateHz {
			continue
		}
		if float64(rails(s.first.Samples)) <= clippedShare*float64(len(s.first.Samples)) {
			s.well[c.Number] = true
			return stay, nil
		}
		if !s.well[c.Number] {
			return stay, nil
		}
	}
}

// peek reads the beginning of a stay, in whole peekSamples: what follows is measured
// in pieces as they come, and must come in the same ones from wherever it is heard.
func (s *sieve) peek(ctx context.Context, rateHz float64) {
	n := peekSamples * max(1, int(math.Ceil(peekSeconds*rateHz/peekSamples)))
	if cap(s.buffer) < n {
		s.buffer = make([]complex64, n)
	}
	s.first, s.err = s.Playlist.Read(ctx, s.buffer[:n])
	for got := len(s.first.Samples); got > 0 && got < n && s.err == nil; got = len(s.first.Samples) {
		var more tuner.Block
		more, s.err = s.Playlist.Read(ctx, s.buffer[got:n])
		if len(more.Samples) == 0 {
			break
		}
		s.first.Samples = s.buffer[:got+len(more.Samples)]
		s.first.Clipped += more.Clipped
		s.first.Lost = s.first.Lost || more.Lost
	}
}

// Read implements tuner.Playlist.
func (s *sieve) Read(ctx context.Context, dst []complex64) (tuner.Block, error) {
	if !s.held {
		return s.Playlist.Read(ctx, dst)
	}
	b := s.first
	n := copy(dst, b.Samples)
	if n < len(b.Samples) {
		s.first.Samples = b.Samples[n:]
		s.first.Clipped, s.first.Lost = 0, false
		b.Samples = dst[:n]
		return b, nil
	}
	b.Samples, s.held = dst[:n], false
	if s.err != nil && n > 0 && errors.Is(s.err, io.EOF) {
		return b, nil // the next Read says so again
	}
	return b, s.err
}

// rails counts the samples with a branch on a rail.
func rails(x []complex64) (n int) {
	const rail = 0.9999
	for _, v := range x {
		if re, im := real(v), imag(v); re >= rail || re <= -rail || im >= rail || im <= -rail {
			n++
		}
	}
	return n
}
