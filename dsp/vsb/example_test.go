package vsb_test

import (
	"fmt"
	"math"

	"rooftone/dsp/vsb"
)

// A dongle at 2.4 MS/s, tuned 1 MHz above the lower edge of a channel, whose
// clock is 20 ppm fast at 600 MHz.
func ExampleRenderer() {
	const rate, center, ppm = 2.4e6, 1e6, 20e-6
	station := vsb.NewWaveform(1)
	slice, err := vsb.NewRenderer(rate, center+600e6*ppm)
	if err != nil {
		fmt.Println(err)
		return
	}
	samples := make([]complex64, 240000)
	if err := slice.Render(samples, station, 0, 1/(rate*(1+ppm))); err != nil {
		fmt.Println(err)
		return
	}
	power := 0.
	for _, v := range samples {
		power += float64(real(v)*real(v)+imag(v)*imag(v)) / float64(len(samples))
	}
	fmt.Printf("%.1f dB of the whole transmission's power\n", 10*math.Log10(power))
	// Output: -4.1 dB of the whole transmission's power
}

func ExampleDataPower() {
	for _, center := range []float64{1e6, 3e6, 5e6} {
		fmt.Printf("%.3f\n", vsb.DataPower(center-1.05e6, center+1.05e6))
	}
	// Output:
	// 0.301
	// 0.363
	// 0.301
}
