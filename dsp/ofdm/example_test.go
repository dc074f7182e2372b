package ofdm_test

import (
	"fmt"

	"rooftone/dsp/air"
	"rooftone/dsp/ofdm"
)

// A dongle at 2.4 MS/s, tuned 1 MHz above the lower edge of a channel, whose
// clock is 20 ppm fast at 600 MHz, looks for 300 ms at a station as strong as
// the noise.
func ExampleSearcher() {
	const rate, center, ppm = 2.4e6, 1e6, 20e-6
	station, err := ofdm.NewWaveform(1, 186)
	if err != nil {
		fmt.Println(err)
		return
	}
	slice, err := ofdm.NewRenderer(rate, center+600e6*ppm)
	if err != nil {
		fmt.Println(err)
		return
	}
	samples := make([]complex64, 720_000)
	if err := slice.Render(samples, station, 0.1, 1/(rate*(1+ppm))); err != nil {
		fmt.Println(err)
		return
	}
	air.NewNoise(1).Add(samples, rate/6e6)

	search, err := ofdm.NewSearcher(rate, center, len(samples))
	if err != nil {
		fmt.Println(err)
		return
	}
	b, err := search.Search(samples, 0, 36e3) // the clock may be off by 60 ppm
	if err != nil {
		fmt.Println(err)
		return
	}
	fmt.Println("found:", b.Found)
	fmt.Printf("%.3f ms after the first sample, %.1f kHz off\n", b.StartSeconds*1e3, b.CarrierErrorHz/1e3)
	// Output:
	// found: true
	// 150.003 ms after the first sample, -12.0 kHz off
}
