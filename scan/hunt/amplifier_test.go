package hunt_test

import (
	"context"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"rooftone/scan/band"
	"rooftone/scan/hunt"
	"rooftone/scan/tuner/sim"
)

// Truth: the town. An amplifier before the radio makes products that rise by
// 1 dB for each dB of the radio's gain; the same stations into the radio's own
// front end make some that rise by 3. Each is put down to where it is made.
func TestWhereProductsAreMade(t *testing.T) {
	if testing.Short() {
		t.Skip("listens to two towns")
	}
	plan := band.Plans()[0]
	channels, err := plan.Select("15-19,24")
	require.NoError(t, err)
	town := sim.Town{Name: "hill", Radio: sim.DefaultRadio(), Stations: []sim.Station{
		{RFChannel: 16, LevelDBm: -62}, {RFChannel: 24, LevelDBm: -58}, {RFChannel: 19, LevelDBm: -84},
	}, Services: []sim.Service{{Kind: "lte", FrequencyHz: 622e6, WidthHz: 5e6, LevelDBm: -50}}}
	// 533 − 622 + 575 and the like lie elsewhere: 2·533 − 575 is in RF 17.
	town.Stations = append(town.Stations, sim.Station{RFChannel: 31, LevelDBm: -58})
	all := append(channels, plan.Channels[len(plan.Channels)-6])

	inRadio := town
	inRadio.Radio.IIP3DBm = ptr(-38)
	h := hear(t, inRadio, all)
	require.NotEmpty(t, h.Suspects)
	require.Contains(t, []hunt.Kind{hunt.Overload, hunt.Product}, h.Suspects[0].Kind)
	require.NotContains(t, h.Suspects[0].Name, "before the radio")

	before := town
	before.Preamplifier = &sim.Preamplifier{GainDB: 0, NoiseFigureDB: 1, IIP3DBm: ptr(-38)}
	h = hear(t, before, all)
	found := false
	for _, s := range h.Suspects {
		t.Logf("%s %s %v", s.Kind, s.Name, s.Evidence)
		found = found || s.Kind == hunt.Product && s.Name == "products made before the radio"
	}
	require.True(t, found)
}

func ptr(v float64) *float64 { return &v }

func hear(t *testing.T, town sim.Town, channels []band.Channel) *hunt.Hunt {
	t.Helper()
	s, err := sim.New(town, sim.Options{})
	require.NoError(t, err)
	h, err := hunt.Listen(context.Background(), s, hunt.Options{
		Channels: channels, Plan: channels, Services: fewServices(), Dwell: 60 * time.Millisecond,
	})
	require.NoError(t, err)
	return h
}
