package network

import (
	"context"
	"encoding/binary"
	"errors"
	"fmt"
	"io"
	"net"
	"net/netip"
	"strconv"
	"strings"
	"syscall"
	"time"
	"unicode"

	"rooftone/scan/tuner"
	"rooftone/scan/tuner/internal/dongle"
)

// The dongle server's commands.
const (
	cmdCenter         = 0x01 // Hz
	cmdRate           = 0x02 // Hz
	cmdGainMode       = 0x03 // 1: by hand
	cmdGain           = 0x04 // tenths of a dB
	cmdPPM            = 0x05
	cmdCounter        = 0x07 // the RTL2832's test mode
	cmdAGC            = 0x08 // the RTL2832's own
	cmdDirectSampling = 0x09
	cmdOffsetTuning   = 0x0a
	cmdBiasTee        = 0x0e
)

// defaultPort is where the server listens when it is not told otherwise.
const defaultPort = "1234"

// ringBytes holds 0.9 s at 2.4 MS/s.
const ringBytes = 4 << 20

// greeting is what the server says first.
type greeting struct {
	chip  dongle.Chip
	gains uint32 // how many steps
}

const greetingBytes = 12

// steps returns the gain steps, in tenths of a dB. The greeting only has their
// number; the values are those of librtlsdr.
func (g greeting) steps() []int {
	if g.gains == 0 {
		return nil
	}
	return g.chip.Gains()
}

// parseGreeting reads a greeting of greetingBytes.
func parseGreeting(b []byte) (greeting, error) {
	if len(b) < greetingBytes || string(b[:4]) != "RTL0" {
		return greeting{}, fmt.Errorf("it greets with %.40q", b)
	}
	return greeting{
		chip:  dongle.Chip(binary.BigEndian.Uint32(b[4:])),
		gains: binary.BigEndian.Uint32(b[8:]),
	}, nil
}

// parseAddr completes "HOST", "HOST:PORT", "[IPV6]:PORT" or any of them after
// "tcp://" to what net.Dial takes.
func parseAddr(addr string) (string, error) {
	s := strings.TrimSuffix(strings.TrimPrefix(addr, "tcp://"), "/")
	host, port, err := net.SplitHostPort(s)
	if err != nil {
		// No port, then. A bare IPv6 address has colons too.
		bare := strings.TrimSuffix(strings.TrimPrefix(s, "["), "]")
		if _, e := netip.ParseAddr(bare); e == nil || !strings.Contains(bare, ":") {
			host, port, err = bare, defaultPort, nil
		}
	}
	if port == "" {
		port = defaultPort
	}
	if err == nil {
		_, err = strconv.ParseUint(port, 10, 16)
	}
	odd := func(r rune) bool { return strings.ContainsRune("/@[] ", r) || !unicode.IsPrint(r) }
	if err != nil || host == "" || strings.ContainsFunc(host, odd) {
		return "", &tuner.Problem{
			What: fmt.Sprintf("%q is not the address of a dongle server", addr),
			Hint: "write tcp://HOST:PORT, such as tcp://192.168.1.20:1234",
			Err:  errors.Join(ErrAddress, err),
		}
	}
	return net.JoinHostPort(host, port), nil
}

// lostError is a connection that was there and is no more.
type lostError struct{ err error }

func (e *lostError) Error() string {
	if errors.Is(e.err, io.EOF) {
		return "the server closed it"
	}
	return plain(e.err)
}

func (e *lostError) Unwrap() error { return e.err }

// plain leaves the addresses out of a network error; they are said elsewhere.
func plain(err error) string {
	var op *net.OpError
	var dns *net.DNSError
	var sys syscall.Errno
	switch {
	case errors.As(err, &dns):
		return dns.Err
	case errors.As(err, &sys):
		return sys.Error()
	case errors.As(err, &op):
		return op.Err.Error()
	}
	return err.Error()
}

// link is one connection: commands out, samples into ring.
type link struct {
	conn    net.Conn
	ring    *dongle.Ring
	chip    dongle.Chip
	steps   []int // of gain, tenths of a dB
	timeout time.Duration
	done    chan struct{} // closed when nothing more is received
}

// connect dials, hears the greeting, takes over the dongle's settings and
// starts receiving.
func connect(ctx context.Context, addr string, timeout time.Duration) (*link, error) {
	d := net.Dialer{Timeout: timeout}
	conn, err := d.DialContext(ctx, "tcp", addr)
	if err != nil {
		if ctx.Err() != nil {
			return nil, ctx.Err()
		}
		return nil, unreachable(addr, err)
	}
	l := &link{conn: conn, ring: dongle.NewRing(ringBytes), timeout: timeout, done: make(chan struct{})}
	if err := l.greet(ctx, addr); err != nil {
		conn.Close()
		return nil, err
	}
	if err := l.takeOver(); err != nil {
		conn.Close()
		return nil, &tuner.Problem{
			What: fmt.Sprintf("tcp://%s takes no commands: %v", addr, err),
			Hint: "restart the dongle server there",
			Err:  errors.Join(ErrLost, err),
		}
	}
	go l.receive()
	return l, nil
}

func unreachable(addr string, err error) error {
	p := &tuner.Problem{
		What: fmt.Sprintf("no dongle server reached at tcp://%s: %s", addr, plain(err)),
		Hint: "start the dongle server there so that it listens to the network (-a 0.0.0.0), and check address, port and firewall",
		Err:  errors.Join(ErrUnreachable, err),
	}
	if errors.As(err, new(*net.DNSError)) {
		p.Hint = "check the name, or write the computer's IP address"
	}
	return p
}

// greet hears the greeting.
func (l *link) greet(ctx context.Context, addr string) error {
	if err := l.conn.SetReadDeadline(time.Now().Add(l.timeout)); err != nil {
		return err
	}
	stop := context.AfterFunc(ctx, func() { l.conn.SetReadDeadline(time.Unix(1, 0)) })
	b := make([]byte, greetingBytes)
	n, err := io.ReadFull(l.conn, b)
	if !stop() {
		return ctx.Err()
	}
	// What has come may already be wrong.
	g, bad := parseGreeting(b[:n])
	switch {
	case bad == nil:
		l.chip, l.steps = g.chip, g.steps()
		return nil
	case n == 0 && isTimeout(err):
		return &tuner.Problem{
			What: fmt.Sprintf("tcp://%s accepts the connection but says nothing for %v", addr, l.timeout),
			Hint: "the dongle server serves one program at a time: close the other one",
			Err:  errors.Join(ErrSilent, err),
		}
	case n == 0:
		return &tuner.Problem{
			What: fmt.Sprintf("tcp://%s closes the connection without a word", addr),
			Hint: "see what the dongle server there prints; its dongle may be missing",
			Err:  errors.Join(ErrSilent, err),
		}
	}
	return &tuner.Problem{
		What: fmt.Sprintf("tcp://%s is not a dongle server: %v", addr, bad),
		Hint: "check the port; the dongle server's usual one is " + defaultPort,
		Err:  errors.Join(ErrNotServer, bad),
	}
}

func isTimeout(err error) bool {
	var e net.Error
	return errors.As(err, &e) && e.Timeout()
}

// takeOver undoes what the server's command line or the program before may
// have set.
func (l *link) takeOver() error {
	for _, c := range []struct {
		code byte
		arg  uint32
	}{
		{cmdCounter, 0},
		{cmdDirectSampling, 0},
		{cmdOffsetTuning, 0},
		{cmdPPM, 0}, // the program measures the clock itself
		{cmdAGC, 0},
		{cmdGainMode, 1},
	} {
		if err := l.command(c.code, c.arg); err != nil {
			return err
		}
	}
	return nil
}

// receive moves samples to the ring until the connection ends.
func (l *link) receive() {
	defer close(l.done)
	l.conn.SetReadDeadline(time.Time{}) // Ring.Take watches the time
	buf := make([]byte, 1<<16)
	for {
		n, err := l.conn.Read(buf)
		if n > 0 {
			l.ring.Write(buf[:n])
		}
		if err != nil {
			l.ring.End(&lostError{err})
			return
		}
	}
}

// close ends the connection and waits until nothing more is received.
func (l *link) close() {
	l.conn.Close()
	<-l.done
}

func (l *link) command(code byte, arg uint32) error {
	var b [5]byte
	b[0] = code
	binary.BigEndian.PutUint32(b[1:], arg)
	if err := l.conn.SetWriteDeadline(time.Now().Add(l.timeout)); err != nil {
		return &lostError{err}
	}
	if _, err := l.conn.Write(b[:]); err != nil {
		return &lostError{err}
	}
	return nil
}

// The four of dongle.Control.

func (l *link) SetCounter(on bool) error  { return l.command(cmdCounter, flag(on)) }
func (l *link) SetRate(hz uint32) error   { return l.command(cmdRate, hz) }
func (l *link) SetGain(tenths int) error  { return l.command(cmdGain, uint32(int32(tenths))) }
func (l *link) SetCenter(hz uint32) error { return l.command(cmdCenter, hz) }

func (l *link) setBiasTee(on bool) error { return l.command(cmdBiasTee, flag(on)) }

func flag(on bool) uint32 {
	if on {
		return 1
	}
	return 0
}
