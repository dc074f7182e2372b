package cure

import (
	"math"

	"rooftone/dsp/decibel"
)

// shape is how a channel's signal-to-noise ratio goes up and down across it,
// relative to its mean. An empty one is flat.
type shape []float64

// equalised is what an ideal equaliser makes of a mean signal-to-noise ratio:
// exp(mean ln(1 + SNR(f))) − 1.
func (s shape) equalised(mean float64) float64 {
	if len(s) == 0 {
		return mean
	}
	var sum float64
	for _, r := range s {
		sum += math.Log1p(mean * r)
	}
	return math.Expm1(sum / float64(len(s)))
}

// mean is the mean signal-to-noise ratio from which an equaliser makes so much.
func (s shape) mean(equalised float64) float64 {
	low, high := equalised*1e-3, equalised*1e6
	for range 80 {
		if middle := math.Sqrt(low * high); s.equalised(middle) < equalised {
			low = middle
		} else {
			high = middle
		}
	}
	return math.Sqrt(low * high)
}

// change is by how many dB the equaliser's output moves when the mean ratio is
// multiplied by a factor: an uneven channel that is near the noise gets less than
// the whole of it.
func (s shape) change(from, factor float64) float64 {
	return decibel.Of(s.equalised(from*factor) / s.equalised(from))
}

// sloped is a shape that costs so many dB at a margin: its level falls evenly in dB
// from end to end. It stands in where only the cost is known.
func sloped(costDB, equalised float64) shape {
	const least, points, most = 0.3, 24, 60
	if costDB < least {
		return nil
	}
	make := func(rangeDB float64) shape {
		out := make(shape, points)
		var sum float64
		for i := range out {
			out[i] = decibel.Power(rangeDB * ((float64(i)+0.5)/points - 0.5))
			sum += out[i] / points
		}
		for i := range out {
			out[i] /= sum
		}
		return out
	}
	low, high := 0.0, float64(most)
	for range 40 {
		middle := (low + high) / 2
		s := make(middle)
		if decibel.Of(s.mean(equalised)/equalised) < costDB {
			low = middle
		} else {
			high = middle
		}
	}
	return make((low + high) / 2)
}
