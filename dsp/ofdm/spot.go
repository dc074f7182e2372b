package ofdm

import (
	"cmp"
	"math"
	"slices"
)

const (
	// lagSeconds is how long after part C of a bootstrap symbol what it is a
	// copy of comes: the length of A. A/321, 6.2.
	lagSeconds = partA / BootstrapRateHz

	// symbolSeconds is from one bootstrap symbol to the next.
	symbolSeconds = (partA + partB + partC) / BootstrapRateHz

	// laterStart is where part C begins in the second to fourth symbols, which
	// are B, C, A where the first is C, A, B.
	laterStart = partB / BootstrapRateHz

	// spots is how many places Spot returns at the most.
	spots = 4

	// aroundSeconds is what belongs to a place before and after it.
	aroundBefore, aroundAfter = 0.3e-3, 1.2e-3
)

// Spotter finds where in a stay a bootstrap may begin. It is used by one
// goroutine at a time. The zero value is ready.
type Spotter struct{ best []spot }

// spot is a place and how much its copies are alike, 0 to 1.
type spot struct {
	at    int
	alike float64
}

// Spot returns the places of a stay, in samples of rateHz, at which a bootstrap
// may begin, the likeliest first; mostly none where there is none. It is quick
// and knows no frequency: in each of the four symbols part C is a copy of what
// comes 333 µs later, so there the samples are like themselves. A place is no
// evidence by itself; Around tells what to hand to Search for that.
//
// Over W of the bootstrap's band the copies hold 338 µs·W values: 710 for a
// dongle's 2.1 MHz. With S for the signal's share of the power, S²·710 must
// exceed what noise does somewhere in the stay: from some −5 dB of C/N up.
func (s *Spotter) Spot(x []complex64, rateHz float64) []int {
	lag := int(math.Round(lagSeconds * rateHz))
	long := int(partC / BootstrapRateHz * rateHz)
	var starts [4]int
	for k := 1; k < len(starts); k++ {
		starts[k] = int(math.Round((float64(k)*symbolSeconds + laterStart) * rateHz))
	}
	count := len(x) - lag - long - starts[3]
	if count < 1 || long < 8 {
		return nil
	}
	apart := int(symbolSeconds * rateHz / 2)
	step := max(1, long/stepsInCopy)
	values := float64(len(starts)*long) * bandShare
	least := math.Log(float64(count)/float64(step)/spotChance) / values
	// What the samples have in common all the time, as a line has, is no copy.
	always := inCommon(x, lag, 0, len(x)-lag)
	always.product *= complex(float64(long)/float64(len(x)-lag), 0)
	s.best = s.best[:0]
	var windows [4]copied
	for k, start := range starts {
		windows[k] = inCommon(x, lag, start, start+long)
	}
	for at := 0; at < count; at += step {
		var all copied
		for k := range windows {
			all.product += windows[k].product - always.product
			all.power += windows[k].power
		}
		if alike := (real(all.product)*real(all.product) + imag(all.product)*imag(all.product)) / (all.power * all.power); alike > least {
			s.take(spot{at, alike}, apart)
		}
		if at+step >= count {
			break
		}
		for k, start := range starts {
			from := at + start
			gone, come := inCommon(x, lag, from, from+step), inCommon(x, lag, from+long, from+long+step)
			windows[k].product += come.product - gone.product
			windows[k].power += come.power - gone.power
		}
	}
	slices.SortFunc(s.best, func(a, b spot) int { return cmp.Compare(b.alike, a.alike) })
	out := make([]int, len(s.best))
	for i, p := range s.best {
		out[i] = p.at
	}
	return out
}

const (
	stepsInCopy = 48   // places tried along a copy's length: 2 % are lost between two
	bandShare   = 0.7  // of the samples' values that are independent of each other
	spotChance  = 0.05 // of a place in a stay of noise
)

// copied is what samples have in common with those a lag later, and the power of
// both.
type copied struct {
	product complex128
	power   float64
}

// inCommon returns that for the samples from first up to last.
func inCommon(x []complex64, lag, first, last int) copied {
	var re, im, power float64
	later := x[first+lag : last+lag]
	for i, a := range x[first:last] {
		b := later[i]
		re += float64(real(a)*real(b) + imag(a)*imag(b))
		im += float64(real(a)*imag(b) - imag(a)*real(b))
		power += float64(real(a)*real(a)+imag(a)*imag(a)+real(b)*real(b)+imag(b)*imag(b)) / 2
	}
	return copied{complex(re, im), power}
}

// take keeps a place, unless better ones fill the list. Of places near each
// other the best stays.
func (s *Spotter) take(p spot, apart int) {
	if n := len(s.best); n > 0 && p.at-s.best[n-1].at < apart {
		if p.alike > s.best[n-1].alike {
			s.best[n-1] = p
		}
		return
	}
	if len(s.best) < spots {
		s.best = append(s.best, p)
		return
	}
	least := 0
	for k := range s.best {
		if s.best[k].alike < s.best[least].alike {
			least = k
		}
	}
	if p.alike > s.best[least].alike {
		s.best = append(slices.Delete(s.best, least, least+1), p)
	}
}

// Around returns the part of a stay that Search needs to see whether a
// bootstrap begins at a place, and its first sample.
func Around(x []complex64, rateHz float64, place int) (first int, part []complex64) {
	first = max(0, place-int(aroundBefore*rateHz))
	return first, x[first:min(len(x), place+int(aroundAfter*rateHz)+1)]
}

// AroundSamples is the most samples that Around returns.
func AroundSamples(rateHz float64) int {
	return int(aroundBefore*rateHz) + int(aroundAfter*rateHz) + 1
}
