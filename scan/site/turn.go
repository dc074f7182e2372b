package site

import (
	"errors"
	"fmt"
	"math"
	"slices"
	"time"

	"rooftone/scan/measure"
)

// Sample is what was measured of one channel at one moment of a turn.
type Sample struct {
	Time    time.Time // the middle of what was listened to
	LevelDB float64   // margin, C/N or pilot to noise: the fit asks for no zero point
	SigmaDB float64   // its standard uncertainty; 0 when it is not known
}

// Pointing is where the antenna pointed at one moment.
type Pointing struct {
	Time       time.Time
	BearingDeg float64
}

// Turn is how an antenna was turned while Samples were taken: by hand or on a
// rotator, over a part of the circle or several times around, or carried along
// a walk. Bearings are in degrees clockwise from north.
type Turn struct {
	Pointings []Pointing // in any order; two or more, or one with a rate

	// RateDegPerS is a constant rate, clockwise positive. 0: it is not known,
	// or not constant, and the pointings tell where the antenna was between
	// them.
	RateDegPerS float64

	// Clockwise and Counter say which way it was turned from each pointing to
	// the next. Without either it is the shorter way, and pointings must not be
	// more than 150° apart. Two equal bearings are a full turn apart when the
	// way is given, and no turn when not.
	Clockwise, Counter bool

	// SigmaDeg is the standard uncertainty of one pointing; 0: 2°, which is
	// what a hand compass or the edge of a roof gives (common practice, no
	// source).
	SigmaDeg float64
}

const (
	defaultPointingDeg = 2

	// unevenShare is by how much of itself a hand's rate of turning changes
	// between two pointings even when the pointings show no change: common
	// practice, no source.
	unevenShare = 0.1

	longestWayDeg = 150
)

// ErrPointings is wrapped by the error for pointings that do not say how the
// antenna was turned.
var ErrPointings = errors.New("the bearings given do not say how the antenna was turned")

// path is a Turn with its pointings in order and its bearings running on
// beyond 360.
type path struct {
	at     []time.Time
	deg    []float64
	rate   float64 // 0: between pointings
	sigma  float64
	uneven float64
}

// path prepares a Turn.
func (t Turn) path() (*path, error) {
	list := slices.Clone(t.Pointings)
	slices.SortStableFunc(list, func(a, b Pointing) int { return a.Time.Compare(b.Time) })
	p := &path{rate: t.RateDegPerS, sigma: t.SigmaDeg, uneven: unevenShare}
	if p.sigma == 0 {
		p.sigma = defaultPointingDeg
	}
	switch {
	case math.IsNaN(p.rate) || math.Abs(p.rate) > 360:
		return nil, fmt.Errorf("a rate of %g° a second: %w", p.rate, ErrPointings)
	case !(p.sigma > 0 && p.sigma <= 90):
		return nil, fmt.Errorf("an uncertainty of %g° of a bearing: %w", p.sigma, ErrPointings)
	case t.Clockwise && t.Counter:
		return nil, fmt.Errorf("clockwise and counter-clockwise at once: %w", ErrPointings)
	case p.rate != 0 && len(list) == 0:
		return nil, fmt.Errorf("a rate needs one bearing to start from: %w", ErrPointings)
	case p.rate == 0 && len(list) < 2:
		return nil, fmt.Errorf("two bearings are the least without a rate: %w", ErrPointings)
	}
	for i, q := range list {
		if math.IsNaN(q.BearingDeg) || math.Abs(q.BearingDeg) > 720 {
			return nil, fmt.Errorf("a bearing of %g°: %w", q.BearingDeg, ErrPointings)
		}
		if i > 0 && q.Time.Equal(list[i-1].Time) {
			return nil, fmt.Errorf("two bearings at one moment: %w", ErrPointings)
		}
		p.at = append(p.at, q.Time)
		p.deg = append(p.deg, q.BearingDeg)
	}
	if p.rate != 0 {
		return p, p.steady()
	}
	return p, p.unwind(t)
}

// steady turns the pointings of a constant rate into one, at the first's time.
func (p *path) steady() error {
	var mean float64
	for i := range p.deg {
		// How far this pointing is from where the rate puts it.
		d := math.Remainder(p.deg[i]-p.deg[0]-p.rate*p.seconds(i), 360)
		if math.Abs(d) > math.Max(6*p.sigma, 10) {
			return fmt.Errorf("at the rate of %g° a second a bearing is %.0f° away from the first: %w", p.rate, d, ErrPointings)
		}
		mean += d / float64(len(p.deg))
	}
	p.deg = []float64{p.deg[0] + mean}
	p.sigma /= math.Sqrt(float64(len(p.at)))
	p.at = p.at[:1]
	return nil
}

func (p *path) seconds(i int) float64 { return p.at[i].Sub(p.at[0]).Seconds() }

// unwind makes the bearings run on, and learns how evenly it was turned.
func (p *path) unwind(t Turn) error {
	var rates []float64
	for i := 1; i < len(p.deg); i++ {
		d := math.Remainder(p.deg[i]-p.deg[i-1], 360)
		switch {
		case t.Clockwise && d <= 0:
			d += 360
		case t.Counter && d >= 0:
			d -= 360
		case !t.Clockwise && !t.Counter && math.Abs(d) > longestWayDeg:
			return fmt.Errorf("from %.0f° to %.0f° either way may have been meant: say which, or note bearings in between: %w",
				turn360(p.deg[i-1]), turn360(p.deg[i]), ErrPointings)
		}
		p.deg[i] = p.deg[i-1] + d
		rates = append(rates, math.Abs(d)/p.at[i].Sub(p.at[i-1]).Seconds())
	}
	var mean, square float64
	for _, r := range rates {
		mean += r / float64(len(rates))
		square += r * r / float64(len(rates))
	}
	if mean > 0 {
		spread := math.Sqrt(math.Max(0, square-mean*mean)) / mean
		p.uneven = math.Min(1, math.Max(p.uneven, spread))
	}
	return nil
}

// at returns the bearing at a moment, running on beyond 360, and its standard
// uncertainty. Outside the pointings there is none, unless the rate is known.
func (p *path) bearing(at time.Time) (deg, sigma float64, ok bool) {
	if p.rate != 0 {
		return p.deg[0] + p.rate*at.Sub(p.at[0]).Seconds(), p.sigma, true
	}
	i, _ := slices.BinarySearchFunc(p.at, at, func(a, b time.Time) int { return a.Compare(b) })
	if i == 0 && at.Equal(p.at[0]) {
		return p.deg[0], p.sigma, true
	}
	if i == 0 || i == len(p.at) {
		return 0, 0, false
	}
	f := at.Sub(p.at[i-1]).Seconds() / p.at[i].Sub(p.at[i-1]).Seconds()
	step := p.deg[i] - p.deg[i-1]
	// A rate that grows evenly from (1 − u) to (1 + u) of its mean leaves the
	// straight line by u·f·(1 − f) of the step.
	uneven := p.uneven * math.Abs(step) * f * (1 - f)
	return p.deg[i-1] + f*step, math.Hypot(p.sigma*math.Hypot(f, 1-f), uneven), true
}

// FitTurn finds the heading at which one channel is strongest from samples that
// were taken while the antenna was turned. Samples at moments for which the
// turn has no bearing are left out. The uncertainty of the heading contains
// that of the pointings.
//
// A channel that was not heard at some moments simply has no samples there.
func FitTurn(samples []Sample, turn Turn) (*Peak, error) {
	p, err := turn.path()
	if err != nil {
		return nil, err
	}
	if p.rate == 0 && slices.Max(p.deg) == slices.Min(p.deg) {
		return nil, fmt.Errorf("they are all %g°, so it was not turned: %w", p.deg[0], ErrPointings)
	}
	points := make([]Aimed, 0, len(samples))
	sorted := slices.Clone(samples)
	slices.SortStableFunc(sorted, func(a, b Sample) int { return a.Time.Compare(b.Time) })
	for _, s := range sorted {
		if deg, _, ok := p.bearing(s.Time); ok {
			points = append(points, Aimed{deg, s.LevelDB, s.SigmaDB})
		}
	}
	peak, err := FitPeak(points)
	if err != nil {
		return nil, err
	}
	peak.Heading.Sigma = math.Hypot(peak.Heading.Sigma, p.sigmaNear(sorted, peak.Heading))
	return peak, nil
}

// sigmaNear is the uncertainty of the bearings at which the peak was passed:
// each pass brings its own, as far as the pointings differ.
func (p *path) sigmaNear(samples []Sample, peak measure.Estimate) float64 {
	var sum float64
	passes, inside := 0, false
	nearest, nearestSigma := 0.0, 0.0
	flush := func() {
		if inside {
			sum += nearestSigma * nearestSigma
			passes++
		}
		inside = false
	}
	const near = 15.0
	for _, s := range samples {
		deg, sigma, ok := p.bearing(s.Time)
		if !ok {
			continue
		}
		d := bearingApart(deg, peak.Value)
		switch {
		case d > near:
			flush()
		case !inside || d < nearest:
			inside, nearest, nearestSigma = true, d, sigma
		}
	}
	flush()
	if passes == 0 || p.rate != 0 {
		return p.sigma
	}
	// Pointings are shared between passes in ways that are not worth untangling:
	// the mean of two is taken as no better than each.
	return math.Sqrt(sum / float64(passes))
}
