package cure

import (
	"fmt"
	"math"
	"testing"

	"github.com/stretchr/testify/require"

	"rooftone/dsp/decibel"
)

func stages(gain, noise []float64) (out []Stage) {
	for i := range gain {
		out = append(out, Stage{GainDB: gain[i], NoiseFigureDB: noise[i]})
	}
	return out
}

// Truth: examples printed with all their digits in MathWorks' documentation of three
// of its functions: rfchain.cumnoisefig, rfchain.cumiip3 and cumoip3 (three stages),
// and phased's noisefigure (seven stages of a receiver).
func TestPrintedCascades(t *testing.T) {
	gain, noise := []float64{11, -3, 7}, []float64{25, 3, 5}
	chain := stages(gain, noise)
	third := []float64{19, math.Inf(1), 3}
	for i := range chain {
		if !math.IsInf(third[i], 1) {
			chain[i].ThirdDBm = &third[i]
		}
	}
	for n, want := range []struct{ noise, input, output string }{
		{"25.0000", "19.0000", "30.0000"}, {"25.0011", "19.0000", "27.0000"}, {"25.0058", "-5.0173", "9.9827"},
	} {
		got := Cascade(chain[:n+1]...)
		require.Equal(t, want.noise, fmt.Sprintf("%.4f", got.NoiseFigureDB))
		require.Equal(t, want.input, fmt.Sprintf("%.4f", *got.ThirdDBm))
		require.Equal(t, want.output, fmt.Sprintf("%.4f", *got.ThirdDBm+got.GainDB))
	}
	got := Cascade(stages([]float64{15, -0.5, -7, -1, 15, 20, -5}, []float64{1, 0.5, 5, 1, 0.6, 1, 6})...)
	require.Equal(t, "1.5252", fmt.Sprintf("%.4f", got.NoiseFigureDB))
	require.Equal(t, "36.5000", fmt.Sprintf("%.4f", got.GainDB))
}

// Truth: FCC OET Bulletin 69, table 3. Line and receiver together, with its dipole
// factors, make the printed fields of 28, 36 and 41 dBµV/m of the same C/N, to the
// whole dB that those fields are printed to.
func TestPlanningFactors(t *testing.T) {
	for _, c := range []struct{ field, dipole, antenna, line, noise float64 }{
		{28, -111.8, 4, 1, 10}, {36, -120.8, 6, 2, 10}, {41, -130.8, 10, 4, 7},
	} {
		got := Cascade(Passive(c.line), Stage{NoiseFigureDB: c.noise})
		require.InDelta(t, c.line+c.noise, got.NoiseFigureDB, 1e-9)
		cn := c.field + c.dipole + c.antenna - (ThermalDBm + got.NoiseFigureDB)
		require.InDelta(t, 15.2, cn, 0.5)
	}
	// k·290 K·6 MHz with the SI's k is what it is rounded from.
	require.InDelta(t, 10*math.Log10(1.380649e-23*290*6e6*1e3), ThermalDBm, 0.05)
}

// Truth: arithmetic on paper: a line that only loses adds its loss to the noise
// figure, wherever it is cut in two.
func TestPassiveLines(t *testing.T) {
	for _, cut := range []float64{0, 1, 2.5, 6} {
		got := Cascade(Passive(cut), Passive(6-cut), Stage{GainDB: 10, NoiseFigureDB: 7})
		require.InDelta(t, 13, got.NoiseFigureDB, 1e-9)
		require.InDelta(t, 4, got.GainDB, 1e-9)
	}
	require.Equal(t, Stage{}, Cascade())
}

// Truth: what a maker of antennas prints as typical of Series 6 cable, in dB for
// 100 ft: 1.5, 3.0, 4.5 and 5.6 on channels 2, 13, 14 and 51, and 2.8 dB for 50 ft on
// 51. Makes differ by a tenth; the type's figures are within that of the print. A
// loss that is given is kept to the digit.
func TestPrintedCable(t *testing.T) {
	rg6 := Cables()[0]
	for _, c := range []struct{ mhz, loss float64 }{{57, 1.5}, {213, 3.0}, {473, 4.5}, {695, 5.6}} {
		require.InEpsilon(t, c.loss, rg6.LossDB(100*metresPerFoot, c.mhz*1e6), CableSpread)
	}
	p, err := ParsePart(Wire, "5.6dB@695")
	require.NoError(t, err)
	half, err := ParsePart(Wire, "2.8dB@695MHz")
	require.NoError(t, err)
	for _, c := range []struct {
		p    Part
		want string
	}{{p, "5.6"}, {half, "2.8"}} {
		gain, factor := c.p.stage(695e6, 3)
		require.Equal(t, c.want, fmt.Sprintf("%.1f", decibel.Of(factor)))
		require.InDelta(t, 1, gain*factor, 1e-12)
	}
	// Truth: what sheets of drop cable commonly print, from memory: dB in 100 ft.
	for _, c := range []struct {
		cable     int
		mhz, loss float64
	}{
		{0, 55, 1.60}, {0, 211, 3.05}, {0, 500, 4.66}, {0, 750, 5.65}, {0, 1000, 6.55},
		{1, 55, 2.05}, {1, 500, 5.70}, {1, 1000, 8.12}, {2, 55, 0.96}, {2, 500, 2.95}, {2, 1000, 4.35},
	} {
		require.InDelta(t, c.loss, Cables()[c.cable].LossDB(100*metresPerFoot, c.mhz*1e6), 0.12, "%s at %g MHz", Cables()[c.cable].Name, c.mhz)
	}
}

// Truth: the constants of ITU-R P.372 as the ITU's Study Group 3 has them in its own
// program for it; the values are worked out by hand from those.
func TestOutsideNoise(t *testing.T) {
	for _, c := range []struct {
		s    Surroundings
		mhz  float64
		want string
	}{
		{City, 100, "21.4"}, {Residential, 100, "17.1"}, {Rural, 100, "11.8"},
		{City, 10, "49.1"}, {Residential, 10, "44.8"}, {Rural, 10, "39.5"},
		{City, 600, "10.1"},
	} {
		require.Equal(t, c.want, fmt.Sprintf("%.1f", ManMadeDB(c.s, c.mhz*1e6)), "%s at %g MHz", c.s, c.mhz)
	}
	require.Equal(t, "6.0", fmt.Sprintf("%.1f", GalacticDB(100e6)))
	require.Equal(t, "29.0", fmt.Sprintf("%.1f", GalacticDB(10e6)))
}
