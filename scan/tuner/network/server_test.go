package network

import (
	"encoding/binary"
	"io"
	"net"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"rooftone/scan/tuner/internal/dongle"
	"rooftone/scan/tuner/internal/standin"
)

// faults are what is wrong with a server, and how it serves.
type faults struct {
	noCounter  bool
	late       int           // bytes that are under way at any time
	greeting   []byte        // nil: that of an R820T
	silent     bool          // says nothing at all
	closeAfter int           // bytes of samples after which it closes; 0: never
	stallAfter int           // bytes after which it only listens; 0: never
	serve      int           // how many connections get samples; 0: any number
	piece      int           // bytes a write; 0: 4800
	pause      time.Duration // between writes; 0: 1 ms
}

// server is a dongle server in Go.
type server struct {
	faults
	addr     string
	listener net.Listener
	wg       sync.WaitGroup
	quit     chan struct{}

	mu     sync.Mutex
	conns  []net.Conn
	dongle *standin.Dongle // of the newest connection
	orders map[byte]uint32 // the newest argument of each command
	served int
}

func newServer(t testing.TB, f faults) *server {
	t.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	s := &server{
		faults: f, listener: l, addr: l.Addr().String(),
		quit: make(chan struct{}), orders: make(map[byte]uint32),
	}
	t.Cleanup(s.stop)
	s.wg.Go(func() {
		for {
			conn, err := s.listener.Accept()
			if err != nil {
				return
			}
			s.mu.Lock()
			s.conns = append(s.conns, conn)
			s.served++
			s.mu.Unlock()
			s.wg.Go(func() { s.talk(conn) })
		}
	})
	return s
}

// stop ends everything; drop only the connections there are.
func (s *server) stop() {
	s.listener.Close()
	select {
	case <-s.quit:
	default:
		close(s.quit)
	}
	s.drop()
	s.wg.Wait()
}

func (s *server) drop() {
	s.mu.Lock()
	defer s.mu.Unlock()
	for _, c := range s.conns {
		c.Close()
	}
	s.conns = nil
}

func (s *server) order(code byte) uint32 {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.orders[code]
}

func greet(chip dongle.Chip, gains uint32) []byte {
	b := append([]byte("RTL0"), make([]byte, 8)...)
	binary.BigEndian.PutUint32(b[4:], uint32(chip))
	binary.BigEndian.PutUint32(b[8:], gains)
	return b
}

func (s *server) talk(conn net.Conn) {
	defer conn.Close()
	s.mu.Lock()
	refuse := s.serve > 0 && s.served > s.serve
	d := &standin.Dongle{NoCounter: s.noCounter}
	s.dongle = d
	s.mu.Unlock()
	if refuse {
		return
	}
	if s.silent {
		<-s.quit
		return
	}
	hello := s.greeting
	if hello == nil {
		hello = greet(dongle.R820T, 29)
	}
	if _, err := conn.Write(hello); err != nil || s.greeting != nil && len(hello) < greetingBytes {
		if err == nil && s.stallAfter > 0 {
			<-s.quit
		}
		return
	}
	s.wg.Go(func() { s.listen(conn, d) })
	s.send(conn, d)
}

// listen obeys the commands, in the order they come.
func (s *server) listen(conn net.Conn, d *standin.Dongle) {
	var b [5]byte
	for {
		if _, err := io.ReadFull(conn, b[:]); err != nil {
			return
		}
		arg := binary.BigEndian.Uint32(b[1:])
		s.mu.Lock()
		s.orders[b[0]] = arg
		s.mu.Unlock()
		switch b[0] {
		case 0x01:
			d.Tell(standin.Center, arg)
		case 0x02:
			d.Tell(standin.Rate, arg)
		case 0x04:
			d.Tell(standin.Gain, arg)
		case 0x07:
			d.Tell(standin.Counter, arg)
		}
	}
}

func (s *server) send(conn net.Conn, d *standin.Dongle) {
	piece, pause := 4800, time.Millisecond
	if s.piece > 0 {
		piece = s.piece
	}
	if s.pause > 0 {
		pause = s.pause
	}
	tick := time.NewTicker(pause)
	defer tick.Stop()
	made := make([]byte, 4800)
	var queue []byte
	sent := 0
	for {
		select {
		case <-s.quit:
			return
		case <-tick.C:
		}
		for len(queue) < s.late+piece {
			d.Fill(made)
			queue = append(queue, made...)
		}
		n := piece
		if s.closeAfter > 0 {
			n = min(n, s.closeAfter-sent)
		}
		if _, err := conn.Write(queue[:n]); err != nil {
			return
		}
		queue = queue[n:]
		sent += n
		if s.closeAfter > 0 && sent >= s.closeAfter {
			return
		}
		if s.stallAfter > 0 && sent >= s.stallAfter {
			<-s.quit
			return
		}
	}
}
