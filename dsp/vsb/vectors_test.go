package vsb

import (
	"bufio"
	"encoding/binary"
	"fmt"
	"os"
	"testing"

	"github.com/stretchr/testify/require"
)

const (
	vectors = "../../testdata/vsb/"

	runSymbols   = 10 * SegmentSymbols
	runFieldSync = 4 * SegmentSymbols // where a run's field sync begins
	waveformAt   = 2048               // the symbol of the first run with the first sample
)

// encodedRun is a run of symbols from the second implementation. It has none
// before and behind.
type encodedRun [runSymbols]float32

func (r *encodedRun) Symbols(dst []float32, first int64) {
	for i := range dst {
		dst[i] = 0
		if k := first + int64(i); k >= 0 && k < runSymbols {
			dst[i] = r[k]
		}
	}
}

// readRuns returns the two runs: around an even field sync and an odd one.
func readRuns(t testing.TB) (even, odd *encodedRun) {
	packed, err := os.ReadFile(vectors + "symbols.bin")
	require.NoError(t, err)
	require.Len(t, packed, 2*runSymbols*3/8)
	even, odd = new(encodedRun), new(encodedRun)
	for i := range 2 * runSymbols {
		var v int
		for b := range 3 {
			at := 3*i + b
			v |= int(packed[at/8]>>(at%8)&1) << b
		}
		[]*encodedRun{even, odd}[i/runSymbols][i%runSymbols] = float32(2*v - 7)
	}
	return even, odd
}

// readWaveform returns the samples of the first run's waveform from symbol
// waveformAt on, scaled so that the levels' and the pilot's power is 1.
func readWaveform(t testing.TB) []complex128 {
	raw, err := os.ReadFile(vectors + "waveform.ci16")
	require.NoError(t, err)
	const scale = pulseHeight / 2048
	x := make([]complex128, len(raw)/4)
	for i := range x {
		re := int16(binary.LittleEndian.Uint16(raw[4*i:]))
		im := int16(binary.LittleEndian.Uint16(raw[4*i+2:]))
		x[i] = complex(float64(re)*scale, float64(im)*scale)
	}
	return x
}

// cell is a row of the spectrum from the second implementation.
type cell struct{ lowHz, highHz, density float64 }

func readDensity(t testing.TB) []cell {
	f, err := os.Open(vectors + "density.txt")
	require.NoError(t, err)
	defer f.Close()
	var cells []cell
	for s := bufio.NewScanner(f); s.Scan(); {
		var c cell
		_, err := fmt.Sscan(s.Text(), &c.lowHz, &c.highHz, &c.density)
		require.NoError(t, err)
		c.lowHz, c.highHz = c.lowHz*1e3, c.highHz*1e3
		cells = append(cells, c)
	}
	require.Len(t, cells, 120)
	return cells
}
