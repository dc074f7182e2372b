package site

import (
	"bytes"
	"cmp"
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"math"
	"slices"
	"strconv"
	"strings"

	"rooftone/scan/internal/linefile"
)

// Station is where a transmission comes from.
type Station struct {
	RFChannel int
	Label     string
	At        Position
	ERPKW     *float64 // effective radiated power, kW
	HeightM   *float64 // of the transmitting antenna, m, as the list counts it
	Shown     string   // the number that a TV shows, such as 8.1, or 8 for all that begin so; "" when not known
}

const (
	maxHeightM  = 10_000
	maxERPKW    = 100_000
	maxStations = 50_000
	maxList     = 32 << 20 // bytes of a station list
	maxRow      = 64 << 10 // bytes of one of its rows
)

func (s Station) check() error {
	if err := checkRF(s.RFChannel); err != nil {
		return err
	}
	if err := s.At.check(); err != nil {
		return err
	}
	if p := s.ERPKW; p != nil && !(*p >= 0 && *p <= maxERPKW) {
		return fmt.Errorf("a power of %g kW", *p)
	}
	if h := s.HeightM; h != nil && !(math.Abs(*h) <= maxHeightM) {
		return fmt.Errorf("a height of %g m", *h)
	}
	if s.Shown != "" && !shownNumber(s.Shown) {
		return fmt.Errorf("the number %q, which no TV shows: write 8.1 or 8", linefile.Printable(s.Shown, 40))
	}
	return nil
}

// shownNumber reports whether a TV may show a number, as A/65 has them: one from 1
// to 999, or two of them with a point between.
func shownNumber(s string) bool {
	major, minor, two := strings.Cut(s, ".")
	for i, part := range []string{major, minor} {
		if i == 1 && !two {
			break
		}
		if n, err := strconv.ParseUint(part, 10, 16); err != nil || n > 999 || i == 0 && n == 0 {
			return false
		}
	}
	return true
}

func sortStations(list []Station) {
	slices.SortStableFunc(list, func(a, b Station) int {
		return cmp.Or(cmp.Compare(a.RFChannel, b.RFChannel), cmp.Compare(a.Label, b.Label))
	})
}

// Bearings is a Station as seen from somewhere.
type Bearings struct {
	Station
	Path
}

// From returns the stations as seen from a position, in the order given. A
// station on the far side of the globe is left out.
func From(at Position, list []Station) ([]Bearings, error) {
	if err := at.check(); err != nil {
		return nil, err
	}
	var out []Bearings
	for _, s := range list {
		p, err := PathBetween(at, s.At)
		if errors.Is(err, ErrAntipodal) {
			continue
		}
		if err != nil {
			return nil, fmt.Errorf("the station on RF channel %d: %w", s.RFChannel, err)
		}
		out = append(out, Bearings{s, p})
	}
	return out, nil
}

// ReadStations reads a station list: CSV in UTF-8 as RFC 4180 has it, whose
// first row names the columns, in any order:
//
//	rf_channel  RF channel                                        needed
//	latitude    degrees, north positive, WGS 84                   needed
//	longitude   degrees, east positive                            needed
//	label       what people call the station
//	erp_kw      effective radiated power, kW
//	height_m    height of the transmitting antenna, m
//	shown_channel  the number that a TV shows, such as 8.1
//
// Other columns are passed over, lines that begin with # and empty lines too.
// An empty field is a value that is not known; in the columns that are needed
// it is an error. An error says which line it is about. The result is in order
// of RF channel.
func ReadStations(r io.Reader) ([]Station, error) {
	l := stationList{rows: &rowReader{r: io.LimitReader(r, maxList+1)}}
	c := csv.NewReader(l.rows)
	c.Comment = '#'
	c.TrimLeadingSpace = true
	c.FieldsPerRecord = -1
	c.ReuseRecord = true
	for {
		row, err := c.Read()
		if l.rows.read > maxList {
			return nil, fmt.Errorf("reading the station list: it is longer than %d MB", maxList>>20)
		}
		if err == io.EOF {
			break
		}
		if err != nil {
			return nil, fmt.Errorf("reading the station list: %w", err)
		}
		line, _ := c.FieldPos(0)
		if err := l.add(row); err != nil {
			return nil, fmt.Errorf("reading the station list: line %d: %w", line, err)
		}
	}
	if l.columns == nil {
		return nil, errors.New("reading the station list: it is empty: its first line names the columns")
	}
	sortStations(l.stations)
	return l.stations, nil
}

// stationList is a list while it is read.
type stationList struct {
	rows     *rowReader
	columns  map[string]int
	width    int
	stations []Station
}

func (l *stationList) add(row []string) error {
	if l.columns == nil {
		return l.header(row)
	}
	if len(row) == 1 && strings.TrimSpace(row[0]) == "" {
		return nil
	}
	if len(row) != l.width {
		return fmt.Errorf("it has %d fields where the first line has %d", len(row), l.width)
	}
	if len(l.stations) == maxStations {
		return fmt.Errorf("more than %d stations", maxStations)
	}
	s, err := l.station(row)
	if err != nil {
		return err
	}
	l.stations = append(l.stations, s)
	return nil
}

func (l *stationList) header(row []string) error {
	l.columns, l.width = map[string]int{}, len(row)
	for i, name := range row {
		if i == 0 {
			name = strings.TrimPrefix(name, "\ufeff")
		}
		name = strings.ToLower(strings.TrimSpace(name))
		if _, twice := l.columns[name]; twice && name != "" {
			return fmt.Errorf("two columns are named %q", linefile.Printable(name, maxName))
		}
		l.columns[name] = i
	}
	for _, name := range []string{"rf_channel", "latitude", "longitude"} {
		if _, ok := l.columns[name]; !ok {
			return fmt.Errorf("no column is named %q: the first line names the columns", name)
		}
	}
	return nil
}

func (l *stationList) station(row []string) (Station, error) {
	field := func(name string) string {
		if i, ok := l.columns[name]; ok {
			return strings.TrimSpace(row[i])
		}
		return ""
	}
	var errs []error
	number := func(name string, needed bool) *float64 {
		text := field(name)
		if text == "" && !needed {
			return nil
		}
		v, err := strconv.ParseFloat(text, 64)
		if err != nil {
			errs = append(errs, fmt.Errorf("its %s is %q, which is no number", name, linefile.Printable(text, 40)))
			return nil
		}
		return &v
	}
	s := Station{Label: linefile.Printable(field("label"), maxName)}
	rf, err := strconv.Atoi(field("rf_channel"))
	if err != nil {
		errs = append(errs, fmt.Errorf("its rf_channel is %q, which is no RF channel", linefile.Printable(field("rf_channel"), 40)))
	}
	s.RFChannel = rf
	lat, lon := number("latitude", true), number("longitude", true)
	s.ERPKW, s.HeightM = number("erp_kw", false), number("height_m", false)
	if len(errs) > 0 {
		return Station{}, errs[0]
	}
	s.At = Position{*lat, *lon}
	s.Shown = field("shown_channel")
	return s, s.check()
}

// rowReader counts what is read, and ends with an error at a row that never
// ends: encoding/csv would gather it all.
type rowReader struct {
	r    io.Reader
	read int64
	row  int // bytes since the last line feed
}

func (r *rowReader) Read(b []byte) (int, error) {
	n, err := r.r.Read(b)
	r.read += int64(n)
	if i := bytes.LastIndexByte(b[:n], '\n'); i >= 0 {
		r.row = n - i - 1
	} else {
		r.row += n
	}
	if r.row > maxRow {
		return 0, fmt.Errorf("a line is longer than %d bytes", maxRow)
	}
	return n, err
}
