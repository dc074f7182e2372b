// Package page shows the live meter on a phone: a page with everything in it,
// served on the local network, that stays up to date by server-sent events.
//
// The meter comes first. Publish only notes the newest reading; each client is
// served by a goroutine of its own, takes the newest reading when it is ready
// for one and misses what came in between. One that does not take its bytes is
// dropped.
//
// Who may look: those who know the token that is part of the address. Requests
// must name the server by address or by a name that it knows, which keeps web
// sites that point their own name here out, and what changes anything must come
// from the page itself.
package page

import (
	"context"
	"crypto/rand"
	"crypto/sha256"
	"crypto/subtle"
	"embed"
	"encoding/base64"
	"encoding/json"
	"errors"
	"fmt"
	"net"
	"net/http"
	"strconv"
	"strings"
	"sync"
	"time"

	"rooftone/scan/band"
	"rooftone/scan/meter"
	"rooftone/scan/site"
)

const (
	mostClients     = 200     // that are kept up to date at once
	mostConnections = 256     // of all kinds
	mostBytes       = 4 << 10 // of what a client may send

	// betweenEvents is the least time between two of one client's updates.
	betweenEvents = 40 * time.Millisecond
	// writePatience is how long a client may take to take an update.
	writePatience = 2 * time.Second
)

//go:embed assets
var assets embed.FS

// Options says what the page is of.
type Options struct {
	Source   string
	Channels []band.Channel
	Labels   map[int]string // what people call channels

	// Names are the host names, besides localhost and any address, by which the
	// server may be asked for.
	Names []string

	Units site.Units // in which a height without a unit is
	North site.North // from which headings are counted; "" where nobody said

	// Mark keeps a place and returns what to say of it; nil: the page offers no
	// marks. It is called from the clients' goroutines, one at a time.
	Mark func(context.Context, Mark) (said string, err error)
	// Careful says that a mark is measured carefully unless it is Quick.
	Careful bool
	// Reset forgets the best of a channel; nil: the page does not offer that.
	Reset func(rfChannel int)
}

// Mark is a place or heading that the person on the roof wants to be noted.
type Mark struct {
	Place      string   `json:"place"`
	BearingDeg *float64 `json:"bearing_deg"`
	HeightM    *float64 `json:"height_m"`
	Units      string   `json:"units"` // in which the height was typed: feet, metres, or ""
	Note       string   `json:"note"`
	Quick      bool     `json:"quick"` // the reading of the moment will do
}

// Page is the phone page and what is newest on it.
type Page struct {
	Options
	token string
	port  string

	mutex    sync.Mutex
	lines    map[int]meter.Line
	serial   int64
	changed  chan struct{} // closed at the next change
	encoded  []byte        // of encodedAt
	encoding int64
	clients  int
	marks    int
	lastMark string

	marking sync.Mutex
}

// New makes a page with a token of its own: 128 random bits.
func New(o Options) *Page {
	var random [16]byte
	rand.Read(random[:]) // never fails: see crypto/rand
	return &Page{
		Options: o, token: base64.RawURLEncoding.EncodeToString(random[:]),
		lines: map[int]meter.Line{}, changed: make(chan struct{}),
	}
}

// Path is the path of the page on its server: the token between slashes.
func (p *Page) Path() string { return "/" + p.token + "/" }

// Publish notes a reading. It does not wait for anyone.
func (p *Page) Publish(u meter.Update) {
	line := meter.NewLine(u)
	p.mutex.Lock()
	defer p.mutex.Unlock()
	// That it was the best at one moment must not be missed by those who see
	// the next.
	p.lines[line.RFChannel] = line
	p.serial++
	close(p.changed)
	p.changed = make(chan struct{})
}

// Marked tells those who look how many places are marked, and which was last:
// also to one who asked for the mark and got no answer.
func (p *Page) Marked(n int, last string) {
	p.mutex.Lock()
	defer p.mutex.Unlock()
	p.marks, p.lastMark = n, last
	p.serial++
	close(p.changed)
	p.changed = make(chan struct{})
}

// Clients is how many are being kept up to date.
func (p *Page) Clients() int {
	p.mutex.Lock()
	defer p.mutex.Unlock()
	return p.clients
}

// event is what the page gets: everything, each time.
type event struct {
	Serial   int64        `json:"serial"`
	Channels []meter.Line `json:"channels"`
	Marks    int          `json:"marks"`
	LastMark string       `json:"last_mark"`
}

// newest is the newest event's text, its serial, and what is closed once there
// is a newer one.
func (p *Page) newest() ([]byte, int64, <-chan struct{}) {
	p.mutex.Lock()
	defer p.mutex.Unlock()
	if p.encoding != p.serial || p.encoded == nil {
		e := event{Serial: p.serial, Channels: []meter.Line{}, Marks: p.marks, LastMark: p.lastMark}
		for _, c := range p.Channels {
			if l, ok := p.lines[c.Number]; ok {
				e.Channels = append(e.Channels, l)
			}
		}
		text, err := json.Marshal(e)
		if err != nil {
			text = []byte("{}") // numbers are finite: cannot be
		}
		p.encoded, p.encoding = fmt.Appendf(nil, "data: %s\n\n", text), p.serial
	}
	return p.encoded, p.serial, p.changed
}

// Serve serves the page until the context ends, which is no error.
func (p *Page) Serve(ctx context.Context, l net.Listener) error {
	if _, port, err := net.SplitHostPort(l.Addr().String()); err == nil {
		p.port = port
	}
	server := &http.Server{
		Handler:           p,
		ReadHeaderTimeout: 5 * time.Second,
		ReadTimeout:       10 * time.Second,
		IdleTimeout:       30 * time.Second,
		MaxHeaderBytes:    8 << 10,
		BaseContext:       func(net.Listener) context.Context { return ctx },
		ErrorLog:          silent(),
	}
	stop := context.AfterFunc(ctx, func() { server.Close() })
	defer stop()
	err := server.Serve(&bounded{Listener: l, room: make(chan struct{}, mostConnections)})
	if errors.Is(err, http.ErrServerClosed) {
		return nil
	}
	return fmt.Errorf("serving the phone page: %w", err)
}

// ServeHTTP implements http.Handler.
func (p *Page) ServeHTTP(w http.ResponseWriter, r *http.Request) {
	h := w.Header()
	h.Set("Content-Security-Policy", "default-src 'none'; script-src 'self'; style-src 'self'; connect-src 'self'; img-src 'self'; base-uri 'none'; form-action 'none'; frame-ancestors 'none'")
	h.Set("X-Content-Type-Options", "nosniff")
	h.Set("Referrer-Policy", "no-referrer")
	h.Set("Cross-Origin-Resource-Policy", "same-origin")
	h.Set("Cross-Origin-Opener-Policy", "same-origin")
	h.Set("Cache-Control", "no-store")
	if !p.knowsHost(r.Host) {
		http.Error(w, "unknown host", http.StatusMisdirectedRequest)
		return
	}
	token, rest, ok := strings.Cut(strings.TrimPrefix(r.URL.Path, "/"), "/")
	if !ok || !same(token, p.token) {
		http.Error(w, "not found", http.StatusNotFound)
		return
	}
	if r.Method == http.MethodPost {
		if !p.fromPage(r) {
			http.Error(w, "not from the page", http.StatusForbidden)
			return
		}
		p.post(w, r, rest)
		return
	}
	if r.Method != http.MethodGet && r.Method != http.MethodHead {
		h.Set("Allow", "GET, HEAD, POST")
		http.Error(w, "method not allowed", http.StatusMethodNotAllowed)
		return
	}
	switch rest {
	case "":
		p.asset(w, "page.html", "text/html; charset=utf-8")
	case "page.js", "sound.js", "trace.js":
		p.asset(w, rest, "text/javascript; charset=utf-8")
	case "page.css":
		p.asset(w, rest, "text/css; charset=utf-8")
	case "icon.svg":
		p.asset(w, rest, "image/svg+xml")
	case "about":
		reply(w, http.StatusOK, p.about())
	case "events":
		p.events(w, r)
	default:
		http.Error(w, "not found", http.StatusNotFound)
	}
}

// same compares in a time that does not tell how much is right.
func same(a, b string) bool {
	x, y := sha256.Sum256([]byte(a)), sha256.Sum256([]byte(b))
	return subtle.ConstantTimeCompare(x[:], y[:]) == 1
}

// knowsHost reports whether a Host header means this server. A web site can
// have its own name point here, but not an address.
func (p *Page) knowsHost(host string) bool {
	name, port, err := net.SplitHostPort(host)
	if err != nil {
		name, port = host, "80"
	}
	if p.port != "" && port != p.port {
		return false
	}
	name = strings.TrimSuffix(strings.TrimPrefix(name, "["), "]")
	if zone := strings.IndexByte(name, '%'); zone >= 0 {
		name = name[:zone]
	}
	if net.ParseIP(name) != nil || strings.EqualFold(name, "localhost") {
		return true
	}
	for _, own := range p.Names {
		if strings.EqualFold(name, own) {
			return true
		}
	}
	return false
}

// fromPage reports whether a request was made by the page itself: browsers
// tell where a POST comes from.
func (p *Page) fromPage(r *http.Request) bool {
	if site := r.Header.Get("Sec-Fetch-Site"); site != "" && site != "same-origin" {
		return false
	}
	return r.Header.Get("Origin") == "http://"+r.Host && r.Header.Get("Content-Type") == "application/json"
}

func (p *Page) asset(w http.ResponseWriter, name, kind string) {
	content, err := assets.ReadFile("assets/" + name)
	if err != nil {
		http.Error(w, "not found", http.StatusNotFound)
		return
	}
	w.Header().Set("Content-Type", kind)
	w.Write(content)
}

// about is what does not change.
type about struct {
	Source   string     `json:"source"`
	Channels []aboutOne `json:"channels"`
	Marks    bool       `json:"marks"`
	Careful  bool       `json:"careful"`
	Resets   bool       `json:"resets"`
	Units    string     `json:"units"`
	North    string     `json:"north"`
}

type aboutOne struct {
	RFChannel int    `json:"rf_channel"`
	Label     string `json:"label,omitempty"`
}

func (p *Page) about() about {
	a := about{Source: p.Source, Marks: p.Mark != nil, Careful: p.Careful, Resets: p.Reset != nil, Units: string(p.Units), North: string(p.North)}
	for _, c := range p.Channels {
		a.Channels = append(a.Channels, aboutOne{c.Number, p.Labels[c.Number]})
	}
	return a
}

// enter counts a client in, if there is room.
func (p *Page) enter() bool {
	p.mutex.Lock()
	defer p.mutex.Unlock()
	if p.clients >= mostClients {
		return false
	}
	p.clients++
	return true
}

func (p *Page) leave() {
	p.mutex.Lock()
	defer p.mutex.Unlock()
	p.clients--
}

// events keeps one client up to date until it goes or does not keep up.
func (p *Page) events(w http.ResponseWriter, r *http.Request) {
	if !p.enter() {
		w.Header().Set("Retry-After", "5")
		http.Error(w, "too many are looking", http.StatusServiceUnavailable)
		return
	}
	defer p.leave()
	w.Header().Set("Content-Type", "text/event-stream")
	control := http.NewResponseController(w)
	control.SetReadDeadline(time.Time{}) // nothing more is to come
	var last int64 = -1
	for {
		text, serial, changed := p.newest()
		if serial != last {
			last = serial
			control.SetWriteDeadline(time.Now().Add(writePatience))
			if _, err := w.Write(text); err != nil || control.Flush() != nil {
				return
			}
			select {
			case <-r.Context().Done():
				return
			case <-time.After(betweenEvents):
			}
			continue
		}
		select {
		case <-r.Context().Done():
			return
		case <-changed:
		}
	}
}

// answer is what a POST gets back.
type answer struct {
	Said  string `json:"said,omitempty"`
	Error string `json:"error,omitempty"`
}

func reply(w http.ResponseWriter, status int, what any) {
	w.Header().Set("Content-Type", "application/json")
	w.WriteHeader(status)
	json.NewEncoder(w).Encode(what)
}

func (p *Page) post(w http.ResponseWriter, r *http.Request, what string) {
	body := json.NewDecoder(http.MaxBytesReader(w, r.Body, mostBytes))
	switch {
	case what == "mark" && p.Mark != nil:
		var m Mark
		if err := body.Decode(&m); err != nil {
			reply(w, http.StatusBadRequest, answer{Error: "that could not be read"})
			return
		}
		m.Place = strings.TrimSpace(m.Place)
		if u := site.Units(m.Units); u != site.Feet && u != site.Metres {
			m.Units = ""
		}
		if m.Place == "" {
			reply(w, http.StatusBadRequest, answer{Error: "the place has no name"})
			return
		}
		// Nothing more is to come, and the answer may take its time.
		http.NewResponseController(w).SetReadDeadline(time.Time{})
		if !p.marking.TryLock() {
			reply(w, http.StatusConflict, answer{Error: "another place is being marked: one at a time"})
			return
		}
		defer p.marking.Unlock()
		said, err := p.Mark(r.Context(), m)
		if err != nil {
			reply(w, http.StatusUnprocessableEntity, answer{Error: err.Error()})
			return
		}
		reply(w, http.StatusOK, answer{Said: said})
	case what == "reset" && p.Reset != nil:
		var one aboutOne
		if err := body.Decode(&one); err != nil {
			reply(w, http.StatusBadRequest, answer{Error: "that could not be read"})
			return
		}
		p.Reset(one.RFChannel)
		reply(w, http.StatusOK, answer{Said: "best of channel " + strconv.Itoa(one.RFChannel) + " forgotten"})
	default:
		reply(w, http.StatusNotFound, answer{Error: "not found"})
	}
}
