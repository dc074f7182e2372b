// Package cure predicts what a change between antenna and receiver would do to
// each channel's margin: another antenna, an amplifier at the mast or behind the
// cable, a cable of a kind and length, a splitter, an attenuator, a filter, more
// height. It adds up noise along the line by Friis's formula, foresees overload by
// intercepts, and says where the noise comes from: outside, the line or the
// receiver.
//
// # What is reckoned
//
// All noise is referred to the antenna's terminals, in units of k·290 K·6 MHz. With
// fa for what comes in from outside, F and G for the line's noise factor and gain,
// and Fr for the receiver's noise factor, it is
//
//	N = fa + (F − 1) + (Fr − 1)/G
//
// A passive part has its loss for a noise figure, at 290 K. A change moves the
// signal by what the antenna gains, and N to another N; interference that stands
// under a channel moves with the signal and stays where it was beside it. What of a
// margin echoes took is taken again: the change of the equalised margin is that of
// the equaliser's output over the channel's own shape.
//
// None of fa, Fr and the line's figures is known exactly, and a radio that was not
// calibrated does not tell them. So each is drawn from its range many times, with
// what was measured fixing what it fixes, and what comes out has an interval. The
// draws are always the same ones: the same question has the same answer.
package cure
