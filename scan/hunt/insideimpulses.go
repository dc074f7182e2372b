package hunt

import (
	"cmp"
	"fmt"
	"math"
	"slices"

	"gonum.org/v1/gonum/mathext"

	"rooftone/dsp/impulse"
	"rooftone/scan/band"
	"rooftone/scan/listen"
	"rooftone/scan/measure"
)

const (
	// rhythmChance is the probability per part of the spectrum of taking chance
	// for a rhythm of the mains.
	rhythmChance = 1e-6

	// Without a rhythm impulses are believed from so many bursts on, or from as
	// many as chance has with burstChance in the time that was listened for, in
	// two tunings at the least.
	leastBursts, leastTunings, burstChance = 6, 2, 1e-6
)

// pulsePart is a part of the spectrum in which impulses are taken to have one
// source: they are broad, but not as broad as from VHF to UHF.
type pulsePart struct {
	name          string
	lowHz, highHz float64
}

func pulseParts() []pulsePart {
	return []pulsePart{
		{"low VHF", 0, 120e6}, {"high VHF", 120e6, 300e6}, {"UHF", 300e6, math.Inf(1)},
	}
}

// partOfSpectrum is the name of a channel's part.
func partOfSpectrum(c band.Channel) string {
	for _, p := range pulseParts() {
		if c.CenterHz() >= p.lowHz && c.CenterHz() < p.highHz {
			return p.name
		}
	}
	return ""
}

// heard is what one look says of impulses.
type heard struct {
	*look
	density, quiet float64 // FS²/Hz at the slice's middle, averaged over time; what noise leaves uncertain of it
}

// hear is what a look says; not ok when it heard too little to say anything.
func (e *examination) hear(l *look) (heard, bool) {
	p := &l.pulses
	if p.Seconds == 0 {
		return heard{}, false
	}
	// The filter listened where it was quiet; the radio's own filters were in
	// the way there.
	var pass float64
	for k, share := range p.Profile {
		offset := ((float64(k)+0.5)/impulse.ProfilePieces*2 - 1) * listen.UsableShare * l.rateHz
		pass += share / e.flat(offset, l.rateHz)
	}
	return heard{l, p.Density / pass, p.QuietSigma / pass}, true
}

// impulses makes suspects of noise in short pulses, and of signals that come in
// bursts.
func (e *examination) impulses() []Suspect {
	var all, railed []heard
	for _, l := range e.looks {
		if r := e.readingAt(l.centerHz * e.clock); r != nil && !l.of(r) {
			continue // at a gain that the channel was not measured at less is heard
		}
		h, ok := e.hear(l)
		switch {
		case !ok:
		case l.overloaded():
			railed = append(railed, h)
		default:
			all = append(all, h)
		}
	}
	out, rest := e.networks(append(slices.Clone(all), railed...))
	rest = slices.DeleteFunc(rest, func(h heard) bool { return h.overloaded() })
	senders, rest := e.senders(rest)
	out = append(out, senders...)
	for _, part := range pulseParts() {
		var in []heard
		for _, h := range rest {
			if h.centerHz >= part.lowHz && h.centerHz < part.highHz {
				in = append(in, h)
			}
		}
		if s, ok := e.impulsesIn(part, in); ok {
			out = append(out, s)
		}
	}
	return out
}

func (e *examination) impulsesIn(part pulsePart, in []heard) (Suspect, bool) {
	var rhythm impulse.Rhythm
	bursts, tunings, listened := 0, 0, 0.0
	for i := range in {
		listened += in[i].pulses.Seconds
		rhythm.Add(&in[i].pulses.Rhythm)
		bursts += in[i].pulses.Bursts
		if in[i].pulses.Bursts > 0 {
			tunings++
		}
	}
	mains, locked := rhythm.Mains(rhythmChance)
	if least := burstsIn(listened); !locked && (bursts < least || tunings < leastTunings || spreadBursts(in) < least/2) {
		return Suspect{}, false
	}
	keen := keenest(in)
	var seconds, duty, weight, keenBursts float64
	for i := range keen {
		p := &keen[i].pulses
		seconds += p.Seconds
		keenBursts += float64(p.Bursts)
		if p.Excess > 0 && p.Square > 0 {
			duty += p.Seconds * impulse.Duty(p.Excess, p.Square)
			weight += p.Seconds
		}
	}
	s := Suspect{
		Kind: Impulses, Name: "impulse noise in the " + part.name + " band", bandName: part.name,
		Next: "switch off dimmers, motors, chargers and power supplies nearby, one after the other, and look again",
		Cure: "repair, replace or filter what makes it; keep antenna and cable away from it; tell the utility when it is a power line",
	}
	if locked {
		e.keeper(&s, mains, part, seconds)
	} else {
		s.RateHz = &measure.Estimate{Value: keenBursts / seconds, Sigma: math.Sqrt(math.Max(1, keenBursts)) / seconds}
		s.Evidence = append(s.Evidence, fmt.Sprintf("%.0f bursts of noise in %.1f s, without the mains' rhythm", keenBursts, seconds))
	}
	if weight > 0 {
		d := math.Min(1, duty/weight)
		s.Duty = &measure.Estimate{Value: d, Sigma: 0.25 * d}
		s.Evidence = append(s.Evidence, fmt.Sprintf("they take %.2g %% of the time", 100*d))
	}
	e.pulseHarms(&s, in, func(r *measure.Reading) bool {
		return r.Channel.CenterHz() >= part.lowHz && r.Channel.CenterHz() < part.highHz
	})
	return s, true
}

// burstsIn is how many bursts are more than chance has in a time: they are
// counted where a cell of 10 µs exceeds what noise has with 1e-8.
func burstsIn(seconds float64) int {
	mean := seconds * impulse.ChanceRateHz
	n := leastBursts
	for mathext.GammaIncReg(float64(n), mean) > burstChance && n < 1e6 {
		n += 1 + n/8
	}
	return n
}

// spreadBursts is how many bursts there are without those of the tenth of the
// looks that have the most: impulses are broad, while a narrow signal that comes
// and goes shows in the one or two slices that it lies in.
func spreadBursts(in []heard) int {
	n := make([]int, len(in))
	for i := range in {
		n[i] = in[i].pulses.Bursts
	}
	slices.Sort(n)
	sum := 0
	for _, v := range n[:len(n)-(len(n)+4)/10] {
		sum += v
	}
	return sum
}

// keenest is the third of the looks that hear impulses best, three at least. Rate
// and share of the time are told from them; whether there are impulses is not.
func keenest(in []heard) []heard {
	out := slices.Clone(in)
	slices.SortFunc(out, func(a, b heard) int { return cmp.Compare(a.quiet/a.perGain(), b.quiet/b.perGain()) })
	return out[:min(len(out), max(3, len(out)/3))]
}

// perGain is the gain as a factor of power, 1 when unknown.
func (l *look) perGain() float64 {
	if !l.known {
		return 1
	}
	return linear(l.gainDB)
}

// keeper says what keeps the time of pulses. The mains wander by some hundredths
// of a hertz, from memory of the trade; a telephone network's frames are kept to
// a ten-millionth, so that what differs from 100 Hz by more than is uncertain is
// the mains. Nobody's frames keep 120 Hz. Pictures of analogue television come
// 59.94 times a second, which the mains are hardly ever off to.
func (e *examination) keeper(s *Suspect, k impulse.Mains, part pulsePart, seconds float64) {
	rate := k.RateHz * e.clock
	sigma := math.Hypot(k.SigmaHz, e.clockPPM.Sigma*1e-6*rate)
	s.RateHz = &measure.Estimate{Value: rate, Sigma: sigma}
	twice := k.MainsHz // of pulses twice a period
	if rate < 0.75*k.MainsHz {
		twice /= 2
	}
	const sure, wanderHz, picturesHz = 3, 0.05, 60000. / 1001
	s.MainsHz = k.MainsHz
	s.cause = cause{Impulses, fmt.Sprintf("%.0f Hz", k.MainsHz)}
	s.Name = fmt.Sprintf("impulse noise with the mains at %.0f Hz in the %s band", k.MainsHz, part.name)
	why := fmt.Sprintf("the noise comes in pulses %.1f times a second, in time with mains of %.0f Hz", rate, k.MainsHz/2)
	pictures := picturesHz * twice / 60
	switch {
	case k.MainsHz == 100 && math.Abs(rate-twice) < sure*sigma:
		s.MainsHz = 0
		s.cause.of = "exactly " + s.cause.of
		s.Name = fmt.Sprintf("impulse noise at %.0f Hz in the %s band: the mains or a telephone network's frame", twice, part.name)
		why = fmt.Sprintf("the noise comes in pulses %.3f ± %.3f times a second, heard for %.1f s: in time with mains of 50 Hz, or with frames of 10 ms, which telephone networks send", rate, sigma, seconds)
		s.Next = "listen again at another hour, and longer: the mains wander by some hundredths of a hertz, a network keeps 100 Hz; what goes when the house's main switch is off is of the house"
		s.Cure = "repair, replace or filter what makes it; against a network, a filter that lets through television alone"
	case k.MainsHz == 120 && math.Abs(rate-pictures) < sure*sigma && math.Abs(rate-twice) > sure*sigma+wanderHz*twice/60:
		s.MainsHz = 0
		s.cause.of = "pictures"
		s.Name = fmt.Sprintf("impulse noise at %.2f Hz in the %s band, the rate of analogue pictures", pictures, part.name)
		why = fmt.Sprintf("the noise comes in pulses %.2f ± %.2f times a second: the fields of analogue television, not the mains", rate, sigma)
		s.Next, s.Cure = "look for something that sends or shows analogue pictures nearby", "switch it off, shield it or move the antenna away from it"
	}
	s.Evidence = append(s.Evidence, why)
}
