package air

import "math"

// Impulses is broadband noise in short pulses that die away: sparks and
// switches. Bursts come BurstsPerSecond apart; each has PulsesPerBurst pulses
// spread at random over the first Spread of the time between bursts.
type Impulses struct {
	Seed            uint64
	Power           float64 // at a pulse's first moment, over the whole sample rate
	Decay           float64 // seconds in which a pulse's power falls to 1/e
	BurstsPerSecond float64
	PulsesPerBurst  int
	Spread          float64 // share of the time between bursts, over 0 to 1
}

// pulseEnds is after how many Decay a pulse has ended: 87 dB down.
const pulseEnds = 20

// MeanPower returns the average over all time.
func (s *Impulses) MeanPower() float64 {
	return s.Power * s.Decay * s.BurstsPerSecond * float64(s.PulsesPerBurst)
}

// Add adds the impulses at the times start + k·step to dst.
func (s *Impulses) Add(dst []complex64, start, step float64) {
	if len(dst) == 0 || !(s.BurstsPerSecond > 0) {
		return
	}
	first := math.Floor((start - pulseEnds*s.Decay) * s.BurstsPerSecond)
	last := math.Floor((start + float64(len(dst)-1)*step) * s.BurstsPerSecond)
	for burst := first; burst <= last; burst++ {
		for i := range s.PulsesPerBurst {
			seed := Seed(s.Seed, uint64(int64(burst)), uint64(i))
			at := (burst + s.Spread*unit(seed)) / s.BurstsPerSecond
			s.pulse(dst, seed, at-start, step)
		}
	}
}

// pulse adds one pulse that begins at the given time from dst's first sample.
// Its noise is a function of the pulse and the sample's number within it.
func (s *Impulses) pulse(dst []complex64, seed uint64, begin, step float64) {
	first := math.Ceil(begin / step)
	end := math.Min(math.Floor((begin+pulseEnds*s.Decay)/step), float64(len(dst)-1))
	for k := math.Max(first, 0); k <= end; k++ {
		power := s.Power * math.Exp(-(k*step-begin)/s.Decay)
		// Box and Muller's method: pulses are rare, tables would not pay.
		u := Seed(seed, uint64(k-first), 7)
		r := math.Sqrt(-power * math.Log(1-unit(u)))
		dst[int(k)] += complex64(turns(unit(mix(u+golden))) * complex(r, 0))
	}
}
