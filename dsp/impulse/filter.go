package impulse

import (
	"errors"
	"math"
)

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
