package soapytest

import (
	"bufio"
	"context"
	"encoding/binary"
	"fmt"
	"io"
	"math"
	"net"
	"strconv"
	"strings"
	"sync"
	"time"

	"rooftone/scan/tuner"
)

// Source makes a radio's samples. It is called by one goroutine at a time.
type Source interface {
	// Tune sends it elsewhere with the next sample, and returns the gain that it
	// really takes.
	Tune(to tuner.Tuning) (gainDB float64)

	// Fill makes the samples that follow.
	Fill(dst []complex64)
}

// Facts is what a radio is. Ranges are written LOW:HIGH:STEP,… in Hz, the step 0 for
// every value.
type Facts struct {
	Hardware  string
	Format    string  // one of CS16, CS8, CU8 and CF32
	FullScale float64 // in the format's values
	MTU       int     // samples handed over at once
	Queue     int     // samples that wait in the driver
	Rates     string
	Reach     string
	Filters   string
	NoTime    bool // neither the radio nor its samples have a time
	NoBias    bool // it has no bias tee
	Receives  int  // receivers; 0: one
	// Pace is how many times as fast as real time samples are made at the most;
	// 0: as fast as can be.
	Pace float64
}

// Wide is a radio of 12 bits and up to 20 MS/s.
func Wide() Facts {
	return Facts{
		Hardware: "Town 20", Format: "CS16", FullScale: 2048, MTU: 8192, Queue: 16384,
		Rates: "1e6:20e6:0", Reach: "24e6:1766e6:0", Filters: "1.5e6:1.5e6:0,2.5e6:28e6:0",
	}
}

// End is how a radio can go away.
type End int

// The ends.
const (
	Here   End = iota
	Error      // reading fails and commands throw
	Silent     // nothing comes any more, commands are taken
	Hung       // no call comes back
	Gone       // the driver's connection breaks
)

// Server is a radio.
type Server struct {
	facts  Facts
	source Source
	listen net.Listener
	closed chan struct{}

	mu      sync.Mutex
	conns   map[net.Conn]bool
	to      tuner.Tuning
	gains   map[string]float64
	told    map[string]string // the newest argument of each command
	count   map[string]int
	running bool
	made    int64   // samples since the start
	now     float64 // the radio's own time, seconds
	due     time.Time
	queue   []piece
	waiting int // samples in queue
	work    []complex64

	lose    int           // samples to lose before the next
	storm   bool          // every read finds that samples were lost
	jitter  time.Duration // the samples' times are off by up to this
	refuse  string
	end     End
	endAt   int64 // the sample after which it ends; 0: none
	endKind End
}

type piece struct {
	bytes []byte
	ns    int64
	lost  bool
}

// Serve serves a radio until Close.
func Serve(source Source, f Facts) (*Server, error) {
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		return nil, err
	}
	s := &Server{
		facts: f, source: source, listen: l, closed: make(chan struct{}), conns: map[net.Conn]bool{},
		gains: map[string]float64{"LNA": 30, "VGA": vgaMost}, told: map[string]string{}, count: map[string]int{}, now: 1000,
	}
	go s.accept()
	return s, nil
}

const vgaMost = 19.6

// Port is where the module finds it.
func (s *Server) Port() int { return s.listen.Addr().(*net.TCPAddr).Port }

// Address is its address for the program.
func (s *Server) Address() string { return fmt.Sprintf("driver=town,port=%d", s.Port()) }

// Close ends it; calls that hang come back.
func (s *Server) Close() {
	s.mu.Lock()
	defer s.mu.Unlock()
	select {
	case <-s.closed:
		return
	default:
	}
	close(s.closed)
	s.listen.Close()
	for c := range s.conns {
		c.Close()
	}
}

// Told returns the newest argument of a command, and how often it was given.
func (s *Server) Told(command string) (string, int) {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.told[command], s.count[command]
}

// Lose loses samples now.
func (s *Server) Lose(samples int) { s.set(func() { s.lose = samples }) }

// Storm makes every read find that samples were lost.
func (s *Server) Storm(on bool) { s.set(func() { s.storm = on }) }

// Jitter puts the samples' times off.
func (s *Server) Jitter(d time.Duration) { s.set(func() { s.jitter = d }) }

// Refuse has every command answered with words of refusal; "" ends that.
func (s *Server) Refuse(words string) { s.set(func() { s.refuse = words }) }

// Unplug takes the radio away once it has made so many more samples; 0 does so now.
// The end Here plugs it in again.
func (s *Server) Unplug(after int64, how End) {
	s.set(func() {
		if after > 0 {
			s.endAt, s.endKind = s.made+after, how
			return
		}
		s.endAt = 0
		s.goAway(how)
	})
}

func (s *Server) set(f func()) {
	s.mu.Lock()
	defer s.mu.Unlock()
	f()
}

// goAway is called with the lock held.
func (s *Server) goAway(how End) {
	s.end = how
	if how == Gone {
		for c := range s.conns {
			c.Close()
		}
	}
}

func (s *Server) accept() {
	for {
		conn, err := s.listen.Accept()
		if err != nil {
			return
		}
		s.mu.Lock()
		gone := s.end == Gone
		s.conns[conn] = true
		s.mu.Unlock()
		if gone {
			conn.Close()
		}
		go s.serve(conn)
	}
}

func (s *Server) serve(conn net.Conn) {
	defer func() {
		conn.Close()
		s.set(func() { delete(s.conns, conn) })
	}()
	in := bufio.NewReader(conn)
	for {
		line, err := in.ReadString('\n')
		if err != nil {
			return
		}
		words := strings.Fields(line)
		if len(words) == 0 {
			return
		}
		switch words[0] {
		case "control", "stream": // which of the two it is does not matter
			continue
		case "read":
			if !s.read(conn, words[1:]) {
				return
			}
			continue
		}
		answer := s.obey(words)
		if answer == "" {
			<-s.closed // it hangs
			return
		}
		if _, err := io.WriteString(conn, answer+"\n"); err != nil {
			return
		}
	}
}

// obey carries a command out and returns the answer, "" for none.
func (s *Server) obey(words []string) string {
	s.mu.Lock()
	defer s.mu.Unlock()
	switch {
	case s.end == Hung:
		return ""
	case s.end == Error:
		return "throw the device is gone."
	case s.refuse != "" && !strings.HasSuffix(words[0], "?") && words[0] != "facts" && words[0] != "stop":
		return "throw " + s.refuse
	}
	arg := strings.Join(words[1:], " ")
	s.told[words[0]], s.count[words[0]] = arg, s.count[words[0]]+1
	value, _ := strconv.ParseFloat(words[len(words)-1], 64)
	switch words[0] {
	case "facts":
		return s.describe()
	case "rate":
		s.to.RateHz = value
		s.tune()
	case "frequency":
		s.to.CenterHz = value
		s.tune()
	case "gain":
		s.gains[words[1]] = value
		s.tune()
	case "start":
		s.running, s.due, s.queue, s.waiting = true, time.Now(), nil, 0
		return "0"
	case "stop":
		s.running = false
		return "0"
	case "gain?":
		return fmt.Sprint(s.gains[words[1]])
	case "rate?":
		return fmt.Sprint(s.to.RateHz)
	case "frequency?":
		return fmt.Sprintf("%.3f", s.to.CenterHz)
	case "antenna?":
		return s.told["antenna"]
	case "time?":
		return fmt.Sprint(int64(s.now * 1e9))
	}
	return "ok"
}

// tune is called with the lock held.
func (s *Server) tune() {
	s.to.GainDB = s.gains["LNA"] + s.gains["VGA"]
	if s.to.RateHz > 0 && s.to.CenterHz > 0 {
		s.gains["VGA"] += s.source.Tune(s.to) - s.to.GainDB
	}
}

func (s *Server) describe() string {
	f := s.facts
	flag := func(b bool) int {
		if b {
			return 1
		}
		return 0
	}
	size := map[string]int{"CS16": 4, "CS8": 2, "CU8": 2, "CF32": 8}[f.Format]
	return fmt.Sprintf("hardware=%s format=%s fullscale=%g size=%d mtu=%d rates=%s reach=%s filters=%s time=%d bias=%d receivers=%d vga=%d",
		strings.ReplaceAll(f.Hardware, " ", "-"), f.Format, f.FullScale, size, f.MTU, f.Rates, f.Reach, f.Filters,
		flag(!f.NoTime), flag(!f.NoBias), max(1, f.Receives), int(math.Ceil(vgaMost)))
}

// What readStream returns (Errors.h), and its flags (Constants.h).
const (
	timeout     = -1
	streamError = -2
	overflow    = -4
	hasTime     = 1 << 2
)

// read answers what asks for samples, and says whether more may be asked for.
func (s *Server) read(conn net.Conn, words []string) bool {
	if len(words) != 2 {
		return false
	}
	most, _ := strconv.Atoi(words[0])
	us, _ := strconv.Atoi(words[1])
	p, code := s.next(most)
	switch {
	case code == timeout:
		timer := time.NewTimer(time.Duration(us) * time.Microsecond)
		defer timer.Stop()
		select {
		case <-timer.C:
		case <-s.closed:
			return false
		}
	case code == 0:
		<-s.closed // it hangs
		return false
	}
	flags := hasTime
	if s.facts.NoTime {
		flags, p.ns = 0, 0
	}
	answer := append([]byte(fmt.Sprintf("%d %d %d\n", code, flags, p.ns)), p.bytes...)
	_, err := conn.Write(answer)
	return err == nil
}

// next makes the next piece of samples, and returns it or, with what is older than
// the queue is long, an older one. Its code is what readStream returns, 0 for a call
// that does not come back.
func (s *Server) next(most int) (p piece, code int) {
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.endAt > 0 && s.made >= s.endAt {
		s.endAt = 0
		s.goAway(s.endKind)
	}
	switch {
	case s.end == Error:
		return p, streamError
	case s.end == Hung:
		return p, 0
	case s.end == Silent, !s.running, s.to.RateHz == 0, s.to.CenterHz == 0:
		return p, timeout
	case s.storm:
		time.Sleep(time.Millisecond)
		return p, overflow
	}
	n := min(most, s.facts.MTU)
	for s.waiting <= s.facts.Queue {
		s.queue = append(s.queue, s.make(n))
		s.waiting += n
	}
	p = s.queue[0]
	if p.lost {
		s.queue[0].lost = false
		return piece{}, overflow
	}
	if len(p.bytes) > n*s.size() {
		s.queue[0].bytes = p.bytes[n*s.size():]
		s.queue[0].ns += int64(float64(n) / s.to.RateHz * 1e9)
		p.bytes = p.bytes[:n*s.size()]
	} else {
		s.queue = s.queue[1:]
	}
	got := len(p.bytes) / s.size()
	s.waiting -= got
	return p, got
}

func (s *Server) size() int {
	switch s.facts.Format {
	case "CS16":
		return 4
	case "CF32":
		return 8
	}
	return 2
}

// make makes a piece. It is called with the lock held.
func (s *Server) make(n int) piece {
	var p piece
	if len(s.work) < max(n, s.lose) {
		s.work = make([]complex64, max(n, s.lose))
	}
	if s.lose > 0 {
		p.lost = true
		s.source.Fill(s.work[:s.lose])
		s.pass(s.lose)
		s.lose = 0
	}
	p.ns = int64(s.now * 1e9)
	if s.jitter > 0 {
		p.ns += int64(s.made*7919) % int64(s.jitter)
	}
	s.source.Fill(s.work[:n])
	p.bytes = s.encode(s.work[:n])
	s.pass(n)
	if s.facts.Pace > 0 {
		s.due = s.due.Add(time.Duration(float64(n) / s.to.RateHz / s.facts.Pace * 1e9))
		if early := time.Until(s.due); early > 0 {
			time.Sleep(early)
		} else if early < -time.Second {
			s.due = time.Now() // the computer is busy: what is late stays so
		}
	}
	return p
}

func (s *Server) pass(n int) {
	s.made += int64(n)
	s.now += float64(n) / s.to.RateHz
}

func (s *Server) encode(x []complex64) []byte {
	out := make([]byte, 0, len(x)*s.size())
	whole := func(v float32, most float64) int {
		return int(min(max(math.Floor(float64(v)*s.facts.FullScale+0.5), -most), most-1))
	}
	for _, z := range x {
		for _, v := range [2]float32{real(z), imag(z)} {
			switch s.facts.Format {
			case "CS16":
				out = binary.LittleEndian.AppendUint16(out, uint16(whole(v, s.facts.FullScale)))
			case "CS8":
				out = append(out, byte(whole(v, 128)))
			case "CU8":
				out = append(out, tuner.ToByte(v))
			case "CF32":
				out = binary.LittleEndian.AppendUint32(out, math.Float32bits(v*float32(s.facts.FullScale)))
			}
		}
	}
	return out
}

// Town makes a Source of a tuner: of a simulated town, opened with the option
// Unsettled, if its settling is to be seen.
func Town(t tuner.Tuner) Source { return &town{t} }

type town struct{ tuner tuner.Tuner }

func (t *town) Tune(to tuner.Tuning) float64 {
	gain, best := to.GainDB, math.Inf(1)
	for _, g := range t.tuner.Info().GainsDB {
		if d := math.Abs(g - to.GainDB); d < best {
			gain, best = g, d
		}
	}
	t.tuner.Tune(context.Background(), to) // what it cannot do stays undone, as with a radio
	return gain
}

func (t *town) Fill(dst []complex64) {
	b, err := t.tuner.Read(context.Background(), dst)
	if err != nil {
		clear(dst[len(b.Samples):])
	}
}
