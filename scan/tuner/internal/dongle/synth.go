package dongle

import "math"

// place is where a dongle is sent: what to ask for, and where the middle of its
// samples then lies by its own clock.
type place struct {
	ask uint32
	hz  float64
}

// reach is how far from what was wanted a frequency is looked for that can be known,
// and reachStep in what steps.
const (
	reach     = 1500
	reachStep = 10
)

// place returns where to send a dongle that is to go to a frequency at a rate.
//
// The R820T's synthesiser makes multiples of 220 Hz at UHF, and not what it is asked
// for; librtlsdr tells what it was asked for and not what became of it. Which multiple
// it is depends on the library: up to 2.0.1 it counts in whole kHz of the oscillator
// and rounds down several times, which leaves it up to 0.6 kHz low at UHF; from 2.0.2
// on it rounds to the nearest. So what is asked for is the nearest frequency at which
// both choose the same registers, and what these give is what is believed.
//
// Of other chips nothing is known, and they are taken at their word.
func (c Chip) place(hz, rateHz float64) place {
	there := place{ask: uint32(math.Round(hz)), hz: math.Round(hz)}
	if c != R820T {
		return there
	}
	offset, read := intermediate(rateHz)
	for d := 0; d <= reach; d += reachStep {
		for _, d := range [2]int{d, -d} {
			ask := int64(there.ask) + int64(d)
			lo := uint64(max(ask, 0)) + offset
			div := divider(lo)
			old, now := countedKHz(lo*div), rounded(lo*div)
			if div != 0 && ask >= 0 && ask <= math.MaxUint32 && old == now {
				return place{uint32(ask), float64(now)*2*crystalHz/65536/float64(div) - read}
			}
		}
	}
	return there
}

// intermediate returns the frequency to which librtlsdr has an R820T convert for a
// sample rate, and the one at which the demodulator then takes it up: a multiple of
// 6.9 Hz below. The tuner's filter, 2.43 MHz wide for rates up to that, is chosen by
// the rate too; its middle is this.
func intermediate(rateHz float64) (hz uint64, read float64) {
	const (
		edge         = 2.3e6          // of the narrow filter, above
		first, other = 350e3, 380e3   // by which that edge can be pushed up
		widest       = 1.7e6          // without
		six, eight   = 3.57e6, 4.57e6 // the middles of the wide filters
	)
	left, pushed := math.Floor(rateHz), 0.0
	var f float64
	switch {
	case left > 6e6:
		f = eight
	case left > widest+first+other:
		f = six
	default:
		if left > widest+first {
			left, pushed = left-other, pushed+other
		}
		if left > widest {
			left, pushed = left-first, pushed+first
		}
		f = edge + pushed - (pushed+narrow(left))/2
	}
	hz = uint64(f)
	const step = crystalHz / (1 << 22)
	return hz, math.Floor(float64(hz)/step) * step
}

// narrow returns how wide the low-pass part of the narrow filter is made for a
// bandwidth: the narrowest that is wide enough, of what there is.
func narrow(bw float64) float64 {
	widths := [...]float64{350e3, 450e3, 550e3, 700e3, 900e3, 1200e3, 1450e3, 1550e3, 1600e3, 1700e3}
	for _, w := range widths {
		if bw <= w {
			return w
		}
	}
	return widths[len(widths)-1]
}

// divider returns by what the oscillator, which runs at 1.77 to 3.54 GHz, is divided
// for a frequency; 0 where nothing does.
func divider(hz uint64) uint64 {
	kHz := (hz + 500) / 1000
	for div := uint64(2); div <= 64; div *= 2 {
		if v := kHz * div; v >= 1770000 && v < 3540000 {
			return div
		}
	}
	return 0
}

// rounded returns the multiple of 1/65536 of twice the crystal that is nearest.
func rounded(vcoHz uint64) uint64 {
	return (vcoHz*65536 + crystalHz) / (2 * crystalHz)
}

// countedKHz returns the multiple that results when only whole kHz count, and each
// of the fraction's bits is worth its share of twice the crystal in whole kHz too and
// is set where more than that is left, down to 1 kHz.
func countedKHz(vcoHz uint64) uint64 {
	n := vcoHz / (2 * crystalHz) * 65536
	left := vcoHz % (2 * crystalHz) / 1000
	for bit := uint64(1); bit < 16 && left > 1; bit++ {
		if worth := uint64(2*crystalHz/1000) >> bit; left > worth {
			left -= worth
			n += 65536 >> bit
		}
	}
	return n
}
