package coding

import "rooftone/dsp/vsb"

// Slicer decides symbols as soon as they come, for an equaliser that feeds its
// decisions back or adapts to them. It follows the trellises: where a plain slicer
// chooses among eight levels, it knows from a coder's state, as the survivors tell
// it, that only four can come, twice as far apart; and its decisions get better
// as the coder's next symbols come.
type Slicer struct {
	branches *branchMetrics
	coders   [coders]survivors
}

// survivors are the likeliest path to each state of a coder and its metric.
type survivors struct {
	metrics [4]int64
	paths   [4]Path
}

// Path is a coder's last PathSymbols symbols.
type Path uint64

// PathSymbols is how many symbols of a coder a Path has.
const PathSymbols = 21

// Symbol returns the coder's last symbol but i, as three bits.
func (p Path) Symbol(i int) uint8 { return uint8(p>>(3*i)) & 7 }

// Level returns the level of the coder's last symbol but i.
func (p Path) Level(i int) float32 { return Level(p.Symbol(i)) }

// NewSlicer returns a slicer.
func NewSlicer() *Slicer { return &Slicer{branches: newBranchMetrics()} }

// Reset forgets all symbols.
func (s *Slicer) Reset() { clear(s.coders[:]) }

// Coder returns which of the twelve coders a data symbol belongs to. segment is the
// segment's index in its field, 1 to 312, and symbol the symbol's in its segment,
// 4 to 831. The symbols twelve before and behind belong to the same coder, if
// field syncs are left out.
func Coder(segment, symbol int) int {
	return (firstCoder(segment-1) + symbol - vsb.SegmentSyncSymbols) % coders
}

// Slice takes the next soft symbol of a coder, 0 to 11, and returns the likeliest
// path up to it. A symbol that is not finite is erased: the path goes on as the
// code allows.
func (s *Slicer) Slice(coder int, soft float32) Path {
	var entry uint64
	if x := soft*softSteps + softMiddle; x >= 0 && x < softEntries {
		entry = s.branches[int(x)]
	} else {
		entry = s.branches[outerEntry(soft)]
	}
	b0, b1, b2, b3 := branchOf(entry, 0), branchOf(entry, 1), branchOf(entry, 2), branchOf(entry, 3)
	p0, p1, p2, p3 := pathOf(entry, 0), pathOf(entry, 1), pathOf(entry, 2), pathOf(entry, 3)
	c := &s.coders[coder]
	m0, m1, m2, m3 := c.metrics[0], c.metrics[1], c.metrics[2], c.metrics[3]
	q0, q1, q2, q3 := c.paths[0]<<3, c.paths[1]<<3, c.paths[2]<<3, c.paths[3]<<3
	// The transitions are those of quad.advance.
	n0, r0 := likelier(m0+b0, q0|p0, m2+b2, q2|p2)
	n1, r1 := likelier(m0+b2, q0|p2, m2+b0, q2|p0)
	n2, r2 := likelier(m1+b1, q1|p1, m3+b3, q3|p3)
	n3, r3 := likelier(m1+b3, q1|p3, m3+b1, q3|p1)
	low, lowPath := likelier(n0, r0, n1, r1)
	high, highPath := likelier(n2, r2, n3, r3)
	least, path := likelier(low, lowPath, high, highPath)
	c.metrics = [4]int64{n0 - least, n1 - least, n2 - least, n3 - least}
	c.paths = [4]Path{r0, r1, r2, r3}
	return path
}

// likelier returns the smaller of two metrics and its path. It does not branch,
// as nobody could foretell the branch.
func likelier(metric int64, path Path, otherMetric int64, otherPath Path) (int64, Path) {
	other := (otherMetric - metric) >> 63 // all ones if the other one is smaller
	return metric + (otherMetric-metric)&other, path ^ (path^otherPath)&Path(other)
}

func branchOf(entry uint64, coset uint) int64 { return int64(entry >> (16 * coset) & 0x7fff) }

// pathOf returns the nearer symbol of a coset.
func pathOf(entry uint64, coset uint) Path {
	return Path(entry>>(16*coset+13)&4) | Path(coset)
}
