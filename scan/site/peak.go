package site

import (
	"errors"
	"math"
	"slices"

	"rooftone/scan/measure"
)

// Aimed is a level at a bearing.
type Aimed struct {
	BearingDeg float64 // clockwise from north; may run on beyond 360
	LevelDB    float64
	SigmaDB    float64 // standard uncertainty; 0 when it is not known
}

// Peak is the heading at which a channel is strongest.
type Peak struct {
	Heading measure.Estimate // degrees clockwise from north, 0 ≤ x < 360
	Level   measure.Estimate // dB, at the heading
	// Width is the full width of the lobe 3 dB below its top; nil where the
	// samples do not reach so far down on both sides.
	Width *measure.Estimate

	// Others are further lobes, the strongest first: those within 6 dB of the
	// peak. One that is nearly as strong is worth a mark of its own.
	Others []Lobe

	Points    int     // samples in the lobe that was fitted
	Outliers  int     // of these, how many were as good as left out
	ScatterDB float64 // of the others around the fit, standard deviation
}

// Lobe is a local maximum of level against bearing.
type Lobe struct {
	BearingDeg float64
	BelowDB    float64 // how far below the peak
}

// What may keep a fit from finding a peak.
var (
	ErrFewSamples = errors.New("too few samples with a bearing to find a peak")
	ErrFlat       = errors.New("the level hardly depends on the heading")
	ErrNotPassed  = errors.New("the level still rises at the end of the turn: turn farther")
	ErrFlatPart   = errors.New("the level hardly depends on the heading as far as it was turned: turn farther, all the way round")
)

const (
	rivalDB   = 6.0
	minPoints = 5
	maxPoints = 50_000

	widestGap = 32 // degrees between marks

	narrowest = 8  // half of the narrowest part of a lobe that is fitted, degrees
	widest    = 80 // and of the widest

	agreeSigmas = 1.5 // how far parts of a lobe may disagree

	// slowDB is how much slower fading than can be told from the lobe itself is
	// allowed for across it: common practice, no source.
	slowDB = 0.15

	blocks = 8 // of samples, for the uncertainty
)

// FitPeak finds the peak of level against bearing. The points may come in any
// order, cover a part of the circle and pass the same bearing more than once;
// that the errors of neighbours in the order given belong together is allowed
// for. Single marks do as well if there is one each 30° or less.
//
// Around the peak the level is taken as A + 10·n·log₁₀ cos(θ − θ₀), the power
// of a cosine that most small antennas have near the middle of their beam.
// Points that lie far off (someone walked by) lose their weight after Huber.
//
// The uncertainty is found by leaving out blocks of neighbouring points in turn
// (a jackknife), so that it contains fading and a lobe that echoes have made
// lopsided, and not only noise. Fading as slow as the lobe itself cannot be
// told from it in one pass: an allowance of 0.15 dB is made for it, and where
// the lobe was passed more than once, the passes' own disagreement counts. A
// turn there and back is worth its time.
//
// It returns ErrFewSamples, ErrFlat, ErrFlatPart or ErrNotPassed where there is no
// peak to be found.
func FitPeak(points []Aimed) (*Peak, error) {
	f, err := newFit(points)
	if err != nil {
		return nil, err
	}
	return f.peak()
}

// point is an Aimed with what the fit knows of it.
type point struct {
	deg, level float64
	weight     float64 // 1/variance
	trust      float64 // 1, or less for an outlier
	order      int
}

type fit struct {
	points []point
	kernel float64   // degrees
	curve  []float64 // smoothed level at each whole degree; NaN where nothing is near
	scale  float64   // typical deviation from a smooth curve, dB
}

func newFit(points []Aimed) (*fit, error) {
	f := &fit{}
	var sigmas []float64
	for _, p := range points {
		bad := math.IsNaN(p.BearingDeg+p.LevelDB+p.SigmaDB) || math.Abs(p.BearingDeg) > 1e6 || math.Abs(p.LevelDB) > 1e3 ||
			p.SigmaDB < 0 || p.SigmaDB > 100
		if bad {
			continue
		}
		if len(f.points) == maxPoints {
			break
		}
		f.points = append(f.points, point{turn360(p.BearingDeg), p.LevelDB, p.SigmaDB, 1, len(f.points)})
		if p.SigmaDB > 0 {
			sigmas = append(sigmas, p.SigmaDB)
		}
	}
	if len(f.points) < minPoints {
		return nil, ErrFewSamples
	}
	// A sample that claims to be far better than most is not believed: what
	// moves the level while an antenna is turned is mostly not noise.
	typical := 1.0
	if len(sigmas) > 0 {
		slices.Sort(sigmas)
		typical = sigmas[len(sigmas)/2]
	}
	for i := range f.points {
		s := math.Max(f.points[i].weight, typical)
		f.points[i].weight = 1 / (s * s)
	}
	var err error
	if f.kernel, err = f.kernelWidth(); err != nil {
		return nil, err
	}
	for range 3 {
		f.smooth()
		f.distrust()
	}
	return f, nil
}

// kernelWidth is wide enough to reach over the gaps between most points, and
// not narrower than detail that an antenna's beam can have. The largest gaps
// are where the antenna was not, or where nothing was heard.
func (f *fit) kernelWidth() (float64, error) {
	deg := make([]float64, len(f.points))
	for i, p := range f.points {
		deg[i] = p.deg
	}
	slices.Sort(deg)
	gaps := make([]float64, len(deg))
	for i := range deg {
		gaps[i] = deg[(i+1)%len(deg)] - deg[i]
	}
	gaps[len(gaps)-1] += 360
	slices.Sort(gaps)
	gap := gaps[3*len(gaps)/4]
	if gap > widestGap {
		return 0, ErrFewSamples
	}
	return math.Max(4, 0.6*gap), nil
}

// smooth makes the curve: a weighted straight line through what is near. The
// points of each degree are put together first.
func (f *fit) smooth() {
	type bin struct{ w, wx, wy float64 }
	var bins [360]bin
	for _, p := range f.points {
		g := int(p.deg)
		k := p.weight * p.trust
		b := &bins[g]
		b.w += k
		b.wx += k * (p.deg - float64(g))
		b.wy += k * p.level
	}
	f.curve = make([]float64, 360)
	reach := int(3*f.kernel) + 1
	for g := range f.curve {
		var w, wx, wxx, wy, wxy float64
		closest := 360.0
		for d := -reach; d <= reach; d++ {
			b := &bins[(g+d+360)%360]
			if b.w == 0 {
				continue
			}
			x := float64(d) + b.wx/b.w
			closest = math.Min(closest, math.Abs(x))
			k := math.Exp(-0.5 * x * x / (f.kernel * f.kernel))
			w += k * b.w
			wx += k * b.w * x
			wxx += k * b.w * x * x
			wy += k * b.wy
			wxy += k * b.wy * x
		}
		f.curve[g] = math.NaN()
		if closest > f.kernel || w == 0 {
			continue
		}
		f.curve[g] = wy / w
		// Where all that is near lies on one side, a line would run away.
		if det := w*wxx - wx*wx; det > 1e-6*w*w && math.Abs(wx/w) < 0.5*f.kernel {
			f.curve[g] = (wy*wxx - wx*wxy) / det
		}
	}
}

// at returns the smooth curve at a bearing.
func (f *fit) at(deg float64) float64 {
	i := math.Floor(deg)
	a, b := f.curve[int(turn360(i))], f.curve[int(turn360(i+1))]
	switch {
	case math.IsNaN(a):
		return b
	case math.IsNaN(b):
		return a
	}
	return a + (deg-i)*(b-a)
}

// distrust gives points far from the curve less weight.
func (f *fit) distrust() {
	residuals := make([]float64, len(f.points))
	for i, p := range f.points {
		residuals[i] = p.level - f.at(p.deg)
	}
	f.scale = spread(residuals)
	for i, r := range residuals {
		f.points[i].trust = huber(r, f.scale)
	}
}

// peak fits the lobe around the top of the curve, first its uppermost part
// alone, and then more and more of it for as long as that does not move the
// heading by more than its uncertainty: more of the lobe helps against noise
// and fading, but echoes and back lobes bend it (O. V. Lepskii, Theory Probab.
// Appl. 35, 1991, 454).
func (f *fit) peak() (*Peak, error) {
	top := f.top()
	var accepted []*Peak
	var failure error
	for _, down := range []float64{3, 4, 5, 6, 8} {
		half, err := f.lobe(top, down)
		var p *Peak
		if err == nil {
			p, err = f.part(float64(top), half)
		}
		if err != nil {
			if failure == nil {
				failure = err
			}
			continue
		}
		if slices.ContainsFunc(accepted, func(q *Peak) bool {
			return bearingApart(p.Heading.Value, q.Heading.Value) > agreeSigmas*q.Heading.Sigma
		}) {
			break
		}
		accepted = append(accepted, p)
	}
	if len(accepted) == 0 {
		return nil, failure
	}
	p := accepted[len(accepted)-1]
	p.Others = f.others(p.Heading.Value)
	return p, nil
}

// part fits what lies within half degrees of a middle, which follows the peak.
func (f *fit) part(top, half float64) (*Peak, error) {
	middle := top
	for range 4 {
		in, err := f.within(middle, half)
		if err != nil {
			return nil, err
		}
		b, ok := fitBeam(in, half)
		if !ok {
			return nil, ErrFlat
		}
		middle = turn360(middle + b.center)
		if bearingApart(middle, top) > half {
			return nil, ErrFlat // it runs away: there is no peak to follow
		}
		if math.Abs(b.center) < 0.2 {
			break
		}
	}
	in, err := f.within(middle, half)
	if err != nil {
		return nil, err
	}
	return conclude(in, middle, half)
}

// within returns the points within half degrees of a middle, or the nearest
// few where those are fewer, with their bearings from there.
func (f *fit) within(middle, half float64) ([]point, error) {
	in := make([]point, 0, len(f.points))
	for _, p := range f.points {
		p.deg = math.Remainder(p.deg-middle, 360)
		if math.Abs(p.deg) <= widest {
			in = append(in, p)
		}
	}
	if len(in) < minPoints {
		return nil, ErrFewSamples
	}
	away := make([]float64, len(in))
	for i, p := range in {
		away[i] = math.Abs(p.deg)
	}
	slices.Sort(away)
	half = math.Max(half, away[minPoints-1])
	return slices.DeleteFunc(in, func(p point) bool { return math.Abs(p.deg) > half }), nil
}

// top is the bearing of the curve's maximum.
func (f *fit) top() int {
	best := -1
	for g, v := range f.curve {
		if !math.IsNaN(v) && (best < 0 || v > f.curve[best]) {
			best = g
		}
	}
	return best
}

// lobe measures how far the lobe reaches on its shorter side, in degrees, until
// it is so many dB below its top, and sees that it is a lobe.
func (f *fit) lobe(top int, down float64) (half float64, err error) {
	peak := f.curve[top]
	least := math.Max(1, 3*f.scale/math.Sqrt(f.near(top)))
	half = widest
	flat, ended, rises := false, false, false
	for _, sign := range []int{-1, 1} {
		fell, reach := 0.0, 0.0
		for d := 1; d <= widest && fell < down; d++ {
			v := f.curve[(top+sign*d+360)%360]
			if math.IsNaN(v) {
				ended = ended || fell < least
				break
			}
			if v > peak-fell+1.5 { // the next lobe begins
				break
			}
			reach = float64(d)
			fell = math.Max(fell, peak-v)
		}
		flat, rises = flat || fell < least, rises || fell >= least
		half = math.Min(half, reach)
	}
	switch {
	case flat && ended && rises:
		return 0, ErrNotPassed
	case flat && ended:
		return 0, ErrFlatPart
	case flat:
		return 0, ErrFlat
	}
	return math.Max(1.25*half, narrowest), nil
}

// near is how many points stand behind the curve at a bearing.
func (f *fit) near(g int) float64 {
	n := 0.0
	for _, p := range f.points {
		if math.Abs(math.Remainder(p.deg-float64(g), 360)) <= f.kernel {
			n++
		}
	}
	return math.Max(1, n)
}

// conclude works out the uncertainties and what else there is to say.
func conclude(in []point, middle, half float64) (*Peak, error) {
	full, ok := fitBeam(in, half)
	if !ok {
		return nil, ErrFlat
	}
	jack, ok := jackknife(in, full)
	if !ok || full.drop < 2*jack.drop {
		return nil, ErrFlat
	}
	// A slope of slowDB over half the window moves the top by so much.
	slow := slowDB / (half * math.Pi / 180) / full.drop * 180 / math.Pi
	sigma := math.Hypot(math.Max(jack.center, formal(in, full)), slow)
	sigma = math.Max(sigma, between(in, full, half))
	p := &Peak{
		Heading: measure.Estimate{Value: turn360(middle + full.center), Sigma: sigma},
		Level:   measure.Estimate{Value: full.top, Sigma: math.Hypot(jack.top, slowDB)},
		Points:  len(in),
	}
	var square, low, high float64
	for _, q := range in {
		if q.trust < 0.4 {
			p.Outliers++
			continue
		}
		square += (q.level - full.at(q.deg)) * (q.level - full.at(q.deg))
		low, high = math.Min(low, q.deg-full.center), math.Max(high, q.deg-full.center)
	}
	p.ScatterDB = math.Sqrt(square / math.Max(1, float64(len(in)-p.Outliers)))
	if w := full.width(3); -low >= 0.45*w && high >= 0.45*w {
		p.Width = &measure.Estimate{Value: w, Sigma: jack.width}
	}
	return p, nil
}

// others finds further lobes in the smooth curve: maxima that stand out by
// 2 dB from the way to anything higher.
func (f *fit) others(heading float64) []Lobe {
	const standsOutDB = 2
	peak := f.curve[f.top()]
	var list []Lobe
	for g, v := range f.curve {
		if math.IsNaN(v) || v < peak-rivalDB || bearingApart(float64(g), heading) < 15 {
			continue
		}
		if f.prominence(g) >= standsOutDB {
			list = append(list, Lobe{float64(g), math.Max(0, peak-v)})
		}
	}
	slices.SortStableFunc(list, func(a, b Lobe) int {
		switch {
		case a.BelowDB < b.BelowDB:
			return -1
		case a.BelowDB > b.BelowDB:
			return 1
		}
		return 0
	})
	return list
}

// prominence is how far one has to go down from a maximum before it goes up to
// something higher, on the side where that is less; 0 where it is no maximum.
func (f *fit) prominence(g int) float64 {
	v := f.curve[g]
	out := math.Inf(1)
	for _, sign := range []int{-1, 1} {
		lowest := v
		for d := 1; d < 360; d++ {
			u := f.curve[(g+sign*d+720)%360]
			if math.IsNaN(u) {
				break // nobody knows how it goes on
			}
			lowest = math.Min(lowest, u)
			if u > v || u == v && sign < 0 {
				break
			}
		}
		out = math.Min(out, v-lowest)
	}
	return out
}
