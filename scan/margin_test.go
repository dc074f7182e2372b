package scan

import (
	"flag"
	"fmt"
	"image/color"
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/require"
	gonumplot "gonum.org/v1/plot"
	"gonum.org/v1/plot/plotter"
	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"

	"rooftone/dsp/vsb"
	"rooftone/scan/band"
	"rooftone/scan/measure"
	"rooftone/scan/tuner/sim"
	"rooftone/scan/verdict"
)

// scatter makes TestMarginEnsemble draw what it found.
var scatter = flag.String("scatter", "", "draw the margin ensemble to this file, .png, .svg or .pdf")

// trueMargin is what an ideal equaliser has in hand on the first of a channel's
// stations, from the town's own numbers: the transmitted spectrum times the
// response of the paths, over the noise and the other stations' data. dsp/vsb
// checks the integral against an equaliser of real symbols and against GNU
// Radio's receiver.
func trueMargin(t *testing.T, stations []sim.Station, noiseDBm, thresholdDB float64) float64 {
	const step = 2e3
	var signal, noise []float64
	for hz := 0.0; hz <= band.WidthHz; hz += step {
		n := 1 / band.WidthHz
		for i, s := range stations {
			h := complex(1, 0)
			for _, e := range s.Echoes {
				sin, cos := math.Sincos(e.PhaseDeg*math.Pi/180 - 2*math.Pi*math.Mod((hz-band.WidthHz/2)*e.DelayUS*1e-6, 1))
				a := math.Pow(10, e.LevelDB/20)
				h += complex(a*cos, a*sin)
			}
			p := math.Pow(10, (s.LevelDBm-noiseDBm)/10) * vsb.Density(hz) * (real(h)*real(h) + imag(h)*imag(h))
			if i == 0 {
				signal = append(signal, p)
			} else {
				n += p
			}
		}
		noise = append(noise, n)
	}
	snr, err := vsb.EqualisedSNR(signal, noise, 0, step)
	require.NoError(t, err)
	return vsb.MarginDB(snr, thresholdDB)
}

// randomTown has a station with random level, echoes (short ones tilt the
// channel) and now and then a second station under it on every other UHF
// channel.
func randomTown(rng *rand.Rand) sim.Town {
	town := dongleTown(rng.Uint64N(1<<40), rng.Float64()*120-60)
	town.Radio.RippleDB = 0 // so that the noise is known at every frequency
	for n := 14; n <= 36; n += 2 {
		s := station(n, 8+rng.Float64()*20, rng.NormFloat64()*8)
		for range rng.IntN(4) {
			delay := rng.Float64()*rng.Float64()*18 + 0.03
			if rng.IntN(4) == 0 {
				delay = -2 * rng.Float64()
			}
			s.Echoes = append(s.Echoes, sim.Echo{DelayUS: delay, LevelDB: -1.5 - rng.Float64()*18, PhaseDeg: rng.Float64() * 360})
		}
		town.Stations = append(town.Stations, s)
		if rng.IntN(5) == 0 {
			other := station(n, 0, rng.NormFloat64()*300)
			other.LevelDBm = s.LevelDBm - 8 - rng.Float64()*15
			other.Call = "QOTH"
			town.Stations = append(town.Stations, other)
		}
	}
	return town
}

// onChannel returns a town's stations on a channel, the first one first.
func onChannel(town sim.Town, number int) []sim.Station {
	var out []sim.Station
	for _, s := range town.Stations {
		if s.RFChannel == number {
			out = append(out, s)
		}
	}
	return out
}

func TestMarginEnsemble(t *testing.T) {
	if testing.Short() {
		t.Skip("an ensemble: it has its time in the long run")
	}
	t.Parallel()
	rng := rand.New(rand.NewPCG(2026, 11))
	var errors []float64
	var inside, within float64
	var points plotter.XYs
	for range ensemble(2) {
		town := randomTown(rng)
		s, tn := look(t, town, Options{Channels: usChannels(t, "14-36"), Plan: usChannels(t, "14-36")})
		for n := 14; n <= 36; n += 2 {
			c := channelOf(t, s, n)
			require.Equal(t, measure.Present, c.Presence, "channel %d", n)
			tune(t, tn, c)
			truth, err := tn.Truth(n)
			require.NoError(t, err)
			stations := onChannel(town, n)
			want := trueMargin(t, stations, truth.NoiseDBm, s.ThresholdDB)
			e := c.Margin.Value - want
			errors = append(errors, e)
			points = append(points, plotter.XY{X: want, Y: c.Margin.Value})
			if math.Abs(e) <= 1.96*c.Margin.Sigma {
				inside++
			}
			if math.Abs(e) <= 0.7 {
				within++
			} else {
				t.Logf("channel %d: margin %.2f ± %.2f dB (%s), truth %.2f, C/N %.2f, slices %v, %d stations, echoes %v",
					n, c.Margin.Value, c.Margin.Sigma, c.MarginMethod, want, c.CN.Value, c.SliceMER, len(stations), stations[0].Echoes)
			}
		}
	}
	var sum, squares float64
	for _, e := range errors {
		sum += e
		squares += e * e
	}
	n := float64(len(errors))
	summary := fmt.Sprintf("%d channels: bias %+.2f dB, rms %.2f dB, within 0.7 dB %.1f %%, inside the stated 95 %% interval %.1f %%",
		len(errors), sum/n, math.Sqrt(squares/n), 100*within/n, 100*inside/n)
	t.Log(summary)
	require.GreaterOrEqual(t, within/n, 0.95)
	require.GreaterOrEqual(t, inside/n, 0.9)
	if *scatter != "" {
		require.NoError(t, drawScatter(*scatter, points, summary))
	}
}

func drawScatter(name string, points plotter.XYs, summary string) error {
	p := gonumplot.New()
	p.Title.Text = "Margin measured from slices against the truth of the simulated towns\n" + summary
	p.Title.TextStyle.Font.Size = vg.Points(9)
	p.Title.Padding = vg.Points(6)
	p.X.Label.Text = "true margin of an ideal equaliser, dB"
	p.Y.Label.Text = "margin measured, dB"
	low, high := -12.0, 18.0
	same, err := plotter.NewLine(plotter.XYs{{X: low, Y: low}, {X: high, Y: high}})
	if err != nil {
		return err
	}
	same.Color = color.Gray{160}
	dots, err := plotter.NewScatter(points)
	if err != nil {
		return err
	}
	dots.GlyphStyle = draw.GlyphStyle{Color: color.NRGBA{30, 40, 90, 140}, Radius: vg.Points(1.6), Shape: draw.CircleGlyph{}}
	p.Add(plotter.NewGrid(), same, dots)
	p.X.Min, p.X.Max, p.Y.Min, p.Y.Max = low, high, low, high
	return p.Save(vg.Points(430), vg.Points(430), name)
}

// Truth: the power ratio of the two stations; at the levels used the noise is
// far below both. What hides under the signal acts on the equaliser as noise.
func TestCoChannel(t *testing.T) {
	if testing.Short() {
		t.Skip("an ensemble: it has its time in the long run")
	}
	t.Parallel()
	for _, under := range []float64{10, 15, 20} {
		town := dongleTown(77, 12)
		town.Radio.RippleDB = 0
		town.Stations = []sim.Station{station(16, 18, 4), station(30, 20, 0)}
		wanted := station(24, 27, 3)
		wanted.Echoes = []sim.Echo{{DelayUS: 1.1, LevelDB: -14, PhaseDeg: 60}}
		other := station(24, 27-under, -210)
		town.Stations = append(town.Stations, wanted, other)
		s, tn := look(t, town, Options{Channels: usChannels(t, "14-36")})
		c := channelOf(t, s, 24)
		tune(t, tn, c)
		truth, err := tn.Truth(24)
		require.NoError(t, err)
		want := trueMargin(t, []sim.Station{wanted, other}, truth.NoiseDBm, s.ThresholdDB)
		t.Logf("a second station %.0f dB down: margin %.2f ± %.2f dB, truth %.2f; %v", under, c.Margin.Value, c.Margin.Sigma, want, c.Reasons)
		require.InDelta(t, want, c.Margin.Value, 1.5)
		named := false
		for _, r := range c.Reasons {
			named = named || r.Limit == verdict.CoChannel
		}
		require.True(t, named, "co-channel is named: %v", c.Reasons)
	}
}

// Truth: the town's own list of paths.
func TestEchoesOfTown(t *testing.T) {
	if testing.Short() {
		t.Skip("an ensemble: it has its time in the long run")
	}
	t.Parallel()
	town := dongleTown(31, -27)
	town.Stations = []sim.Station{station(16, 18, 4), station(30, 20, 0)}
	s := station(22, 17, -3)
	s.Echoes = []sim.Echo{{DelayUS: -1.2, LevelDB: -14, PhaseDeg: 10}, {DelayUS: 0.7, LevelDB: -9, PhaseDeg: 200}, {DelayUS: 12.5, LevelDB: -12, PhaseDeg: 80}}
	town.Stations = append(town.Stations, s)
	survey, _ := look(t, town, Options{Channels: usChannels(t, "22")})
	c := channelOf(t, survey, 22)
	require.Len(t, c.Echoes, len(s.Echoes), "%v", c.Echoes)
	for i, e := range s.Echoes {
		require.InDelta(t, e.DelayUS, c.Echoes[i].DelayUS.Value, 0.1)
		require.InDelta(t, e.LevelDB, c.Echoes[i].LevelDB.Value, 1)
	}
	require.Empty(t, channelOf(t, survey, 22).Suspicion)
	require.Equal(t, measure.ATSC1, c.Standard)
}

func TestOtherStandard(t *testing.T) {
	if testing.Short() {
		t.Skip("an ensemble: it has its time in the long run")
	}
	t.Parallel()
	town := dongleTown(12, 44)
	three := station(20, 12, 0)
	three.Standard = "atsc3"
	town.Stations = []sim.Station{station(16, 18, 4), station(30, 20, 0), three}
	town.Services = []sim.Service{{Kind: "lte", FrequencyHz: 545e6, LevelDBm: noiseDBm + 15, WidthHz: 5e6}} // all of 26
	s, _ := look(t, town, Options{Channels: usChannels(t, "14-36")})
	c := channelOf(t, s, 20)
	require.Equal(t, measure.Present, c.Presence)
	require.Equal(t, measure.ATSC3, c.Standard)
	require.Nil(t, c.Margin)
	require.Equal(t, verdict.OtherStandard, c.Reasons[0].Limit)
	c = channelOf(t, s, 26)
	require.Equal(t, measure.Unsure, c.Presence)
	require.Equal(t, measure.OtherStandard, c.Standard)
}
