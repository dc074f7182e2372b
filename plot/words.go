package plot

import (
	"fmt"
	"math"
	"sort"
	"strconv"
	"strings"

	"rooftone/scan"
	"rooftone/scan/measure"
	"rooftone/scan/verdict"
)

// defaultThresholdDB is the C/N at which a typical receiver decodes, A/74.
const defaultThresholdDB = 15.2

// condition is what a lot shows.
type condition int

const (
	notCovered condition = iota
	vacant
	unsure
	unmeasured // present, but its margin is not known
	measured   // present, with a margin
	foreign    // of another standard than 8-VSB, or no television: most sets will not show it
)

func conditionOf(c scan.Channel) condition {
	switch {
	case !c.Heard():
		return notCovered
	case c.Presence == measure.Vacant:
		return vacant
	case occupied(c) || c.Presence == measure.Present && nameOf(c.Standard) != "":
		return foreign
	case c.Presence == measure.Unsure:
		return unsure
	case c.Presence == measure.Present:
		if _, ok := known(c.Margin); ok {
			return measured
		}
		return unmeasured
	}
	return notCovered
}

// nameOf is what a standard that not every set shows is called; "" for 8-VSB
// and where it could not be told.
func nameOf(s measure.Standard) string {
	switch s {
	case measure.ATSC3:
		return "ATSC 3.0"
	case measure.OtherStandard:
		return "other"
	}
	return ""
}

// standardInWords is the same where there is room.
func standardInWords(c scan.Channel) string {
	switch {
	case occupied(c):
		return "no TV station"
	case c.Standard == measure.OtherStandard:
		return "another standard"
	}
	return nameOf(c.Standard)
}

// notVisited says of a channel that a visit ended before its turn: nothing is known
// of whether the source covers it.
const notVisited = "not visited"

// word is the one word for a channel: its grade, or else its presence. A
// channel of another standard goes by that, for a grade would promise a
// picture.
func word(c scan.Channel) string {
	switch conditionOf(c) {
	case notCovered:
		return "not covered"
	case vacant:
		return string(measure.Vacant)
	case unsure:
		return string(measure.Unsure)
	case foreign:
		return nameOf(standardOf(c))
	}
	if c.Grade != "" {
		return string(c.Grade)
	}
	return string(measure.Present)
}

// threshold is the C/N that margins are measured from.
func threshold(asked float64, s *scan.Survey) float64 {
	for _, db := range []float64{asked, s.ThresholdDB} {
		if db > 0 && !math.IsInf(db, 0) {
			return db
		}
	}
	return defaultThresholdDB
}

// reasons are what limits a channel or, where it is not known to be a
// station, what speaks against it. Each stands once, in the order given.
func reasons(c scan.Channel) []string {
	var out []string
	seen := map[string]bool{}
	add := func(s string) {
		if s != "" && !seen[s] {
			seen[s] = true
			out = append(out, s)
		}
	}
	doubted := false
	k := conditionOf(c)
	if k == vacant || k == unsure {
		for _, d := range c.Suspicion {
			add(doubtWords(d))
			doubted = true
		}
	}
	for _, r := range c.Reasons {
		// A doubt about a tone or a weak signal says it more exactly.
		switch {
		case doubted && (r.Limit == verdict.Tone || r.Limit == verdict.Weak):
		case k == foreign && r.Limit == verdict.OtherStandard: // its name says so
		default:
			add(string(r.Limit))
		}
	}
	return out
}

// doubtWords say in two words or three what speaks against a station.
func doubtWords(d measure.Doubt) string {
	switch d {
	case measure.DoubtNoData:
		return "lone tone"
	case measure.DoubtSpur:
		return "radio's own"
	case measure.DoubtOffPlace:
		return "tone off place"
	case measure.DoubtNoClock:
		return "clock unknown"
	case measure.DoubtNoPilot:
		return "no pilot"
	case measure.DoubtShape:
		return "odd shape"
	case measure.DoubtNoTraining:
		return "no 8-VSB"
	case measure.DoubtNoiseLevel:
		return "noise unknown"
	}
	return string(d)
}

// foreigners say of the channels of other standards who will see them.
func foreigners(rows []scan.Channel) []string {
	numbers := map[measure.Standard][]int{}
	var filled []int
	for _, c := range rows {
		switch {
		case conditionOf(c) != foreign:
		case occupied(c):
			filled = append(filled, c.Channel.Number)
		default:
			numbers[standardOf(c)] = append(numbers[standardOf(c)], c.Channel.Number)
		}
	}
	var out []string
	if ns := numbers[measure.ATSC3]; len(ns) > 0 {
		out = append(out, theChannels(ns)+number(len(ns), " is ATSC 3.0: a set or tuner without ATSC 3.0 will not show it, whatever the aim", " are ATSC 3.0: a set or tuner without ATSC 3.0 will not show them, whatever the aim"))
	}
	if ns := numbers[measure.OtherStandard]; len(ns) > 0 {
		out = append(out, theChannels(ns)+number(len(ns), " is of another standard or service: a television set will not show it", " are of another standard or service: a television set will not show them"))
	}
	if len(filled) > 0 {
		out = append(out, theChannels(filled)+number(len(filled), " holds", " hold")+" something that is no television station: another service, interference, or what the radio makes itself")
	}
	return out
}

// theChannels names channels, one or several.
func theChannels(ns []int) string { return number(len(ns), "channel ", "channels ") + Ranges(ns) }

// number picks the words for one or for several.
func number(n int, one, more string) string {
	if n == 1 {
		return one
	}
	return more
}

// Ranges writes ascending numbers as "2-6, 8, 10-12".
func Ranges(ns []int) string {
	var out []string
	for i := 0; i < len(ns); {
		j := i
		for j+1 < len(ns) && ns[j+1] == ns[j]+1 {
			j++
		}
		if j > i {
			out = append(out, fmt.Sprintf("%d-%d", ns[i], ns[j]))
		} else {
			out = append(out, strconv.Itoa(ns[i]))
		}
		i = j + 1
	}
	return strings.Join(out, ", ")
}

// tally counts the words of a survey, the best first, and says none of what
// is not there.
func tally(rows []scan.Channel) string {
	order := []string{string(verdict.Firm), string(verdict.Slim), string(verdict.Cliff), string(verdict.Trace),
		string(measure.Present), nameOf(measure.ATSC3), nameOf(measure.OtherStandard), string(measure.Unsure), string(measure.Vacant), "not covered"}
	n := map[string]int{}
	for _, c := range rows {
		w := word(c)
		if n[w]++; n[w] == 1 && !contains(order, w) {
			order = append(order, w)
		}
	}
	var out []string
	for _, w := range order {
		if n[w] > 0 {
			out = append(out, fmt.Sprintf("%d %s", n[w], w))
		}
	}
	if len(out) == 0 {
		return "no channels"
	}
	return strings.Join(out, ", ")
}

func contains(list []string, s string) bool {
	for _, e := range list {
		if e == s {
			return true
		}
	}
	return false
}

// circumstances are the facts behind the figures, each in a few words.
func circumstances(s *scan.Survey, rows []scan.Channel, clock string) []string {
	var out []string
	if s.Source != "" {
		out = append(out, "source "+s.Source)
	}
	if !s.Started.IsZero() {
		out = append(out, s.Started.Format("2006-01-02 15:04 MST"))
	}
	if t := gain(rows); t != "" {
		out = append(out, t)
	}
	if clock != "" {
		out = append(out, clock)
	}
	if t := noise(rows); t != "" {
		out = append(out, t)
	}
	return out
}

func gain(rows []scan.Channel) string {
	low, high := math.Inf(1), math.Inf(-1)
	for _, c := range rows {
		if c.GainDB != nil && !math.IsNaN(*c.GainDB) && !math.IsInf(*c.GainDB, 0) {
			low, high = math.Min(low, *c.GainDB), math.Max(high, *c.GainDB)
		}
	}
	switch {
	case low > high:
		return ""
	case high-low < 0.05:
		return fmt.Sprintf("gain %.3g dB", low)
	}
	return fmt.Sprintf("gain %.3g to %.3g dB", low, high)
}

func clock(c *measure.Clock) string {
	if c == nil || math.IsNaN(c.PPM.Value) || math.IsInf(c.PPM.Value, 0) {
		return ""
	}
	ppm := fmt.Sprintf("clock %+.1f ppm", c.PPM.Value)
	switch {
	case c.Given:
		return ppm + " as given"
	case c.Prior:
		return ppm + " as the radio is known"
	case c.Stations == 1:
		return ppm + " from 1 station"
	case c.Stations > 1:
		return fmt.Sprintf("%s from %d stations", ppm, c.Stations)
	}
	return ppm
}

// noise says where the noise floors were read, the most used way first.
func noise(rows []scan.Channel) string {
	names := map[measure.NoiseMethod]string{
		measure.NoiseVacant:   "vacant channels",
		measure.NoiseEdge:     "channel edges",
		measure.NoiseTraining: "the training's residual",
	}
	n := map[string]int{}
	for _, c := range rows {
		if c.Heard() && c.Noise != "" {
			name, ok := names[c.Noise]
			if !ok {
				name = string(c.Noise)
			}
			n[name]++
		}
	}
	var ways []string
	for w := range n {
		ways = append(ways, w)
	}
	if len(ways) == 0 {
		return ""
	}
	sort.Slice(ways, func(i, j int) bool {
		if n[ways[i]] != n[ways[j]] {
			return n[ways[i]] > n[ways[j]]
		}
		return ways[i] < ways[j]
	})
	return "noise from " + strings.Join(ways, " and ")
}

// clippedMatters is the share of clipped samples from which it is mentioned.
const clippedMatters = 1e-3

// warnings are what a person must know before believing the figures.
func warnings(s *scan.Survey, rows []scan.Channel) []string {
	var clipped, lost, covered []int
	worst := 0.0
	for _, c := range rows {
		if !c.Heard() {
			continue
		}
		n := c.Channel.Number
		covered = append(covered, n)
		if c.ClippedFraction >= clippedMatters {
			clipped = append(clipped, n)
			worst = math.Max(worst, math.Min(1, c.ClippedFraction))
		}
		if c.LostSamples {
			lost = append(lost, n)
		}
	}
	var out []string
	switch {
	case s.Interrupted && len(covered) < len(rows):
		out = append(out, fmt.Sprintf("interrupted: %d of %d channels visited", len(covered), len(rows)))
	case s.Interrupted:
		out = append(out, "interrupted before every channel was visited")
	}
	if len(clipped) > 0 {
		out = append(out, fmt.Sprintf("samples clipped on %s, up to %.2g %%: less gain would help", theChannels(clipped), 100*worst))
	}
	if len(lost) > 0 {
		out = append(out, "samples lost on "+theChannels(lost))
	}
	return out
}

// notStations lists vacant channels in which something was found that is not a
// station.
func notStations(rows []scan.Channel) string {
	var out []string
	for _, c := range rows {
		if conditionOf(c) == vacant && len(c.Suspicion) > 0 {
			out = append(out, fmt.Sprintf("%d (%s)", c.Channel.Number, strings.Join(reasons(c), ", ")))
		}
	}
	return strings.Join(out, ", ")
}

// spoken is a survey for those who cannot see its picture.
func spoken(rows []scan.Channel) string {
	out := []string{"Channels: " + tally(rows)}
	for _, c := range rows {
		k := conditionOf(c)
		if k == vacant || k == notCovered {
			continue
		}
		line := fmt.Sprintf("channel %d %s", c.Channel.Number, word(c))
		if m, ok := known(c.Margin); ok {
			line += ", margin " + strings.Replace(wholeDB(m.v), "\u2212", "-", 1) + " dB"
			if t := halfWidth(m.half, true, "\u00b1"); t != "" {
				line += " " + t
			}
		}
		if t := basis(c); t != "" {
			line += ", " + t
		}
		if r := reasons(c); len(r) > 0 {
			line += ", " + strings.Join(r, " and ")
		}
		out = append(out, line)
	}
	return strings.Join(append(out, foreigners(rows)...), "; ") + "."
}

// joinFitting joins as many of the words as fit, the first first, and says how
// many more there are.
func joinFitting(words []string, between string, fits func(string) bool) string {
	for n := len(words); n > 0; n-- {
		s := strings.Join(words[:n], between)
		if n < len(words) {
			s += fmt.Sprintf(" +%d", len(words)-n)
		}
		if fits(s) {
			return s
		}
	}
	return ""
}
