package usbtest

import (
	"encoding/binary"
	"errors"
	"unicode/utf16"
)

// libusb's codes (libusb.h, enum libusb_error).
const (
	codeAccess   = -3
	codeNoDevice = -4
	codeNotFound = -5
	codeBusy     = -6
	codeTimeout  = -7
	codePipe     = -9
)

// What the blocks of an RTL2832U are called in a control transfer's index.
const (
	blockDemod = 0
	blockUSB   = 1
	blockSys   = 2
	blockI2C   = 6
)

// Registers of the blocks USB and SYS, and the addresses on the I2C bus.
const (
	regEndpointControl = 0x2148
	regDemodControl    = 0x3000
	regGPO             = 0x3001 // levels of the pins
	regGPOE            = 0x3003 // which are outputs
	regGPD             = 0x3004 // which are not driven

	addrTuner  = 0x34
	addrEEPROM = 0xa0
)

// chip is an RTL2832U with its EEPROM and its tuner.
type chip struct {
	demod  [16][256]byte // by page
	plain  map[uint16]byte
	tuner  r820t
	absent bool // there is no tuner
	eeprom [256]byte
	at     byte // where the EEPROM is read

	emptied bool // its FIFO was, by the last transfer
}

func newChip(maker, product, serial string) (*chip, error) {
	c := &chip{plain: map[uint16]byte{regEndpointControl: 0x10}} // halted, as it comes
	copy(c.eeprom[:], []byte{0x28, 0x32, 0xda, 0x0b, 0x38, 0x28, 0xa5, 0x16, 0x02})
	at := 9
	for _, s := range []string{maker, product, serial} {
		u := utf16.Encode([]rune(s))
		if at+2+2*len(u) > len(c.eeprom) {
			return nil, errors.New("the strings do not fit into the EEPROM")
		}
		c.eeprom[at], c.eeprom[at+1] = byte(2+2*len(u)), 3
		for i, v := range u {
			binary.LittleEndian.PutUint16(c.eeprom[at+2+2*i:], v)
		}
		at += 2 + 2*len(u)
	}
	return c, nil
}

// text returns one of the strings in the EEPROM, of which 1 is the first.
func (c *chip) text(n int) string {
	at := 9
	for ; n > 1; n-- {
		at += int(c.eeprom[at])
	}
	u := make([]uint16, max(int(c.eeprom[at])-2, 0)/2)
	for i := range u {
		u[i] = binary.LittleEndian.Uint16(c.eeprom[at+2+2*i:])
	}
	return string(utf16.Decode(u))
}

// setup is what a control transfer begins with.
type setup struct {
	kind, request byte
	value, index  uint16
	length        uint16
}

// control carries a control transfer out. It returns how many bytes went out or
// libusb's code, and what came in.
func (c *chip) control(s setup, out []byte) (code int, in []byte) {
	read := s.kind&0x80 != 0
	if s.kind&0x7f != 0x40 || s.request != 0 || !read && (s.index&0x10 == 0 || len(out) == 0) {
		return codePipe, nil
	}
	switch s.index >> 8 {
	case blockDemod:
		page := &c.demod[s.index&0x0f]
		if s.value&0xff != 0x20 {
			return codePipe, nil
		}
		return cells(read, s.length, out, func(i int) *byte { return &page[byte(int(s.value>>8)+i)] })
	case blockUSB, blockSys:
		for i, v := range out {
			c.plain[s.value+uint16(i)] = v
		}
		c.emptied = !read && s.value == regEndpointControl && len(out) > 1 && out[1]&0x02 != 0
		return cells(read, s.length, out, func(i int) *byte { v := c.plain[s.value+uint16(i)]; return &v })
	case blockI2C:
		return c.i2c(s, read, out)
	}
	return codePipe, nil
}

// cells reads or writes registers that lie in a row.
func cells(read bool, n uint16, out []byte, at func(i int) *byte) (code int, in []byte) {
	if !read {
		for i, v := range out {
			*at(i) = v
		}
		return len(out), nil
	}
	in = make([]byte, n)
	for i := range in {
		in[i] = *at(i)
	}
	return int(n), in
}

// i2c carries a transfer on to the I2C bus. The tuner hears it only through the
// demodulator's repeater.
func (c *chip) i2c(s setup, read bool, out []byte) (code int, in []byte) {
	switch {
	case s.value == addrEEPROM && read:
		in = make([]byte, s.length)
		for i := range in {
			in[i] = c.eeprom[c.at]
			c.at++
		}
		return len(in), in
	case s.value == addrEEPROM:
		c.at = out[0]
		for _, v := range out[1:] {
			c.eeprom[c.at] = v
			c.at++
		}
		return len(out), nil
	case s.value != addrTuner, c.absent, c.demod[1][0x01]&0x08 == 0:
		return codePipe, nil // nobody acknowledges
	case read:
		return int(s.length), c.tuner.read(int(s.length))
	}
	c.tuner.write(out)
	return len(out), nil
}
