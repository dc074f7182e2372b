package hunt

import (
	"fmt"
	"math"

	"rooftone/scan/band"
)

// sum adds up a service's band.
func (s *scene) sum(service band.Service, found []Emitter) Band {
	b := Band{Name: service.Name, About: service.About, LowHz: service.LowHz, HighHz: service.HighHz}
	var power float64
	heard, all := 0, s.pieces(service.LowHz, service.HighHz, 100e3)
	for _, p := range all {
		if !math.IsNaN(p.excess) {
			heard++
			power += p.power
		}
	}
	s.sumUp(&b, power, float64(heard)/float64(max(len(all), 1)), found)
	return b
}

func (s *scene) sumUp(b *Band, power, covered float64, found []Emitter) {
	b.Covered = covered
	if power > 0 {
		dBFS := decibel(power) + s.topDB
		b.PowerDBFS = &dBFS
	}
	for _, x := range s.stays {
		if !x.off && x.centerHz > b.LowHz-1e6 && x.centerHz < b.HighHz+1e6 {
			b.Clipped = max(b.Clipped, x.clipped)
		}
	}
	b.Emitters = len(found)
	var strongest float64
	for i := range found {
		if found[i].power > strongest {
			strongest, b.StrongestHz, b.StrongestSigmaHz = found[i].power, found[i].middleHz(), found[i].SigmaHz
		}
	}
}

// televisionBands sums up the runs of television channels.
func (s *scene) televisionBands() []Band {
	var out []Band
	for i := 0; i < len(s.plan); {
		j := i
		for j+1 < len(s.plan) && s.plan[j+1].LowerHz == s.plan[j].UpperHz() {
			j++
		}
		low, high := s.plan[i].LowerHz, s.plan[j].UpperHz()
		about := fmt.Sprintf("television, RF %d-%d", s.plan[i].Number, s.plan[j].Number)
		var found []Emitter
		for _, e := range s.emitter {
			if e.Service == television && e.LowHz >= low && e.HighHz <= high {
				found = append(found, e)
			}
		}
		b := Band{Name: fmt.Sprintf("rf-%d-%d", s.plan[i].Number, s.plan[j].Number), About: about, LowHz: low, HighHz: high}
		var power float64
		heard := 0
		for _, c := range s.plan[i : j+1] {
			// The middle third stands for the channel.
			if x := s.best(c.CenterHz()-1e6, c.CenterHz()+1e6); x != nil {
				if p, ok := x.power((c.CenterHz()-1e6)/s.clock, (c.CenterHz()+1e6)/s.clock); ok {
					power += x.perGain(p) * 3
					heard++
				}
			}
		}
		s.sumUp(&b, power, float64(heard)/float64(j+1-i), found)
		out = append(out, b)
		i = j + 1
	}
	return out
}

// Band is a service's part of the spectrum, or television's, and what of it
// reaches the radio.
type Band struct {
	Name, About   string
	LowHz, HighHz float64
	Covered       float64  // share of it that was listened to
	PowerDBFS     *float64 // all that is there, noise included, as the highest gain would show it; nil when nothing was heard
	PowerDBm      *float64 // at the radio's input; nil without a calibration
	Clipped       float64  // the largest share of samples on a rail in a stay there
	Emitters      int      // how many signals stand out
	StrongestHz   float64  // of the strongest; 0 for none
	// StrongestSigmaHz is its standard uncertainty; 0 where a plan tells the place.
	StrongestSigmaHz float64
}
