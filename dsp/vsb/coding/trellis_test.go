package coding

import (
	"testing"

	"github.com/stretchr/testify/require"

	"rooftone/dsp/vsb"
)

func TestTrellisEqualsSecondImplementation(t *testing.T) {
	// Truth: a second implementation, GNU Radio's ATSC trellis encoder, which
	// leaves the field syncs to another block.
	symbols := asSymbols(encode(t, vectorPackets()))
	for field, want := range vectorSums(t, "trellis") {
		requireSum(t, want, symbols[field*vsb.FieldSymbols+vsb.SegmentSymbols:][:FieldPackets*vsb.SegmentSymbols], field)
	}
}

func TestTrellisFreeDistance(t *testing.T) {
	// Truth: theory. Two paths of this code that part and meet again differ by
	// a squared distance of 36 at least, less than the 64 of levels with
	// the same Z1 and Z0: that is what sets the threshold in noise.
	type pair struct{ one, other uint8 } // states
	distance := map[pair]float64{}
	for state := range uint8(8) {
		distance[pair{state, state}] = 0
	}
	least := 1e9
	for depth := range 12 {
		next := map[pair]float64{}
		for p, d := range distance {
			for x := range uint8(4) {
				for y := range uint8(4) {
					one, other := TrellisEncoder{p.one}, TrellisEncoder{p.other}
					apart := Level(one.Encode(x)) - Level(other.Encode(y))
					if depth == 0 && x&1 == y&1 {
						continue // not yet parted
					}
					q := pair{one.state, other.state}
					sum := d + float64(apart*apart)
					if q.one&3 == q.other&3 {
						least = min(least, sum)
						continue
					}
					if old, ok := next[q]; !ok || sum < old {
						next[q] = sum
					}
				}
			}
		}
		distance = next
	}
	require.Equal(t, 36., least)
}

func TestPrecoderUndoesTheComb(t *testing.T) {
	// Truth: theory. The precoder exists so that a receiver which subtracts each
	// symbol from the one twelve later still reads the upper bit: the difference
	// in eights of a level, modulo two, is X2.
	var e TrellisEncoder
	before := uint8(0)
	for i := range 1000 {
		x := uint8(i*i>>3) & 3
		symbol := e.Encode(x)
		require.Equal(t, x>>1, symbol>>2^before>>2)
		require.Equal(t, x&1, symbol>>1&1)
		before = symbol
	}
}

func TestLevels(t *testing.T) {
	// Truth: the standard's table of the mapper.
	for symbol, want := range []float32{-7, -5, -3, -1, 1, 3, 5, 7} {
		require.Equal(t, want, Level(uint8(symbol)))
	}
}

func TestCoders(t *testing.T) {
	// Truth: the standard: the first segment begins with coder 0 and each segment
	// four coders further, so that the pattern repeats after three.
	for segment := 1; segment <= FieldPackets; segment++ {
		require.Equal(t, (segment-1)%3*4, Coder(segment, 4))
		require.Equal(t, Coder(segment, 4), Coder(segment, 16))
		require.Equal(t, (Coder(segment, 4)+11)%12, Coder(segment, 831))
		if segment < FieldPackets {
			require.Equal(t, Coder(segment+1, 8), Coder(segment, 832-12+8))
		}
	}
}
