package usbtest

import (
	"net"
	"sync"
	"time"
)

// Dongle is what a dongle is. The zero value hears silence.
type Dongle struct {
	Maker, Product, Serial string // "" has a usual one

	Air Air // what it hears; nil is silence

	// Pace is how many times faster than at their rate samples may come; 0: once.
	Pace float64

	// Faults are those it has from the start.
	Faults Faults
}

// Air makes samples.
type Air interface {
	// Hear fills dst with the samples that a setting gives. So much time has gone by
	// unheard since the last call.
	Hear(s Setting, idle time.Duration, dst []complex64) error
}

// Faults are what can be wrong with a dongle. Codes are libusb's, 0 none.
type Faults struct {
	OpenCode     int  // what opening it comes to
	ClaimCode    int  // what claiming its interface comes to
	KernelDriver bool // a kernel driver has it
	KernelStays  bool // and does not let go
	NoTuner      bool // the chip answers, but no tuner does
	Mute         bool // control transfers are not answered
	ControlCode  int  // what control transfers come to

	// NoLock, when not nil, says at which frequencies of its oscillator the
	// tuner's loop does not lock.
	NoLock func(loHz float64) bool

	// UnplugAfterControls and UnplugAfterBytes unplug it after so many control
	// transfers, or bytes of samples; 0 never.
	UnplugAfterControls int
	UnplugAfterBytes    int64
}

// Device is a dongle that is, or was, plugged in.
type Device struct {
	Dongle
	bus  *Bus
	plug uint32

	mu       sync.Mutex
	chip     *chip
	fault    Faults
	claimed  bool
	gone     chan struct{} // closed when it is unplugged
	left     bool
	controls int   // control transfers so far
	bytes    int64 // of samples so far
	now      Setting
	segments []segment // of time that commands took, not yet streamed
	streams  []net.Conn
	events   []event
	halted   bool // its endpoint is, until the FIFO is emptied
}

func newDevice(dongle Dongle) (*Device, error) {
	fill := func(s *string, usual string) {
		if *s == "" {
			*s = usual
		}
	}
	fill(&dongle.Maker, "Harbour Works")
	fill(&dongle.Product, "Simulated dongle")
	fill(&dongle.Serial, "00000001")
	c, err := newChip(dongle.Maker, dongle.Product, dongle.Serial)
	if err != nil {
		return nil, err
	}
	d := &Device{Dongle: dongle, chip: c, gone: make(chan struct{})}
	d.setFaults(dongle.Faults)
	d.now = c.setting()
	return d, nil
}

func (d *Device) setFaults(f Faults) {
	d.fault = f
	d.chip.absent = f.NoTuner
	d.chip.tuner.loses = f.NoLock
}

// Fault changes what is wrong with it.
func (d *Device) Fault(f Faults) {
	d.mu.Lock()
	defer d.mu.Unlock()
	d.setFaults(f)
}

func (d *Device) faults() Faults {
	d.mu.Lock()
	defer d.mu.Unlock()
	return d.fault
}

// Setting returns what its registers amount to now.
func (d *Device) Setting() Setting {
	d.mu.Lock()
	defer d.mu.Unlock()
	return d.chip.setting()
}

// Streamed returns how many bytes of samples it has sent.
func (d *Device) Streamed() int64 {
	d.mu.Lock()
	defer d.mu.Unlock()
	return d.bytes
}

// Controls returns how many control transfers it has had.
func (d *Device) Controls() int {
	d.mu.Lock()
	defer d.mu.Unlock()
	return d.controls
}

// Gone is closed when it is unplugged.
func (d *Device) Gone() <-chan struct{} { return d.gone }

// leave is being unplugged.
func (d *Device) leave() {
	d.mu.Lock()
	defer d.mu.Unlock()
	if d.left {
		return
	}
	d.left = true
	close(d.gone)
	for _, c := range d.streams {
		c.Close()
	}
}

func (d *Device) claim() int {
	d.mu.Lock()
	defer d.mu.Unlock()
	switch {
	case d.left:
		return codeNoDevice
	case d.fault.ClaimCode != 0:
		return d.fault.ClaimCode
	case d.fault.KernelDriver, d.claimed:
		return codeBusy
	}
	d.claimed = true
	return 0
}

func (d *Device) unclaim() {
	d.mu.Lock()
	defer d.mu.Unlock()
	d.claimed = false
}

func (d *Device) kernel(op uint32) int {
	d.mu.Lock()
	defer d.mu.Unlock()
	switch {
	case d.left:
		return codeNoDevice
	case op == opAttach:
		d.fault.KernelDriver = true
		return 0
	case op == opKernel && d.fault.KernelDriver:
		return 1
	case op == opKernel:
		return 0
	case !d.fault.KernelDriver:
		return codeNotFound
	case d.fault.KernelStays:
		return codeBusy
	}
	d.fault.KernelDriver = false
	return 0
}

func (d *Device) text(index int) (code int, payload []byte) {
	d.mu.Lock()
	defer d.mu.Unlock()
	switch {
	case d.left:
		return codeNoDevice, nil
	case index < 1 || index > 3:
		return codePipe, nil
	}
	s := d.chip.text(index)
	return len(s), []byte(s)
}

// control carries a control transfer out, in the device's time.
func (d *Device) control(s setup, out []byte, timeoutMS uint32) (code int, in []byte) {
	d.mu.Lock()
	d.controls++
	unplug := d.fault.UnplugAfterControls > 0 && d.controls > d.fault.UnplugAfterControls
	mute, refuse, left := d.fault.Mute, d.fault.ControlCode, d.left
	d.mu.Unlock()
	switch {
	case unplug:
		d.bus.Unplug(d)
		return codeNoDevice, nil
	case left:
		return codeNoDevice, nil
	case mute:
		select {
		case <-time.After(time.Duration(timeoutMS) * time.Millisecond):
			return codeTimeout, nil
		case <-d.gone:
			return codeNoDevice, nil
		}
	case refuse != 0:
		return refuse, nil
	}
	d.mu.Lock()
	defer d.mu.Unlock()
	d.pass(controlTime)
	code, in = d.chip.control(s, out)
	if d.chip.emptied {
		d.halted, d.chip.emptied = false, false
	}
	d.now = d.chip.setting()
	return code, in
}
