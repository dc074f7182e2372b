// Package recording reads and writes recordings of radio samples.
//
// A Reader is a tuner.Playlist over a SigMF recording (two files or an
// archive), a WAV file with I and Q as its channels, or bare samples. Each
// SigMF capture is a stay with its own centre frequency, gain and time. Files
// of any length are read through a buffer of a few hundred kilobytes, and
// every number in a header is mistrusted: what cannot be true is an error, not
// a panic and not a huge allocation.
//
// A Writer makes a SigMF recording from tuner.Blocks, and a Reader gives them
// back bit for bit. Pack makes one file of its two.
//
// # Scale and rails
//
// Full scale is 1. cu8 follows tuner.FromByte (middle 127.5); other unsigned
// formats likewise; signed integers are divided by 2^(bits−1), so that 0 stays
// 0; 8-bit WAV has its middle at 128, as the RIFF specification says. A sample
// counts as clipped when I or Q has one of the format's two extreme values.
//
// A float may have any scale, and its format has no rails. Both are looked for
// in the values themselves, of the whole recording or of many pieces of a large
// one, so that all its stays keep their levels to each other: values far beyond
// 1, or 60 dB below it, are divided by a power of two; where the largest value
// comes again and again, a converter has cut off what lay beyond. What this
// program wrote is never scaled.
//
// # What is missing
//
// SigMF metadata do not state a recording's length, but captures and
// annotations reach somewhere, and so does a WAV header. Where the samples end
// before that, all that are there are delivered and then a *TruncatedError
// tells what is not.
//
// # Our own SigMF fields
//
// The extension "rooftone" has two fields in the global object:
// rooftone:reference, the frequency in Hz of the oscillator that the radio's
// clock hangs on, and rooftone:radio, an object with what was found of the radio
// itself, as package character's file has it. One that cannot be used is no reason
// not to read the samples. It has two more in captures: rooftone:gain, the gain in dB, where
// capture_details:gain cannot be written, and rooftone:lost, true when an
// unknown number of samples is missing just before the capture.
package recording
