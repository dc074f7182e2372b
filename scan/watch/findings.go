package watch

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"time"
)

// FindingKind is what a finding is about.
type FindingKind string

const (
	Breaks    FindingKind = "breaks"         // a channel was below the decode threshold
	NeverUp   FindingKind = "never-up"       // a channel was so nearly all the time
	Foreign   FindingKind = "other-standard" // a channel's signal was no 8-VSB
	Changed   FindingKind = "step"           // a sudden change that stayed
	Together  FindingKind = "together"       // fades of several channels at once
	Alone     FindingKind = "alone"          // fades of single channels
	Drifts    FindingKind = "drift"          // a slow change
	DayWise   FindingKind = "day"            // a pattern over the hours of the day
	Impulsive FindingKind = "impulse"        // fades that come with noise in pulses
	Overloads FindingKind = "overload"       // fades that come with overload
	Unwatched FindingKind = "unwatched"      // times in which nothing was measured
	Holds     FindingKind = "holds"          // nothing of all that
)

// Finding is one conclusion, in a sentence.
type Finding struct {
	Kind       FindingKind
	RFChannels []int // that it is about; empty: all, or none
	Text       string
	Next       string // what to try; "" when there is nothing to
}

// findings says in words what the figures say, what matters most first.
func findings(r *Report) []Finding {
	var out []Finding
	out = append(out, breaks(r)...)
	out = append(out, changes(r)...)
	out = append(out, fadesOf(r)...)
	for i := range r.Channels {
		out = append(out, ofChannel(&r.Channels[i])...)
	}
	if len(r.Channels) > 0 && len(out) == 0 {
		out = append(out, Finding{Kind: Holds, Text: "every channel stayed above the decode point all the time, and nothing changed"})
	}
	return append(out, unwatched(r)...)
}

// breaks tells of channels that could not be decoded.
func breaks(r *Report) []Finding {
	var out, never, silent, foreign []Finding
	for i := range r.Channels {
		c := &r.Channels[i]
		below := 1 - c.Available.Value
		switch {
		case c.ATSC3+c.Other > 0.5:
			foreign = append(foreign, ofForeign(c))
		case math.IsNaN(below) || below == 0:
		case c.Absent > 0.99:
			silent = append(silent, ofSilent(c))
		case below > 0.9:
			never = append(never, ofNever(c))
		default:
			f := Finding{
				Kind: Breaks, RFChannels: []int{c.RFChannel},
				Text: fmt.Sprintf("channel %d was below the decode point %s of the time, %s", c.RFChannel, Percent(below), counted(c.Basis.Falls(0), "times")),
			}
			if n := c.Needs[1]; !math.IsNaN(n.ShortDB.Value) && !math.IsInf(n.ShortDB.Value, 0) && n.ShortDB.Value > 0.05 {
				f.Next = fmt.Sprintf("%.0f dB more would have covered 99 %% of the time", math.Ceil(n.ShortDB.Value))
			}
			out = append(out, f)
		}
	}
	return slices.Concat(out, onceAdvised(silent), onceAdvised(never), onceAdvised(foreign))
}

// onceAdvised leaves advice that is the same for several findings to the last.
func onceAdvised(list []Finding) []Finding {
	for i := range list[:max(0, len(list)-1)] {
		list[i].Next = ""
	}
	return list
}

// ofSilent tells of a channel that was not heard how far it is from a picture at
// least.
func ofSilent(c *ChannelReport) Finding {
	f := Finding{
		Kind: NeverUp, RFChannels: []int{c.RFChannel},
		Text: fmt.Sprintf("channel %d: no signal stood out of the noise, or hardly ever", c.RFChannel),
		Next: "rooftone sweep shows what is on the air here",
	}
	if c.AtMostDB != nil && *c.AtMostDB < 0 {
		f.Text += fmt.Sprintf(": it lacks more than %.0f dB", math.Floor(-*c.AtMostDB))
	}
	return f
}

// ofNever tells of a channel that never came up what it lacks.
func ofNever(c *ChannelReport) Finding {
	f := Finding{
		Kind: NeverUp, RFChannels: []int{c.RFChannel},
		Text: fmt.Sprintf("channel %d: below the decode point all or nearly all of the time", c.RFChannel),
		Next: "the place or the heading is wrong for that: rooftone aim finds a better one",
	}
	if m := c.MedianDB; m < 0 && !math.IsInf(m, 0) {
		f.Text += fmt.Sprintf("; it lacks %.1f dB half of the time", -m)
		if n := c.Needs[1].ShortDB.Value; !math.IsNaN(n) && !math.IsInf(n, 0) && n > 0 {
			f.Text += fmt.Sprintf(" and %.1f dB for 99 %% of it", n)
		}
	} else if math.IsInf(m, 0) && c.AtMostDB != nil && *c.AtMostDB < 0 {
		f.Text += fmt.Sprintf("; most of it no signal stood out: there it lacks more than %.0f dB", math.Floor(-*c.AtMostDB))
	}
	return f
}

// ofForeign tells of a channel whose signal is no 8-VSB.
func ofForeign(c *ChannelReport) Finding {
	f := Finding{
		Kind: Foreign, RFChannels: []int{c.RFChannel},
		Text: fmt.Sprintf("channel %d: a signal, but no 8-VSB in it, so that it has no margin: it counts as no picture", c.RFChannel),
	}
	if c.ATSC3 > c.Other {
		f.Text = fmt.Sprintf("channel %d is ATSC 3.0, which has no margin here: for a set without ATSC 3.0 it is no picture, and counts as none", c.RFChannel)
		f.Next = "use a receiver for ATSC 3.0; look whether the station also sends on another channel"
	}
	return f
}

// changes tells of steps, each once for all channels that it came to.
func changes(r *Report) []Finding {
	var out []Finding
	told := map[int]bool{}
	const most = 8
	for i, s := range r.Steps {
		if told[i] {
			continue
		}
		list := []int{s.RFChannel}
		low, high := s.ChangeDB, s.ChangeDB
		for k := i + 1; k < len(r.Steps); k++ {
			o := &r.Steps[k]
			if !told[k] && slices.Contains(s.With, o.RFChannel) && slices.Contains(o.With, s.RFChannel) &&
				o.Time.Sub(s.Time) <= max(stepsTogether*time.Second, 3*s.Within/2) && !slices.Contains(list, o.RFChannel) {
				told[k] = true
				list = append(list, o.RFChannel)
				low, high = math.Min(low, o.ChangeDB), math.Max(high, o.ChangeDB)
			}
		}
		slices.Sort(list)
		if len(out) == most {
			out = append(out, Finding{Kind: Changed, Text: fmt.Sprintf("there are more sudden changes: %d of all channels together", len(r.Steps))})
			break
		}
		f := Finding{Kind: Changed, RFChannels: list}
		size := fmt.Sprintf("%+.1f dB", low)
		if math.Abs(high-low) >= 0.1 {
			size = fmt.Sprintf("%+.1f to %+.1f dB", low, high)
		}
		f.Text = fmt.Sprintf("%s changed by %s at once, on %s, and it stayed so", channels(list), size, s.Time.Format("2006-01-02 15:04"))
		if s.Within >= time.Hour {
			f.Text += " (to the hour)"
		}
		switch all := len(list) == len(r.Channels); {
		case all && len(list) > 1 && s.ChangeDB < 0:
			f.Next = "all channels at once points at what they share: connectors, cable, amplifier and its supply, or the antenna's own position"
		case len(list) > 1 && s.ChangeDB < 0:
			f.Next = "what these channels share and the others do not: their direction, or their band in an amplifier or splitter"
		case len(r.Channels) > 1 && s.ChangeDB < 0:
			f.Next = "one channel alone points at its path or its transmitter: something new in the way, a tower, a crane, leaves"
		}
		out = append(out, f)
	}
	return out
}

// fadesOf tells whether fades come to all channels at once or to one at a time.
func fadesOf(r *Report) []Finding {
	j := &r.Joint
	if j.Fades < 3 || len(r.Channels) < 2 {
		return nil
	}
	of := share(j.Together, j.Fades)
	chance := fmt.Sprintf("by chance it would be %.2g", j.Expected)
	switch {
	case j.Certain && of >= 0.5:
		return []Finding{{
			Kind: Together,
			Text: fmt.Sprintf("%d of %d fades began on several channels at the same moment; %s", j.Together, j.Fades, chance),
			Next: "look at what the channels share: a loose connector, water in the cable, the amplifier and its supply; shake the cable while rooftone aim runs",
		}}
	case j.Certain:
		return []Finding{{
			Kind: Together,
			Text: fmt.Sprintf("%d of %d fades began on several channels at the same moment; %s; the others came to one channel alone", j.Together, j.Fades, chance),
			Next: "there are two causes: what the channels share for the ones, each channel's path for the others",
		}}
	case float64(j.Together) <= math.Max(2*j.Expected, 0.2*float64(j.Fades)):
		return []Finding{{
			Kind: Alone,
			Text: fmt.Sprintf("fades come to one channel at a time: %d of %d began together with another channel's", j.Together, j.Fades),
			Next: "that points at the paths, not at cable or amplifier: trees, traffic, water, weather; a few feet to the side may help",
		}}
	}
	return nil
}

// ofChannel tells what is particular to one channel.
func ofChannel(c *ChannelReport) []Finding {
	own := []int{c.RFChannel}
	var out []Finding
	if c.Troubles.Certain {
		out = append(out, Finding{
			Kind: Impulsive, RFChannels: own,
			Text: fmt.Sprintf("channel %d: %d of %d fades had noise in short pulses in them; by chance it would be %.2g", c.RFChannel, c.Troubles.Seen, c.Fades.Told, c.Troubles.Expected),
			Next: "rooftone hunt " + fmt.Sprint(c.RFChannel) + " while it happens: motors, power lines, fences, switches nearby",
		})
	}
	if c.Overloads.Certain {
		out = append(out, Finding{
			Kind: Overloads, RFChannels: own,
			Text: fmt.Sprintf("channel %d: %d of %d fades had overload in them; by chance it would be %.2g", c.RFChannel, c.Overloads.Seen, c.Fades.Told, c.Overloads.Expected),
			Next: "something strong comes and goes nearby: less amplification, or a filter for it",
		})
	}
	if d := c.Drift; d.Certain() {
		f := Finding{Kind: Drifts, RFChannels: own}
		way := "better"
		if d.DBPerWeek.Value < 0 {
			way = "worse"
			f.Next = "a connector that corrodes, water in a cable, leaves that grow: measure again at the antenna's own terminals"
		}
		f.Text = fmt.Sprintf("channel %d gets slowly %s: %+.1f dB a week (%+.1f to %+.1f) over %d days", c.RFChannel, way, d.DBPerWeek.Value, d.DBPerWeek.Low, d.DBPerWeek.High, d.Days)
		out = append(out, f)
	}
	if d := c.Day; d.Certain() {
		out = append(out, Finding{
			Kind: DayWise, RFChannels: own,
			Text: fmt.Sprintf("channel %d goes with the hour: worst about %02d:30, best about %02d:30, %.1f dB apart", c.RFChannel, d.Worst, d.Best, d.Swing),
		})
	}
	return out
}

// unwatched tells of times without readings.
func unwatched(r *Report) []Finding {
	var out []Finding
	if n := len(r.Gaps); n > 0 {
		out = append(out, Finding{
			Kind: Unwatched,
			Text: fmt.Sprintf("the radio was away %s, for %s in all; last: %s", counted(n, "times"), lengthOf(r.Away), r.Gaps[n-1].Reason),
		})
	}
	if n := len(r.Disk); n > 0 {
		out = append(out, Finding{Kind: Unwatched, Text: fmt.Sprintf("the log could not be written %s: %s", counted(n, "times"), r.Disk[n-1].Reason)})
	}
	return out
}

// Percent writes a share of the time so that small ones can be told apart.
func Percent(share float64) string {
	p := share * 100
	switch {
	case math.IsNaN(p):
		return "?"
	case p == 0 || p == 100:
		return fmt.Sprintf("%.0f %%", p)
	case p < 0.0001:
		return "less than 0.0001 %"
	case p > 50:
		return fmt.Sprintf("%s %%", nines(p))
	}
	return fmt.Sprintf("%.2g %%", p)
}

// nines writes a percentage near 100 with as many digits as tell it from 100, at
// most three, and never rounds it up to there.
func nines(p float64) string {
	digits, per := 0, 1.0
	for rest := 100 - p; rest < 2 && digits < 3; rest *= 10 {
		digits++
		per *= 10
	}
	return fmt.Sprintf("%.*f", digits, math.Floor(p*per+1e-6)/per)
}

func counted(n int, several string) string {
	if n == 1 {
		return "once"
	}
	return fmt.Sprintf("%d %s", n, several)
}

func channels(list []int) string {
	var s []string
	for _, n := range list {
		s = append(s, fmt.Sprint(n))
	}
	if n := len(s); n > 1 {
		return "channels " + strings.Join(s[:n-1], ", ") + " and " + s[n-1]
	}
	return "channel " + s[0]
}

// lengthOf writes a length of time in its largest unit but one.
func lengthOf(d time.Duration) string {
	switch {
	case d < 2*time.Minute:
		return fmt.Sprintf("%.0f s", d.Seconds())
	case d < 2*time.Hour:
		return fmt.Sprintf("%.0f min", d.Minutes())
	case d < 48*time.Hour:
		return fmt.Sprintf("%.0f h", d.Hours())
	}
	return fmt.Sprintf("%.0f days", d.Hours()/24)
}
