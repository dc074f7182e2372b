package usbtest

import "math/bits"

// crystalHz is the crystal of the dongle, whose clock the R820T shares.
const crystalHz = 28.8e6

// r820t is the tuner chip: 32 registers, of which the first five only tell.
type r820t struct {
	reg [32]byte

	// loses, when not nil, says at which frequencies the loop does not lock.
	loses func(loHz float64) bool
}

// write takes what comes by I2C: the first register's number and what goes into
// it and the ones that follow.
func (t *r820t) write(p []byte) {
	for i, v := range p[1:] {
		if at := int(p[0]) + i; at >= 5 && at < len(t.reg) {
			t.reg[at] = v
		}
	}
}

// read is what it answers by I2C: always from register 0, the lowest bit first.
func (t *r820t) read(n int) []byte {
	t.reg[0] = 0x96
	t.reg[2] = 0x1c // the oscillator's band
	if t.locked() {
		t.reg[2] |= 0x40
	}
	t.reg[3] = t.reg[7]&0x0f<<4 | t.reg[5]&0x0f // gain indices in use
	t.reg[4] = 0x20 | 0x08                      // fine tuning; code of the filter's calibration
	out := make([]byte, n)
	for i := range out {
		out[i] = bits.Reverse8(t.reg[i%len(t.reg)])
	}
	return out
}

// divider is by what the voltage-controlled oscillator is divided.
func (t *r820t) divider() float64 { return float64(int(2) << (t.reg[0x10] >> 5)) }

// vcoHz is where the loop holds the oscillator: at a whole number of twice the
// crystal and 65536ths of it, which the modulator adds unless it is off.
func (t *r820t) vcoHz() float64 {
	whole := 4*int(t.reg[0x14]&0x3f) + int(t.reg[0x14]>>6) + 13
	v := float64(whole)
	if t.reg[0x12]&0x08 == 0 {
		v += float64(int(t.reg[0x16])<<8|int(t.reg[0x15])) / 65536
	}
	return 2 * crystalHz * v
}

// loHz is the local oscillator that the registers ask for.
func (t *r820t) loHz() float64 { return t.vcoHz() / t.divider() }

// The oscillator's range.
const lowestVCO, highestVCO = 1.75e9, 3.60e9

func (t *r820t) locked() bool {
	if v := t.vcoHz(); v < lowestVCO || v > highestVCO {
		return false
	}
	return t.loses == nil || !t.loses(t.loHz())
}

// Gains by index, in tenths of a dB, as measured at 928 MHz and published by
// librtlsdr's authors: sums of their steps.
var (
	lnaTenths   = [16]int{0, 9, 22, 62, 100, 113, 144, 166, 192, 223, 249, 263, 282, 287, 322, 335}
	mixerTenths = [16]int{0, 5, 15, 25, 44, 53, 63, 88, 105, 115, 123, 139, 152, 158, 161, 153}
	vgaTenths   = [16]int{-47, -21, 5, 35, 77, 112, 136, 149, 163, 195, 231, 265, 300, 337, 372, 408}
)

// usualVGA is the index that the gain steps' names go by.
const usualVGA = 8

// gainTenths is the gain, on the scale of the gain steps' names. Where a stage
// sets itself it is taken to stand at its index 12.
func (t *r820t) gainTenths() (tenths int, auto bool) {
	lna, mixer := t.reg[5]&0x0f, t.reg[7]&0x0f
	if t.reg[5]&0x10 == 0 {
		lna, auto = 12, true
	}
	if t.reg[7]&0x10 != 0 {
		mixer, auto = 12, true
	}
	vga := vgaTenths[t.reg[0x0c]&0x0f] - vgaTenths[usualVGA]
	return lnaTenths[lna] + mixerTenths[mixer] + vga, auto
}

// Lower edges of the narrow IF filter, in kHz below 2.3 MHz, by the low nibble of
// register 11 from 6 on.
var lowPassKHz = [16]float64{6: 350, 450, 550, 700, 900, 1200, 1450, 1550, 1600, 1700}

// filter returns the edges of the intermediate-frequency filter, in hertz.
func (t *r820t) filter() (low, high float64) {
	r := t.reg[0x0b]
	if r&0x80 == 0 { // the wide ones, for whole channels
		switch r & 0x60 {
		case 0x60:
			return 0.57e6, 6.57e6
		case 0x20:
			return 1.07e6, 8.07e6
		}
		return 0.57e6, 8.57e6
	}
	high = 2.3e6
	if r&0x20 == 0 {
		high += 0.38e6
	}
	if r&0x40 == 0 {
		high += 0.35e6
	}
	return 2.3e6 - 1e3*max(lowPassKHz[r&0x0f], 350), high
}
