package examine

import (
	"context"
	"errors"
	"math"

	"rooftone/dsp/decibel"
	"rooftone/dsp/intrude"
	"rooftone/dsp/psd"
	"rooftone/dsp/robust"
	"rooftone/scan/character"
	"rooftone/scan/tuner"
)

const (
	// mostVacant is how many vacant channels are listened to, and leastVacant how
	// many it takes to tell the radio's own from what is in one of them.
	mostVacant, leastVacant = 12, 3

	vacantSeconds = 0.06

	noisePieces = 32 // of a slice
	toneChance  = 1e-4
)

// hush is what vacant channels showed.
type hush struct {
	pieces [noisePieces][]float64 // dB from the middle, one of each channel
	humps  []float64
	middle []float64 // dBFS
	tones  [][]intrude.Line
}

// quiet listens to vacant channels: what they have in common is the radio's.
func (e *exam) quiet(ctx context.Context) error {
	var h hush
	for i := range min(mostVacant, len(e.vacant)) {
		center := e.vacant[i*len(e.vacant)/min(mostVacant, len(e.vacant))]
		b, err := e.listen(ctx, tuner.Tuning{CenterHz: center, RateHz: e.rate, GainDB: e.topDB}, vacantSeconds)
		if errors.Is(err, tuner.ErrNoLock) {
			continue
		}
		if err != nil {
			return err
		}
		if overloaded(b) {
			continue
		}
		if err := h.add(b, roundingPower(e.t.Info().Datatype)/b.RateHz); err != nil {
			return err
		}
	}
	if len(h.middle) < leastVacant {
		return nil
	}
	e.conclude(&h)
	return e.harmonics(ctx)
}

// add takes a stay in a vacant channel in. rounding is the converter's density.
func (h *hush) add(b tuner.Block, rounding float64) error {
	w, err := psd.NewWelch(b.RateHz, noiseBins, psd.BlackmanHarris)
	if err != nil {
		return err
	}
	w.Write(b.Samples)
	var s psd.Spectrum
	w.Spectrum(&s, 0)
	_, mean := powers(b.Samples)
	h.middle = append(h.middle, decibel.Of(mean))
	level := middleOf(s.Density)
	if !(level > rounding) {
		return nil
	}
	const aside = 8 // bins around the middle
	share := func(from, to float64) float64 {
		var d []float64
		for i, x := range s.Density {
			at := 2*float64(i)/noiseBins - 1
			if at >= from && at < to && math.Abs(float64(i-noiseBins/2)) > aside {
				d = append(d, x)
			}
		}
		return robust.Median(d)
	}
	for k := range h.pieces {
		low := 2*float64(k)/noisePieces - 1
		h.pieces[k] = append(h.pieces[k], decibel.Of(math.Max(share(low, low+2./noisePieces)-rounding, level/1e3)/(level-rounding)))
	}
	const nearHz, nearToHz = 15e3, 40e3
	near := (share(nearHz/b.RateHz*2, nearToHz/b.RateHz*2) + share(-nearToHz/b.RateHz*2, -nearHz/b.RateHz*2)) / 2
	h.humps = append(h.humps, decibel.Of(near/level))
	half := 0.45 * b.RateHz
	lines, err := intrude.Lines(&s, -half, half, toneChance)
	if err != nil {
		return err
	}
	h.tones = append(h.tones, lines)
	return nil
}

// meanOf returns a mean with its uncertainty by how the values scatter.
func meanOf(x []float64) *character.Figure {
	var sum, squares float64
	for _, v := range x {
		sum += v
	}
	mean := sum / float64(len(x))
	for _, v := range x {
		squares += (v - mean) * (v - mean)
	}
	return &character.Figure{Value: mean, Sigma: math.Sqrt(squares / float64(max(1, len(x)-1)) / float64(len(x)))}
}

// humpDB is from how much more noise in the middle the noise tells nothing of the
// filters.
const humpDB = 0.7

func (e *exam) conclude(h *hush) {
	e.out.Middle = meanOf(h.middle)
	if len(h.humps) >= leastVacant {
		e.out.HumpDB = meanOf(h.humps)
		if e.out.HumpDB.Value < humpDB {
			e.noiseResponse(h)
		}
	}
	e.follow(h.tones)
}

// noiseResponse is the pass band by noise: what pilots found to fold in is taken
// off, and the middle is 0 dB.
func (e *exam) noiseResponse(h *hush) {
	var points []character.Point
	var middle float64
	const end = 0.92 // beyond it as much folds in as is there
	for k, list := range h.pieces {
		share := (2*float64(k)+1)/noisePieces - 1
		if math.Abs(share) > end {
			continue
		}
		p := meanOf(list)
		if math.Abs(share) < 0.2 {
			middle += decibel.Power(p.Value) / 6
		}
		points = append(points, character.Point{Share: share, DB: p.Value, SigmaDB: math.Max(p.Sigma, 0.02)})
	}
	for i := range points {
		p := &points[i]
		power := decibel.Power(p.DB) / middle
		if f, ok := character.At(e.out.Response, p.Share-math.Copysign(2, p.Share)); ok {
			power = math.Max(power-decibel.Power(f.Value), power/2)
		}
		p.DB = decibel.Of(power)
	}
	e.out.NoiseResponse = points
}

// follow finds the tones that stand at the same place of most slices.
func (e *exam) follow(stays [][]intrude.Line) {
	const nearHz, middleHz = 400, 10e3
	type group struct {
		hz, power float64
		in        int
	}
	var groups []group
	for _, lines := range stays {
	next:
		for _, l := range lines {
			if math.Abs(l.Hz) < middleHz {
				continue
			}
			for i := range groups {
				if g := &groups[i]; math.Abs(g.hz-l.Hz) < nearHz {
					g.power, g.in = g.power+l.Power, g.in+1
					continue next
				}
			}
			groups = append(groups, group{l.Hz, l.Power, 1})
		}
	}
	for _, g := range groups {
		if g.in >= leastVacant && 2*g.in > len(stays) {
			e.out.Tones = append(e.out.Tones, character.Tone{
				Kind: character.ToneFollows, Hz: math.Round(g.hz), DBFS: round1(decibel.Of(g.power / float64(g.in))),
			})
		}
	}
}

func round1(x float64) float64 { return math.Round(x*10) / 10 }

// harmonics looks for those of the radio's crystal within the plan.
func (e *exam) harmonics(ctx context.Context) error {
	reference := e.t.Info().Clock.ReferenceHz
	if reference <= 0 || len(e.Plan) == 0 {
		return nil
	}
	// By the radio's own clock they stand exactly there.
	const aside, reachHz = 0.27, 20
	for n := int(math.Ceil(e.Plan[0].LowerHz / reference)); float64(n)*reference < e.Plan[len(e.Plan)-1].UpperHz(); n++ {
		hz := float64(n) * reference
		if !e.planned(hz) {
			continue
		}
		b, err := e.listen(ctx, tuner.Tuning{CenterHz: hz - aside*e.rate/2, RateHz: e.rate, GainDB: e.topDB}, lookSeconds)
		if errors.Is(err, tuner.ErrNoLock) {
			continue
		}
		if err != nil {
			return err
		}
		if overloaded(b) {
			continue
		}
		line, err := psd.FindLine(b.Samples, b.RateHz, hz-b.CenterHz, reachHz)
		if err != nil {
			return err
		}
		if line.OverNoise > seenRatio {
			e.out.Tones = append(e.out.Tones, character.Tone{Kind: character.ToneHarmonic, Hz: hz, DBFS: round1(decibel.Of(line.Power)), Times: n})
		}
	}
	return nil
}

func (e *exam) planned(hz float64) bool {
	for _, c := range e.Plan {
		if hz > c.LowerHz && hz < c.UpperHz() {
			return true
		}
	}
	return false
}
