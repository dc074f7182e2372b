package examine

import (
	"context"
	"math"
	"slices"

	"rooftone/dsp/decibel"
	"rooftone/dsp/psd"
	"rooftone/scan/character"
)

// referenceShare is where a pilot stands for the middle of a slice, where the
// radio's own direct current would hide it.
const referenceShare = 0.12

// responseShares are where pilots are put, in parts of half the rate, to either
// side.
var responseShares = [...]float64{0.3, 0.5, 0.6, 0.7, 0.75, 0.8, 0.85, 0.875, 0.9, 0.95, 1.04, 1.08, 1.125, 1.16, 1.2, 1.3}

const (
	// aliasReachHz is how near to its place an alias must be: what a crystal that
	// warms up does in the time since the pilot was last seen.
	aliasReachHz = 40

	// referenceEvery is after how many places the middle is looked at again: a
	// station's level goes up and down.
	referenceEvery = 8

	// loneStrayDB is how far the pass band may move with the frequency when one
	// station alone tells of it: what recordings of dongles show.
	loneStrayDB = 0.5

	// leastStrayDB is what few stations that agree may have missed of that.
	leastStrayDB = 0.15

	imageShare = 0.42
)

// reply is what a pilot showed at one place.
type reply struct {
	share, dB, sigma float64
	atMost           bool
}

// response finds the pass band, what folds in, and the image, from every pilot,
// and joins what they say.
func (e *exam) response(ctx context.Context) error {
	byShare := map[float64][]reply{}
	for _, p := range e.pilots {
		if ok, err := e.refresh(ctx, p); err != nil {
			return err
		} else if !ok {
			continue
		}
		replies, err := e.responseOf(ctx, p)
		if err != nil {
			return err
		}
		for _, r := range replies {
			byShare[r.share] = append(byShare[r.share], r)
		}
		if err := e.image(ctx, p); err != nil {
			return err
		}
	}
	if len(byShare) == 0 {
		return nil
	}
	var strays []float64
	for share, list := range byShare {
		point, stray := join(list)
		point.Share = share
		e.out.Response = append(e.out.Response, point)
		if math.Abs(share) < 0.9 && stray > 0 {
			strays = append(strays, stray*stray)
		}
	}
	e.out.Response = append(e.out.Response, character.Point{Share: 0})
	slices.SortFunc(e.out.Response, func(a, b character.Point) int {
		if a.Share < b.Share {
			return -1
		}
		return 1
	})
	e.out.StrayDB = loneStrayDB
	if len(strays) > 0 {
		var sum float64
		for _, s := range strays {
			sum += s
		}
		e.out.StrayDB = math.Max(leastStrayDB, math.Sqrt(sum/float64(len(strays))))
	}
	return nil
}

// join makes one of what several pilots say of a place, and tells how far they
// scatter; 0 for one alone.
func join(list []reply) (p character.Point, stray float64) {
	var sum, weight, own float64
	var seen []reply
	for _, r := range list {
		if !r.atMost {
			seen = append(seen, r)
		}
	}
	if len(seen) == 0 {
		p = character.Point{DB: list[0].dB, AtMost: true}
		for _, r := range list {
			p.DB = math.Min(p.DB, r.dB)
		}
		return p, 0
	}
	const steady = 0.1 // no station's level is steadier
	for _, r := range seen {
		w := 1 / (r.sigma*r.sigma + steady*steady)
		sum, weight, own = sum+w*r.dB, weight+w, own+1
	}
	p.DB = sum / weight
	p.SigmaDB = math.Sqrt(1 / weight)
	if len(seen) > 1 {
		var squares float64
		for _, r := range seen {
			squares += (r.dB - p.DB) * (r.dB - p.DB)
		}
		stray = math.Sqrt(squares / (own - 1))
		p.SigmaDB = math.Max(p.SigmaDB, stray/math.Sqrt(own))
	}
	return p, stray
}

// responseOf puts one pilot at all places.
func (e *exam) responseOf(ctx context.Context, p *pilot) ([]reply, error) {
	type seen struct {
		line  psd.Line
		share float64
		at    int // before which reference
	}
	var all []seen
	var references, spreads []float64
	for i := 0; i < 2*len(responseShares); i++ {
		if i%referenceEvery == 0 {
			level, sigma, ok, err := e.reference(ctx, p)
			if err != nil {
				return nil, err
			}
			if !ok {
				return nil, nil // it is gone, or overloads now
			}
			references, spreads = append(references, level), append(spreads, sigma)
		}
		share := responseShares[i/2]
		if i%2 == 1 {
			share = -share
		}
		line, _, ok, err := e.look(ctx, p, share, p.gainDB, lookSeconds, aliasReachHz)
		if err != nil {
			return nil, err
		}
		if ok && line.Power >= 0 {
			all = append(all, seen{line, share, len(references) - 1})
		}
	}
	level, sigma, ok, err := e.reference(ctx, p)
	if err != nil || !ok {
		return nil, err
	}
	references, spreads = append(references, level), append(spreads, sigma)
	var out []reply
	for _, s := range all {
		middle := (references[s.at] + references[s.at+1]) / 2
		drift := math.Abs(references[s.at]-references[s.at+1]) / 2
		r := reply{share: s.share}
		if s.line.OverNoise < seenRatio {
			bound := seenRatio * s.line.Density / (float64(lookSeconds) * 2 / 3)
			r.dB, r.atMost = decibel.Of(bound)-middle, true
		} else {
			r.dB = decibel.Of(s.line.Power) - middle
			r.sigma = math.Hypot(s.line.SigmaDB, math.Hypot(spreads[s.at], drift))
		}
		out = append(out, r)
	}
	return out, nil
}

// reference is a pilot's level in the middle of a slice, in dBFS, from both sides of
// it.
func (e *exam) reference(ctx context.Context, p *pilot) (dB, sigma float64, ok bool, err error) {
	for _, share := range []float64{-referenceShare, referenceShare} {
		line, b, ok, err := e.look(ctx, p, share, p.gainDB, lookSeconds, 4*aliasReachHz)
		if err != nil {
			return 0, 0, false, err
		}
		if !ok || line.OverNoise < seenRatio {
			return 0, 0, false, nil
		}
		e.see(p, line, b)
		dB, sigma = dB+decibel.Of(line.Power)/2, math.Hypot(sigma, line.SigmaDB/2)
	}
	return dB, sigma, true, nil
}

// image looks for a pilot on the other side of the middle, below it, where the
// station itself sends nothing.
func (e *exam) image(ctx context.Context, p *pilot) error {
	const patient, reachHz = 2 * lookSeconds, 10
	line, b, ok, err := e.look(ctx, p, imageShare, p.gainDB, patient, aliasReachHz)
	if err != nil || !ok || line.OverNoise < seenRatio {
		return err
	}
	mirrored, err := psd.FindLine(b.Samples, b.RateHz, -line.OffsetHz, reachHz)
	if err != nil {
		return err
	}
	image := character.Image{Hz: p.channel.PilotHz()}
	if mirrored.OverNoise >= seenRatio {
		image.DB = decibel.Of(mirrored.Power / line.Power)
	} else {
		image.DB, image.AtMost = decibel.Of(seenRatio*mirrored.Density/(patient*2/3)/line.Power), true
	}
	e.out.Images = append(e.out.Images, image)
	return nil
}
