package meter

import (
	"math"
	"time"

	"rooftone/scan/measure"
)

// Gauge is what an Update's figure is of: what is followed while an antenna is
// moved.
type Gauge string

const (
	ByMargin Gauge = "margin" // dB above the decode threshold of 8-VSB
	ByCN     Gauge = "cn"     // C/N in 6 MHz, dB, of what is no 8-VSB and so has no such margin
	ByLevel  Gauge = "level"  // dBFS at the gain in use, where the noise is not known either
)

// HasMargin reports whether the figure is a margin above the decode threshold,
// which what is no 8-VSB does not have.
func (u Update) HasMargin() bool { return u.Gauge != ByCN && u.Gauge != ByLevel }

const (
	// A channel at whose level training could not be missed, and in which none was
	// found for so long, holds no 8-VSB.
	foreignAfter = 2 * time.Second
	// provenFields is how many fields' training it takes to overrule a bootstrap
	// that was found: one field's may be chance.
	provenFields = 2.0
	// lookAgain is the least time between two careful visits that were made only to
	// find out what something is.
	lookAgain = 5 * time.Minute
)

// standardOf is what is known of the channel's standard. One that is not 8-VSB has
// no margin under the threshold of 8-VSB, here and wherever an Update goes.
func (f *follower) standardOf(u *Update) measure.Standard {
	switch {
	case u.Trained:
		return measure.ATSC1
	case f.standard == measure.ATSC3:
		return measure.ATSC3
	case f.occupied || f.foreign:
		return measure.OtherStandard
	}
	return ""
}

// isTrained reports whether training was found lately.
func (f *follower) isTrained(at time.Time) bool {
	if f.lastSeen.IsZero() || at.Sub(f.lastSeen) >= trainedSpan {
		return false
	}
	if f.standard != measure.ATSC3 {
		return true
	}
	var fields float64
	for k := range f.hops {
		if t := &f.hops[k].trained; at.Sub(t.at) < trainedSpan {
			fields += t.weight
		}
	}
	return fields >= provenFields
}

// suspect takes in a margin as it would be under 8-VSB: where it is enough for a
// picture for some time and no training is found, that is no 8-VSB.
func (f *follower) suspect(u *Update, marginDB float64) {
	switch {
	case u.Trained:
		f.foreign, f.strongSince = false, time.Time{}
	case marginDB < 0 || u.Unsought:
		f.strongSince = time.Time{}
	case f.strongSince.IsZero():
		f.strongSince = u.Time
	case u.Time.Sub(f.strongSince) >= foreignAfter:
		f.foreign = true
	}
}

// gauge makes the figure of an Update whose C/N is known be what it can be.
func (f *follower) gauge(u *Update) {
	if u.Margin != nil {
		f.suspect(u, u.Margin.Value)
		u.Standard = f.standardOf(u)
	}
	if u.Standard != "" && u.Standard != measure.ATSC1 {
		u.Gauge, u.Margin, u.Method = ByCN, nil, ""
	}
	f.remember(u)
}

// byLevel makes the figure of an Update the level, where something that is no
// 8-VSB stands in a noise that nobody knows.
func (f *follower) byLevel(u *Update) {
	var sum float64
	for _, d := range f.density {
		sum += d
	}
	if !(sum > 0) {
		return
	}
	u.State, u.Gauge = Measuring, ByLevel
	u.Level = &measure.Estimate{
		Value: toDB(sum * f.stepHz),
		Sigma: 10 / math.Ln10 * math.Hypot(math.Sqrt(1.5/(f.average*float64(f.bins))), f.passSigma*math.Ln10/10/math.Sqrt(3)),
	}
	f.remember(u)
}

// follow takes over what an earlier follower of the channel knew.
func (f *follower) follow(old *follower) {
	f.history, f.count, f.gauged = old.history, old.count, old.gauged
	if f.standard == "" && old.standard == measure.ATSC3 {
		f.standard = old.standard // it is too weak now for its bootstrap, or the look was too short
	}
	if f.gauged == ByLevel && f.gainDB != old.gainDB {
		f.history = history{} // of another gain
	}
}

// wantsLook reports whether a careful visit should find out what it is that has
// come to a channel: at the last one it was not there, or too weak to tell.
func (m *Meter) wantsLook(i int, at time.Time) bool {
	f := m.followers[i]
	if !f.foreign || f.standard != "" || f.occupied || at.Sub(m.lookedAt[i]) < lookAgain {
		return false
	}
	m.lookedAt[i] = at
	return true
}
