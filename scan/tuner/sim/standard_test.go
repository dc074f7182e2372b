package sim

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"

	"rooftone/dsp/air"
	"rooftone/dsp/ofdm"
	"rooftone/dsp/vsb"
)

// Theory: an ATSC 3.0 station fills 5.83 MHz of its channel with the stated
// power, weighed by |H|², and has no line where a pilot would be.
func TestNewerStandard(t *testing.T) {
	s := open(t, bench(func(w *Town) {
		w.Stations = []Station{
			{RFChannel: 20, Standard: "atsc3", LevelDBm: -76},
			{RFChannel: 22, Standard: "atsc3", LevelDBm: -76, Echoes: []Echo{{DelayUS: 3.3, LevelDB: -4, PhaseDeg: 77}, {DelayUS: -0.7, LevelDB: -9}}},
		}
	}), Options{})
	for _, ch := range []int{20, 22} {
		truth, err := s.Truth(ch)
		require.NoError(t, err)
		got := visit(t, s, truth.Channel.LowerHz, 49.6, 1<<19) * milliwatts(-66)
		want := milliwatts(truth.SignalDBm) + milliwatts(truth.NoiseDBm)
		require.InDelta(t, dBm(want), dBm(got), 0.1, "RF %d", ch)
	}
	plain, err := s.Truth(20)
	require.NoError(t, err)
	require.InDelta(t, -76, plain.SignalDBm, 1e-9)
	echoed, err := s.Truth(22)
	require.NoError(t, err)
	require.InDelta(t, -76+dBm(1+air.Power(-4)+air.Power(-9)), echoed.SignalDBm, 0.1)

	b := take(t, s, 507e6, 2.4e6, 49.6, 1<<19)
	_, line := lineAt(b.Samples, 2.4e6, vsb.PilotOffsetHz-1e6, 16)
	require.Less(t, air.DB(line)-66, -76-25.0)
}

// Truth: the towns' own words. In every slice of an ATSC 3.0 station the
// bootstrap is there, off by the clock, one to a frame; an 8-VSB station has none.
func TestTownsHaveBootstraps(t *testing.T) {
	if testing.Short() {
		t.Skip("an ensemble: it has its time in the long run")
	}
	for _, name := range []string{"harbour", "city"} {
		town, err := Load(name)
		require.NoError(t, err)
		s := open(t, town, Options{})
		newer := 0
		for _, st := range town.Stations {
			if st.Standard != "atsc3" && st.RFChannel != 15 {
				continue
			}
			c, err := channel(st.RFChannel)
			require.NoError(t, err)
			for _, offset := range []float64{1e6, 3e6, 5e6} {
				b := take(t, s, c.LowerHz+offset, 2.4e6, 30, 720_000)
				search, err := ofdm.NewSearcher(2.4e6, offset, len(b.Samples))
				require.NoError(t, err)
				low, high := search.Seen()
				off := -town.Radio.PPM * 1e-6 * (c.LowerHz + offset + (low+high)/2)
				found, err := search.Search(b.Samples, off, 400)
				require.NoError(t, err)
				require.Equal(t, st.Standard == "atsc3", found.Found, "%s, RF %d", name, st.RFChannel)
				if found.Found {
					newer++
					require.InDelta(t, off+st.PilotErrorHz, found.CarrierErrorHz, 5*found.CarrierSigmaHz)
					frame := 0.25 * (1 + town.Radio.PPM*1e-6)
					require.True(t, found.FrameSeconds == 0 || math.Abs(found.FrameSeconds-frame) < 1e-6)
				} else {
					// Six slices are searched in vain, so that one in 1700 runs of
					// other stations' data would come below.
					require.Greater(t, found.FalseAlarm, 1e-4)
				}
			}
		}
		require.Equal(t, 3, newer)
	}
}
