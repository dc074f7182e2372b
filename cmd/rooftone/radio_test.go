package main

import (
	"context"
	"encoding/binary"
	"io"
	"math/rand/v2"
	"net"
	"strconv"
	"sync/atomic"
	"time"

	"github.com/rogpeppe/go-internal/testscript"

	"rooftone/scan/tuner"
	"rooftone/scan/tuner/sim"
)

// radio is a dongle server that hears noise, or simulated towns: the protocol of the
// server in Debian's rtl-sdr package, a greeting of 12 bytes, then samples one
// way and commands of five bytes the other.
type radio struct {
	tunings  atomic.Int64 // how often it was sent to a frequency
	lifetime int64        // in tunings; 0 has no end
	hangUp   func() error
	antenna  *antenna // what it hears; nil is noise
}

// antenna is what a radio hears: one simulated town until the antenna is moved,
// then another.
type antenna struct {
	towns [2]*sim.Tuner
	at    atomic.Int32 // which
	was   int32
	to    tuner.Tuning
	work  []complex64
}

// order takes a command of the radio's.
func (a *antenna) order(code byte, value uint32) {
	switch code {
	case 0x01:
		a.to.CenterHz = float64(value)
	case 0x02:
		a.to.RateHz = float64(value)
	case 0x04:
		a.to.GainDB = float64(int32(value)) / 10
	default:
		return
	}
	a.tune()
}

func (a *antenna) tune() {
	if a.was = a.at.Load(); a.to.CenterHz > 0 && a.to.RateHz > 0 {
		a.towns[a.was].Tune(context.Background(), a.to) // what it cannot do stays undone, as with a radio
	}
}

// hear fills a chunk with samples.
func (a *antenna) hear(chunk []byte) {
	if a.at.Load() != a.was {
		a.tune()
	}
	if a.work == nil {
		a.work = make([]complex64, len(chunk)/2)
	}
	b, _ := a.towns[a.was].Read(context.Background(), a.work)
	for i, z := range b.Samples {
		chunk[2*i], chunk[2*i+1] = tuner.ToByte(real(z)), tuner.ToByte(imag(z))
	}
}

type radioKey struct{}

// startRadio is the script command radio [TUNINGS]: it serves one until the
// script ends, or hangs up for good when it was tuned that often, and sets
// RADIO to the source word for it.
func startRadio(ts *testscript.TestScript, _ bool, args []string) {
	r := ts.Value(radioKey{}).(*radio)
	if len(args) > 0 {
		var err error
		r.lifetime, err = strconv.ParseInt(args[0], 10, 64)
		ts.Check(err)
	}
	word, err := r.start()
	ts.Check(err)
	ts.Defer(func() { r.hangUp() })
	ts.Setenv("RADIO", word)
}

// start serves until hangUp, and returns the source word.
func (r *radio) start() (word string, err error) {
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		return "", err
	}
	r.hangUp = l.Close
	// A script may start another while this one still serves.
	lifetime, hangUp := r.lifetime, r.hangUp
	go func() {
		for {
			conn, err := l.Accept()
			if err != nil {
				return
			}
			go r.serve(conn, lifetime, hangUp)
		}
	}()
	return "tcp://" + l.Addr().String(), nil
}

// listen is a script command: it takes a port, gives it back, and sets DEAD to
// the source word of that port, where now nobody listens.
func listen(ts *testscript.TestScript, _ bool, _ []string) {
	l, err := net.Listen("tcp", "127.0.0.1:0")
	ts.Check(err)
	ts.Setenv("DEAD", "tcp://"+l.Addr().String())
	ts.Check(l.Close())
}

func (r *radio) serve(conn net.Conn, lifetime int64, hangUp func() error) {
	defer conn.Close()
	greeting := append([]byte("RTL0"), 0, 0, 0, 5, 0, 0, 0, 29) // an R820T with 29 gain steps
	if _, err := conn.Write(greeting); err != nil {
		return
	}
	commands := make(chan [5]byte, 64)
	go func() {
		defer close(commands)
		for {
			var c [5]byte
			if _, err := io.ReadFull(conn, c[:]); err != nil {
				return
			}
			commands <- c
		}
	}()
	noise := make([]byte, 1<<20)
	rng := rand.New(rand.NewPCG(1, 2))
	for i := range noise {
		noise[i] = byte(127.5 + 6*rng.NormFloat64())
	}
	var counter []byte // in place of samples, once it is not nil
	count := byte(0)
	chunk := make([]byte, 24000) // 5 ms at 2.4 MS/s
	tick := time.NewTicker(5 * time.Millisecond)
	defer tick.Stop()
	for {
		select {
		case c, ok := <-commands:
			if !ok {
				return
			}
			value := binary.BigEndian.Uint32(c[1:])
			if r.antenna != nil {
				r.antenna.order(c[0], value)
			}
			switch c[0] {
			case 0x01:
				if n := r.tunings.Add(1); n == lifetime {
					hangUp()
					return
				}
			case 0x07:
				if counter = nil; value != 0 {
					counter = chunk
				}
			}
			if c[0] != 0x07 || counter == nil {
				continue
			}
		case <-tick.C:
		}
		if counter == nil && r.antenna != nil {
			r.antenna.hear(chunk)
		} else if counter == nil {
			at := rng.IntN(len(noise) - len(chunk))
			copy(chunk, noise[at:])
		} else {
			for i := range counter {
				counter[i] = count
				count++
			}
		}
		if _, err := conn.Write(chunk); err != nil {
			return
		}
	}
}
