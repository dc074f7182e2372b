package sim

import (
	"math"

	"rooftone/dsp/air"
)

// tone is the emitter of a Tone.
type tone struct {
	Tone
	own bool // it is the radio's: at a frequency by its clock as it was at first, and past its filters
}

func (e tone) within(lowHz, highHz float64) float64 {
	if lowHz <= e.FrequencyHz && e.FrequencyHz < highHz {
		return milliwatts(e.LevelDBm)
	}
	return 0
}

func (e tone) open(s *slice) (layer, error) {
	low, high := s.edges()
	if e.own {
		e.FrequencyHz *= s.warmed
		low, high = s.inner()
	}
	if e.FrequencyHz-e.DriftHz < low || e.FrequencyHz+e.DriftHz > high {
		return nil, nil
	}
	return &toneLayer{tone: e, s: s}, nil
}

type toneLayer struct {
	tone
	s *slice
}

// passes is what the slice's filters make of the tone's amplitude.
func (l *toneLayer) passes() float64 {
	if l.own {
		return 1
	}
	return l.s.passes(l.FrequencyHz)
}

func (l *toneLayer) add(dst []complex64, start float64) error {
	step := 1 / l.s.rateHz
	amplitude, hz := complex(l.s.amplitude(l.LevelDBm)*l.passes(), 0), l.FrequencyHz-l.s.centerHz
	if l.DriftHz == 0 {
		air.Tone{Amplitude: amplitude, Hz: hz}.Add(dst, start, step)
		return nil
	}
	// Frequency hz + d·sin(ωt), so phase 2π·hz·t − 2π·d/ω·cos(ωt). Over the
	// milliseconds of a call the wander is a straight line.
	w := 2 * math.Pi / l.DriftSeconds
	sin, cos := math.Sincos(w * start)
	wander := air.Tone{Amplitude: amplitude, Hz: hz + l.DriftHz*sin, DriftHzPerSecond: l.DriftHz * w * cos}
	cycles := hz*start - l.DriftHz/w*cos
	wander.Amplitude *= turn(cycles)
	wander.Add(dst, 0, step)
	return nil
}

// turn returns e^{j2π·cycles}.
func turn(cycles float64) complex128 {
	sin, cos := math.Sincos(2 * math.Pi * math.Mod(cycles, 1))
	return complex(cos, sin)
}

// carrier is the emitter of an "fm" or "land-mobile" Service.
type carrier struct {
	Service
	seed          uint64
	peak, highest float64 // swing and highest programme frequency, Hz
}

func newCarrier(s Service, seed uint64) carrier {
	if s.Kind == "fm" {
		return carrier{s, seed, 75e3, 15e3} // 47 CFR 73.310, 73.317
	}
	return carrier{s, seed, 2.5e3, 3e3} // 12.5 kHz channels, 47 CFR 90.209
}

// half is half of the bandwidth by Carson's rule.
func (e carrier) half() float64 { return e.peak + e.highest }

func (e carrier) within(lowHz, highHz float64) float64 {
	return e.power() * overlap(lowHz, highHz, e.FrequencyHz-e.half(), e.FrequencyHz+e.half())
}

// power returns a service's mean power in mW.
func (s *Service) power() float64 {
	if s.OnShare != 0 {
		return s.OnShare * milliwatts(s.LevelDBm)
	}
	return milliwatts(s.LevelDBm)
}

// overlap returns which share of the range from a to b lies from low to high.
func overlap(low, high, a, b float64) float64 {
	return math.Max(math.Min(high, b)-math.Max(low, a), 0) / (b - a)
}

func (e carrier) open(s *slice) (layer, error) {
	// What the radio's own filter would cut is left out whole.
	if low, high := s.edges(); e.FrequencyHz-e.half() < low || e.FrequencyHz+e.half() > high {
		return nil, nil
	}
	fm := air.NewFM(e.seed, s.power(e.LevelDBm)*s.passes(e.FrequencyHz)*s.passes(e.FrequencyHz), e.FrequencyHz-s.centerHz, e.peak, e.highest)
	sound := func(dst []complex64, start float64) error {
		fm.Add(dst, start, 1/s.rateHz)
		return nil
	}
	return keyed(e.Service, e.seed, s, layerFunc(sound)), nil
}

// block is the emitter of an "lte" Service.
type block struct {
	Service
	seed uint64
}

func (e block) within(lowHz, highHz float64) float64 {
	return e.power() * overlap(lowHz, highHz, e.FrequencyHz-e.WidthHz/2, e.FrequencyHz+e.WidthHz/2)
}

func (e block) open(s *slice) (layer, error) {
	low, high := e.FrequencyHz-e.WidthHz/2, e.FrequencyHz+e.WidthHz/2
	if !s.sees(low, high) {
		return nil, nil
	}
	flat := air.FlatTop(low, high, 0, s.power(e.LevelDBm))
	shaper, err := air.NewShaper(4096, air.Seed(s.seed, e.seed), s.folded(flat))
	if err != nil {
		return nil, err
	}
	sound := func(dst []complex64, _ float64) error { return shaper.Add(dst) }
	return keyed(e.Service, e.seed, s, layerFunc(sound)), nil
}

// layerFunc makes a layer of a function.
type layerFunc func(dst []complex64, start float64) error

func (f layerFunc) add(dst []complex64, start float64) error { return f(dst, start) }

// keyed says for each moment whether a service is on; nil is always.
func (s *Service) keyed(seed uint64) func(at float64) bool {
	if s.OnShare == 0 {
		return nil
	}
	return func(at float64) bool { return air.Keyed(seed, s.OnShare, s.OnSeconds, at) }
}

// keyed returns the layer of a service that may pause.
func keyed(service Service, seed uint64, s *slice, sound layer) layer {
	on := service.keyed(seed)
	if on == nil {
		return sound
	}
	return gated(s, sound, on)
}

// gated returns a layer that is heard while it is on. It looks every gateEvery
// samples whether it is.
func gated(s *slice, sound layer, on func(at float64) bool) layer {
	const gateEvery = 64
	var buf []complex64
	return layerFunc(func(dst []complex64, start float64) error {
		x := buffer(&buf, len(dst))
		if err := sound.add(x, start); err != nil {
			return err
		}
		for at := 0; at < len(x); at += gateEvery {
			end := min(at+gateEvery, len(x))
			if on(start + float64(at)/s.rateHz) {
				air.AddScaled(dst[at:end], x[at:end], 1)
			}
		}
		return nil
	})
}

// impulseTaps is how many taps impulses are filtered with.
const impulseTaps = 31

// impulses is the emitter of Impulses.
type impulses struct {
	Impulses
	seed uint64
}

// source returns the impulses with the given power over all of a bandwidth.
func (e impulses) source(power float64) *air.Impulses {
	return &air.Impulses{
		Seed: e.seed, Power: power, Decay: e.DecayUS * 1e-6,
		BurstsPerSecond: e.BurstsPerSecond, PulsesPerBurst: e.PulsesPerBurst, Spread: e.Spread,
	}
}

func (e impulses) within(lowHz, highHz float64) float64 {
	return e.source(milliwatts(e.LevelDBm) * (highHz - lowHz) / channelWidth).MeanPower()
}

func (e impulses) open(s *slice) (layer, error) {
	source := e.source(s.power(e.LevelDBm) * s.rateHz / channelWidth)
	if s.band == nil {
		return layerFunc(func(dst []complex64, start float64) error {
			source.Add(dst, start, 1/s.rateHz)
			return nil
		}), nil
	}
	// Through the filters with what folds: noise that starts and stops.
	filter := air.NewFIR(s.band.NoiseTaps(impulseTaps))
	var buf []complex64
	rests := true // the filter, with nothing in it
	return layerFunc(func(dst []complex64, start float64) error {
		x := buffer(&buf, len(dst))
		source.Add(x, start, 1/s.rateHz)
		silent := air.MeanPower(x) == 0
		if silent && rests {
			return nil
		}
		filter.Apply(x)
		air.AddScaled(dst, x, 1)
		rests = silent
		return nil
	}), nil
}

// spurs returns the harmonics of the radio's crystal as tones. They sit at
// exact places on the radio's own scale.
func (r *Radio) spurs() []tone {
	if r.SpurDBm <= -300 {
		return nil
	}
	var out []tone
	for k := 1; float64(k)*ReferenceHz <= highestHz; k++ {
		stray := 12*float64(air.Seed(r.Seed, 73, uint64(k))%1000)/1000 - 6
		out = append(out, tone{own: true, Tone: Tone{
			FrequencyHz: float64(k) * ReferenceHz * (1 + r.PPM*1e-6),
			LevelDBm:    r.SpurDBm + stray,
		}})
	}
	return out
}
