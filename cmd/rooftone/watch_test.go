package main

import (
	"io"
	"net"
	"net/http"
	"os"
	"regexp"
	"strconv"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/rogpeppe/go-internal/testscript"
	"github.com/stretchr/testify/require"

	"rooftone/scan/watch"
)

// startLoose is the script command loose TUNINGS TIME: it serves a radio that
// hangs up when it was tuned that often, does not answer for a time, and is there
// again. It sets RADIO to the source word for it.
func startLoose(ts *testscript.TestScript, _ bool, args []string) {
	tunings, err := strconv.ParseInt(args[0], 10, 64)
	ts.Check(err)
	away, err := time.ParseDuration(args[1])
	ts.Check(err)
	l, err := net.Listen("tcp", "127.0.0.1:0")
	ts.Check(err)
	address := l.Addr().String()
	ts.Setenv("RADIO", "tcp://"+address)
	s := &looseServer{}
	go s.serve(l)
	done := make(chan struct{})
	ts.Defer(func() {
		close(done)
		s.pull()
	})
	go func() {
		for s.tunings() < tunings {
			select {
			case <-done:
				return
			case <-time.After(5 * time.Millisecond):
			}
		}
		s.pull()
		select {
		case <-done:
			return
		case <-time.After(away):
		}
		for range 100 { // the port may take a moment to be free
			if l, err := net.Listen("tcp", address); err == nil {
				s.serve(l)
				return
			}
			time.Sleep(50 * time.Millisecond)
		}
	}()
}

// looseServer is a server of radios that can be pulled out.
type looseServer struct {
	mutex    sync.Mutex
	listener net.Listener
	open     []net.Conn
	radios   []*radio
}

func (s *looseServer) serve(l net.Listener) {
	s.mutex.Lock()
	s.listener = l
	s.mutex.Unlock()
	for {
		conn, err := l.Accept()
		if err != nil {
			return
		}
		r := &radio{}
		s.mutex.Lock()
		s.open, s.radios = append(s.open, conn), append(s.radios, r)
		s.mutex.Unlock()
		go r.serve(conn, 0, nil)
	}
}

func (s *looseServer) tunings() (n int64) {
	s.mutex.Lock()
	defer s.mutex.Unlock()
	for _, r := range s.radios {
		n += r.tunings.Load()
	}
	return n
}

func (s *looseServer) pull() {
	s.mutex.Lock()
	defer s.mutex.Unlock()
	s.listener.Close()
	for _, c := range s.open {
		c.Close()
	}
}

// port is the script command port: it sets PORT to a port that is free.
func port(ts *testscript.TestScript, _ bool, _ []string) {
	l, err := net.Listen("tcp", "127.0.0.1:0")
	ts.Check(err)
	_, p, err := net.SplitHostPort(l.Addr().String())
	ts.Check(err)
	ts.Setenv("PORT", p)
	ts.Check(l.Close())
}

// scrapeTo is the script command scrape FILE: it fetches the metrics at PORT, as
// soon as a reading is counted, and keeps them.
func scrapeTo(ts *testscript.TestScript, _ bool, args []string) {
	deadline := time.Now().Add(3 * time.Minute)
	for time.Now().Before(deadline) {
		time.Sleep(100 * time.Millisecond)
		answer, err := http.Get("http://127.0.0.1:" + ts.Getenv("PORT") + "/metrics")
		if err != nil {
			continue
		}
		text, err := io.ReadAll(answer.Body)
		answer.Body.Close()
		ts.Check(err)
		if kind := answer.Header.Get("Content-Type"); kind != openMetrics {
			ts.Fatalf("its content type is %s", kind)
		}
		if strings.Contains(string(text), "rooftone_readings_total{") {
			_, err := parseMetrics(text)
			ts.Check(err)
			ts.Check(os.WriteFile(ts.MkAbs(args[0]), text, 0o666))
			return
		}
	}
	ts.Fatalf("no reading was counted")
}

// waitUntil is the script command until FILE PATTERN: it waits until a file that a
// program writes holds a pattern, on the slowest of machines.
func waitUntil(ts *testscript.TestScript, _ bool, args []string) {
	pattern := regexp.MustCompile(args[1])
	for deadline := time.Now().Add(3 * time.Minute); time.Now().Before(deadline); time.Sleep(50 * time.Millisecond) {
		if text, err := os.ReadFile(ts.MkAbs(args[0])); err == nil && pattern.Match(text) {
			return
		}
	}
	ts.Fatalf("%s does not hold %s", args[0], args[1])
}

// logRow is the script command logrow FILE CHANNEL PATH VALUE: it wants a value in
// the report of a log, as the command row does in a survey's; dots lead into an
// object.
func logRow(ts *testscript.TestScript, neg bool, args []string) {
	for _, c := range readReport(ts, args[0])["channels"].([]any) {
		o := c.(map[string]any)
		if strconv.Itoa(int(o["rf_channel"].(float64))) != args[1] {
			continue
		}
		steps := strings.Split(args[2], ".")
		for _, name := range steps[:len(steps)-1] {
			o = o[name].(map[string]any)
		}
		v, ok := o[steps[len(steps)-1]]
		if !ok || matches(v, args[3]) == neg {
			ts.Fatalf("channel %s: %s is %v, not %s", args[1], args[2], v, args[3])
		}
		return
	}
	ts.Fatalf("no channel %s", args[1])
}

// Truth: arithmetic.
func TestLong(t *testing.T) {
	var d time.Duration
	l := &long{to: &d, min: time.Second, max: 1000 * time.Hour}
	for text, want := range map[string]time.Duration{"90m": 90 * time.Minute, "7d": 168 * time.Hour, "0.5d": 12 * time.Hour, "2w": 336 * time.Hour, " 10s ": 10 * time.Second} {
		require.NoError(t, l.Set(text), text)
		require.Equal(t, want, d)
	}
	for _, text := range []string{"", "d", "7", "1ms", "60d", "-1h", "nand", "infw", "1x"} {
		require.Error(t, l.Set(text), text)
	}
}

// Truth: the documented moments, worked out by hand: a watch of five days that
// nobody sees says nine times that it lives.
func TestWatchSaysThatItLives(t *testing.T) {
	began := time.Date(2026, 3, 14, 9, 30, 0, 0, time.UTC)
	at := func(gone time.Duration) watch.Snapshot {
		return watch.Snapshot{Up: true, Kept: 7, Channels: []watch.ChannelStatus{{RFChannel: 22, Time: began.Add(gone)}}}
	}
	told := &watchTold{next: tellAfter()}
	require.Empty(t, told.line(watch.Snapshot{}))
	var said []string
	for gone := time.Duration(0); gone <= 5*24*time.Hour; gone += 30 * time.Second {
		if l := told.line(at(gone)); l != "" {
			said = append(said, l)
		}
	}
	require.Len(t, said, 9)
	require.Equal(t, "2026-03-14 09:31: 7 readings kept after 1 min", said[0])
	require.Equal(t, "2026-03-19 09:30: 7 readings kept after 5 days", said[8])
	// Time that runs fast leaves some out.
	told = &watchTold{next: tellAfter()}
	require.Empty(t, told.line(at(0)))
	require.NotEmpty(t, told.line(at(50*time.Hour)))
	require.Empty(t, told.line(at(71*time.Hour)))
	require.NotEmpty(t, told.line(at(73*time.Hour)))
}
