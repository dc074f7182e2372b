package standin

import "sync"

// Command is something that a Dongle can be told.
type Command int

// The commands.
const (
	Center  Command = iota // Hz
	Rate                   // Hz; the samples only become more, not different
	Gain                   // tenths of a dB
	Counter                // 1: on, 0: off
)

// Dongle is a simulated dongle whose time is the samples it makes: commands
// are carried out one after the other and take a fixed number of samples
// each. Its samples are those of the shared library.
type Dongle struct {
	NoCounter bool // it does not know the counter
	Settle    int  // samples until the oscillator has settled; 0: 2400
	// RateSettle is the same for the first centre after a new sample rate.
	RateSettle int

	mu      sync.Mutex
	waiting []order
	busy    int // samples until the first of them is done; 0 when it has not begun

	center   uint32
	moving   bool
	settling int
	rateHz   uint32
	rated    bool // the rate is another since the last centre
	counting bool
	number   byte
	count    byte
	told     map[Command]uint32
}

type order struct {
	what Command
	arg  uint32
}

// Tell adds a command to those that wait.
func (d *Dongle) Tell(what Command, arg uint32) {
	d.mu.Lock()
	defer d.mu.Unlock()
	if d.told == nil {
		d.told = make(map[Command]uint32)
	}
	d.told[what] = arg
	d.waiting = append(d.waiting, order{what, arg})
}

// Told returns the newest argument of a command.
func (d *Dongle) Told(what Command) (arg uint32, ever bool) {
	d.mu.Lock()
	defer d.mu.Unlock()
	arg, ever = d.told[what]
	return arg, ever
}

// How many samples a command takes: 0.3 ms, and 4 ms for a new frequency, at
// 2.4 MS/s.
func (o order) samples() int {
	if o.what == Center {
		return 9600
	}
	return 720
}

// Fill makes the next len(p)/2 samples.
func (d *Dongle) Fill(p []byte) {
	d.mu.Lock()
	defer d.mu.Unlock()
	for i := 0; i+1 < len(p); i += 2 {
		d.step()
		p[i], p[i+1] = d.sample()
	}
}

func (d *Dongle) step() {
	d.settling = max(0, d.settling-1)
	if len(d.waiting) == 0 {
		return
	}
	now := d.waiting[0]
	if d.busy == 0 {
		d.busy = now.samples()
		d.moving = now.what == Center
	}
	if d.busy--; d.busy > 0 {
		return
	}
	d.waiting = d.waiting[1:]
	switch now.what {
	case Center:
		d.center, d.moving = now.arg, false
		if d.settling = d.Settle; d.Settle == 0 {
			d.settling = 2400
		}
		if d.rated {
			d.settling, d.rated = max(d.settling, d.RateSettle), false
		}
	case Rate:
		d.rated = d.rated || now.arg != d.rateHz
		d.rateHz = now.arg
	case Counter:
		d.counting = now.arg != 0 && !d.NoCounter
	}
}

func (d *Dongle) sample() (i, q byte) {
	d.number++
	switch {
	case d.counting:
		d.count += 2
		return d.count, d.count + 1
	case d.moving:
		i = 0
	case d.settling > 0:
		i = 1
	default:
		i = Sample(float64(d.center))
	}
	return i, Step * d.number
}
