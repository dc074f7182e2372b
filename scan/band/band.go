// Package band knows where television channels lie: their edges, their 8-VSB
// pilots and which of them a plan contains.
//
// Frequencies are in hertz. The channel table is 47 CFR 73.603(a).
package band

import (
	"fmt"
	"sort"
	"strconv"
	"strings"
)

const (
	// WidthHz is the width of a television channel, 47 CFR 73.603.
	WidthHz = 6e6

	// PilotOffsetHz is the 8-VSB pilot's place above the lower channel edge,
	// A/53 Part 2: half of what the channel has beyond the Nyquist
	// bandwidth, (6 MHz − 10.762… MHz / 2) / 2.
	PilotOffsetHz = (WidthHz - 4.5e6/286*684/2) / 2
)

// Channel is one RF channel.
type Channel struct {
	Number  int
	LowerHz float64
}

// UpperHz returns the channel's upper edge in Hz.
func (c Channel) UpperHz() float64 { return c.LowerHz + WidthHz }

// CenterHz returns the middle of the channel in Hz.
func (c Channel) CenterHz() float64 { return c.LowerHz + WidthHz/2 }

// PilotHz returns the nominal place of the channel's 8-VSB pilot in Hz.
func (c Channel) PilotHz() float64 { return c.LowerHz + PilotOffsetHz }

// Plan is a set of channels that a country or a time uses.
type Plan struct {
	Name     string
	About    string    // one line for people
	Channels []Channel // ascending in frequency
}

// span is a run of channels without a gap between them.
type span struct {
	first, last int
	lowerHz     float64
}

func plan(name, about string, spans ...span) Plan {
	p := Plan{Name: name, About: about}
	for _, s := range spans {
		for n := s.first; n <= s.last; n++ {
			p.Channels = append(p.Channels, Channel{n, s.lowerHz + float64(n-s.first)*WidthHz})
		}
	}
	return p
}

// Plans returns every plan that ParsePlan knows, the default first.
func Plans() []Plan {
	return []Plan{
		plan("us", "United States, Canada, Mexico since 2020: RF channels 2-36",
			span{2, 4, 54e6}, span{5, 6, 76e6}, span{7, 13, 174e6}, span{14, 36, 470e6}),
		plan("us-2009", "the same before the 600 MHz auction: RF channels 2-51 without 37",
			span{2, 4, 54e6}, span{5, 6, 76e6}, span{7, 13, 174e6}, span{14, 36, 470e6}, span{38, 51, 614e6}),
	}
}

// ParsePlan returns the plan with the given name. The empty name is the default.
func ParsePlan(name string) (Plan, error) {
	all := Plans()
	if name == "" {
		return all[0], nil
	}
	var known []string
	for _, p := range all {
		if p.Name == name {
			return p, nil
		}
		known = append(known, p.Name)
	}
	return Plan{}, fmt.Errorf("no channel plan named %q: use one of %s", name, strings.Join(known, ", "))
}

// Channel returns the plan's channel with the given number.
func (p Plan) Channel(number int) (Channel, bool) {
	for _, c := range p.Channels {
		if c.Number == number {
			return c, true
		}
	}
	return Channel{}, false
}

// Select returns the plan's channels that a list such as "2-36" or
// "7-13,22,31" names, ascending and without repeats. The empty list selects
// the whole plan. A range passes over numbers that the plan leaves out; a
// single number that the plan does not have, or a range with none of its
// channels, is an error.
func (p Plan) Select(list string) ([]Channel, error) {
	if strings.TrimSpace(list) == "" {
		return append([]Channel(nil), p.Channels...), nil
	}
	wanted := map[int]bool{}
	for _, item := range strings.Split(list, ",") {
		item = strings.TrimSpace(item)
		low, high, isRange := strings.Cut(item, "-")
		first, err := parseNumber(low)
		if err != nil && shown(low) {
			return nil, fmt.Errorf("%s is the number a TV shows, and no RF channel", strings.TrimSpace(low))
		}
		if err != nil {
			return nil, fmt.Errorf("%q is not a channel or a range of channels: write 7 or 7-13", item)
		}
		last := first
		if isRange {
			if last, err = parseNumber(high); err != nil {
				return nil, fmt.Errorf("%q is not a channel or a range of channels: write 7 or 7-13", item)
			}
		}
		if last < first {
			return nil, fmt.Errorf("the range %q runs backwards: write %d-%d", item, last, first)
		}
		found := false
		for _, c := range p.Channels {
			if c.Number >= first && c.Number <= last {
				wanted[c.Number], found = true, true
			}
		}
		if !found {
			return nil, fmt.Errorf("plan %s has no channel %s: it has %s", p.Name, item, p.numbers())
		}
	}
	var out []Channel
	for _, c := range p.Channels {
		if wanted[c.Number] {
			out = append(out, c)
		}
	}
	return out, nil
}

// shown reports whether a number is written as sets show it, such as 8.1.
func shown(s string) bool {
	major, minor, dotted := strings.Cut(s, ".")
	_, err := parseNumber(major)
	_, err2 := parseNumber(minor)
	return dotted && err == nil && err2 == nil
}

func parseNumber(s string) (int, error) {
	n, err := strconv.ParseUint(strings.TrimSpace(s), 10, 16)
	return int(n), err
}

// numbers writes the plan's channels as a list of ranges.
func (p Plan) numbers() string {
	ns := make([]int, len(p.Channels))
	for i, c := range p.Channels {
		ns[i] = c.Number
	}
	sort.Ints(ns)
	var b strings.Builder
	for i := 0; i < len(ns); {
		j := i
		for j+1 < len(ns) && ns[j+1] == ns[j]+1 {
			j++
		}
		if b.Len() > 0 {
			b.WriteByte(',')
		}
		fmt.Fprintf(&b, "%d", ns[i])
		if j > i {
			fmt.Fprintf(&b, "-%d", ns[j])
		}
		i = j + 1
	}
	return b.String()
}
