package recording

import (
	"context"
	"errors"
	"io"
)

// A dataset is where the bytes of samples lie.
type dataset interface {
	// readAt fills p from the byte offset on. Offsets must not go back behind
	// what an earlier call has read. Fewer bytes come only with an error,
	// io.EOF where the dataset ends.
	readAt(ctx context.Context, p []byte, offset int64) (int, error)

	// size returns the length in bytes, or −1 when it is not known.
	size() int64

	close() error
}

// A fileData is a dataset in a file, or in a part of one.
type fileData struct {
	r      io.ReaderAt
	length int64
	closer io.Closer
}

func (d *fileData) readAt(ctx context.Context, p []byte, offset int64) (int, error) {
	if err := ctx.Err(); err != nil {
		return 0, err
	}
	if offset >= d.length {
		return 0, io.EOF
	}
	if left := d.length - offset; int64(len(p)) > left {
		n, err := d.r.ReadAt(p[:left], offset)
		if err == nil {
			err = io.EOF
		}
		return n, err
	}
	n, err := d.r.ReadAt(p, offset)
	if n == len(p) {
		err = nil
	}
	return n, err
}

func (d *fileData) size() int64 { return d.length }

func (d *fileData) close() error {
	if d.closer == nil {
		return nil
	}
	return d.closer.Close()
}

// A streamData is a dataset that comes once, such as standard input. A
// goroutine reads ahead, so that a call can end with its context although the
// stream stands still.
type streamData struct {
	chunks chan chunk
	free   chan []byte
	done   chan struct{}
	closer io.Closer

	at   int64  // the offset of rest
	rest []byte // received and not yet handed out
	last []byte // the buffer that rest lies in; nil when it is ours
	err  error  // what the stream ended with
}

type chunk struct {
	b   []byte
	err error
}

// newStream reads ahead from r with two buffers. closer may be nil. When r
// cannot be interrupted by closing it, the goroutine stays until r yields.
func newStream(r io.Reader, closer io.Closer) *streamData {
	const bufferBytes = 256 << 10
	s := &streamData{
		chunks: make(chan chunk),
		free:   make(chan []byte, 2),
		done:   make(chan struct{}),
		closer: closer,
	}
	s.free <- make([]byte, bufferBytes)
	s.free <- make([]byte, bufferBytes)
	go s.pump(r)
	return s
}

func (s *streamData) pump(r io.Reader) {
	for {
		var b []byte
		select {
		case b = <-s.free:
		case <-s.done:
			return
		}
		n, err := r.Read(b[:cap(b)])
		select {
		case s.chunks <- chunk{b[:n], err}:
		case <-s.done:
			return
		}
		if err != nil {
			return
		}
	}
}

// receive waits for the next chunk and makes it the rest, behind keep.
func (s *streamData) receive(ctx context.Context, keep []byte) error {
	if s.err != nil {
		return s.err
	}
	select {
	case c := <-s.chunks:
		s.err = c.err
		if len(keep) > 0 {
			s.rest = append(append([]byte(nil), keep...), c.b...)
			s.recycle()
			s.free <- c.b
			return nil
		}
		s.recycle()
		s.rest, s.last = c.b, c.b
		return nil
	case <-s.done:
		return errors.New("the recording is closed")
	case <-ctx.Done():
		return ctx.Err()
	}
}

// recycle hands the buffer of the rest back.
func (s *streamData) recycle() {
	if s.last != nil {
		s.free <- s.last
		s.last = nil
	}
}

// peek returns the next n bytes, fewer when the stream ends before, and leaves
// them where they are.
func (s *streamData) peek(ctx context.Context, n int) ([]byte, error) {
	for len(s.rest) < n {
		if err := s.receive(ctx, s.rest); errors.Is(err, io.EOF) {
			break
		} else if err != nil {
			return nil, err
		}
	}
	return s.rest[:min(n, len(s.rest))], nil
}

// peekAt is peek from an offset on that has not been passed.
func (s *streamData) peekAt(ctx context.Context, offset int64, n int) ([]byte, error) {
	if _, err := s.readAt(ctx, nil, offset); err != nil && !errors.Is(err, io.EOF) {
		return nil, err
	}
	return s.peek(ctx, n)
}

func (s *streamData) readAt(ctx context.Context, p []byte, offset int64) (int, error) {
	if offset < s.at {
		return 0, errors.New("a stream cannot be read backwards")
	}
	for n := 0; ; {
		skip := min(offset-s.at, int64(len(s.rest)))
		s.rest, s.at = s.rest[skip:], s.at+skip
		if s.at == offset {
			k := copy(p[n:], s.rest)
			s.rest = s.rest[k:]
			s.at, offset, n = s.at+int64(k), offset+int64(k), n+k
			if n == len(p) {
				return n, nil
			}
		}
		if err := s.receive(ctx, nil); err != nil {
			if ctx.Err() != nil {
				// Whole samples only are of use to the caller, who may come
				// again with another context.
				s.rest, s.at = append([]byte(nil), p[:n]...), s.at-int64(n)
				n = 0
			}
			return n, err
		}
	}
}

func (s *streamData) size() int64 { return -1 }

func (s *streamData) close() error {
	select {
	case <-s.done:
		return nil
	default:
	}
	close(s.done)
	if s.closer == nil {
		return nil
	}
	return s.closer.Close()
}
