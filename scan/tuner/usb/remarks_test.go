package usb

import (
	"bytes"
	"io"
	"testing"

	"github.com/stretchr/testify/require"
)

// Truth: what the real library prints, as Debian's 0.6.0 and the sources of 2.0.2 have
// it. Its remarks are kept back, whatever else is printed is passed on, and what stands
// before a mark is known when the mark is.
func TestRemarks(t *testing.T) {
	from, in := io.Pipe()
	l := &listener{in: in, marks: make(chan struct{})}
	var passed bytes.Buffer
	ended := make(chan struct{})
	go func() { l.hear(from, &passed); close(ended) }()
	io.WriteString(in, "Found Rafael Micro R820T tuner\nAllocating 32 zero-copy buffers\n[R82XX] PLL not locked!\n")
	require.EqualValues(t, 1, l.soFar())
	io.WriteString(in, "cb transfer status: 5, canceling...\nsomething else: odd\nDetaching kernel driver failed!")
	require.EqualValues(t, 1, l.soFar())
	io.WriteString(in, "[E4K] PLL not locked for 1234 Hz!\n\nExact sample rate is: 1000000.026491 Hz\n")
	require.EqualValues(t, 2, l.soFar())
	in.Close()
	<-ended
	require.Equal(t, "something else: odd\n", passed.String())
}
