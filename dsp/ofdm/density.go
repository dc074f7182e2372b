package ofdm

import "math"

// Density returns the mean power density, per hertz, at a frequency above the
// channel's lower edge, of the whole transmission with its average power of 1:
// two flat blocks, the body's and, for the time that it takes, the narrower one
// of the bootstrap. What the edges of the symbols spread over their surroundings,
// some 10⁻⁴ of the power, is counted where it comes from.
func (w *Waveform) Density(offsetHz float64) float64 {
	away := math.Abs(offsetHz - ChannelWidthHz/2)
	share := BootstrapSeconds / w.FrameSeconds()
	var density float64
	if away < bodyWidth/2 {
		density += (1 - share) / bodyWidth
	}
	if away < bootWidth/2 {
		density += share / bootWidth
	}
	return density
}

// Widths of the blocks.
const (
	bodyWidth = bodyCarriers * bodySpacing // 5.83 MHz
	bootWidth = zadoffChuLength * BootstrapSpacingHz
)

// Power returns the integral of Density from lowHz to highHz above the
// channel's lower edge.
func (w *Waveform) Power(lowHz, highHz float64) float64 {
	share := BootstrapSeconds / w.FrameSeconds()
	within := func(width float64) float64 {
		low := math.Max(lowHz-ChannelWidthHz/2, -width/2)
		high := math.Min(highHz-ChannelWidthHz/2, width/2)
		return math.Max(high-low, 0) / width
	}
	return (1-share)*within(bodyWidth) + share*within(bootWidth)
}
