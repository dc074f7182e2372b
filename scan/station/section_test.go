package station

import (
	"encoding/binary"
	"testing"

	"github.com/stretchr/testify/require"
)

func TestSum(t *testing.T) {
	// Truth: the check value of CRC-32/MPEG-2 in the catalogues of such sums, and
	// ISO/IEC 13818-1, annex A, followed bit by bit.
	require.EqualValues(t, 0x0376e6e7, crc32([]byte("123456789")))
	b := []byte{0xc8, 1, 2, 3, 0xff, 0x80}
	require.Equal(t, slowSum(b), crc32(b))
	require.Zero(t, crc32(binary.BigEndian.AppendUint32(b, crc32(b))))
}

func TestParseSection(t *testing.T) {
	// Truth: the syntax of sections in ISO/IEC 13818-1, 2.4.4.
	good := longSection(tableTVCT, 0x1234, 9, 1, 2, []byte{0, 0})
	s, ok := parseSection(good)
	require.True(t, ok)
	require.Equal(t, section{tableTVCT, 0x1234, 9, 1, 2, []byte{0, 0}, binary.BigEndian.Uint32(good[len(good)-4:])}, s)
	resum := func(b []byte) []byte {
		return binary.BigEndian.AppendUint32(b[:len(b)-4:len(b)-4], slowSum(b[:len(b)-4]))
	}
	for name, change := range map[string]func(b []byte) []byte{
		"wrong sum":       func(b []byte) []byte { b[9] ^= 1; return b },
		"cut":             func(b []byte) []byte { return b[:len(b)-1] },
		"empty":           func([]byte) []byte { return nil },
		"only a header":   func(b []byte) []byte { return b[:8] },
		"short form":      func(b []byte) []byte { b[1] &^= 0x80; return resum(b) },
		"not yet current": func(b []byte) []byte { b[5] &^= 1; return resum(b) },
		"number too high": func(b []byte) []byte { b[6] = 3; return resum(b) },
	} {
		_, ok := parseSection(change(append([]byte(nil), good...)))
		require.False(t, ok, name)
	}
}

func TestAssembler(t *testing.T) {
	// Truth: ISO/IEC 13818-1, 2.4.4: pointer fields, sections that follow each other in
	// a packet, stuffing, packets sent twice, gaps.
	a := longSection(1, 1, 0, 0, 0, make([]byte, 300))
	b := longSection(2, 2, 0, 0, 0, make([]byte, 3))
	c := longSection(3, 3, 0, 0, 0, make([]byte, maxSection-12))
	collect := func(packets [][]byte) (found [][]byte) {
		var as assembler
		for _, p := range packets {
			as.packet(p[4:], p[1]&0x40 != 0, p[3]&0xf, func(s []byte) { found = append(found, append([]byte(nil), s...)) })
		}
		return found
	}
	all := newPacker().packets(5, nil, a, b, c, b)
	require.Equal(t, [][]byte{a, b, c, b}, collect(all))
	require.Equal(t, [][]byte{a, b}, collect(newPacker().packets(5, c[:100], a, b)), "the end of an unknown section before")

	var twice [][]byte
	for _, p := range all {
		twice = append(twice, p, p)
	}
	require.Equal(t, [][]byte{a, b, c, b}, collect(twice))

	gap := append(append([][]byte(nil), all[:5]...), all[6:]...)
	require.Equal(t, [][]byte{a, b, b}, collect(gap), "one packet of the third is missing")
	require.Empty(t, collect(all[2:4]), "nothing begins here")

	for name, payload := range map[string][]byte{
		"pointer beyond the packet": append([]byte{255}, make([]byte, 183)...),
		"no payload":                {},
		"only a pointer":            {0},
		"length too great":          append([]byte{0, 1, 0xff, 0xff}, make([]byte, 180)...),
	} {
		var as assembler
		for counter := range uint8(40) {
			as.packet(payload, counter%30 == 0 || len(payload) < 2, counter&0xf, func([]byte) { require.Fail(t, name) })
		}
	}
}
