package air

// refresh is how many samples a rotating phasor is carried on before it is
// computed afresh, so that rounding does not gather.
const refresh = 1024

// Tone is a complex tone, steady or drifting. At time t its phase is
// 2π(Hz·t + DriftHzPerSecond·t²/2) plus that of Amplitude.
type Tone struct {
	Amplitude        complex128
	Hz               float64
	DriftHzPerSecond float64
}

// Add adds the tone at the times start + k·step to dst.
func (s Tone) Add(dst []complex64, start, step float64) {
	for at := 0; at < len(dst); at += refresh {
		part := dst[at:min(at+refresh, len(dst))]
		t := start + float64(at)*step
		z := s.Amplitude * turns(s.Hz*t) * turns(s.DriftHzPerSecond*t*t/2)
		spin := turns((s.Hz + s.DriftHzPerSecond*(t+step/2)) * step)
		if s.DriftHzPerSecond == 0 {
			for k := range part {
				part[k] += complex64(z)
				z *= spin
			}
			continue
		}
		more := turns(s.DriftHzPerSecond * step * step)
		for k := range part {
			part[k] += complex64(z)
			z *= spin
			spin *= more
		}
	}
}

// Shift multiplies dst by e^{j2π·hz·t} at the times start + k·step.
func Shift(dst []complex64, hz, start, step float64) {
	for at := 0; at < len(dst); at += refresh {
		part := dst[at:min(at+refresh, len(dst))]
		z, spin := turns(hz*(start+float64(at)*step)), turns(hz*step)
		for k := range part {
			part[k] *= complex64(z)
			z *= spin
		}
	}
}
