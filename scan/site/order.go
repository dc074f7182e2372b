package site

// Compare orders spots by the names of their places, their bearings and heights.
func (s *Spot) Compare(t *Spot) int { return bySpot(*s, *t) }
