package receiver

import (
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/require"

	"rooftone/dsp/vsb/coding"
)

// secondStream is the transport stream that testdata/README.txt tells of.
func secondStream(count int) []byte {
	stream := make([]byte, 0, count*coding.PacketBytes)
	state := uint32(1)
	for range count {
		at := len(stream)
		stream = append(stream, coding.SyncByte)
		for range coding.PayloadBytes {
			state = state*1664525 + 1013904223
			stream = append(stream, byte(state>>24))
		}
		stream[at+1] &= 0x7f
	}
	return stream
}

// secondSamples are the samples that testdata/README.txt tells of.
func secondSamples(t testing.TB) []complex64 {
	raw, err := os.ReadFile(filepath.Join("testdata", "wide-20db.cu8"))
	require.NoError(t, err)
	x := make([]complex64, len(raw)/2)
	for i := range x {
		x[i] = complex((float32(raw[2*i])-127.5)/127.5, (float32(raw[2*i+1])-127.5)/127.5)
	}
	return x
}

const (
	secondRate  = 6.4e6
	secondLower = 137e3 - 3e6
)

func TestSecondImplementation(t *testing.T) {
	// Truth: the transport stream that a second implementation's transmitter was
	// given. The first field sync is that of the second field; the receiver has to
	// be locked from there on and to make every packet that is wholly there.
	var got []byte
	numbers := 0
	r, err := New(Options{RateHz: secondRate, LowerHz: secondLower, Packet: func(p *Packet) {
		require.False(t, p.Failed)
		require.Equal(t, numbers%coding.FieldPackets, p.Number)
		numbers++
		got = append(got, p.Bytes[:]...)
	}})
	require.NoError(t, err)
	x := secondSamples(t)
	require.NoError(t, r.Write(x))
	status := r.Status()
	require.True(t, status.Locked)
	require.InDelta(t, -17, status.ClockPPM, 0.05)
	require.InDelta(t, 2300, status.CarrierHz, 60) // of which 17 ppm of the pilot's offset are 47 Hz
	require.NoError(t, r.Flush())
	// 0.45 + 2.48 fields end 0.93 fields into the third of them, and a packet's
	// last byte comes 52 segments after its first.
	const least = 604 - 52 - 2 - 3
	require.Greater(t, numbers, least)
	t.Logf("%d packets, MER %.2f dB before, %.2f dB after, ideal %.2f dB, %.2f dBFS", numbers, status.MERBeforeDB, status.MERAfterDB, status.IdealDB, status.LevelDBFS)
	want := secondStream(1560)[coding.FieldPackets*coding.PacketBytes:]
	require.Equal(t, want[:len(got)], got)
}
