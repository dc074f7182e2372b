package air

import "math"

// fmTones is how many tones the programme of an FM carrier is made of.
const fmTones = 5

// FM is a frequency-modulated carrier whose programme is a handful of tones, so
// that it is known for all time. Its amplitude is constant.
type FM struct {
	amplitude float64
	hz        float64
	tones     [fmTones]struct{ hz, index, phase float64 }
}

// NewFM returns a carrier of the given power at hz from the slice's centre
// whose frequency swings by at most peak hertz, to programme frequencies up to
// highest hertz. Its bandwidth is about 2(peak + highest) (Carson's rule).
func NewFM(seed uint64, power, hz, peak, highest float64) FM {
	s := FM{amplitude: math.Sqrt(power), hz: hz}
	var weight [fmTones]float64
	var sum float64
	for i := range s.tones {
		weight[i] = 0.3 + unit(Seed(seed, uint64(i), 1))
		sum += weight[i]
	}
	for i := range s.tones {
		// Octaves below the highest, moved a little so that they share no period.
		f := highest * math.Pow(2, -float64(i)) * (1 - 0.2*unit(Seed(seed, uint64(i), 2)))
		s.tones[i].hz = f
		s.tones[i].index = peak * weight[i] / sum / f
		s.tones[i].phase = unit(Seed(seed, uint64(i), 3))
	}
	return s
}

// Add adds the carrier at the times start + k·step to dst.
func (s *FM) Add(dst []complex64, start, step float64) {
	var z, spin [fmTones]complex128
	for at := 0; at < len(dst); at += refresh {
		part := dst[at:min(at+refresh, len(dst))]
		t := start + float64(at)*step
		for i, m := range s.tones {
			z[i] = turns(m.hz*t+m.phase) * complex(m.index, 0)
			spin[i] = turns(m.hz * step)
		}
		carrier, forth := turns(s.hz*t)*complex(s.amplitude, 0), turns(s.hz*step)
		for k := range part {
			var phase float64
			for i := range z {
				phase += imag(z[i])
				z[i] *= spin[i]
			}
			sin, cos := math.Sincos(phase)
			part[k] += complex64(carrier * complex(cos, sin))
			carrier *= forth
		}
	}
}

// Frequency returns the carrier's momentary frequency at time t, in Hz from
// the slice's centre.
func (s *FM) Frequency(t float64) float64 {
	f := s.hz
	for _, m := range s.tones {
		f += m.index * m.hz * math.Cos(2*math.Pi*(m.hz*t+m.phase))
	}
	return f
}

// Keyed says whether a transmitter that is on for the given share of the time
// is on at time t. It decides anew every period seconds.
func Keyed(seed uint64, share, period, t float64) bool {
	return unit(Seed(seed, uint64(int64(math.Floor(t/period))))) < share
}
