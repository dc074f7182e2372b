package plot

import (
	"fmt"
	"io"
	"math"
	"slices"
	"strings"

	"rooftone/scan"
	"rooftone/scan/hunt"
)

// maxSuspects is how many suspects the picture has room to list.
const maxSuspects = 12

// Suspects draws the stitched spectrum of a survey with the suspects written on
// it, in the order given, which should be that of harm: each has a number, a
// flag at its place and a line in the list below. It writes "png", "svg" or
// "pdf". A survey without a spectrum is an error; no suspects are none.
func Suspects(w io.Writer, format string, s *scan.Survey, list []hunt.Suspect, o Options) error {
	rows, err := spectrumRows(s)
	if err != nil {
		return err
	}
	if o.Title == "" {
		o.Title = "What does not belong here"
	}
	said := "Power density against frequency."
	for i := range list {
		said += fmt.Sprintf(" %d: %s.", i+1, suspectLine(&list[i]))
	}
	a := about{o.Title, said, s.Started}
	return paint(w, format, a, func(p *pen) { drawSuspects(p, s, rows, list, o) })
}

// pennant is one suspect's number at its place.
type pennant struct {
	number int
	lowHz  float64
	highHz float64
	broad  bool // it has no place of its own in the channel that it harms
}

// pennants are where a suspect stands: at each of its places, and over every
// channel that it harms and has no place in. A suspect that has neither is only
// listed.
func pennants(number int, s *hunt.Suspect) []pennant {
	places := s.PlacesHz
	if len(places) == 0 && s.FrequencyHz != nil {
		places = []float64{s.FrequencyHz.Value}
	}
	var out []pennant
	for _, hz := range places {
		out = append(out, pennant{number, hz - s.WidthHz/2, hz + s.WidthHz/2, false})
	}
	for _, h := range s.Harms {
		low, high := h.Channel.LowerHz, h.Channel.UpperHz()
		if !slices.ContainsFunc(out, func(f pennant) bool { return !f.broad && f.highHz >= low && f.lowHz < high }) {
			out = append(out, pennant{number, low, high, true})
		}
	}
	return out
}

// badgeHz is where a pennant's number belongs: at its place, or near the end of the
// channel that it is over, so that it does not look like a place.
func (f *pennant) badgeHz() float64 {
	const share = 0.88
	if f.broad {
		return f.lowHz + share*(f.highHz-f.lowHz)
	}
	return (f.lowHz + f.highHz) / 2
}

func drawSuspects(p *pen, s *scan.Survey, rows []scan.Channel, list []hunt.Suspect, o Options) {
	line := fmt.Sprintf("%d suspects", len(list))
	switch len(list) {
	case 0:
		line = "nothing was found that does not belong"
	case 1:
		line = "one suspect"
	}
	heading(p, o.Title, line, "How to read it: the line is the mean power density, the shading the lowest and highest in each step of the line. "+
		"A flag with a number is a suspect; a bar without a staff is over a channel that it harms without a place in it. The list below is in order of harm. Numbers above the panels are RF channels.")
	listed := min(len(list), maxSuspects)
	perColumn := (listed + 1) / 2
	const rowHigh, top = 22.0, 428.0
	bottom := panelsBottom + 6 + rowHigh*float64(perColumn)
	const flagRoom = 0.18
	for _, k := range panels(p, s, rows, top, bottom, flagRoom) {
		k.draw(s)
		k.flags(list)
	}
	for i := range listed {
		x := marginX + (pageWidth-2*marginX)/2*float64(i/perColumn)
		y := bottom - 12 - rowHigh*float64(i%perColumn)
		listSuspect(p, x, y, (pageWidth-2*marginX)/2-10, i+1, &list[i])
	}
	footing(p, s, rows)
}

// flags draws the flags of the suspects that lie in the panel, those close to
// each other at unlike heights.
func (k *panel) flags(list []hunt.Suspect) {
	const levels, apart = 3, 11.0
	var until [levels]float64
	for i := range until {
		until[i] = math.Inf(-1)
	}
	var all []pennant
	for i := range list {
		all = append(all, pennants(i+1, &list[i])...)
	}
	// From left to right, so that neighbours see each other.
	for len(all) > 0 {
		next := 0
		for i := range all {
			if all[i].badgeHz() < all[next].badgeHz() {
				next = i
			}
		}
		f := all[next]
		all = append(all[:next], all[next+1:]...)
		x, ok := k.street.x(f.badgeHz())
		if !ok {
			continue
		}
		level := 0
		for l := range until {
			if x >= until[l] {
				level = l
				break
			}
			if until[l] < until[level] {
				level = l
			}
		}
		until[level] = x + apart
		k.flag(f, x, k.y1-6-8.5*float64(level))
	}
}

// flag draws one: a staff with the number on it, and a bar as wide as the
// suspect. What has no place in a channel has a bar over it and no staff.
func (k *panel) flag(f pennant, x, y float64) {
	l := letters{size: 7.5, bold: true, ink: paper}
	text := fmt.Sprint(f.number)
	half := k.width(l, text)/2 + 2.2
	if !f.broad {
		k.line(black, 0.7, nil, point{x, k.y0}, point{x, y})
	}
	if x0, ok := k.street.x(f.lowHz); ok {
		if x1, ok := k.street.x(f.highHz); ok && x1-x0 > 2 {
			k.line(black, 1.8, nil, point{x0, y - 4.6}, point{x1, y - 4.6})
		}
	}
	k.fill(black, rectangle(box{x - half, y - 3.6, x + half, y + 4.4})...)
	k.text(l, x, y-2.3, 0.5, text)
}

// listSuspect writes one suspect's two lines.
func listSuspect(p *pen, x, y, width float64, number int, s *hunt.Suspect) {
	name, small := letters{size: 8.5, bold: true, ink: black}, letters{size: 7.5, ink: soft}
	badge := letters{size: 7.5, bold: true, ink: paper}
	text := fmt.Sprint(number)
	half := p.width(badge, text)/2 + 2.2
	p.fill(black, rectangle(box{x, y - 1.6, x + 2*half, y + 6.4})...)
	p.text(badge, x+half, y-0.3, 0.5, text)
	left := x + 18
	p.text(name, left, y, 0, p.fit(name, suspectLine(s), width-18))
	p.text(small, left, y-9.5, 0, p.fit(small, suspectHarm(s), width-18))
}

// suspectLine names a suspect and its level.
func suspectLine(s *hunt.Suspect) string {
	out := s.Name
	if s.LevelDBFS != nil {
		out += withMinus(fmt.Sprintf(", %.0f dBFS", s.LevelDBFS.Value))
	}
	return out
}

// suspectHarm says what it does, or what speaks for it when it does nothing.
func suspectHarm(s *hunt.Suspect) string {
	var out []string
	costs := 0
	for i, h := range s.Harms {
		if i == 3 {
			out = append(out, fmt.Sprintf("and %d more", len(s.Harms)-3))
			break
		}
		switch {
		case h.Breaks:
			out = append(out, fmt.Sprintf("breaks channel %d", h.Channel.Number))
		case h.CostDB != nil && costs > 0:
			out = append(out, fmt.Sprintf("%.1f dB on %d", h.CostDB.Value, h.Channel.Number))
		case h.CostDB != nil:
			out = append(out, fmt.Sprintf("costs %.1f dB on channel %d", h.CostDB.Value, h.Channel.Number))
			costs++
		}
	}
	if len(out) == 0 && len(s.Evidence) > 0 {
		return "harms no channel; " + s.Evidence[0]
	}
	return strings.Join(out, ", ")
}
