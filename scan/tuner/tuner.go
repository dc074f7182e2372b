// Package tuner says what a source of samples is. Its sub-packages are the
// sources: a USB dongle, a network dongle and a simulated one.
//
// Samples are complex64 with full scale 1: a complex tone that just reaches
// the converter's rails has |z| = 1 and a power of 0 dBFS.
package tuner

import (
	"context"
	"math"
	"time"
)

// Tuning is what a tuner is asked for.
type Tuning struct {
	CenterHz float64
	RateHz   float64
	GainDB   float64 // NaN: leave the gain as it is
}

// Block is a run of consecutive samples from one tuning.
type Block struct {
	Samples  []complex64
	CenterHz float64   // by the tuner's own clock, whatever its error
	RateHz   float64   // by the tuner's own clock, samples per second
	GainDB   float64   // NaN when unknown
	Start    time.Time // of the first sample; zero when unknown
	Clipped  int       // how many samples have I or Q on a rail
	Lost     bool      // samples are known to be missing just before this block

	// Skipped is how much was left out knowingly just before this block, because who
	// hears it was too slow for all. A Tuner leaves out nothing.
	Skipped time.Duration
}

// Info is what does not change while a source is open.
type Info struct {
	Name     string      // what to call it, such as "usb:00000001" or "sim:harbour"
	Datatype string      // native sample format in SigMF's words, such as "cu8"
	GainsDB  []float64   // the gain steps, ascending; empty when it has none
	Clock    ClockSource // what its frequencies hang on
}

// ClockSource describes the oscillator behind a tuner.
type ClockSource struct {
	ReferenceHz float64 // whose harmonics may show as tones; 0 when unknown
	MaxPPM      float64 // how far off it may be; 0 when unknown
}

// Tuner is a radio that can be sent to a frequency.
//
// A Tuner is used by one goroutine. Every call ends soon after its context
// does.
type Tuner interface {
	Info() Info

	// Tune goes to a tuning and passes over what the radio delivers until it
	// has settled there. What it then really does stands in the next Block.
	Tune(ctx context.Context, to Tuning) error

	// Read fills dst with the samples that follow and returns them as a Block
	// whose Samples share dst's memory. Like io.ReadFull it returns fewer
	// only with an error.
	Read(ctx context.Context, dst []complex64) (Block, error)

	Close() error
}

// Stay is a source's stay at one tuning: what is known before its samples are.
type Stay struct {
	CenterHz float64
	RateHz   float64
	GainDB   float64   // NaN when unknown
	Start    time.Time // zero when unknown
}

// Playlist is a source whose stays were decided beforehand, such as a
// recording. Use it like a sequence of io.Readers: Next, then Read until
// io.EOF, then Next again, until that says io.EOF.
type Playlist interface {
	Info() Info

	// Next moves to the next stay, passing over what is left of this one.
	Next(ctx context.Context) (Stay, error)

	// Read fills dst as Tuner.Read does. At the stay's end it returns what
	// there is, and io.EOF once there is no more.
	Read(ctx context.Context, dst []complex64) (Block, error)

	Close() error
}

// UnknownGain is the GainDB of a source that does not know its gain.
func UnknownGain() float64 { return math.NaN() }

// FromBytes converts unsigned 8-bit I/Q pairs, the byte order of the common
// dongles, to samples and counts those on a rail. It converts
// min(len(dst), len(iq)/2) samples.
func FromBytes(dst []complex64, iq []byte) (n, clipped int) {
	n = min(len(dst), len(iq)/2)
	for i := range dst[:n] {
		a, b := iq[2*i], iq[2*i+1]
		dst[i] = complex(FromByte(a), FromByte(b))
		// 0−1 wraps to 255, so one comparison catches both rails.
		if a-1 >= 254 || b-1 >= 254 {
			clipped++
		}
	}
	return n, clipped
}

// FromByte converts one unsigned 8-bit value, whose middle lies between 127
// and 128, to −1…1.
func FromByte(v byte) float32 { return (float32(v) - 127.5) / 127.5 }

// ToByte is the inverse of FromByte, exact for what FromByte made and limited
// to the rails for all else. NaN becomes 127.
func ToByte(x float32) byte {
	switch v := x*127.5 + 127.5 + 0.5; {
	case v >= 255:
		return 255
	case v >= 0:
		return byte(v)
	case v < 0:
		return 0
	}
	return 127
}
