package main

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"math"
	"os"
	"strings"
	"time"
	"unicode"
	"unicode/utf8"

	"golang.org/x/term"

	"rooftone/plot/cell"
	"rooftone/plot/live"
	"rooftone/plot/page"
	"rooftone/scan/meter"
	"rooftone/scan/site"
)

const (
	drawEvery      = 100 * time.Millisecond
	staleAfter     = 1500 * time.Millisecond // without a reading
	learningAtMost = 15 * time.Second        // the same while it listens carefully
	sayFor         = 4 * time.Second         // a message stays

	// Lines do not wrap, should a terminal take a character for wider than it is.
	enterScreen = "\x1b[?1049h\x1b[?25l\x1b[?7l\x1b[2J"
	leaveScreen = "\x1b[?7h\x1b[?25h\x1b[?1049l"
)

// aimScreen is the live meter on a terminal.
type aimScreen struct {
	session  *aimSession
	out      io.Writer
	size     func() (width, height int)
	utf8     bool
	plain    bool // no colours, not even black and white
	picture  live.Picture
	heardAt  time.Time // by the wall clock
	asking   bool
	quick    bool // what is asked for is a quick mark
	typed    []rune
	lastSpot spotted
	careful  func(spotted) // begins a careful mark
	giveUp   func()        // breaks one off; nil: none is under way
	marked   chan markEnd
	saidAt   time.Time
	shown    []string // what stands on the screen
	width    int
	height   int
	bell     bell
}

// markEnd is what became of a careful mark.
type markEnd struct {
	said string
	err  error
}

// panicked carries a panic of the meter's to where the screen is restored.
type panicked struct{ what any }

func (p panicked) Error() string { return fmt.Sprintf("panic: %v", p.what) }

// show runs the meter with the terminal as its face. However it ends, the
// terminal is as it was.
func (s *aimSession) show(ctx context.Context, span time.Duration, l looks) error {
	in, ok := s.console.stdin.(*os.File)
	out := s.console.stdout.(*os.File)
	v := &aimScreen{session: s, out: out, utf8: s.console.screenFor(l).utf8, plain: s.console.env("TERM") == "dumb" || l.colour == "never"}
	v.size = func() (int, int) {
		w, h, err := term.GetSize(int(out.Fd()))
		if err != nil || w <= 0 || h <= 0 {
			return defaultWidth, 24
		}
		return w, h
	}
	v.picture.Source, v.picture.Rotor = s.source, s.rotor != nil
	for _, c := range s.options.Channels {
		v.picture.Channels = append(v.picture.Channels, live.Channel{
			Label: s.label(c.Number), Now: meter.Update{Channel: c, State: meter.Learning},
		})
	}
	v.offerCode()
	keys := make(chan []byte, 16)
	if ok && term.IsTerminal(int(in.Fd())) {
		before, err := term.MakeRaw(int(in.Fd()))
		if err != nil {
			return fmt.Errorf("preparing the terminal: %w", err)
		}
		defer term.Restore(int(in.Fd()), before)
		go readKeys(in, keys)
	}
	io.WriteString(out, enterScreen)
	defer io.WriteString(out, leaveScreen)

	ctx, stop := context.WithCancel(ctx)
	v.marked = make(chan markEnd, 1)
	v.careful = func(at spotted) {
		ctx, cancel := context.WithCancel(ctx)
		v.giveUp = cancel
		go func() {
			defer cancel()
			said, err := s.keepCarefully(ctx, at)
			v.marked <- markEnd{said, err}
		}()
	}
	readings := make(chan meter.Update, 64)
	ended := make(chan error, 1)
	go func() {
		defer func() {
			if p := recover(); p != nil {
				ended <- panicked{p}
			}
		}()
		ended <- s.follow(ctx, lasting(span, func(u meter.Update) error {
			s.note(u)
			select {
			case readings <- u:
			default: // the terminal is slow: it will have the next
			}
			return nil
		}))
	}()
	err := v.loop(keys, readings, ended)
	stop()
	if err == nil { // it was the person who ended it
		err = <-ended
	}
	if v.giveUp != nil {
		if end := <-v.marked; end.err != nil {
			s.say("the mark that was under way is not kept: " + end.err.Error())
		}
	}
	if p := (panicked{}); errors.As(err, &p) {
		io.WriteString(out, leaveScreen)
		panic(p.what)
	}
	if errors.Is(err, errDone) {
		err = nil
	}
	return err
}

// loop draws and obeys until the person or the meter ends it.
func (v *aimScreen) loop(keys <-chan []byte, readings <-chan meter.Update, ended chan error) error {
	tick := time.NewTicker(drawEvery)
	defer tick.Stop()
	v.draw(time.Now())
	for {
		select {
		case err := <-ended:
			if err == nil {
				err = errDone
			}
			return err
		case u := <-readings:
			v.take(u, time.Now())
		case end := <-v.marked:
			v.giveUp = nil
			v.tell(end.said, end.err, time.Now())
			v.draw(time.Now())
		case k := <-keys:
			if v.press(k, time.Now()) {
				return nil
			}
			v.draw(time.Now())
		case <-tick.C:
			v.draw(time.Now())
		}
	}
}

// readKeys hands on what is typed, as it comes.
func readKeys(in io.Reader, keys chan<- []byte) {
	for {
		buffer := make([]byte, 64)
		n, err := in.Read(buffer)
		if n > 0 {
			keys <- buffer[:n]
		}
		if err != nil {
			return
		}
	}
}

// offerCode makes the code of the phone page the first thing to see.
func (v *aimScreen) offerCode() {
	if len(v.session.urls) == 0 {
		return
	}
	url := v.session.urls[0]
	rows, err := page.Code(url, v.utf8, false)
	if err != nil {
		return
	}
	v.picture.Code = append(rows, " "+url, " any key: the meter")
}

func (v *aimScreen) take(u meter.Update, now time.Time) {
	v.heardAt = now
	for i := range v.picture.Channels {
		c := &v.picture.Channels[i]
		if c.Now.Channel != u.Channel {
			continue
		}
		if was := c.Now.Gauge; was != u.Gauge && was != "" && u.Gauge != "" {
			c.Trace = nil // of another figure
		}
		c.Now = u
		p := live.Point{Time: now, FigureDB: math.NaN()}
		if x := u.Figure(); x != nil {
			p.FigureDB = x.Value
		}
		c.Trace = append(c.Trace, p)
		if old := len(c.Trace) / 2; now.Sub(c.Trace[old].Time) > live.Span {
			c.Trace = append(c.Trace[:0], c.Trace[old:]...)
		}
		if i == v.picture.Focus && !v.picture.Muted && v.bell.rings(u, now) {
			io.WriteString(v.out, "\a")
		}
	}
}

// bell decides when to ring: where decoding begins, and back at the best.
type bell struct {
	channel  int
	decodes  bool
	known    bool
	away     bool
	rangLast time.Time
}

func (b *bell) rings(u meter.Update, now time.Time) bool {
	const (
		decodeDB, awayDB, nearDB = 0.15, 1, 0.2
		between                  = time.Second
	)
	if u.Channel.Number != b.channel {
		*b = bell{channel: u.Channel.Number}
	}
	figure := u.Figure()
	if figure == nil {
		return false
	}
	ring := false
	if m := figure.Value; !u.HasMargin() {
		b.known = false // it has no decode point that is known
	} else if !b.known {
		b.known, b.decodes = true, m >= 0
	} else if !b.decodes && m > decodeDB {
		b.decodes, ring = true, true
	} else if m < -decodeDB {
		b.decodes = false
	}
	if u.BelowBestDB > awayDB {
		b.away = true
	} else if b.away && u.BelowBestDB < nearDB {
		b.away, ring = false, true
	}
	if !ring || now.Sub(b.rangLast) < between {
		return false
	}
	b.rangLast = now
	return true
}

// draw brings the screen up to date and touches only the lines that changed.
func (v *aimScreen) draw(now time.Time) {
	w, h := v.size()
	var b bytes.Buffer
	if w != v.width || h != v.height {
		b.WriteString("\x1b[2J")
		v.width, v.height, v.shown = w, h, nil
	}
	p := &v.picture
	stale := !v.heardAt.IsZero() && now.Sub(v.heardAt) > staleAfter
	for i := range p.Channels {
		c := &p.Channels[i]
		c.Stale = stale && (c.Now.State != meter.Learning || now.Sub(v.heardAt) > learningAtMost)
	}
	if !v.saidAt.IsZero() && now.Sub(v.saidAt) > sayFor {
		p.Message, v.saidAt = "", time.Time{}
	}
	p.Prompt = ""
	if v.asking {
		p.Prompt = fmt.Sprintf("mark (NAME @ HEADING, HEIGHT %s): %s", v.session.units().Short(), string(v.typed))
		if v.quick && v.session.canVisit() {
			p.Prompt = "quick " + p.Prompt
		}
	}
	p.Marking = v.session.isMarking()
	lines := live.Frame(*p, live.Size{Width: w, Height: h, UTF8: v.utf8})
	for i := range max(len(lines), len(v.shown)) {
		var line, old string
		if i < len(lines) {
			line = printable(lines[i], v.utf8)
			if len(p.Code) > 0 && !v.plain {
				// A code is light around dark, whatever the terminal is.
				line = "\x1b[97;40m" + line + "\x1b[0m"
			}
		}
		if i < len(v.shown) {
			old = v.shown[i]
		}
		if line != old || v.shown == nil {
			fmt.Fprintf(&b, "\x1b[%d;1H%s", i+1, line)
			// At a full line's end the cursor stands on its last cell.
			if i >= len(lines) || cell.Width(lines[i]) < w {
				b.WriteString("\x1b[K")
			}
		}
		if i < len(lines) {
			lines[i] = line
		}
	}
	v.shown = lines
	if b.Len() > 0 {
		v.out.Write(b.Bytes())
	}
}

// printable keeps names from reaching the terminal's controls.
func printable(s string, utf bool) string {
	return strings.Map(func(r rune) rune {
		if unicode.IsControl(r) || !utf && r > unicode.MaxASCII {
			return '?'
		}
		return r
	}, s)
}

func (v *aimScreen) say(text string, now time.Time) {
	v.picture.Message, v.saidAt = text, now
}

// spot reads where a mark is. A heading alone is another one at the last place.
func (v *aimScreen) spot(text string) (spotted, error) {
	if strings.HasPrefix(strings.TrimSpace(text), "@") && v.lastSpot.place != "" {
		at, err := parseSpot(v.lastSpot.place+" "+text, v.session.units())
		if at.height == nil {
			at.height, at.units = v.lastSpot.height, v.lastSpot.units
		}
		return at, err
	}
	at, err := parseSpot(text, v.session.units())
	if err == nil {
		v.lastSpot = at
	}
	return at, err
}

// tell says what became of a mark.
func (v *aimScreen) tell(said string, err error, now time.Time) {
	if err != nil {
		said = "not kept: " + err.Error()
	} else {
		v.picture.Marks++
	}
	v.say(said, now)
}

// press obeys what was typed and reports whether that was to quit.
func (v *aimScreen) press(typed []byte, now time.Time) (quit bool) {
	for len(typed) > 0 {
		n := keyLength(typed)
		if v.key(typed[:n], now) {
			return true
		}
		typed = typed[n:]
	}
	return false
}

// keyLength is how many bytes the first key takes: a character, or the sequence
// that a terminal sends for a key without one.
func keyLength(typed []byte) int {
	if len(typed) > 2 && typed[0] == 0x1b && (typed[1] == '[' || typed[1] == 'O') {
		for i, c := range typed[2:] {
			if c >= 0x40 && c <= 0x7e {
				return i + 3
			}
		}
		return len(typed)
	}
	_, n := utf8.DecodeRune(typed)
	return n
}

func (v *aimScreen) key(k []byte, now time.Time) (quit bool) {
	const ctrlC = 3
	if k[0] == ctrlC {
		return true
	}
	if v.asking {
		v.answer(k, now)
		return false
	}
	if len(v.picture.Code) > 0 {
		v.picture.Code = nil
		return string(k) == "q"
	}
	p := &v.picture
	n := len(p.Channels)
	switch key := string(k); key {
	case "q", "Q":
		return true
	case "m", " ":
		v.quick = key == " " || !v.session.canVisit()
		if at := v.session.isMarking(); at != "" && !v.quick {
			v.say(at+" is being measured: one at a time", now)
			break
		}
		v.asking, v.typed = true, nil
	case "\x1b":
		if v.giveUp != nil {
			v.giveUp()
		}
	case "r":
		v.session.meter.ResetBest(p.Channels[p.Focus].Now.Channel.Number)
		v.say("best forgotten", now)
	case "n", "\x1b[C", "\x1b[B", "\x1bOC", "\x1bOB", "\t":
		p.Focus = (p.Focus + 1) % n
	case "p", "\x1b[D", "\x1b[A", "\x1bOD", "\x1bOA":
		p.Focus = (p.Focus + n - 1) % n
	case "s":
		p.Muted = !p.Muted
	case "?", "h":
		p.Help = !p.Help
	case "[", "]":
		by := 5.0
		if key == "[" {
			by = -by
		}
		if r := v.session.rotor; r == nil {
			v.say("only a simulated antenna turns by keys", now)
		} else {
			v.say(fmt.Sprintf("the simulated antenna points to %s true", site.Heading(r.turn(by))), now)
		}
	case "{", "}":
		by := site.Feet.PerUnit() / 2
		if key == "{" {
			by = -by
		}
		if r := v.session.rotor; r == nil {
			v.say("only a simulated antenna is carried by keys", now)
		} else {
			east := r.carry(by)
			v.say(fmt.Sprintf("the simulated antenna stands %s to the east", v.session.units().Length(east)), now)
		}
	case "c":
		v.offerCode()
		if len(p.Code) == 0 {
			v.say("no phone page: start with --page", now)
		}
	default:
		if len(key) == 1 && key[0] >= '1' && int(key[0]-'1') < n {
			p.Focus = int(key[0] - '1')
		}
	}
	return false
}

// answer is a key while the name of a place is being typed.
func (v *aimScreen) answer(k []byte, now time.Time) {
	const longest = 120
	r, _ := utf8.DecodeRune(k)
	switch {
	case len(k) == 1 && r == 0x1b: // Esc alone; arrows are passed over
		v.asking = false
	case r == '\r' || r == '\n':
		v.asking = false
		at, err := v.spot(string(v.typed))
		if err == nil && !v.quick {
			v.say("", now)
			v.careful(at)
			return
		}
		var said string
		if err == nil {
			said, err = v.session.keep(at)
		}
		v.tell(said, err, now)
	case r == 0x7f || r == '\b':
		v.typed = v.typed[:max(0, len(v.typed)-1)]
	case unicode.IsPrint(r) && len(v.typed) < longest:
		v.typed = append(v.typed, r)
	}
}
