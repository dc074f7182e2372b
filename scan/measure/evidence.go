package measure

import (
	"math"

	"rooftone/dsp/pattern"
	"rooftone/dsp/vsb"
	"rooftone/scan/band"
	"rooftone/scan/listen"
)

// line is a line near a channel's pilot's place, and where it was heard.
type line struct {
	listen.Tone
	slice *listen.Slice
	width float64 // how near two tones can be told apart there, Hz
}

// hz is the line's frequency by the radio's clock.
func (l *line) hz() float64 { return l.slice.CenterHz + l.OffsetHz }

// dataShare is the density that a station's data has in the flat part of its
// spectrum if the line is its pilot, over the density of all that stands around
// the line. Of a station it is 2 at the most, for the pilot stands where the
// data's skirt has risen by half, and more only where echoes lift the pilot.
func (l *line) dataShare() float64 {
	return l.Power / vsb.PilotShare * vsb.Density(band.WidthHz/2) / l.Density
}

// evidence is what all slices show of one channel, whatever their gain and
// rate, before it is judged.
type evidence struct {
	channel band.Channel
	lines   []line // the strongest of each slice that shows the pilot's place

	trained   []listen.Trained
	bootstrap *listen.Bootstrap // the surest that was found
	sought    bool              // a bootstrap would have come by

	// certainSNR is the ratio of data to noise from which the training would
	// have been found for certain where it was not; +Inf where it was found, or
	// might have been missed at any level.
	certainSNR float64
}

// gather collects the evidence for every channel.
func gather(slices []*listen.Slice, channels []band.Channel, falseAlarm float64) []evidence {
	out := make([]evidence, len(channels))
	for i, c := range channels {
		e := &out[i]
		e.channel, e.certainSNR = c, math.Inf(1)
		e.trained = listen.TrainedOf(slices, c)
		for _, s := range slices {
			e.hear(s, falseAlarm)
		}
		if len(e.trained) > 0 {
			e.certainSNR = math.Inf(1)
		}
	}
	return out
}

// hear takes in what one slice shows.
func (e *evidence) hear(s *listen.Slice, falseAlarm float64) {
	shown := s.Shows(e.channel)
	if shown.WidthHz() <= 0 {
		return
	}
	for i := range s.Fine {
		f := &s.Fine[i]
		if f.Channel != e.channel {
			continue
		}
		lines, _ := f.PilotLines(s.CenterHz, listen.MaxPPM, falseAlarm)
		for _, t := range lines {
			e.lines = append(e.lines, line{t, s, f.ToneWidth()})
		}
	}
	for i := range s.Bootstraps {
		b := &s.Bootstraps[i]
		if b.Channel != e.channel {
			continue
		}
		e.sought = e.sought || b.Seconds >= listen.BootstrapSeconds
		if b.Found && (e.bootstrap == nil || b.ClockSigmaPPM < e.bootstrap.ClockSigmaPPM) {
			e.bootstrap = b
		}
	}
	for _, o := range s.Searched {
		if o.Channel == e.channel {
			e.certainSNR = math.Min(e.certainSNR, o.CertainSNR)
		}
	}
}

// proven reports whether a known standard was found in the channel.
func (e *evidence) proven() bool { return len(e.trained) > 0 || e.bootstrap != nil }

// fewBursts is the share of the time up to which what comes and goes is taken
// for bursts over something steady.
const fewBursts = 0.2

// patternOf is what tells a channel's samples from noise besides their spectrum,
// from the slices that show mostly this channel: what most of them show, for what
// fills a channel is in all of them, and a switch that sparks is in one. It is nil
// where nothing was looked at. The slices are those of one gain: where the noise
// does not fill the converter's steps, its samples are not like noise.
func patternOf(list []*listen.Slice, c band.Channel) *pattern.Found {
	var alike, unlike *pattern.Found
	var count, unlikely int
	for _, s := range list {
		if s.Pattern == nil || s.Shows(c).WidthHz() <= listen.UsableShare*s.RateHz {
			continue
		}
		count++
		switch {
		case !unlikeNoise(s.Pattern):
			alike = s.Pattern
		case unlike == nil || s.Pattern.Chance < unlike.Chance:
			unlike = s.Pattern
			unlikely++
		default:
			unlikely++
		}
	}
	if unlike != nil && 2*unlikely > count {
		return unlike
	}
	return alike
}

// unlikeNoise reports whether samples are not those of thermal noise, bursts
// apart.
func unlikeNoise(p *pattern.Found) bool {
	if p == nil {
		return false
	}
	const constant = 0.5 // less restless than that is one whose power hardly varies
	return p.Repeats() || !p.Steady() && (p.Restlessness < constant || p.OnShare > fewBursts)
}

// missed reports whether training would have been found for certain at a ratio
// of the data's density to the noise's, and was not.
func (e *evidence) missed(snr float64) bool { return len(e.trained) == 0 && snr >= e.certainSNR }
