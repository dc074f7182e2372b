package vsb

import (
	"math"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

// asBits writes two-level symbols as the bits they stand for.
func asBits(symbols []float32) string {
	var b strings.Builder
	for _, v := range symbols {
		b.WriteByte("01"[int(v+SyncLevel)/(2*SyncLevel)])
	}
	return b.String()
}

func TestFieldSyncLayout(t *testing.T) {
	// Truth: A/53 Part 2, 5.3.2, in particular how its sequences begin.
	for _, odd := range []bool{true, false} {
		symbols, known := FieldSync(odd)
		require.Equal(t, "1001", asBits(symbols[:4]))
		require.True(t, strings.HasPrefix(asBits(symbols[4:515]), "00000001011111111100101010101110"))
		first, middle, last := asBits(symbols[515:578]), asBits(symbols[578:641]), asBits(symbols[641:704])
		require.True(t, strings.HasPrefix(first, "1110010010110111"))
		require.Equal(t, first, last)
		if !odd {
			middle = strings.NewReplacer("0", "1", "1", "0").Replace(middle)
		}
		require.Equal(t, first, middle)
		for i, k := range known {
			require.Equal(t, i < 728, k, "symbol %d", i)
			if k {
				require.Equal(t, 5., math.Abs(float64(symbols[i])))
			} else {
				require.Zero(t, symbols[i])
			}
		}
	}
}

func TestTrainingIsOfMaximalLength(t *testing.T) {
	// Truth: theory. A maximal-length sequence of ±1 has a periodic
	// autocorrelation of −1 at every shift but 0.
	for _, bits := range [][]byte{pn511(), pn63()} {
		for shift := range bits {
			sum := 0
			for i, b := range bits {
				sum += 1 - 2*int(b^bits[(i+shift)%len(bits)])
			}
			if shift == 0 {
				require.Equal(t, len(bits), sum)
			} else {
				require.Equal(t, -1, sum)
			}
		}
	}
}

func TestSyncsEqualSecondEncoder(t *testing.T) {
	// Truth: a second implementation, GNU Radio's ATSC encoder.
	even, odd := readRuns(t)
	for _, c := range []struct {
		odd bool
		run *encodedRun
	}{{false, even}, {true, odd}} {
		symbols, known := FieldSync(c.odd)
		n := 0
		for i := range symbols {
			if known[i] {
				require.Equal(t, c.run[runFieldSync+i], symbols[i], "odd %v, symbol %d", c.odd, i)
				n++
			}
		}
		require.Equal(t, KnownSymbols, n)
		other, _ := FieldSync(!c.odd)
		require.NotEqual(t, asBits(c.run[runFieldSync:][:KnownSymbols]), asBits(other[:KnownSymbols]))
		for i := range 12 {
			require.Equal(t, c.run[runFieldSync-12+i], c.run[runFieldSync+820+i], "precode symbol %d", i)
		}
		for at := 0; at < runSymbols; at += SegmentSymbols {
			require.Equal(t, []float32{5, -5, -5, 5}, c.run[at:at+4])
		}
	}
}
