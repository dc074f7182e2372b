package handover

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"rooftone/plot"
	"rooftone/scan/measure"
	"rooftone/scan/site"
	"rooftone/scan/verdict"
)

// visits tells of each measurement when, where and how it was made.
func (b *builder) visits() {
	marks := b.ranked()
	var days []string
	for _, m := range marks {
		if d := day(m); !slices.Contains(days, d) {
			days = append(days, d)
		}
		row := visitRow{
			When: m.Time.UTC().Format("2006-01-02 15:04 UTC"), Where: (&site.Spot{Place: m.Place, BearingDeg: m.BearingDeg, HeightM: m.HeightM, Units: b.ranking.Options.Units}).String(),
			How: look(m.Look), Note: m.Note, Source: m.Source, Interrupted: m.Interrupted, Gain: gains(m),
		}
		if m.ThresholdDB > 0 {
			row.Threshold = trimmed(m.ThresholdDB) + " dB"
		}
		if c := m.Clock; c != nil {
			row.Clock = with(c, 2) + " ppm"
			if c.Sigma == 0 {
				row.Clock += ", given"
			}
		}
		b.sheet.Visits = append(b.sheet.Visits, row)
	}
	switch n := len(days); {
	case n > 3:
		b.sheet.When = fmt.Sprintf("on %d days from %s to %s", n, days[0], days[n-1])
	default:
		b.sheet.When = "on " + list(days)
	}
}

// look says how a mark's figures were measured.
func look(l site.Look) string {
	switch l {
	case site.Careful:
		return "careful visit"
	case site.Live:
		return "live meter, one moment"
	case site.Turned:
		return "fit to a turn"
	}
	return string(l)
}

// ranked returns the marks that the ranking rests on, in order of time.
func (b *builder) ranked() []*site.Mark {
	var out []*site.Mark
	for i := range b.Marks {
		if m := &b.Marks[i]; !m.Time.Before(b.ranking.Options.Since) {
			out = append(out, m)
		}
	}
	slices.SortStableFunc(out, func(x, y *site.Mark) int { return x.Time.Compare(y.Time) })
	return out
}

func gains(m *site.Mark) string {
	low, high := math.Inf(1), math.Inf(-1)
	for i := range m.Heard {
		if g := m.Heard[i].GainDB; g != nil {
			low, high = math.Min(low, *g), math.Max(high, *g)
		}
	}
	switch {
	case low > high:
		return ""
	case high-low < 0.05:
		return trimmed(low) + " dB"
	}
	return trimmed(low) + " to " + trimmed(high) + " dB"
}

// figures lists every figure of every place.
func (b *builder) figures() {
	for i := range b.ranking.Rows {
		s := b.ranking.Rows[i].Spot
		marks := site.MarksOf(s, b.Marks, b.ranking.Options)
		p := placeFigures{Where: s.String()}
		for _, w := range b.Places.Wanted {
			if h, _ := site.Latest(marks, w.RFChannel); h != nil {
				p.Rows = append(p.Rows, figuresOf(h, s.Channels[w.RFChannel]))
			}
		}
		b.sheet.Figures = append(b.sheet.Figures, p)
	}
}

// figuresOf are a channel's figures at a place: the margin of all visits
// together, the rest of the latest.
func figuresOf(h *site.Heard, c site.Combined) figureRow {
	row := figureRow{
		Number: h.RFChannel, Verdict: verdictWord(h),
		CN: with(h.CN, 1), MER: with(h.MER, 1), Power: with(h.Power, 1), Tilt: with(h.Tilt, 1), Waves: with(h.Ripple, 1),
		Visits: fmt.Sprint(c.Visits),
	}
	if number, half := plot.MarginOnPaper(c.Margin); number != "" {
		row.Margin = strings.TrimSpace(number + "\u00a0" + half)
	}
	part := verdict.Basis(h.Share())
	switch m := h.MarginMethod; {
	case row.Margin == "":
	case part != "":
		row.Margin += " " + part
	case m != "" && m != measure.MarginEqualised:
		row.Margin += " by " + string(m)
	}
	if c.Heard > 1 {
		row.Visits += fmt.Sprintf(", scatter %.1f dB", c.ScatterDB)
	}
	var echoes []string
	for _, e := range h.Echoes {
		delay, halfDelay := plot.OnPaper(&e.DelayUS, 2)
		level, halfLevel := plot.OnPaper(&e.LevelDB, 1)
		echoes = append(echoes, fmt.Sprintf("%s %s µs at %s %s dB", delay, halfDelay, level, halfLevel))
	}
	row.Echoes = strings.Join(echoes, "; ")
	if h.GainDB != nil {
		row.Gain = trimmed(*h.GainDB)
	}
	var mind []string
	for _, l := range h.Limits {
		mind = append(mind, string(l))
	}
	if h.Clipped > 0 {
		mind = append(mind, fmt.Sprintf("%.2g %% clipped", 100*h.Clipped))
	}
	if h.Lost {
		mind = append(mind, "samples lost")
	}
	row.Mind = strings.Join(mind, ", ")
	return row
}

func with(e *measure.Estimate, most int) string {
	number, half := plot.OnPaper(e, most)
	return strings.TrimSpace(number + "\u00a0" + half)
}

// verdictWord is the trade's word, and ours, for a channel.
func verdictWord(h *site.Heard) string {
	switch {
	case h.Occupied:
		return string(measure.OtherStandard)
	case h.Presence != measure.Present:
		return string(h.Presence)
	case h.Standard == measure.ATSC3 || h.Standard == measure.OtherStandard:
		return string(h.Standard)
	case h.Grade != "":
		return string(h.Grade)
	}
	return string(h.Presence)
}
