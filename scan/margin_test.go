package scan

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/require"

	"rooftone/dsp/vsb"
	"rooftone/scan/band"
	"rooftone/scan/measure"
	"rooftone/scan/tuner/sim"
)

// trueMargin is what an ideal equaliser has in hand on a station of a town,
// from the town's own numbers: the transmitted spectrum times the response of
// the paths, over the noise. dsp/vsb checks the integral against an equaliser
// of real symbols and against GNU Radio's receiver.
func trueMargin(t *testing.T, s sim.Station, noiseDBm, thresholdDB float64) float64 {
	c, ok := band.Plans()[0].Channel(s.RFChannel)
	require.True(t, ok)
	const step = 2e3
	var signal, noise []float64
	power := math.Pow(10, (s.LevelDBm-noiseDBm)/10)
	for hz := 0.0; hz <= band.WidthHz; hz += step {
		h := complex(1, 0)
		for _, e := range s.Echoes {
			sin, cos := math.Sincos(e.PhaseDeg*math.Pi/180 - 2*math.Pi*math.Mod((hz-band.WidthHz/2)*e.DelayUS*1e-6, 1))
			a := math.Pow(10, e.LevelDB/20)
			h += complex(a*cos, a*sin)
		}
		signal = append(signal, power*vsb.Density(hz)*(real(h)*real(h)+imag(h)*imag(h)))
		noise = append(noise, 1/band.WidthHz)
	}
	snr, err := vsb.EqualisedSNR(signal, noise, 0, step)
	require.NoError(t, err)
	_ = c
	return vsb.MarginDB(snr, thresholdDB)
}

// randomTown has a station with random level and echoes on every other UHF
// channel.
func randomTown(rng *rand.Rand) sim.Town {
	town := dongleTown(rng.Uint64N(1<<40), rng.Float64()*120-60)
	town.Radio.RippleDB = 0 // so that the noise is known at every frequency
	for n := 14; n <= 36; n += 2 {
		s := station(n, 8+rng.Float64()*20, rng.NormFloat64()*8)
		for range rng.IntN(4) {
			s.Echoes = append(s.Echoes, sim.Echo{
				DelayUS:  rng.Float64()*rng.Float64()*18 + 0.1 - float64(rng.IntN(4)/3)*2,
				LevelDB:  -1.5 - rng.Float64()*18,
				PhaseDeg: rng.Float64() * 360,
			})
		}
		town.Stations = append(town.Stations, s)
	}
	return town
}

func TestMarginEnsemble(t *testing.T) {
	t.Parallel()
	rng := rand.New(rand.NewPCG(2026, 11))
	var errors []float64
	var inside, all, within float64
	for range 2 * *draws {
		town := randomTown(rng)
		s, tn := look(t, town, Options{Channels: usChannels(t, "14-36"), Plan: usChannels(t, "14-36")})
		for _, st := range town.Stations {
			c := channelOf(t, s, st.RFChannel)
			require.Equal(t, measure.Present, c.Presence, "channel %d", st.RFChannel)
			tune(t, tn, c)
			truth, err := tn.Truth(st.RFChannel)
			require.NoError(t, err)
			want := trueMargin(t, st, truth.NoiseDBm, s.ThresholdDB)
			e := c.Margin.Value - want
			errors = append(errors, e)
			all++
			if math.Abs(e) <= 1.96*c.Margin.Sigma {
				inside++
			}
			if math.Abs(e) <= 0.7 {
				within++
			}
			if math.Abs(e) > 0.7 || testing.Verbose() && math.Abs(e) > 2.5*c.Margin.Sigma {
				t.Logf("channel %d: margin %.2f ± %.2f dB (%s), truth %.2f, C/N %.2f, echoes %v",
					st.RFChannel, c.Margin.Value, c.Margin.Sigma, c.MarginMethod, want, c.CN.Value, st.Echoes)
			}
		}
	}
	var sum, squares float64
	for _, e := range errors {
		sum += e
		squares += e * e
	}
	n := float64(len(errors))
	t.Logf("%d channels: bias %+.3f dB, rms %.3f dB, worst %.2f dB, within 0.7 dB %.1f %%, inside the stated 95 %% %.1f %%",
		len(errors), sum/n, math.Sqrt(squares/n), worst(errors), 100*within/all, 100*inside/all)
	require.GreaterOrEqual(t, within/all, 0.95)
	require.GreaterOrEqual(t, inside/all, 0.9)
}
