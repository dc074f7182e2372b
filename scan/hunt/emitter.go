package hunt

import (
	"cmp"
	"fmt"
	"math"
	"slices"

	"rooftone/dsp/vsb"
	"rooftone/scan"
	"rooftone/scan/band"
	"rooftone/scan/measure"
)

const (
	// mostParents is of how many of the strongest signals products are
	// predicted, and parentDB how far below the strongest they may be.
	mostParents = 14
	parentDB    = 45

	// occupiedDB is the excess over the floor from which a piece of the
	// spectrum is taken for somebody's signal.
	occupiedDB = 6
	pieceHz    = 25e3

	// noisyHz is the width from which a signal is taken to be like noise.
	noisyHz = 300e3

	// television is the group of the stations among the emitters.
	television = "television"
)

// Emitter is a strong signal, in a channel or outside all.
type Emitter struct {
	Name          string // such as "FM 98.1 MHz" or "RF 22"
	Service       string // a band.Service's name, "television" or "elsewhere"
	LowHz, HighHz float64
	SigmaHz       float64 // standard uncertainty of where it is, the clock's error in it
	LevelDBFS     float64 // as the highest gain would show it

	power  float64 // at the radio's input, stay.perGain's unit
	noisy  bool
	line   float64 // of it, the power in a line at lineHz
	lineHz float64
}

// middleHz and widthHz describe where it lies.
func (e *Emitter) middleHz() float64 { return (e.LowHz + e.HighHz) / 2 }
func (e *Emitter) widthHz() float64  { return e.HighHz - e.LowHz }

// scene is what was heard, put in order.
type scene struct {
	stays    []*stay
	clock    float64 // true frequency over the radio's own
	clockPPM measure.Estimate
	topDB    float64 // the radio's highest gain
	steps    []step  // what its gains really are, ascending
	survey   *scan.Survey
	plan     []band.Channel
	floors   map[float64]float64 // by gain, a floor's density in FS²/Hz
	emitter  []Emitter           // the strongest first

	referenceHz float64 // of the radio's clock; 0 when unknown
}

// floorOf is the density of the floor at a stay's gain in FS²/Hz; NaN where it is
// not known.
func (s *scene) floorOf(x *stay) float64 { return s.floors[x.gainDB] }

// best returns the stay that shows a range of the true frequencies best: not
// at the rails, then the highest gain, then the middle nearest.
func (s *scene) best(lowHz, highHz float64) *stay {
	var best *stay
	for _, x := range s.stays {
		if x.off || !x.shows(lowHz/s.clock, highHz/s.clock) {
			continue
		}
		if best == nil || s.better(x, best, (lowHz+highHz)/2/s.clock) {
			best = x
		}
	}
	return best
}

func (s *scene) better(x, than *stay, hz float64) bool {
	const rails = 1e-3
	if a, b := x.clipped > rails, than.clipped > rails; a != b {
		return b
	}
	if x.gainDB != than.gainDB {
		return x.gainDB > than.gainDB
	}
	return math.Abs(x.centerHz-hz) < math.Abs(than.centerHz-hz)
}

// piece is one piece of a service's spectrum.
type piece struct {
	lowHz  float64 // true
	power  float64 // at the radio's input, with noise
	excess float64 // over the floor, relative to it; NaN where nothing was heard
}

// pieces cuts a range of the spectrum.
func (s *scene) pieces(lowHz, highHz, widthHz float64) []piece {
	var out []piece
	for low := lowHz; low+widthHz <= highHz+1; low += widthHz {
		p := piece{lowHz: low, excess: math.NaN()}
		if x := s.best(low, low+widthHz); x != nil {
			if power, ok := x.power(low/s.clock, (low+widthHz)/s.clock); ok {
				p.power = x.perGain(power)
				p.excess = power/(s.floorOf(x)*widthHz) - 1
			}
		}
		out = append(out, p)
	}
	return out
}

// find finds the emitters and sums up the services' bands.
func (s *scene) find(services []band.Service, calibration *measure.Calibration) []Band {
	s.findFloors()
	s.stations()
	bands := []Band{}
	for _, service := range services {
		from := len(s.emitter)
		if service.Name == "fm" {
			s.rasterFM(service)
		} else {
			s.regions(service)
		}
		bands = append(bands, s.sum(service, s.emitter[from:]))
	}
	bands = append(s.televisionBands(), bands...)
	s.dropRiders()
	slices.SortStableFunc(bands, func(a, b Band) int { return cmp.Compare(a.LowHz, b.LowHz) })
	for i := range bands {
		if calibration != nil && calibration.FullScaleDBm != nil && bands[i].PowerDBFS != nil {
			dBm := *bands[i].PowerDBFS + *calibration.FullScaleDBm
			bands[i].PowerDBm = &dBm
		}
	}
	for i := range s.emitter {
		s.emitter[i].LevelDBFS = decibel(s.emitter[i].power) + s.topDB
	}
	slices.SortStableFunc(s.emitter, func(a, b Emitter) int { return cmp.Compare(b.power, a.power) })
	return bands
}

// stations takes the television channels that hold a signal.
func (s *scene) stations() {
	known := map[int]bool{}
	if s.survey != nil {
		for i := range s.survey.Channels {
			r := &s.survey.Channels[i].Reading
			if !r.Heard() || r.PowerDBFS == nil {
				continue
			}
			known[r.Channel.Number] = true
			if r.Presence != measure.Present || r.NoiseDBFS == nil {
				continue
			}
			power := linear(r.PowerDBFS.Value) - linear(r.NoiseDBFS.Value)
			if r.GainDB != nil {
				power *= linear(-s.realGain(*r.GainDB))
			}
			if power > 0 {
				s.addStation(r.Channel, power, r.Standard != measure.ATSC3)
			}
		}
	}
	for _, c := range s.plan {
		if known[c.Number] {
			continue
		}
		x := s.best(c.CenterHz()-1e6, c.CenterHz()+1e6)
		if x == nil {
			continue
		}
		level := x.floor((c.CenterHz()-1e6)/s.clock, (c.CenterHz()+1e6)/s.clock)
		if level > s.floorOf(x)*linear(occupiedDB) { // never where the floor is not known
			s.addStation(c, x.perGain((level-s.floorOf(x))*vsb.SymbolRateHz/2), true)
		}
	}
}

func (s *scene) addStation(c band.Channel, power float64, pilot bool) {
	const width = vsb.SymbolRateHz / 2
	e := Emitter{
		Name: fmt.Sprintf("RF %d", c.Number), Service: television,
		LowHz: c.CenterHz() - width/2, HighHz: c.CenterHz() + width/2, power: power, noisy: true,
	}
	if pilot {
		e.line, e.lineHz = vsb.PilotShare*power, c.PilotHz()
	}
	s.emitter = append(s.emitter, e)
}

// regions takes whatever stands out of the floor in one piece.
func (s *scene) regions(service band.Service) {
	all := s.pieces(service.LowHz, service.HighHz, pieceHz)
	const gap = 2 // pieces that may be missing within one signal
	for i := 0; i < len(all); i++ {
		if !(all[i].excess > linear(occupiedDB)-1) {
			continue
		}
		last, power := i, 0.0
		for k := i; k < len(all) && k <= last+gap; k++ {
			if all[k].excess > linear(occupiedDB)-1 {
				last = k
			}
		}
		for k := i; k <= last; k++ {
			if !math.IsNaN(all[k].excess) && all[k].excess > 0 {
				power += all[k].power * all[k].excess / (1 + all[k].excess)
			}
		}
		low, high := all[i].lowHz, all[last].lowHz+pieceHz
		i = last
		e := s.region(service, low, high, power)
		if !e.noisy && s.own(e.middleHz()) {
			continue
		}
		s.emitter = append(s.emitter, e)
	}
}

// own reports whether a multiple of the radio's clock stands at a place that is
// known to a step of a spectrum.
func (s *scene) own(hz float64) bool {
	if !(s.referenceHz > 0) {
		return false
	}
	tuned := hz / s.clock
	return math.Abs(tuned-s.referenceHz*math.Round(tuned/s.referenceHz)) < earHz
}

// dropRiders leaves out narrow signals that stand as far from the middle of
// their slice as several others from theirs: a tone of the radio's own that
// rides along with the tuning. The tunings outside the channels are unevenly
// spaced, so that five signals that are somebody's stand so by chance once in
// (2·8 kHz/2.1 MHz)⁴ tries: less than 1e-8 for each set of five.
func (s *scene) dropRiders() {
	const withinHz, enough = 8e3, 5
	offset := make([]float64, len(s.emitter))
	for i := range s.emitter {
		offset[i] = math.NaN()
		e := &s.emitter[i]
		if e.noisy {
			continue
		}
		if x := s.best(e.LowHz, e.HighHz); x != nil {
			offset[i] = s.peak(x, e.LowHz, e.HighHz) - x.centerHz
		}
	}
	var kept []Emitter
	for i, e := range s.emitter {
		n := 0
		for _, o := range offset {
			if math.Abs(o-offset[i]) < withinHz {
				n++
			}
		}
		if n < enough {
			kept = append(kept, e)
		}
	}
	s.emitter = kept
}

// peak is where, on the radio's scale, a stay shows most between two true
// frequencies.
func (s *scene) peak(x *stay, low, high float64) float64 {
	best, at := 0.0, (low+high)/2/s.clock
	for i, d := range x.density {
		if f := x.at(i); f*s.clock >= low && f*s.clock <= high && d > best {
			best, at = d, f
		}
	}
	return at
}

// region names what stands out between two frequencies.
func (s *scene) region(service band.Service, low, high, power float64) Emitter {
	e := Emitter{Service: service.Name, LowHz: low, HighHz: high, power: power, noisy: high-low > noisyHz}
	e.SigmaHz = placeOf(high, pieceHz/math.Sqrt(12), s.clockPPM).Sigma
	if e.noisy {
		e.Name = fmt.Sprintf("%s, %.4g-%.4g MHz", service.About, low/1e6, high/1e6)
		return e
	}
	hz := s.centroid(low, high)
	e.LowHz, e.HighHz = hz-pieceHz/4, hz+pieceHz/4
	e.SigmaHz = placeOf(hz, earHz, s.clockPPM).Sigma
	e.Name = fmt.Sprintf("%s MHz (%s)", megahertz(hz, e.SigmaHz, 2), service.About)
	return e
}

// centroid is where the power between two frequencies lies.
func (s *scene) centroid(low, high float64) float64 {
	x := s.best(low, high)
	if x == nil {
		return (low + high) / 2
	}
	var sum, moment float64
	for i := range x.density {
		if f := x.at(i) * s.clock; f >= low && f <= high {
			sum += x.density[i]
			moment += x.density[i] * f
		}
	}
	if sum == 0 {
		return (low + high) / 2
	}
	return moment / sum
}

// parents returns the emitters that products are predicted of.
func (s *scene) parents() []Emitter {
	var out []Emitter
	for _, e := range s.emitter {
		if len(out) < mostParents && e.power > s.emitter[0].power*linear(-parentDB) {
			out = append(out, e)
		}
	}
	return out
}
