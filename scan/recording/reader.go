package recording

import (
	"context"
	"errors"
	"fmt"
	"io"
	"math"
	"time"

	"rooftone/scan/character"
	"rooftone/scan/tuner"
)

const (
	minRateHz = 0.25e6
	maxRateHz = 20e6

	// A dongle's true rate stands a little beside the round one that it was
	// asked for.
	rateSlack = 1e-3

	// unknownCount is the number of samples of a span that goes on until the
	// data end, wherever that is.
	unknownCount = -1

	chunkSamples = 32 << 10
)

// A Span is a stay of a recording and its length.
type Span struct {
	tuner.Stay
	Samples int64 // −1: until the stream ends
}

// A span is a Span with its place in the file.
type span struct {
	Span
	first  int64 // sample in the file, from 0
	offset int64 // byte in the dataset
	lost   bool  // samples are missing before it
}

// A Reader plays a recording. It implements tuner.Playlist, one stay for each
// capture. It is used by one goroutine.
type Reader struct {
	path   string
	info   tuner.Info
	meta   Meta
	sha512 string // "" when the recording has none

	radioError error // why what it keeps of its radio is not in meta

	// unpacked is what was wrong with the file that it was unpacked from.
	unpacked error

	format format
	scale  float64 // the file's value for full scale
	levels *levels // of samples in floating point; else nil
	own    bool    // written by this program
	named  Hints   // what was taken from the file's name
	data   dataset
	spans  []span

	at     int   // the span that plays; −1 before the first
	pos    int64 // samples of it that were delivered
	damage error // why its rest cannot be delivered
	buffer []byte

	cut     *TruncatedError // nil when all that is promised is there
	cutTold bool
}

var _ tuner.Playlist = (*Reader)(nil)

// newReader takes over data.
func newReader(path string, f format, data dataset, spans []span) *Reader {
	return &Reader{
		path:   path,
		info:   tuner.Info{Name: path, Datatype: f.name},
		meta:   Meta{Datatype: f.name},
		format: f,
		scale:  1,
		data:   data,
		spans:  spans,
		at:     -1,
		buffer: make([]byte, chunkSamples*f.size()),
	}
}

// Info describes the recording. Its Datatype is the one to hand to Create so
// that a copy loses nothing.
func (r *Reader) Info() tuner.Info { return r.info }

// Meta returns what the recording says of its making. Of WAV and raw files
// only the Datatype is known.
func (r *Reader) Meta() Meta { return r.meta }

// Radio returns what the recording keeps of the radio that it was made with; nil
// where that is nothing. The error says why what it keeps cannot be used.
func (r *Reader) Radio() (*character.Character, error) { return r.meta.Radio, r.radioError }

// Named returns what was taken from the file's name because neither the file
// nor the Hints told it.
func (r *Reader) Named() Hints { return r.named }

// Spans returns the stays that Next will go through, in their order, as far
// as they can be known beforehand.
func (r *Reader) Spans() []Span {
	out := make([]Span, len(r.spans))
	for i, s := range r.spans {
		out[i] = s.Span
	}
	return out
}

// Next moves to the next stay. After the last it returns io.EOF; where the
// recording is cut short and Read has not told so, a *TruncatedError first.
func (r *Reader) Next(ctx context.Context) (tuner.Stay, error) {
	if err := ctx.Err(); err != nil {
		return tuner.Stay{}, err
	}
	if r.at+1 >= len(r.spans) {
		r.at = len(r.spans)
		return tuner.Stay{}, r.end()
	}
	r.at++
	r.pos, r.damage = 0, nil
	return r.spans[r.at].Stay, nil
}

// end returns what stands at the end of the recording.
func (r *Reader) end() error {
	if r.cut != nil && !r.cutTold {
		r.cutTold = true
		return r.cut
	}
	return io.EOF
}

// Read fills dst with the samples that follow in this stay. At its end it
// returns what there is, and io.EOF once there is no more; where the recording
// is cut short, a *TruncatedError in place of that io.EOF. A value that no
// healthy recording holds ends the stay with a *SampleError, after the samples
// before it.
func (r *Reader) Read(ctx context.Context, dst []complex64) (tuner.Block, error) {
	if r.at < 0 || r.at >= len(r.spans) {
		if r.at < 0 {
			return tuner.Block{}, errors.New("reading a recording: call Next first")
		}
		return tuner.Block{}, io.EOF
	}
	s := r.spans[r.at]
	block := tuner.Block{
		CenterHz: s.CenterHz,
		RateHz:   s.RateHz,
		GainDB:   s.GainDB,
		Start:    after(s.Start, r.pos, s.RateHz),
		Lost:     s.lost && r.pos == 0,
	}
	n := 0
	var err error
	for n < len(dst) && err == nil && r.damage == nil {
		var got, clipped int
		got, clipped, err = r.readChunk(ctx, dst[n:])
		n += got
		block.Clipped += clipped
		if got == 0 && err == nil {
			break
		}
	}
	block.Samples = dst[:n]
	switch {
	case err != nil:
		return block, err
	case n == len(dst), n > 0 && r.damage == nil:
		return block, nil
	case r.damage != nil:
		return block, r.damage
	case r.at == len(r.spans)-1:
		return block, r.end()
	}
	return block, io.EOF
}

// readChunk converts up to a buffer of the playing span's next samples to dst.
// It returns 0 and nil at the span's end.
func (r *Reader) readChunk(ctx context.Context, dst []complex64) (n, clipped int, err error) {
	s := &r.spans[r.at]
	want := int64(min(len(dst), chunkSamples))
	if s.Samples != unknownCount {
		want = min(want, s.Samples-r.pos)
	}
	if want <= 0 {
		return 0, 0, nil
	}
	raw := r.buffer[:want*r.format.size()]
	got, err := r.data.readAt(ctx, raw, s.offset+r.pos*r.format.size())
	n = got / int(r.format.size())
	clipped, bad := r.format.decode(dst[:n], raw[:n*int(r.format.size())])
	if bad >= 0 {
		n = bad
		r.damage = &SampleError{r.path, s.first + r.pos + int64(bad), dst[bad]}
	}
	r.pos += int64(n)
	switch {
	case errors.Is(err, io.EOF):
		r.dataEnded(s)
		err = nil
	case err != nil && ctx.Err() == nil:
		err = fmt.Errorf("reading %s: %w", r.path, err)
	}
	return n, clipped, err
}

// dataEnded takes note that the data end where the playing span stands now.
func (r *Reader) dataEnded(s *span) {
	if s.Samples != unknownCount && r.cut == nil && r.damage == nil {
		last := r.spans[len(r.spans)-1]
		promised := last.first
		if last.Samples != unknownCount {
			promised += last.Samples
		}
		r.cut = &TruncatedError{r.path, promised, s.first + r.pos}
	}
	s.Samples = r.pos
	r.spans = r.spans[:r.at+1]
}

// Close ends the reading.
func (r *Reader) Close() error { return r.data.close() }

// after returns the time of the n-th sample after start; zero when start is.
func after(start time.Time, n int64, rateHz float64) time.Time {
	if start.IsZero() || n == 0 {
		return start
	}
	ns := math.Round(float64(n) / rateHz * 1e9)
	if ns >= math.MaxInt64 {
		return time.Time{}
	}
	return start.Add(time.Duration(ns))
}

// checkRate refuses sample rates that are no use here.
func checkRate(hz float64) error {
	if !(hz >= minRateHz*(1-rateSlack) && hz <= maxRateHz*(1+rateSlack)) {
		return fmt.Errorf("sample rate of %g Hz is not between 0.25 and 20 MS/s", hz)
	}
	return nil
}

// checkCenter refuses centre frequencies where no radio goes. The limit is
// that of the SigMF schema.
func checkCenter(hz float64) error {
	if !(hz > 0 && hz <= 1e12) {
		return fmt.Errorf("centre frequency of %g Hz is not between 0 and 1 THz", hz)
	}
	return nil
}

// sameTuning tells whether samples of b continue those of a.
func sameTuning(a, b tuner.Stay) bool {
	gain := a.GainDB == b.GainDB || math.IsNaN(a.GainDB) && math.IsNaN(b.GainDB)
	return gain && a.CenterHz == b.CenterHz && a.RateHz == b.RateHz
}
