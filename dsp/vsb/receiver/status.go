package receiver

import "rooftone/dsp/vsb"

// Status is how reception is. Counts are since New; the rest is of the moment.
type Status struct {
	Locked bool
	Locks  int   // how many times lock was found
	Fields int64 // field syncs passed while locked

	Samples int64 // written

	// MERBeforeDB and MERAfterDB are the modulation error ratio before the
	// equaliser, with all but the strongest path taken for error, and after
	// it. NaN when not locked.
	MERBeforeDB, MERAfterDB float64

	// IdealDB is the MER that an ideal decision-feedback equaliser would have
	// with the channel and the noise that the receiver sees: see
	// vsb.EqualisedSNR. NaN when not locked.
	IdealDB float64

	// CarrierHz is by how much the pilot appears too high, ClockPPM how fast
	// the samples' clock runs compared with the station's.
	CarrierHz, ClockPPM float64

	// LevelDBFS is the power of the transmission, pilot and all paths.
	LevelDBFS float64

	// Rounds is how often the equaliser goes through the symbols now: once where that
	// is enough, up to seven times among echoes nearly as strong as the first path.
	Rounds int

	Packets, Failed int64 // transport packets, and those of them with errors left
	Corrected       int64 // bytes corrected in the others
}

// Tap is a tap of the channel as the equaliser knows it.
type Tap struct {
	DelaySeconds float64    // after the strongest
	Gain         complex128 // relative to the strongest
}

// Channel appends to dst the channel's impulse response, one tap a symbol, as
// seen through the whole channel's bandwidth: a path is a pulse a symbol or two
// wide. Nothing is appended when the receiver is not locked.
func (r *Receiver) Channel(dst []Tap) []Tap {
	if r.state != running {
		return dst
	}
	taps := r.engine.response()
	most := strongest(taps)
	for l, v := range taps {
		dst = append(dst, Tap{float64(l-most) / vsb.SymbolRateHz, complex128(v) / complex128(taps[most])})
	}
	return dst
}

// Symbols appends to before and after the last symbols before and behind the
// equaliser, some two thousand consecutive ones, for a picture. Both are on the scale
// of the symbol levels, without the pilot's DC; real parts are what is sliced.
// Nothing is appended when the receiver is not locked.
func (r *Receiver) Symbols(before, after []complex64) (b, a []complex64) {
	if r.state != running {
		return before, after
	}
	e := r.engine
	taps := e.response()
	main := taps[strongest(taps)]
	power := real(main)*real(main) + imag(main)*imag(main)
	turn := complex(real(main)/power, -imag(main)/power)
	// Where the last block of soft symbols is now.
	first := e.origin - outputDelay - blockSymbols
	for i, soft := range e.soft {
		at := first + i
		if at < e.origin-history {
			continue // gone already
		}
		v := product(product(e.received[at], e.turns[at/runSymbols]), turn)
		before = append(before, v-vsb.PilotLevel)
		after = append(after, complex(soft, e.quadrature[at]))
	}
	return before, after
}

// response returns the channel's impulse response, tapsAhead taps before the one that
// was the strongest at the start.
func (e *engine) response() []complex64 {
	_ = e.ahead.fft.Inverse(e.ahead.work, e.channel)
	taps := e.ahead.sent[:channelTaps]
	for l := range taps {
		v := e.ahead.work[(l-tapsAhead)&binMask]
		taps[l] = complex(real(v)/blockSize, imag(v)/blockSize)
	}
	return taps
}

func strongest(taps []complex64) int {
	most, at := float32(0), 0
	for l, v := range taps {
		if p := real(v)*real(v) + imag(v)*imag(v); p > most {
			most, at = p, l
		}
	}
	return at
}

// before returns the modulation error ratio with a single tap, the strongest, for an
// equaliser.
func (e *engine) before() float64 {
	taps := e.response()
	most := strongest(taps)
	h := taps[most]
	power := float64(real(h)*real(h) + imag(h)*imag(h))
	var others, noise float64
	for l, v := range taps {
		if l != most {
			along := float64(real(h)*real(v) + imag(h)*imag(v))
			others += along * along / power / power
		}
	}
	for _, n := range e.noise {
		noise += float64(n) / blockSize
	}
	return vsb.LevelMeanSquare / (vsb.LevelMeanSquare*others + noise/2/power)
}

// level returns the power of the transmission before the front's filter.
func (e *engine) level() float64 {
	// The filter is the pulse's own, so a flat channel has |H|² of the square of
	// what came in; in the skirts that is not divided out.
	var data, seen, all float64
	for k, h := range e.channel {
		s := float64(e.shape[k])
		all += s
		if s > 0.5 {
			data += float64(real(h)*real(h)+imag(h)*imag(h)) / s
			seen += s
		}
	}
	return data * all / seen / blockSize * vsb.LevelMeanSquare / vsb.DataShare
}
