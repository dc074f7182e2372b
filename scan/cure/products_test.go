package cure

import (
	"math"
	"math/cmplx"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/dsp/fourier"

	"rooftone/scan/band"
	"rooftone/scan/measure"
)

// cubed makes noise in channels of 6 MHz, sends it through y = x + |x|²x/IIP3 and
// returns the power that comes out in a channel where none went in.
func cubed(r *rand.Rand, levels map[int]float64, target int, iip3 float64) float64 {
	const bins, perMHz, rounds = 4096, 32, 40 // 128 MHz, channel n from 6n MHz
	fft := fourier.NewCmplxFFT(bins)
	var sum float64
	for range rounds {
		spectrum := make([]complex128, bins)
		for n, power := range levels {
			for k := 6 * n * perMHz; k < 6*(n+1)*perMHz; k++ {
				a := math.Sqrt(power / (6 * perMHz) / 2)
				spectrum[k] = complex(a*r.NormFloat64(), a*r.NormFloat64())
			}
		}
		x := fft.Sequence(nil, spectrum)
		for i, z := range x {
			x[i] = z + z*complex((real(z)*real(z)+imag(z)*imag(z))/iip3, 0)
		}
		out := fft.Coefficients(nil, x)
		for k := 6 * target * perMHz; k < 6*(target+1)*perMHz; k++ {
			a := cmplx.Abs(out[k]) / bins
			sum += a * a / rounds
		}
	}
	return sum
}

// Truth: noise in three channels sent through a cubic curve sample by sample, and the
// power counted that stands in empty ones.
func TestThirdOrder(t *testing.T) {
	r := rand.New(rand.NewPCG(3, 4))
	levels := map[int]float64{4: 1, 6: 0.5, 7: 2}
	const iip3 = 300
	var parents []parent
	for n, p := range levels {
		parents = append(parents, parent{float64(6*n) * 1e6, float64(6*(n+1)) * 1e6, p})
	}
	p := spectrum(parents, func(float64) float64 { return 1 })
	for _, target := range []int{5, 8, 9, 3} {
		_, third := made(p, float64(6*target)*1e6, float64(6*(target+1))*1e6)
		want := cubed(r, levels, target, iip3)
		require.InDelta(t, db(want), db(third/(iip3*iip3)), 0.7, "channel %d", target)
	}
}

// Truth: two equal tones at the second-order intercept make a sum as strong as they
// are themselves, and a tone's own harmonic 6 dB less; noise-like ones 3 dB less.
func TestSecondOrder(t *testing.T) {
	p := spectrum([]parent{{100e6, 102e6, 1}, {90e6, 92e6, 1}}, func(float64) float64 { return 1 })
	second, _ := made(p, 190e6, 192e6)
	require.InDelta(t, 1, second, 1e-9)
	second, _ = made(p, 200e6, 202e6)
	require.InDelta(t, 0.5, second, 1e-9)
	second, _ = made(p, 10e6, 12e6)
	require.InDelta(t, 1, second, 1e-9)
}

// crowded is a house with a weak channel among strong ones, and a radio whose
// intercept was found.
func crowded(iip3 float64) Setup {
	top := 49.6
	s := Setup{ThresholdDB: 15.2, TopGainDB: top, Line: []Part{}, NoiseFigure: exactly(6), Overload: &Overload{ThirdDBFS: &measure.Estimate{Value: iip3, Sigma: 0.5}}}
	for _, c := range band.Plans()[0].Channels {
		level := -27.0 // of the weak one at the highest gain, dBFS: 13 dB over the noise
		switch c.Number {
		case 20, 22, 23, 26:
			level = 2 // strong
		case 24:
		default:
			continue
		}
		gain := top
		if level > -4 {
			gain = top - 12
		}
		floor := -40.0 - (top - gain) + 0.5
		cn := level - -40
		margin := cn - 15.2
		s.Channels = append(s.Channels, Channel{
			Channel: c, Wanted: true, Presence: measure.Present, Standard: measure.ATSC1, GainDB: &gain,
			Margin: &measure.Estimate{Value: margin, Sigma: 0.1}, CN: &measure.Estimate{Value: cn, Sigma: 0.2},
			Power: &measure.Estimate{Value: db(lin(level-(top-gain)) + lin(floor)), Sigma: 0.05}, Noise: &measure.Estimate{Value: floor, Sigma: 0.2},
		})
	}
	return s
}

func weakOf(t *testing.T, o Outcome) ChannelOutcome {
	t.Helper()
	for _, c := range o.Channels {
		if c.Channel.Number == 24 {
			return c
		}
	}
	t.Fatal("channel 24 is missing")
	return ChannelOutcome{}
}

// Truth: a curve of third order adds 2 dB to what stands under a signal for each dB
// that all signals rise by: an amplifier before a radio that strong stations nearly
// overload makes its weak channel worse, an attenuator does not, and before one with
// a high intercept it does what Friis says.
func TestOverloadForeseen(t *testing.T) {
	amplifier, err := ParsePart(Amplifier, "20dB/2dB/40dBm")
	require.NoError(t, err)
	change := Change{Head: []Part{amplifier}}
	low := weakOf(t, New(crowded(22)).Predict(change))
	require.True(t, low.Overloaded(), "%+v", low)
	require.Less(t, low.Change.High, 0.0)
	high := weakOf(t, New(crowded(90)).Predict(change))
	require.False(t, high.Overloaded())
	require.Greater(t, high.Change.Low, 0.5)
	require.False(t, high.MayOverload())

	// The amplifier itself may be what strong stations overload.
	small, err := ParsePart(Amplifier, "30dB/2dB/-20dBm")
	require.NoError(t, err)
	loud := weakOf(t, New(crowded(90)).Predict(Change{Head: []Part{small}}))
	require.True(t, loud.Overloaded())
}

// Truth: noise in all strong channels sent sample by sample through the receiver's
// curve, before an amplifier and behind it, and the noise added by hand. The weak
// channel's change is foreseen within 1.5 dB, and overload wherever products come to
// more than half of the noise, in random crowds with an intercept that was found.
func TestCrowds(t *testing.T) {
	r := rand.New(rand.NewPCG(11, 12))
	var within, foreseen, overloadedCases, needless int
	const n = 16
	for range n {
		iip3 := 24 + 22*r.Float64() // dBFS
		s := crowded(iip3)
		levels := map[int]float64{}
		var weak float64
		for i := range s.Channels {
			c := &s.Channels[i]
			level := c.Power.Value + (s.TopGainDB - *c.GainDB) // as the highest gain shows it
			if c.Channel.Number == 24 {
				weak = -27
				continue
			}
			up := 8*r.Float64() - 4
			c.Power = &measure.Estimate{Value: c.Power.Value + up, Sigma: 0.05}
			levels[c.Channel.Number-14] = lin(level + up)
		}
		gain := 8 + 10*r.Float64()
		amplifier, err := ParsePart(Amplifier, "20dB/3dB/60dBm")
		require.NoError(t, err)
		amplifier.Gain = exactly(gain)

		// By hand: what is measured as the floor holds the products.
		thermal, made := lin(-40), cubed(r, levels, 10, lin(iip3))
		for i := range s.Channels {
			if c := &s.Channels[i]; c.Channel.Number == 24 {
				floor := thermal + made
				c.Noise = &measure.Estimate{Value: db(floor), Sigma: 0.2}
				c.Power = &measure.Estimate{Value: db(lin(weak) + floor), Sigma: 0.05}
				c.CN = &measure.Estimate{Value: weak - db(floor), Sigma: 0.2}
				c.Margin = &measure.Estimate{Value: weak - db(floor) - 15.2, Sigma: 0.1}
			}
		}
		empty, _ := band.Plans()[0].Channel(7)
		top := s.TopGainDB
		s.Channels = append(s.Channels, Channel{Channel: empty, Presence: measure.Vacant, GainDB: &top, Power: &measure.Estimate{Value: -40, Sigma: 0.1}, Noise: &measure.Estimate{Value: -40, Sigma: 0.1}})
		madeThen := made * math.Pow(lin(gain), 3)
		room := math.Max(0, -7.8-(weak-4))
		less := 6 * math.Max(0, math.Ceil((gain-room)/6))
		require.Zero(t, less, "the weak channel leaves room")
		// Friis: 6 dB of noise figure behind an amplifier of 3, at the receiver's input.
		thermalThen := thermal / lin(6) * lin(gain) * (lin(3) + (lin(6)-1)/lin(gain))
		real := db(lin(gain) * (thermal + made) / (thermalThen + madeThen))

		c := weakOf(t, New(s).Predict(Change{Head: []Part{amplifier}}))
		if math.Abs(c.Change.Middle-real) <= 1.5 {
			within++
		} else {
			t.Logf("IIP3 %.0f dBFS, %.0f dB: %.1f dB foreseen, %.1f real", iip3, gain, c.Change.Middle, real)
		}
		harm := madeThen > 0.5*thermalThen
		if harm {
			overloadedCases++
			if c.Overloaded() || c.MayOverload() {
				foreseen++
			}
		} else if c.Overloaded() {
			needless++
		}
	}
	t.Logf("%d of %d within 1.5 dB; overload foreseen in %d of %d, named in %d others", within, n, foreseen, overloadedCases, needless)
	require.GreaterOrEqual(t, within, n-2)
	require.Equal(t, overloadedCases, foreseen)
}
