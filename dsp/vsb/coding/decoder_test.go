package coding

import (
	"bytes"
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/require"

	"rooftone/dsp/vsb"
)

// decode gives the decoder all segments of the symbols, which begin with the segment
// of the given index, and returns the packets.
func decode(t testing.TB, d *Decoder, soft []float32, index int) (packets []Packet) {
	for at := 0; at < len(soft); at += vsb.SegmentSymbols {
		var p Packet
		ok, err := d.Segment(&p, index, soft[at:][:vsb.SegmentSymbols])
		require.NoError(t, err)
		if ok {
			packets = append(packets, p)
		}
		index = (index + 1) % vsb.FieldSegments
	}
	return packets
}

// requirePackets checks that the packets are those sent from the given one on.
func requirePackets(t *testing.T, sent []byte, first int, packets []Packet) {
	for i, p := range packets {
		require.Equal(t, (first+i)%FieldPackets, p.Number)
		require.False(t, p.Failed, "packet %d", i)
		require.Equal(t, sent[(first+i)*PacketBytes:][:PacketBytes], p.Bytes[:], "packet %d", i)
	}
}

func TestDecoderReadsSecondImplementation(t *testing.T) {
	// Truth: a second implementation, GNU Radio's ATSC encoder: its symbols become
	// the packets that it was given.
	soft := vectorSymbols(t)
	d := NewDecoder()
	packets := decode(t, d, soft, 0)
	require.Len(t, packets, vectorSegments-1-DelaySegments)
	requirePackets(t, vectorPackets(), 0, packets)
	// The first byte waits for symbols before the first, so it counts as lost.
	require.Equal(t, Totals{Packets: vectorSegments - 1 - DelaySegments, Erased: 1}, d.Totals())
}

func TestDecoderBeginsAnywhere(t *testing.T) {
	// Truth: the encoder, which equals a second implementation. From whatever segment
	// on, in fields of either kind, the packets are right from the first one that
	// is given, 52 data segments later.
	sent := randomPackets(3*FieldPackets, 1)
	symbols := encode(t, sent)
	for _, start := range []int{0, 1, 2, 3, 4, 5, 100, 311, 312, 313, 314, 500} {
		soft := symbols[start*vsb.SegmentSymbols:]
		packets := decode(t, NewDecoder(), soft, start%vsb.FieldSegments)
		syncs := 1 + (start+vsb.FieldSegments-1)/vsb.FieldSegments - 1
		first := start - syncs
		require.Len(t, packets, 3*FieldPackets-DelaySegments-first)
		requirePackets(t, sent, first, packets)
	}
}

func TestDecoderWithoutFieldSyncs(t *testing.T) {
	// Truth: the promise that field syncs may be left out.
	sent := randomPackets(2*FieldPackets, 1)
	symbols := encode(t, sent)
	d := NewDecoder()
	packets := decode(t, d, symbols[vsb.SegmentSymbols:vsb.FieldSymbols], 1)
	packets = append(packets, decode(t, d, symbols[vsb.FieldSymbols+vsb.SegmentSymbols:], 1)...)
	require.Len(t, packets, 2*FieldPackets-DelaySegments)
	requirePackets(t, sent, 0, packets)
}

func TestDecoderAfterAJump(t *testing.T) {
	// Truth: the promise that a jump starts the decoder anew: no packet is given
	// of which a part is missing, and all that are given are right.
	sent := randomPackets(3*FieldPackets, 2)
	symbols := encode(t, sent)
	segments := func(from, to int) []float32 { return symbols[from*vsb.SegmentSymbols : to*vsb.SegmentSymbols] }
	d := NewDecoder()
	requirePackets(t, sent, 0, decode(t, d, segments(0, 200), 0))
	later := decode(t, d, segments(230, 500), 230)
	requirePackets(t, sent, 229, later)
	require.Len(t, later, 500-230-1-DelaySegments)
	// A field sync at the wrong place is a jump, too.
	var p Packet
	_, err := d.Segment(&p, 0, nil)
	require.NoError(t, err)
	later = decode(t, d, segments(500, 600), 500-vsb.FieldSegments)
	require.Len(t, later, 100-DelaySegments)
	requirePackets(t, sent, 500-2, later)
	d.Reset()
	require.Len(t, decode(t, d, segments(600, 626), 600-vsb.FieldSegments), 0)
	require.Zero(t, d.Totals().Failed)
}

func TestDecoderThreshold(t *testing.T) {
	// Truth: theory: A/54A puts the threshold of visibility, a segment error rate of
	// 1.93e-4, at 14.9 dB. With the pilot counted as signal and the noise in the
	// Nyquist band that is a modulation error ratio of 14.6 dB and C/N in
	// 6 MHz of 14.4 dB. The slope is steep: a quarter of a dB above there are next
	// to no errors, half of a dB below one in 50 fails.
	for _, c := range []struct {
		mer      float64
		min, max float64
	}{
		{14.85, 0, 3e-4},
		{14.57, 0, 8e-4},
		{14.17, 1e-2, 5e-2},
		{13.6, 0.5, 0.8},
	} {
		d := NewDecoder()
		packets := noisyPackets(t, d, 40, c.mer)
		rate := float64(d.Totals().Failed) / float64(d.Totals().Packets)
		t.Logf("modulation error ratio %.2f dB, C/N %.2f dB: %.1e of %d segments fail, %.2f bytes corrected a packet",
			c.mer, c.mer-0.17, rate, packets, float64(d.Totals().Corrected)/float64(d.Totals().Packets))
		require.GreaterOrEqual(t, rate, c.min)
		require.LessOrEqual(t, rate, c.max)
	}
}

// noisyPackets decodes some fields in noise and checks that each packet is either the
// one sent or marked.
func noisyPackets(t *testing.T, d *Decoder, fields int, mer float64) (count int) {
	sigma := math.Sqrt(vsb.LevelMeanSquare / math.Pow(10, mer/10))
	rng := rand.New(rand.NewPCG(uint64(mer*1000), 3))
	e := NewEncoder()
	symbols := make([]float32, vsb.FieldSymbols)
	var sent []byte
	for field := range fields {
		packets := randomPackets(FieldPackets, uint64(field))
		require.NoError(t, e.Field(symbols, packets))
		sent = append(sent, packets...)
		for i := range symbols {
			symbols[i] += float32(sigma * rng.NormFloat64())
		}
		for _, p := range decode(t, d, symbols, 0) {
			if want := sent[count*PacketBytes:][:PacketBytes]; p.Failed {
				require.NotZero(t, p.Bytes[1]&errorIndicator)
			} else {
				require.True(t, bytes.Equal(want, p.Bytes[:]), "packet %d is wrong without saying so", count)
			}
			count++
		}
	}
	return count
}

func TestDecoderBursts(t *testing.T) {
	// Truth: theory. The standard's interleaver and code correct any burst of 193
	// µs, 2,080 symbols: ten bytes of each packet. The trellis decoder makes bursts
	// a little longer. Bytes known to be lost cost
	// half as much, so bursts that are erased may be nearly twice as long.
	sent := randomPackets(2*FieldPackets, 4)
	symbols := encode(t, sent)
	const at = 300*vsb.SegmentSymbols + 77
	rng := rand.New(rand.NewPCG(9, 9))
	for _, c := range []struct {
		name   string
		length int
		erase  bool
		fails  bool
	}{
		{"noise of 183 µs", 1968, false, false},
		{"noise of 300 µs", 3230, false, true},
		{"erased 300 µs", 3230, true, false},
		{"erased 450 µs", 4843, true, true},
	} {
		soft := append([]float32(nil), symbols...)
		for i := range c.length {
			soft[at+i] = float32(7 * rng.NormFloat64())
			if c.erase {
				soft[at+i] = float32(math.NaN())
			}
		}
		d := NewDecoder()
		packets := decode(t, d, soft, 0)
		if c.fails {
			require.NotZero(t, d.Totals().Failed, c.name)
			continue
		}
		requirePackets(t, sent, 0, packets)
		require.NotZero(t, d.Totals().Corrected, c.name)
		require.Equal(t, c.erase, d.Totals().Erased > 1, c.name) // the first byte is always lost
	}
}

func TestDecoderLostSegments(t *testing.T) {
	// Truth: theory: a lost segment takes four bytes, or a few more at its ends,
	// of each of 52 packets; four lost ones can be made up for, six cannot.
	sent := randomPackets(2*FieldPackets, 5)
	symbols := encode(t, sent)
	for _, lost := range []int{1, 4, 6} {
		d := NewDecoder()
		var packets []Packet
		for index := range 2 * vsb.FieldSegments {
			soft := symbols[index*vsb.SegmentSymbols:][:vsb.SegmentSymbols]
			if index >= 100 && index < 100+lost {
				soft = nil
			}
			var p Packet
			ok, err := d.Segment(&p, index%vsb.FieldSegments, soft)
			require.NoError(t, err)
			if ok {
				packets = append(packets, p)
			}
		}
		require.Len(t, packets, 2*FieldPackets-DelaySegments)
		if lost == 6 {
			require.InDelta(t, 52, d.Totals().Failed, 8)
			continue
		}
		require.Zero(t, d.Totals().Failed, "%d lost", lost)
		require.InDelta(t, lost*CodedBytes+18, d.Totals().Erased, 20)
		requirePackets(t, sent, 0, packets)
	}
}

func TestDecoderKeepsTheSendersErrorIndicator(t *testing.T) {
	// Truth: ISO/IEC 13818-1: the bit belongs to the packet; what arrives set
	// stays set and is no failure.
	sent := randomPackets(FieldPackets, 6)
	for i := range FieldPackets {
		sent[i*PacketBytes+1] |= errorIndicator
	}
	requirePackets(t, sent, 0, decode(t, NewDecoder(), encode(t, sent), 0))
}

func TestDecoderRefuses(t *testing.T) {
	// Truth: the promises of Segment's comment.
	d := NewDecoder()
	var p Packet
	for _, c := range []struct {
		index, length int
		message       string
	}{
		{-1, vsb.SegmentSymbols, "index -1"},
		{vsb.FieldSegments, vsb.SegmentSymbols, "index 313"},
		{1, vsb.SegmentSymbols - 1, "got 831"},
		{1, 0, "got 0"},
	} {
		ok, err := d.Segment(&p, c.index, make([]float32, c.length))
		require.ErrorContains(t, err, c.message)
		require.False(t, ok)
	}
}

func TestDecoderAllocatesNothing(t *testing.T) {
	// Truth: the promise of Decoder's comment.
	soft := noisy(encodedFields(t, 1, 7), 1, 7)
	soft[100*vsb.SegmentSymbols+50] = float32(math.NaN())
	d := NewDecoder()
	var p Packet
	require.Zero(t, testing.AllocsPerRun(3, func() {
		for index := range vsb.FieldSegments {
			d.Segment(&p, index, soft[index*vsb.SegmentSymbols:][:vsb.SegmentSymbols])
		}
	}))
}

func FuzzDecoder(f *testing.F) {
	// Truth: whatever comes in, calls that are right have no error, packets are packets
	// and the totals are theirs.
	f.Add([]byte{0, 1, 2, 3}, uint64(1))
	f.Add([]byte{5, 5, 5, 0x80, 200, 7, 7}, uint64(2))
	odd := []float32{0, 7, -7, float32(math.NaN()), float32(math.Inf(1)), float32(math.Inf(-1)), 1e38, -1e38, 1e-40, 9, -9}
	f.Fuzz(func(t *testing.T, plan []byte, seed uint64) {
		d := NewDecoder()
		rng := rand.New(rand.NewPCG(seed, 0))
		soft := make([]float32, vsb.SegmentSymbols)
		index := int(seed % vsb.FieldSegments)
		var want Totals
		for _, step := range plan {
			for i := range soft {
				soft[i] = float32(rng.NormFloat64() * 5)
				if step&0x40 != 0 && rng.IntN(1+int(step&0x1f)) == 0 {
					soft[i] = odd[rng.IntN(len(odd))]
				}
			}
			if step&0x80 != 0 {
				index = rng.IntN(vsb.FieldSegments)
			}
			for range 1 + step&0x1f {
				given := soft
				if step&0x20 != 0 {
					given = nil
				}
				var p Packet
				ok, err := d.Segment(&p, index, given)
				require.NoError(t, err)
				index = (index + 1) % vsb.FieldSegments
				if !ok {
					require.Zero(t, p)
					continue
				}
				require.EqualValues(t, SyncByte, p.Bytes[0])
				require.True(t, p.Number >= 0 && p.Number < FieldPackets)
				require.True(t, !p.Failed || p.Bytes[1]&errorIndicator != 0)
				want.Packets++
				want.Corrected += int64(p.Corrected)
				want.Erased += int64(p.Erased)
				if p.Failed {
					want.Failed++
				}
			}
		}
		require.Equal(t, want, d.Totals())
	})
}

func BenchmarkDecoder(b *testing.B) {
	symbols := encodedFields(b, 2, 1)
	for _, c := range []struct {
		name string
		mer  float64
	}{{"30dB", 30}, {"15dB", 15}, {"10dB", 10}} {
		b.Run(c.name, func(b *testing.B) {
			soft := noisy(symbols, math.Sqrt(vsb.LevelMeanSquare/math.Pow(10, c.mer/10)), 1)
			d := NewDecoder()
			var p Packet
			b.ReportAllocs()
			b.SetBytes(vsb.SegmentSymbols)
			for i := 0; b.Loop(); i++ {
				index := i % (2 * vsb.FieldSegments)
				d.Segment(&p, index%vsb.FieldSegments, soft[index*vsb.SegmentSymbols:][:vsb.SegmentSymbols])
			}
		})
	}
}
