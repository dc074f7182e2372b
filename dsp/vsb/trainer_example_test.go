package vsb_test

import (
	"fmt"
	"math/rand/v2"

	"rooftone/dsp/vsb"
)

// A slice of 2.4 MS/s in the middle of a channel, at 473 MHz, by a radio whose
// clock is 20 ppm fast. An echo comes 3 µs late, 10 dB down. The noise makes a
// C/N of 20 dB in 6 MHz.
func ExampleTrainer_Fit() {
	const (
		rate   = 2.4e6
		offset = 3e6
		center = 473e6
		clock  = 20e-6
	)
	renderer, err := vsb.NewRenderer(rate, offset+center*clock)
	if err != nil {
		fmt.Println(err)
		return
	}
	x := make([]complex64, 0.06*rate)
	station := vsb.NewWaveform(1)
	for _, path := range []struct {
		delay float64
		gain  complex128
	}{{0, 1}, {3e-6, 0.316}} {
		if err := renderer.Add(x, station, -path.delay, 1/(rate*(1+clock)), path.gain); err != nil {
			fmt.Println(err)
			return
		}
	}
	rng := rand.New(rand.NewPCG(1, 2))
	const sigma = 0.0469 // √(1.1/100/6 MHz · 2.4 MHz / 2)
	for i := range x {
		x[i] += complex(float32(sigma*rng.NormFloat64()), float32(sigma*rng.NormFloat64()))
	}

	trainer, err := vsb.NewTrainer(rate, offset)
	if err != nil {
		fmt.Println(err)
		return
	}
	training, err := trainer.Fit(x, vsb.Knowledge{CenterHz: center})
	if err != nil {
		fmt.Println(err)
		return
	}
	profile, err := vsb.Echoes(training)
	if err != nil {
		fmt.Println(err)
		return
	}
	fmt.Printf("found %v, clock %.0f ppm, MER %.0f dB\n", training.Found, training.ClockPPM, training.MERdB)
	for _, e := range profile.Echoes {
		fmt.Printf("echo %.1f µs late, %.0f dB\n", e.DelaySeconds*1e6, e.LevelDB)
	}
	// Output:
	// found true, clock 20 ppm, MER 20 dB
	// echo 3.0 µs late, -10 dB
}
