package examine

import (
	"context"
	"errors"
	"math"
	"slices"

	"rooftone/dsp/decibel"
	"rooftone/dsp/psd"
	"rooftone/dsp/robust"
	"rooftone/scan/character"
	"rooftone/scan/tuner"
)

const (
	// mostGains is how many steps are looked at: of a radio that has more, some.
	mostGains = 32

	// steadyDB is what a station's level is at least uncertain by from one look to
	// the next.
	steadyDB = 0.1

	// worstDB is the uncertainty of a level from which it says too little.
	worstDB = 0.5

	// compressedDBFS is the power from which a front end or a converter may press
	// what it is given together.
	compressedDBFS = -9
)

// ladder returns the gains to look at, ascending.
func (e *exam) ladder() []float64 {
	all := slices.Sorted(slices.Values(e.t.Info().GainsDB))
	if len(all) <= mostGains {
		return all
	}
	out := make([]float64, mostGains)
	for i := range out {
		out[i] = all[i*(len(all)-1)/(mostGains-1)]
	}
	return slices.Compact(out)
}

// Level is how strong a steady signal is at a gain.
type Level struct {
	Gain, Signal int // which of them
	DB, Sigma    float64
}

// gains finds what the steps of gain are, from the pilots' levels: strong ones tell
// of the low gains, at which weak ones are lost between the converter's steps, and
// these of the high ones.
func (e *exam) gains(ctx context.Context) error {
	names := e.ladder()
	if len(names) < 2 {
		return nil
	}
	for _, name := range names {
		e.out.Gains = append(e.out.Gains, character.Gain{NameDB: name})
	}
	var levels []Level
	for i, p := range e.pilots {
		if ok, err := e.refresh(ctx, p); err != nil {
			return err
		} else if !ok {
			continue
		}
		for g := len(names) - 1; g >= 0; g-- {
			line, b, ok, err := e.look(ctx, p, 0.3, names[g], shortLook, 2*aliasReachHz)
			if err != nil {
				return err
			}
			if !ok || line.OverNoise < seenRatio || line.SigmaDB > worstDB || !e.fits(b) {
				continue
			}
			e.see(p, line, b)
			levels = append(levels, Level{g, i, decibel.Of(line.Power), math.Hypot(line.SigmaDB, steadyDB)})
		}
	}
	real := Steps(levels, len(names), len(e.pilots))
	top := -1
	for g := range real {
		if real[g] != nil {
			top = g
		}
	}
	if top < 0 {
		return nil
	}
	shift := names[top] - real[top].Value
	lowest := top
	for g := range real {
		if real[g] == nil {
			continue
		}
		lowest = min(lowest, g)
		e.out.Gains[g].RealDB = &character.Figure{Value: real[g].Value + shift, Sigma: real[g].Sigma}
	}
	const least, follows = 6, 0.3
	if named := names[top] - names[lowest]; named >= least {
		works := real[top].Value-real[lowest].Value > follows*named
		e.out.GainsWork = &works
	}
	return nil
}

// fits reports whether a block neither is lost between the converter's steps nor
// presses against its rails.
func (e *exam) fits(b tuner.Block) bool {
	power, mean := powers(b.Samples)
	// A converter whose middle lies between two steps makes of nothing at all
	// three times its rounding.
	const busy = 6
	return power-mean > busy*roundingPower(e.t.Info().Datatype) && decibel.Of(power) < compressedDBFS
}

// powers returns the mean power of samples and that of their mean.
func powers(x []complex64) (power, mean float64) {
	var sum complex128
	for _, z := range x {
		s := complex128(z)
		sum += s
		power += real(s)*real(s) + imag(s)*imag(s)
	}
	n := float64(len(x))
	sum /= complex(n, 0)
	return power / n, real(sum)*real(sum) + imag(sum)*imag(sum)
}

// roundingPower is what the converter's rounding adds to busy samples, in FS².
func roundingPower(datatype string) float64 {
	step := 0.
	switch datatype {
	case "cu8", "ci8":
		step = 2. / 255
	}
	return 2 * step * step / 12
}

// Steps finds the gains, in dB, that levels[i].DB = gain + a level of the signal's
// own fit best: alternating weighted means. Gains that no signal links with the most
// others are nil. One gain is arbitrary.
func Steps(levels []Level, gains, pilots int) []*character.Figure {
	levels = linked(levels, gains, pilots)
	g, p := make([]float64, gains), make([]float64, pilots)
	weightOf := make([]float64, gains)
	const rounds = 300
	for range rounds {
		sum, weight := make([]float64, pilots), make([]float64, pilots)
		for _, l := range levels {
			w := 1 / (l.Sigma * l.Sigma)
			sum[l.Signal], weight[l.Signal] = sum[l.Signal]+w*(l.DB-g[l.Gain]), weight[l.Signal]+w
		}
		for i := range p {
			if weight[i] > 0 {
				p[i] = sum[i] / weight[i]
			}
		}
		sums := make([]float64, gains)
		clear(weightOf)
		for _, l := range levels {
			w := 1 / (l.Sigma * l.Sigma)
			sums[l.Gain], weightOf[l.Gain] = sums[l.Gain]+w*(l.DB-p[l.Signal]), weightOf[l.Gain]+w
		}
		for i := range g {
			if weightOf[i] > 0 {
				g[i] = sums[i] / weightOf[i]
			}
		}
	}
	out := make([]*character.Figure, gains)
	for i := range out {
		if weightOf[i] > 0 {
			out[i] = &character.Figure{Value: g[i], Sigma: math.Sqrt(1 / weightOf[i])}
		}
	}
	return out
}

// linked keeps the largest part of the levels whose gains and pilots hang together.
func linked(levels []Level, gains, pilots int) []Level {
	group := make([]int, gains+pilots)
	for i := range group {
		group[i] = i
	}
	for changed := true; changed; {
		changed = false
		for _, l := range levels {
			a, b := group[l.Gain], group[gains+l.Signal]
			if a != b {
				group[l.Gain], group[gains+l.Signal] = min(a, b), min(a, b)
				changed = true
			}
		}
	}
	count := map[int]int{}
	best := -1
	for _, l := range levels {
		k := group[l.Gain]
		if count[k]++; best < 0 || count[k] > count[best] {
			best = k
		}
	}
	var out []Level
	for _, l := range levels {
		if group[l.Gain] == best {
			out = append(out, l)
		}
	}
	return out
}

// floors reads the noise of a vacant channel at every gain.
func (e *exam) floors(ctx context.Context) error {
	if len(e.vacant) == 0 {
		return nil
	}
	center := e.vacant[len(e.vacant)/2]
	for i := range e.out.Gains {
		b, err := e.listen(ctx, tuner.Tuning{CenterHz: center, RateHz: e.rate, GainDB: e.out.Gains[i].NameDB}, shortLook/2)
		if errors.Is(err, tuner.ErrNoLock) {
			return nil
		}
		if err != nil {
			return err
		}
		w, err := psd.NewWelch(b.RateHz, noiseBins, psd.Hann)
		if err != nil {
			return err
		}
		w.Write(b.Samples)
		if d := middleOf(w.Density(nil)); d > 0 {
			floor := math.Round(100*decibel.Of(d)) / 100
			e.out.Gains[i].FloorDBFSHz = &floor
		}
	}
	return nil
}

// noiseBins is the length of the spectra of noise.
const noiseBins = 2048

// middleOf is the level of a spectrum around its middle, without what stands in it.
func middleOf(density []float64) float64 {
	n := len(density)
	var around []float64
	for i, d := range density {
		if share := math.Abs(2*float64(i)/float64(n) - 1); share > 0.15 && share < 0.5 {
			around = append(around, d)
		}
	}
	return robust.Median(around)
}
