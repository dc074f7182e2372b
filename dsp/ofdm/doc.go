// Package ofdm knows what is needed of ATSC 3.0 to recognise it: the bootstrap
// of ATSC A/321 that begins every frame, a search for it in a slice of a
// channel, and a waveform with a body of the right bandwidth after it.
//
// Frequencies are in hertz. Those inside a channel count from the channel's
// lower edge. Times are in seconds.
//
// # The bootstrap
//
// It is four symbols of 500 µs on 1498 carriers 3 kHz apart, 4.5 MHz in the
// middle of the channel whatever the body is like. The carriers of the first
// symbol are all known, those of the others but for a cyclic shift in time that
// carries what they signal. The first symbol is parts C, A and B of 520, 2048
// and 504 samples at 6.144 MHz: A is one turn of the carriers, C the end of it,
// so that C and A are 418 µs of the same carriers without a break.
//
// # The search
//
// A slice of bandwidth W shows M = W·T independent values of these T = 418 µs:
// 879 in the middle of a channel for a dongle's 2.1 MHz, 543 at its edges. The
// search looks for them alone. B is moved by a carrier and would add 0.8 dB; the
// other symbols would have to be added without their phase, since echoes and
// what they signal are unknown. Neither is worth having where the first symbol
// already stands far above all that noise does in a stay.
//
// The stay is cut into blocks, clipped where impulses stand out, and whitened by
// its own average spectrum, smoothed over 17 bins: lines, the middle of a slice
// and a neighbour's skirt then weigh little. With w the whitened samples under a
// place of the reference and r the whitened reference, the statistic is the
// share of their power that the reference explains,
//
//	ρ = |Σ w·r*|² / (Σ|w|² · Σ|r|²).
//
// Noise of whatever level, and of whatever course of its level outside these
// 418 µs, gives it the distribution of one of M shares, P(ρ > x) = (1−x)^(M−1).
// That probability times the number of places and frequencies tried bounds the
// probability of a false alarm. Places are tried at the sample rate or what is
// left of it when more than the bootstrap's band is seen, frequencies closer
// than 0.75/T = 1.8 kHz, the lobe being 1/T = 2.4 kHz wide on either side.
//
// A bootstrap as strong as the noise in 6 MHz has ρ = 0.57, for its 4.5 MHz are
// denser than the body. Between the places tried up to 2.9 dB are lost, between
// the frequencies 2 dB, which leaves 0.18 at worst. For FoundBelow among the 0.7
// million places of 300 ms at 2.4 MS/s ρ must be above 0.031, among as many at 48
// frequencies above 0.035, and above 0.049 and 0.056 at a channel's edges, where
// less is lost between the places. So at C/N 0 dB some 7 dB are left at worst,
// and 12 dB mostly. Echoes divide ρ among them, and the strongest counts.
//
// Of 100 simulated stays of 300 ms with 8 bits, a third in each slice of a
// channel, all are found from −12 dB up and 64 at −14 dB; with echoes of −1 and
// −5 dB all from −10 dB up; with an equal echo in opposite phase all from −8 dB
// up. The test's -trials draws these again.
//
// # Where it ends
//
// Only major version 0 with minor version 0 is searched for, the only one in
// use: each other one has a sequence of its own. What the symbols signal is not
// read. A frame longer than the stay may show no bootstrap, see Search. The
// phase of the reference is taken as constant over 418 µs: Doppler shifts of
// some 100 Hz do no harm.
package ofdm
