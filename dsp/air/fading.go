package air

import "math"

// fadingWaves is how many waves a fading process adds up.
const fadingWaves = 32

// Rayleigh is the complex gain of a path that is scattered all around a moving
// thing (Clarke 1968; Jakes 1974): zero mean, mean power 1, |gain|² about
// exponential, autocorrelation J₀(2π·DopplerHz·τ).
type Rayleigh struct {
	waves [fadingWaves]struct{ hz, phase float64 }
}

// NewRayleigh returns the process with the given seed and largest Doppler shift.
func NewRayleigh(seed uint64, dopplerHz float64) *Rayleigh {
	r := &Rayleigh{}
	for i := range r.waves {
		angle := (float64(i) + unit(Seed(seed, uint64(i), 1))) / fadingWaves
		r.waves[i].hz = dopplerHz * math.Cos(2*math.Pi*angle)
		r.waves[i].phase = unit(Seed(seed, uint64(i), 2))
	}
	return r
}

// Gain returns the complex gain at time t.
func (r *Rayleigh) Gain(t float64) complex128 {
	var sum complex128
	for _, w := range r.waves {
		sum += turns(w.hz*t + w.phase)
	}
	return sum / complex(math.Sqrt(fadingWaves), 0)
}

// LogNormal is slow shadowing: a gain whose decibels are about normal with mean
// 0 and the given standard deviation, and correlated over time as
// exp(−τ²/2·seconds²).
type LogNormal struct {
	sigmaDB float64
	waves   [fadingWaves]struct{ hz, phase float64 }
}

// NewLogNormal returns the process with the given seed. seconds is its
// correlation time.
func NewLogNormal(seed uint64, sigmaDB, seconds float64) *LogNormal {
	l := &LogNormal{sigmaDB: sigmaDB}
	for i := range l.waves {
		// One frequency from each of as many equal shares of a half-normal
		// distribution, whose transform is the autocorrelation wanted.
		p := (float64(i) + unit(Seed(seed, uint64(i), 1))) / fadingWaves
		l.waves[i].hz = math.Sqrt2 * math.Erfinv(p) / (2 * math.Pi * seconds)
		l.waves[i].phase = unit(Seed(seed, uint64(i), 2))
	}
	return l
}

// GainDB returns the gain at time t.
func (l *LogNormal) GainDB(t float64) float64 {
	var sum float64
	for _, w := range l.waves {
		sum += math.Cos(2 * math.Pi * math.Mod(w.hz*t+w.phase, 1))
	}
	return l.sigmaDB * math.Sqrt(2./fadingWaves) * sum
}
