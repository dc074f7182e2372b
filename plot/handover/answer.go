package handover

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"rooftone/scan/decide"
	"rooftone/scan/site"
)

// answer says the result first: where to, how it is to be held there, what to expect,
// and how settled that is.
func (b *builder) answer() {
	s := b.sheet
	s.Best = whereTo(b.chosen.Spot)
	first := &b.ranking.Rows[0]
	s.Title = "Best place for the antenna"
	switch {
	case b.Chosen != nil:
		s.Title = "Chosen place"
	case len(b.ranking.Next) > 0:
		s.Title = "Best place for the antenna, as far as is known"
	}
	s.Hold = b.hold()
	for i := range b.ranking.Rows {
		r := &b.ranking.Rows[i]
		if r != b.chosen && r.Rank == b.chosen.Rank && b.chosen.Rank == 1 {
			s.Equal = append(s.Equal, whereTo(r.Spot))
		}
	}
	if b.chosen.Rank != 1 {
		s.Better = whereTo(first.Spot)
	}
	s.Counts = b.expectations()
	s.Next = b.next()
	if q := b.ranking.Pair; q != nil && q.Worth && len(q.Gained) > 0 {
		s.Second = fmt.Sprintf("Two antennas would together give %d of %d channels enough to spare: %s more than one alone.",
			len(q.Enough), s.Wanted, b.labels(q.Gained))
		s.Two = fmt.Sprintf("One at %s, and one at %s.", whereTo(q.Spots[0]), whereTo(q.Spots[1]))
		for _, line := range b.Places.Joining() {
			s.Joining = append(s.Joining, sentence(line))
		}
		s.Climb = true
	}
	if n := b.ranking.Nowhere; len(n) > 0 {
		s.Lacking = append(s.Lacking, "No place that was tried gives a picture on "+b.theChannels(n)+".")
	}
	if n := b.ranking.NotEnough; len(n) > 0 {
		s.Lacking = append(s.Lacking, "No place that was tried gives enough to spare on "+b.theChannels(n)+".")
	}
	if n := b.ranking.Unmeasured; len(n) > 0 {
		s.Lacking = append(s.Lacking, "Not looked for anywhere: "+b.theChannels(n)+".")
	}
}

// expectations groups the wanted channels by what to expect of them.
func (b *builder) expectations() []count {
	var out []count
	byWord := map[string][]int{}
	for _, w := range b.ranking.Wanted {
		o := b.outlook(b.chosen.Spot, w.RFChannel)
		if byWord[o.Word] == nil {
			out = append(out, count{Word: o.Word, Mark: o.Mark})
		}
		byWord[o.Word] = append(byWord[o.Word], w.RFChannel)
	}
	slices.SortStableFunc(out, func(x, y count) int { return order(x.Word) - order(y.Word) })
	for i := range out {
		out[i].Channels = b.theChannels(byWord[out[i].Word])
	}
	return out
}

// hold says how far the antenna may be off its heading, where that is known.
func (b *builder) hold() string {
	at := b.chosen.Spot
	if at.BearingDeg == nil {
		return ""
	}
	for i := range b.ranking.Headings {
		h := &b.ranking.Headings[i]
		wide := h.ToDeg - h.FromDeg
		off := math.Mod(*at.BearingDeg-h.FromDeg+720, 360)
		switch {
		case !sameSpot(h, at) || wide >= 360:
		case off <= math.Mod(wide+360, 360):
			return fmt.Sprintf("Hold it between %.0f\u00b0 and %.0f\u00b0: beyond, as much is lost as by %.2g\u00a0dB less on every channel.",
				math.Mod(math.Round(h.FromDeg), 360), math.Mod(math.Round(h.ToDeg), 360), h.HoldLossDB)
		}
	}
	return ""
}

func sameSpot(h *decide.Single, s *site.Spot) bool {
	if !strings.EqualFold(h.Place, s.Place) || (h.HeightM == nil) != (s.HeightM == nil) {
		return false
	}
	return h.HeightM == nil || math.Abs(*h.HeightM-*s.HeightM) < 0.01
}

// next says what would settle a choice that is not settled.
func (b *builder) next() []string {
	const most = 2
	var out []string
	for _, s := range b.ranking.Next {
		verb, what := "Measure", "it could be better"
		switch {
		case s.Again:
			verb, what = "Measure again", "it is too close to tell"
		case s.Best:
			what = "that decides whether it stays the best"
		}
		if len(out) == most {
			break
		}
		out = append(out, fmt.Sprintf("%s %s at %s: %s.", verb, b.theChannels(s.Channels), whereTo(s.Spot), what))
	}
	return out
}

// order puts the good news first.
func order(word string) int {
	for i, w := range []string{"Will hold", "Works, little to spare", "On the edge", "No picture"} {
		if w == word {
			return i
		}
	}
	return 9
}
