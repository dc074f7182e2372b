package receiver

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"

	"rooftone/dsp/air"
)

// worsen changes samples in place as a radio or the air would.
type worsen func(t testing.TB, x []complex64, rate float64)

func phaseNoise(dbc, atHz float64) worsen {
	return func(t testing.TB, x []complex64, rate float64) {
		// A random walk of the phase: L(f) = linewidth/(π f²).
		linewidth := math.Pi * atHz * atHz * math.Pow(10, dbc/10)
		sigma := math.Sqrt(2 * math.Pi * linewidth / rate)
		rng := rand.New(rand.NewPCG(7, 8))
		phase := 0.
		for i, v := range x {
			sin, cos := math.Sincos(phase)
			x[i] = v * complex(float32(cos), float32(sin))
			phase += sigma * rng.NormFloat64()
		}
	}
}

func bits8(t testing.TB, x []complex64, rate float64) {
	scale := float32(0.25 / math.Sqrt(air.MeanPower(x)))
	for i := range x {
		x[i] *= complex(scale, 0)
	}
	q, err := air.NewQuantiser(8)
	if err != nil {
		t.Fatal(err)
	}
	q.Apply(x)
}

func TestImpairments(t *testing.T) {
	base := sending{rate: 10e6, lower: -3.2e6, fields: *flagFields, seed: 1}
	wide := sending{rate: 20e6, lower: -3.2e6, fields: *flagFields, seed: 1}
	for _, c := range []struct {
		name string
		s    sending
		w    worsen
		mod  func(*sending)
	}{
		{"plain", base, nil, nil},
		{"+60ppm", base, nil, func(s *sending) { s.ppm, s.carrierHz = 60, 30e3 }},
		{"-60ppm", base, nil, func(s *sending) { s.ppm, s.carrierHz = -60, -30e3 }},
		{"phase", base, phaseNoise(-80, 20e3), nil},
		{"8 bits", base, bits8, nil},
		{"adjacent", wide, nil, func(s *sending) { s.neighbourDB = 26 }},
		{"adjacent8", wide, bits8, func(s *sending) { s.neighbourDB = 26 }},
		{"6MS", sending{rate: 6e6, lower: -3e6, fields: *flagFields, seed: 1}, nil, nil},
		{"doppler", base, nil, func(s *sending) {
			s.paths = []air.Path{{}, {DelaySeconds: 2e-6, LevelDB: -6, PhaseDeg: 30, DopplerHz: 5}}
			s.cn += 3
		}},
	} {
		line := ""
		for _, cn := range []float64{14.6, 15.1} {
			s := c.s
			s.cn = cn
			if c.mod != nil {
				c.mod(&s)
			}
			x := s.samples(t)
			if c.w != nil {
				c.w(t, x, s.rate)
			}
			r, err := New(Options{RateHz: s.rate, LowerHz: s.lower})
			if err != nil {
				t.Fatal(err)
			}
			_ = r.Write(x)
			st := r.Status()
			line += fmt.Sprintf(" | cn %.1f: %d/%d corrected %d locks %d mer %.2f carrier %.0f ppm %.3f", s.cn, st.Failed, st.Packets, st.Corrected, st.Locks, st.MERAfterDB, st.CarrierHz, st.ClockPPM)
		}
		fmt.Printf("%-10s%s\n", c.name, line)
	}
}
