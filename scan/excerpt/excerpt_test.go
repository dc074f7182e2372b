package excerpt

import (
	"bytes"
	"context"
	"errors"
	"flag"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"slices"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"rooftone/scan"
	"rooftone/scan/band"
	"rooftone/scan/measure"
	"rooftone/scan/recording"
	"rooftone/scan/tuner"
	"rooftone/scan/tuner/sim"
)

var all = flag.Bool("all", false, "compare all towns at all sizes, and print what comes out")

// visit visits a town as record does, with the samples kept, and returns what
// it showed, where they are and what they weigh.
func visit(t *testing.T, town string, numbers []int, dwell time.Duration) (*scan.Survey, string, []Source) {
	place, err := sim.Load(town)
	require.NoError(t, err)
	radio, err := sim.New(place, sim.Options{})
	require.NoError(t, err)
	defer radio.Close()
	base := filepath.Join(t.TempDir(), "whole")
	w, err := recording.Create(base, recording.Meta{Datatype: radio.Info().Datatype, Clock: radio.Info().Clock})
	require.NoError(t, err)
	o := options(t, numbers)
	o.Dwell = dwell
	o.Keep = func(b tuner.Block, newStay bool) error {
		if newStay {
			w.NewCapture()
		}
		return w.WriteBlock(b)
	}
	s, err := scan.SweepTuner(context.Background(), radio, o)
	require.NoError(t, err)
	require.NoError(t, w.Close())
	r, err := recording.Open(context.Background(), base, recording.Hints{})
	require.NoError(t, err)
	defer r.Close()
	sizes, err := r.Sizes(context.Background(), true)
	require.NoError(t, err)
	var sources []Source
	for i, span := range r.Spans() {
		sources = append(sources, Source{span, sizes[i]})
	}
	return s, base, sources
}

func options(t *testing.T, numbers []int) scan.Options {
	plan := band.Plans()[0]
	o := scan.Options{Channels: plan.Channels, Plan: plan.Channels}
	if numbers != nil {
		o.Channels = nil
		for _, n := range numbers {
			c, ok := plan.Channel(n)
			require.True(t, ok)
			o.Channels = append(o.Channels, c)
		}
	}
	return o
}

// pack writes what was chosen and measures it again.
func pack(t *testing.T, base string, choice *Choice) (*scan.Survey, int64) {
	ctx := context.Background()
	r, err := recording.Open(ctx, base, recording.Hints{})
	require.NoError(t, err)
	defer r.Close()
	kept := filepath.Join(t.TempDir(), "kept")
	w, err := recording.Create(kept, r.Meta())
	require.NoError(t, err)
	require.NoError(t, Copy(ctx, r, choice.Parts, w))
	require.NoError(t, w.Close())
	var file bytes.Buffer
	require.NoError(t, recording.Pack(&file, kept, "kept", true))
	path := filepath.Join(t.TempDir(), "kept.sigmf.gz")
	require.NoError(t, os.WriteFile(path, file.Bytes(), 0o600))
	again, err := recording.Open(ctx, path, recording.Hints{})
	require.NoError(t, err)
	defer again.Close()
	require.NoError(t, again.Verify(ctx))
	s, err := scan.SweepPlaylist(ctx, again, options(t, nil))
	require.NoError(t, err)
	return s, int64(file.Len())
}

func limits(c *scan.Channel) (out []string) {
	for _, r := range c.Reasons {
		out = append(out, string(r.Limit))
	}
	return out
}

// difference is how channels that were kept are judged beside another visit.
type difference struct {
	worstDB   float64 // of the margins
	margins   int
	outside   int      // of these, further apart than both state, at 95 %
	otherwise []string // verdicts that differ
	far       []string // the margins outside, in words
}

func compare(whole, small *scan.Survey, choice *Choice) (d difference) {
	for i := range small.Channels {
		s := &small.Channels[i]
		at := slices.IndexFunc(whole.Channels, func(c scan.Channel) bool { return c.Channel == s.Channel })
		if at < 0 || slices.Contains(choice.Left, s.Channel.Number) {
			continue
		}
		w := &whole.Channels[at]
		was, is := fmt.Sprint(w.Presence, w.Standard, w.Grade, limits(w), w.Margin != nil), fmt.Sprint(s.Presence, s.Standard, s.Grade, limits(s), s.Margin != nil)
		if slices.Contains(choice.References, s.Channel.Number) {
			was, is = string(w.Presence), string(s.Presence)
		}
		if was != is {
			d.otherwise = append(d.otherwise, fmt.Sprintf("channel %d %s, was %s", s.Channel.Number, is, was))
		}
		if w.Margin != nil && s.Margin != nil {
			d.margins++
			off := math.Abs(w.Margin.Value - s.Margin.Value)
			d.worstDB = math.Max(d.worstDB, off)
			if off > 1.96*math.Hypot(w.Margin.Sigma, s.Margin.Sigma) {
				d.outside++
				d.far = append(d.far, fmt.Sprintf("channel %d %.2f±%.2f, was %.2f±%.2f", s.Channel.Number, s.Margin.Value, 1.96*s.Margin.Sigma, w.Margin.Value, 1.96*w.Margin.Sigma))
			}
		}
	}
	return d
}

// Truth: the whole visit's own verdicts, and the stated uncertainties of both.
// With -all, all towns at all sizes against a sweep as anybody makes it, whose
// noise is another.
func TestVerdictsStay(t *testing.T) {
	towns, sizes := []string{"valley"}, []int64{2e6}
	if *all {
		towns, sizes = []string{"harbour", "valley", "orchard"}, []int64{2e6, 5e6, 10e6, 18e6, 25e6}
	}
	margins, outside := 0, 0
	for _, town := range towns {
		var numbers []int // all
		if !*all {
			numbers = []int{7, 8, 12, 13, 14, 21, 22, 23, 26, 27, 28}
		}
		usual := &scan.Survey{}
		if *all {
			usual, _, _ = visit(t, town, numbers, scan.DefaultDwell)
		}
		for _, size := range sizes {
			dwell := Dwell(options(t, nil).Channels, 0.4, 2.4e6, 1.2, size, 200*time.Millisecond)
			whole, base, sources := visit(t, town, numbers, dwell)
			choice, err := Choose(whole, sources, Options{Bytes: size})
			require.NoError(t, err)
			small, bytes := pack(t, base, choice)
			require.LessOrEqual(t, bytes, size+size/50)
			require.InEpsilon(t, bytes, choice.Bytes, 0.06, "what was foretold")
			d, other := compare(whole, small, choice), compare(usual, small, choice)
			require.Empty(t, d.otherwise, "%s at %d", town, size)
			margins, outside = margins+d.margins, outside+d.outside
			stations := 0
			for i := range whole.Channels {
				if whole.Channels[i].Presence == measure.Present {
					stations++
				}
			}
			t.Logf("%-8s %3.0f MB: %4.1f MB, %v of %d stations' channels, %d vacant ones; whole %v, left %v; margins within %.2f dB of the whole visit %v; of a sweep: %+v",
				town, float64(size)/1e6, float64(bytes)/1e6, choice.Dwell, stations, len(choice.References), choice.Whole, choice.Left, d.worstDB, d.far, other)
		}
	}
	t.Logf("%d of %d margins are further from the whole visit's than both state", outside, margins)
	require.LessOrEqual(t, float64(outside), 0.05*float64(margins))
}

// Truth: arithmetic: what does not fit is left out in the documented order, and
// a file that can hold nothing is refused with the size that can.
func TestOrder(t *testing.T) {
	if testing.Short() {
		t.Skip("an ensemble: it has its time in the long run")
	}
	whole, base, sources := visit(t, "valley", []int{7, 8, 13, 22, 23, 36}, scan.DefaultDwell)
	var tooSmall *TooSmallError
	_, err := Choose(whole, sources, Options{Bytes: 100e3})
	require.True(t, errors.As(err, &tooSmall))
	choice, err := Choose(whole, sources, Options{Bytes: tooSmall.Least})
	require.NoError(t, err)
	require.Len(t, choice.Whole, 1)
	require.Equal(t, LeastDwell, choice.Dwell)
	small, bytes := pack(t, base, choice)
	require.LessOrEqual(t, bytes, tooSmall.Least+tooSmall.Least/20)
	require.Empty(t, compare(whole, small, choice).otherwise)

	// What was asked for goes before the strongest.
	choice, err = Choose(whole, sources, Options{Bytes: tooSmall.Least + tooSmall.Least/5, First: []int{36}})
	require.NoError(t, err)
	require.Contains(t, choice.Whole, 36)

	// More room never keeps less.
	last := 0
	for bytes := tooSmall.Least; bytes < 4e6; bytes += 200e3 {
		choice, err := Choose(whole, sources, Options{Bytes: bytes})
		require.NoError(t, err)
		require.LessOrEqual(t, choice.Bytes, bytes)
		require.GreaterOrEqual(t, len(choice.Whole), last)
		last = len(choice.Whole)
	}
	_, err = Choose(&scan.Survey{}, nil, Options{Bytes: 1e6})
	require.ErrorContains(t, err, "covers no channel")
}

// Truth: arithmetic.
func TestDwell(t *testing.T) {
	channels := band.Plans()[0].Channels
	for _, c := range []struct {
		n     int
		bytes int64
		want  time.Duration
	}{{35, 1e6, 60 * time.Millisecond}, {35, 25e6, 82 * time.Millisecond}, {5, 25e6, 200 * time.Millisecond}, {0, 1e6, 60 * time.Millisecond}} {
		require.Equal(t, c.want, Dwell(channels[:c.n], 1, 2.4e6, 1.2, c.bytes, 200*time.Millisecond))
	}
}
