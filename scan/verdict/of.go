package verdict

import (
	"fmt"
	"math"

	"rooftone/scan/measure"
)

// overloadFraction is the part of samples on a rail from which a Reading is
// put down to the radio and not to the air.
const overloadFraction = 1e-3

// Of judges one channel.
func Of(r *measure.Reading) Verdict {
	var v Verdict
	if !r.Covered {
		return v
	}
	if r.ClippedFraction > overloadFraction {
		v.add(Overload, "%.2g %% of the samples hit the converter's rails: lower the gain", 100*r.ClippedFraction)
		v.Advice = append(v.Advice, "measure again with less gain, or put an attenuator before the radio")
	}
	for _, d := range r.Suspicion {
		v.doubt(r, d)
	}
	if r.Presence != measure.Present {
		return v
	}
	v.Grade = Trace
	if r.Margin != nil {
		v.Grade = gradeOf(r.Margin.Value)
	}
	if v.Grade != Firm {
		v.weak(r)
	}
	return v
}

func gradeOf(marginDB float64) Grade {
	switch {
	case marginDB < 0:
		return Trace
	case marginDB < SlimMarginDB:
		return Cliff
	case marginDB < FirmMarginDB:
		return Slim
	}
	return Firm
}

func (v *Verdict) add(l Limit, format string, args ...any) {
	v.Reasons = append(v.Reasons, Reason{l, fmt.Sprintf(format, args...)})
}

// weak says what noise leaves of a present channel.
func (v *Verdict) weak(r *measure.Reading) {
	switch {
	case r.Margin == nil:
		v.add(Weak, "a pilot and no more: far below what a receiver decodes")
	case r.Margin.Value < 0:
		v.add(Weak, "C/N %.0f dB, %.0f dB short of what a receiver needs", r.CN.Value, math.Max(1, -r.Margin.Value))
	default:
		v.add(Weak, "C/N %.0f dB, only %.0f dB to spare", r.CN.Value, r.Margin.Value)
	}
	v.Advice = append(v.Advice,
		"turn the antenna, then try a foot or two sideways and up",
		"a longer antenna, a higher place, or a preamplifier at the antenna before a long cable")
}

// doubt says what was found in a channel that is no station, or may be none.
func (v *Verdict) doubt(r *measure.Reading, d measure.Doubt) {
	switch d {
	case measure.DoubtNoData:
		v.add(Tone, "a lone tone %s: a station would show %.0f dB of C/N beside it", place(r), r.Pilot.ImpliedCN.Value)
	case measure.DoubtSpur:
		v.add(Tone, "a tone of the radio's own: %s", r.Pilot.KnownSpur)
	case measure.DoubtOffPlace:
		v.add(Tone, "a lone tone %s, where no pilot belongs", place(r))
	case measure.DoubtNoClock:
		v.add(Weak, "a weak tone near a pilot's place, and no station to tell the clock error by")
	case measure.DoubtNoPilot:
		v.add(OtherStandard, "power without a pilot: another standard or another service")
	case measure.DoubtShape:
		v.add(OtherStandard, "a tone and power that does not fill the channel: another service")
	case measure.DoubtNoiseLevel:
		v.add(Weak, "the noise floor is not known well enough to tell")
	}
}

// place writes where a tone is relative to the pilot's place.
func place(r *measure.Reading) string {
	return fmt.Sprintf("%+.1f kHz from the pilot's place", r.Pilot.OffsetHz.Value/1e3)
}
