package hunt

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strings"

	"rooftone/scan"
	"rooftone/scan/band"
	"rooftone/scan/measure"
)

// Costs in dB: below least none is told of; a share of what is found in a
// channel that the front end accounts for explains all of it.
const (
	leastFrontDB  = 0.1
	leastInsideDB = 0.2 // of what is told by a level alone
)

// suspects makes suspects of what the front end does.
func (f *finding) suspects(h *Hunt) []Suspect {
	var out []Suspect
	if f.front != nil {
		if s, ok := f.overload(h); ok {
			out = append(out, s)
		}
		if s, ok := f.unexplained(h); ok && len(out) == 0 {
			out = append(out, s)
		}
		if s, ok := f.before(); ok {
			out = append(out, s)
		}
	}
	if s, ok := f.rails(h.Heard); ok {
		out = append(out, s)
	}
	return out
}

// gainNow is the gain, relative to the highest, at which a channel was
// measured.
func (s *scene) gainNow(c band.Channel) float64 {
	for i := range s.survey.Channels {
		if r := &s.survey.Channels[i].Reading; r.Channel == c && r.GainDB != nil {
			return s.relative(*r.GainDB)
		}
	}
	return 1
}

// overload is the suspect that the products of the receiver's own make: a
// Product where all are narrow, an Overload where they fill channels.
func (f *finding) overload(h *Hunt) (Suspect, bool) {
	s := Suspect{Kind: Product, whole: true}
	var services []string
	strongest := math.Inf(-1)
	s.Evidence = f.rises()
	for i, p := range h.Products {
		const countsDB = -10 // what is fainter does a tenth of a dB or two
		if p.ToNoiseDB < countsDB {
			break
		}
		strongest = max(strongest, p.ToNoiseDB)
		if p.WidthHz > 2*narrowHz {
			s.Kind = Overload
		}
		if i < 4 {
			s.Evidence = append(s.Evidence, fmt.Sprintf("%s at %.1f MHz, order %d: %+.0f dB on the noise of %s",
				p.Formula, p.FrequencyHz/1e6, p.Order, p.ToNoiseDB, theChannels(p.Channels)))
		}
		for _, k := range p.Services {
			const mattersDB = 12
			if p.ToNoiseDB > strongest-mattersDB && !slices.Contains(services, k) {
				services = append(services, k)
			}
		}
	}
	const leastDB = -6
	if strongest < leastDB {
		return s, false
	}
	s.Harms = f.harms(nil)
	s.standAt(h.Products)
	s.Name = "the receiver is overloaded by " + spoken(services)
	if s.Kind == Product {
		s.Name = "products of " + spoken(services) + ", made in the receiver"
	}
	s.Next = "lower the gain by some dB: what the receiver makes falls by two or three times as many"
	s.Cure = f.cure()
	g := h.Gains
	if g == nil {
		return s, true
	}
	if len(s.Harms) > 0 && g.GainedDB > 0.5 {
		s.Next = fmt.Sprintf("set --gain %.1f: the worst wanted channel should gain %.1f dB", g.BestDB, g.GainedDB)
	}
	switch {
	case g.Filter != "":
		s.Cure = fmt.Sprintf("%s: worth %.1f dB to the worst wanted channel", filterOf(g.Filter), g.FilterGainedDB)
	case g.AttenuatorDB > 0:
		s.Cure = fmt.Sprintf("an attenuator of about %.0f dB before a receiver that cannot lower its gain, or less amplification", g.AttenuatorDB)
	}
	return s, true
}

func filterOf(service string) string {
	for _, s := range band.Services() {
		if s.Name == service {
			return s.Filter
		}
	}
	return ""
}

// harms are the wanted channels' costs of some of the products.
func (f *finding) harms(in func(*mix) bool) []Harm {
	var out []Harm
	for i := range f.wanted {
		c := f.wanted[i].channel
		gain := f.gainNow(c)
		cost := f.equalisedCost(&f.wanted[i], gain, in)
		if cost < leastFrontDB {
			continue
		}
		harm := Harm{Channel: c, CostDB: &measure.Estimate{Value: cost, Sigma: max(0.1, 0.25*cost)}}
		if r := f.reading(c); r != nil && r.Margin != nil {
			harm.Breaks = r.Margin.Value < 0 && r.Margin.Value+cost > 0
		}
		out = append(out, harm)
	}
	slices.SortStableFunc(out, func(a, b Harm) int { return cmp.Compare(b.CostDB.Value, a.CostDB.Value) })
	return out
}

// equalisedCost is by how many dB products lower a channel's equalised margin:
// exp(mean ln(1 + SNR(f))) − 1 without them over that with them. What is narrow
// costs less than noise of the same power.
func (f *finding) equalisedCost(c *channelAt, gain float64, in func(*mix) bool) float64 {
	const parts = 24
	width := band.WidthHz / parts
	noise := f.front.noise(c.channel.CenterHz(), gain) * width
	clean := c.signal / parts / noise
	var sum float64
	for k := range parts {
		low := c.channel.LowerHz + float64(k)*width
		under := noise
		for i := range f.all {
			m := &f.all[i]
			if in != nil && !in(m) || m.hz+m.reach() < low || m.hz-m.reach() > low+width {
				continue
			}
			if m.order == 2 {
				under += f.front.second * m.strength * m.share(low, low+width) * gain
			} else {
				under += f.front.third * m.strength * m.share(low, low+width) * gain * gain
			}
		}
		sum += math.Log1p(c.signal / parts / under)
	}
	return decibel(clean / math.Expm1(sum/parts))
}

func (s *scene) reading(c band.Channel) *measure.Reading {
	for i := range s.survey.Channels {
		if r := &s.survey.Channels[i].Reading; r.Channel == c {
			return r
		}
	}
	return nil
}

// rises tells which floors rise faster than the gain.
func (f *finding) rises() []string {
	var list []string
	for i := range f.rungs {
		c := &f.rungs[i]
		if c.order == 0 || c.made < 0.1*c.alpha || f.made(c.channel, 1, nil) < 0.05 {
			continue
		}
		const steep = 1.7 // less is mixed with something else
		if s := slope(c.rungs, c.alpha, f.front.rho); s != nil && s.Value > steep && len(list) < 3 {
			list = append(list, fmt.Sprintf("RF %d: %.1f dB above its noise at the highest gain, %s dB for each dB of gain",
				c.channel.Number, decibel(1+c.made/c.alpha), tenths(s)))
		}
	}
	for i := range f.front.edges {
		e := &f.front.edges[i]
		w, sigma, _ := fit(e.rungs, flat, first, square)
		if made := w[1] + w[2]; made > w[0]/2 && made > 5*math.Hypot(sigma[1], sigma[2]) && len(list) < 3 {
			if s := slope(e.rungs, 0, 0); s != nil {
				list = append(list, fmt.Sprintf("at %.1f MHz, beside a station, the floor rises by %s dB for each dB of gain", e.hz/1e6, tenths(s)))
			}
		}
	}
	return list
}

// tenths writes a value and its uncertainty, which is never said to be none.
func tenths(e *measure.Estimate) string {
	return fmt.Sprintf("%.1f ± %.1f", e.Value, max(e.Sigma, 0.1))
}

// unexplained is a floor that rises with the gain though nothing strong enough
// was seen.
func (f *finding) unexplained(h *Hunt) (Suspect, bool) {
	s := Suspect{Kind: Overload, whole: true, Name: "the receiver overloaded by something not seen"}
	for i := range f.rungs {
		c := &f.rungs[i]
		predicted := f.front.second*c.second + f.front.third*c.third
		if c.order == 0 || c.made < 0.3*c.alpha || c.made < 6*c.madeSigma || predicted > c.made/4 {
			continue
		}
		if e := slope(c.rungs, c.alpha, f.front.rho); e != nil && e.Value-2*e.Sigma > 1.3 {
			s.Evidence = append(s.Evidence, fmt.Sprintf("channel %d rises by %s dB for each dB of gain", c.channel.Number, tenths(e)))
		}
	}
	s.Next = "rooftone hunt --reach looks at all that the radio reaches"
	s.Cure = f.cure()
	return s, len(s.Evidence) > 0
}

// rails is a channel of which parts were heard at the converter's rails alone, at
// the gain that it was measured at.
func (f *finding) rails(heard []Coverage) (Suspect, bool) {
	s := Suspect{Kind: Overload, whole: true, Name: "samples at the converter's rails"}
	for i := range heard {
		c := &heard[i]
		if r := f.reading(c.Channel); c.Railed && !c.Whole() && r != nil {
			s.Evidence = append(s.Evidence, fmt.Sprintf("RF %d: %.2g %% of the samples", r.Channel.Number, 100*r.ClippedFraction))
			s.Harms = append(s.Harms, Harm{Channel: r.Channel})
		}
	}
	s.Next = "hunt again with a lower --gain"
	s.Cure = "an attenuator, or less amplification"
	return s, len(s.Evidence) > 0
}

// before looks for products that do not move with the radio's gain and yet
// stand where products belong: something before the radio makes them. No single
// level tells: it is the pattern over the channels that must fit, at two places
// and more where it is predicted, with three times as many hits as misses, and
// from high to low. Noise that raises all channels alike, such as impulses, or
// channels that are all full, make no such pattern.
func (f *finding) before() (Suspect, bool) {
	s := Suspect{Kind: Product, whole: true, Name: "products made before the radio"}
	var ratios []float64
	misses := 0
	for i := range f.rungs {
		c := &f.rungs[i]
		base := f.front.alpha(c.channel.CenterHz())
		if c.third <= 0 || math.IsNaN(base) {
			continue
		}
		if over := c.alpha/base - 1; over > 0.4 && c.made < over*base/3 {
			ratios = append(ratios, over*base/c.third)
		}
	}
	if len(ratios) < 2 {
		return s, false
	}
	u := quantile(ratios, 0.5)
	match := 0
	least, most := math.Inf(1), 0.0
	for i := range f.rungs {
		c := &f.rungs[i]
		base := f.front.alpha(c.channel.CenterHz())
		expected := u * c.third
		over := max(c.alpha-base, 0)
		least, most = min(least, max(over, 0.4*base)), max(most, over)
		switch {
		case expected < 0.5*base && over < 0.4*base:
		case over > expected/3 && over < expected*3+0.4*base:
			match++
			s.Evidence = append(s.Evidence, fmt.Sprintf("RF %d: %.1f dB above the noise, where %.1f dB are predicted; 1 dB for each dB of gain",
				c.channel.Number, decibel(1+over/base), decibel(1+expected/base)))
		default:
			misses++
		}
	}
	const span = 3
	if match < 2 || misses*3 > match || most < span*least {
		return s, false
	}
	s.Evidence = s.Evidence[:min(len(s.Evidence), 4)]
	for i := range f.wanted {
		c := &f.wanted[i]
		noise := f.front.noise(c.channel.CenterHz(), f.gainNow(c.channel)) * band.WidthHz
		if cost := decibel(1 + u*c.third/noise); cost >= leastFrontDB {
			s.Harms = append(s.Harms, Harm{Channel: c.channel, CostDB: &measure.Estimate{Value: cost, Sigma: max(0.2, 0.4*cost)}})
		}
	}
	slices.SortStableFunc(s.Harms, func(a, b Harm) int { return cmp.Compare(b.CostDB.Value, a.CostDB.Value) })
	s.Next, s.Cure = beforeNext, beforeCure
	return s, true
}

// cure is what helps against products in general.
func (f *finding) cure() string {
	for _, e := range f.parents {
		if filter := filterOf(e.Service); filter != "" {
			return filter + ", or less gain"
		}
	}
	return "less gain, an attenuator, or less amplification"
}

// spoken names services.
func spoken(services []string) string {
	var out []string
	for _, k := range services {
		name := k
		for _, s := range band.Services() {
			if s.Name == k {
				name = s.About
			}
		}
		switch k {
		case television:
			name = "television stations"
		case "elsewhere":
			name = "signals elsewhere"
		}
		out = append(out, name)
	}
	return strings.Join(out, " and ")
}

func theChannels(list []band.Channel) string {
	var out []string
	for _, c := range list {
		out = append(out, fmt.Sprint(c.Number))
	}
	if len(out) == 1 {
		return "channel " + out[0]
	}
	return "channels " + strings.Join(out, ", ")
}

// Clean reports whether all of every wanted channel was heard and nothing was
// found that comes from outside or that the receiver makes of it. The radio's own
// tones do not count: no other receiver hears them.
func (h *Hunt) Clean() bool {
	part := slices.ContainsFunc(h.Heard, func(c Coverage) bool { return !c.Whole() })
	return len(h.Heard) > 0 && !part && !h.Interrupted && len(h.Harmful()) == 0
}

// Silent reports whether nothing was heard of any wanted channel.
func (h *Hunt) Silent() bool {
	return !slices.ContainsFunc(h.Survey.Channels, func(c scan.Channel) bool { return c.Heard() })
}

// Harmful are the suspects without the radio's own tones.
func (h *Hunt) Harmful() []Suspect {
	return slices.DeleteFunc(slices.Clone(h.Suspects), func(s Suspect) bool { return s.Kind == Spur && len(s.Harms) == 0 })
}
