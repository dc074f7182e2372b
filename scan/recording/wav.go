package recording

import (
	"context"
	"encoding/binary"
	"errors"
	"fmt"
	"io"
	"math"
	"time"

	"rooftone/scan/tuner"
)

// WAV format tags.
const (
	wavPCM        = 1
	wavFloat      = 3
	wavExtensible = 0xfffe
)

// A wavFile is what the headers of a WAV file say.
type wavFile struct {
	format format
	rateHz float64
	data   int64 // offset of the samples
	length int64 // of the samples in bytes; unknownCount: as far as they go

	centerHz float64   // 0 when it does not say
	start    time.Time // zero when it does not say
}

// newWAV makes the Reader of a WAV file whose two channels are I and Q.
//
// The general WAV libraries do not serve here: they want to seek, take every
// size in the headers on trust, or hold neither 24-bit samples nor RF64.
func newWAV(ctx context.Context, path string, data dataset, h Hints) (*Reader, error) {
	w, err := parseWAV(ctx, data)
	if err != nil {
		return nil, fmt.Errorf("%s: %w", path, err)
	}
	if h.RateHz != 0 && h.RateHz != w.rateHz {
		return nil, fmt.Errorf("%s: was recorded at %g MS/s: leave out --rate", path, w.rateHz/1e6)
	}
	known := Hints{w.format.name, w.rateHz, h.CenterHz}
	if h.CenterHz == 0 {
		known.CenterHz = w.centerHz
	}
	told, err := ParseName(path, known)
	if err != nil {
		return nil, err
	}
	if wants := told.missing(); len(wants) > 0 {
		return nil, &MissingError{path, wants}
	}
	count, have := int64(unknownCount), int64(unknownCount)
	if w.length != unknownCount {
		count = w.length / w.format.size()
		have = count
	}
	if size := data.size(); size >= 0 {
		have = max(0, size-w.data) / w.format.size()
		if count == unknownCount {
			count = have
		}
		have = min(have, count)
	}
	r := newReader(path, w.format, data, []span{{
		Span:   Span{tuner.Stay{CenterHz: told.CenterHz, RateHz: w.rateHz, GainDB: tuner.UnknownGain(), Start: w.start}, have},
		offset: w.data,
	}})
	r.named = told.without(known)
	if have < count {
		r.cut = &TruncatedError{path, count, have}
	}
	if have == 0 {
		if r.cut != nil {
			return nil, r.cut
		}
		return nil, fmt.Errorf("%s: holds no samples", path)
	}
	return r, nil
}

// isWAV tells whether a file that begins with head is a WAV file: RIFF, RF64
// (EBU Tech 3306) or BW64 (ITU-R BS.2088).
func isWAV(head []byte) bool {
	if len(head) < 12 || string(head[8:12]) != "WAVE" {
		return false
	}
	id := string(head[:4])
	return id == "RIFF" || id == "RF64" || id == "BW64"
}

// parseWAV reads the headers up to the samples and, in a file, what stands
// behind them.
func parseWAV(ctx context.Context, data dataset) (*wavFile, error) {
	p := &wavParser{ctx: ctx, data: data, longLength: unknownCount}
	head, err := p.read(0, 12)
	if err != nil {
		return nil, err
	}
	if !isWAV(head) {
		return nil, errors.New("is not a WAV file")
	}
	p.long = string(head[:4]) != "RIFF"
	at := int64(12)
	const maxChunks = 1000
	for range maxChunks {
		head, err := p.read(at, 8)
		if err != nil {
			return nil, err
		}
		id, n := string(head[:4]), int64(binary.LittleEndian.Uint32(head[4:]))
		at += 8
		if id == "data" {
			if p.format.convert == nil {
				return nil, errors.New("the WAV file does not tell its sample format before its samples")
			}
			p.wavFile.data, p.length = at, p.dataLength(at, n)
			p.behind()
			return &p.wavFile, nil
		}
		if err := p.chunk(id, at, n); err != nil {
			return nil, err
		}
		at += n + n&1 // n has 32 bits: with maxChunks this cannot overflow
	}
	return nil, errors.New("the WAV file has too many chunks before its samples")
}

// wavParser reads the chunks of a WAV file.
type wavParser struct {
	wavFile
	ctx        context.Context
	data       dataset
	long       bool  // RF64 or BW64
	longLength int64 // of the samples, where that has 64 bits
	scratch    [64]byte
}

// read returns a few bytes, until the next call.
func (p *wavParser) read(at, n int64) ([]byte, error) {
	b := p.scratch[:n]
	if _, err := p.data.readAt(p.ctx, b, at); errors.Is(err, io.EOF) {
		return nil, errors.New("the WAV file ends within its headers")
	} else if err != nil {
		return nil, err
	}
	return b, nil
}

// chunk reads a chunk of n bytes that holds no samples.
func (p *wavParser) chunk(id string, at, n int64) error {
	switch id {
	case "ds64":
		b, err := p.read(at, 16)
		if err != nil {
			return err
		}
		// 0 or all ones: a recorder was stopped before it knew.
		if v := binary.LittleEndian.Uint64(b[8:]); v > 0 && v <= math.MaxInt64 {
			p.longLength = int64(v)
		}
	case "fmt ":
		b, err := p.read(at, min(n, 40))
		if err != nil {
			return err
		}
		return p.parseFormat(b)
	case "auxi":
		b, err := p.read(at, min(n, auxiBytes))
		if err != nil {
			return err
		}
		p.parseAuxi(b)
	}
	return nil
}

// dataLength returns the length of the samples from an offset on, of which the
// headers say n.
func (p *wavParser) dataLength(at, n int64) int64 {
	if p.long {
		if n == math.MaxUint32 || n == 0 {
			return p.longLength
		}
		return n
	}
	n = dataLength(n, p.data.size()-at)
	// Less than one sample is no length either: a pipe has nothing behind it to
	// tell that by.
	if n != unknownCount && (n < p.format.size() || p.stale(at+n+n&1)) {
		return unknownCount
	}
	return n
}

// stale reports whether more samples stand where the next chunk should: a
// recorder was stopped that kept its headers up to date from time to time.
func (p *wavParser) stale(at int64) bool {
	left := p.data.size() - at
	if left < 8 {
		return false
	}
	b, err := p.read(at, 8)
	if err != nil || string(b) == "\x00\x00\x00\x00\x00\x00\x00\x00" {
		return false
	}
	for _, letter := range b[:4] {
		if letter < ' ' || letter > '~' {
			return true
		}
	}
	return int64(binary.LittleEndian.Uint32(b[4:])) > left-8
}

// behind looks for an auxi chunk behind the samples of a file.
func (p *wavParser) behind() {
	const most = 100
	size := p.data.size()
	if p.length == unknownCount || p.centerHz != 0 {
		return
	}
	at := p.wavFile.data + p.length + p.length&1
	for range most {
		if at < 0 || at > size-8 {
			return
		}
		head, err := p.read(at, 8)
		if err != nil {
			return
		}
		id, n := string(head[:4]), int64(binary.LittleEndian.Uint32(head[4:]))
		if id == "auxi" {
			_ = p.chunk(id, at+8, n) // one that was cut off tells nothing
			return
		}
		at += 8 + n + n&1
	}
}

// dataLength returns the length of the samples of a RIFF file that states n
// and in which left bytes follow (negative when not known). Programs that
// write to a pipe, or that were stopped, leave a placeholder; beyond 4 GiB
// some just let the number wrap around.
func dataLength(n, left int64) int64 {
	const (
		largeSigned   = 0x7ffff000 - 256
		largeUnsigned = math.MaxUint32 - 255
	)
	switch over := left - n; {
	case n == 0, n >= largeUnsigned, n >= largeSigned && n <= 1<<31:
		if left < 0 || n > left || n == 0 {
			return unknownCount
		}
	case over >= 1<<32 && over&math.MaxUint32 <= 1:
		return unknownCount
	}
	return n
}

// parseFormat reads the fmt chunk.
func (w *wavFile) parseFormat(b []byte) error {
	if len(b) < 16 {
		return fmt.Errorf("the WAV file has a fmt chunk of %d bytes, too few", len(b))
	}
	tag := binary.LittleEndian.Uint16(b)
	channels := binary.LittleEndian.Uint16(b[2:])
	align := binary.LittleEndian.Uint16(b[12:])
	bits := binary.LittleEndian.Uint16(b[14:])
	if tag == wavExtensible {
		// The sub-format is a GUID whose first two bytes are the tag.
		const guidTail = "\x00\x00\x00\x00\x10\x00\x80\x00\x00\xaa\x00\x38\x9b\x71"
		if len(b) < 40 || string(b[26:40]) != guidTail {
			return errors.New("the WAV file has a sample format that is not known")
		}
		tag = binary.LittleEndian.Uint16(b[24:])
	}
	if channels != 2 {
		return fmt.Errorf("the WAV file has %d channels: I and Q as two are needed", channels)
	}
	f, err := wavFormat(tag, bits)
	if err != nil {
		return err
	}
	if int64(align) != f.size() {
		return fmt.Errorf("the WAV file says that a sample takes %d bytes: two of %d bits take %d", align, bits, f.size())
	}
	w.format = f
	w.rateHz = float64(binary.LittleEndian.Uint32(b[4:]))
	return checkRate(w.rateHz)
}

// wavFormat finds the format of a WAV file's samples and gives it the SigMF
// name that holds the same values.
func wavFormat(tag, bits uint16) (format, error) {
	switch {
	case tag == wavPCM && bits == 8:
		// Unsigned around 128: the values of ci8.
		var table [256]float32
		for v := range table {
			table[v] = (float32(v) - 128) / 128
		}
		return format{name: "ci8", width: 1, convert: convertBytes(&table, 0)}, nil
	case tag == wavPCM && bits == 16:
		return parseFormat("ci16_le")
	case tag == wavPCM && bits == 24:
		return format{name: "cf32_le", width: 3, convert: convertI24}, nil
	case tag == wavPCM && bits == 32:
		return parseFormat("ci32_le")
	case tag == wavFloat && bits == 32:
		return parseFormat("cf32_le")
	case tag == wavFloat && bits == 64:
		return parseFormat("cf64_le")
	}
	return format{}, fmt.Errorf("the WAV file has samples of format %d and %d bits: use PCM of 8, 16, 24 or 32 bits, or 32-bit float", tag, bits)
}
