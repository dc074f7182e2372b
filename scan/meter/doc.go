// Package meter follows the decode margin of a few channels while an antenna is
// moved.
//
// # How it listens
//
// A careful visit comes first (scan.SweepTuner on the channels and some beside
// them). It learns what a short look cannot: the noise floor at the gain in
// use, the radio's clock and pass band, the gain that each channel bears. Then
// the channels are visited in turn, slice by slice, for StaySeconds each, at
// that fixed gain; every stay makes an Update. A channel that starts to touch
// the rails, or that falls far below them at a lowered gain, is visited
// carefully again.
//
// # What is estimated
//
// From the latest stay of each of the channel's slices a spectrum is joined,
// with the pass band divided out. With N the noise density held from the
// careful visit it gives
//
//	r₁ = P/(N·6 MHz) − 1, the C/N by power,
//
// and, above a C/N of about −6 dB, what an ideal equaliser makes of the
// spectrum's shape (vsb.EqualisedSNR). The pilot gives a second C/N,
//
//	r₂ = A/(share·N·6 MHz),
//
// A being the pilot's power, averaged with a time constant of 80 ms. The two
// are joined by their variances, as powers and not as decibels, so that
// nothing jumps where one drowns:
//
//	var r₁ = (1+r)²·(1.5·step/(6 MHz·averages) + δ²)
//	var r₂ = r²·(σ² + stat² + δ²)
//
// with δ the relative uncertainty of N (1 % or so), σ what echoes commonly do
// to a pilot (2 dB) and stat² = 2·N/(A·T) + … of the tone itself. Far above
// the decode point r₁ is everything: 75 ms of a channel hold 150 000
// independent values, which scatter by 0.01 dB; what stays uncertain is common
// to all updates, N above all, and moves the reading's level but not its
// changes. Below a C/N of some −12 dB the pilot takes over; one stay shows it
// down to about −25 dB.
//
// The field-sync training is fitted to a stay of each channel a few times a
// second. It proves that the channel is 8-VSB, gives its MER, and tells what
// stands under the signal besides noise: where the error that it leaves,
// averaged over some fields, is clearly above N, or clearly below, that takes
// N's place in that slice. Below a C/N of -8 dB a slice is listened to for eight
// stays in a row every two seconds, and their fields are fitted together, which
// finds the training at -14 dB and often at -17.
//
// N is refreshed: every ten seconds a stay goes to vacant channels that were
// visited carefully, and N follows the least that any of them changed, slowly
// and by no more than 3 dB: an antenna that is turned may bring a station to a
// channel that was vacant, but noise rises everywhere.
//
// # How fast
//
// One channel of three slices at 2.4 MS/s: a stay and its settling take some
// 30 ms, and the reading has followed a step wholly after four. With several
// channels the round is as much longer as there are more of them.
//
// # What else it does
//
// Visit lends the radio to a careful visit between two stays, and the meter goes
// on where it was. Play follows a recording in the same way as Run does a radio.
package meter
