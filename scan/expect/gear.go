package expect

import "math"

// Figure is a figure that lies anywhere within a range.
type Figure struct{ Value, Low, High float64 }

// sigma is the standard deviation of what lies anywhere within the range.
func (f Figure) sigma() float64 { return (f.High - f.Low) / math.Sqrt(12) }

// Gear is what stands between the air and the decoder.
type Gear struct {
	Gain        Figure // of the antenna over a dipole, dB
	Line        Figure // what the line loses, dB
	NoiseFigure Figure // of the receiver, dB
}

// Gear is what a household is taken to have at a frequency. The figures are FCC OET
// Bulletin 69's planning factors, Table 3; how far true ones lie from them is common
// practice, no source: antennas, their aim and their age within 4 dB, a line from a
// half to twice its loss, receivers within 3 dB. What was given has no range.
func (h House) Gear(hz float64) Gear {
	const lowVHF, highVHF = 88e6, 216e6 // where the bands end
	gain, line, noise := 10.0, 4.0, 7.0
	switch {
	case hz < lowVHF:
		gain, line, noise = 4, 1, 10
	case hz < highVHF:
		gain, line, noise = 6, 2, 10
	}
	const gainWithin, noiseWithin = 4, 3
	g := Gear{
		Gain:        Figure{gain, gain - gainWithin, gain + gainWithin},
		Line:        Figure{line, line / 2, 2 * line},
		NoiseFigure: Figure{noise, noise - noiseWithin, noise + noiseWithin},
	}
	given := func(f *Figure, v *float64) {
		if v != nil {
			*f = Figure{*v, *v, *v}
		}
	}
	given(&g.Gain, h.GainDBd)
	given(&g.Line, h.LineLossDB)
	given(&g.NoiseFigure, h.NoiseFigureDB)
	return g
}

// Beam is where an antenna would look to serve the most.
type Beam struct {
	BearingDeg float64 // the middle of those it serves, from true north
	Served     []int   // indices of the stations within it
}

// BeamDeg is how wide an antenna hears: common practice for a roof antenna.
const BeamDeg = 60

// Best is the beam that holds the most stations with an outlook; nil without any.
func (e *Expectation) Best(o Outlook) *Beam {
	var best *Beam
	for i, first := range e.Stations {
		if first.Outlook != o {
			continue
		}
		b := &Beam{}
		widest := 0.0
		for k, s := range e.Stations {
			past := math.Mod(s.BearingDeg-first.BearingDeg+360, 360)
			if s.Outlook == o && past <= BeamDeg {
				b.Served = append(b.Served, k)
				widest = max(widest, past)
			}
		}
		b.BearingDeg = math.Mod(e.Stations[i].BearingDeg+widest/2, 360)
		if best == nil || len(b.Served) > len(best.Served) {
			best = b
		}
	}
	return best
}
