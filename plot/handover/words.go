package handover

import (
	"fmt"
	"math"
	"strings"

	"rooftone/scan/measure"
	"rooftone/scan/site"
	"rooftone/scan/verdict"
)

// outlook is what somebody who wants to watch a channel should expect.
type outlook struct {
	Word    string // two or three words
	Meaning string // one sentence
	Mark    string // readable in black and white: ●◕◑○
	works   bool
}

// outlookOf puts a channel's grade into plain words.
func outlookOf(c site.Combined, measured bool, latest *site.Heard) outlook {
	standard := c.Standard
	if latest != nil {
		standard = latest.Standard
	}
	switch {
	case !measured:
		return outlook{Word: "Not measured", Meaning: "Nobody has looked for it at this place.", Mark: "–"}
	case latest != nil && latest.Occupied:
		return outlook{Word: "Not for a TV set", Meaning: "Something that is no television station uses this channel.", Mark: "△"}
	case c.Presence == measure.Vacant:
		return outlook{Word: "Not on the air here", Meaning: "No station was found on this channel.", Mark: "○"}
	case c.Presence == measure.Unsure:
		return outlook{Word: "Not sure", Meaning: "Something is there, but it may not be a station.", Mark: "?"}
	case standard == measure.ATSC3:
		return outlook{Word: "Needs ATSC 3.0", Meaning: "Only a set or tuner for ATSC 3.0 shows it, whatever the aim.", Mark: "△"}
	case standard == measure.OtherStandard:
		return outlook{Word: "Not for a TV set", Meaning: "Another service uses this channel.", Mark: "△"}
	}
	grade := c.Grade
	if c.Margin != nil && grade != "" {
		grade = verdict.GradeOf(c.Margin.Value) // of all visits together, as the figure beside it
	}
	switch grade {
	case verdict.Firm:
		return outlook{"Will hold", "Enough to spare for weather, leaves and the seasons.", "●", true}
	case verdict.Slim:
		return outlook{"Works, little to spare", "Heavy weather, leaves or traffic may break it up.", "◕", true}
	case verdict.Cliff:
		return outlook{"On the edge", "It will come and go.", "◑", true}
	case verdict.Trace:
		return outlook{"No picture", "It is on the air, but a set cannot decode it here.", "○", false}
	}
	return outlook{Word: "On the air", Meaning: "How well it would hold was not measured.", Mark: "?"}
}

// basis says of a channel that was heard in part how much of it that was, and
// what else its grade could be.
func basis(h *site.Heard, margin *measure.Estimate) string {
	text := strings.TrimPrefix(verdict.Basis(h.Share()), "from ")
	if text == "" {
		return ""
	}
	text = "heard " + text
	if margin == nil {
		return text
	}
	text += ", the rest is inferred"
	if could := verdict.Could(margin); could != "" {
		text += "; " + could
	}
	return text
}

// towards puts a bearing into words: 131 is "south-east".
func towards(deg float64) string {
	names := [...]string{"north", "north-east", "east", "south-east", "south", "south-west", "west", "north-west"}
	turn := math.Mod(deg, 360)
	if turn < 0 {
		turn += 360
	}
	return names[int(math.Round(turn/45))%len(names)]
}

// whereTo names a place as one tells it to somebody with a spanner.
func whereTo(s *site.Spot) string {
	out := s.Place
	if s.BearingDeg != nil {
		out += fmt.Sprintf(", antenna pointing %.0f° (%s)%s", math.Mod(math.Round(*s.BearingDeg), 360), towards(*s.BearingDeg), strings.Replace(s.North.Words(), " true", " from true north", 1))
	}
	if s.HeightM != nil {
		out += fmt.Sprintf(", %s up", s.Units.Length(*s.HeightM))
	}
	return out
}

// list writes things as a person lists them.
func list(words []string) string {
	if len(words) < 2 {
		return strings.Join(words, "")
	}
	return strings.Join(words[:len(words)-1], ", ") + " and " + words[len(words)-1]
}

// counted writes a number of things in words where it is small.
func counted(n int, one, many string) string {
	small := [...]string{"none", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine"}
	word := fmt.Sprint(n)
	if n < len(small) {
		word = small[n]
	}
	if n == 1 {
		return word + " " + one
	}
	return word + " " + many
}

// limitWords put what limits a channel into words for those who do not know
// the trade's.
func limitWords(l verdict.Limit) string {
	switch l {
	case verdict.Weak:
		return "weak signal"
	case verdict.Echoes:
		return "echoes"
	case verdict.Overload:
		return "the radio was overloaded"
	case verdict.CoChannel:
		return "something under the signal"
	case verdict.Adjacent:
		return "a strong neighbour channel"
	case verdict.Tone:
		return "an interfering tone"
	case verdict.Impulse:
		return "impulse noise"
	case verdict.Fading:
		return "fading"
	case verdict.OtherStandard:
		return "another standard"
	}
	return string(l)
}

// leadsUp reports whether a line of advice sends somebody to the antenna.
const upwards = "antenna roof mast ladder attic sideways higher turn aim move foot feet place"

func leadsUp(advice string) bool {
	advice = strings.ToLower(advice)
	for _, word := range strings.Fields(upwards) {
		if strings.Contains(advice, word) {
			return true
		}
	}
	return false
}
