package hunt

import (
	"cmp"
	"fmt"
	"math"
	"slices"

	"rooftone/dsp/impulse"
	"rooftone/dsp/pattern"
	"rooftone/dsp/psd"
	"rooftone/scan/band"
	"rooftone/scan/character"
	"rooftone/scan/listen"
	"rooftone/scan/measure"
	"rooftone/scan/tuner"
)

// InsideDwell is how many seconds of each slice Inside wants. Shorter stays
// still show tones; impulses of the mains need some thirty of their periods to
// be told from chance and from each other.
const InsideDwell = 0.3

const (
	// fineHz is the coarsest step of the spectra in which lines are sought: at
	// this one a line 30 dB below a station stands 15 dB above its data.
	fineHz = 75

	// pieceSeconds is how much of a stay is kept at once.
	pieceSeconds = 0.5

	// shortSeconds is how long a stay must be to add something to a place that
	// was seen at its gain before.
	shortSeconds = 0.022

	// maxLooks bounds how many tunings are remembered; each takes a quarter of
	// a megabyte.
	maxLooks = 400
)

// Inside looks for what does not belong inside channels: tones, narrow
// carriers, raised floors, impulses, second stations, what neighbours spill.
// It is fed with a visit's samples beside what measures them: hand its Keep to
// scan.Options. It is used by one goroutine, and what it keeps does not grow
// with the length of a stay.
type Inside struct {
	// ThresholdDB is the C/N in 6 MHz at which a receiver decodes; 0 stands for
	// measure.DefaultThresholdDB.
	ThresholdDB float64

	// Radio is what an examination of the radio found; nil for nothing.
	Radio *character.Character

	channels []band.Channel
	source   tuner.Info

	looks []*look
	at    map[lookKey]int

	begun    bool  // a stay
	open     *look // of the stay under way; nil where it shows no channel
	welch    *psd.Welch
	welchOf  float64
	meter    *impulse.Meter
	meterOf  float64
	finder   *pattern.Finder
	finderOf float64
	kept     []complex64 // of the stay's present piece
	density  []float64
}

// lookKey tells tunings apart. A gain that is not known is stored as 0 with
// known unset.
type lookKey struct {
	centerHz, rateHz, gainDB float64
	known                    bool
}

// look is what is kept of one tuning.
type look struct {
	lookKey
	stepHz   float64
	density  []float32 // FS²/Hz from −rate/2 up
	averages float64
	pulses   impulse.Piece
	repeat   pattern.Found // where the power does not stand still
	samples  int64
	clipped  int64
}

// clippedShare is the share of samples on a rail from which a look is no use:
// the converter makes lines and bands of its own.
const clippedShare = 1e-3

func (l *look) overloaded() bool { return float64(l.clipped) > clippedShare*float64(l.samples) }

// NewInside makes an Inside for channels, ascending in frequency, of a source.
func NewInside(channels []band.Channel, source tuner.Info) *Inside {
	return &Inside{channels: channels, source: source, at: map[lookKey]int{}}
}

// Keep takes the next block of a visit; newStay is true for the first block of
// a stay. The block's memory is the caller's again afterwards.
func (n *Inside) Keep(b tuner.Block, newStay bool) error {
	if newStay || !n.begun {
		if !(b.RateHz > 0) {
			return fmt.Errorf("looking inside channels: a sample rate of %g Hz", b.RateHz)
		}
		n.endStay()
		n.begun = true
		if n.shows(b) {
			if err := n.begin(b); err != nil {
				return err
			}
		}
	}
	if n.open == nil {
		return nil
	}
	if b.Lost {
		n.endPiece()
		n.welch.Flush()
	}
	n.open.samples += int64(len(b.Samples))
	n.open.clipped += int64(b.Clipped)
	most := int(pieceSeconds * b.RateHz)
	for x := b.Samples; len(x) > 0; {
		k := min(len(x), most-len(n.kept))
		n.kept = append(n.kept, x[:k]...)
		x = x[k:]
		if len(n.kept) == most {
			n.endPiece()
		}
	}
	return nil
}

// shows reports whether a stay shows any of the channels.
func (n *Inside) shows(b tuner.Block) bool {
	half := listen.UsableShare * b.RateHz
	return slices.ContainsFunc(n.channels, func(c band.Channel) bool {
		return b.CenterHz+half > c.LowerHz && b.CenterHz-half < c.UpperHz()
	})
}

// begin starts a stay.
func (n *Inside) begin(b tuner.Block) error {
	size := 64
	for b.RateHz/float64(size) > fineHz {
		size *= 2
	}
	var err error
	if n.welch == nil || n.welchOf != b.RateHz {
		if n.welch, err = psd.NewWelch(b.RateHz, size, psd.BlackmanHarris); err != nil {
			return fmt.Errorf("preparing to look inside channels: %w", err)
		}
		n.welchOf = b.RateHz
	}
	if n.meter == nil || n.meterOf != b.RateHz {
		if n.meter, err = impulse.NewMeter(b.RateHz, listen.UsableShare*b.RateHz); err != nil {
			return fmt.Errorf("preparing to look inside channels: %w", err)
		}
		n.meterOf = b.RateHz
	}
	n.welch.Reset()
	n.kept = n.kept[:0]
	n.open = &look{lookKey: keyOf(b), stepHz: b.RateHz / float64(size)}
	return nil
}

func keyOf(b tuner.Block) lookKey {
	k := lookKey{centerHz: b.CenterHz, rateHz: b.RateHz}
	if !math.IsNaN(b.GainDB) {
		k.gainDB, k.known = b.GainDB, true
	}
	return k
}

// endPiece measures the impulses in the piece kept so far, and takes what lies
// between bursts into the spectrum: a burst that comes once a second is as high
// as a tone in the few segments that it falls on. Where there is little between
// them all is taken.
func (n *Inside) endPiece() {
	defer func() { n.kept = n.kept[:0] }()
	p, err := n.meter.Measure(n.kept)
	if err != nil { // too short a piece says nothing
		n.welch.Write(n.kept)
		return
	}
	n.open.pulses.Add(&p)
	defer n.findRepeat(&p) // which spoils what is kept
	segment := int(n.open.rateHz / n.open.stepHz)
	if quiet := quietRuns(p.Loud, n.open.rateHz, len(n.kept), segment); quiet != nil {
		for i := 0; i < len(quiet); i += 2 {
			n.welch.Flush()
			n.welch.Write(n.kept[quiet[i]:quiet[i+1]])
		}
		n.welch.Flush()
		return
	}
	n.welch.Write(n.kept)
}

// quietRuns returns from where to where n samples lie between loud times, runs
// of at least one segment; nil when none are loud or the runs are less than
// half.
func quietRuns(loud []float64, rateHz float64, n, segment int) []int {
	if len(loud) == 0 {
		return nil
	}
	var out []int
	sum, from := 0, 0
	add := func(to int) {
		if to-from >= segment {
			out = append(out, from, to)
			sum += to - from
		}
	}
	for i := 0; i < len(loud); i += 2 {
		add(min(n, int(loud[i]*rateHz)))
		from = max(from, min(n, int(loud[i+1]*rateHz)))
	}
	add(n)
	if sum < n/2 {
		return nil
	}
	return out
}

// endStay takes in the stay under way.
func (n *Inside) endStay() {
	if n.open == nil {
		return
	}
	n.endPiece()
	x := n.open
	n.open = nil
	x.averages = n.welch.Averages()
	if x.averages < 1 || float64(x.samples) < shortSeconds*x.rateHz && n.shown(x.centerHz, x.lookKey) {
		return
	}
	n.density = n.welch.Density(n.density)
	i, seen := n.at[x.lookKey]
	if seen && n.looks[i].overloaded() == x.overloaded() {
		n.looks[i].merge(x, n.density)
		return
	}
	if seen && x.overloaded() {
		return // the other says more
	}
	x.density = make([]float32, len(n.density))
	for k, d := range n.density {
		x.density[k] = float32(d)
	}
	switch {
	case seen:
		n.looks[i] = x
	default:
		n.at[x.lookKey] = len(n.looks)
		n.looks = append(n.looks, x)
		n.prune()
	}
}

// merge joins another stay of the same tuning, of a density.
func (l *look) merge(x *look, density []float64) {
	l.samples += x.samples
	l.clipped += x.clipped
	total := l.averages + x.averages
	for k, d := range density {
		l.density[k] = float32((float64(l.density[k])*l.averages + d*x.averages) / total)
	}
	l.averages = total
	l.pulses.Add(&x.pulses)
	l.repeat.Merge(x.repeat)
}

// prune keeps to maxLooks by leaving out the shortest look, whenever it came.
func (n *Inside) prune() {
	if len(n.looks) <= maxLooks {
		return
	}
	shortest := 0
	for i, l := range n.looks {
		if l.samples < n.looks[shortest].samples {
			shortest = i
		}
	}
	n.looks = slices.Delete(n.looks, shortest, shortest+1)
	clear(n.at)
	for i, l := range n.looks {
		n.at[l.lookKey] = i
	}
}

// Wants returns the tunings that would show what no stay has shown so far: what
// lies under the spike in the middle of a slice. It is empty when there is
// nothing to gain. Visit them for InsideDwell, feed Keep, and ask Suspects
// again.
func (n *Inside) Wants() []tuner.Tuning {
	n.endStay()
	var hidden []*look
	for _, l := range n.looks {
		if n.inAny(l.centerHz) && !n.shown(l.centerHz, l.lookKey) {
			hidden = append(hidden, l)
		}
	}
	slices.SortFunc(hidden, func(a, b *look) int { return cmp.Compare(a.centerHz, b.centerHz) })
	var out []tuner.Tuning
	for _, l := range hidden {
		reach := listen.UsableShare*l.rateHz - 50e3
		covered := false
		for _, t := range out {
			away := math.Abs(t.CenterHz - l.centerHz)
			covered = covered || away < reach+1 && away > 2*spikeHz && sameGain(t.GainDB, l.lookKey)
		}
		if !covered {
			gain := tuner.UnknownGain()
			if l.known {
				gain = l.gainDB
			}
			out = append(out, tuner.Tuning{CenterHz: l.centerHz + reach, RateHz: l.rateHz, GainDB: gain})
		}
	}
	return out
}

func sameGain(gainDB float64, k lookKey) bool {
	return math.IsNaN(gainDB) && !k.known || k.known && math.Abs(gainDB-k.gainDB) < 0.05
}

// inAny reports whether a frequency lies in one of the channels.
func (n *Inside) inAny(hz float64) bool {
	for _, c := range n.channels {
		if hz >= c.LowerHz && hz < c.UpperHz() {
			return true
		}
	}
	return false
}

// spikeHz is how far from the middle of a slice its spike hides a line.
const spikeHz = 600

// shown reports whether a tuning of the same gain shows a frequency beside its
// spike.
func (n *Inside) shown(hz float64, k lookKey) bool {
	for _, l := range n.looks {
		away := math.Abs(hz - l.centerHz)
		if l.known == k.known && l.gainDB == k.gainDB && away > 2*spikeHz && away < listen.UsableShare*l.rateHz {
			return true
		}
	}
	return false
}

// Suspects says what was found, given what the same samples were measured to
// be: the clock (nil when unknown) and the Readings of all channels, wanted or
// not. Suspects of one kind stand in order of frequency. It may be called
// again after more was heard.
func (n *Inside) Suspects(clock *measure.Clock, readings []measure.Reading) []Suspect {
	n.endStay()
	e := newExamination(n, clock, readings)
	e.pulses = e.impulses() // first: what else costs is told as if they were not there
	e.named = e.carriers()
	under := e.underneath()
	for _, s := range under {
		if s.Kind == CoChannel {
			e.cochannel = append(e.cochannel, s)
		}
	}
	out := e.tones()
	out = append(out, e.named...)
	out = append(out, under...)
	return append(out, e.pulses...)
}
