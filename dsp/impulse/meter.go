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

	// Profile is where in the slice, from −half to +half of the usable band, the
	// filter listened: shares that add up to 1.
	Profile [ProfilePieces]float64

	Rhythm Rhythm
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

// makeFilter sets the gains to 1/P, smoothed by a window over the taps.
func (m *Meter) makeFilter() error {
	var most float64
	for i, d := range m.density {
		if m.usable(i, spectrumSize) && d > 0 {
			most = math.Max(most, 1/d)
		}
	}
	if !(most > 0) || math.IsInf(most, 0) {
		return errors.New("measuring impulses: nothing was heard")
	}
	g := m.work[:spectrumSize]
	clear(g)
	for i, d := range m.density {
		if m.usable(i, spectrumSize) && d > 0 {
			g[(i+spectrumSize/2)%spectrumSize] = complex(float32(1/d/most), 0)
		}
	}
	if err := m.design.Inverse(g, g); err != nil {
		return err
	}
	clear(m.gains)
	for k := range taps {
		at := (k - taps/2 + spectrumSize) % spectrumSize
		m.gains[k] = g[at] * complex(float32(m.window[k]/spectrumSize), 0)
	}
	return m.block.Transform(m.gains, m.gains)
}

// usable reports whether value i of a spectrum of n, from −rate/2 up, is used.
func (m *Meter) usable(i, n int) bool {
	return math.Abs(float64(i)/float64(n)-0.5)*m.rateHz <= m.halfHz
}

// passed is what the filter does to an even spectrum and to Gaussian noise of
// the samples' own.
type passed struct {
	even        float64 // ∫|G|² df: power for a density of 1
	short, long float64 // degrees of freedom, halved, of a cell and of a quiet cell
	whole       float64 // bandwidth of independent values: ∫S²/… as 1/seconds
}

// passed works out what the filter passes and where.
func (m *Meter) passed(out *Piece) passed {
	var p passed
	step := m.rateHz / blockSize
	spectrum := m.work
	clear(spectrum)
	var sum, squares float64
	for i := range blockSize {
		g := m.gains[(i+blockSize/2)%blockSize]
		power := float64(real(g)*real(g) + imag(g)*imag(g))
		p.even += power * step
		where := ((float64(i)/blockSize-0.5)*m.rateHz/m.halfHz + 1) / 2 * ProfilePieces
		if where >= 0 && where < ProfilePieces {
			out.Profile[int(where)] += power
		}
		d := m.density[i*spectrumSize/blockSize] * power
		sum += d
		squares += d * d
		spectrum[(i+blockSize/2)%blockSize] = complex(float32(d), 0)
	}
	var shares float64
	for _, v := range out.Profile {
		shares += v
	}
	for i := range out.Profile {
		out.Profile[i] /= shares
	}
	p.whole = sum * sum / squares * step
	// The autocorrelation behind the filter; its size does not matter. Its
	// length does: it is far below that of a block.
	largest := real(spectrum[0])
	for _, v := range spectrum {
		largest = max(largest, real(v))
	}
	for i := range spectrum {
		spectrum[i] /= complex(largest, 0)
	}
	if err := m.block.Inverse(spectrum, spectrum); err != nil {
		return passed{}
	}
	p.short = freedom(spectrum, m.cell)
	p.long = freedom(spectrum, m.cell*quietCells)
	return p
}

// freedom is the mean squared over the variance of the average power of n
// neighbouring values of complex Gaussian noise with an autocorrelation.
func freedom(r []complex64, n int) float64 {
	var sum float64
	for d := -(n - 1); d < n; d++ {
		v := r[(d+len(r))%len(r)]
		a := float64(real(v)*real(v) + imag(v)*imag(v))
		sum += a * float64(n-max(d, -d))
	}
	zero := float64(real(r[0]))
	return zero * zero * float64(n) * float64(n) / sum
}

// filter fills cells with the power behind the filter.
func (m *Meter) filter(x []complex64) error {
	m.cells = m.cells[:0]
	var sum float32
	n := 0
	for at := 0; at+blockSize <= len(x); at += hop {
		copy(m.work, x[at:at+blockSize])
		if err := m.block.Transform(m.work, m.work); err != nil {
			return err
		}
		for i, g := range m.gains {
			m.work[i] *= g
		}
		if err := m.block.Inverse(m.work, m.work); err != nil {
			return err
		}
		for _, v := range m.work[taps-1:] {
			sum += real(v)*real(v) + imag(v)*imag(v)
			if n++; n == m.cell {
				m.cells = append(m.cells, sum/(blockSize*blockSize)/float32(n))
				sum, n = 0, 0
			}
		}
	}
	return nil
}

// judge fills in what the cells say.
func (m *Meter) judge(out *Piece, pass passed) {
	cell := float64(m.cell) / m.rateHz
	perQuiet := max(quietCells, int(quietSeconds/cell)/quietCells*quietCells)
	least := eventLevel(pass.short)
	m.rhythmic = m.rhythmic[:0]
	// First with all of the time taken for quiet, then without the share that
	// the pulses were found to take.
	var duty, power, mean, square float64
	var events []float64
	for range 2 {
		events, m.rhythmic = events[:0], m.rhythmic[:0]
		power, mean, square = 0, 0, 0
		count := 0
		var rhythm float64
		inRhythm := 0
		for from := 0; from < len(m.cells); from += perQuiet {
			to := from + perQuiet
			if to+perQuiet > len(m.cells) {
				to = len(m.cells)
			}
			quiet := m.quiet(m.cells[from:to], pass.long, duty)
			if !(quiet > 0) {
				continue
			}
			for i, v := range m.cells[from:to] {
				r := float64(v) / quiet
				power += float64(v) - quiet
				mean += r - 1
				square += (r - 1) * (r - 1)
				count++
				if r > least {
					events = append(events, float64(from+i)*cell)
				}
				// A single strong pulse must not outweigh a rhythm.
				rhythm += math.Min(r, 1+2*(least-1))
				if inRhythm++; inRhythm == rhythmCells {
					m.rhythmic = append(m.rhythmic, rhythm/rhythmCells)
					rhythm, inRhythm = 0, 0
				}
			}
			if to == len(m.cells) {
				break
			}
		}
		if count == 0 {
			return
		}
		power, mean, square = power/float64(count), mean/float64(count), square/float64(count)
		k := pass.short
		square = (square - 1/k - 2*mean/k) / (1 + 1/k)
		duty = math.Min(0.3, Duty(mean, square))
		if mean < 4*1.6/math.Sqrt(pass.whole*out.Seconds) {
			duty = 0
		}
	}
	out.Excess, out.Square = mean, math.Max(0, square)
	// The mean and the median it is compared with scatter alike, and are
	// partly one.
	out.ExcessSigma = 1.2 / math.Sqrt(pass.whole*out.Seconds)
	quiet := out.ExcessSigma
	if mean > 0 && duty > 0 {
		// The pulses' own scatter, if some hundred a second are as good as
		// independent.
		pulses := math.Max(1, 100*out.Seconds)
		out.ExcessSigma = math.Hypot(out.ExcessSigma, mean/math.Sqrt(pulses))
	}
	out.Density = power / pass.even
	if mean != 0 {
		level := math.Abs(out.Density / mean)
		out.DensitySigma, out.QuietSigma = level*out.ExcessSigma, level*quiet
	}
	last := math.Inf(-1)
	for _, t := range events {
		if t-last > burstSeconds {
			out.Bursts++
		}
		last = t
	}
	out.Rhythm.add(m.rhythmic, cell*rhythmCells)
}

// quiet is the quiet level in some cells: the median of longer cells, as a mean.
func (m *Meter) quiet(cells []float32, freedom, duty float64) float64 {
	m.longer = m.longer[:0]
	for i := 0; i+quietCells <= len(cells); i += quietCells {
		var sum float64
		for _, v := range cells[i : i+quietCells] {
			sum += float64(v)
		}
		m.longer = append(m.longer, sum/quietCells)
	}
	if len(m.longer) == 0 {
		return 0
	}
	m.sorted = append(m.sorted[:0], m.longer...)
	sortFloats(m.sorted)
	// Where pulses take a share of the time, the quiet part's median lies lower.
	// A pulse touches a longer cell somewhat more often than it takes time.
	at := 0.5 * (1 - math.Min(0.5, 1.5*duty)) * float64(len(m.sorted)-1)
	i := int(at)
	median := m.sorted[i]
	if i+1 < len(m.sorted) {
		median += (at - float64(i)) * (m.sorted[i+1] - median)
	}
	return median / gammaMedian(freedom)
}

// gammaMedian is the median over the mean of a gamma variable of a shape.
func gammaMedian(shape float64) float64 {
	return mathext.GammaIncRegInv(shape, 0.5) / shape
}

// eventLevel is the ratio to the mean that is exceeded with eventChance.
func eventLevel(shape float64) float64 {
	return mathext.GammaIncRegCompInv(shape, eventChance) / shape
}
