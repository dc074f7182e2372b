package watch

import (
	"encoding/json"
	"math"
	"slices"
	"strconv"
	"time"

	"rooftone/scan/measure"
)

// Schema names the log's form. The number rises when a field changes its
// meaning or goes; new fields and kinds come under the same number.
const Schema = "rooftone.watch/1"

// stampLayout is how the log writes a time.
const stampLayout = "2006-01-02T15:04:05.000Z07:00"

type headerLine struct {
	Kind    string `json:"kind"`
	Schema  string `json:"schema"`
	Created string `json:"created"`
	Program string `json:"program,omitempty"`
}

type startLine struct {
	Kind        string   `json:"kind"`
	Time        string   `json:"time"`
	EverySec    float64  `json:"every_s"`
	RFChannels  []int    `json:"rf_channels"`
	ThresholdDB *float64 `json:"threshold_db,omitempty"`
	Source      string   `json:"source,omitempty"`
	Program     string   `json:"program,omitempty"`
}

// momentLine is of the kinds stop, away, back, clock and disk.
type momentLine struct {
	Kind      string   `json:"kind"`
	Time      string   `json:"time"`
	Reason    string   `json:"reason,omitempty"`
	Seconds   *float64 `json:"seconds,omitempty"`    // back, disk: how long it was so
	BySec     *float64 `json:"by_s,omitempty"`       // clock: how far it was put forward
	LostTicks int      `json:"lost_ticks,omitempty"` // disk
}

type fadeLine struct {
	Kind      string   `json:"kind"`
	Time      string   `json:"time"`
	RFChannel int      `json:"rf_channel"`
	Seconds   *float64 `json:"seconds"`
	UsualDB   *float64 `json:"usual_db"`
	DepthDB   *float64 `json:"depth_db"`
	BelowSec  *float64 `json:"below_s,omitempty"`
	Stayed    bool     `json:"stayed,omitempty"`
	Overload  bool     `json:"overload,omitempty"`
	Impulse   bool     `json:"impulse,omitempty"`
}

type hourLine struct {
	Kind        string   `json:"kind"`
	Time        string   `json:"time"`
	RFChannel   int      `json:"rf_channel"`
	EverySec    float64  `json:"every_s"`
	Readings    int      `json:"readings"`
	Absent      int      `json:"absent,omitempty"`
	FirstDB     *float64 `json:"first_db,omitempty"`
	Counts      []int    `json:"counts,omitempty"`
	FirstFall   *int     `json:"first_fall_db,omitempty"`
	Falls       []int    `json:"falls,omitempty"`
	Overload    int      `json:"overload,omitempty"`
	Impulse     int      `json:"impulse,omitempty"`
	Lost        int      `json:"lost,omitempty"`
	ATSC3       int      `json:"atsc3,omitempty"`
	Other       int      `json:"other_standard,omitempty"`
	AtMostDB    *float64 `json:"at_most_db,omitempty"`
	Fades       int      `json:"fades,omitempty"`
	FadeSec     *float64 `json:"fade_s,omitempty"`
	DeepestDB   *float64 `json:"deepest_db,omitempty"`
	FirstLength *int     `json:"first_length,omitempty"`
	Lengths     []int    `json:"lengths,omitempty"`
}

type tickLine struct {
	Kind     string              `json:"kind"`
	Time     string              `json:"time"`
	MarginDB map[string]*float64 `json:"margin_db"`
	Overload []int               `json:"overload,omitempty"`
	Impulse  []int               `json:"impulse,omitempty"`
	Lost     []int               `json:"lost,omitempty"`
	ATSC3    []int               `json:"atsc3,omitempty"`
	Other    []int               `json:"other_standard,omitempty"`
	AtMostDB map[string]*float64 `json:"at_most_db,omitempty"`
}

type minuteLine struct {
	Kind     string                `json:"kind"`
	Time     string                `json:"time"`
	MarginDB map[string][]*float64 `json:"margin_db"` // median, least, most, readings
}

func stamp(t time.Time) string { return t.Format(stampLayout) }

// rounded rounds to 1/per, and returns nil for what JSON cannot hold.
func rounded(v, per float64) *float64 {
	if v = math.Round(v*per)/per + 0; math.IsNaN(v) || math.IsInf(v, 0) {
		return nil
	}
	return &v
}

// encode writes a line that is written seldom.
func encode(v any) []byte {
	b, err := json.Marshal(v)
	if err != nil {
		return nil // none of our types can fail: their numbers are finite
	}
	return append(b, '\n')
}

// appendMargin writes a margin to the hundredth of a dB.
func appendMargin(b []byte, db float64) []byte {
	if math.IsNaN(db) || math.IsInf(db, 0) {
		return append(b, "null"...)
	}
	return strconv.AppendFloat(b, math.Round(db*100)/100+0, 'f', -1, 64)
}

// appendTick writes a tick, which is written the most often.
func appendTick(b []byte, t Tick) []byte {
	b = append(b, `{"kind":"tick","time":"`...)
	b = t.Time.AppendFormat(b, stampLayout)
	b = append(b, `","margin_db":{`...)
	for i, r := range t.Readings {
		if i > 0 {
			b = append(b, ',')
		}
		b = append(b, '"')
		b = strconv.AppendInt(b, int64(r.RFChannel), 10)
		b = append(b, `":`...)
		if r.MarginDB == nil {
			b = append(b, "null"...)
		} else {
			b = appendMargin(b, *r.MarginDB)
		}
	}
	b = append(b, '}')
	for _, flag := range []struct {
		name string
		is   func(*Reading) bool
	}{
		{"overload", func(r *Reading) bool { return r.Overload }},
		{"impulse", func(r *Reading) bool { return r.Impulse }},
		{"lost", func(r *Reading) bool { return r.Lost }},
		{"atsc3", func(r *Reading) bool { return r.Standard == measure.ATSC3 }},
		{"other_standard", func(r *Reading) bool { return r.Standard == measure.OtherStandard }},
	} {
		first := true
		for i := range t.Readings {
			if !flag.is(&t.Readings[i]) {
				continue
			}
			if first {
				b = append(append(append(b, `,"`...), flag.name...), `":[`...)
			} else {
				b = append(b, ',')
			}
			first = false
			b = strconv.AppendInt(b, int64(t.Readings[i].RFChannel), 10)
		}
		if !first {
			b = append(b, ']')
		}
	}
	return append(appendAtMost(b, t), "}\n"...)
}

// appendAtMost writes what the margins were below that were not there.
func appendAtMost(b []byte, t Tick) []byte {
	first := true
	for _, r := range t.Readings {
		if r.AtMostDB == nil || math.IsNaN(*r.AtMostDB) || math.IsInf(*r.AtMostDB, 0) {
			continue
		}
		if first {
			b = append(b, `,"at_most_db":{"`...)
		} else {
			b = append(b, `,"`...)
		}
		first = false
		b = strconv.AppendInt(b, int64(r.RFChannel), 10)
		b = append(b, `":`...)
		b = strconv.AppendFloat(b, math.Ceil(*r.AtMostDB*10)/10+0, 'f', -1, 64)
	}
	if !first {
		b = append(b, '}')
	}
	return b
}

// appendMinute writes the minutes of all channels that began together.
func appendMinute(b []byte, minutes []Minute) []byte {
	b = append(b, `{"kind":"minute","time":"`...)
	b = minutes[0].Time.AppendFormat(b, stampLayout)
	b = append(b, `","margin_db":{`...)
	for i, m := range minutes {
		if i > 0 {
			b = append(b, ',')
		}
		b = append(b, '"')
		b = strconv.AppendInt(b, int64(m.RFChannel), 10)
		b = append(b, `":[`...)
		for _, v := range []float64{m.MedianDB, m.LowDB, m.HighDB} {
			b = append(appendMargin(b, v), ',')
		}
		b = strconv.AppendInt(b, int64(m.Readings), 10)
		b = append(b, ']')
	}
	return append(b, "}}\n"...)
}

// line is a fade as it is written.
func (f *Fade) line() []byte {
	l := fadeLine{
		Kind: "fade", Time: stamp(f.Time), RFChannel: f.RFChannel, Seconds: rounded(f.Seconds, 100),
		UsualDB: rounded(f.UsualDB, 100), DepthDB: rounded(f.DepthDB(), 100),
		Stayed: f.Stayed, Overload: f.Overload, Impulse: f.Impulse,
	}
	if f.Below > 0 {
		l.BelowSec = rounded(f.Below, 100)
	}
	return encode(l)
}

// line is a tally as it is written.
func (t *Tally) line() []byte {
	l := hourLine{
		Kind: "hour", Time: stamp(t.Start), RFChannel: t.RFChannel, EverySec: t.EverySec,
		Readings: t.Readings, Absent: t.Absent, Overload: t.Overload, Impulse: t.Impulse, Lost: t.Lost, Fades: t.Fades,
		ATSC3: t.ATSC3, Other: t.Other,
	}
	if t.AtMostDB != nil {
		l.AtMostDB = rounded(*t.AtMostDB, 10)
	}
	if t.margins.n != nil {
		l.FirstDB, l.Counts = rounded(float64(t.margins.first)*binDB, 100), t.margins.n
	}
	if t.falls.n != nil {
		l.FirstFall, l.Falls = &t.falls.first, t.falls.n
	}
	if t.Fades > 0 {
		l.FadeSec, l.DeepestDB = rounded(t.FadeSeconds, 100), rounded(t.DeepestDB, 100)
		l.FirstLength, l.Lengths = &t.lengths.first, t.lengths.n
	}
	return encode(l)
}

// What is taken from a file that anybody may have written.
const (
	mostCounts   = 4096
	mostReadings = 1 << 30
)

// sound reports whether a histogram from a file can be what it says.
func sound(first int, n []int, total int) bool {
	if len(n) > mostCounts || first < -mostCounts || first > mostCounts {
		return false
	}
	sum := 0
	for _, v := range n {
		if v < 0 || v > mostReadings {
			return false
		}
		sum += v
	}
	return total < 0 || sum <= total
}

// tally reads an hour back.
func (l *hourLine) tally() (Tally, bool) {
	at, err := time.Parse(time.RFC3339, l.Time)
	if err != nil || l.RFChannel < 1 || l.Readings < 1 || l.Readings > mostReadings ||
		!(l.EverySec > 0 && l.EverySec <= 86400) || l.Absent < 0 || l.Absent > l.Readings {
		return Tally{}, false
	}
	t := Tally{
		RFChannel: l.RFChannel, Start: at, EverySec: l.EverySec, Readings: l.Readings, Absent: l.Absent,
		Overload: within(l.Overload, l.Readings), Impulse: within(l.Impulse, l.Readings), Lost: within(l.Lost, l.Readings),
		Fades: within(l.Fades, l.Readings), ATSC3: within(l.ATSC3, l.Absent), Other: within(l.Other, l.Absent),
	}
	if l.AtMostDB != nil && math.Abs(*l.AtMostDB) <= 400 {
		t.AtMostDB = l.AtMostDB
	}
	if l.FirstDB != nil && len(l.Counts) > 0 {
		t.margins = counts{int(math.Round(*l.FirstDB / binDB)), l.Counts}
	}
	if l.FirstFall != nil && len(l.Falls) > 0 {
		t.falls = counts{*l.FirstFall, l.Falls}
	}
	if l.FirstLength != nil && len(l.Lengths) > 0 {
		t.lengths = counts{*l.FirstLength, l.Lengths}
	}
	if !sound(t.margins.first, t.margins.n, l.Readings) || !sound(t.falls.first, t.falls.n, -1) || !sound(t.lengths.first, t.lengths.n, -1) {
		return Tally{}, false
	}
	if l.FadeSec != nil && *l.FadeSec >= 0 {
		t.FadeSeconds = *l.FadeSec
	}
	if l.DeepestDB != nil && *l.DeepestDB >= 0 {
		t.DeepestDB = *l.DeepestDB
	}
	return t, true
}

func within(v, most int) int { return max(0, min(v, most)) }

// fade reads a fade back.
func (l *fadeLine) fade() (Fade, bool) {
	at, err := time.Parse(time.RFC3339, l.Time)
	if err != nil || l.RFChannel < 1 || l.Seconds == nil || l.UsualDB == nil || l.DepthDB == nil ||
		!(*l.Seconds >= 0 && *l.Seconds < 1e8) || math.Abs(*l.UsualDB) > 200 || !(*l.DepthDB >= 0 && *l.DepthDB < 400) {
		return Fade{}, false
	}
	f := Fade{
		RFChannel: l.RFChannel, Time: at, Seconds: *l.Seconds, UsualDB: *l.UsualDB, LeastDB: *l.UsualDB - *l.DepthDB,
		Stayed: l.Stayed, Overload: l.Overload, Impulse: l.Impulse,
	}
	if l.BelowSec != nil && *l.BelowSec >= 0 {
		f.Below = *l.BelowSec
	}
	return f, true
}

// tick reads a tick back.
func (l *tickLine) tick() (Tick, bool) {
	at, err := time.Parse(time.RFC3339, l.Time)
	if err != nil || len(l.MarginDB) > 64 {
		return Tick{}, false
	}
	t := Tick{Time: at}
	for name, margin := range l.MarginDB {
		rf, err := strconv.Atoi(name)
		if err != nil || rf < 1 || margin != nil && math.Abs(*margin) > 400 {
			return Tick{}, false
		}
		r := Reading{
			RFChannel: rf, MarginDB: margin, Overload: slices.Contains(l.Overload, rf),
			Impulse: slices.Contains(l.Impulse, rf), Lost: slices.Contains(l.Lost, rf),
		}
		if margin == nil {
			if most := l.AtMostDB[name]; most != nil && math.Abs(*most) <= 400 {
				r.AtMostDB = most
			}
			switch {
			case slices.Contains(l.ATSC3, rf):
				r.Standard = measure.ATSC3
			case slices.Contains(l.Other, rf):
				r.Standard = measure.OtherStandard
			}
		}
		t.Readings = append(t.Readings, r)
	}
	slices.SortFunc(t.Readings, func(a, b Reading) int { return a.RFChannel - b.RFChannel })
	return t, true
}

// minutes reads a line of minutes back.
func (l *minuteLine) minutes() ([]Minute, bool) {
	at, err := time.Parse(time.RFC3339, l.Time)
	if err != nil || len(l.MarginDB) > 64 {
		return nil, false
	}
	var out []Minute
	for name, v := range l.MarginDB {
		rf, err := strconv.Atoi(name)
		if err != nil || rf < 1 || len(v) < 4 || v[3] == nil || !(*v[3] >= 1 && *v[3] < mostReadings) {
			return nil, false
		}
		m := Minute{Time: at, RFChannel: rf, Readings: int(*v[3])}
		for i, to := range []*float64{&m.MedianDB, &m.LowDB, &m.HighDB} {
			if *to = math.Inf(-1); v[i] != nil {
				*to = *v[i]
			}
			if *to > 400 {
				return nil, false
			}
		}
		out = append(out, m)
	}
	slices.SortFunc(out, func(a, b Minute) int { return a.RFChannel - b.RFChannel })
	return out, true
}
