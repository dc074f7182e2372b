package decide

import "math"

const (
	// withinSpread is how many standard deviations of a Gaussian leave 5 % on
	// one side: 9 dB, which are enough, are 1.645 times 5.5 dB.
	withinSpread = 1.6449

	// leastSpreadDB: however little margin is said to be enough, nothing on
	// the air stands still.
	leastSpreadDB = 1

	// leastSigmaDB: no margin of an antenna in the open is known better.
	leastSigmaDB = 0.25

	// nearShare is what a channel's nearness to the decode point counts, in
	// channels: it decides where nothing else differs, above all where nothing
	// decodes. nearDB is how far it is felt. Both are our own.
	nearShare = 0.02
	nearDB    = 12
)

// world is what may happen to a margin once it was measured.
type world struct {
	spreadDB float64 // standard deviation over time
	shiftDB  float64 // of the decode point, where less than leastSpreadDB would be enough
}

// newWorld makes the world in which a margin of enoughDB holds 95 % of the time.
func newWorld(enoughDB float64) world {
	w := world{spreadDB: math.Max(leastSpreadDB, enoughDB/withinSpread)}
	w.shiftDB = enoughDB - withinSpread*w.spreadDB
	return w
}

// normal is the probability that a standard Gaussian is below z.
func normal(z float64) float64 { return 0.5 * math.Erfc(-z/math.Sqrt2) }

// worth is what a margin that is not known exactly gives.
type worth struct {
	decodes float64 // probability of a margin of 0 dB and more
	holds   float64 // that it decodes now and still does at another time
	value   float64 // holds, and a little for being near: 0 to 1 + nearShare
	square  float64 // the variance of value, were the margin known
}

// of works out what a Gaussian margin is worth.
//
// That it decodes now and at another time is the probability of M ≥ 0 and
// M + S ≥ 0, where M is the margin as far as it is known and S what time adds
// to it: the integral of φ((m − mean)/sigma)/sigma · Φ(m/spread) over m ≥ 0.
func (w world) of(mean, sigma float64) worth {
	sigma = math.Max(sigma, leastSigmaDB)
	mean -= w.shiftDB
	out := worth{decodes: normal((mean + w.shiftDB) / sigma)}
	const reach, steps = 5.0, 40
	low, high := math.Max(0, mean-reach*sigma), mean+reach*sigma
	var square float64
	if high > low {
		// Simpson's rule.
		h := (high - low) / steps
		for i := 0; i <= steps; i++ {
			k := 2.0
			switch {
			case i == 0 || i == steps:
				k = 1
			case i%2 == 1:
				k = 4
			}
			x := low + h*float64(i)
			z := (x - mean) / sigma
			hold := normal(x / w.spreadDB)
			p := k * h / 3 * math.Exp(-z*z/2) / (sigma * math.Sqrt(2*math.Pi)) * hold
			out.holds += p
			square += p * hold
		}
	}
	out.holds = math.Min(1, out.holds)
	out.square = math.Max(0, square-out.holds*out.holds)
	out.value = out.holds + nearShare*normal(mean/math.Hypot(sigma, nearDB))
	return out
}

// table is the value of margins of one uncertainty, for those who ask often.
type table struct{ value []float64 }

const (
	tableLowDB  = -60.0
	tableHighDB = 80.0
	tableStepDB = 0.25
)

func (w world) table(sigma float64) table {
	n := int((tableHighDB-tableLowDB)/tableStepDB) + 1
	t := table{make([]float64, n)}
	for i := range t.value {
		t.value[i] = w.of(tableLowDB+tableStepDB*float64(i), sigma).value
	}
	return t
}

func (t table) at(db float64) float64 {
	x := (math.Max(tableLowDB, math.Min(tableHighDB, db)) - tableLowDB) / tableStepDB
	i := min(int(x), len(t.value)-2)
	return t.value[i] + (x-float64(i))*(t.value[i+1]-t.value[i])
}
