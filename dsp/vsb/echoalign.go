package vsb

import (
	"cmp"
	"math"
	"slices"
)

const (
	alignStep   = 50e-9  // seconds between the delays that are compared
	alignApart  = 0.3e-6 // seconds between alignments that count as different
	alignments  = 3      // of each slice, that are tried
	alignRounds = 9      // of all slices together

	// What the model may leave of the data before other alignments are tried.
	alignedShare = 0.01
	alignedNoise = 2
)

// alignment is a delay at which a slice may have the first path.
type alignment struct {
	late  float64
	match float64
}

// fitAligned aligns the slices, which each may have another path for their
// strongest, and finds the paths. When that leaves much, the slices were
// aligned wrongly: it tries other ways and keeps the best.
func (m *echoModel) fitAligned(resolution float64) {
	ways := m.align()
	var best saved
	bestPower := math.Inf(1)
	rows := 0
	var data float64
	for _, s := range m.slices {
		rows += s.rows
		data += norm2(s.data)
	}
	enough := math.Max(alignedShare*data, alignedNoise*float64(rows))
	for round := range alignRounds {
		if !m.begin(ways, round) {
			break
		}
		m.grow(resolution)
		if m.power < bestPower {
			bestPower, best = m.power, m.save()
		}
		if m.power < enough {
			return
		}
	}
	m.restore(best)
	m.solve()
}

// begin starts with the given combination of alignments. It returns false when
// there are not as many.
func (m *echoModel) begin(ways [][]alignment, round int) bool {
	m.paths = append(m.paths[:0], echoPath{gain: 1})
	for i, s := range m.slices {
		s.match = s.matches(s.match, s.data)
		way := ways[i][round%len(ways[i])]
		round /= len(ways[i])
		s.late = way.late
		l := int(math.Round(s.late/s.half)) - s.first
		s.gain = s.match[l] / complex(s.echoData.power[l], 0)
	}
	if round > 0 {
		return false
	}
	m.solve()
	return true
}

// align returns, for each slice, where the first path may be, the likeliest
// first. In the strongest slice it is where that has most; in the others it is
// where their paths lie like that slice's.
func (m *echoModel) align() [][]alignment {
	count := int((LatestEchoSeconds - EarliestEchoSeconds) / alignStep)
	profiles := make([][]float64, len(m.slices))
	lead, leadAt, most := 0, 0, 0.
	for i, s := range m.slices {
		s.match = s.matches(s.match, s.data)
		profiles[i] = make([]float64, count)
		for k := range profiles[i] {
			at := (EarliestEchoSeconds+float64(k)*alignStep)/s.half - float64(s.first)
			l := int(at)
			x := at - float64(l)
			v := norm2(s.match[l:l+1])/s.echoData.power[l]*(1-x) + norm2(s.match[l+1:l+2])/s.echoData.power[l+1]*x
			profiles[i][k] = v
			if v > most {
				lead, leadAt, most = i, k, v
			}
		}
	}
	ways := make([][]alignment, len(m.slices))
	for i := range m.slices {
		if i == lead {
			ways[i] = []alignment{{late: EarliestEchoSeconds + float64(leadAt)*alignStep}}
			continue
		}
		ways[i] = m.slices[i].alignTo(profiles[i], profiles[lead], leadAt)
	}
	return ways
}

// alignTo compares a slice's profile with the leading one's.
func (s *echoSlice) alignTo(profile, lead []float64, leadAt int) []alignment {
	count := len(profile)
	match := make([]float64, count)
	for at := range match {
		lag := at - leadAt
		for k := max(0, -lag); k < min(count, count-lag); k++ {
			match[at] += lead[k] * profile[k+lag]
		}
	}
	var ways []alignment
	for at, v := range match {
		if at > 0 && match[at-1] > v || at+1 < count && match[at+1] > v {
			continue
		}
		// The path itself is near there.
		peak := at
		reach := int(s.half / alignStep)
		for k := max(0, at-reach); k < min(count, at+reach+1); k++ {
			if profile[k] > profile[peak] {
				peak = k
			}
		}
		ways = append(ways, alignment{EarliestEchoSeconds + float64(peak)*alignStep, v})
	}
	slices.SortFunc(ways, func(a, b alignment) int { return cmp.Compare(b.match, a.match) })
	kept := ways[:0]
	for _, w := range ways {
		near := slices.ContainsFunc(kept, func(k alignment) bool { return math.Abs(k.late-w.late) < alignApart })
		if !near && len(kept) < alignments {
			kept = append(kept, w)
		}
	}
	return kept
}
