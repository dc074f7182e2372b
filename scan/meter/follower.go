package meter

import (
	"fmt"
	"math"
	"time"

	"rooftone/dsp/psd"
	"rooftone/dsp/vsb"
	"rooftone/scan/band"
	"rooftone/scan/listen"
	"rooftone/scan/measure"
	"rooftone/scan/tuner"
	"rooftone/scan/verdict"
)

const (
	pilotSpan   = 80 * time.Millisecond // of the pilot's average
	pilotLost   = 2 * time.Second       // after which a pilot that is not seen is sought anew
	pilotAlarm  = 1e-5                  // probability that noise passes for one, in a stay: there are ten a second
	lockedAlarm = 1e-3                  // the same in its place
	echoSigmaDB = 2                     // how far echoes commonly pull a pilot: common practice, no source

	equalisedLeastDB = -6 // C/N below which the spectrum's shape drowns in its scatter
	shapeSureDB      = 0  // and above which it is taken for what it is
	shapeSpan        = 2 * time.Second

	// systematicDB is what the joints between slices leave uncertain.
	systematicDB = 0.08

	// biasDB is by how much the scatter of n averages lowers an equaliser's
	// ratio, times n: see vsb.EqualisedSNR.
	biasDB = 2.2

	dcGapHz    = 10e3
	spikeHz    = 300.0 // nearer to a slice's middle a tone may be its spike
	toneGapHz  = 6e3
	bridgeSide = 12 // bins on each side that a bridge rests on

	heardSigmas = 2.5 // by which a channel must stand out to be heard

	// unknownPassDB is the standard uncertainty, for whether there is anything, of
	// a power that was heard through a pass band of which nothing is known: real
	// ones fall by some 5 dB towards the ends of what is used of them.
	unknownPassDB = 1.5
)

// hop is one slice of a channel.
type hop struct {
	centerHz    float64 // by the radio's clock
	first, last int     // the channel's bins that it gives, last excluded
	at          []float64
	lift        []float64 // what flattens the pass band at these bins
	heard       bool
	unfit       bool // it shows too little of the channel to find training in
	trained     trained
}

// follower is what is known of one channel.
type follower struct {
	channel   band.Channel
	threshold float64
	gainDB    float64
	rateHz    float64
	clock     float64
	referHz   float64
	passSigma float64
	passKnown bool

	noise    float64 // FS²/Hz when learnt; 0: not known
	drift    float64 // by what the noise has moved since, a factor
	relative float64 // standard uncertainty of both
	method   measure.NoiseMethod

	hops      []hop
	bins      int         // of the channel that the slices show
	seen      []band.Span // the same in Hz; nil when it is all of it
	seenShare float64
	carries   float64 // the share of a flat station's power that lies there

	density []float64 // of the whole channel, flattened
	shape   []float64 // work: the same without noise and pilot
	floor   []float64 // work: the noise
	slice   []float64 // work: one stay's
	stepHz  float64
	average float64

	pilotHop int // the slice that shows the pilot's place; −1: none
	clockPPM *float64
	clockOff float64 // how far that may be off, ppm

	zoom    *psd.Zoom
	fine    []float64
	pilot   pilot
	shapeDB float64 // what the shape does to the margin, as long as it was seen
	shapeAt time.Time
	shaped  bool

	history     history
	count       int64
	nextFit     time.Time
	fitEvery    time.Duration
	trainer     []*vsb.Trainer
	lastSeen    time.Time        // training
	occupied    bool             // by no television station, says the careful visit
	standard    measure.Standard // says the careful visit; "" when it could not tell
	foreign     bool             // no 8-VSB is in what is strong enough for it
	strongSince time.Time        // without training
	gauged      Gauge            // what history is of
	faint       bool             // too weak for a stay's one field sync
	nextLong    time.Time
}

// pilot is what is known of a channel's pilot.
type pilot struct {
	offsetHz float64 // from its slice's middle, by the radio's clock
	power    float64 // FS²
	sigma    float64 // of power
	density  float64 // around it
	at       time.Time
	seen     time.Time // when it last stood out of one stay's noise
	locked   bool

	firstHz, firstReachHz float64 // where it is looked for when it is lost
}

// standsOut reports whether the pilot's average is more than noise makes.
func (p *pilot) standsOut() bool { return p.locked && p.power > heardSigmas*p.sigma && p.density > 0 }

// trained is what the fits of a slice's training said lately.
type trained struct {
	errors float64 // density left, flattened, averaged over fits
	data   float64
	weight float64
	at     time.Time
}

// layout is the tunings that show a channel, ascending.
type layout struct {
	rateHz    float64
	centersHz []float64 // by the radio's clock
}

func newFollower(c band.Channel, l *lessons, where layout, thresholdDB, referenceHz float64) (*follower, error) {
	f := &follower{
		channel: c, threshold: thresholdDB, gainDB: tuner.UnknownGain(), clock: l.clock, referHz: referenceHz,
		drift: 1, passSigma: l.passband.SigmaDB, rateHz: where.rateHz, fitEvery: fitEvery,
	}
	var r *measure.Reading
	for i := range l.survey.Channels {
		if l.survey.Channels[i].Channel == c {
			r = &l.survey.Channels[i].Reading
		}
	}
	if r == nil || !r.Heard() {
		return nil, fmt.Errorf("channel %d was not heard in the careful visit", c.Number)
	}
	f.occupied = r.Occupant != nil && verdict.Occupied(r)
	if r.Standard == measure.ATSC3 || r.Standard == measure.OtherStandard {
		f.standard = r.Standard
	}
	if r.GainDB != nil {
		f.gainDB = *r.GainDB
	}
	if r.NoiseDBFS != nil {
		f.noise = fromDB(r.NoiseDBFS.Value) / band.WidthHz
		f.relative = math.Max(0.003, r.NoiseDBFS.Sigma*math.Ln10/10)
		f.method = r.Noise
	}
	size := spectrumSize(where.rateHz)
	f.stepHz = where.rateHz / float64(size)
	bins := int(band.WidthHz/f.stepHz) + 1
	f.density, f.shape, f.floor = make([]float64, bins), make([]float64, bins), make([]float64, bins)
	f.slice = make([]float64, size)
	// One that was found is flat nowhere.
	f.passKnown = l.passband.At(listen.UsableShare*where.rateHz, where.rateHz) != 0
	f.layHops(l, where, size)
	f.laySeen()
	return f, f.layPilot(l, r)
}

// layHops shares the channel's bins out among its slices: each goes to the slice
// whose middle is nearest, if that shows it.
func (f *follower) layHops(l *lessons, where layout, size int) {
	n := len(where.centersHz)
	f.hops = make([]hop, n)
	f.trainer = make([]*vsb.Trainer, n)
	bins, first := len(f.density), 0
	for k := range f.hops {
		h := &f.hops[k]
		h.centerHz = where.centersHz[k]
		h.first, h.last = first, bins
		if k+1 < n {
			edge := (h.centerHz+where.centersHz[k+1])/2*f.clock - f.channel.LowerHz
			h.last = max(first, min(bins, int(math.Ceil(edge/f.stepHz))))
		}
		first = h.last
		reach := listen.UsableShare*where.rateHz + f.stepHz
		offsetOf := func(bin int) float64 { return (f.channel.LowerHz+f.hertz(bin))/f.clock - h.centerHz }
		for h.first < h.last && offsetOf(h.first) < -reach {
			h.first++
		}
		for h.last > h.first && offsetOf(h.last-1) > reach {
			h.last--
		}
		for i := h.first; i < h.last; i++ {
			offset := offsetOf(i)
			h.at = append(h.at, offset/f.stepHz+float64(size/2))
			h.lift = append(h.lift, fromDB(-l.passband.At(offset, where.rateHz)))
		}
	}
}

// layPilot says where the pilot is looked for, and what is known of the clock
// where no slice shows it.
func (f *follower) layPilot(l *lessons, r *measure.Reading) error {
	const stationHz = 1.5e3
	if c := l.survey.Clock; c != nil && l.clockPPM != nil {
		ppm := *l.clockPPM
		f.clockPPM, f.clockOff = &ppm, rangePPM+3*c.PPM.Sigma
	}
	if f.pilotHop < 0 {
		return nil
	}
	p := &f.pilot
	p.offsetHz = f.channel.PilotHz()/f.clock - f.hops[f.pilotHop].centerHz
	p.firstReachHz = 60e-6*f.channel.PilotHz() + 5e3
	if l.clockPPM != nil {
		p.firstReachHz = stationHz + 3*l.survey.Clock.PPM.Sigma*1e-6*f.channel.PilotHz()
	}
	p.firstHz = p.offsetHz
	if r.Pilot != nil && l.clockPPM != nil && math.Abs(r.Pilot.OffsetHz.Value) < p.firstReachHz {
		p.offsetHz += r.Pilot.OffsetHz.Value
		p.locked = true
	}
	if math.Abs(p.offsetHz) < spikeHz && l.clockPPM != nil { // it cannot be told from the spike
		f.pilot, f.pilotHop = pilot{}, -1
		return nil
	}
	const guardHz = 8e3
	z, err := psd.NewZoom(f.rateHz, p.firstHz, 2*(p.firstReachHz+guardHz), StaySeconds)
	if err != nil {
		return fmt.Errorf("preparing to follow the pilot of channel %d: %w", f.channel.Number, err)
	}
	f.zoom = z
	return nil
}

// hear takes in one stay of a slice: its spectrum and, of the slice that shows
// it, the pilot.
func (f *follower) hear(k int, b tuner.Block, welch *psd.Welch, at time.Time) {
	h := &f.hops[k]
	f.slice = welch.Density(f.slice)
	f.average = welch.Averages()
	f.bridge(0, dcGapHz)
	if f.referHz > 0 {
		half := f.stepHz * float64(len(f.slice)) / 2
		for n := math.Ceil((h.centerHz - half) / f.referHz); n*f.referHz < h.centerHz+half; n++ {
			f.bridge(n*f.referHz-h.centerHz, toneGapHz)
		}
	}
	for i := h.first; i < h.last; i++ {
		x := h.at[i-h.first]
		j := max(0, min(len(f.slice)-2, int(x)))
		d := f.slice[j] + (x-float64(j))*(f.slice[j+1]-f.slice[j])
		f.density[i] = d * h.lift[i-h.first]
	}
	h.heard = true
	if k == f.pilotHop {
		f.hearPilot(b, at)
	}
}

// bridge replaces the slice's density around an offset by a straight line
// between the levels on both sides.
func (f *follower) bridge(offsetHz, gapHz float64) {
	bridgeOver(f.slice, offsetHz/f.stepHz+float64(len(f.slice)/2), gapHz/f.stepHz)
}

func bridgeOver(density []float64, middle, gap float64) {
	from, to := int(math.Floor(middle-gap)), int(math.Ceil(middle+gap))
	if from-bridgeSide < 0 || to+bridgeSide >= len(density) {
		return
	}
	left, right := meanOf(density[from-bridgeSide:from]), meanOf(density[to+1:to+1+bridgeSide])
	for i := from; i <= to; i++ {
		density[i] = left + (right-left)*(float64(i-from)+0.5)/float64(to-from+1)
	}
}

// hearPilot measures the pilot in a stay.
func (f *follower) hearPilot(b tuner.Block, at time.Time) {
	p := &f.pilot
	f.zoom.Reset()
	f.zoom.Write(b.Samples)
	f.zoom.Flush()
	if !(f.zoom.Averages() > 0) {
		return
	}
	f.fine = f.zoom.Density(f.fine)
	around := f.around()
	h := &f.hops[f.pilotHop]
	lift := h.lift[max(0, min(len(h.lift)-1, int(band.PilotOffsetHz/f.stepHz)-h.first))]
	if p.locked && !p.seen.IsZero() && at.Sub(p.seen) > pilotLost && !p.standsOut() {
		*p = pilot{offsetHz: p.firstHz, firstHz: p.firstHz, firstReachHz: p.firstReachHz, density: p.density}
	}
	reach, alarm := p.firstReachHz, pilotAlarm
	if p.locked {
		reach, alarm = 1.5*f.zoom.CellHz(), lockedAlarm
	}
	peak, ok := f.peak(p.offsetHz-reach, p.offsetHz+reach)
	if !ok || !(around > 0) {
		return
	}
	seen := f.zoom.FalseAlarm(peak.Density/around, 2*reach) < alarm
	if !p.locked && !seen {
		return
	}
	// Where it does not stand out, what stands in its place counts, much or
	// little: a peak that was looked for would always be something.
	there := peak.Density
	if !seen {
		i := int(math.Round((p.offsetHz - f.zoom.StartHz()) / f.zoom.StepHz()))
		if i < 0 || i >= len(f.fine) {
			return
		}
		there = f.fine[i]
	}
	power := (there - around) * f.zoom.BandwidthHz() * lift
	sigma := f.zoom.Tone(peak, around).PowerSigma * lift
	if !seen {
		sigma = around * f.zoom.BandwidthHz() * lift
	}
	weight := 1.0
	if p.locked && !p.at.IsZero() {
		weight = 1 - math.Exp(-at.Sub(p.at).Seconds()/pilotSpan.Seconds())
	}
	p.power += weight * (power - p.power)
	p.sigma = math.Sqrt(math.Pow(weight*sigma, 2) + math.Pow((1-weight)*p.sigma, 2))
	p.density, p.at = around*lift, at
	if seen {
		p.offsetHz, p.locked, p.seen = peak.OffsetHz, true, at
	} else if p.seen.IsZero() {
		p.seen = at // the careful visit's word counts for a while
	}
}

// peak is the highest place of the fine spectrum from low to high, but for the
// spike in the slice's middle.
func (f *follower) peak(low, high float64) (best psd.Peak, ok bool) {
	if low >= spikeHz || high <= -spikeHz {
		return f.zoom.Peak(low, high)
	}
	for _, side := range [][2]float64{{low, math.Min(high, -spikeHz)}, {math.Max(low, spikeHz), high}} {
		if p, found := f.zoom.Peak(side[0], side[1]); found && side[0] < side[1] && (!ok || p.Density > best.Density) {
			best, ok = p, true
		}
	}
	return best, ok
}

// around is the noise density in the fine spectrum, whatever tones stand in it.
func (f *follower) around() float64 {
	stride := max(1, int(f.zoom.CellHz()/f.zoom.StepHz()))
	n := 0
	work := f.shape[:0]
	for i := 0; i < len(f.fine) && n < len(f.shape); i += stride {
		work = append(work, f.fine[i])
		n++
	}
	// The median of a mean of k exponential variables, after Wilson and Hilferty.
	k := f.zoom.Averages()
	return medianOf(work) / math.Pow(1-1/(9*k), 3)
}

// errorRelative is the relative standard uncertainty of the error that one field
// leaves in a slice: it is that of so many independent values as the slice has of
// the channel's Nyquist band.
func (f *follower) errorRelative(k int) float64 {
	h := &f.hops[k]
	low := math.Max(f.hertz(h.first), band.PilotOffsetHz)
	high := math.Min(f.hertz(h.last), band.WidthHz-band.PilotOffsetHz)
	const usualHz = 2e6
	return errorRelative * math.Sqrt(usualHz/math.Max(0.1e6, math.Min(usualHz, high-low)))
}

// noiseAt is the density that stands under a slice: noise, or what the training
// leaves where that is clearly more.
func (f *follower) noiseAt(k int, at time.Time) float64 {
	n := f.noise * f.drift
	t := &f.hops[k].trained
	if t.weight >= enoughFits && at.Sub(t.at) < trainedSpan {
		// What is left under the signal holds all the noise there is. So it
		// is asked where it is clearly more than the noise that was learnt, and
		// where it is clearly less: a vacant channel at a low gain does not
		// exercise the converter as a station does.
		sure := errorSigmas * f.errorRelative(k) / math.Sqrt(t.weight)
		if t.errors > n*(1+errorStands+sure) || t.errors < n*(1-errorBelow-sure) || n == 0 {
			return t.errors
		}
	}
	return n
}
