package verdict

import (
	"fmt"
	"strings"

	"rooftone/scan/band"
	"rooftone/scan/measure"
)

// Occupied reports whether what is on a channel is known to be no television
// station. A channel on which nothing else was found is not occupied.
func Occupied(r *measure.Reading) bool {
	return r.Heard() && r.Presence != measure.Vacant && r.Standard != measure.ATSC1 && r.Standard != measure.ATSC3 &&
		(r.Occupant != nil || r.Presence == measure.Present && r.Standard == measure.OtherStandard)
}

// occupant says of what fills a channel and is no station just that, and what
// can be said of it.
func (v *Verdict) occupant(r *measure.Reading) {
	o := r.Occupant
	if o == nil {
		if len(r.Suspicion) == 0 {
			v.add(OtherStandard, "power that is no 8-VSB: another standard or another service")
		}
		return
	}
	said := []string{}
	if o.UnevenDB > 0 {
		said = append(said, flatness(o.UnevenDB))
	}
	if o.OnShare > 0 {
		said = append(said, rhythm(o.OnShare))
	}
	if text := repetition(o.RepeatSeconds); text != "" {
		said = append(said, text)
	}
	text := fills(r) + ", and is no television station"
	if len(said) > 0 {
		text += ": " + strings.Join(said, ", ")
	}
	v.add(OtherStandard, "%s", text)
}

// fills says which part of the channel is filled.
func fills(r *measure.Reading) string {
	span := r.Occupant.Span
	where := fmt.Sprintf("%.1f to %.1f MHz", span.LowHz/1e6, span.HighHz/1e6)
	// The skirts at a channel's ends stay empty under most that fills it.
	const nearly = 0.85
	seen := r.SeenShare() * band.WidthHz
	switch width := span.WidthHz(); {
	case !(width > 0):
		return "something stands in the channel"
	case width < nearly*seen:
		return fmt.Sprintf("something fills %.2g MHz of the channel, %s", width/1e6, where)
	case partly(r):
		return fmt.Sprintf("something fills all that was heard of the channel, %s", where)
	}
	return "something fills the channel, " + where
}

func flatness(unevenDB float64) string {
	const flatDB = 3 // what noise of a service without echoes is within: common practice
	if unevenDB <= flatDB {
		return fmt.Sprintf("flat within %.0f dB", max(1, unevenDB))
	}
	return fmt.Sprintf("uneven by %.0f dB", unevenDB)
}

func rhythm(onShare float64) string {
	const steady = 0.95
	if onShare >= steady {
		return "always on"
	}
	return fmt.Sprintf("in bursts, on for %.2g %% of the time", 100*onShare)
}

// repetition says what a time after which a signal is like itself tells of it;
// "" for none. The lines of analogue video are 63.56 and 64 µs long (ITU-R
// BT.1700); what repeats within a few ms otherwise is most often a guard
// interval's, an OFDM symbol's useful part away; carriers 15 kHz apart are those
// of 3GPP TS 36.211.
func repetition(seconds float64) string {
	const (
		lineLow, lineHigh       = 63.2e-6, 64.4e-6
		symbolShort, symbolLong = 3e-6, 5e-3
		lteHz, within           = 15e3, 0.01
	)
	switch {
	case !(seconds > 0):
		return ""
	case seconds >= lineLow && seconds <= lineHigh:
		return fmt.Sprintf("like itself every %.1f µs, as analogue video is from line to line", 1e6*seconds)
	case seconds < symbolShort || seconds > symbolLong:
		return fmt.Sprintf("like itself every %.3g ms", 1e3*seconds)
	}
	apart := 1 / seconds
	text := fmt.Sprintf("like itself after %.3g µs, as OFDM is whose carriers stand %.3g kHz apart", 1e6*seconds, apart/1e3)
	if apart > lteHz*(1-within) && apart < lteHz*(1+within) {
		text += ", such as LTE"
	}
	return text
}
