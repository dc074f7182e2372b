package measure

import "math"

// merOverCN is by how much a flat clean channel's MER exceeds its C/N, in dB.
const merOverCN = 0.16

// controlledSigmaDB is what levels that move leave uncertain in a margin: found in
// simulation.
const controlledSigmaDB = 0.3

// withoutLevels takes out of a Reading what rests on comparing the levels of stays,
// for a radio that changes its gain between them and says nothing: what stands under a
// station's data, and whether something without training stands out of the noise. What
// a stay tells by itself (pilot, training, echoes, margin) stays.
func (r *Reading) withoutLevels() {
	r.UnderCost, r.CN, r.Moving = nil, nil, false
	if r.MER != nil {
		r.CN = &Estimate{r.MER.Value - merOverCN, r.MER.Sigma}
	}
	if r.Margin != nil {
		r.Margin = &Estimate{r.Margin.Value, math.Hypot(r.Margin.Sigma, controlledSigmaDB)}
	}
	if r.Presence == Unsure {
		r.Occupant, r.Standard, r.Suspicion = nil, "", []Doubt{DoubtNoiseLevel}
	}
}
