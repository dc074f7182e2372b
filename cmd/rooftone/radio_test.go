package main

import (
	"encoding/binary"
	"io"
	"math/rand/v2"
	"net"
	"strconv"
	"sync/atomic"
	"time"

	"github.com/rogpeppe/go-internal/testscript"
)

// radio is a dongle server that hears nothing but noise: the protocol of the
// server in Debian's rtl-sdr package, a greeting of 12 bytes, then samples one
// way and commands of five bytes the other.
type radio struct {
	tunings  atomic.Int64 // how often it was sent to a frequency
	lifetime int64        // in tunings; 0 has no end
	hangUp   func() error
}

type radioKey struct{}

// startRadio is the script command radio [TUNINGS]: it serves one until the
// script ends, or hangs up for good when it was tuned that often, and sets
// RADIO to the source word for it.
func startRadio(ts *testscript.TestScript, _ bool, args []string) {
	l, err := net.Listen("tcp", "127.0.0.1:0")
	ts.Check(err)
	ts.Defer(func() { l.Close() })
	ts.Setenv("RADIO", "tcp://"+l.Addr().String())
	r := ts.Value(radioKey{}).(*radio)
	r.hangUp = l.Close
	if len(args) > 0 {
		r.lifetime, err = strconv.ParseInt(args[0], 10, 64)
		ts.Check(err)
	}
	go func() {
		for {
			conn, err := l.Accept()
			if err != nil {
				return
			}
			go r.serve(conn)
		}
	}()
}

// listen is a script command: it takes a port, gives it back, and sets DEAD to
// the source word of that port, where now nobody listens.
func listen(ts *testscript.TestScript, _ bool, _ []string) {
	l, err := net.Listen("tcp", "127.0.0.1:0")
	ts.Check(err)
	ts.Setenv("DEAD", "tcp://"+l.Addr().String())
	ts.Check(l.Close())
}

func (r *radio) serve(conn net.Conn) {
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
			switch value := binary.BigEndian.Uint32(c[1:]); c[0] {
			case 0x01:
				if n := r.tunings.Add(1); n == r.lifetime {
					r.hangUp()
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
		if counter == nil {
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
