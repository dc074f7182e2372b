package intrude

import (
	"math"
	"slices"
)

// Band is a run of values that stand above what they should be.
type Band struct {
	First, Last int     // the values it takes in
	Excess      float64 // its mean over what is expected, in parts of that
	Sigma       float64 // standard uncertainty of Excess
}

// BandOptions says what Bands looks for.
type BandOptions struct {
	Widths []int // in values, ascending: what to average over
	Around int   // to how many values on each side the level is a common one
	// Sigma is the standard deviation of one value, relative, by statistics.
	Sigma float64
	// Least is the least excess worth naming, and Deviations how many standard
	// deviations it must have.
	Least, Deviations float64
	Most              int // bands to return

	// Apart is how many times the largest deviation that averages as wide have
	// elsewhere, up or down and in logarithms, a band must have: where one
	// ripple is, others are. 0 asks for nothing.
	Apart float64
}

// Bands returns the bands in which ratio, measured over expected density, is
// higher than around them, in order of place. NaN is a value that was not
// measured.
//
// What is higher is told from what is uneven all over, such as the ripple of an
// echo: the standard deviation of an average is at least 1.48 times the median
// deviation that averages as wide have over all of the ratio.
func Bands(ratio []float64, o BandOptions) []Band {
	level := running(ratio, o.Around)
	excess := make([]float64, len(ratio))
	for i := range excess {
		excess[i] = ratio[i]/level[i] - 1
	}
	var out []Band
	for range o.Most {
		b, ok := highest(excess, o)
		if !ok {
			break
		}
		out = append(out, b)
		// What lies beside it belongs to its foot.
		foot := 1 + (b.Last-b.First)/4
		for i := max(0, b.First-foot); i <= min(len(excess)-1, b.Last+foot); i++ {
			excess[i] = math.NaN()
		}
	}
	out = slices.DeleteFunc(out, func(b Band) bool {
		return math.Log1p(b.Excess) < o.Apart*largest(excess, b.Last-b.First+1)
	})
	slices.SortFunc(out, func(a, b Band) int { return a.First - b.First })
	return out
}

// largest is the largest logarithm, up or down, of averages of w values.
func largest(excess []float64, w int) float64 {
	var most float64
	for _, m := range moving(excess, w) {
		if !math.IsNaN(m) {
			most = math.Max(most, math.Abs(math.Log(math.Max(1e-3, 1+m))))
		}
	}
	return most
}

// running is the median of up to reach values on each side, by pieces and along
// straight lines between their middles.
func running(x []float64, reach int) []float64 {
	const pieces = 8 // in a reach
	step := max(1, reach/pieces)
	var at, level, work []float64
	for middle := 0; middle < len(x)+step; middle += step {
		middle := min(middle, len(x)-1)
		work = work[:0]
		for _, v := range x[max(0, middle-reach):min(len(x), middle+reach+1)] {
			if !math.IsNaN(v) {
				work = append(work, v)
			}
		}
		if len(work) > reach/4 {
			slices.Sort(work)
			at, level = append(at, float64(middle)), append(level, work[len(work)/2])
		}
		if middle == len(x)-1 {
			break
		}
	}
	out := make([]float64, len(x))
	k := 0
	for i := range out {
		f := float64(i)
		for k+1 < len(at) && at[k+1] <= f {
			k++
		}
		switch {
		case len(at) == 0:
			out[i] = math.NaN()
		case k+1 == len(at) || f <= at[0]:
			out[i] = level[k]
		default:
			out[i] = level[k] + (f-at[k])/(at[k+1]-at[k])*(level[k+1]-level[k])
		}
	}
	return out
}

// highest returns the band that stands out most.
func highest(excess []float64, o BandOptions) (Band, bool) {
	var best Band
	bestDeviations := o.Deviations
	for _, w := range o.Widths {
		means := moving(excess, w)
		sigma := math.Max(o.Sigma/math.Sqrt(float64(w)), spread(means))
		for i, m := range means {
			if m >= o.Least && m/sigma > bestDeviations {
				bestDeviations = m / sigma
				best = Band{i, i + w - 1, m, sigma}
			}
		}
	}
	if best.Excess == 0 {
		return best, false
	}
	return grown(excess, best, o.Sigma), true
}

// moving is the mean of the w values from each on; NaN where one is.
func moving(x []float64, w int) []float64 {
	if len(x) < w {
		return nil
	}
	out := make([]float64, len(x)-w+1)
	var sum float64
	bad := 0
	for i, v := range x {
		if math.IsNaN(v) {
			bad++
		} else {
			sum += v
		}
		if i < w-1 {
			continue
		}
		out[i-w+1] = sum / float64(w)
		if bad > 0 {
			out[i-w+1] = math.NaN()
		}
		if v := x[i-w+1]; math.IsNaN(v) {
			bad--
		} else {
			sum -= v
		}
	}
	return out
}

// spread is the standard deviation that the median deviation from 0 stands for.
func spread(x []float64) float64 {
	work := make([]float64, 0, len(x))
	for _, v := range x {
		if !math.IsNaN(v) {
			work = append(work, math.Abs(v))
		}
	}
	if len(work) == 0 {
		return math.Inf(1)
	}
	slices.Sort(work)
	return 1.48 * work[len(work)/2]
}

// grown widens or narrows a band to where its excess falls to a tenth, or to
// what chance has.
func grown(excess []float64, b Band, sigma float64) Band {
	w := max(1, (b.Last-b.First+1)/8)
	means := moving(excess, w)
	top := (b.First + b.Last - w + 1) / 2
	for i := max(0, b.First-w); i <= min(len(means)-1, b.Last); i++ {
		if !(means[top] >= means[i]) {
			top = i
		}
	}
	chance := math.Max(sigma/math.Sqrt(float64(w)), spread(means))
	level := math.Max(means[top]/10, math.Min(3*chance, means[top]/2))
	first, last := top, top
	for first > 0 && means[first-1] > level {
		first--
	}
	for last+1 < len(means) && means[last+1] > level {
		last++
	}
	// The middles of the averages at the ends.
	out := Band{first + w/2, last + (w-1)/2, 0, b.Sigma}
	if out.Last < out.First {
		out.Last = out.First
	}
	n := 0.0
	for _, v := range excess[out.First : out.Last+1] {
		if !math.IsNaN(v) {
			out.Excess += v
			n++
		}
	}
	out.Excess /= math.Max(1, n)
	return out
}
