package handover

import (
	"fmt"
	"math"

	"rooftone/plot"
	"rooftone/scan/decide"
	"rooftone/scan/site"
)

// against is the place of the page beside another, channel by channel.
type against struct {
	First, Second string // in plain words
	Here, There   string // as tables name them
	Sums          []count
	Rows          []againstRow
	More          []string // what else there is to say of the choice
}

type againstRow struct {
	Number        int
	Label         string
	First, Second chance
	Mark          string // readable in black and white: ▲▼=?○
	Gained        string
}

// chance is what a place gives of a channel.
type chance struct {
	Mark, Word    string
	Margin, Holds string // "" where there is none
}

// The words for what a channel gains or loses, in the order in which they are told.
var sides = []struct{ mark, word, told string }{
	{"▲", "gained here", "Gained here"},
	{"▼", "given up", "Given up here"},
	{"=", "no more than chance", "Alike, as far as can be told"},
	{"?", "not known", "Not known, for want of a measurement"},
	{"○", "no picture at either", "No picture at either"},
}

// likely is the probability of decoding above which a place is said to give a picture.
const likely = 0.5

// rival is what the place of the page is set against: what was asked for, else the
// best by the figures, else the best of those that differ the most in what they give.
func (b *builder) rival() *decide.Row {
	rows := b.ranking.Rows
	switch {
	case b.Against != nil && b.Against != b.chosen:
		return b.Against
	case b.chosen != &rows[0]:
		return &rows[0]
	case len(rows) < 2:
		return nil
	}
	best, most := &rows[1], 0
	for i := range rows[1:] {
		if n := differs(b.ranking.Against(b.chosen, &rows[i+1])); n > most {
			best, most = &rows[i+1], n
		}
	}
	return best
}

// differs says how much another place is worth being set against: 3 where it gives a
// picture that the first does not, 2 where a channel that has one at either differs with
// certainty, 1 where any does.
func differs(v *decide.Versus) int {
	most := 0
	for _, d := range v.Channels {
		here, there := d.First.Decodes > likely, d.Second.Decodes > likely
		switch {
		case !d.Certain:
		case there && !here:
			return 3
		case here || there:
			most = max(most, 2)
		default:
			most = max(most, 1)
		}
	}
	return most
}

func (b *builder) against() {
	other := b.rival()
	if other == nil {
		return
	}
	v := b.ranking.Against(b.chosen, other)
	out := &against{First: whereTo(v.First), Second: whereTo(v.Second), Here: v.First.String(), There: v.Second.String()}
	numbers := make([][]int, len(sides))
	for _, d := range v.Channels {
		row := againstRow{
			Number: d.RFChannel, Label: b.Places.Labels[d.RFChannel],
			First: b.chance(b.chosen, d.First), Second: b.chance(other, d.Second),
		}
		side := sideOf(d)
		if side < 0 {
			row.Mark, row.Gained = "\u2013", "nothing to compare"
		} else {
			row.Mark, row.Gained = sides[side].mark, sides[side].word
			numbers[side] = append(numbers[side], d.RFChannel)
		}
		if number, half := plot.MarginOnPaper(d.Margin); number != "" {
			row.Gained += fmt.Sprintf(": %s\u00a0%s\u00a0dB", number, half)
		}
		out.Rows = append(out.Rows, row)
	}
	for i, n := range numbers {
		if len(n) > 0 {
			out.Sums = append(out.Sums, count{Mark: sides[i].mark, Word: sides[i].told, Channels: b.theChannels(n)})
		}
	}
	for _, line := range b.Places.Advice() {
		out.More = append(out.More, sentence(line))
	}
	b.sheet.Against = out
}

// sideOf is the place in sides of a difference; −1 where there is nothing to compare.
func sideOf(d decide.Difference) int {
	switch {
	case d.First.Other || d.Second.Other:
		return -1
	case (d.Gained || d.Lost) && d.First.Decodes <= likely && d.Second.Decodes <= likely:
		return 4
	case d.Gained:
		return 0
	case d.Lost:
		return 1
	case !d.First.Measured || !d.Second.Measured:
		return 3
	case d.First.Margin == nil && d.Second.Margin == nil:
		return -1
	}
	return 2
}

// chance says what a place gives of a channel.
func (b *builder) chance(at *decide.Row, c decide.Chance) chance {
	if !c.Measured {
		o := outlookOf(site.Combined{}, false, nil)
		return chance{Mark: o.Mark, Word: o.Word}
	}
	o := b.outlook(at.Spot, c.RFChannel)
	out := chance{Mark: o.Mark, Word: o.Word}
	if c.Other {
		return out
	}
	if number, half := plot.MarginOnPaper(c.Margin); number != "" {
		out.Margin = fmt.Sprintf("%s\u00a0%s\u00a0dB", number, half)
		out.Holds = "holds with " + percent(c.Holds)
	}
	return out
}

// percent writes a probability as it can be known: never 0 and never 100 %.
func percent(p float64) string {
	switch n := math.Round(100 * p); {
	case math.IsNaN(n):
		return "?"
	case n < 1:
		return "under 1\u00a0%"
	case n > 99:
		return "over 99\u00a0%"
	default:
		return fmt.Sprintf("%.0f\u00a0%%", n)
	}
}
