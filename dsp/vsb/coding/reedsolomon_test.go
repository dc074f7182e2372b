package coding

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/require"
)

func TestReedSolomonEqualsSecondImplementation(t *testing.T) {
	// Truth: a second implementation, GNU Radio's ATSC Reed–Solomon encoder.
	codewords := vectorCodewords()
	for field, want := range vectorSums(t, "parity") {
		requireSum(t, want, codewords[field*fieldBytes:][:fieldBytes], field)
	}
}

// vectorCodewords returns the second implementation's packets, randomised and
// with parity.
func vectorCodewords() []byte {
	packets := vectorPackets()
	randomiser, parity := NewRandomiser(), NewReedSolomon()
	var codewords []byte
	for i := range vectorFields * FieldPackets {
		var c [CodedBytes]byte
		randomiser.Apply((*[PayloadBytes]byte)(c[:]), (*[PayloadBytes]byte)(packets[i*PacketBytes+1:]), i%FieldPackets)
		parity.Encode(&c)
		codewords = append(codewords, c[:]...)
	}
	return codewords
}

// slowProduct multiplies two bytes modulo x⁸+x⁴+x³+x²+1, bit by bit.
func slowProduct(a, b byte) (p byte) {
	for ; b != 0; b >>= 1 {
		if b&1 != 0 {
			p ^= a
		}
		carry := a >> 7
		a = a<<1 ^ carry*0x1d
	}
	return p
}

// randomCodeword returns a codeword with random data.
func randomCodeword(r *ReedSolomon, rng *rand.Rand) (c [CodedBytes]byte) {
	for i := range PayloadBytes {
		c[i] = byte(rng.Uint32())
	}
	r.Encode(&c)
	return c
}

func TestCodewordsHaveTheRoots(t *testing.T) {
	// Truth: the standard's generator polynomial: every codeword is 0 at α⁰ to
	// α¹⁹, and not at α²⁰.
	r := NewReedSolomon()
	rng := rand.New(rand.NewPCG(1, 0))
	for range 50 {
		c := randomCodeword(r, rng)
		require.True(t, r.Check(&c))
		x := byte(1)
		for power := range parityBytes + 1 {
			var value byte
			for _, v := range c {
				value = slowProduct(value, x) ^ v
			}
			require.Equal(t, power < parityBytes, value == 0, "root %d", power)
			x = slowProduct(x, 2)
		}
	}
}

func TestReedSolomonCorrects(t *testing.T) {
	// Truth: theory: e errors and f erasures can be corrected if 2e+f ≤ 20.
	r := NewReedSolomon()
	rng := rand.New(rand.NewPCG(2, 0))
	for errors := 0; errors <= 10; errors++ {
		for erasures := 0; 2*errors+erasures <= parityBytes; erasures++ {
			for range 20 {
				want := randomCodeword(r, rng)
				got := want
				places := rng.Perm(CodedBytes)
				wrong := 0
				for i, at := range places[:errors+erasures] {
					v := byte(rng.IntN(256)) // an erased byte may be right
					if i >= erasures {
						v = byte(1 + rng.IntN(255))
					}
					if v != 0 {
						wrong++
					}
					got[at] ^= v
				}
				n, err := r.Decode(&got, places[:erasures])
				require.NoError(t, err, "%d errors, %d erasures", errors, erasures)
				require.Equal(t, want, got)
				require.Equal(t, wrong, n)
			}
		}
	}
}

func TestReedSolomonGivesUp(t *testing.T) {
	// Truth: theory: of the words with many errors about 1 in 10! lies within ten
	// errors of some codeword; all others must be refused and left alone.
	r := NewReedSolomon()
	rng := rand.New(rand.NewPCG(3, 0))
	for _, errors := range []int{11, 12, 15, 20, 50, 207} {
		for range 200 {
			sent := randomCodeword(r, rng)
			for _, at := range rng.Perm(CodedBytes)[:errors] {
				sent[at] ^= byte(1 + rng.IntN(255))
			}
			got := sent
			_, err := r.Decode(&got, nil)
			require.ErrorIs(t, err, ErrUncorrectable)
			require.Equal(t, sent, got)
		}
	}
}

func TestReedSolomonRefusesPlaces(t *testing.T) {
	// Truth: the promises of Decode's comment.
	r := NewReedSolomon()
	c := [CodedBytes]byte{1}
	for _, places := range [][]int{{-1}, {CodedBytes}, {math.MaxInt}} {
		_, err := r.Decode(&c, places)
		require.ErrorContains(t, err, "not in a codeword")
	}
	_, err := r.Decode(&c, make([]int, parityBytes+1))
	require.ErrorIs(t, err, ErrUncorrectable)
	_, err = r.Decode(&c, []int{5, 5})
	require.ErrorIs(t, err, ErrUncorrectable)
	require.Equal(t, [CodedBytes]byte{1}, c)
}

func FuzzReedSolomon(f *testing.F) {
	// Truth: whatever comes in, what was corrected is a codeword, differs in as many
	// bytes as told and in no more than the code allows; the rest is left alone.
	f.Add([]byte{1, 2, 3}, []byte{4, 200})
	f.Add(make([]byte, CodedBytes), []byte{0, 0})
	r := NewReedSolomon()
	f.Fuzz(func(t *testing.T, word, places []byte) {
		var c [CodedBytes]byte
		copy(c[:], word)
		before := c
		var erasures []int
		erased := map[int]bool{}
		for _, p := range places {
			erasures = append(erasures, int(p))
			erased[int(p)] = true
		}
		n, err := r.Decode(&c, erasures)
		if err != nil {
			require.Equal(t, before, c)
			return
		}
		require.True(t, r.Check(&c))
		changed, errors := 0, 0
		for i := range c {
			if c[i] != before[i] {
				changed++
				if !erased[i] {
					errors++
				}
			}
		}
		require.Equal(t, changed, n)
		if n > 0 {
			require.LessOrEqual(t, 2*errors+len(erasures), parityBytes)
		}
	})
}

func BenchmarkReedSolomonEncode(b *testing.B) {
	r := NewReedSolomon()
	c := randomCodeword(r, rand.New(rand.NewPCG(1, 0)))
	b.SetBytes(CodedBytes)
	for b.Loop() {
		r.Encode(&c)
	}
}

func BenchmarkReedSolomonDecode(b *testing.B) {
	r := NewReedSolomon()
	for _, errors := range []struct {
		name  string
		count int
	}{{"clean", 0}, {"1", 1}, {"3", 3}, {"10", 10}, {"12", 12}} {
		b.Run(errors.name, func(b *testing.B) {
			rng := rand.New(rand.NewPCG(1, 0))
			sent := randomCodeword(r, rng)
			for _, at := range rng.Perm(CodedBytes)[:errors.count] {
				sent[at] ^= byte(1 + rng.IntN(255))
			}
			b.ReportAllocs()
			b.SetBytes(CodedBytes)
			for b.Loop() {
				c := sent
				r.Decode(&c, nil)
			}
		})
	}
}
