package hunt_test

import (
	"math"
	"math/rand/v2"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"rooftone/scan/hunt"
	"rooftone/scan/tuner/sim"
)

// Truth: what was put into the simulated town. Each kind of intruder is told
// from the others, and is where it was put.
func TestKindsInside(t *testing.T) {
	if testing.Short() {
		t.Skip("seconds of simulated samples")
	}
	const lower20 = 506e6
	dwell := 120 * time.Millisecond
	if *draws > 0 {
		dwell = 300 * time.Millisecond
	}
	victim := func(town *sim.Town) *sim.Station {
		for i := range town.Stations {
			if town.Stations[i].RFChannel == 20 {
				town.Stations[i].LevelDBm = floorDBm + 24
				return &town.Stations[i]
			}
		}
		panic("no station on 20")
	}
	for _, row := range []struct {
		name  string
		put   func(town *sim.Town)
		kind  hunt.Kind
		hz    float64 // 0: anywhere
		width float64
		cost  bool
	}{
		{"narrow carrier", func(town *sim.Town) {
			s := victim(town)
			town.Services = []sim.Service{{Kind: "land-mobile", FrequencyHz: lower20 + 2.2e6, LevelDBm: s.LevelDBm - 25}}
		}, hunt.Carrier, lower20 + 2.2e6, 6e3, true},
		{"broadcast carrier", func(town *sim.Town) {
			s := victim(town)
			town.Services = []sim.Service{{Kind: "fm", FrequencyHz: lower20 + 3.4e6, LevelDBm: s.LevelDBm - 14}}
		}, hunt.Carrier, lower20 + 3.4e6, 120e3, true},
		{"carrier where no station is", func(town *sim.Town) {
			town.Services = []sim.Service{{Kind: "land-mobile", FrequencyHz: lower20 + 6e6 + 1.5e6, LevelDBm: floorDBm - 15}}
		}, hunt.Carrier, lower20 + 7.5e6, 6e3, false},
		{"raised floor", func(town *sim.Town) {
			s := victim(town)
			town.Services = []sim.Service{{Kind: "lte", FrequencyHz: lower20 + 5e6, LevelDBm: s.LevelDBm - 18, WidthHz: 1.4e6}}
		}, hunt.RaisedFloor, lower20 + 5e6, 2e6, true},
		{"raised floor where no station is", func(town *sim.Town) {
			town.Services = []sim.Service{{Kind: "lte", FrequencyHz: lower20 + 6e6 + 3e6, LevelDBm: floorDBm + 3, WidthHz: 1.5e6}}
		}, hunt.RaisedFloor, lower20 + 9e6, 1.5e6, false},
		{"second station", func(town *sim.Town) {
			s := *victim(town)
			s.LevelDBm -= 14
			s.PilotErrorHz = 700
			s.Echoes = nil
			town.Stations = append(town.Stations, s)
		}, hunt.CoChannel, 0, 0, true},
		{"neighbour's shoulder", func(town *sim.Town) {
			s := *victim(town)
			s.RFChannel, s.LevelDBm, s.ShouldersDB, s.Echoes = 21, s.LevelDBm+16, -32, nil
			town.Stations = append(town.Stations, s)
		}, hunt.Splatter, 0, 0, true},
	} {
		t.Run(row.name, func(t *testing.T) {
			town := crowd(rand.New(rand.NewPCG(41, 42)), 5, 16, 26, 1)
			row.put(&town)
			_, suspects := lookInside(t, town, "19-22", dwell, false)
			require.NotEmpty(t, suspects)
			hit := false
			for _, s := range suspects {
				t.Logf("%s: %s %+v %.0f kHz %v", s.Kind, s.Name, s.LevelDBFS, s.WidthHz/1e3, s.Evidence)
				for _, h := range s.Harms {
					t.Logf("channel %d: %.2f dB, breaks %v", h.Channel.Number, h.CostDB.Value, h.Breaks)
				}
				if s.Kind != row.kind {
					continue
				}
				hit = true
				if row.hz != 0 {
					require.InDelta(t, row.hz, s.FrequencyHz.Value, math.Max(3e3, row.width/3))
					require.InEpsilon(t, row.width, s.WidthHz, 0.5)
				}
				require.Equal(t, row.cost, len(s.Harms) > 0)
				if row.cost && row.kind != hunt.Splatter { // which harms 22 as well
					require.Equal(t, 20, s.Harms[0].Channel.Number)
				}
			}
			require.True(t, hit)
			if row.kind != hunt.Splatter {
				require.Len(t, suspects, 1)
			}
		})
	}
}
