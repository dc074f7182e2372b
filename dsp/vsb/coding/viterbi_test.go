package coding

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"

	"rooftone/dsp/vsb"
)

// slowViterbi decodes one coder's symbols as a textbook does: all eight states
// of the encoder, all four pairs of bits, double precision, the whole sequence.
func slowViterbi(soft []float64) (pairs []uint8) {
	type choice struct{ state, pair uint8 }
	var metric [8]float64
	choices := make([][8]choice, len(soft))
	for n, v := range soft {
		var next [8]float64
		for i := range next {
			next[i] = math.Inf(1)
		}
		for state := range uint8(8) {
			for pair := range uint8(4) {
				e := TrellisEncoder{state}
				d := v - float64(Level(e.Encode(pair)))
				if m := metric[state] + d*d; m < next[e.state] {
					next[e.state] = m
					choices[n][e.state] = choice{state, pair}
				}
			}
		}
		metric = next
	}
	best := uint8(0)
	for state, m := range metric {
		if m < metric[best] {
			best = uint8(state)
		}
	}
	pairs = make([]uint8, len(soft))
	for n := len(soft) - 1; n >= 0; n-- {
		c := choices[n][best]
		pairs[n] = c.pair
		best = c.state
	}
	return pairs
}

// decodeAll returns the bytes of the data segments of some fields, by their
// coders, as far as they are decided.
func decodeAll(soft []float32) []byte {
	d := NewDecoder()
	d.start(0)
	var bytes []byte
	for at := 0; at < len(soft); at += vsb.SegmentSymbols {
		if at%vsb.FieldSymbols == 0 {
			continue
		}
		begun := d.received.end
		d.symbolsIn(soft[at:][:vsb.SegmentSymbols])
		d.bytesOut()
		d.next++
		for n := begun; n < d.received.end; n++ {
			bytes = append(bytes, d.received.bytes[n&ringMask])
		}
	}
	return bytes
}

func TestViterbiEqualsTextbook(t *testing.T) {
	// Truth: a second implementation, slow and of the textbook kind. At a
	// modulation error ratio of 13 dB, below the threshold, the packed decoder with
	// its rounded levels, four states and short memory decides one byte in 300
	// differently at most, and no more of them wrong.
	sigma := math.Sqrt(vsb.LevelMeanSquare / math.Pow(10, 1.3))
	symbols := encodedFields(t, 1, 1)
	sent := decodeAll(symbols)
	bytes := decodeAll(noisy(symbols, sigma, 1))
	textbook := textbookBytes(noisy(symbols, sigma, 1), len(bytes))
	var differ, wrong, textbookWrong int
	for n, b := range bytes {
		if b != textbook[n] {
			differ++
		}
		if b != sent[n] {
			wrong++
		}
		if textbook[n] != sent[n] {
			textbookWrong++
		}
	}
	t.Logf("of %d bytes %d wrong, %d by the textbook; %d differ", len(bytes), wrong, textbookWrong, differ)
	require.Less(t, differ, len(bytes)/300)
	require.InEpsilon(t, textbookWrong, wrong, 0.01)
	require.Greater(t, wrong, len(bytes)/20)
}

// textbookBytes returns the first bytes of a field's soft symbols, decoded by
// slowViterbi.
func textbookBytes(soft []float32, count int) []byte {
	bytes := make([]byte, count)
	for coder := range coders {
		var own []float64
		for index := 1; index < vsb.FieldSegments; index++ {
			for i := vsb.SegmentSyncSymbols; i < vsb.SegmentSymbols; i++ {
				if Coder(index, i) == coder {
					own = append(own, float64(soft[index*vsb.SegmentSymbols+i]))
				}
			}
		}
		pairs := slowViterbi(own)
		for n := 0; n+coders <= count; n += coders {
			step := n / coders * byteSymbols
			bytes[n+(coder-firstByteCoder(step)+coders)%coders] =
				pairs[step]<<6 | pairs[step+1]<<4 | pairs[step+2]<<2 | pairs[step+3]
		}
	}
	return bytes
}

func TestBranchMetrics(t *testing.T) {
	// Truth: squared distances. The metrics' differences are the distances' to
	// within their rounding, and the marked levels are the nearest.
	m := newBranchMetrics()
	for _, level := range []float32{-9, -7.3, -4, -0.6, 0, 0.2, 1, 3.99, 5, 6.5, 9} {
		var symbols [dataSymbols]uint16
		require.False(t, quantise(&symbols, append([]float32{level}, make([]float32, dataSymbols-1)...)))
		entry := m[symbols[0]]
		var distance [4]float64
		least := 1e9
		for coset := range uint8(4) {
			z2 := uint8(entry >> (16*coset + 15) & 1)
			chosen := float64(level - Level(z2<<2|coset))
			other := float64(level - Level((1-z2)<<2|coset))
			require.LessOrEqual(t, math.Abs(chosen), math.Abs(other)+1./softSteps, "level %v", level)
			distance[coset] = chosen * chosen
			least = min(least, distance[coset])
		}
		for coset, d := range distance {
			metric := float64(entry>>(16*coset)&0x7fff) / metricSteps
			require.InDelta(t, d-least, metric, 0.3, "level %v coset %d", level, coset)
		}
	}
}

func TestQuantiseOddLevels(t *testing.T) {
	// Truth: the promise that levels far out are the outer ones and that
	// what is not finite is erased.
	soft := make([]float32, dataSymbols)
	for i, v := range []float64{9.01, -9.01, 1e30, -1e30, math.MaxFloat32} {
		soft[i] = float32(v)
	}
	var symbols [dataSymbols]uint16
	require.False(t, quantise(&symbols, soft))
	require.Equal(t, []uint16{softEntries - 1, 0, softEntries - 1, 0, softEntries - 1}, symbols[:5])
	for i, v := range []float64{math.NaN(), math.Inf(1), math.Inf(-1)} {
		soft[i] = float32(v)
	}
	require.True(t, quantise(&symbols, soft))
	require.Equal(t, []uint16{softErased, softErased, softErased, 0}, symbols[:4])
	require.Zero(t, newBranchMetrics()[softErased])
}

func TestTrellisMetricsStayInRange(t *testing.T) {
	// Truth: the bound in the comment of branchMetrics. Symbols that contradict
	// each other as much as they can, and erased ones, keep all metrics below
	// the lanes' upper bit.
	v := newViterbi()
	var symbols [dataSymbols]uint16
	for round := range 200 {
		for i := range symbols {
			switch (i*7919 + round*104729) % 5 {
			case 0, 1:
				symbols[i] = 0
			case 2, 3:
				symbols[i] = softEntries - 1
			default:
				symbols[i] = softErased
			}
		}
		v.segment(&symbols, firstCoder(round))
		for _, q := range v.quads {
			for _, s := range q.states {
				require.Zero(t, s&laneTops)
			}
		}
	}
}

func BenchmarkTrellisDecoder(b *testing.B) {
	v := newViterbi()
	soft := noisy(encodedFields(b, 1, 1), 0.8, 1)[vsb.SegmentSymbols:]
	var symbols [dataSymbols]uint16
	var bytes [maxDecided]byte
	b.ReportAllocs()
	b.SetBytes(vsb.SegmentSymbols)
	for i := 0; b.Loop(); i++ {
		quantise(&symbols, soft[i%FieldPackets*vsb.SegmentSymbols:][vsb.SegmentSyncSymbols:vsb.SegmentSymbols])
		from := (v.steps - viterbiLag) / byteSymbols * byteSymbols
		v.segment(&symbols, firstCoder(i))
		to := (v.steps - viterbiLag) / byteSymbols * byteSymbols
		v.decide(bytes[:], max(from, 0), to)
	}
}
