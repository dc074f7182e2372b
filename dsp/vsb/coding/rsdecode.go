package coding

import "fmt"

// Decode corrects the codeword in place and returns how many of its bytes were
// wrong. erasures are the places, 0 to 206 and each at most once, of bytes
// that are likely wrong; their values do not matter. When the code cannot
// correct the codeword it is left as it is and the error is ErrUncorrectable.
//
// With 20 erasures every word can be corrected to some codeword: errors are
// noticed the less, the more erasures there are.
func (r *ReedSolomon) Decode(codeword *[CodedBytes]byte, erasures []int) (int, error) {
	rem := r.disagreement(codeword)
	if rem == (remainder{}) {
		return 0, nil
	}
	if len(erasures) > parityBytes {
		return 0, ErrUncorrectable
	}
	for _, at := range erasures {
		if at < 0 || at >= CodedBytes {
			return 0, fmt.Errorf("erasing byte %d, which is not in a codeword of %d", at, CodedBytes)
		}
	}
	syndromes := r.syndromes(rem)
	locator, degree := r.locate(&syndromes, erasures)
	if 2*degree-len(erasures) > parityBytes {
		return 0, ErrUncorrectable
	}
	var found faults
	if !r.search(&found, &locator, degree) {
		return 0, ErrUncorrectable
	}
	return r.mend(codeword, &found, &locator, &syndromes), nil
}

// polynomial has its coefficients from the constant up.
type polynomial [parityBytes + 1]uint8

// faults are the places of wrong bytes, as powers of x in the codeword.
type faults struct {
	powers [parityBytes]int
	count  int
}

// syndromes returns the values of the remainder at α⁰ to α¹⁹.
func (r *ReedSolomon) syndromes(rem remainder) (s [parityBytes]uint8) {
	for i := range parityBytes {
		v := uint8(rem[i/8] >> (56 - i%8*8))
		for j := range s {
			s[j] = r.field.by[j][s[j]] ^ v
		}
	}
	return s
}

// locate finds the polynomial with the roots X⁻¹ for every wrong byte, of which
// X = α^power is the place: Berlekamp's and Massey's algorithm, started with the
// erasures' own polynomial. The degree it returns is the shift register's
// length, at least the polynomial's degree.
func (r *ReedSolomon) locate(syndromes *[parityBytes]uint8, erasures []int) (polynomial, int) {
	g := r.field
	var locator polynomial
	locator[0] = 1
	for n, at := range erasures {
		x := g.power(CodedBytes - 1 - at)
		for i := n + 1; i > 0; i-- {
			locator[i] ^= g.mul(locator[i-1], x)
		}
	}
	last := locator // the locator before its length last changed, over its discrepancy
	length := len(erasures)
	for n := len(erasures); n < parityBytes; n++ {
		discrepancy := syndromes[n]
		for i := 1; i <= min(length, n); i++ {
			discrepancy ^= g.mul(locator[i], syndromes[n-i])
		}
		copy(last[1:], last[:parityBytes])
		last[0] = 0
		if discrepancy == 0 {
			continue
		}
		before := locator
		for i := 1; i <= min(n+1, parityBytes); i++ {
			locator[i] ^= g.mul(discrepancy, last[i])
		}
		if 2*length <= n+len(erasures) {
			length = n + 1 + len(erasures) - length
			for i, c := range before {
				last[i] = g.div(c, discrepancy)
			}
		}
	}
	return locator, length
}

// search finds the places of as many wrong bytes as the locator's degree. It
// returns false if the locator has not that many different roots in the codeword.
func (r *ReedSolomon) search(found *faults, locator *polynomial, degree int) bool {
	g := r.field
	if degree == 0 || degree > parityBytes || locator[degree] == 0 {
		return false
	}
	// terms[i] is locator[i]·X⁻ⁱ for the place in turn, the highest power first.
	terms := *locator
	for i := 1; i <= degree; i++ {
		terms[i] = g.mul(terms[i], g.power((galoisOrder-(CodedBytes-1))*i))
	}
	for power := CodedBytes - 1; power >= 0; power-- {
		sum := terms[0]
		for i := 1; i <= degree; i++ {
			sum ^= terms[i]
			terms[i] = g.by[i][terms[i]]
		}
		if sum != 0 {
			continue
		}
		found.powers[found.count] = power
		found.count++
		if found.count == degree {
			return true
		}
	}
	return false
}

// mend corrects the bytes at the places found: Forney's formula. It returns how
// many bytes it changed, as an erased one may have been right.
func (r *ReedSolomon) mend(codeword *[CodedBytes]byte, found *faults, locator *polynomial, syndromes *[parityBytes]uint8) int {
	g := r.field
	degree := found.count
	// The evaluator is syndromes·locator modulo x²⁰, of a degree below the
	// locator's.
	var evaluator polynomial
	for i := range degree {
		for j := range i + 1 {
			evaluator[i] ^= g.mul(locator[j], syndromes[i-j])
		}
	}
	changed := 0
	for _, power := range found.powers[:degree] {
		inverse := galoisOrder - power // X⁻¹ = α^inverse
		var value, slope uint8
		for i := range degree {
			value ^= g.mul(evaluator[i], g.power(inverse*i))
		}
		for i := 1; i <= degree; i += 2 {
			slope ^= g.mul(locator[i], g.power(inverse*(i-1)))
		}
		wrong := g.mul(g.power(power), g.div(value, slope))
		if wrong != 0 {
			codeword[CodedBytes-1-power] ^= wrong
			changed++
		}
	}
	return changed
}
