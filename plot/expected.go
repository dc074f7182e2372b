package plot

import (
	"fmt"
	"io"
	"math"
	"strings"

	"rooftone/scan/expect"
	"rooftone/scan/site"
)

// Expected writes what is expected at a house as text, the best first.
func Expected(w io.Writer, e *expect.Expectation, h expect.House, o TextOptions) error {
	if o.Width == 0 {
		o.Width = 80
	}
	o.Width = max(o.Width, 40)
	t := newTable(o)
	t.note("Expected: ", e.Headline())
	t.note("aim: ", e.Aim())
	columns := t.expectedColumns(o.Width)
	for _, group := range []struct {
		outlook expect.Outlook
		title   string
	}{
		{expect.Likely, "should come in"},
		{expect.Open, "may come in"},
		{expect.Unlikely, "should not come in"},
	} {
		if e.Count(group.outlook) == 0 {
			continue
		}
		t.line("")
		t.line(group.title + ":")
		t.expectedRow(columns, func(c expectedColumn) string { return c.title })
		for i := range e.Stations {
			if x := &e.Stations[i]; x.Outlook == group.outlook {
				t.expectedRow(columns, func(c expectedColumn) string { return c.text(x) })
			}
		}
	}
	if e.Count("") > 0 {
		t.line("")
		t.line("not reckoned:")
		for i := range e.Stations {
			if x := &e.Stations[i]; x.Outlook == "" {
				t.set(fmt.Sprintf("%3d  ", x.RFChannel), fmt.Sprintf("%s, %s, %s: %s", called(x), site.Heading(x.BearingDeg), farUnit(o.Units).write(x.DistanceM), x.Problem), 5)
			}
		}
	}
	t.line("")
	t.expectedNotes(e, h)
	if _, err := w.Write(t.b.Bytes()); err != nil {
		return fmt.Errorf("writing what is expected: %w", err)
	}
	return nil
}

// expectedColumn is a column of the table; a negative width is set to the left.
type expectedColumn struct {
	title string
	width int
	text  func(*expect.Expected) string
	spare int // the larger the sooner it goes where there is no room
}

func (t *table) expectedColumns(room int) []expectedColumn {
	far := farUnit(t.o.Units)
	all := []expectedColumn{
		{" RF", 3, func(x *expect.Expected) string { return fmt.Sprint(x.RFChannel) }, 0},
		{"station", -14, func(x *expect.Expected) string { return called(x) }, 0},
		{"from", 4, func(x *expect.Expected) string { return fmt.Sprintf("%.0f", turnedDeg(x.BearingDeg)) }, 0},
		{"", -3, func(x *expect.Expected) string { return site.Point(x.BearingDeg) }, 0},
		{far.short, 4, func(x *expect.Expected) string { return fmt.Sprintf("%.0f", x.DistanceM/far.metres) }, 1},
		{"dBµV/m", 6, func(x *expect.Expected) string { return fmt.Sprintf("%.0f", x.Field.Value) }, 4},
		{"dBm", 4, func(x *expect.Expected) string { return fmt.Sprintf("%.0f", x.Antenna.Value) }, 5},
		{"C/N", 4, func(x *expect.Expected) string { return fmt.Sprintf("%.0f", x.CN.Value) }, 2},
		{"margin", 6, func(x *expect.Expected) string { return fmt.Sprintf("%+.0f", x.Margin.Value) }, 0},
		{"interval", -len("-140 to -120"), func(x *expect.Expected) string {
			return fmt.Sprintf("%+.0f to %+.0f", x.Margin.Low, x.Margin.High)
		}, 0},
		{"way", -len("hidden 0.12 km"), func(x *expect.Expected) string {
			if x.Hidden && x.Way() == "hidden" {
				return "hidden " + far.write(x.HiddenM)
			}
			return x.Way()
		}, 3},
	}
	for {
		wide, spare := len(all)-1, 0
		for i, c := range all {
			wide += max(c.width, -c.width)
			if c.spare > all[spare].spare {
				spare = i
			}
		}
		if wide <= room || all[spare].spare == 0 {
			return all
		}
		all = append(all[:spare:spare], all[spare+1:]...)
	}
}

func (t *table) expectedRow(columns []expectedColumn, text func(expectedColumn) string) {
	var b strings.Builder
	for i, c := range columns {
		if i > 0 {
			b.WriteByte(' ')
		}
		s := fitRunes(t.plain(text(c)), max(c.width, -c.width))
		pad := strings.Repeat(" ", max(0, max(c.width, -c.width)-width(s)))
		if c.width < 0 {
			b.WriteString(s + pad)
		} else {
			b.WriteString(pad + s)
		}
	}
	t.line(fitRunes(b.String(), t.o.Width))
}

// far is the unit in which distances of stations are told.
type far struct {
	short  string
	metres float64
}

func farUnit(u site.Units) far {
	if u == site.Feet {
		return far{"mi", 1609.344}
	}
	return far{"km", 1e3}
}

func (f far) write(m float64) string { return fmt.Sprintf("%.2g %s", m/f.metres, f.short) }

// called is what a station is called.
func called(x *expect.Expected) string {
	if x.Label == "" {
		return "-"
	}
	return x.Label
}

// turnedDeg is a bearing that does not round to 360.
func turnedDeg(deg float64) float64 { return math.Mod(math.Round(deg), 360) }

// expectedNotes say on what the figures rest, and which tiles are wanted.
func (t *table) expectedNotes(e *expect.Expectation, h expect.House) {
	smooth, unknown, hidden, bridged := 0, 0, false, 0.0
	for i := range e.Stations {
		x := &e.Stations[i]
		if x.Problem != "" {
			continue
		}
		if x.Ground == expect.Smooth {
			smooth++
		}
		if x.HeightUnknown {
			unknown++
		}
		bridged, hidden = max(bridged, x.BridgedM), hidden || x.Hidden
		if x.RivalDB != nil && *x.RivalDB >= 0 && *x.RivalDB < rivalDB && x.Outlook != expect.Unlikely {
			t.note(fmt.Sprintf("channel %d: ", x.RFChannel), fmt.Sprintf("%s comes only %.0f dB above %s, also on it, where %d would do: it takes an antenna that keeps them apart", called(x), *x.RivalDB, or(x.Rival, "another station"), rivalDB))
		}
	}
	t.note("intervals: ", "true in 95 of 100 cases: the model's own error, 5.5 dB between one place and the next, and antenna, line and receiver as they differ. Margins are for 90 % of the time, other figures for an ordinary moment.")
	uhf := h.Gear(600e6)
	length := site.Metres.Length(h.HeightM)
	if t.o.Units == site.Feet {
		length = site.Feet.Length(h.HeightM)
	}
	t.note("with: ", fmt.Sprintf("the antenna %s above the ground, %.3g dB over a dipole on UHF (%s), a line that loses %.3g dB, a receiver with a noise figure of %.3g dB that decodes at a C/N of %.3g dB",
		length, uhf.Gain.Value, rangeOf(uhf.Gain), uhf.Line.Value, uhf.NoiseFigure.Value, h.ThresholdDB))
	if smooth > 0 {
		t.note("no terrain: ", fmt.Sprintf("not known for %d of them: the earth is taken for smooth, and the intervals reach down to what mountains leave", smooth))
	}
	if hidden {
		advice := "ground stands between, the last of it so far from the house: a higher antenna, or a place with a free view that way, may gain much"
		t.note("hidden: ", advice)
		for _, c := range Cautions([]string{advice}) {
			t.note("mind: ", c)
		}
	}
	if unknown > 0 {
		t.note("heights: ", fmt.Sprintf("not known for the antennas of %d of them: anything from 50 to 500 m is in the intervals", unknown))
	}
	if bridged > 0 {
		t.note("voids: ", fmt.Sprintf("the tiles have holes, of up to %s on one way: bridged by straight lines", farUnit(t.o.Units).write(bridged)))
	}
	if e.Far > 0 {
		t.note("far: ", fmt.Sprintf("more of the list beyond %.0f km: %d", expect.MaxDistanceM/1e3, e.Far))
	}
	var lacking []string
	for _, n := range e.Missing {
		lacking = append(lacking, string(n)+".hgt")
	}
	if len(lacking) > 0 {
		t.note("tiles: ", fmt.Sprintf("lacking %d of %d: %s (SRTM of 1 or 3 arc seconds, NASA and USGS, public domain); put them into a folder and name it with --terrain", len(lacking), len(e.Wanted), strings.Join(lacking, " ")))
	}
}

// rivalDB is how far a station has to stand above another on its channel: FCC OET
// Bulletin 69, Table 5A, digital into digital: 15 dB, from memory.
const rivalDB = 15

func or(s, otherwise string) string {
	if s == "" {
		return otherwise
	}
	return s
}

func rangeOf(f expect.Figure) string {
	if f.High == f.Low {
		return "as given"
	}
	return fmt.Sprintf("%.3g to %.3g", f.Low, f.High)
}
