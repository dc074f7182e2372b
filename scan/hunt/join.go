package hunt

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strings"

	"rooftone/scan/measure"
)

// cause is what makes a suspect, as far as it tells whether two are one.
type cause struct {
	kind Kind
	of   string
}

// join makes one suspect of those that have one cause: products of one group of
// parents, impulses of one rhythm, tones in a row, what one station spills on either side. The
// most harmful one leads.
func join(list []Suspect) []Suspect {
	list = slices.Clone(list)
	slices.SortStableFunc(list, func(a, b Suspect) int { return cmp.Compare(b.WorstDB(), a.WorstDB()) })
	var out []Suspect
	groups := map[cause][]Suspect{}
	at := map[cause]int{}
	for _, s := range list {
		if s.cause.of == "" {
			out = append(out, s)
			continue
		}
		if _, seen := at[s.cause]; !seen {
			at[s.cause] = len(out)
			out = append(out, s)
		}
		groups[s.cause] = append(groups[s.cause], s)
	}
	for c, g := range groups {
		if len(g) > 1 {
			out[at[c]] = joined(g)
		}
	}
	return out
}

// joined is one suspect of several, the most harmful first.
func joined(group []Suspect) Suspect {
	s := group[0]
	s.Evidence = slices.Clone(s.Evidence)
	s.Harms = slices.Clone(s.Harms)
	var places, bands, channels []string
	const most = 6 // lines of evidence
	for i := range group {
		x := &group[i]
		if x.FrequencyHz != nil {
			s.PlacesHz = append(s.PlacesHz, x.FrequencyHz.Value)
			places = append(places, megahertz(x.FrequencyHz.Value, x.FrequencyHz.Sigma, 2))
		}
		if x.bandName != "" {
			bands = append(bands, x.bandName)
		}
		if x.into != 0 {
			channels = append(channels, fmt.Sprint(x.into))
		}
		if i == 0 {
			continue
		}
		s.addHarms(x.Harms)
		if len(x.Evidence) > 0 && len(s.Evidence) < most {
			s.Evidence = append(s.Evidence, x.where()+x.Evidence[0])
		}
	}
	slices.SortStableFunc(s.Harms, func(a, b Harm) int { return cmp.Compare(costOf(&b), costOf(&a)) })
	switch s.Kind {
	case Impulses:
		s.Name = strings.Replace(s.Name, s.bandName+" band", listed(bands)+" bands", 1)
	case Tone, Carrier:
		s.inARow()
	case Spur:
		s.Name = fmt.Sprintf("the radio's own tone %s, at %s MHz", s.cause.of, listed(places))
	case Bursts:
		slices.SortFunc(channels, func(a, b string) int { return cmp.Or(cmp.Compare(len(a), len(b)), cmp.Compare(a, b)) })
		s.Name = "signals in bursts on channels " + listed(channels)
		if s.cause.of == frameCause {
			s.Name = "telephone networks' signals on channels " + listed(channels)
		}
	case Splatter:
		s.FrequencyHz, s.PlacesHz, s.WidthHz = nil, nil, 0
		s.Name = fmt.Sprintf("channel %s spilling into channels %s", s.cause.of, listed(channels))
	case Product:
		made := ""
		if strings.HasPrefix(s.cause.of, beforeRadio) {
			made = ", made before the radio"
		}
		s.Name = fmt.Sprintf("products of %s at %s MHz%s", spoken(strings.Split(strings.TrimPrefix(s.cause.of, beforeRadio), "+")), listed(places), made)
	}
	return s
}

// where begins a line of evidence with what it is of.
func (s *Suspect) where() string {
	switch {
	case s.bandName != "":
		return s.bandName + ": "
	case s.Kind == Bursts:
		return fmt.Sprintf("channel %d: ", s.into)
	case s.into != 0:
		return ""
	case s.FrequencyHz != nil:
		return "at " + megahertz(s.FrequencyHz.Value, s.FrequencyHz.Sigma, 3) + " MHz "
	}
	return ""
}

// addHarms adds what another part of the same does. In one channel they add up
// as powers do.
func (s *Suspect) addHarms(more []Harm) {
	for _, h := range more {
		i := slices.IndexFunc(s.Harms, func(o Harm) bool { return o.Channel == h.Channel })
		if i < 0 {
			s.Harms = append(s.Harms, h)
			continue
		}
		o := &s.Harms[i]
		o.Breaks = o.Breaks || h.Breaks
		switch {
		case h.CostDB == nil:
		case o.CostDB == nil:
			o.CostDB = h.CostDB
		default:
			o.CostDB = &measure.Estimate{
				Value: decibel(linear(o.CostDB.Value) + linear(h.CostDB.Value) - 1),
				Sigma: math.Max(o.CostDB.Sigma, h.CostDB.Sigma),
			}
		}
	}
}

// listed joins words as a sentence does.
func listed(words []string) string {
	if len(words) < 2 {
		return strings.Join(words, "")
	}
	n := len(words) - 1
	return strings.Join(words[:n], ", ") + " and " + words[n]
}
