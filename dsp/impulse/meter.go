// Package impulse measures noise that comes in short pulses, sparks and
// switches, under a signal that is stronger than they are.
//
// # The filter
//
// A pulse is broad: its spectrum I is even over a slice. What it has to be told
// from has the spectrum P(f) of a television signal, with dips at the channel's
// edges where a hundredth of it is left. The best quadratic detector of a weak
// even spectrum in Gaussian noise of the spectrum P weighs the power at f by
// 1/P²; that is the power behind a filter of the amplitude 1/P(f). So the
// samples are sent through the filter 1/P, made of their own spectrum, and only
// the power behind it is looked at. In a vacant channel the filter is flat, in
// an occupied one it listens in the dips, and it passes over tones.
//
// # What is measured
//
// The power behind the filter, averaged over cells of 10 µs, is compared with
// its quiet level: the median of longer cells in each fiftieth of a second,
// turned to the mean that Gaussian noise of that spectrum has beside that
// median. The mean excess, divided by what an even spectrum has behind the
// filter, is the pulses' density averaged over time: what they add to an error
// power that is averaged over time. The mean square of the excess tells how
// much of the time they take.
//
// # Where it breaks
//
// Pulses that take more than a fifth of the time raise the median. Pulses
// shorter than the filter rings, some 10 µs where it listens in the dips only,
// look that long. A signal that is switched on and off in the slice looks like
// long pulses.
package impulse

import (
	"errors"
	"fmt"
	"math"
	"slices"

	"gonum.org/v1/gonum/mathext"

	"rooftone/dsp/psd"
)

const (
	spectrumSize = 1024
	taps         = 256
	blockSize    = 2048
	hop          = blockSize - taps + 1

	cellSeconds = 10e-6
	// So many cells make one of those that the quiet level is read from, and
	// one of those that rhythms are sought in.
	quietCells, rhythmCells = 8, 5
	// quietSeconds is how long the quiet level is taken to stand still.
	quietSeconds = 20e-3

	// A cell counts as an event when Gaussian noise has it as high with this
	// probability. Events closer than burstSeconds are one burst.
	eventChance  = 1e-8
	burstSeconds = 1e-3

	// ChanceRateHz is how many events a second noise has by chance.
	ChanceRateHz = eventChance / cellSeconds

	// ProfilePieces is how many pieces Piece.Profile has.
	ProfilePieces = 32

	leastSeconds = 40e-3
)

// Piece is what one run of samples shows.
type Piece struct {
	Seconds float64

	// Density is the pulses' power density in FS²/Hz, averaged over time, in the
	// middle of what Profile weighs; below 0 when chance has it so. QuietSigma
	// is what noise alone leaves uncertain of it, DensitySigma has the pulses'
	// own scatter in it, too.
	Density, DensitySigma, QuietSigma float64

	// Excess is the mean excess over the quiet level behind the filter, in parts
	// of that, and Square the pulses' mean squared excess.
	Excess, ExcessSigma float64
	Square              float64

	Bursts int // how often single cells stood out, bursts counted once

	// Loud are the times, in seconds from the first sample, between which
	// bursts lie: from and to, in turn, ascending. Of many the first are told.
	Loud []float64

	// Profile is where in the slice, from −half to +half of the usable band, the
	// filter listened: shares that add up to 1.
	Profile [ProfilePieces]float64

	Rhythm Rhythm
}

// Add joins another piece to p, as if both were one. The times of single bursts
// are not kept.
func (p *Piece) Add(o *Piece) {
	total := p.Seconds + o.Seconds
	if total == 0 {
		return
	}
	a, b := p.Seconds/total, o.Seconds/total
	p.Seconds = total
	p.Density = a*p.Density + b*o.Density
	p.DensitySigma = math.Hypot(a*p.DensitySigma, b*o.DensitySigma)
	p.QuietSigma = math.Hypot(a*p.QuietSigma, b*o.QuietSigma)
	p.Excess = a*p.Excess + b*o.Excess
	p.ExcessSigma = math.Hypot(a*p.ExcessSigma, b*o.ExcessSigma)
	p.Square = a*p.Square + b*o.Square
	p.Bursts += o.Bursts
	p.Loud = nil
	for i := range p.Profile {
		p.Profile[i] = a*p.Profile[i] + b*o.Profile[i]
	}
	p.Rhythm.Add(&o.Rhythm)
}

// Duty is the share of the time that pulses of even height, of the same mean
// and mean square, take.
func Duty(excess, square float64) float64 {
	if !(square > 0) || !(excess > 0) {
		return 0
	}
	return math.Min(1, excess*excess/square)
}

// Meter measures pieces of one sample rate. It is used by one goroutine.
type Meter struct {
	rateHz, halfHz float64
	cell           int
	welch          *psd.Welch
	design, block  *psd.FFT
	window         []float64

	density  []float64
	gains    []complex64 // on the block's grid
	work     []complex64
	cells    []float32
	longer   []float64
	levels   []float64
	sorted   []float64
	rhythmic []float64
}

// NewMeter makes a Meter for samples at rateHz of which what lies within halfHz
// of the middle is usable.
func NewMeter(rateHz, halfHz float64) (*Meter, error) {
	if !(rateHz >= 1e5 && rateHz <= 1e8) || !(halfHz > 0 && halfHz <= rateHz/2) {
		return nil, fmt.Errorf("measuring impulses: a band of ±%g Hz at a rate of %g Hz", halfHz, rateHz)
	}
	m := &Meter{
		rateHz: rateHz, halfHz: halfHz,
		cell:   max(1, int(math.Round(cellSeconds*rateHz))),
		window: psd.BlackmanHarris.Samples(taps),
		gains:  make([]complex64, blockSize),
		work:   make([]complex64, blockSize),
	}
	var err error
	if m.welch, err = psd.NewWelch(rateHz, spectrumSize, psd.BlackmanHarris); err != nil {
		return nil, fmt.Errorf("measuring impulses: %w", err)
	}
	if m.design, err = psd.NewFFT(spectrumSize); err != nil {
		return nil, fmt.Errorf("measuring impulses: %w", err)
	}
	if m.block, err = psd.NewFFT(blockSize); err != nil {
		return nil, fmt.Errorf("measuring impulses: %w", err)
	}
	return m, nil
}

var errShort = errors.New("measuring impulses: too short a run of samples")

// Measure measures one run of samples, at least 40 ms long.
func (m *Meter) Measure(x []complex64) (Piece, error) {
	if float64(len(x)) < leastSeconds*m.rateHz {
		return Piece{}, errShort
	}
	m.welch.Reset()
	m.welch.Write(x)
	m.density = m.welch.Density(m.density)
	if err := m.makeFilter(); err != nil {
		return Piece{}, err
	}
	out := Piece{Seconds: float64(len(x)) / m.rateHz}
	pass := m.passed(&out)
	if !(pass.even > 0) {
		return Piece{}, errors.New("measuring impulses: nothing was heard")
	}
	if err := m.filter(x); err != nil {
		return Piece{}, err
	}
	m.judge(&out, pass)
	return out, nil
}

// judge fills in what the cells say.
func (m *Meter) judge(out *Piece, pass passed) {
	level := m.quiet(pass.long)
	if len(level) == 0 {
		return
	}
	out.ExcessSigma = quietScatter / math.Sqrt(pass.whole*out.Seconds)
	x := m.excess(level, 1, pass.short)
	if x.mean > 3*out.ExcessSigma || x.bursts > 1 {
		// Pulses lift the median a little.
		x = m.excess(level, m.lift(level, pass.long), pass.short)
	}
	out.Excess, out.Square, out.Bursts, out.Loud = x.mean, x.square, x.bursts, x.loud
	quiet := out.ExcessSigma
	if x.mean > 3*quiet {
		// The pulses' own scatter, if some hundred a second are as good as
		// independent.
		out.ExcessSigma = math.Hypot(quiet, x.mean/math.Sqrt(math.Max(1, 100*out.Seconds)))
	}
	out.Density = x.power / pass.even
	if x.mean != 0 {
		scale := math.Abs(out.Density / x.mean)
		out.DensitySigma, out.QuietSigma = scale*out.ExcessSigma, scale*quiet
	}
	out.Rhythm.add(m.rhythmic, rhythmCells*float64(m.cell)/m.rateHz)
}

// quietScatter is the scatter of a mean over that of the noise, when it is
// compared with a median that scatters alike and is partly one with it.
const quietScatter = 1.2

// perLevel is how many cells have a quiet level of their own.
func (m *Meter) perLevel() int {
	return max(1, int(quietSeconds*m.rateHz)/(quietCells*m.cell)) * quietCells
}

// quiet returns the quiet level, as a mean, of each run of cells: from the
// median of longer cells.
func (m *Meter) quiet(freedom float64) []float64 {
	per := m.perLevel()
	median := gammaMedian(freedom)
	m.levels, m.longer = m.levels[:0], m.longer[:0]
	for from := 0; from+per <= len(m.cells); from += per {
		begin := len(m.longer)
		for i := from; i < from+per; i += quietCells {
			var sum float64
			for _, v := range m.cells[i : i+quietCells] {
				sum += float64(v)
			}
			m.longer = append(m.longer, sum/quietCells)
		}
		m.sorted = append(m.sorted[:0], m.longer[begin:]...)
		slices.Sort(m.sorted)
		m.levels = append(m.levels, m.sorted[len(m.sorted)/2]/median)
	}
	return m.levels
}

// lift is what the quiet levels are to be multiplied by to undo what pulses did
// to the medians. Below the median hardly any cell has been touched by a pulse,
// so the share of cells below x is (1−t)·G(x/q), with G the gamma distribution,
// t the share that was touched and q the quiet level: two quantiles give both.
func (m *Meter) lift(level []float64, freedom float64) float64 {
	const low, high = 0.06, 0.42
	per := m.perLevel() / quietCells
	m.sorted = m.sorted[:0]
	for i, v := range m.longer {
		m.sorted = append(m.sorted, v/level[i/per])
	}
	slices.Sort(m.sorted)
	x1 := m.sorted[int(low*float64(len(m.sorted)))]
	x2 := m.sorted[int(high*float64(len(m.sorted)))]
	share := func(q float64) float64 {
		return mathext.GammaIncReg(freedom, freedom*x2/q) / math.Max(1e-12, mathext.GammaIncReg(freedom, freedom*x1/q))
	}
	// The lower q, the more of the gamma distribution lies below both.
	least, most := 0.5, 1.1
	for most-least > 1e-4 {
		if q := (least + most) / 2; share(q) < high/low {
			least = q
		} else {
			most = q
		}
	}
	return math.Min(1, least)
}

// excess is what cells have over the quiet levels.
type excess struct {
	power        float64 // mean, behind the filter
	mean, square float64 // of the quiet level, and its square less the noise's own
	bursts       int
	loud         []float64
}

// maxLoud is how many bursts' times are told.
const maxLoud = 64

// excess sums up the cells' excess over the quiet levels times lift, and fills
// in what rhythms are sought in.
func (m *Meter) excess(level []float64, lift, freedom float64) excess {
	var x excess
	per, cell := m.perLevel(), float64(m.cell)/m.rateHz
	least := eventLevel(freedom)
	// What dies away lasts longer than it stands out.
	const margin = 2 * burstSeconds / 5
	m.rhythmic = m.rhythmic[:0]
	last := math.Inf(-1)
	var rhythm, count float64
	for b := range level {
		quiet := level[b] * lift
		end := (b + 1) * per
		if b == len(level)-1 {
			end = len(m.cells) // what is left over, too
		}
		for i := b * per; i < end; i++ {
			r := float64(m.cells[i]) / quiet
			x.power += float64(m.cells[i]) - quiet
			x.mean += r - 1
			x.square += (r - 1) * (r - 1)
			count++
			if r > least {
				t := float64(i) * cell
				if t-last > burstSeconds {
					x.bursts++
					if x.bursts <= maxLoud {
						x.loud = append(x.loud, t-margin, t)
					}
				}
				if x.bursts <= maxLoud {
					x.loud[len(x.loud)-1] = t + cell + margin
				}
				last = t
			}
			// A single strong pulse must not outweigh a rhythm.
			rhythm += math.Min(r, 1+2*(least-1))
			if (i+1)%rhythmCells == 0 {
				m.rhythmic = append(m.rhythmic, rhythm/rhythmCells)
				rhythm = 0
			}
		}
	}
	x.power /= count
	x.mean /= count
	x.square = math.Max(0, (x.square/count-1/freedom-2*x.mean/freedom)/(1+1/freedom))
	return x
}

// gammaMedian is the median over the mean of a gamma variable of a shape.
func gammaMedian(shape float64) float64 {
	return mathext.GammaIncRegInv(shape, 0.5) / shape
}

// eventLevel is the ratio to the mean that is exceeded with eventChance.
func eventLevel(shape float64) float64 {
	return mathext.GammaIncRegCompInv(shape, eventChance) / shape
}
