package vsb

import (
	"errors"
	"fmt"
	"math"
	"slices"
)

const (
	outlookStepHz = 10e3 // of the draws' grid: a path 25 µs late turns by a quarter
	outlookBins   = int(ChannelWidthHz/outlookStepHz) + 1
	outlookDraws  = 200

	// ensembleSigmaDB is what the draws leave out: that they are few, that the
	// noise is known a little less well than its fit says where echoes are
	// strong, and that no prior is every channel's. It was found by ensembles.
	ensembleSigmaDB = 0.2

	// movingChance is the chance of differing so among themselves, for the fields
	// of a still channel, from which down a stay's channel is taken to change;
	// movingSigmaDB is how far it may then be, when what was not seen of it is
	// received, from what it was when the rest was.
	movingChance, movingSigmaDB = 1e-3, 1.5
)

// Outlook is what a part of a channel lets one expect of the whole: a number of
// channels, each as likely as the others given what the slices show. Where a
// slice was seen they agree to within its noise; elsewhere they differ by as
// much as is not known.
//
// # Prior
//
// A channel is a sum of paths. How many there are, where, and how strong is
// random beforehand: their number is Poisson's, more of them are expected close
// to the paths that Echoes finds than elsewhere, some late ones and few early
// ones, and each has a complex Gaussian gain whose variance is itself unknown
// by many dB. What the slices' noise leaves open of all that stays open: a faint
// path that hides in it, and a path that is really two, closer than the slice
// resolves, which fade against each other farther off.
//
// # Posterior
//
// The gains are integrated out in closed form: with A the whitened columns of
// the paths and V their variances, data y have the log likelihood
//
//	yᴴA·(V⁻¹+AᴴA)⁻¹·Aᴴy − ln det(1+V·AᴴA).
//
// Number, delays and variances of the paths, and the slices' phases, levels and
// times against each other, are drawn by a reversible-jump Markov chain (Green,
// Biometrika 82, 1995) that starts from what Echoes finds. The chain is the same
// for the same data. What is not known of the radio's own pass band is taken as a
// smooth factor, the same for all slices, and integrated out too. A channel that
// changed within a stay is not the same any more when the rest of it is received:
// what was seen of it is then held against the rest less strictly.
type Outlook struct {
	power [][]float32 // |response|², by draw and bin
	mean  []float64   // of the power in dB, by bin
	sigma []float64

	movingDB float64 // what a channel that changes may be off by, 0 for a still one
}

// NewOutlook returns the outlook that fits of one or more slices of a channel
// give, through a radio whose pass band is not known. The slices must have been
// received with the same gain; they need not be coherent.
func NewOutlook(trainings ...*Training) (*Outlook, error) {
	return NewOutlookThrough(PassBand{}, trainings...)
}

// NewOutlookThrough returns the outlook of slices received through a radio whose
// pass band is known. It is surer than NewOutlook's, as what the radio does
// looks like paths close to each other.
func NewOutlookThrough(pass PassBand, trainings ...*Training) (*Outlook, error) {
	m, used := newEchoModel(trainings)
	if len(used) == 0 {
		return nil, errors.New("drawing an outlook: no slice has a fit of the training")
	}
	m.fitAligned(1 / m.width())
	c, err := newPathChain(m, pass)
	if err != nil {
		return nil, fmt.Errorf("drawing an outlook: %w", err)
	}
	o := &Outlook{power: make([][]float32, 0, outlookDraws)}
	for _, t := range used {
		if t.Changing < movingChance {
			o.movingDB = movingSigmaDB
		}
	}
	c.run(func() { o.power = append(o.power, c.powers(c.drawGains())) })
	o.summarise()
	return o, nil
}

// summarise finds the response's mean and scatter in dB.
func (o *Outlook) summarise() {
	o.mean, o.sigma = make([]float64, outlookBins), make([]float64, outlookBins)
	for i := range o.mean {
		var sum, squares float64
		for _, draw := range o.power {
			v := 10 * math.Log10(math.Max(float64(draw[i]), math.SmallestNonzeroFloat32))
			sum += v
			squares += v * v
		}
		n := float64(len(o.power))
		o.mean[i] = sum / n
		o.sigma[i] = math.Hypot(math.Sqrt(math.Max(0, squares/n-o.mean[i]*o.mean[i])), o.movingDB)
	}
}

// Response returns the expected power of the channel's response, in dB, in the
// units of Training.Response, at a frequency above the channel's lower edge, and
// its standard uncertainty.
func (o *Outlook) Response(offsetHz float64) (levelDB, sigmaDB float64) {
	i := int(math.Round(offsetHz / outlookStepHz))
	i = max(0, min(outlookBins-1, i))
	return o.mean[i], o.sigma[i]
}

// Power returns the station's expected power in the whole channel, its pilot
// included, in FS², and its relative standard uncertainty.
func (o *Outlook) Power() (power, relative float64) {
	pilot := int(math.Round(PilotOffsetHz / outlookStepHz))
	var sum, squares float64
	for _, draw := range o.power {
		total := PilotShare * float64(draw[pilot])
		for i, v := range draw {
			total += float64(v) * Density(float64(i)*outlookStepHz) * outlookStepHz
		}
		sum += total
		squares += total * total
	}
	n := float64(len(o.power))
	power = sum / n
	return power, math.Hypot(math.Sqrt(math.Max(0, squares/n-power*power))/power, o.movingDB*math.Ln10/10)
}

// Equalised returns the signal-to-noise ratio that an ideal equaliser should
// have on the channel, a ratio of powers as EqualisedSNR has it: its median, and
// an uncertainty in dB such that the median ±1.96 of it holds what lies between
// the 2.5th and the 97.5th percentile.
//
// noise is the density of all that is not the station's, FS²/Hz, at a frequency
// above the channel's lower edge, and relative the relative standard
// uncertainty that it has everywhere alike.
func (o *Outlook) Equalised(noise func(offsetHz float64) float64, relative float64) (snr, sigmaDB float64, err error) {
	b := densities{signal: make([]float64, outlookBins), noise: make([]float64, outlookBins), stepHz: outlookStepHz}
	sent, under := make([]float64, outlookBins), make([]float64, outlookBins)
	for i := range sent {
		sent[i] = Density(float64(i) * outlookStepHz)
		under[i] = noise(float64(i) * outlookStepHz)
	}
	levels := make([]float64, 0, len(o.power))
	for d, draw := range o.power {
		factor := math.Exp(relative * scoreOf(d, len(o.power)))
		for i, v := range draw {
			b.signal[i], b.noise[i] = float64(v)*sent[i], under[i]*factor
		}
		mean, err := b.meanLog(nil)
		if err != nil {
			return 0, 0, fmt.Errorf("computing what an equaliser should reach: %w", err)
		}
		levels = append(levels, 10*math.Log10(math.Expm1(mean)))
	}
	slices.Sort(levels)
	median := quantile(levels, 0.5)
	const outer, score = 0.025, 1.96
	sigmaDB = math.Max(median-quantile(levels, outer), quantile(levels, 1-outer)-median) / score
	return math.Pow(10, median/10), math.Hypot(sigmaDB, math.Hypot(ensembleSigmaDB, o.movingDB)), nil
}

// scoreOf is a standard normal score for draw d of n: all of them together have
// the normal distribution, in an order that has nothing to do with the draws'.
func scoreOf(d, n int) float64 {
	const golden = 0.6180339887498949
	_, p := math.Modf((float64(d) + 0.5) * golden)
	return math.Sqrt2 * math.Erfinv(2*math.Max(0.5/float64(n), math.Min(1-0.5/float64(n), p))-1)
}

// quantile is that of sorted values, straight between two.
func quantile(sorted []float64, share float64) float64 {
	at := share * float64(len(sorted)-1)
	i := min(int(at), len(sorted)-1)
	if i == len(sorted)-1 {
		return sorted[i]
	}
	return sorted[i] + (at-float64(i))*(sorted[i+1]-sorted[i])
}
