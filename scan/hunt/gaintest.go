package hunt

import (
	"math"
	"slices"

	"rooftone/scan/band"
	"rooftone/scan/measure"
)

// GainTest is what measuring at several gains told.
type GainTest struct {
	MeasuredDB []float64 // the gains that were measured at, the highest first
	Points     []GainPoint

	// BestDB is the gain at which the worst wanted channel is cleanest, HighestDB
	// the radio's highest.
	BestDB, HighestDB float64
	// GainedDB is what the worst channel gains by it over the gains that the
	// visit chose, each channel as high as its own strength allows.
	GainedDB float64

	// The input intercepts at the highest gain, as levels that it would show;
	// nil where no product of that order was seen.
	SecondDBFS, ThirdDBFS *measure.Estimate

	AttenuatorDB   float64 // of an attenuator for a receiver that sets its gain by one channel alone; 0: none wanted
	Filter         string  // what to filter, a band.Service's name; "" for nothing
	FilterGainedDB float64 // what the worst channel gains by it, over BestDB alone
}

// GainPoint is what the worst wanted channel has at one gain.
type GainPoint struct {
	GainDB   float64
	RealDB   float64 // what it is, so that the highest is what its name says
	Worst    band.Channel
	MarginDB float64 // above the threshold, of noise and the receiver's own products alone
}

// gainTest works out every gain of the radio's from what some of them showed.
func (s *scene) gainTest(f *frontEnd, wanted []channelAt, gains []float64, all []mix, parents []Emitter, thresholdDB float64) *GainTest {
	if f == nil || len(f.floors) == 0 || len(gains) < 2 {
		return nil
	}
	g := &GainTest{HighestDB: s.topDB, BestDB: s.topDB}
	for _, x := range s.stays {
		if x.knownGain && !x.off && !slices.Contains(g.MeasuredDB, x.gainDB) {
			g.MeasuredDB = append(g.MeasuredDB, x.gainDB)
		}
	}
	slices.Sort(g.MeasuredDB)
	slices.Reverse(g.MeasuredDB)
	toDBFS := func(perUnit float64, sigma, order float64) *measure.Estimate {
		if !(perUnit > 0) {
			return nil
		}
		return &measure.Estimate{Value: -decibel(perUnit)/(order-1) + s.topDB, Sigma: 10 / math.Ln10 * math.Hypot(sigma/perUnit, modelShare) / (order - 1)}
	}
	g.SecondDBFS = toDBFS(f.second, f.secondSigma, 2)
	g.ThirdDBFS = toDBFS(f.third, f.thirdSigma, 3)
	wanted = s.hopeful(f, wanted, gains, thresholdDB)
	if len(wanted) == 0 {
		return g
	}
	full := linear(-s.topDB)
	best := math.Inf(-1)
	for _, gain := range gains {
		c, sinr := worst(f, wanted, s.relative(gain), full)
		p := GainPoint{gain, s.realGain(gain), c, decibel(sinr) - thresholdDB}
		g.Points = append(g.Points, p)
		if p.MarginDB > best {
			best, g.BestDB = p.MarginDB, gain
		}
	}
	now := math.Inf(1)
	for i := range wanted {
		now = min(now, decibel(f.sinr(&wanted[i], s.gainNow(wanted[i].channel), full))-thresholdDB)
	}
	g.GainedDB = best - now
	g.cures(s, f, wanted, gains, all, parents)
	return g
}

// worst returns the wanted channel that is worst at a gain, relative to the
// highest.
func worst(f *frontEnd, wanted []channelAt, gain, full float64) (band.Channel, float64) {
	var at band.Channel
	least := math.Inf(1)
	for i := range wanted {
		if x := f.sinr(&wanted[i], gain, full); x < least {
			least, at = x, wanted[i].channel
		}
	}
	return at, least
}

// bestOf is the most that any gain gives the worst channel, in dB, and that
// gain, for a receiver whose converter has no rails: one that sets its gain by
// the channel it receives.
func (s *scene) bestOf(f *frontEnd, wanted []channelAt, gains []float64) (bestDB, gainDB float64) {
	bestDB = math.Inf(-1)
	for _, gain := range gains {
		if _, x := worst(f, wanted, s.relative(gain), math.Inf(1)); decibel(x) > bestDB {
			bestDB, gainDB = decibel(x), gain
		}
	}
	return bestDB, gainDB
}

// hopeful keeps the channels that some gain lets decode, or all when none is.
func (s *scene) hopeful(f *frontEnd, wanted []channelAt, gains []float64, thresholdDB float64) []channelAt {
	full := linear(-s.topDB)
	var out []channelAt
	for i := range wanted {
		for _, g := range gains {
			if decibel(f.sinr(&wanted[i], s.relative(g), full)) >= thresholdDB {
				out = append(out, wanted[i])
				break
			}
		}
	}
	if len(out) == 0 {
		return wanted
	}
	return out
}

// cures finds what helps a receiver against its products: an attenuator, and
// the service without which the worst channel gains most.
func (g *GainTest) cures(s *scene, f *frontEnd, wanted []channelAt, gains []float64, all []mix, parents []Emitter) {
	const worthDB = 1
	best, gain := s.bestOf(f, wanted, gains)
	_, top := worst(f, wanted, 1, math.Inf(1))
	if best-decibel(top) >= worthDB {
		g.AttenuatorDB = math.Round(s.topDB - s.realGain(gain))
	}
	for _, service := range band.Services() {
		if service.Filter == "" || !slices.ContainsFunc(parents, func(e Emitter) bool { return e.Service == service.Name }) {
			continue
		}
		left := slices.Clone(wanted)
		rest := slices.DeleteFunc(slices.Clone(all), func(m mix) bool { return slices.Contains(m.services(parents), service.Name) })
		for i := range left {
			c := &left[i]
			c.second = unit(rest, 2, c.channel.LowerHz, c.channel.UpperHz())
			c.third = unit(rest, 3, c.channel.LowerHz, c.channel.UpperHz())
		}
		filtered, _ := s.bestOf(f, left, gains)
		if gained := filtered - best; gained >= worthDB && gained > g.FilterGainedDB {
			g.Filter, g.FilterGainedDB = service.Name, gained
		}
	}
}
