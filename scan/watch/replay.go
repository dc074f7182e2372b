package watch

import (
	"bufio"
	"bytes"
	"encoding/json"
	"fmt"
	"io"
	"math"
	"slices"
	"time"

	"rooftone/scan/internal/linefile"
)

// replay goes through a log as the Writer went, and sums up what it had not.
type replay struct {
	log     *Log
	courses map[int]*course
	every   float64
	first   time.Time     // of the session's ticks
	shift   time.Duration // by which the clock was set since then
	begun   int           // lines that were read

	// Fades that the ticks show and no line has told of yet.
	untold []Fade

	// Where the session's entries begin, to set their times right when its
	// clock was.
	hours, fades, gaps, clocks, disk int
	minutes                          map[int]int

	lines [classes]int
}

func newReplay() *replay {
	return &replay{log: &Log{Minutes: map[int][]Minute{}}, courses: map[int]*course{}, every: 1, minutes: map[int]int{}}
}

func (p *replay) course(rf int) *course {
	c := p.courses[rf]
	if c == nil {
		c = newCourse(rf)
		p.courses[rf] = c
	}
	c.every = p.every
	return c
}

// read reads all lines. An error is the reader's, or of a file that is no log.
func (p *replay) read(r io.Reader) error {
	b := bufio.NewReaderSize(r, maxLine)
	for {
		line, err := b.ReadSlice('\n')
		switch {
		case err == bufio.ErrBufferFull:
			if p.begun == 0 {
				return ErrNotLog
			}
			for err == bufio.ErrBufferFull {
				_, err = b.ReadSlice('\n')
			}
			p.log.Damaged++
			if err == nil {
				continue
			}
		case err == io.EOF && len(line) > 0:
			if p.begun == 0 {
				return ErrNotLog
			}
			p.log.Torn = true
			return nil
		case err == nil:
			if line = bytes.TrimSpace(line); len(line) == 0 {
				continue
			}
			if err := p.line(line); err != nil {
				return err
			}
			continue
		}
		if err == io.EOF {
			if p.begun == 0 {
				return ErrNotLog
			}
			return nil
		}
		return err
	}
}

// kindOf reads a line's kind: fast where it stands first, as we write it.
func kindOf(line []byte) string {
	const head = `{"kind":"`
	if bytes.HasPrefix(line, []byte(head)) {
		rest := line[len(head):]
		if i := bytes.IndexByte(rest, '"'); i > 0 && i < 16 && bytes.IndexByte(rest[:i], '\\') < 0 {
			return string(rest[:i])
		}
	}
	var k struct {
		Kind string `json:"kind"`
	}
	if json.Unmarshal(line, &k) != nil {
		return ""
	}
	return k.Kind
}

// line takes one line. Only a first line that is no header is an error.
func (p *replay) line(line []byte) error {
	kind := kindOf(line)
	p.begun++
	if p.begun == 1 {
		return header(kind, line)
	}
	if c, ok := classOf(kind); ok {
		p.lines[c]++
	}
	ok := true
	switch kind {
	case "tick":
		ok = decodeAs(line, p.tick)
	case "minute":
		ok = decodeAs(line, p.minute)
	case "hour":
		ok = decodeAs(line, p.hour)
	case "day":
		ok = decodeAs(line, p.day)
	case "fade":
		ok = decodeAs(line, p.fade)
	case "start":
		ok = decodeAs(line, p.start)
	case "stop", "away", "back", "clock", "disk":
		ok = decodeAs(line, p.moment)
	case "":
		ok = false
	default:
		ok = json.Valid(line) // of a kind that this program does not know
	}
	if !ok {
		p.log.Damaged++
	}
	return nil
}

func header(kind string, line []byte) error {
	var h headerLine
	if kind != "watch" || json.Unmarshal(line, &h) != nil {
		return ErrNotLog
	}
	if h.Schema != Schema {
		return fmt.Errorf("its schema is %q, and this program knows %q: %w", linefile.Printable(h.Schema, 60), Schema, ErrNewer)
	}
	return nil
}

func decodeAs[L any](line []byte, take func(L) bool) bool {
	var l L
	return json.Unmarshal(line, &l) == nil && take(l)
}

func (p *replay) session() *Session {
	if len(p.log.Sessions) == 0 {
		p.log.Sessions = append(p.log.Sessions, Session{}) // its line was damaged
	}
	return &p.log.Sessions[len(p.log.Sessions)-1]
}

// seen lets a session last at least until a moment.
func (p *replay) seen(at time.Time) {
	s := p.session()
	if s.Start.IsZero() {
		s.Start = at
	}
	if at.After(s.End) {
		s.End = at
	}
}

func (p *replay) start(l startLine) bool {
	at, err := time.Parse(time.RFC3339, l.Time)
	if err != nil || !(l.EverySec > 0 && l.EverySec <= 86400) || len(l.RFChannels) > 64 {
		return false
	}
	p.sumUp() // what the session before had no time to
	p.every, p.first, p.shift = l.EverySec, time.Time{}, 0
	for _, c := range p.courses {
		c.restart()
	}
	s := Session{Start: at, End: at, EverySec: l.EverySec, RFChannels: l.RFChannels, Source: linefile.Printable(l.Source, 500)}
	if l.ThresholdDB != nil {
		s.ThresholdDB = *l.ThresholdDB
	}
	p.closeGap(at)
	p.log.Sessions = append(p.log.Sessions, s)
	p.mark()
	return true
}

// mark remembers where a session's entries begin.
func (p *replay) mark() {
	l := p.log
	p.hours, p.fades, p.gaps, p.clocks, p.disk = len(l.Hours), len(l.Fades), len(l.Gaps), len(l.Clocks), len(l.Disk)
	for rf, m := range l.Minutes {
		p.minutes[rf] = len(m)
	}
}

func (p *replay) tick(l tickLine) bool {
	t, ok := l.tick()
	if !ok {
		return false
	}
	p.log.Ticks++
	if p.first.IsZero() {
		p.first = t.Time
	}
	t.Since = t.Time.Add(-p.shift).Sub(p.first)
	for _, r := range t.Readings {
		c := p.course(r.RFChannel)
		p.roll(c, t.Time)
		if ended := c.add(r, t.Time, t.Since); ended != nil {
			p.untold = append(p.untold, *ended)
		}
		if p.every >= minuteEvery {
			p.endMinute(c)
		}
	}
	p.seen(t.Time)
	return true
}

// roll sums a minute and an hour up that are over and that no line has summed up:
// it was damaged, or somebody else made the file.
func (p *replay) roll(c *course, at time.Time) {
	if len(c.minute.values) > 0 && !c.minute.start.Truncate(time.Minute).Equal(at.Truncate(time.Minute)) {
		p.endMinute(c)
	}
	if c.hour.Readings > 0 && !c.hour.Start.Truncate(time.Hour).Equal(at.Truncate(time.Hour)) {
		h, _ := c.endHour()
		p.log.Hours = append(p.log.Hours, h)
	}
}

func (p *replay) endMinute(c *course) {
	if m, ok := c.endMinute(); ok {
		p.log.Minutes[c.rf] = append(p.log.Minutes[c.rf], m)
	}
}

func (p *replay) minute(l minuteLine) bool {
	list, ok := l.minutes()
	for _, m := range list {
		c := p.course(m.RFChannel)
		c.minute.values = c.minute.values[:0]
		c.settle(m.MedianDB)
		p.log.Minutes[m.RFChannel] = append(p.log.Minutes[m.RFChannel], m)
		p.seen(m.Time)
	}
	return ok
}

func (p *replay) hour(l hourLine) bool {
	t, ok := l.tally()
	if !ok {
		return false
	}
	c := p.course(t.RFChannel)
	c.hour = Tally{}
	p.untold = slices.DeleteFunc(p.untold, func(f Fade) bool { return f.RFChannel == t.RFChannel })
	p.log.Hours = append(p.log.Hours, t)
	p.seen(t.Start)
	return true
}

// day takes what sums up hours that are not there any more.
func (p *replay) day(l hourLine) bool {
	t, ok := l.tally()
	if ok {
		p.log.Hours = append(p.log.Hours, t)
		p.seen(t.Start)
	}
	return ok
}

func (p *replay) fade(l fadeLine) bool {
	f, ok := l.fade()
	if !ok {
		return false
	}
	p.untold = slices.DeleteFunc(p.untold, func(u Fade) bool {
		return u.RFChannel == f.RFChannel && u.Time.Sub(f.Time).Abs() < 2*time.Millisecond
	})
	p.log.Fades = append(p.log.Fades, f)
	p.course(f.RFChannel).hour.told++
	return true
}

func (p *replay) moment(l momentLine) bool {
	at, err := time.Parse(time.RFC3339, l.Time)
	if err != nil {
		return false
	}
	seconds := 0.0
	if l.Seconds != nil && *l.Seconds >= 0 {
		seconds = *l.Seconds
	}
	switch l.Kind {
	case "stop":
		p.session().Stopped = true
	case "away":
		p.closeGap(at)
		p.log.Gaps = append(p.log.Gaps, Gap{Start: at, Reason: linefile.Printable(l.Reason, 300), Open: true})
	case "back":
		if n := len(p.log.Gaps); n > 0 && p.log.Gaps[n-1].Open {
			p.log.Gaps[n-1].Open, p.log.Gaps[n-1].Seconds = false, seconds
		}
	case "disk":
		p.log.Disk = append(p.log.Disk, DiskTrouble{at, seconds, linefile.Printable(l.Reason, 300), max(0, l.LostTicks)})
		return true // its time is of the beginning
	case "clock":
		if l.BySec == nil {
			return false
		}
		p.setClock(at, *l.BySec)
	}
	p.seen(at)
	return true
}

// closeGap ends a gap that no line has ended.
func (p *replay) closeGap(at time.Time) {
	if n := len(p.log.Gaps); n > 0 && p.log.Gaps[n-1].Open {
		g := &p.log.Gaps[n-1]
		g.Open, g.Seconds = false, max(0, at.Sub(g.Start).Seconds())
	}
}

// setClock sets right what the session's clock said before it was set.
func (p *replay) setClock(at time.Time, bySec float64) {
	by := time.Duration(bySec * 1e9)
	p.shift += by
	l, s := p.log, p.session()
	s.Start, s.End = s.Start.Add(by), s.End.Add(by)
	for i := range l.Hours[p.hours:] {
		l.Hours[p.hours+i].Start = l.Hours[p.hours+i].Start.Add(by)
	}
	for i := range l.Fades[p.fades:] {
		l.Fades[p.fades+i].Time = l.Fades[p.fades+i].Time.Add(by)
	}
	for i := range l.Gaps[p.gaps:] {
		l.Gaps[p.gaps+i].Start = l.Gaps[p.gaps+i].Start.Add(by)
	}
	for i := range l.Clocks[p.clocks:] {
		l.Clocks[p.clocks+i].Time = l.Clocks[p.clocks+i].Time.Add(by)
	}
	for i := range l.Disk[p.disk:] {
		l.Disk[p.disk+i].Start = l.Disk[p.disk+i].Start.Add(by)
	}
	for rf, list := range l.Minutes {
		for i := range list[p.minutes[rf]:] {
			list[p.minutes[rf]+i].Time = list[p.minutes[rf]+i].Time.Add(by)
		}
	}
	for _, c := range p.courses {
		c.hour.Start, c.minute.start = c.hour.Start.Add(by), c.minute.start.Add(by)
	}
	l.Clocks = append(l.Clocks, ClockSet{at, bySec})
}

// sumUp does what the Writer had no time to.
func (p *replay) sumUp() {
	for _, rf := range p.order() {
		c := p.courses[rf]
		p.endMinute(c)
		if h, ok := c.endHour(); ok {
			p.log.Hours = append(p.log.Hours, h)
		}
	}
	p.log.Fades = append(p.log.Fades, p.untold...)
	p.untold = nil
}

func (p *replay) order() []int {
	var out []int
	for rf := range p.courses {
		out = append(out, rf)
	}
	slices.Sort(out)
	return out
}

// finish puts what was gathered in order.
func (p *replay) finish() {
	p.sumUp()
	l := p.log
	if n := len(l.Gaps); n > 0 && l.Gaps[n-1].Open && len(l.Sessions) > 0 {
		g := &l.Gaps[n-1]
		g.Seconds = max(0, l.Sessions[len(l.Sessions)-1].End.Sub(g.Start).Seconds())
	}
	slices.SortStableFunc(l.Hours, func(a, b Tally) int { return a.Start.Compare(b.Start) })
	slices.SortStableFunc(l.Fades, func(a, b Fade) int { return a.Time.Compare(b.Time) })
	for _, list := range l.Minutes {
		slices.SortStableFunc(list, func(a, b Minute) int { return a.Time.Compare(b.Time) })
	}
}

// restart forgets what a gap between two runs makes worthless.
func (c *course) restart() {
	c.fade, c.last, c.lastAt = nil, math.NaN(), 0
	c.minute.values = c.minute.values[:0]
	c.hour = Tally{}
}
