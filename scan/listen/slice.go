package listen

import (
	"encoding/binary"
	"fmt"
	"hash/fnv"
	"math"
	"slices"
	"time"

	"rooftone/dsp/ofdm"
	"rooftone/dsp/pattern"
	"rooftone/dsp/psd"
	"rooftone/dsp/robust"
	"rooftone/dsp/vsb"
	"rooftone/scan/band"
	"rooftone/scan/tuner"
)

const (
	// UsableShare is the part of a slice, each side of its middle and relative
	// to the sample rate, that is measured. Beyond it the cheap dongles' last
	// filter lets aliases in. It stays the same where more is known of a radio: a
	// visit's tunings are 2 MHz apart, so at 2.4 MS/s less than 0.4167 would leave
	// gaps between them, and more would only be seen twice. What a known pass band
	// and folding change is how well this part is measured.
	UsableShare = 0.4375

	// gridHz is the coarsest spectrum step that still resolves the notches of
	// an echo 20 µs late, 50 kHz apart, deep enough for 30 dB of C/N.
	gridHz = 1250

	// MaxPPM is the clock error that is searched for. Most dongles are within
	// 60 ppm; as much again as a third of that costs nothing.
	MaxPPM = 80

	// PilotErrorHz is how far a pilot may be from its nominal place besides
	// the clock error, and fineGuardHz what is kept on each side to read the
	// noise from.
	PilotErrorHz = 5e3

	// StationLimitHz is how far a station's pilot may be from its nominal
	// place: from memory of the trade.
	StationLimitHz = 1000

	// DefaultFalseAlarm is the probability per vacant channel of taking noise
	// for a tone.
	DefaultFalseAlarm = 1e-3
	fineGuardHz       = 10e3

	// leastSpanHz is the narrowest surroundings in which a pilot is looked for:
	// a clock within 20 ppm, and some noise.
	leastSpanHz = 40e3

	// fineSeconds is the longest piece of a stay that is transformed at once
	// to find a pilot. Longer would ask for a steadier clock than the
	// cheapest dongles have.
	fineSeconds = 0.1
)

// Slice is what is kept of a source's stays at one tuning.
type Slice struct {
	CenterHz float64 // by the radio's clock
	RateHz   float64
	GainDB   float64 // NaN when unknown
	Start    time.Time

	Samples int64
	Clipped int64
	Lost    bool

	// Density is the power density in FS²/Hz from −RateHz/2 up in steps of
	// StepHz, with Averages independent averages behind each value.
	Density  []float64
	StepHz   float64
	Averages float64

	Fine    []Fine    // one for each pilot's place in the slice
	Trained []Trained // one for each channel whose training was found in it

	// Searched says of which channels the training was looked for.
	Searched []Searched

	// Paths are those of the channels whose last part this slice showed.
	Paths []Paths

	Bootstraps []Bootstrap // one for each channel that was searched for one

	// Pattern is what tells the samples from noise besides their spectrum; nil
	// where a station's training was found, or nothing was looked for.
	Pattern *pattern.Found

	ramped bool     // by a gain control, for certain
	stays  []uint64 // what tells the stays apart that are in it
}

// Fine is a fine spectrum around the nominal place of one channel's pilot. Its
// frequencies are offsets from the slice's middle.
type Fine struct {
	Channel band.Channel
	*psd.Fine
	level float64 // of what lies around tones, FS²/Hz; 0 when not known yet
}

// Slicer turns stays into Slices. It keeps its plans and buffers, so that a
// long visit allocates little more than what it returns.
type Slicer struct {
	channels []band.Channel
	source   tuner.Info
	slice    *Slice
	welch    *psd.Welch
	welchOf  float64               // the sample rate
	plans    map[zoomKey]*psd.Zoom // every zoom made for this rate
	zooms    []*psd.Zoom           // those of this stay
	zoomOf   []band.Channel

	density []float64 // scratch

	kept      []complex64 // the stay's samples, as far as the training wants them
	trainers  map[trainerKey]madeTrainer
	searchers map[trainerKey]madeSearcher
	spotter   ofdm.Spotter
	spots     []int // where the stay may hold a bootstrap
	spotted   bool  // that was looked for
	finder    *pattern.Finder
	finderOf  float64 // its sample rate

	pilots  map[int]*pilotNews // by channel
	control control
}

// zoomKey tells zooms apart: in a regular visit all channels' pilots lie at
// the same few offsets.
type zoomKey struct{ offsetHz, spanHz float64 }

// maxZooms and maxTrainers bound the plans that are kept; a recording may tune
// anywhere. A zoom holds some 4 MB, and the pilots of a band share one.
const maxZooms, maxTrainers = 1, 8

// NewSlicer makes a Slicer that looks for the pilots and the training of the
// given channels in what a source delivers.
func NewSlicer(channels []band.Channel, source tuner.Info) *Slicer {
	return &Slicer{channels: channels, source: source}
}

// Useful reports whether a stay shows any part of the channels.
func (s *Slicer) Useful(stay tuner.Stay) bool {
	half := UsableShare * stay.RateHz
	for _, c := range s.channels {
		if stay.CenterHz+half > c.LowerHz && stay.CenterHz-half < c.UpperHz() {
			return true
		}
	}
	return false
}

// Shows is the part of a channel that the slice shows, empty when it is none.
func (s *Slice) Shows(c band.Channel) band.Span {
	half := UsableShare * s.RateHz
	low, high := math.Max(s.CenterHz-half, c.LowerHz), math.Min(s.CenterHz+half, c.UpperHz())
	if !(high > low) {
		return band.Span{}
	}
	return band.Span{LowHz: low, HighHz: high}
}

// Begin starts a slice.
func (s *Slicer) Begin(stay tuner.Stay) error {
	size := 64
	for stay.RateHz/float64(size) > gridHz {
		size *= 2
	}
	if s.welch == nil || s.welchOf != stay.RateHz {
		w, err := psd.NewWelch(stay.RateHz, size, psd.Hann)
		if err != nil {
			return fmt.Errorf("preparing the spectrum of a slice at %.6g MS/s: %w", stay.RateHz/1e6, err)
		}
		s.welch, s.welchOf = w, stay.RateHz
		s.plans = map[zoomKey]*psd.Zoom{}
	}
	s.welch.Reset()
	s.kept, s.spotted = s.kept[:0], false
	s.zooms, s.zoomOf = s.zooms[:0], s.zoomOf[:0]
	half := UsableShare * stay.RateHz
	for _, c := range s.channels {
		offset := c.PilotHz() - stay.CenterHz
		// Rounded up to half a power of two, so that channels share plans.
		span := math.Exp2(math.Ceil(math.Log2(2*(MaxPPM*1e-6*c.PilotHz()+PilotErrorHz+fineGuardHz))*2) / 2)
		// A narrow slice shows no more than it has.
		for math.Abs(offset)+span/2 > stay.RateHz/2 && span >= leastSpanHz {
			span /= math.Sqrt2
		}
		if math.Abs(offset) > half || span < leastSpanHz {
			continue
		}
		z, err := s.zoom(zoomKey{math.Round(offset), span}, stay.RateHz)
		if err != nil {
			return fmt.Errorf("preparing the search for the pilot of channel %d: %w", c.Number, err)
		}
		s.zooms, s.zoomOf = append(s.zooms, z), append(s.zoomOf, c)
	}
	s.slice = &Slice{
		CenterHz: stay.CenterHz, RateHz: stay.RateHz, GainDB: stay.GainDB, Start: stay.Start,
		StepHz: stay.RateHz / float64(size),
	}
	return nil
}

// zoom returns a zoom that has heard nothing.
func (s *Slicer) zoom(key zoomKey, rateHz float64) (*psd.Zoom, error) {
	if z, ok := s.plans[key]; ok {
		z.Reset()
		return z, nil
	}
	z, err := psd.NewZoom(rateHz, key.offsetHz, key.spanHz, fineSeconds)
	if err != nil {
		return nil, err
	}
	if len(s.plans) >= maxZooms {
		clear(s.plans)
	}
	s.plans[key] = z
	return z, nil
}

// Write adds samples to the slice.
func (s *Slicer) Write(b tuner.Block) {
	s.slice.Samples += int64(len(b.Samples))
	s.slice.Clipped += int64(b.Clipped)
	s.slice.Lost = s.slice.Lost || b.Lost
	if s.slice.Start.IsZero() {
		s.slice.Start = b.Start
	}
	if !math.IsNaN(b.GainDB) {
		s.slice.GainDB = b.GainDB
	}
	s.welch.Write(b.Samples)
	keep := int(min(keptSeconds*b.RateHz, keptSamples)) - len(s.kept)
	s.kept = append(s.kept, b.Samples[:max(0, min(keep, len(b.Samples)))]...)
	for _, z := range s.zooms {
		z.Write(b.Samples)
	}
}

// End returns the finished slice, or nil when the stay was too short for one
// spectrum.
func (s *Slicer) End() *Slice {
	out := s.slice
	out.Averages = s.welch.Averages()
	if out.Averages < 1 {
		return nil
	}
	out.Density = s.welch.Density(nil)
	for i, z := range s.zooms {
		z.Flush()
		if z.Averages() > 0 {
			f := Fine{Channel: s.zoomOf[i], Fine: z.Clone()}
			s.density = z.Density(s.density)
			f.level = f.findLevel(s.density)
			out.Fine = append(out.Fine, f)
		}
	}
	out.ramped = s.control.level(s.kept, out.RateHz)
	s.train(out)
	return out
}

// Slices gathers slices and merges those of the same tuning and gain, so that
// a recording of any length takes bounded memory.
type Slices struct {
	list    []*Slice
	at      map[[3]float64]int
	control control
	waiting []*vsb.Training // of channels whose paths are not known yet
}

// Add takes a slice in; nil is passed over. The Slice must not be used any
// more by the caller.
func (s *Slices) Add(x *Slice) {
	if x == nil {
		return
	}
	if s.at == nil {
		s.at = map[[3]float64]int{}
	}
	key := [3]float64{x.CenterHz, x.RateHz, GainKey(x.GainDB)}
	x.stays = append(x.stays, x.fingerprint())
	i, seen := s.at[key]
	if seen && slices.Contains(s.list[i].stays, x.stays[0]) {
		return // the same samples again, as in a file that was named twice
	}
	s.control.add(x.ramped)
	if !seen {
		s.at[key] = len(s.list)
		s.list = append(s.list, x)
		s.findPaths(x)
		return
	}
	for _, t := range x.Trained {
		t.Forget() // the first stay of a tuning tells the paths
	}
	s.list[i].merge(x)
}

// fingerprint tells a stay from every other, unless it has the same samples.
func (s *Slice) fingerprint() uint64 {
	h := fnv.New64a()
	var b [8]byte
	for _, d := range s.Density {
		binary.LittleEndian.PutUint64(b[:], math.Float64bits(d))
		h.Write(b[:]) // never fails
	}
	return h.Sum64()
}

// List returns the slices in the order in which their tunings first came.
func (s *Slices) List() []*Slice { return s.list }

func (s *Slice) merge(x *Slice) {
	s.Samples += x.Samples
	s.Clipped += x.Clipped
	s.Lost = s.Lost || x.Lost
	average(s.Density, s.Averages, x.Density, x.Averages)
	s.Averages += x.Averages
	s.stays = append(s.stays, x.stays...)
	for _, t := range x.Trained {
		s.takeTraining(t)
	}
	for _, o := range x.Searched {
		s.takeSearched(o)
	}
	switch {
	case x.Pattern == nil || len(s.Trained) > 0:
		s.Pattern = nil
	case s.Pattern == nil:
		s.Pattern = x.Pattern
	default:
		s.Pattern.Merge(*x.Pattern)
	}
	const enough = 64 // of an endless recording; one that was found is found
	if len(s.Bootstraps) < enough {
		s.Bootstraps = append(s.Bootstraps, x.Bootstraps...)
	}
	for i := range s.Fine {
		for j := range x.Fine {
			if s.Fine[i].Channel == x.Fine[j].Channel {
				// The same tuning gives the same grid: this cannot fail.
				_ = s.Fine[i].Merge(x.Fine[j].Fine)
				s.Fine[i].level = 0
			}
		}
	}
}

// takeTraining joins two fits of one channel: what they say of the densities by
// their variances, the rest from the better one.
func (s *Slice) takeTraining(t Trained) {
	for i := range s.Trained {
		old := &s.Trained[i]
		if old.Channel != t.Channel {
			continue
		}
		better, other := *old, t
		if t.MERSigmaDB < old.MERSigmaDB {
			better, other = t, *old
		}
		if joined := vsb.JoinFits(better.Training, other.Training); joined != nil && better.Moving == other.Moving {
			better.Training = joined
		}
		*old = better
		return
	}
	s.Trained = append(s.Trained, t)
}

// takeSearched joins what two searches for one channel's training came to.
func (s *Slice) takeSearched(o Searched) {
	for i := range s.Searched {
		if old := &s.Searched[i]; old.Channel == o.Channel {
			old.Found = old.Found || o.Found
			old.CertainSNR = math.Min(old.CertainSNR, o.CertainSNR)
			return
		}
	}
	s.Searched = append(s.Searched, o)
}

func average(dst []float64, dstWeight float64, src []float64, srcWeight float64) {
	total := dstWeight + srcWeight
	for i := range dst {
		dst[i] = (dst[i]*dstWeight + src[i]*srcWeight) / total
	}
}

// GainKey stands for a gain in maps, in which NaN would never be found again.
func GainKey(gainDB float64) float64 {
	if math.IsNaN(gainDB) {
		return 0
	}
	return gainDB
}

// Bridged returns the slice's density with the DC spike replaced by a straight
// line between the levels on both sides.
func (s *Slice) Bridged() []float64 {
	out := append([]float64(nil), s.Density...)
	middle := len(out) / 2
	gap := int(math.Ceil(s.DCGapHz() / s.StepHz))
	beside := gap + 12
	if middle-beside < 0 || middle+beside >= len(out) {
		return out
	}
	left := robust.Mean(out[middle-beside : middle-gap])
	right := robust.Mean(out[middle+gap+1 : middle+beside+1])
	for i := -gap; i <= gap; i++ {
		out[middle+i] = left + (right-left)*(float64(i+gap)+0.5)/(2*float64(gap)+1)
	}
	return out
}

// MeanDensity is the mean density over a span, without the spike; NaN where the slice
// shows nothing of it.
func (s *Slice) MeanDensity(span band.Span) float64 {
	low, high := s.bins(span)
	return robust.Mean(s.Bridged()[low:high])
}

// MedianDensity is the median of the density over a span, which a line does not move.
func (s *Slice) MedianDensity(span band.Span) float64 {
	low, high := s.bins(span)
	return robust.Median(s.Density[low:high])
}

// bins are the places of a span in Density.
func (s *Slice) bins(span band.Span) (low, high int) {
	bin := func(hz float64) int {
		return max(0, min(len(s.Density), int(math.Round((hz-s.CenterHz)/s.StepHz))+len(s.Density)/2))
	}
	low, high = bin(span.LowHz), bin(span.HighHz)
	return low, max(low, high)
}

// DCGapHz is how far from the middle of a slice the DC spike is left out.
func (s *Slice) DCGapHz() float64 { return max(10e3, 4*s.StepHz) }
