package vsb

import (
	"errors"
	"math"
)

// Knowledge is what is known before a fit.
type Knowledge struct {
	// CenterHz is the slice's nominal middle on the air.
	CenterHz float64

	// ClockPPM is how fast the radio's clock runs: asked for f it goes to
	// f·(1+ClockPPM·1e−6), and its samples come as much faster. RangePPM is
	// how far that may be off. 0 means that nothing is known: ±60 ppm.
	ClockPPM, RangePPM float64

	// PassBand is the radio's own amplitude response at an offset from the
	// slice's middle; nil means that it is flat. It is divided out.
	PassBand func(hz float64) float64

	// StationHz is how far the station's carrier may be from its place; 0
	// means 1 kHz.
	StationHz float64
}

const (
	unknownPPM       = 60
	unknownStationHz = 1e3
)

// check looks for values that a slice of the given rate cannot have.
func (k Knowledge) check(rateHz float64) error {
	if !(k.CenterHz > 0 && k.CenterHz < 1e12) {
		return errors.New("the slice's middle on the air is not known")
	}
	if !(math.Abs(k.ClockPPM) <= 1000 && k.RangePPM >= 0 && k.RangePPM <= 1000 && k.StationHz >= 0 && k.StationHz <= 1e6) {
		return errors.New("the clock's error or its range is out of bounds")
	}
	middle, reach := k.carrierRange()
	if math.Abs(middle)+reach > rateHz/8 {
		return errors.New("the carrier may be far outside the slice")
	}
	return nil
}

func (k Knowledge) rangePPM() float64 {
	if k.RangePPM == 0 {
		return unknownPPM
	}
	return k.RangePPM
}

func (k Knowledge) stationHz() float64 {
	if k.StationHz == 0 {
		return unknownStationHz
	}
	return k.StationHz
}

// carrierRange returns by how many hertz too high the signal should appear,
// and how far that may be off.
func (k Knowledge) carrierRange() (middle, reach float64) {
	return -k.ClockPPM * 1e-6 * k.CenterHz, k.rangePPM()*1e-6*k.CenterHz + k.stationHz()
}

// carriers returns by how many hertz too high the signal may appear, close
// enough together.
func (k Knowledge) carriers() []float64 {
	middle, reach := k.carrierRange()
	count := int(math.Ceil(2 * reach / carrierStepHz))
	out := make([]float64, count)
	for i := range out {
		out[i] = middle + (float64(i)-float64(count-1)/2)*carrierStepHz
	}
	return out
}

// clocks returns the relative clock errors that go with a carrier, so close
// together that over the stay's seconds none is half a sample off.
func (k Knowledge) clocks(carrierHz, seconds, rateHz float64) []float64 {
	low, high := k.clockRange(carrierHz, carrierStepHz/2)
	step := 1 / (seconds * rateHz)
	count := max(1, int(math.Ceil((high-low)/step)))
	out := make([]float64, count)
	for i := range out {
		out[i] = (low+high)/2 + (float64(i)-float64(count-1)/2)*step
	}
	return out
}

// clockRange returns between which relative errors a clock lies when the signal
// appears carrierHz too high, give or take some hertz.
func (k Knowledge) clockRange(carrierHz, give float64) (low, high float64) {
	known, reach := k.ClockPPM*1e-6, k.rangePPM()*1e-6
	middle := -carrierHz / k.CenterHz
	around := (give + k.stationHz()) / k.CenterHz
	low, high = math.Max(known-reach, middle-around), math.Min(known+reach, middle+around)
	if low > high {
		low = math.Min(math.Max(middle, known-reach), known+reach)
		high = low
	}
	return low, high
}
