package site

import (
	"bufio"
	"errors"
	"fmt"
	"io"
	"os"

	"rooftone/scan/internal/linefile"
)

// House is all that a house file says.
type House struct {
	Header
	// How heights and headings are told there; empty and nil where nobody said.
	Units          Units
	North          North
	DeclinationDeg *float64 // by how much a compass points east of true north

	Wanted   []Want // ascending by RF channel
	Marks    []Mark // in the order of the file
	Turns    []TurnRecord
	Stations []Station // by RF channel, then label
	Learnt   []Learnt  // ascending by RF channel: who was received there last
	Lead     *Lead     // from antenna to receiver; nil where nobody said

	Others  int      // records of kinds that are not known here
	Damage  []Damage // lines that are no records, in the order of the file; the first maxDamage
	Damaged int      // how many such lines there are in all
}

// Want is one wanted channel.
type Want struct {
	RFChannel int
	Label     string
	// Importance is how many channels this one counts as: 1 unless someone
	// said otherwise. 0 is shown but does not count.
	Importance int
}

// Damage is a line that could not be used.
type Damage struct {
	Line   int   // 1 is the first
	Offset int64 // of its first byte in the file
	Bytes  int64
	Torn   bool // the last line, cut off before its end
	Reason string
}

func (d Damage) String() string {
	if d.Torn {
		return fmt.Sprintf("line %d was cut off before its end and is passed over", d.Line)
	}
	return fmt.Sprintf("line %d is passed over: %s", d.Line, d.Reason)
}

// ErrNotHouse is wrapped by the error for a file that is no house file.
var ErrNotHouse = errors.New("not a house file")

// ErrNewer is wrapped by the error for a house file whose fields mean
// something else than they do here.
var ErrNewer = errors.New("written for a newer program")

const (
	maxDamage  = 100
	maxFile    = 512 << 20 // bytes of a house file
	maxRecords = 200_000
)

// Read reads a house file. Lines that are no records do not fail it: they are
// told in Damage.
func Read(path string) (*House, error) {
	f, err := linefile.Open(path, os.O_RDONLY)
	if err != nil {
		return nil, fmt.Errorf("reading the house file: %w", err)
	}
	defer f.Close()
	h, err := Decode(f)
	if err != nil {
		return nil, fmt.Errorf("reading the house file %s: %w", path, err)
	}
	return h, nil
}

// Decode reads the content of a house file.
func Decode(r io.Reader) (*House, error) {
	d := decoder{
		lines:    lines{r: bufio.NewReaderSize(io.LimitReader(r, maxFile+1), 64<<10)},
		wanted:   map[int]*Want{},
		stations: map[stationKey]Station{},
	}
	for {
		l, err := d.lines.next()
		if err == io.EOF {
			break
		}
		if err != nil {
			return nil, err
		}
		if d.lines.offset > maxFile || d.records > maxRecords {
			return nil, fmt.Errorf("it has more than %d MB or %d records", maxFile>>20, maxRecords)
		}
		if err := d.take(l); err != nil {
			return nil, err
		}
	}
	if d.records == 0 {
		return nil, fmt.Errorf("it is empty: %w", ErrNotHouse)
	}
	d.finish()
	return &d.house, nil
}

// Label returns what people call an RF channel: the wanted channel's label, or
// that of the only station on it, or who was received there, or nothing.
func (h *House) Label(rfChannel int) string {
	for _, w := range h.Wanted {
		if w.RFChannel == rfChannel && w.Label != "" {
			return w.Label
		}
	}
	label, n := "", 0
	for _, s := range h.Stations {
		if s.RFChannel == rfChannel && s.Label != "" {
			label = s.Label
			n++
		}
	}
	if n == 1 {
		return label
	}
	if l := h.LearntOf(rfChannel); l != nil {
		return l.Label()
	}
	return ""
}

// LearntOf returns who was received on an RF channel; nil where nobody was.
func (h *House) LearntOf(rfChannel int) *Learnt {
	for i := range h.Learnt {
		if h.Learnt[i].RFChannel == rfChannel {
			return &h.Learnt[i]
		}
	}
	return nil
}
