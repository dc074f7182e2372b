package ofdm

import (
	"fmt"
	"math"

	"rooftone/dsp/psd"
)

// The body of a frame, as A/322 has it for a channel of 6 MHz: transforms of
// 8192 at 0.384 MHz × 18, with all the carriers that they may have and a guard
// interval of 1024.
const (
	// ChannelWidthHz is the width of the channel. The middle carriers of the
	// bootstrap and of the body lie in its middle.
	ChannelWidthHz = 6e6

	// BodyRateHz is the sample rate of the body.
	BodyRateHz = 6.912e6

	// BodySymbolSeconds is the length of a symbol of the body.
	BodySymbolSeconds = float64(bodyLength+bodyGuard) / BodyRateHz

	bodyLength   = 8192
	bodyGuard    = 1024
	bodySymbol   = bodyLength + bodyGuard
	bodyCarriers = 6913
	bodySpacing  = BodyRateHz / bodyLength

	// Lengths of the bootstrap at the body's rate, 9/8 of its own.
	bootLength = 4 * bootSymbol
	bootSymbol = bootA + bootB + bootC
	bootA      = partA * 9 / 8
	bootB      = partB * 9 / 8
	bootC      = partC * 9 / 8
)

// The lengths that a frame may have, in symbols of the body: from 50 ms to 5 s.
const (
	leastSymbols = 36
	mostSymbols  = 3748
)

// Waveform is one station's transmission, known for all time: frames that begin
// with a bootstrap, the first of them at time 0. The bootstrap and the body
// have the same mean power. Data and signalling are random, the body's carriers
// all 16-QAM without pilots. The same seed is the same station. It may be used
// by several goroutines.
type Waveform struct {
	seed    uint64
	symbols int64
	boot    []complex64
}

// NewWaveform returns the waveform with the given seed whose frames have so
// many symbols of the body, each BodySymbolSeconds long: 36 make a frame of
// 50 ms, 186 one of 250 ms. It is an error when the frame is shorter than 50 ms
// or longer than 5 s, which A/322 does not allow.
func NewWaveform(seed uint64, symbols int) (*Waveform, error) {
	if symbols < leastSymbols || symbols > mostSymbols {
		return nil, fmt.Errorf("making an ATSC 3.0 waveform: %d symbols in a frame are not between %d and %d", symbols, leastSymbols, mostSymbols)
	}
	w := &Waveform{seed: mix(seed), symbols: int64(symbols)}
	var err error
	if w.boot, err = bootstrap(w.seed); err != nil {
		return nil, fmt.Errorf("making an ATSC 3.0 waveform: %w", err)
	}
	return w, nil
}

// FrameSeconds returns the length of a frame: the bootstrap's 2 ms and the body.
func (w *Waveform) FrameSeconds() float64 { return float64(w.frameLength()) / BodyRateHz }

func (w *Waveform) frameLength() int64 { return bootLength + w.symbols*bodySymbol }

// bootstrap returns the bootstrap at the body's rate. The symbols after the
// first are shifted by random amounts, which stand for what they signal.
//
// That part B is a carrier higher in the first symbol and a carrier lower in
// the others, and that the last symbol is inverted to say that it is the last,
// is from memory of A/321. The search relies on neither.
func bootstrap(seed uint64) ([]complex64, error) {
	const perTurn = 1 / float64(bootA)
	out := make([]complex64, 0, bootLength)
	for n := range BootstrapSymbols {
		a, err := partSamples(n)
		if err != nil {
			return nil, err
		}
		amplitude := complex(1/math.Sqrt(activeCarriers), 0)
		shift := 0
		if n > 0 {
			shift = int(mix(seed+uint64(n)) % bootA)
		}
		if n == BootstrapSymbols-1 {
			amplitude = -amplitude
		}
		at := func(m int) complex128 { return amplitude * a[(m+shift+bootA)%bootA] }
		moved := func(m int, carrier, from float64) complex128 {
			return at(m) * turn(carrier*perTurn*(float64(m)-from))
		}
		if n == 0 {
			for m := -bootC; m < bootA; m++ {
				out = append(out, complex64(at(m)))
			}
			for m := bootA - bootB; m < bootA; m++ {
				out = append(out, complex64(moved(m, 1, -bootB)))
			}
			continue
		}
		for m := -bootC; m < -bootC+bootB; m++ {
			out = append(out, complex64(moved(m, -1, -bootC)))
		}
		for m := -bootC; m < bootA; m++ {
			out = append(out, complex64(at(m)))
		}
	}
	return out, nil
}

// partSamples returns part A of a bootstrap symbol at the body's rate: the sum
// of its carriers. A transform of 2304 is made of nine of 256.
func partSamples(symbol int) ([]complex128, error) {
	const parts, short = 9, bootA / 9
	plan, err := psd.NewFFT(short)
	if err != nil {
		return nil, err
	}
	s := carriers(symbol)
	out := make([]complex128, bootA)
	buf := make([]complex64, short)
	for part := range parts {
		clear(buf)
		for i, v := range s {
			// Carrier k is parts·a + part.
			if k := (i - outermost + bootA) % bootA; k%parts == part {
				buf[k/parts] = complex64(v)
			}
		}
		if err := plan.Inverse(buf, buf); err != nil {
			return nil, err
		}
		for n := range out {
			out[n] += complex128(buf[n%short]) * turn(float64(part*n)/bootA)
		}
	}
	return out, nil
}

// modulator makes the samples of waveforms at the body's rate. It holds working
// memory: use it from one goroutine at a time.
type modulator struct {
	plan   *psd.FFT
	symbol []complex64
}

func newModulator() (*modulator, error) {
	plan, err := psd.NewFFT(bodyLength)
	if err != nil {
		return nil, err
	}
	return &modulator{plan: plan, symbol: make([]complex64, bodyLength)}, nil
}

// samples fills dst with the samples of w from index first on.
func (m *modulator) samples(dst []complex64, w *Waveform, first int64) error {
	length := w.frameLength()
	for len(dst) > 0 {
		frame := floorDiv(first, length)
		at := first - frame*length
		var n int
		if at < bootLength {
			n = copy(dst, w.boot[at:])
		} else {
			at -= bootLength
			index := at / bodySymbol
			if err := m.body(w, frame*w.symbols+index); err != nil {
				return err
			}
			if at -= index * bodySymbol; at < bodyGuard {
				n = copy(dst, m.symbol[bodyLength-bodyGuard+at:])
			} else {
				n = copy(dst, m.symbol[at-bodyGuard:])
			}
		}
		dst = dst[n:]
		first += int64(n)
	}
	return nil
}

// body makes the symbol of the body with the given index.
func (m *modulator) body(w *Waveform, index int64) error {
	const perWord = 16
	level := [4]float32{-3, -1, 1, 3}
	for i := range level {
		level[i] *= float32(1 / math.Sqrt(10*bodyCarriers))
	}
	clear(m.symbol)
	r := mix(w.seed + uint64(index)*golden)
	var v uint64
	for i := range bodyCarriers {
		if i%perWord == 0 {
			r += golden
			v = mix(r)
		}
		k := (i - bodyCarriers/2) & (bodyLength - 1)
		m.symbol[k] = complex(level[v&3], level[v>>2&3])
		v >>= 4
	}
	return m.plan.Inverse(m.symbol, m.symbol)
}

const golden = 0x9e3779b97f4a7c15

// mix is a bijection of 64-bit words in which every bit of x moves every bit of
// the result.
func mix(x uint64) uint64 {
	x = (x ^ x>>30) * 0xbf58476d1ce4e5b9
	x = (x ^ x>>27) * 0x94d049bb133111eb
	return x ^ x>>31
}

func floorDiv(a, b int64) int64 {
	q := a / b
	if a%b < 0 {
		q--
	}
	return q
}
