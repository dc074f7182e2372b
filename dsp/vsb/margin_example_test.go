package vsb_test

import (
	"fmt"
	"math"

	"rooftone/dsp/vsb"
)

// A station 20 dB above the noise, with an echo 1.4 µs late and 4 dB down.
func ExampleEqualisedSNR() {
	const stepHz, delay, gain = 5e3, 1.4e-6, 0.63
	var signal, noise []float64
	for hz := 0.; hz <= vsb.ChannelWidthHz; hz += stepHz {
		power := 1 + gain*gain + 2*gain*math.Cos(2*math.Pi*hz*delay)
		signal = append(signal, vsb.Density(hz)*power/(1+gain*gain))
		noise = append(noise, 0.01/vsb.ChannelWidthHz)
	}
	snr, err := vsb.EqualisedSNR(signal, noise, 0, stepHz)
	if err != nil {
		fmt.Println(err)
		return
	}
	fmt.Printf("%.1f dB at the slicer\n", 10*math.Log10(snr))
	fmt.Printf("%.1f dB of margin\n", vsb.MarginDB(snr, 15.2))
	// Output:
	// 18.7 dB at the slicer
	// 3.4 dB of margin
}
