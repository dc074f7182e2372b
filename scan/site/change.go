package site

import (
	"math"
	"slices"
	"time"

	"rooftone/scan/measure"
)

// Change is what became of one spot.
type Change struct {
	Spot     *Spot // as it is since then
	Before   *Spot // as it was before
	Channels []ChannelChange
}

// ChannelChange is one channel that was measured before and since.
type ChannelChange struct {
	RFChannel int
	Before    *measure.Estimate // margin; nil: not there
	Since     *measure.Estimate
	Change    *measure.Estimate // dB, + is better; nil unless both are there

	// Certain is set where the difference is more than uncertainty and
	// repeatability explain, or the channel came or went.
	Certain bool
}

// Visited tells spots that were visited on one side of a moment only.
type Visited struct {
	New  []*Spot // not before
	Left []*Spot // not since

	// Unclear are those of New that may be among Left, without it being clear
	// which: they are compared with none.
	Unclear []Unclear
}

// slopeDBPerDeg is how much a margin changes for each degree that an antenna
// points elsewhere, half way down its beam: one of 60° between its points 3 dB
// down, cosⁿ in power, falls there by 10·n·log₁₀(e)·tan 30° a radian with
// n = log 0.5 / log cos 30°, that is 0.21 dB a degree.
const slopeDBPerDeg = 0.21

// Changes compares the spots as they were before a moment with what they are
// since. A spot is the same where Spots would put its visits together. Only channels that were measured at the same spot both before and
// since are compared; they are in order of RF channel.
//
// A difference is Certain when it passes a two-sided test on its standard
// uncertainty, which contains Options.RepeatDB on both sides and what the
// difference of the headings may explain, at a level that
// leaves Options.FalseAlarm for all differences of all spots together
// (Bonferroni). Options.Since is not used.
func Changes(marks []Mark, since time.Time, o Options) ([]Change, Visited) {
	var early, late []Mark
	for _, m := range marks {
		if m.Time.Before(since) {
			early = append(early, m)
		} else {
			late = append(late, m)
		}
	}
	o.Since = time.Time{}
	before, after := Spots(early, o), Spots(late, o)

	var changes []Change
	var v Visited
	kept := make([]bool, len(before))
	compared := 0
	to, doubts := o.again(seatsOf(before), seatsOf(after))
	for i := range after {
		s, j := &after[i], to[i]
		if j < 0 {
			v.New = append(v.New, s)
			continue
		}
		kept[j] = true
		c := Change{Spot: s, Before: &before[j], Channels: compare(&before[j], s)}
		for _, ch := range c.Channels {
			if ch.Change != nil {
				compared++
			}
		}
		changes = append(changes, c)
	}
	for j := range before {
		if !kept[j] {
			v.Left = append(v.Left, &before[j])
		}
	}
	for _, d := range doubts {
		u := Unclear{Spot: &after[d.index], NoHeading: d.noHeading}
		for _, j := range d.among {
			u.Among = append(u.Among, &before[j])
		}
		v.Unclear = append(v.Unclear, u)
	}
	limit := math.Sqrt2 * math.Erfcinv(o.FalseAlarm/float64(max(1, compared)))
	for i := range changes {
		for k := range changes[i].Channels {
			ch := &changes[i].Channels[k]
			if d := ch.Change; d != nil {
				ch.Certain = math.Abs(d.Value) > limit*d.Sigma
			} else {
				ch.Certain = (ch.Before == nil) != (ch.Since == nil)
			}
		}
	}
	return changes, v
}

func seatsOf(spots []Spot) []seat {
	out := make([]seat, len(spots))
	for i := range spots {
		out[i] = spots[i].seat()
	}
	return out
}

// compare lists the channels that both visits measured.
func compare(before, since *Spot) []ChannelChange {
	var list []ChannelChange
	turned := 0.0 // dB
	if before.BearingDeg != nil && since.BearingDeg != nil {
		turned = slopeDBPerDeg * bearingApart(*before.BearingDeg, *since.BearingDeg)
	}
	for rf, b := range before.Channels {
		s, ok := since.Channels[rf]
		if !ok {
			continue
		}
		c := ChannelChange{RFChannel: rf, Before: b.Margin, Since: s.Margin}
		if b.Margin != nil && s.Margin != nil {
			c.Change = &measure.Estimate{
				Value: s.Margin.Value - b.Margin.Value,
				Sigma: math.Hypot(math.Hypot(s.Margin.Sigma, b.Margin.Sigma), turned),
			}
		}
		list = append(list, c)
	}
	slices.SortFunc(list, func(a, b ChannelChange) int { return a.RFChannel - b.RFChannel })
	return list
}
