package vsb

import "math"

// response is the amplitude of the transmitter's root-raised-cosine response,
// 1 in its flat part, at a frequency above the channel's lower edge.
func response(offsetHz float64) float64 {
	const (
		nyquist = SymbolRateHz / 2 // two-sided width between the half-power points
		flat    = nyquist / 2 * (1 - RollOff)
		skirt   = nyquist * RollOff
	)
	switch d := math.Abs(offsetHz-ChannelWidthHz/2) - flat; {
	case d <= 0:
		return 1
	case d < skirt:
		return math.Cos(math.Pi / 2 * d / skirt)
	}
	return 0
}

// Density returns the power density, per hertz, of the data at a frequency
// above the channel's lower edge, for a transmission whose total average
// power, pilot included, is 1. The pilot is a line of power PilotShare at
// PilotOffsetHz beside it; the density's integral is DataShare.
func Density(offsetHz float64) float64 {
	r := response(offsetHz)
	return DataShare / (SymbolRateHz / 2) * r * r
}

// DataPower returns the integral of Density from lowHz to highHz above the
// channel's lower edge.
func DataPower(lowHz, highHz float64) float64 {
	return dataBelow(highHz) - dataBelow(lowHz)
}

// dataBelow is the integral of Density up to a frequency.
func dataBelow(offsetHz float64) float64 {
	const (
		nyquist = SymbolRateHz / 2
		flat    = nyquist / 2 * (1 - RollOff)
		skirt   = nyquist * RollOff
	)
	d := math.Abs(offsetHz - ChannelWidthHz/2)
	fromMiddle := math.Min(d, flat)
	if x := math.Min(d-flat, skirt); x > 0 {
		fromMiddle += x/2 + skirt/(2*math.Pi)*math.Sin(math.Pi*x/skirt)
	}
	return DataShare * (0.5 + math.Copysign(fromMiddle/nyquist, offsetHz-ChannelWidthHz/2))
}
