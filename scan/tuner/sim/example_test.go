package sim_test

import (
	"context"
	"fmt"

	"rooftone/scan/tuner"
	"rooftone/scan/tuner/sim"
)

// A radio in a town of one's own, and what is true of a channel there.
func Example() {
	town := sim.Town{
		Name:  "rehearsal",
		Radio: sim.BenchRadio(),
		Stations: []sim.Station{{
			RFChannel: 20, Call: "QXYZ", LevelDBm: -80,
			Echoes: []sim.Echo{{DelayUS: 1.4, LevelDB: -9, PhaseDeg: 110}},
		}},
	}
	radio, err := sim.New(town, sim.Options{})
	if err != nil {
		fmt.Println(err)
		return
	}
	defer radio.Close()

	ctx := context.Background()
	if err := radio.Tune(ctx, tuner.Tuning{CenterHz: 507e6, RateHz: 2.4e6, GainDB: 40}); err != nil {
		fmt.Println(err)
		return
	}
	block, err := radio.Read(ctx, make([]complex64, 144_000))
	if err != nil {
		fmt.Println(err)
		return
	}
	truth, err := radio.Truth(20)
	if err != nil {
		fmt.Println(err)
		return
	}
	fmt.Printf("%d samples at %.1f dB of gain, %v on the radio's clock\n", len(block.Samples), block.GainDB, radio.Elapsed())
	fmt.Printf("C/N %.1f dB\n", truth.CNDB)
	// Output:
	// 144000 samples at 40.1 dB of gain, 66ms on the radio's clock
	// C/N 18.7 dB
}
