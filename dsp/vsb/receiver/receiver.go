// Package receiver receives 8-VSB: samples of a radio that sees a whole channel go
// in, transport packets come out.
package receiver

import (
	"fmt"
	"math"

	"rooftone/dsp/vsb"
	"rooftone/dsp/vsb/coding"
)

// Packet is a transport packet and what is known of its errors.
type Packet = coding.Packet

// Options say what the samples are and where packets go.
type Options struct {
	// RateHz is the rate of the complex samples, LowestRateHz to HighestRateHz.
	RateHz float64

	// LowerHz is where the channel's lower edge nominally lies, counted from
	// the middle of the samples' band. The whole channel must be in the band.
	LowerHz float64

	// Packet is called for each transport packet, from within Write and Flush.
	// What it points to is the receiver's: copy what is to be kept. nil drops
	// the packets; they are counted all the same.
	Packet func(p *Packet)
}

// The rates that a Receiver works at.
const (
	LowestRateHz  = 6e6
	HighestRateHz = 20e6
)

// Receiver turns samples into transport packets. It is used by one goroutine at a
// time, needs bounded memory, and allocates nothing once it is locked.
type Receiver struct {
	options Options
	status  Status
}

// New returns a receiver.
func New(o Options) (*Receiver, error) {
	const slack = 1e3 // the skirts end 511 Hz outside the edges
	switch {
	case !(o.RateHz >= LowestRateHz && o.RateHz <= HighestRateHz):
		return nil, fmt.Errorf("receiving 8-VSB: a sample rate of %g Hz is not between %g and %g MHz", o.RateHz, LowestRateHz/1e6, HighestRateHz/1e6)
	case !(o.LowerHz >= -o.RateHz/2-slack && o.LowerHz+vsb.ChannelWidthHz <= o.RateHz/2+slack):
		return nil, fmt.Errorf("receiving 8-VSB: the channel from %g to %g Hz is not wholly within ±%g Hz", o.LowerHz, o.LowerHz+vsb.ChannelWidthHz, o.RateHz/2)
	}
	return &Receiver{options: o, status: Status{MERBeforeDB: math.NaN(), MERAfterDB: math.NaN()}}, nil
}

// Write takes the samples that follow the last ones, any number of them.
func (r *Receiver) Write(samples []complex64) error {
	r.status.Samples += int64(len(samples))
	return nil
}

// Gap says that samples were lost: those to come do not follow the last ones. The
// receiver finds out by itself too, but later.
func (r *Receiver) Gap() {}

// Flush works off what is still under way at the end of the samples.
func (r *Receiver) Flush() error { return nil }

// Status returns how reception is.
func (r *Receiver) Status() Status { return r.status }
