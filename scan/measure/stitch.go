package measure

import (
	"math"
	"sort"

	"rooftone/dsp/decibel"
	"rooftone/dsp/psd"
	"rooftone/dsp/robust"
	"rooftone/scan/band"
	"rooftone/scan/listen"
)

// stitch joins the view's slices.
func (v *view) stitch(channels []band.Channel) {
	v.spectrum, v.lift = stitch(v.slices, channels, v.passband, v.clock)
}

// view is what one gain shows of the band: the stitched spectrum and the
// slices it is made of.
type view struct {
	gainDB   float64
	slices   []*listen.Slice
	passband Passband
	rounding float64 // density in FS²/Hz that the converter's rounding adds after the pass band
	clock    float64 // true frequency over the radio's own: 1 + ppm·1e−6

	spectrum psd.Spectrum
	lift     []float32 // what dividing the pass band out did at each value of the spectrum
}

// stitch joins slices to one spectrum on the corrected frequency grid. Each
// frequency is taken from the slice whose middle is nearest, the pass band is
// divided out, and the gap that the DC spike leaves is bridged from its sides.
// Frequencies outside the channels and a little beside them are left out.
// lift tells for each value by what it was multiplied to flatten the pass band.
func stitch(slices []*listen.Slice, channels []band.Channel, p Passband, clock float64) (out psd.Spectrum, lift []float32) {
	const besideHz = 200e3
	step := slices[0].StepHz
	for _, s := range slices {
		step = math.Min(step, s.StepHz)
	}
	low, high := channels[0].LowerHz-besideHz, channels[len(channels)-1].UpperHz()+besideHz
	out = psd.Spectrum{StartHz: low, StepHz: step, Density: make([]float64, int((high-low)/step)+1)}
	distance := make([]float32, len(out.Density))
	lift = make([]float32, len(out.Density))
	for i := range out.Density {
		out.Density[i], distance[i] = math.NaN(), math.MaxFloat32
	}
	averages := make([]float64, 0, len(slices))
	for _, s := range slices {
		averages = append(averages, s.Averages)
		addSlice(&out, lift, distance, s, p, clock)
	}
	out.Averages = robust.Median(averages)
	keepChannels(&out, channels, besideHz)
	return out, lift
}

func addSlice(out *psd.Spectrum, lift, distance []float32, s *listen.Slice, p Passband, clock float64) {
	density := s.Bridged()
	middle := float64(len(density) / 2)
	half := listen.UsableShare * s.RateHz
	first := max(0, int(math.Ceil((s.CenterHz*clock-half-out.StartHz)/out.StepHz)))
	last := min(len(out.Density)-1, int(math.Floor((s.CenterHz*clock+half-out.StartHz)/out.StepHz)))
	for i := first; i <= last; i++ {
		offset := out.At(i)/clock - s.CenterHz
		if float32(math.Abs(offset)) >= distance[i] {
			continue
		}
		x := offset/s.StepHz + middle
		k := int(math.Floor(x))
		if k < 0 || k+1 >= len(density) {
			continue
		}
		// Interpolating densities keeps the power of a line.
		d := density[k] + (x-float64(k))*(density[k+1]-density[k])
		up := decibel.Power(-p.At(offset, s.RateHz))
		out.Density[i], lift[i] = d*up, float32(up)
		distance[i] = float32(math.Abs(offset))
	}
}

func keepChannels(s *psd.Spectrum, channels []band.Channel, besideHz float64) {
	c := 0
	for i := range s.Density {
		f := s.At(i)
		for c < len(channels) && f > channels[c].UpperHz()+besideHz {
			c++
		}
		if c == len(channels) || f < channels[c].LowerHz-besideHz {
			s.Density[i] = math.NaN()
		}
	}
}

// part is the density in FS²/Hz of a piece of a channel, without what lone
// tones add, relative to nothing.
type part struct {
	offsetHz float64 // of the piece's middle above the channel's lower edge
	density  float64
}

const channelParts = 24 // pieces of 250 kHz

// parts cuts a channel into pieces and returns the density of each, taken as a
// median so that tones do not count. It returns nil when the channel is not
// covered whole.
func (v *view) parts(c band.Channel) []part {
	width := band.WidthHz / channelParts
	out := make([]part, 0, channelParts)
	for k := range channelParts {
		low := c.LowerHz + float64(k)*width
		d := v.densities(low, low+width)
		if len(d) == 0 {
			return nil
		}
		for _, x := range d {
			if math.IsNaN(x) {
				return nil
			}
		}
		out = append(out, part{
			offsetHz: (float64(k) + 0.5) * width,
			density:  robust.Median(d) / robust.MedianOfGamma(v.spectrum.Averages),
		})
	}
	return out
}

// densities returns the stitched spectrum from lowHz to highHz.
func (v *view) densities(lowHz, highHz float64) []float64 {
	s := &v.spectrum
	first := int(math.Ceil((lowHz - s.StartHz) / s.StepHz))
	last := int(math.Ceil((highHz - s.StartHz) / s.StepHz))
	if first < 0 || last > len(s.Density) || first >= last {
		return nil
	}
	return s.Density[first:last]
}

// views sorts slices by gain and rate, those with the most slices first.
// roundingPower is what the converter's rounding adds to every sample in FS².
func views(slices []*listen.Slice, channels []band.Channel, clock, roundingPower float64) []*view {
	type kind struct{ gain, rate float64 }
	byKind := map[kind][]*listen.Slice{}
	for _, s := range slices {
		k := kind{listen.GainKey(s.GainDB), s.RateHz}
		byKind[k] = append(byKind[k], s)
	}
	// The pass band hangs on the rate, not on the gain.
	shapes := map[float64]Passband{}
	var out []*view
	for k, list := range byKind {
		if _, ok := shapes[k.rate]; !ok {
			var same []*listen.Slice
			for _, s := range slices {
				if s.RateHz == k.rate {
					same = append(same, s)
				}
			}
			shapes[k.rate] = findPassband(same, channels)
		}
		out = append(out, &view{gainDB: list[0].GainDB, slices: list, passband: shapes[k.rate], clock: clock, rounding: roundingPower / list[0].RateHz})
	}
	sort.Slice(out, func(i, j int) bool {
		if a, b := len(out[i].slices), len(out[j].slices); a != b {
			return a > b
		}
		return out[i].gainDB > out[j].gainDB
	})
	return out
}
