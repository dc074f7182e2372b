// Package excerpt chooses what of a recorded visit to keep so that it fits into
// a file of so many bytes, and is still judged as the whole visit was: for the
// attachment that goes to somebody who can help.
//
// What a verdict rests on is kept in this order: stations that were asked for
// before all others, and among them those whose picture is in doubt, for it is
// they that help is asked about; those that hold, which also tell the clock;
// other standards; stations far too weak. Vacant channels tell the noise floor, and a few hundredths of a second
// of them do: a stay of 20 ms has 120 000 independent values of 6 MHz, so that
// its noise is known to 0.02 dB, less than the radio's own unevenness.
//
// A channel is kept with all that was heard of it, its slices all of one length,
// or not at all; one of which the visit heard a part keeps that part. The
// length is as great as there is room for, and never below LeastDwell: training
// comes every 24.2 ms (A/53 Part 2), so that a stay of 50 ms holds two fields'
// whatever the moment at which it began.
package excerpt

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"io"
	"maps"
	"math"
	"slices"
	"time"

	"rooftone/scan"
	"rooftone/scan/band"
	"rooftone/scan/listen"
	"rooftone/scan/measure"
	"rooftone/scan/recording"
	"rooftone/scan/tuner"
	"rooftone/scan/verdict"
)

const (
	// LeastDwell is the shortest stay that a channel is judged by here.
	LeastDwell = 50 * time.Millisecond
	// referenceDwell is what is kept of a vacant channel.
	referenceDwell = 20 * time.Millisecond
	// references is how many vacant channels are kept for the noise floor at
	// each gain, if they were visited.
	references = 2

	// What an archive holds besides samples: its heads and padding, and the
	// metadata of each capture.
	archiveBytes = 16 << 10
	captureBytes = 900
)

// Options say what is wanted.
type Options struct {
	Bytes int64 // that the file may have
	First []int // RF channels that go before all others

	// Told are RF channels of which somebody knows more than the visit does: they
	// are kept first, as stations are, also where nothing was found.
	Told []int
}

// Source is one stay of the whole visit, and what it weighs.
type Source struct {
	recording.Span
	SampleBytes float64 // of the file, for each sample
}

// Choice is what to keep.
type Choice struct {
	Parts []Part        // in the order of the sources
	Dwell time.Duration // of the channels that are kept with all that was heard of them
	Bytes int64         // that the file will have, as far as can be told

	// RF channels of the survey, ascending: those kept with all that was heard of
	// them, the vacant ones of which something is kept for their noise, and those
	// left out.
	Whole, References, Left []int
}

// Part is the beginning of a stay.
type Part struct {
	Source  int
	Samples int64
}

// TooSmallError says that not one channel fits.
type TooSmallError struct {
	Bytes int64 // that were allowed
	Least int64 // that make sense
}

func (e *TooSmallError) Error() string {
	return fmt.Sprintf("%d bytes cannot hold one channel and what it is judged by: that takes %d", e.Bytes, e.Least)
}

// lot is a channel with its stays.
type lot struct {
	channel  *scan.Channel
	sources  []int
	asked    bool
	class    int
	distance float64 // within the class
}

// The classes of lots, the first kept first.
const (
	doubtful = iota
	holding
	otherStandard
	farBelow
	vacant
)

// chooser knows the visit.
type chooser struct {
	Options
	sources []Source
	lots    []*lot // stations, the first kept first
	empty   []*lot // vacant ones
}

// Choose chooses from the stays of a visit by what it showed. A budget that
// holds not even one channel is a *TooSmallError.
func Choose(s *scan.Survey, sources []Source, o Options) (*Choice, error) {
	c := &chooser{Options: o, sources: sources}
	c.sort(s)
	if len(c.lots)+len(c.empty) == 0 {
		return nil, errors.New("the visit covers no channel, nor a part of one")
	}
	if choice := c.choose(); choice != nil {
		return c.finish(choice), nil
	}
	first := c.lots[:min(1, len(c.lots))]
	return nil, &TooSmallError{o.Bytes, c.weigh(c.parts(first, c.nearest(first, references), LeastDwell))}
}

// sort makes lots of the channels.
func (c *chooser) sort(s *scan.Survey) {
	for i := range s.Channels {
		ch := &s.Channels[i]
		if !ch.Heard() {
			continue
		}
		told := slices.Contains(c.Told, ch.Channel.Number)
		l := &lot{channel: ch, sources: c.staysOf(ch), asked: slices.Contains(c.First, ch.Channel.Number) || told}
		l.class, l.distance = classOf(ch)
		if l.class == vacant && !told {
			c.empty = append(c.empty, l)
		} else {
			c.lots = append(c.lots, l)
		}
	}
	slices.SortStableFunc(c.lots, func(a, b *lot) int {
		if a.asked != b.asked {
			if a.asked {
				return -1
			}
			return 1
		}
		return cmp.Or(cmp.Compare(a.class, b.class), cmp.Compare(a.distance, b.distance))
	})
	// The strongest station tells the clock: it is never left out. One at the
	// usual gain needs no vacant channels of its own.
	best, usual := -1, c.usualGain()
	for i, l := range c.lots {
		if m := l.channel.Margin; m != nil && l.gain() == usual && (best < 0 || m.Value > c.lots[best].channel.Margin.Value) {
			best = i
		}
	}
	if best > 0 && !c.lots[0].asked {
		l := c.lots[best]
		c.lots = slices.Insert(slices.Delete(c.lots, best, best+1), min(1, best), l)
	}
}

// usualGain is the gain at which most stations were judged.
func (c *chooser) usualGain() (gainDB float64) {
	count := map[float64]int{}
	for _, l := range c.lots {
		g := l.gain()
		if count[g]++; count[g] > count[gainDB] || count[g] == count[gainDB] && g > gainDB {
			gainDB = g
		}
	}
	return gainDB
}

// gain is that at which the channel was judged.
func (l *lot) gain() float64 {
	if g := l.channel.GainDB; g != nil {
		return gainKey(*g)
	}
	return gainKey(math.NaN())
}

// classOf says how much a channel matters, and orders those that matter alike.
func classOf(c *scan.Channel) (class int, distance float64) {
	middle := (verdict.SlimMarginDB + verdict.FirmMarginDB) / 2
	distance = math.Inf(1)
	if c.Margin != nil {
		distance = math.Abs(c.Margin.Value - middle)
	}
	const nearDB = -10 // what another aim or place may bring back
	switch {
	case c.Presence == measure.Vacant:
		return vacant, 0
	case c.Presence == measure.Unsure || c.Occupant != nil && verdict.Occupied(&c.Reading) || c.Standard == measure.ATSC3 || c.Standard == measure.OtherStandard:
		return otherStandard, c.Channel.LowerHz
	case c.Grade == verdict.Firm:
		return holding, distance
	case c.Margin != nil && c.Margin.Value >= nearDB || len(c.Reasons) > 1:
		return doubtful, distance
	}
	return farBelow, distance
}

// staysOf lists the stays that a channel is measured by: those that show a good
// part of it, or of what was heard of it, and of a station only those at the gain
// that it was judged at.
func (c *chooser) staysOf(ch *scan.Channel) (list []int) {
	const goodHz, goodShare = 0.3e6, 0.3
	goodPartHz := math.Min(goodHz, goodShare*ch.SeenShare()*band.WidthHz)
	for i, s := range c.sources {
		half := listen.UsableShare * s.RateHz
		low, high := math.Max(s.CenterHz-half, ch.Channel.LowerHz), math.Min(s.CenterHz+half, ch.Channel.UpperHz())
		sameGain := ch.GainDB == nil || math.IsNaN(s.GainDB) || s.GainDB == *ch.GainDB
		if high > low && high-low >= goodPartHz && (sameGain || ch.Presence == measure.Vacant) {
			list = append(list, i)
		}
	}
	return list
}

// choose tries from the best to the barest.
func (c *chooser) choose() *Choice {
	dwells := c.dwells()
	near := c.nearest(c.lots, len(c.empty))
	// Everything, at the greatest length.
	for _, d := range dwells {
		if p := c.parts(c.lots, near, d); c.weigh(p) <= c.Bytes {
			return &Choice{Parts: p, Dwell: d}
		}
	}
	// All stations, and so many vacant channels as there is room for.
	shortest := dwells[len(dwells)-1]
	for stations := len(c.lots); stations >= 1; stations-- {
		kept := c.lots[:stations]
		for n := len(c.empty); n >= min(references, len(c.empty)); n-- {
			if p := c.parts(kept, c.nearest(kept, n), shortest); c.weigh(p) <= c.Bytes {
				return &Choice{Parts: p, Dwell: shortest}
			}
		}
	}
	return nil
}

// dwells are the lengths to try, the greatest first.
func (c *chooser) dwells() []time.Duration {
	longest, lots := time.Duration(0), c.lots
	if len(lots) == 0 {
		lots = c.empty
	}
	for _, l := range lots {
		for _, i := range l.sources {
			longest = max(longest, c.length(i))
		}
	}
	const most = 500 * time.Millisecond
	longest = min(longest, most)
	out := []time.Duration{}
	for d := longest; d > LeastDwell; d = d * 9 / 10 {
		out = append(out, d.Truncate(time.Millisecond))
	}
	return append(out, max(1, min(LeastDwell, longest)))
}

func (c *chooser) length(source int) time.Duration {
	s := &c.sources[source]
	return time.Duration(float64(s.Samples) / s.RateHz * 1e9)
}

// reference is a vacant channel's stays at one gain.
type reference struct {
	lot     *lot
	gainDB  float64
	sources []int
}

// nearest lists the n vacant channels at each gain in use that lie nearest to
// the stations that are kept.
func (c *chooser) nearest(kept []*lot, n int) (out []reference) {
	stations := map[float64][]float64{} // gain → their middles
	for _, l := range kept {
		for _, i := range l.sources {
			g := gainKey(c.sources[i].GainDB)
			stations[g] = append(stations[g], l.channel.Channel.CenterHz())
		}
	}
	for _, gain := range slices.Sorted(maps.Keys(stations)) {
		var list []reference
		for _, l := range c.empty {
			r := reference{lot: l, gainDB: gain}
			for _, i := range l.sources {
				if gainKey(c.sources[i].GainDB) == gain {
					r.sources = append(r.sources, i)
				}
			}
			// A visit that met an overload in the middle of a channel left it half
			// seen at that gain. What was never heard of it is not asked for: noise
			// is read wherever there is some.
			if c.cover(r.sources, l.channel) {
				list = append(list, r)
			}
		}
		away := func(r reference) float64 {
			nearest := math.Inf(1)
			for _, hz := range stations[gain] {
				nearest = math.Min(nearest, math.Abs(hz-r.lot.channel.Channel.CenterHz()))
			}
			return nearest
		}
		slices.SortStableFunc(list, func(a, b reference) int { return cmp.Compare(away(a), away(b)) })
		out = append(out, list[:min(n, len(list))]...)
	}
	// All of them, whatever their gain, or nothing but vacant channels.
	if n >= len(c.empty) || len(kept) == 0 {
		for _, l := range c.empty[:min(n, len(c.empty))] {
			if !slices.ContainsFunc(out, func(r reference) bool { return r.lot == l }) {
				out = append(out, reference{lot: l, sources: l.sources})
			}
		}
	}
	return out
}

// cover reports whether stays show all that was heard of a channel.
func (c *chooser) cover(sources []int, ch *scan.Channel) bool {
	var shown []band.Span
	for _, i := range sources {
		half := listen.UsableShare * c.sources[i].RateHz
		shown = append(shown, band.Span{LowHz: c.sources[i].CenterHz - half, HighHz: c.sources[i].CenterHz + half})
	}
	const slackHz = 50e3
	shown = band.Join(shown, slackHz)
	for _, s := range ch.Seen {
		if !slices.ContainsFunc(shown, func(by band.Span) bool {
			return by.LowHz-slackHz <= s.LowHz && s.HighHz <= by.HighHz+slackHz
		}) {
			return false
		}
	}
	return len(sources) > 0
}

// gainKey makes a gain that is not known one of its own.
func gainKey(db float64) float64 {
	if math.IsNaN(db) {
		return math.Inf(-1)
	}
	return db
}

// parts puts together what lots and references need.
func (c *chooser) parts(kept []*lot, refs []reference, dwell time.Duration) []Part {
	samples := make([]int64, len(c.sources))
	need := func(i int, d time.Duration) {
		s := &c.sources[i]
		samples[i] = max(samples[i], min(s.Samples, int64(d.Seconds()*s.RateHz)))
	}
	for _, l := range kept {
		for _, i := range l.sources {
			d := dwell
			// The long look that found, or did not find, another standard's
			// bootstrap is of use only as it is.
			if l.class == otherStandard || l.channel.Standard == measure.ATSC3 {
				if c.length(i) > scan.DefaultDwell*4 {
					d = c.length(i)
				}
			}
			need(i, d)
		}
	}
	for _, r := range refs {
		for _, i := range r.sources {
			need(i, min(dwell, referenceDwell))
		}
	}
	var out []Part
	for i, n := range samples {
		if n > 0 {
			out = append(out, Part{i, n})
		}
	}
	return out
}

// weigh is how many bytes parts will have.
func (c *chooser) weigh(parts []Part) int64 {
	total := float64(archiveBytes + captureBytes*len(parts))
	for _, p := range parts {
		total += float64(p.Samples) * c.sources[p.Source].SampleBytes
	}
	return int64(total)
}

// finish says what became of each channel.
func (c *chooser) finish(o *Choice) *Choice {
	o.Bytes = c.weigh(o.Parts)
	kept := map[int]int64{}
	for _, p := range o.Parts {
		kept[p.Source] = p.Samples
	}
	for _, l := range slices.Concat(c.lots, c.empty) {
		whole := len(l.sources) > 0
		var there []int
		for _, i := range l.sources {
			full := min(c.sources[i].Samples, int64(o.Dwell.Seconds()*c.sources[i].RateHz))
			whole = whole && kept[i] >= full
			if kept[i] > 0 {
				there = append(there, i)
			}
		}
		switch n := l.channel.Channel.Number; {
		case whole:
			o.Whole = append(o.Whole, n)
		case l.class == vacant && c.cover(there, l.channel):
			o.References = append(o.References, n)
		default:
			o.Left = append(o.Left, n)
		}
	}
	slices.Sort(o.Whole)
	slices.Sort(o.References)
	slices.Sort(o.Left)
	return o
}

// Copy writes the parts of a recording, which has been opened and not played,
// to another.
func Copy(ctx context.Context, from *recording.Reader, parts []Part, to *recording.Writer) error {
	at := -1
	for _, p := range parts {
		for at < p.Source {
			if _, err := from.Next(ctx); err != nil {
				return fmt.Errorf("reading the whole visit again: %w", err)
			}
			at++
		}
		to.NewCapture()
		if err := copyPart(ctx, from, p.Samples, to); err != nil {
			return err
		}
	}
	return nil
}

func copyPart(ctx context.Context, from *recording.Reader, samples int64, to *recording.Writer) error {
	buffer := make([]complex64, 1<<16)
	for samples > 0 {
		var b tuner.Block
		b, err := from.Read(ctx, buffer[:min(samples, int64(len(buffer)))])
		if len(b.Samples) > 0 {
			if err := to.WriteBlock(b); err != nil {
				return err
			}
			samples -= int64(len(b.Samples))
		}
		if errors.Is(err, io.EOF) && samples > 0 {
			return fmt.Errorf("reading the whole visit again: it ends too soon: %w", io.ErrUnexpectedEOF)
		}
		if err != nil && !errors.Is(err, io.EOF) {
			return fmt.Errorf("reading the whole visit again: %w", err)
		}
	}
	return nil
}

// Dwell is how long to stay on each slice of so many channels, when what is
// kept of the share of them that will be kept whole may have so many bytes: up
// to longest where there is room, as long as a sweep does where there is little.
func Dwell(channels []band.Channel, share, rateHz, sampleBytes float64, bytes int64, longest time.Duration) time.Duration {
	if len(channels) == 0 {
		return scan.DefaultDwell
	}
	stays := share * float64(len(channels)*len(scan.Hops(channels[0], rateHz)))
	d := time.Duration(float64(bytes) / (stays * rateHz * sampleBytes) * 1e9).Truncate(time.Millisecond)
	return max(scan.DefaultDwell, min(d, longest))
}
