package sim

import (
	"math"
	"math/cmplx"
	"time"

	"rooftone/dsp/air"
	"rooftone/dsp/vsb"
	"rooftone/dsp/vsb/coding"
)

// station is the emitter of a Station.
type station struct {
	Station
	lowerHz  float64 // of the channel, as the transmitter has it
	middleHz float64
	sends    transmission
	clock    float64 // where its frames stand at time 0, in seconds
	seed     uint64
	fading   func(t float64) complex128 // nil is steady
	scatter  []*air.Rayleigh            // of each echo, nil for the steady ones
	antenna  *Antenna                   // nil hears all alike
	now      func() float64             // the radio's own time, seconds
}

func newStation(s Station, seed uint64, playout *coding.Playout, epoch time.Time) (*station, error) {
	c, err := channel(s.RFChannel)
	if err != nil {
		return nil, err
	}
	sends, clock, err := newTransmission(&s, seed, playout, epoch)
	if err != nil {
		return nil, err
	}
	e := &station{
		Station:  s,
		lowerHz:  c.LowerHz + s.PilotErrorHz,
		middleHz: c.CenterHz(),
		sends:    sends,
		clock:    clock,
		seed:     seed,
		scatter:  make([]*air.Rayleigh, len(s.Echoes)),
	}
	for i, echo := range s.Echoes {
		if echo.ScatterHz > 0 {
			e.scatter[i] = air.NewRayleigh(air.Seed(seed, 2, uint64(i)), echo.ScatterHz)
		}
	}
	switch f := s.Fading; {
	case f == nil:
	case f.Kind == "rayleigh":
		e.fading = air.NewRayleigh(air.Seed(seed, 3), f.DopplerHz).Gain
	default:
		l := air.NewLogNormal(air.Seed(seed, 3), f.SigmaDB, f.Seconds)
		e.fading = func(t float64) complex128 { return complex(air.Amplitude(l.GainDB(t)), 0) }
	}
	return e, nil
}

// pathGain returns an echo's gain at a frequency, apart from Doppler. The
// echo's phase is stated at the middle of the channel.
func (e *station) pathGain(echo Echo, hz float64) complex128 {
	cycles := echo.PhaseDeg/360 - (hz-e.middleHz)*echo.DelayUS*1e-6
	return cmplx.Rect(air.Amplitude(echo.LevelDB), 2*math.Pi*math.Mod(cycles, 1))
}

// response returns the mean power gain of all paths at a frequency. Paths that
// move against each other add in power.
func (e *station) response(hz float64) float64 {
	now := 0.0
	if e.antenna != nil {
		now = e.now()
	}
	sum, apart := e.hears(-1, now), 0.0
	for i, echo := range e.Echoes {
		if g := e.pathGain(echo, hz) * e.hears(i, now); echo.DopplerHz == 0 && e.scatter[i] == nil {
			sum += g
		} else {
			apart += real(g)*real(g) + imag(g)*imag(g)
		}
	}
	return real(sum)*real(sum) + imag(sum)*imag(sum) + apart
}

// densityStep is the grid on which a station's spectrum with its echoes is
// integrated: an echo 20 µs late ripples with a period of 50 kHz.
const densityStep = 1000

func (e *station) within(lowHz, highHz float64) float64 {
	inside := e.signalWithin(lowHz, highHz)
	if e.ShouldersDB == 0 {
		return inside
	}
	for f := lowHz + densityStep/2; f < highHz; f += densityStep {
		inside += milliwatts(e.levelDBm()) * e.leak(f-e.lowerHz) * densityStep
	}
	return inside
}

// signalWithin is within for what belongs into the channel.
func (e *station) signalWithin(lowHz, highHz float64) float64 {
	low, high := math.Max(lowHz-e.lowerHz, 0), math.Min(highHz-e.lowerHz, channelWidth)
	if low >= high {
		return 0
	}
	var share float64
	if len(e.Echoes) == 0 {
		share = e.sends.power(low, high) * e.response(e.middleHz)
	} else {
		n := math.Ceil((high - low) / densityStep)
		step := (high - low) / n
		for i := range int(n) {
			f := low + (float64(i)+0.5)*step
			share += e.sends.density(f) * e.response(e.lowerHz+f) * step
		}
	}
	if low <= vsb.PilotOffsetHz && vsb.PilotOffsetHz < high {
		share += e.sends.pilotShare() * e.response(e.lowerHz+vsb.PilotOffsetHz)
	}
	return milliwatts(e.LevelDBm) * share
}

// leak returns the density per Hz of what a transmitter of unit power leaks at
// an offset from its lower edge. Its shape follows the emission mask of
// 47 CFR 73.622(h): level to 0.5 MHz outside the channel, 11.5 dB per MHz
// beyond. Inside the channel it is covered by the signal, and left out.
func (e *station) leak(offsetHz float64) float64 {
	outside := math.Max(-offsetHz, offsetHz-channelWidth)
	if e.ShouldersDB == 0 || outside < 0 || outside > channelWidth {
		return 0
	}
	fall := 11.5e-6 * math.Max(outside-0.5e6, 0)
	return e.sends.density(channelWidth/2) * air.Power(e.ShouldersDB-fall)
}

func (e *station) open(s *slice) (layer, error) {
	reach := 0.0
	if e.ShouldersDB != 0 {
		reach = channelWidth
	}
	if !s.sees(e.lowerHz-reach, e.lowerHz+channelWidth+reach) {
		return nil, nil
	}
	if e.drowns(s, reach) {
		return nil, nil
	}
	l := &stationLayer{station: e, s: s}
	var err error
	if l.renderer, err = e.sends.renderer(s.filter(), s.rateHz, s.centerHz-e.lowerHz); err != nil {
		return nil, err
	}
	amplitude := complex(s.amplitude(e.LevelDBm), 0)
	l.gains = append(l.gains, amplitude)
	for _, echo := range e.Echoes {
		l.gains = append(l.gains, amplitude*e.pathGain(echo, s.centerHz))
	}
	if e.ShouldersDB != 0 {
		density := func(hz float64) float64 { return s.power(e.levelDBm()) * e.leak(hz-e.lowerHz) }
		if l.leak, err = air.NewShaper(1024, air.Seed(s.seed, e.seed), s.folded(density)); err != nil {
			return nil, err
		}
	}
	return l, nil
}

// drowned is how far below the radio's own noise lies what folds in and is
// left out.
const drowned = 1e-4

// drowns says whether all that is heard of the station, and of so much beside
// its channel, folds in and is too little to matter.
func (e *station) drowns(s *slice, beside float64) bool {
	a := s.most(e.lowerHz-beside, e.lowerHz+channelWidth+beside)
	return a < 1 && s.power(e.LevelDBm)*a*a < drowned*s.noise
}

// stationLayer is a station heard in a slice.
type stationLayer struct {
	*station
	s        *slice
	renderer renderer
	gains    []complex128 // of the main path and the echoes
	leak     *air.Shaper
	all, one []complex64 // buffers, of all paths and of one
}

func (l *stationLayer) add(dst []complex64, start float64) error {
	at, step := start+l.clock, 1/l.s.rateHz
	sum := dst
	if l.fading != nil {
		sum = buffer(&l.all, len(dst))
	}
	if err := l.renderer.add(sum, at, step, l.gains[0]*l.hears(-1, start)); err != nil {
		return err
	}
	for i, echo := range l.Echoes {
		part, from := sum, at-echo.DelayUS*1e-6
		moves := echo.DopplerHz != 0 || l.scatter[i] != nil
		if moves {
			part = buffer(&l.one, len(dst))
		}
		if err := l.renderer.add(part, from, step, l.gains[i+1]*l.hears(i, start)); err != nil {
			return err
		}
		if !moves {
			continue
		}
		if echo.DopplerHz != 0 {
			air.Shift(part, echo.DopplerHz, start, step)
		}
		if l.scatter[i] != nil {
			vary(part, l.scatter[i].Gain, start, step)
		}
		air.AddScaled(sum, part, 1)
	}
	if l.fading != nil {
		vary(sum, l.fading, start, step)
		air.AddScaled(dst, sum, 1)
	}
	if l.leak != nil {
		return l.leak.Add(dst)
	}
	return nil
}

// buffer returns n zeros in the memory that b keeps.
func buffer(b *[]complex64, n int) []complex64 {
	if cap(*b) < n {
		*b = make([]complex64, n)
	}
	x := (*b)[:n]
	clear(x)
	return x
}

// vary multiplies x by a slowly varying gain, taken every varyEvery samples and
// along a straight line between.
func vary(x []complex64, gain func(t float64) complex128, start, step float64) {
	const varyEvery = 256
	g := gain(start)
	for at := 0; at < len(x); at += varyEvery {
		part := x[at:min(at+varyEvery, len(x))]
		next := gain(start + float64(at+len(part))*step)
		slope := (next - g) / complex(float64(len(part)), 0)
		for k := range part {
			part[k] *= complex64(g)
			g += slope
		}
		g = next
	}
}
