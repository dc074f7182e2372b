package sim

import (
	"fmt"

	"rooftone/dsp/air"
	"rooftone/dsp/render"
)

// The filters that a radio can have: Radio.Front.
const (
	// FrontPlain sees nothing beyond half the rate, and droops as
	// Radio.DroopDB and Radio.TiltDB say; it lets all noise through.
	FrontPlain = "plain"

	FrontDongle = "dongle"  // air.Dongle
	FrontZeroIF = "zero-if" // air.ZeroIF
	FrontWide   = "wide"    // air.Wide
)

func (r *Radio) validateFront() error {
	switch r.Front {
	case "", FrontPlain:
		if r.FoldDB != 0 || r.StrayDB != 0 {
			return fmt.Errorf("fold_db and stray_db belong to another front than %q", FrontPlain)
		}
	case FrontDongle, FrontZeroIF, FrontWide:
		if r.DroopDB != 0 {
			return fmt.Errorf("droop_db belongs to front = %q", FrontPlain)
		}
	default:
		return fmt.Errorf("front = %.40q must be %s, %s, %s or %s", r.Front, FrontPlain, FrontDongle, FrontZeroIF, FrontWide)
	}
	return check(limit{"fold_db", r.FoldDB, -60, 30}, limit{"stray_db", r.StrayDB, 0, 3})
}

// front returns the radio's filters, nil for plain ones. The rates of a wide
// radio need those of one.
func (r *Radio) front() *air.FrontEnd {
	var f air.FrontEnd
	switch {
	case r.Front == "" || r.Front == FrontPlain:
		return nil
	case r.Wide || r.Front == FrontWide:
		f = air.Wide()
	case r.Front == FrontZeroIF:
		f = air.ZeroIF()
	default:
		f = air.Dongle()
	}
	f.StrayDB, f.FoldDB, f.Seed = r.StrayDB, r.FoldDB, air.Seed(r.Seed, 74)
	return &f
}

// band returns what the radio's filters do in a slice, nil for plain ones.
func (r *Radio) band(s *slice, gainDB float64) *air.Band {
	f := r.front()
	if f == nil {
		return nil
	}
	f.LeanDB = s.tiltDB
	return f.Band(s.centerHz, s.rateHz, gainDB)
}

// reachHz is how far from the middle a slice hears anything.
func (s *slice) reachHz() float64 {
	if s.band == nil {
		return s.rateHz / 2
	}
	return s.band.ReachHz()
}

// edges returns the frequencies between which the slice hears anything, and
// inner those of its own samples: what lies outside these folds in.
func (s *slice) edges() (low, high float64) {
	return s.centerHz - s.reachHz(), s.centerHz + s.reachHz()
}

func (s *slice) inner() (low, high float64) {
	return s.centerHz - s.rateHz/2, s.centerHz + s.rateHz/2
}

// passes returns what the filters make of an amplitude at a true frequency.
func (s *slice) passes(hz float64) float64 {
	if s.band == nil {
		return 1
	}
	return s.band.Amplitude(hz - s.centerHz)
}

// most returns the greatest amplitude that the filters let through of what lies
// between two frequencies: all of it within the slice, and of what folds in as
// much as where it is nearest.
func (s *slice) most(lowHz, highHz float64) float64 {
	low, high := s.inner()
	switch {
	case lowHz >= high:
		return s.passes(lowHz)
	case highHz <= low:
		return s.passes(highHz)
	}
	return 1
}

// filter is what a transmission is rendered through.
func (s *slice) filter() render.Filter {
	if s.band == nil {
		return render.Sharp(s.rateHz)
	}
	return render.Filter{Amplitude: s.band.Amplitude, ReachHz: s.band.ReachHz()}
}

// folded returns the density in cycles per sample, for an air.Shaper, of what a
// density per Hz at true frequencies becomes in the slice.
func (s *slice) folded(density func(hz float64) float64) func(cyclesPerSample float64) float64 {
	if s.band == nil {
		return func(x float64) float64 { return density(s.centerHz+x*s.rateHz) * s.rateHz }
	}
	return func(x float64) float64 {
		sum := 0.0
		for _, k := range []float64{-1, 0, 1} {
			offset := (x + k) * s.rateHz
			if p := s.band.Power(offset); p > 0 {
				sum += p * density(s.centerHz+offset)
			}
		}
		return sum * s.rateHz
	}
}

// hissPoints is how finely the noise behind the filters is shaped: to some
// 600 Hz at 2.4 MS/s.
const hissPoints = 4096

// openFront prepares the filters for a stay.
func (t *Tuner) openFront(s *slice) error {
	if s.band == nil {
		t.filter = air.NewFIR(air.PassBand(t.town.Radio.DroopDB, s.tiltDB))
		return nil
	}
	t.filter = nil
	density := func(x float64) float64 { return s.noise * s.band.Noise(x*s.rateHz) }
	if t.hiss != nil {
		return t.hiss.Shape(air.Seed(s.seed, 5), density)
	}
	hiss, err := air.NewShaper(hissPoints, air.Seed(s.seed, 5), density)
	t.hiss = hiss
	return err
}
