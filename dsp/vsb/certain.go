package vsb

import "math"

// CertainSNR returns the ratio of the data's density to the noise's from which
// the training of a stay of the given length is found with certainty, with a
// probability of false alarm of no more than chance and nothing known of the
// clock: in a slice of 2 MHz also where two equal paths divide it. It is +Inf where the
// stay may lie between two field syncs.
func (t *Trainer) CertainSNR(seconds, chance float64) float64 {
	const (
		fieldSeconds = FieldSymbols / SymbolRateHz
		paths        = 2
		placesLost   = 1.15 // between the places, carriers and clocks that are tried
		tries        = 100  // of those
		reserve      = 2    // for what the above leaves out
	)
	fields := math.Floor(seconds/fieldSeconds - 0.01)
	if fields < 1 {
		return math.Inf(1)
	}
	places := 2 * fieldSeconds * t.layout.rateHz * tries
	score := fields
	for float64(places)*math.Exp(logGamma(int(fields), score)) > chance {
		score *= 1.05
	}
	// A score of s scatters by √(2s) at the most.
	score += 2.5 * math.Sqrt(2*score)
	whole := score * paths * placesLost
	values := fields * float64(t.layout.points-2*leadSteps)
	if whole >= values {
		return math.Inf(1)
	}
	// The score counts the signal in the power that it is divided by, and ends
	// at n for each field.
	return reserve * whole / (values - whole)
}
