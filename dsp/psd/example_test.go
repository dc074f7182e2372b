package psd_test

import (
	"fmt"
	"math"
	"math/cmplx"

	"rooftone/dsp/psd"
)

// tone is n samples of a tone at f Hz of the given power.
func tone(n int, rateHz, f, power float64) []complex64 {
	x := make([]complex64, n)
	for i := range x {
		_, cycles := math.Modf(f / rateHz * float64(i))
		x[i] = complex64(cmplx.Rect(math.Sqrt(power), 2*math.Pi*cycles))
	}
	return x
}

func ExampleFFT() {
	f, err := psd.NewFFT(4)
	if err != nil {
		fmt.Println(err)
		return
	}
	x := []complex64{1, 2, 3, 4}
	if err := f.Transform(x, x); err != nil {
		fmt.Println(err)
		return
	}
	fmt.Println(x)
	// Output: [(10+0i) (-2+2i) (-2+0i) (-2-2i)]
}

func ExampleWelch() {
	const rate = 2.4e6
	w, err := psd.NewWelch(rate, 1024, psd.Hann)
	if err != nil {
		fmt.Println(err)
		return
	}
	// Write as often as samples come.
	w.Write(tone(144000, rate, 300e3, 0.01))

	var s psd.Spectrum
	w.Spectrum(&s, 503e6)
	power, ok := s.Power(503.28e6, 503.32e6)
	fmt.Printf("%.2f dBFS around 503.3 MHz, %v\n", 10*math.Log10(power), ok)
	fmt.Printf("%.0f independent averages\n", w.Averages())
	// Output:
	// -20.00 dBFS around 503.3 MHz, true
	// 265 independent averages
}

func ExampleZoom() {
	// Half on either side of −690 kHz, in blocks of 60 ms.
	const rate, span = 2.4e6, 100e3
	z, err := psd.NewZoom(rate, -690e3, span, 0.06)
	if err != nil {
		fmt.Println(err)
		return
	}
	z.Write(tone(144000, rate, -689_123.4, 1e-4))
	z.Flush()

	p, ok := z.Peak(-740e3, -640e3)
	if !ok {
		fmt.Println("nothing there")
		return
	}
	noise := 1e-12 // FS²/Hz, from elsewhere
	if p.Density > noise*z.Threshold(span, 1e-3) {
		t := z.Tone(p, noise)
		fmt.Printf("%.1f Hz, %.2f dBFS\n", t.OffsetHz, 10*math.Log10(t.Power))
	}
	// Output: -689123.4 Hz, -40.00 dBFS
}

func ExampleSpectrum_Power() {
	s := psd.Spectrum{StartHz: 100, StepHz: 10, Density: []float64{1, 2, math.NaN()}}
	fmt.Println(s.Power(95, 115))
	fmt.Println(s.Power(100, 120))
	// Output:
	// 30 true
	// NaN false
}
