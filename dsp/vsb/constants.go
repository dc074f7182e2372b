// Package vsb knows the 8-VSB transmission system of ATSC A/53 Part 2: its
// constants, its training sequences, the waveform a transmitter sends and what
// a slice of a channel shows of it.
//
// Frequencies are in hertz. Those inside a channel count from the channel's
// lower edge. Symbol levels are the standard's: data on ±1, ±3, ±5 and ±7,
// syncs on ±5, the pilot's DC not included. Times are in seconds; symbol k has
// the peak of its pulse at k/SymbolRateHz.
//
// # The signal
//
// With symbols s[k], each raised by the pilot's DC, a symbol period T, the pilot
// at fp and a receiver's slice centred on fc, the signal in the slice is
//
//	x(t) = exp(2πi·(fp−fc)·t) · Σ s[k]·g(t−kT),
//
// where g has its peak at 0 and, counted from fp, the root-raised-cosine
// spectrum around the middle of the channel, with the slice's filter on top.
// Its scale gives the whole transmission a power of 1. A path that delays by τ
// makes x(t−τ) of it, times exp(−2πi·fc·τ) when fc is the slice's centre on the
// air.
package vsb

const (
	// ChannelWidthHz is the width of the channel.
	ChannelWidthHz = 6e6

	// SymbolRateHz is the symbol rate, 4.5 MHz/286 × 684 = 10.762237… MHz.
	// A/53 Part 2, 5.1.
	SymbolRateHz = 4.5e6 / 286 * 684

	// SegmentSymbols is the length of a data segment, of which the first
	// SegmentSyncSymbols are the segment sync: +5 −5 −5 +5. A/53 Part 2, 5.3.1.
	SegmentSymbols     = 832
	SegmentSyncSymbols = 4

	// FieldSegments is the length of a data field in segments; the first of
	// them is the field sync. FieldSymbols is the same in symbols. A/53 Part 2,
	// 5.3.2.
	FieldSegments = 313
	FieldSymbols  = FieldSegments * SegmentSymbols

	// SyncLevel is the level of the two-level symbols.
	SyncLevel = 5

	// PilotLevel is the DC that is added to every symbol, syncs included, and
	// becomes the pilot. A/53 Part 2, 5.4.2.
	PilotLevel = 1.25

	// LevelMeanSquare is the mean square of the eight data levels when each is
	// as likely as the others.
	LevelMeanSquare = (1*1 + 3*3 + 5*5 + 7*7) / 4.

	// PilotOffsetHz is where the pilot, which is the suppressed carrier, lies
	// above the lower channel edge: 309.440559 kHz. A/53 Part 2, 5.4.2.
	PilotOffsetHz = (ChannelWidthHz - SymbolRateHz/2) / 2

	// RollOff is the roll-off of the root-raised-cosine response: skirts of
	// 620 kHz on a Nyquist bandwidth of 5.381 MHz. As the standard rounds it,
	// the skirts end 511 Hz outside the channel's edges. A/53 Part 2, 5.4.
	RollOff = 0.1152

	// DataShare and PilotShare are the parts of a transmission's average
	// power that are data and pilot. Their ratio is 11.28 dB.
	DataShare  = LevelMeanSquare / (LevelMeanSquare + PilotLevel*PilotLevel)
	PilotShare = 1 - DataShare
)
