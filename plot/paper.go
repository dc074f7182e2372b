package plot

import (
	"image/color"
	"strings"

	"rooftone/scan/decide"
	"rooftone/scan/measure"
	"rooftone/scan/watch"
)

// OnPaper writes a figure as the pictures do, with true minus signs: as many
// decimals as mean something beside its 95 % interval, at most so many, and
// half of that interval, which is empty when it is not known. Both are empty
// for what was not measured.
func OnPaper(e *measure.Estimate, most int) (number, spread string) {
	v, ok := known(e)
	if !ok {
		return "", ""
	}
	w, d := onPaper(), decimals(v.half, most)
	return w.number(v.v, d), w.spread(v.half, d)
}

// MarginOnPaper is OnPaper for a margin: it has a sign, and is not rounded
// across the edge of a grade.
func MarginOnPaper(e *measure.Estimate) (number, spread string) {
	v, ok := known(e)
	if !ok {
		return "", ""
	}
	w, d := onPaper(), decimals(v.half, 1)
	number = w.number(roundMargin(v.v, d), d)
	if !strings.HasPrefix(number, w.minus) {
		number = "+" + number
	}
	return number, w.spread(v.half, d)
}

// Interval returns a figure with half of its 95 % interval, fit to be drawn.
func Interval(e *measure.Estimate) (value, half float64, ok bool) {
	v, ok := known(e)
	return v.v, v.half, ok
}

// Tone is a margin's colour on paper.
func Tone(marginDB float64) color.RGBA { return newScale().tone(marginDB) }

// RankOf writes a row's rank, with a sign of equality where it is shared.
func (p *Places) RankOf(row *decide.Row) string { return p.rankOf(row) }

// Advice says of the places what their figures cannot: which are equal, what the
// best gives up, what to measure next, which one heading serves all best. How to
// join two antennas is in Joining.
func (p *Places) Advice() []string {
	out := append(p.different(), p.givenUp()...)
	out = append(out, p.next()...)
	for i := range p.Ranking.Headings {
		if s := p.SingleLine(&p.Ranking.Headings[i]); s != "" {
			out = append(out, s)
		}
	}
	return out
}

// ChangeLines say what became of the places since a moment.
func (p *Places) ChangeLines() []string { return p.changes() }

// WatchLines say of a watch what was watched and how each channel held.
func WatchLines(r *watch.Report) []string {
	out := []string{watchedLine(r)}
	for i := range r.Channels {
		out = append(out, watchedInWords(&r.Channels[i]))
	}
	if text := unsaid(r); text != "" && len(r.Channels) > 0 {
		out = append(out, text)
	}
	return out
}
