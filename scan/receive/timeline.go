package receive

import "math"

// Timeline is how reception went, in bins of equal length. When it is full, two bins
// each become one: its memory is the same for a minute and a week.
type Timeline struct {
	Bins   []Bin
	Length int // seconds in each bin but the last
}

// Bin is some seconds of reception.
type Bin struct {
	Seconds      float64
	Packets      int64
	Failed       int64
	Corrected    int64
	Unlocked     int     // seconds that ended without lock
	LowestMERDB  float64 // NaN when there was none
	HighestMERDB float64
}

const maxBins = 720

func (t *Timeline) add(s Second) {
	if t.Length == 0 {
		t.Length = 1
	}
	b := Bin{
		Seconds: s.Length, Packets: s.Packets, Failed: s.Failed, Corrected: s.Corrected,
		LowestMERDB: s.MERDB, HighestMERDB: s.MERDB,
	}
	if !s.Locked {
		b.Unlocked = 1
	}
	if n := len(t.Bins); n > 0 && t.Bins[n-1].Seconds < float64(t.Length)-0.5 {
		t.Bins[n-1] = t.Bins[n-1].and(b)
		return
	}
	if len(t.Bins) == maxBins {
		for i := range maxBins / 2 {
			t.Bins[i] = t.Bins[2*i].and(t.Bins[2*i+1])
		}
		t.Bins = t.Bins[:maxBins/2]
		t.Length *= 2
	}
	t.Bins = append(t.Bins, b)
}

func (b Bin) and(c Bin) Bin {
	return Bin{
		Seconds: b.Seconds + c.Seconds, Packets: b.Packets + c.Packets, Failed: b.Failed + c.Failed,
		Corrected: b.Corrected + c.Corrected, Unlocked: b.Unlocked + c.Unlocked,
		LowestMERDB: least(b.LowestMERDB, c.LowestMERDB), HighestMERDB: -least(-b.HighestMERDB, -c.HighestMERDB),
	}
}

// least is the lesser of two values, of which NaN is none.
func least(a, b float64) float64 {
	if math.IsNaN(a) || b < a {
		return b
	}
	return a
}
