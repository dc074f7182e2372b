package coding

import (
	"bufio"
	"crypto/sha256"
	"encoding/hex"
	"math/rand/v2"
	"os"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"rooftone/dsp/vsb"
)

const (
	vectors        = "../../../testdata/vsb/"
	vectorFields   = 3
	vectorSegments = 160
)

// vectorPackets returns the packets that the second implementation encoded.
func vectorPackets() []byte {
	packets := make([]byte, vectorFields*FieldPackets*PacketBytes)
	state := uint32(1)
	for i := range packets {
		if i%PacketBytes == 0 {
			packets[i] = SyncByte
			continue
		}
		state = state*1664525 + 1013904223
		packets[i] = byte(state >> 24)
		if i%PacketBytes == 1 {
			packets[i] &^= errorIndicator
		}
	}
	return packets
}

// vectorSums returns the SHA-256 of the fields behind a stage of the second implementation.
func vectorSums(t *testing.T, stage string) (sums []string) {
	f, err := os.Open(vectors + "coding.txt")
	require.NoError(t, err)
	defer f.Close()
	for s := bufio.NewScanner(f); s.Scan(); {
		if words := strings.Fields(s.Text()); len(words) == 3 && words[0] == stage && len(words[2]) == 64 {
			sums = append(sums, words[2])
		}
	}
	require.Len(t, sums, vectorFields)
	return sums
}

// vectorSymbols returns the first segments of the second implementation's symbols.
func vectorSymbols(t testing.TB) []float32 {
	packed, err := os.ReadFile(vectors + "coding-symbols.bin")
	require.NoError(t, err)
	symbols := make([]float32, vectorSegments*vsb.SegmentSymbols)
	require.Len(t, packed, len(symbols)*3/8)
	for i := range symbols {
		var v uint8
		for bit := range 3 {
			at := 3*i + bit
			v |= packed[at/8] >> (at % 8) & 1 << bit
		}
		symbols[i] = Level(v)
	}
	return symbols
}

// asSymbols returns levels as bytes 0 to 7.
func asSymbols(levels []float32) []byte {
	b := make([]byte, len(levels))
	for i, v := range levels {
		b[i] = byte((v + 7) / 2)
	}
	return b
}

func requireSum(t *testing.T, want string, data []byte, field int) {
	sum := sha256.Sum256(data)
	require.Equal(t, want, hex.EncodeToString(sum[:]), "field %d", field)
}

// randomPackets returns packets with random payload.
func randomPackets(n int, seed uint64) []byte {
	rng := rand.New(rand.NewPCG(seed, 0))
	b := make([]byte, n*PacketBytes)
	for i := range b {
		b[i] = byte(rng.Uint32())
	}
	for i := range n {
		b[i*PacketBytes] = SyncByte
		b[i*PacketBytes+1] &^= errorIndicator
	}
	return b
}

// encodedFields returns the symbols of some fields of random packets.
func encodedFields(t testing.TB, fields int, seed uint64) []float32 {
	return encode(t, randomPackets(fields*FieldPackets, seed))
}

// encode returns the symbols of whole fields of packets.
func encode(t testing.TB, packets []byte) []float32 {
	const fieldPackets = FieldPackets * PacketBytes
	fields := len(packets) / fieldPackets
	symbols := make([]float32, fields*vsb.FieldSymbols)
	e := NewEncoder()
	for f := range fields {
		require.NoError(t, e.Field(symbols[f*vsb.FieldSymbols:][:vsb.FieldSymbols], packets[f*fieldPackets:][:fieldPackets]))
	}
	return symbols
}

// noisy returns the symbols with white Gaussian noise.
func noisy(symbols []float32, sigma float64, seed uint64) []float32 {
	rng := rand.New(rand.NewPCG(seed, 1))
	soft := make([]float32, len(symbols))
	for i, v := range symbols {
		soft[i] = v + float32(sigma*rng.NormFloat64())
	}
	return soft
}
