package page

import (
	"errors"
	"fmt"
	"io"
	"log"
	"net"
	"sort"
	"strings"
	"sync"

	"rsc.io/qr"
)

// silent is for what clients do wrong: it is theirs.
func silent() *log.Logger { return log.New(io.Discard, "", 0) }

// bounded accepts no more than so many connections at once; what is too much is
// closed at once.
type bounded struct {
	net.Listener
	room chan struct{}
}

func (b *bounded) Accept() (net.Conn, error) {
	for {
		c, err := b.Listener.Accept()
		if err != nil {
			return nil, err
		}
		select {
		case b.room <- struct{}{}:
			return &counted{Conn: c, room: b.room}, nil
		default:
			c.Close()
		}
	}
}

// counted gives its room back when it is closed the first time.
type counted struct {
	net.Conn
	room chan struct{}
	once sync.Once
}

func (c *counted) Close() error {
	c.once.Do(func() { <-c.room })
	return c.Conn.Close()
}

// ErrAddress is wrapped by the error for an address that cannot be listened on.
var ErrAddress = errors.New("not an address to listen on")

// Listen reads an address as a person writes it and listens there: "loopback"
// and "" are this machine only, at a port that is free; ":8080" and
// "0.0.0.0:8080" all its networks; "192.168.1.20" one of its addresses.
func Listen(address string) (net.Listener, error) {
	switch {
	case address == "" || address == "loopback":
		address = "127.0.0.1:0"
	case !strings.Contains(address, ":"), net.ParseIP(address) != nil:
		address = net.JoinHostPort(address, "0")
	}
	host, _, err := net.SplitHostPort(address)
	if err != nil {
		return nil, fmt.Errorf("%.60q is %w", address, ErrAddress)
	}
	if host != "" && !strings.EqualFold(host, "localhost") && net.ParseIP(host) == nil {
		return nil, fmt.Errorf("%.60q is %w: write an IP address and a port", address, ErrAddress)
	}
	l, err := net.Listen("tcp", address)
	if err != nil {
		return nil, fmt.Errorf("listening for the phone on %s: %w", address, err)
	}
	return l, nil
}

// URLs are the addresses under which the page can be opened, the one that a
// phone most likely reaches first.
func (p *Page) URLs(l net.Listener) []string {
	host, port, err := net.SplitHostPort(l.Addr().String())
	if err != nil {
		return nil
	}
	ip := net.ParseIP(host)
	hosts := []string{host}
	if ip != nil && ip.IsUnspecified() {
		hosts = localHosts()
	}
	var out []string
	for _, h := range hosts {
		out = append(out, "http://"+net.JoinHostPort(h, port)+p.Path())
	}
	return out
}

// localHosts are this machine's addresses, private IPv4 first: a home network
// is that.
func localHosts() []string {
	addresses, err := net.InterfaceAddrs()
	if err != nil {
		return []string{"127.0.0.1"}
	}
	type rated struct {
		text string
		rank int
	}
	var all []rated
	for _, a := range addresses {
		n, ok := a.(*net.IPNet)
		if !ok || n.IP.IsLinkLocalUnicast() || n.IP.IsMulticast() {
			continue
		}
		r := rated{n.IP.String(), 2}
		switch {
		case n.IP.IsLoopback():
			r.rank = 9
		case n.IP.To4() != nil && n.IP.IsPrivate():
			r.rank = 0
		case n.IP.To4() != nil:
			r.rank = 1
		}
		all = append(all, r)
	}
	sort.SliceStable(all, func(i, j int) bool { return all[i].rank < all[j].rank })
	var out []string
	for _, r := range all {
		if r.rank < 9 || len(out) == 0 {
			out = append(out, r.text)
		}
	}
	return out
}

// Code draws text as a QR code for a terminal, in rows of the same width. It is
// dark on light whatever the terminal's colours when colour is set; otherwise
// lit cells stand for light ones, which suits a dark terminal. In ASCII a module
// is two columns of a row, in UTF-8 a half.
func Code(text string, utf8, colour bool) ([]string, error) {
	code, err := qr.Encode(text, qr.L)
	if err != nil {
		return nil, fmt.Errorf("drawing the address as a QR code: %w", err)
	}
	const quiet = 4 // ISO/IEC 18004
	light := func(x, y int) bool { return !code.Black(x-quiet, y-quiet) }
	size := code.Size + 2*quiet
	var rows []string
	if !utf8 {
		for y := range size {
			var b strings.Builder
			for x := range size {
				if light(x, y) {
					b.WriteString("##")
				} else {
					b.WriteString("  ")
				}
			}
			rows = append(rows, b.String())
		}
		return rows, nil
	}
	for y := 0; y < size; y += 2 {
		var b strings.Builder
		if colour {
			b.WriteString("\x1b[97;40m")
		}
		for x := range size {
			switch top, bottom := light(x, y), y+1 < size && light(x, y+1); {
			case top && bottom:
				b.WriteString("█")
			case top:
				b.WriteString("▀")
			case bottom:
				b.WriteString("▄")
			default:
				b.WriteString(" ")
			}
		}
		if colour {
			b.WriteString("\x1b[0m")
		}
		rows = append(rows, b.String())
	}
	return rows, nil
}
