package air

import (
	"math"
	"sort"
)

// PassPoint is how strongly a radio lets through what lies at a share of half
// the sample rate below and above the middle, in dB from the middle. Beyond a
// share of 1 it is what folds back into the slice.
type PassPoint struct{ Share, BelowDB, AboveDB float64 }

// PassCurve is a pass band at one sample rate: points with rising shares, the
// first at 0 and 0 dB. Beyond the last nothing comes through.
type PassCurve struct {
	RateHz float64
	Points []PassPoint
}

// FrontEnd is the filters of a radio, from the antenna to the samples: what
// they make of a signal by how far it lies from the frequency that the radio is
// tuned to. Their phase is linear. The zero FrontEnd lets everything through.
type FrontEnd struct {
	// Curves are the pass band at one or more rising sample rates. Between
	// them decibels go along a straight line over the rate; beyond them the
	// nearest holds for the shares.
	Curves []PassCurve

	// Taps are those of a filter at TapsHz samples per second that all goes
	// through, whatever the sample rate. It is in the curves as it is at
	// their rates; at rates beyond them it makes itself felt.
	Taps   []float64
	TapsHz float64

	// FlickerHz is how far from the middle the radio's own noise of density
	// 1/|f|, which comes after the filters, is as strong as the white noise
	// that it has from before them; 0 is none.
	FlickerHz float64

	// FoldDB is added to what comes from beyond half the rate, over a band
	// that the edge ends.
	FoldDB float64

	// DepthShare scales the curves' decibels, but for FoldDB: 0 and 1 are as
	// they are.
	DepthShare float64

	// StrayDB is how far the pass band moves when the frequency or the gain
	// changes: it leans by up to as much from the middle to an edge.
	StrayDB float64

	// LeanDB is by how much it leans from −1/4 to +1/4 of the sample rate.
	LeanDB float64

	Seed uint64 // of how it strays
}

// foldFrom is the share of half the rate from which FoldDB comes in; it is
// there in full as far beyond the edge.
const foldFrom = 0.96

// Band is what a FrontEnd does at one tuning.
type Band struct {
	rateHz  float64
	flicker float64
	reach   float64   // the farthest share that comes through
	table   []float64 // amplitudes, from −reach to reach
}

// bandStep is the share of half the rate between two entries of a Band's table.
const bandStep = 1. / 256

// Band returns the pass band at a tuning.
func (f *FrontEnd) Band(tunedHz, rateHz, gainDB float64) *Band {
	b := &Band{rateHz: rateHz, flicker: f.FlickerHz, reach: math.Inf(1)}
	if len(f.Curves) == 0 {
		return b
	}
	b.reach = 0
	for _, c := range f.Curves {
		b.reach = math.Max(b.reach, c.Points[len(c.Points)-1].Share)
	}
	low, high, t := f.between(rateHz)
	measured := low.RateHz + t*(high.RateHz-low.RateHz) // the rate that the curves stand for
	lean := f.lean(tunedHz, gainDB)
	n := int(math.Ceil(b.reach / bandStep))
	b.reach = float64(n) * bandStep
	b.table = make([]float64, 2*n+1)
	curves := []struct {
		line   monotone
		weight float64
	}{{low.line(), 1 - t}, {high.line(), t}}
	for i := range b.table {
		share := float64(i-n) * bandStep
		dB := lean * share
		for _, c := range curves {
			if c.weight > 0 {
				dB += c.weight * c.line.at(share) * f.depth()
			}
		}
		if rateHz != measured {
			dB += DB(f.tapsPower(share*rateHz/2) / f.tapsPower(share*measured/2))
		}
		dB += f.FoldDB * math.Max(0, math.Min(1, (math.Abs(share)-foldFrom)/(2*(1-foldFrom))))
		b.table[i] = Amplitude(dB)
	}
	return b
}

func (f *FrontEnd) depth() float64 {
	if f.DepthShare == 0 {
		return 1
	}
	return f.DepthShare
}

// between returns the two curves that a rate lies between and how far it is on
// the way from the one to the other.
func (f *FrontEnd) between(rateHz float64) (low, high PassCurve, t float64) {
	k := sort.Search(len(f.Curves), func(i int) bool { return f.Curves[i].RateHz >= rateHz })
	switch k {
	case 0:
		return f.Curves[0], f.Curves[0], 0
	case len(f.Curves):
		return f.Curves[k-1], f.Curves[k-1], 0
	}
	low, high = f.Curves[k-1], f.Curves[k]
	return low, high, (rateHz - low.RateHz) / (high.RateHz - low.RateHz)
}

// lean returns by how many dB the pass band leans from its middle to its upper
// edge: over some tens of MHz to and fro, and evenly over the gain.
func (f *FrontEnd) lean(tunedHz, gainDB float64) float64 {
	const slow, fast, middleGain, gainSpan = 113e6, 47e6, 25, 50
	a, b, c := unit(Seed(f.Seed, 81)), unit(Seed(f.Seed, 82)), unit(Seed(f.Seed, 83))
	sum := 0.5*math.Sin(2*math.Pi*(tunedHz/slow+a)) + 0.25*math.Sin(2*math.Pi*(tunedHz/fast+b))
	sum += 0.5 * (c - 0.5) * math.Max(-1, math.Min(1, 2*(gainDB-middleGain)/gainSpan))
	return f.LeanDB + f.StrayDB*sum
}

// tapsPower is what the filter that the rate does not move does, in power.
func (f *FrontEnd) tapsPower(hz float64) float64 {
	if len(f.Taps) == 0 {
		return 1
	}
	var sum complex128
	var all float64
	for k, h := range f.Taps {
		sum += complex(h, 0) * turns(-hz/f.TapsHz*float64(k))
		all += h
	}
	const least = 1e-10
	return math.Max((real(sum)*real(sum)+imag(sum)*imag(sum))/(all*all), least)
}

// ReachHz is how far from the middle anything comes through.
func (b *Band) ReachHz() float64 { return b.reach * b.rateHz / 2 }

// Amplitude returns what becomes of a signal's amplitude at an offset from the
// middle. Beyond half the rate the signal shows a whole rate away.
func (b *Band) Amplitude(offsetHz float64) float64 {
	if b.table == nil {
		return 1
	}
	at := (offsetHz/(b.rateHz/2) + b.reach) / bandStep
	if !(at >= 0 && at <= float64(len(b.table)-1)) {
		return 0
	}
	k := min(int(at), len(b.table)-2)
	return b.table[k] + (at-float64(k))*(b.table[k+1]-b.table[k])
}

// Power is Amplitude squared.
func (b *Band) Power(offsetHz float64) float64 {
	a := b.Amplitude(offsetHz)
	return a * a
}

// flickerFrom keeps the noise of density 1/|f| finite in the middle, in Hz.
const flickerFrom = 1e3

// Noise returns the density, at an offset within half the rate, of what a radio
// makes of white noise of density 1: what lies there, what folds onto it, and
// the noise of density 1/|f|. Without filters nothing is told to fold.
func (b *Band) Noise(offsetHz float64) float64 {
	sum := b.flicker / (math.Abs(offsetHz) + flickerFrom)
	if b.table == nil {
		return sum + 1
	}
	for k := -2; k <= 2; k++ {
		sum += b.Power(offsetHz + float64(k)*b.rateHz)
	}
	return sum
}

// line returns the curve as decibels over shares from below to above.
func (c *PassCurve) line() monotone {
	n := len(c.Points)
	x, y := make([]float64, 0, 2*n-1), make([]float64, 0, 2*n-1)
	for i := n - 1; i > 0; i-- {
		x, y = append(x, -c.Points[i].Share), append(y, c.Points[i].BelowDB)
	}
	for _, p := range c.Points {
		x, y = append(x, p.Share), append(y, p.AboveDB)
	}
	return newMonotone(x, y)
}

// monotone is a curve through points that nowhere swings beyond two
// neighbouring ones: cubics whose slopes are the harmonic means of Fritsch and
// Butland (1984).
type monotone struct{ x, y, slope []float64 }

func newMonotone(x, y []float64) monotone {
	n := len(x)
	m := monotone{x, y, make([]float64, n)}
	for i := 1; i < n-1; i++ {
		h0, h1 := x[i]-x[i-1], x[i+1]-x[i]
		d0, d1 := (y[i]-y[i-1])/h0, (y[i+1]-y[i])/h1
		if d0*d1 > 0 {
			w0, w1 := 2*h1+h0, h1+2*h0
			m.slope[i] = (w0 + w1) / (w0/d0 + w1/d1)
		}
	}
	if n > 1 { // the ends go straight
		m.slope[0] = (y[1] - y[0]) / (x[1] - x[0])
		m.slope[n-1] = (y[n-1] - y[n-2]) / (x[n-1] - x[n-2])
	}
	return m
}

// at returns the curve's value; beyond its ends that of the end.
func (m monotone) at(x float64) float64 {
	n := len(m.x)
	switch {
	case x <= m.x[0]:
		return m.y[0]
	case x >= m.x[n-1]:
		return m.y[n-1]
	}
	k := sort.SearchFloat64s(m.x, x) - 1
	h := m.x[k+1] - m.x[k]
	t := (x - m.x[k]) / h
	u := 1 - t
	return u*u*(1+2*t)*m.y[k] + t*t*(1+2*u)*m.y[k+1] + h*t*u*(u*m.slope[k]-t*m.slope[k+1])
}

// NoiseTaps returns the n taps, n odd, of a filter at the sample rate that
// gives white noise the density that the band with all that folds gives it, but
// for the noise of density 1/|f|, and delays it by n/2.
func (b *Band) NoiseTaps(n int) []complex64 {
	const points = 256
	taps := make([]complex64, n)
	for k := range taps {
		at := float64(k - n/2)
		var sum complex128
		for i := range points {
			x := float64(i)/points - 0.5
			density := b.Noise(x*b.rateHz) - b.flicker/(math.Abs(x*b.rateHz)+flickerFrom)
			sum += complex(math.Sqrt(density)/points, 0) * turns(x*at)
		}
		// A raised cosine, so that what is cut off leaves no ripple.
		taps[k] = complex64(sum * complex(0.5+0.5*math.Cos(math.Pi*at/float64(n/2+1)), 0))
	}
	return taps
}
