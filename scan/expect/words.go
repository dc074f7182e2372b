package expect

import (
	"fmt"
	"strings"

	"rooftone/scan/path"
	"rooftone/scan/site"
)

// Count is how many stations have an outlook; "" counts those without figures.
func (e *Expectation) Count(o Outlook) (n int) {
	for i := range e.Stations {
		if e.Stations[i].Outlook == o {
			n++
		}
	}
	return n
}

// Headline says in plain words what the household can hope for.
func (e *Expectation) Headline() string {
	likely, open, unlikely := e.Count(Likely), e.Count(Open), e.Count(Unlikely)
	all := likely + open + unlikely
	switch {
	case len(e.Stations) == 0:
		return fmt.Sprintf("no station of the list is within %.0f km", MaxDistanceM/1e3)
	case all == 0:
		return fmt.Sprintf("of none of the %s is enough known to say what arrives", stations(len(e.Stations)))
	}
	var parts []string
	say := func(n int, word string) {
		if n > 0 {
			parts = append(parts, fmt.Sprintf("%d %s", n, word))
		}
	}
	say(likely, "should come in here")
	say(open, "may come in")
	say(unlikely, "should not")
	if n := e.Count(""); n > 0 {
		say(n, "not reckoned")
	}
	return fmt.Sprintf("of %s, %s", stations(len(e.Stations)), strings.Join(parts, ", "))
}

// Aim says where an antenna would look; "" where nothing would arrive.
func (e *Expectation) Aim() string {
	o := Likely
	b := e.Best(o)
	if b == nil {
		o = Open
		if b = e.Best(o); b == nil {
			return ""
		}
	}
	what := map[Outlook]string{Likely: "that should come in", Open: "that may come in"}[o]
	if n := e.Count(o); n > 1 {
		return fmt.Sprintf("an antenna that looks to %s has %d of the %d %s within %d°", site.Heading(b.BearingDeg), len(b.Served), n, what, BeamDeg)
	}
	return fmt.Sprintf("the one %s is at %s", what, site.Heading(b.BearingDeg))
}

func stations(n int) string {
	if n == 1 {
		return "1 station"
	}
	return fmt.Sprintf("%d stations", n)
}

// Way is how a station arrives in a word, as far as the ground is known: in sight,
// hidden behind ground, or scattered by the air.
func (x *Expected) Way() string {
	switch {
	case x.Ground == Smooth:
		return "no terrain"
	case x.Mode == path.Scattered:
		return "scattered"
	case x.Hidden:
		return "hidden"
	}
	return "sight"
}
