package main

import (
	"fmt"
	"io"
	"math"
	"slices"
	"strconv"
	"strings"

	"rooftone/scan/hunt"
	"rooftone/scan/measure"
)

// writeHunt writes what was found for people.
func writeHunt(w io.Writer, h *hunt.Hunt, o hunt.Options, s screen) error {
	t := &huntText{newProse(s)}
	t.suspects(h, o)
	t.gains(h.Gains, o)
	t.bands(h)
	t.rest(h)
	return t.writeTo(w)
}

type huntText struct{ *prose }

// stations counts the wanted channels with a station on them.
func stations(h *hunt.Hunt) (n int) {
	for i := range h.Survey.Channels {
		if h.Survey.Channels[i].Presence == measure.Present {
			n++
		}
	}
	return n
}

func (t *huntText) suspects(h *hunt.Hunt, o hunt.Options) {
	n := stations(h)
	switch {
	case h.Clean() && n == 0:
		t.para("", "Clean: nothing that does not belong was found, and no station either.")
	case h.Clean() && n == 1:
		t.para("", "Clean: nothing that does not belong was found, inside the channels or outside. What holds the one station back, if anything, is its own signal: rooftone explain says what.")
	case h.Clean():
		t.para("", fmt.Sprintf("Clean: nothing that does not belong was found, inside the channels or outside. What holds any of the %d stations back is its own signal: rooftone explain says what.", n))
	case h.Silent():
		t.para("", "Nothing was heard of "+rfNumbers(unheard(h))+".")
	case len(h.Harmful()) == 0:
		t.para("", "Nothing that does not belong was found in what was heard, which was not all.")
	}
	number := 0
	for i := range h.Suspects {
		s := &h.Suspects[i]
		if s.Kind == hunt.Spur && len(s.Harms) == 0 {
			continue
		}
		number++
		if number > 1 {
			t.line("")
		}
		t.suspect(number, s, o)
	}
	t.ownTones(h)
}

func (t *huntText) suspect(number int, s *hunt.Suspect, o hunt.Options) {
	t.para(fmt.Sprintf("%2d  ", number), s.Name)
	var harms []string
	for _, x := range s.Harms {
		switch {
		case x.CostDB == nil:
			harms = append(harms, fmt.Sprintf("RF %d", x.Channel.Number))
		case x.Breaks:
			harms = append(harms, fmt.Sprintf("RF %d by %.1f dB: gone, the channel decodes", x.Channel.Number, x.CostDB.Value))
		case x.CostDB.Value >= 0.05:
			harms = append(harms, fmt.Sprintf("RF %d by %.1f dB", x.Channel.Number, x.CostDB.Value))
		}
	}
	const most = 8
	if n := len(harms); n > most {
		harms = append(harms[:most], fmt.Sprintf("and %d more", n-most))
	}
	if len(harms) == 0 {
		t.para("    harms     ", "no wanted channel, as far as can be told")
	} else {
		t.para("    harms     ", strings.Join(harms, ", "))
	}
	for k, e := range s.Evidence {
		label := "    evidence  "
		if k > 0 {
			label = strings.Repeat(" ", len(label))
		}
		t.para(label, e)
	}
	if s.Next != "" {
		t.para("    next      ", s.Next)
	}
	if s.Cure != "" {
		t.para("    cure      ", s.Cure)
	}
}

// ownTones tells of the radio's own in a line: they harm nobody.
func (t *huntText) ownTones(h *hunt.Hunt) {
	var own []string
	for i := range h.Suspects {
		if s := &h.Suspects[i]; s.Kind == hunt.Spur && s.FrequencyHz != nil {
			own = append(own, hunt.Megahertz(*s.FrequencyHz))
		}
	}
	if len(own) == 0 {
		return
	}
	t.line("")
	t.para("The radio's own tones, which no television set hears: ", strings.Join(own, ", "))
}

func (t *huntText) gains(g *hunt.GainTest, o hunt.Options) {
	if g == nil || len(g.Points) == 0 {
		return
	}
	t.line("")
	var worst hunt.GainPoint
	for _, p := range g.Points {
		if p.GainDB == g.BestDB {
			worst = p
		}
	}
	text := fmt.Sprintf("at one gain for all, the worst wanted channel (%d) is cleanest at %.1f dB", worst.Worst.Number, g.BestDB)
	if g.BestDB == g.HighestDB {
		text += ", the highest"
	}
	t.para("Gain       ", text)
	switch {
	case g.Filter != "":
		t.para("           ", fmt.Sprintf("a filter would give it %.1f dB more", g.FilterGainedDB))
	case g.AttenuatorDB > 0:
		t.para("           ", fmt.Sprintf("an attenuator of about %.0f dB helps a receiver that sets its gain by the wanted channel alone", g.AttenuatorDB))
	default:
		t.para("           ", "neither an attenuator nor a filter nor less amplification would help")
	}
	if e := g.ThirdDBFS; e != nil {
		t.para("           ", fmt.Sprintf("third-order intercept at the highest gain: %+.0f ± %.0f dBFS", e.Value, max(e.Sigma, 1)))
	}
	if e := g.SecondDBFS; e != nil {
		t.para("           ", fmt.Sprintf("second-order intercept at the highest gain: %+.0f ± %.0f dBFS", e.Value, max(e.Sigma, 1)))
	}
}

func (t *huntText) bands(h *hunt.Hunt) {
	var rows [][4]string
	for i := range h.Bands {
		b := &h.Bands[i]
		if b.PowerDBFS == nil || b.Covered < 0.3 {
			continue
		}
		power := fmt.Sprintf("%+.1f dBFS", *b.PowerDBFS)
		if b.PowerDBm != nil {
			power = fmt.Sprintf("%+.1f dBm", *b.PowerDBm)
		}
		what := ""
		if b.StrongestHz > 0 {
			what = fmt.Sprintf("%d, strongest %.1f MHz", b.Emitters, b.StrongestHz/1e6)
		}
		if b.Clipped > 5e-3 {
			what += fmt.Sprintf("; %.0f %% of samples at the rails", math.Max(1, 100*b.Clipped))
		}
		rows = append(rows, [4]string{fmt.Sprintf("%.0f-%.0f", b.LowHz/1e6, b.HighHz/1e6), power, b.About, what})
	}
	if len(rows) == 0 {
		return
	}
	t.line("")
	t.para("", "What reaches the radio, as its highest gain would show it")
	for _, r := range rows {
		t.para(fmt.Sprintf("  %9s MHz %11s  ", r[0], r[1]), strings.TrimSuffix(r[2]+": "+r[3], ": "))
	}
}

// unheard are the channels of which nothing could be looked into.
func unheard(h *hunt.Hunt) (out []int) {
	for i := range h.Heard {
		if c := &h.Heard[i]; len(c.Seen) == 0 && !c.Railed {
			out = append(out, c.Channel.Number)
		}
	}
	return out
}

// rfNumbers writes ascending channel numbers, such as "RF 14-16, 22".
func rfNumbers(list []int) string {
	var out []string
	for i := 0; i < len(list); i++ {
		last := i
		for last+1 < len(list) && list[last+1] == list[last]+1 {
			last++
		}
		text := strconv.Itoa(list[i])
		if last > i {
			text += "-" + strconv.Itoa(list[last])
		}
		out = append(out, text)
		i = last
	}
	return "RF " + strings.Join(out, ", ")
}

// heard tells which channels were heard in part or not at all.
func (t *huntText) heard(h *hunt.Hunt) {
	label := "Not heard  "
	tell := func(text string) { t.para(label, text); label = "           " }
	t.line("")
	if none := unheard(h); len(none) > 0 {
		tell(rfNumbers(none))
	}
	for i := range h.Heard {
		c := &h.Heard[i]
		var parts []string
		for _, s := range c.Seen {
			parts = append(parts, fmt.Sprintf("%.2f to %.2f MHz", s.LowHz/1e6, s.HighHz/1e6))
		}
		text := fmt.Sprintf("RF %d but for %s", c.Channel.Number, strings.Join(parts, " and "))
		switch {
		case c.Whole(), len(parts) == 0 && !c.Railed:
			continue
		case len(parts) == 0:
			text = fmt.Sprintf("RF %d: its samples are at the converter's rails", c.Channel.Number)
		case c.Railed:
			text += ": other samples are at the converter's rails"
		}
		tell(text)
	}
}

func (t *huntText) rest(h *hunt.Hunt) {
	if !h.Silent() && slices.ContainsFunc(h.Heard, func(c hunt.Coverage) bool { return !c.Whole() }) {
		t.heard(h)
	}
	for k, m := range h.Missing {
		if k == 0 {
			t.line("")
		}
		t.para("Not done   ", m)
	}
}
