package vsb

import (
	"math"
	"math/cmplx"
	"testing"

	"github.com/stretchr/testify/require"
)

func TestScatterAgainstBound(t *testing.T) {
	if testing.Short() {
		t.Skip("an ensemble: it has its time in the long run")
	}
	// Truth: theory. The Cramér–Rao bounds of a known signal of one path in
	// white noise: of the noise itself, and of gain, carrier and clock with the
	// fields' phases unknown. Nothing unbiased scatters less.
	t.Parallel()
	const cn, trials = 12, 60
	trainers := map[float64]*Trainer{}
	var noise, gain, carrier, clock, power scatter
	var sigmaCarrier, sigmaClock []float64
	for seed := range trials {
		s := plainStay(3e6, cn, uint64(seed))
		got := s.fit(t, trainers, Knowledge{RangePPM: 1})
		g := trainers[3e6].layout
		density := s.noiseDensity()

		// What one field tells: energy, its spread over time, and over
		// frequency.
		known, slope := make([]complex128, g.points), make([]complex128, g.points)
		g.atom(known, g.known[0], 0)
		g.atom(slope, g.slope[0], 0)
		energy := norm2(known)
		var middle, spread float64
		for i, v := range known {
			middle += norm2([]complex128{v}) * g.time(i) / energy
		}
		for i, v := range known {
			spread += norm2([]complex128{v}) * (g.time(i) - middle) * (g.time(i) - middle)
		}
		moved := norm2(slope) - cmplx.Abs(inner(known, slope))*cmplx.Abs(inner(known, slope))/energy
		fields := float64(got.Fields)
		times := (fields*fields - 1) / 12 * fields * math.Pow(FieldSymbols/SymbolRateHz, 2) // Σ(t−t̄)²

		noise.add(got.ErrorDensity/density-1, 1/math.Sqrt(fields*float64(g.points)))
		carrier.add(got.CarrierHz, math.Sqrt(density/2/fields/spread)/(2*math.Pi))
		clock.add(got.ClockPPM, math.Sqrt(density/2/moved/times)*1e6)
		bin := got.Response[len(got.Response)/2]
		// The gain's phase is arbitrary: its magnitude has half of the variance.
		gain.add(cmplx.Abs(bin.Gain)-1, math.Sqrt(density/2/fields/energy))
		power.add(got.DataDensity/Density(3e6)-1, 2*math.Sqrt(density/2/fields/energy))
		sigmaCarrier = append(sigmaCarrier, got.CarrierSigmaHz/math.Sqrt(density/2/fields/spread)*(2*math.Pi))
		sigmaClock = append(sigmaClock, got.ClockSigmaPPM/math.Sqrt(density/2/moved/times)/1e6)
	}
	t.Logf("scatter over bound: noise %.2f, gain at a frequency %.2f, power %.2f, carrier %.2f, clock %.2f",
		rms(noise.scores), rms(gain.scores), rms(power.scores), rms(carrier.scores), rms(clock.scores))
	t.Logf("stated uncertainty over bound: carrier %.2f, clock %.2f", mean(sigmaCarrier), mean(sigmaClock))
	// 60 trials know a scatter to 9 %. The channel's shape is not known
	// beforehand: that costs the gain at one frequency a few taps.
	require.InDelta(t, 1.05, rms(noise.scores), 0.3)
	require.InDelta(t, 1.2, rms(power.scores), 0.4)
	require.InDelta(t, 1.5, rms(gain.scores), 0.7)
	require.InDelta(t, 1.1, rms(carrier.scores), 0.35)
	require.InDelta(t, 1.1, rms(clock.scores), 0.35)
	require.InDelta(t, 1.05, mean(sigmaCarrier), 0.15)
	require.InDelta(t, 1.05, mean(sigmaClock), 0.15)
}

func TestResponseAndItsVariance(t *testing.T) {
	if testing.Short() {
		t.Skip("an ensemble: it has its time in the long run")
	}
	// Truth: the simulation's paths. Every bin's error against its stated
	// variance.
	trainers := map[float64]*Trainer{}
	var all []float64
	for seed := range 12 {
		s := plainStay([]float64{1e6, 3e6, 5e6}[seed%3], 20, uint64(seed))
		s.paths = append(s.paths, arrival{2.37e-6, decibels(-7, 2)})
		got := s.fit(t, trainers, Knowledge{RangePPM: 1})
		// A stay's phase, and its anchor's time, are its own: of the bins that
		// count, the line through the phases is taken out.
		var at, turned []float64
		for _, b := range got.Response {
			h := s.response(b.OffsetHz)
			at = append(at, b.OffsetHz-s.offset)
			turned = append(turned, cmplx.Phase(b.Gain/h))
		}
		for i := 1; i < len(turned); i++ {
			turned[i] -= 2 * math.Pi * math.Round((turned[i]-turned[i-1])/(2*math.Pi))
		}
		slope, offset := line(at, turned)
		for i, b := range got.Response {
			if b.OffsetHz < got.LowHz || b.OffsetHz > got.HighHz {
				continue
			}
			want := s.response(b.OffsetHz) * cmplx.Rect(1, offset+slope*at[i])
			all = append(all, cmplx.Abs(b.Gain-want)/math.Sqrt(b.Variance))
		}
	}
	t.Logf("error over stated: rms %.2f, 95 %% within %.2f", rms(all), within(all, 0.95))
	require.InDelta(t, 1.1, rms(all), 0.4)
}

// line fits a line by least squares.
func line(x, y []float64) (slope, offset float64) {
	mx, my := mean(x), mean(y)
	var xx, xy float64
	for i := range x {
		xx += (x[i] - mx) * (x[i] - mx)
		xy += (x[i] - mx) * (y[i] - my)
	}
	slope = xy / xx
	return slope, my - slope*mx
}
