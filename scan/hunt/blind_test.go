package hunt_test

import (
	"context"
	"flag"
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"rooftone/scan/band"
	"rooftone/scan/hunt"
	"rooftone/scan/tuner/sim"
)

var onlyTown = flag.Int("town", -1, "which of the drawn towns to listen to; -1: all")

// fault is one thing that is wrong in a drawn town.
type fault struct {
	name  string
	kinds []hunt.Kind // what it may rightly be called
	cost  float64     // dB, to the worst of the stations, by the town's own numbers
}

// blindTown draws a town with some stations and vacant channels and up to three
// faults, and works out from its numbers what each costs: the interference that
// it puts in a station's channel over the noise there. A lone tone counts with
// the 5.2 dB less that the package's doc comment gives it.
func blindTown(rng *rand.Rand, faults int) (sim.Town, []band.Channel, []fault) {
	between := func(a, b float64) float64 { return a + (b-a)*rng.Float64() }
	r := sim.DefaultRadio()
	r.Seed, r.PPM = rng.Uint64(), between(-40, 40)
	town := sim.Town{Name: "blind", Radio: r}
	first := 14 + rng.IntN(16)
	var channels []band.Channel
	for k := range 6 {
		c, _ := band.Plans()[0].Channel(first + k)
		channels = append(channels, c)
	}
	// Stations on the 1st, 3rd and 5th: each has vacant neighbours.
	for k := range 3 {
		s := sim.Station{RFChannel: first + 2*k, LevelDBm: between(-82, -70), PilotErrorHz: between(-100, 100)}
		if rng.IntN(2) == 0 {
			s.Echoes = []sim.Echo{{DelayUS: between(0.3, 6), LevelDB: between(-20, -8), PhaseDeg: between(-180, 180)}}
		}
		town.Stations = append(town.Stations, s)
	}
	kinds := []string{"tone", "impulses", "overload", "co-channel", "splatter", "raised floor", "own spur", "product"}
	rng.Shuffle(len(kinds), func(i, j int) { kinds[i], kinds[j] = kinds[j], kinds[i] })
	var out []fault
	for _, kind := range kinds[:faults] {
		out = append(out, addFault(rng, &town, kind))
	}
	return town, channels, out
}

const thermalDBm = -99.95 // in 6 MHz, with the converter's rounding

// over is the cost in dB of interference at a level in dBm.
func over(dBm float64) float64 {
	return 10 * math.Log10(1+math.Pow(10, (dBm-thermalDBm)/10))
}

func addFault(rng *rand.Rand, town *sim.Town, kind string) fault {
	between := func(a, b float64) float64 { return a + (b-a)*rng.Float64() }
	at := rng.IntN(3)
	s := &town.Stations[at]
	c, _ := band.Plans()[0].Channel(s.RFChannel)
	switch kind {
	case "tone":
		level := between(-93, -85)
		town.Tones = append(town.Tones, sim.Tone{FrequencyHz: c.LowerHz + between(0.7e6, 5.3e6), LevelDBm: level})
		return fault{kind, []hunt.Kind{hunt.Tone}, over(level - 5.2)}
	case "impulses":
		rate := []float64{100, 120, 120}[rng.IntN(3)]
		x := sim.Impulses{DecayUS: between(3, 12), BurstsPerSecond: rate, PulsesPerBurst: 1 + rng.IntN(8), Spread: 0.03}
		mean := between(-100, -92) // over all time, in 6 MHz
		x.LevelDBm = mean - 10*math.Log10(x.DecayUS*1e-6*rate*float64(x.PulsesPerBurst))
		town.Impulses = append(town.Impulses, x)
		return fault{kind, []hunt.Kind{hunt.Impulses}, over(mean)}
	case "overload":
		// A block of LTE and a strong station far off; 2f₁−f₂ in the channels.
		third := between(-33, -27)
		town.Radio.IIP3DBm = &third
		level := between(-49, -44)
		far := sim.Station{RFChannel: 36, LevelDBm: level}
		farHz := 605e6
		// The block so that twice the station's frequency less it is the channel.
		block := 2*farHz - c.CenterHz()
		town.Stations = append(town.Stations, far)
		town.Services = append(town.Services, sim.Service{Kind: "lte", FrequencyHz: block, WidthHz: 5e6, LevelDBm: level})
		products := productsOf(strongOf(town), 0, math.Pow(10, third/10), []band.Channel{c})
		return fault{kind, []hunt.Kind{hunt.Overload, hunt.Product}, over(10*math.Log10(products[c.Number]) - 2*stray(town, c.CenterHz()))}
	case "co-channel":
		level := s.LevelDBm - between(12, 18)
		town.Stations = append(town.Stations, sim.Station{RFChannel: s.RFChannel, LevelDBm: level, PilotErrorHz: s.PilotErrorHz + between(200, 900)})
		return fault{kind, []hunt.Kind{hunt.CoChannel}, over(level)}
	case "splatter":
		n := s.RFChannel + 1
		strong := sim.Station{RFChannel: n, LevelDBm: between(-52, -46), ShouldersDB: between(-40, -34)}
		town.Stations = append(town.Stations, strong)
		// 0.5 MHz level, then 11.5 dB for each MHz: 47 CFR 73.622(h).
		var sum float64
		for f := 5e3; f < 6e6; f += 10e3 {
			sum += math.Pow(10, -1.15*math.Max(f/1e6-0.5, 0)) * 10e3 / 5.381e6
		}
		return fault{kind, []hunt.Kind{hunt.Splatter}, over(strong.LevelDBm + strong.ShouldersDB + 10*math.Log10(sum))}
	case "raised floor":
		level, width := between(-97, -91), between(0.8e6, 2e6)
		town.Services = append(town.Services, sim.Service{Kind: "lte", FrequencyHz: c.LowerHz + between(1.5e6, 4.5e6), WidthHz: width, LevelDBm: level})
		return fault{kind, []hunt.Kind{hunt.RaisedFloor, hunt.Carrier}, over(level)}
	case "own spur":
		beat := between(-45, -35)
		town.Radio.BeatDBFS = &beat
		return fault{kind, []hunt.Kind{hunt.Spur}, 0}
	}
	// The sum of two FM stations' second harmonic's kin: tones whose difference
	// product falls into the channel.
	second := between(2, 8)
	town.Radio.IIP2DBm = &second
	want := between(-90, -86)
	level := (want + second) / 2
	f := c.LowerHz + between(0.7e6, 5.3e6)
	fm := 88.1e6 + 200e3*float64(rng.IntN(90))
	town.Services = append(town.Services, sim.Service{Kind: "fm", FrequencyHz: fm, LevelDBm: level})
	town.Tones = append(town.Tones, sim.Tone{FrequencyHz: f - fm, LevelDBm: level})
	return fault{kind, []hunt.Kind{hunt.Product, hunt.Overload}, over(want - stray(town, f) - 4)}
}

// stray is how far the drawn radio's intercepts lie from what they are stated as.
func stray(town *sim.Town, hz float64) float64 {
	s, err := sim.New(*town, sim.Options{})
	if err != nil {
		return math.NaN()
	}
	return s.InterceptDB(hz)
}

// looked is what the drawn towns are listened to for, outside their channels.
func looked() []band.Service {
	return append(fewServices(),
		band.Service{Name: "elsewhere", About: "elsewhere", LowHz: 360e6, HighHz: 470e6},
		band.Service{Name: "beyond", About: "elsewhere", LowHz: 652e6, HighHz: 740e6})
}

func listen(t *testing.T, town sim.Town, channels []band.Channel) *hunt.Hunt {
	t.Helper()
	s, err := sim.New(town, sim.Options{})
	require.NoError(t, err)
	far, _ := band.Plans()[0].Channel(36)
	plan := slices.Clone(channels)
	if !slices.Contains(plan, far) {
		plan = append(plan, far)
	}
	h, err := hunt.Listen(context.Background(), s, hunt.Options{
		Channels: channels, Plan: plan, Services: looked(), Dwell: time.Duration(hunt.InsideDwell * float64(time.Second)),
	})
	require.NoError(t, err)
	return h
}

func told(h *hunt.Hunt) string {
	var out string
	for i := range h.Suspects {
		if i == 4 {
			break
		}
		s := &h.Suspects[i]
		out += fmt.Sprintf("%s (%s) %.1f dB; ", s.Kind, s.Name, s.WorstDB())
	}
	return out
}

// Truth: the town's own numbers. In random towns with one to three faults the
// first suspect is the fault that costs most; where another costs within 1.5 dB
// as much, it may come first too.
func TestBlindTowns(t *testing.T) {
	rng := rand.New(rand.NewPCG(31, 7))
	towns, right := townDraws(t, 1), 0
	for n := range towns {
		town, channels, faults := blindTown(rng, 1+rng.IntN(3))
		if *onlyTown >= 0 && n != *onlyTown {
			right++
			continue
		}
		h := listen(t, town, channels)
		slices.SortStableFunc(faults, func(a, b fault) int {
			if a.cost > b.cost {
				return -1
			}
			return 1
		})
		ok := false
		for _, f := range faults {
			if f.cost >= faults[0].cost-1.5 && len(h.Suspects) > 0 && slices.Contains(f.kinds, h.Suspects[0].Kind) {
				ok = true
			}
		}
		if ok {
			right++
		}
		if !ok || *onlyTown >= 0 {
			t.Logf("town %d: %+v, told: %s", n, faults, told(h))
		}
		if n%10 == 9 {
			t.Logf("%d of %d so far", right, n+1)
		}
	}
	t.Logf("%d of %d towns with the right first suspect", right, towns)
	require.GreaterOrEqual(t, float64(right), 0.85*float64(towns))
}

// Truth: the town has no fault. A clean town is called clean.
func TestCleanTowns(t *testing.T) {
	rng := rand.New(rand.NewPCG(32, 7))
	towns, clean := townDraws(t, 1), 0
	for n := range towns {
		town, channels, _ := blindTown(rng, 0)
		h := listen(t, town, channels)
		if h.Clean() {
			clean++
		} else {
			t.Logf("town %d: told: %s", n, told(h))
		}
		if n%10 == 9 {
			t.Logf("%d of %d so far", clean, n+1)
		}
	}
	t.Logf("%d of %d clean towns called clean", clean, towns)
	require.GreaterOrEqual(t, float64(clean), 0.97*float64(towns))
}
