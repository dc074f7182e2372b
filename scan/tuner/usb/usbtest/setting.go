package usbtest

import "math"

// Setting is what the registers of a dongle amount to, by its own clock.
type Setting struct {
	CenterHz float64 // what lies in the middle of the samples
	RateHz   float64 // samples a second; 0 when it makes none
	GainDB   float64 // on the scale of the gain steps' names
	LOHz     float64 // the tuner's local oscillator
	IFHz     float64 // from where the demodulator takes its samples

	// FilterLowHz and FilterHighHz are the edges of the tuner's filter, from
	// the middle of the samples.
	FilterLowHz, FilterHighHz float64

	FIR [16]int // one half of the demodulator's filter

	Locked     bool // the tuner's loop holds its oscillator
	AutoGain   bool // the tuner sets a stage of its gain by itself
	DigitalAGC bool // the demodulator does
	Inverted   bool // the spectrum is turned round; right for this tuner
	Counter    bool // the test counter comes in place of samples
	BiasTee    bool // the antenna socket is fed
	On         bool // converters and endpoint run

	CorrectionPPM float64 // what the resampler was told of the clock
}

// setting reads the registers.
func (c *chip) setting() Setting {
	d := &c.demod[1]
	s := Setting{
		IFHz:       -float64(signed(uint32(d[0x19])<<16|uint32(d[0x1a])<<8|uint32(d[0x1b]), 22)) * crystalHz / (1 << 22),
		LOHz:       c.tuner.loHz(),
		Locked:     c.tuner.locked(),
		DigitalAGC: c.demod[0][0x19]&0x20 != 0,
		Counter:    c.demod[0][0x19]&0x02 != 0,
		Inverted:   d[0x15]&1 != 0,
		On:         c.plain[regDemodControl]&0x80 != 0 && c.plain[regEndpointControl]&0x10 == 0,
		BiasTee:    c.plain[regGPO]&c.plain[regGPOE]&^c.plain[regGPD]&1 != 0,
		FIR:        c.fir(),

		CorrectionPPM: -float64(signed(uint32(d[0x3e])<<8|uint32(d[0x3f]), 14)) * 1e6 / (1 << 24),
	}
	tenths, auto := c.tuner.gainTenths()
	s.GainDB, s.AutoGain = float64(tenths)/10, auto
	ratio := uint32(d[0x9f])<<24 | uint32(d[0xa0])<<16 | uint32(d[0xa1])<<8 | uint32(d[0xa2])
	ratio &= 0x0ffffffc
	if ratio |= ratio & 0x08000000 << 1; ratio > 0 {
		s.RateHz = crystalHz * (1 << 22) / float64(ratio)
	}
	s.CenterHz = s.LOHz - s.IFHz
	// The oscillator stands above what is heard, so the filter's upper edge is
	// the lower one of what is heard.
	low, high := c.tuner.filter()
	s.FilterLowHz, s.FilterHighHz = s.IFHz-high, s.IFHz-low
	return s
}

// fir unpacks the demodulator's filter: eight values of 8 bits, then eight of 12.
func (c *chip) fir() (taps [16]int) {
	r := c.demod[1][0x1c:0x30]
	for i := range 8 {
		taps[i] = int(int8(r[i]))
	}
	for i := range 4 {
		a, b, d := uint32(r[8+3*i]), uint32(r[9+3*i]), uint32(r[10+3*i])
		taps[8+2*i] = int(signed(a<<4|b>>4, 12))
		taps[9+2*i] = int(signed(b&0x0f<<8|d, 12))
	}
	return taps
}

// signed reads the lowest bits of v as a number in two's complement.
func signed(v uint32, bits int) int32 {
	return int32(v<<(32-bits)) >> (32 - bits)
}

// loseLock is what is heard where the loop does not hold the oscillator: it runs
// free some way off.
func (s Setting) loseLock() Setting {
	s.CenterHz += 11.3e6 + 1e6*math.Sin(s.CenterHz/3e6)
	return s
}
