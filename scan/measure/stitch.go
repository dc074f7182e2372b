package measure

import (
	"cmp"
	"math"
	"slices"

	"rooftone/dsp/decibel"
	"rooftone/dsp/psd"
	"rooftone/dsp/robust"
	"rooftone/scan/band"
	"rooftone/scan/listen"
)

// stitch joins the view's slices.
func (v *view) stitch(channels []band.Channel) {
	v.spectrum, v.lift, v.from = stitch(v.slices, channels, v.passbands, v.clock)
	v.unfold()
}

// view is what one gain shows of the band: the stitched spectrum and the
// slices it is made of.
type view struct {
	gainDB    float64
	rateHz    float64 // 0 for several
	slices    []*listen.Slice
	passbands map[float64]Passband // by rate
	rounding  float64              // density in FS²/Hz that the converter's rounding adds after the pass band
	clock     float64              // true frequency over the radio's own: 1 + ppm·1e−6

	spectrum psd.Spectrum
	lift     []float32 // what dividing the pass band out did at each value of the spectrum
	from     []int16   // of which slice each value is; −1 for none
	folded   []float32 // what was taken off it for folding
}

// stitch joins slices to one spectrum on the corrected frequency grid. Each
// frequency is taken from the slice whose middle is nearest, in parts of its
// rate, the pass band is
// divided out, and the gap that the DC spike leaves is bridged from its sides.
// Frequencies outside the channels and a little beside them are left out.
// lift tells for each value by what it was multiplied to flatten the pass band,
// from which slice it is from.
func stitch(slices []*listen.Slice, channels []band.Channel, passbands map[float64]Passband, clock float64) (out psd.Spectrum, lift []float32, from []int16) {
	const besideHz = 200e3
	step := slices[0].StepHz
	for _, s := range slices {
		step = math.Min(step, s.StepHz)
	}
	low, high := channels[0].LowerHz-besideHz, channels[len(channels)-1].UpperHz()+besideHz
	out = psd.Spectrum{StartHz: low, StepHz: step, Density: make([]float64, int((high-low)/step)+1)}
	distance := make([]float32, len(out.Density))
	lift, from = make([]float32, len(out.Density)), make([]int16, len(out.Density))
	for i := range out.Density {
		out.Density[i], distance[i], from[i] = math.NaN(), math.MaxFloat32, -1
	}
	averages := make([]float64, 0, len(slices))
	for k, s := range slices {
		averages = append(averages, s.Averages)
		addSlice(&out, lift, distance, s, passbands[s.RateHz], clock, func(i int) { from[i] = int16(k) })
	}
	out.Averages = robust.Median(averages)
	keepChannels(&out, channels, besideHz)
	return out, lift, from
}

func addSlice(out *psd.Spectrum, lift, distance []float32, s *listen.Slice, p Passband, clock float64, took func(int)) {
	density := s.Bridged()
	middle := float64(len(density) / 2)
	half := listen.UsableShare * s.RateHz
	first := max(0, int(math.Ceil((s.CenterHz*clock-half-out.StartHz)/out.StepHz)))
	last := min(len(out.Density)-1, int(math.Floor((s.CenterHz*clock+half-out.StartHz)/out.StepHz)))
	for i := first; i <= last; i++ {
		offset := out.At(i)/clock - s.CenterHz
		away := float32(math.Abs(offset) / s.RateHz)
		if away >= distance[i] {
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
		distance[i] = away
		took(i)
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

// parts cuts a channel into pieces and returns the density of each of which at
// least half was seen, taken as a median so that tones do not count. A channel of
// which less than one piece was seen is one piece.
func (v *view) parts(c band.Channel) []part {
	width := band.WidthHz / channelParts
	var out []part
	take := func(low, high, least float64) {
		d := seenOnly(v.densities(low, high))
		if float64(len(d)) < least*(high-low)/v.spectrum.StepHz || len(d) < leastBins {
			return
		}
		out = append(out, part{
			offsetHz: (low+high)/2 - c.LowerHz,
			density:  robust.Median(d) / robust.MedianOfGamma(v.spectrum.Averages),
		})
	}
	for k := range channelParts {
		low := c.LowerHz + float64(k)*width
		take(low, low+width, 0.5)
	}
	if len(out) == 0 {
		for _, s := range v.seen(c) {
			take(s.LowHz, s.HighHz, 0.5)
		}
	}
	return out
}

// leastBins is how many values of a spectrum a level is read from at the least.
const leastBins = 8

// seenOnly drops what was not seen.
func seenOnly(density []float64) []float64 {
	out := density[:0:0]
	for _, d := range density {
		if !math.IsNaN(d) {
			out = append(out, d)
		}
	}
	return out
}

// seen returns the parts of a channel that the view's slices show. What stands
// apart by less than the spectrum's resolution is one.
func (v *view) seen(c band.Channel) []band.Span {
	var out []band.Span
	for _, s := range v.slices {
		half := listen.UsableShare * s.RateHz
		low, high := math.Max(c.LowerHz, s.CenterHz*v.clock-half), math.Min(c.UpperHz(), s.CenterHz*v.clock+half)
		if high-low > leastBins*s.StepHz {
			out = append(out, band.Span{LowHz: low, HighHz: high})
		}
	}
	return band.Join(out, 2*v.spectrum.StepHz)
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

// views sorts slices by gain and rate, those with the most slices first. Where a
// gain was used with several rates there is one view of each rate, and one of
// all. roundingPower is what the converter's rounding adds to every sample in
// FS².
func views(list []*listen.Slice, stations []band.Channel, clock, roundingPower float64) []*view {
	type kind struct{ gain, rate float64 }
	const anyRate = 0
	byKind := map[kind][]*listen.Slice{}
	byRate := map[float64][]*listen.Slice{}
	for _, s := range list {
		gain := listen.GainKey(s.GainDB)
		byKind[kind{gain, s.RateHz}] = append(byKind[kind{gain, s.RateHz}], s)
		byKind[kind{gain, anyRate}] = append(byKind[kind{gain, anyRate}], s)
		byRate[s.RateHz] = append(byRate[s.RateHz], s)
	}
	// The pass band hangs on the rate, not on the gain.
	shapes := map[float64]Passband{}
	for rate, same := range byRate {
		shapes[rate] = findPassband(same, stations)
	}
	var out []*view
	for k, of := range byKind {
		if k.rate == anyRate && len(of) == len(byKind[kind{k.gain, of[0].RateHz}]) {
			continue // they have one rate
		}
		out = append(out, &view{gainDB: of[0].GainDB, rateHz: k.rate, slices: of, passbands: shapes, clock: clock, rounding: roundingPower / of[0].RateHz})
	}
	slices.SortFunc(out, func(a, b *view) int {
		return cmp.Or(cmp.Compare(len(b.slices), len(a.slices)), cmp.Compare(listen.GainKey(b.gainDB), listen.GainKey(a.gainDB)), cmp.Compare(b.rateHz, a.rateHz))
	})
	return out
}

// passbandSigma is what may be left of the pass band after division, in dB.
func (v *view) passbandSigma() float64 {
	var most float64
	for _, s := range v.slices {
		most = math.Max(most, v.passbands[s.RateHz].SigmaDB)
	}
	return most
}
