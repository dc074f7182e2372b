package band

import (
	"fmt"
	"math"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

// Truth: the table of 47 CFR 73.603(a), typed in from it.
func TestChannelEdges(t *testing.T) {
	table := []struct {
		number        int
		lowMHz, upMHz float64
	}{
		{2, 54, 60}, {3, 60, 66}, {4, 66, 72}, {5, 76, 82}, {6, 82, 88},
		{7, 174, 180}, {8, 180, 186}, {9, 186, 192}, {10, 192, 198}, {11, 198, 204}, {12, 204, 210}, {13, 210, 216},
		{14, 470, 476}, {20, 506, 512}, {26, 542, 548}, {30, 566, 572}, {35, 596, 602}, {36, 602, 608},
		{38, 614, 620}, {44, 650, 656}, {51, 692, 698},
	}
	plan, err := ParsePlan("us-2009")
	require.NoError(t, err)
	for _, row := range table {
		c, ok := plan.Channel(row.number)
		require.True(t, ok, "channel %d", row.number)
		require.Equal(t, row.lowMHz*1e6, c.LowerHz, "channel %d", row.number)
		require.Equal(t, row.upMHz*1e6, c.UpperHz(), "channel %d", row.number)
	}
	_, ok := plan.Channel(37) // radio astronomy
	require.False(t, ok)
	us, err := ParsePlan("")
	require.NoError(t, err)
	require.Len(t, us.Channels, 35)
	for i, c := range us.Channels[1:] {
		require.GreaterOrEqual(t, c.LowerHz, us.Channels[i].UpperHz(), "plans ascend without overlap")
	}
}

// Truth: ATSC A/53 Part 2, which gives the pilot's place as 309.440559 kHz.
func TestPilotPlace(t *testing.T) {
	require.InDelta(t, 309440.559, PilotOffsetHz, 0.001)
	c, _ := Plans()[0].Channel(14)
	require.InDelta(t, 470309440.559, c.PilotHz(), 0.001)
}

func TestSelect(t *testing.T) {
	plan := Plans()[0]
	numbers := func(cs []Channel) string {
		var s []string
		for _, c := range cs {
			s = append(s, fmt.Sprint(c.Number))
		}
		return strings.Join(s, " ")
	}
	for list, want := range map[string]string{
		"7-9,22,31":   "7 8 9 22 31",
		"31,22,22-23": "22 23 31",
		" 5 - 7 ":     "5 6 7",
		"36-40":       "36",
	} {
		got, err := plan.Select(list)
		require.NoError(t, err, list)
		require.Equal(t, want, numbers(got), list)
	}
	all, err := plan.Select("")
	require.NoError(t, err)
	require.Len(t, all, 35)
	for _, list := range []string{"1", "37", "x", "7-", "-7", "9-7", "7,,8", "99999999", "37-40", "7-8-9"} {
		_, err := plan.Select(list)
		require.Error(t, err, list)
	}
}

func FuzzSelect(f *testing.F) {
	for _, s := range []string{"2-36", "7-13,22,31", "", "1-", "-", ",", "65535-65536"} {
		f.Add(s)
	}
	plan := Plans()[0]
	f.Fuzz(func(t *testing.T, list string) {
		got, err := plan.Select(list)
		if err == nil && len(got) == 0 {
			t.Fatalf("%q selects nothing without an error", list)
		}
	})
}

// Truth: the planning factors of FCC OET Bulletin 69, Table 3. The field that
// a household needs there follows from noise in 6 MHz, noise figure, line loss,
// antenna gain and dipole factor at a C/N of 15 dB.
func TestPlanningFactors(t *testing.T) {
	for _, row := range []struct {
		mhz, dipole, noiseFigure, lineLoss, antennaDBd, needs float64
	}{
		{69, -111.8, 10, 1, 4, 28},
		{194, -120.8, 10, 2, 6, 36},
		{615, -130.8, 7, 4, 10, 41},
	} {
		require.InDelta(t, row.dipole, DipoleFactorDB(row.mhz*1e6), 0.1, "dipole factor at %g MHz", row.mhz)
		const boltzmann, kelvin = 1.380649e-23, 290
		noise := 10*math.Log10(boltzmann*kelvin*WidthHz*1e3) + row.noiseFigure
		atReceiver := noise + 15
		atAntenna := atReceiver + row.lineLoss - row.antennaDBd
		require.InDelta(t, row.needs, FieldDBuVm(atAntenna, row.mhz*1e6), 0.6, "needed field at %g MHz", row.mhz)
	}
}

func ExamplePlan_Select() {
	channels, _ := Plans()[0].Select("7-8,31")
	for _, c := range channels {
		fmt.Printf("RF %d: %g-%g MHz\n", c.Number, c.LowerHz/1e6, c.UpperHz()/1e6)
	}
	// Output:
	// RF 7: 174-180 MHz
	// RF 8: 180-186 MHz
	// RF 31: 572-578 MHz
}
