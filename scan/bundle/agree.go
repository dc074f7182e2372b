package bundle

import (
	"context"
	"fmt"
	"math"
	"os"
	"slices"

	"rooftone/scan"
	"rooftone/scan/band"
	"rooftone/scan/measure"
	"rooftone/scan/verdict"
)

// Fact is what a set does on a channel.
type Fact string

const (
	Shows    Fact = "shows"
	BreaksUp Fact = "breaks up"
	NotFound Fact = "not found"
)

// Agreement is how a verdict and a set go together.
type Agreement string

const (
	Agree  Agreement = "agree"
	Near   Agreement = "near"   // within what the verdict leaves open, or one step apart
	Differ Agreement = "differ" // a verdict that misleads
	Void   Agreement = "open"   // there is no verdict
)

// Row is a channel of which a fact is known.
type Row struct {
	RFChannel int
	Fact      Fact
	Verdict   string            // firm, slim, cliff, trace, vacant, unsure, atsc3, other, or "not heard"
	Margin    *measure.Estimate // dB; nil where there is none
	Agreement Agreement
}

// The rule, told in the README too. A set shows what is firm, slim or at the
// cliff; breaks up at the cliff; and does not find what is only a trace, of
// another standard, or not there. A margin's 95 % interval that reaches there
// makes it near. So does a picture that breaks up where the margin is at most 3 dB
// below the threshold or slim, for a set's own threshold and the hour's fading are
// unknown to that much; and a set that does not find what is at the cliff.
func agreement(fact Fact, word string, margin *measure.Estimate) Agreement {
	agrees := map[Fact][]string{
		Shows:    {"firm", "slim", "cliff"},
		BreaksUp: {"cliff"},
		NotFound: {"trace", "vacant", "atsc3", "other"},
	}[fact]
	switch {
	case word == "unsure" || word == notHeard || word == "present":
		return Void
	case slices.Contains(agrees, word):
		return Agree
	case fact == BreaksUp && word == "slim", fact == NotFound && word == "cliff":
		return Near
	case margin == nil:
		return Differ
	case fact == BreaksUp && word == "trace" && margin.Value >= -verdict.SlimMarginDB:
		return Near
	}
	const coverage = 1.96 // half a 95 % interval in sigmas
	half := coverage * margin.Sigma
	if !(half >= 0) || math.IsInf(half, 0) {
		return Differ
	}
	low, high := margin.Value-half, margin.Value+half
	reaches := []float64{low, high}
	for _, edge := range []float64{0, verdict.SlimMarginDB, verdict.FirmMarginDB} {
		if low <= edge && edge <= high {
			reaches = append(reaches, edge)
		}
	}
	for _, reach := range reaches {
		if slices.Contains(agrees, string(verdict.GradeOf(reach))) {
			return Near
		}
	}
	return Differ
}

const notHeard = "not heard"

// wordOf is a channel's verdict in one word.
func wordOf(c *scan.Channel) string {
	switch {
	case !c.Heard():
		return notHeard
	case c.Grade != "":
		return string(c.Grade)
	case c.Standard == measure.ATSC3:
		return "atsc3"
	case verdict.Occupied(&c.Reading) || c.Standard == measure.OtherStandard:
		return "other"
	}
	return string(c.Presence)
}

// Compare puts a survey's verdicts beside what a set does, ascending in channel.
func Compare(f Facts, s *scan.Survey) []Row {
	var rows []Row
	for _, list := range []struct {
		fact     Fact
		channels []int
	}{{Shows, f.Shows}, {BreaksUp, f.BreaksUp}, {NotFound, f.NotFound}} {
		for _, n := range list.channels {
			row := Row{RFChannel: n, Fact: list.fact, Verdict: notHeard}
			if at := slices.IndexFunc(s.Channels, func(c scan.Channel) bool { return c.Channel.Number == n }); at >= 0 {
				row.Verdict, row.Margin = wordOf(&s.Channels[at]), s.Channels[at].Margin
			}
			row.Agreement = agreement(row.Fact, row.Verdict, row.Margin)
			rows = append(rows, row)
		}
	}
	slices.SortFunc(rows, func(a, b Row) int { return a.RFChannel - b.RFChannel })
	return rows
}

// Replay sweeps a bundle's excerpt and compares. What it unpacks goes again.
func (b *Bundle) Replay(ctx context.Context) ([]Row, *scan.Survey, error) {
	plan, err := band.ParsePlan(b.Manifest.Plan)
	if err != nil {
		return nil, nil, err
	}
	folder, err := os.MkdirTemp("", "rooftone-bundle-")
	if err != nil {
		return nil, nil, fmt.Errorf("%s: unpacking it: %w", b.path, err)
	}
	defer os.RemoveAll(folder)
	r, err := b.Excerpt(ctx, folder)
	if err != nil {
		return nil, nil, err
	}
	defer r.Close()
	radio, _ := r.Radio() // one that cannot be used is none
	s, err := scan.SweepPlaylist(ctx, r, scan.Options{Channels: plan.Channels, Plan: plan.Channels, Radio: radio})
	if err != nil {
		return nil, nil, fmt.Errorf("%s: sweeping its excerpt: %w", b.path, err)
	}
	return Compare(b.Manifest.Facts, s), s, nil
}

// Tally counts how often verdicts and sets agree.
type Tally map[Fact]map[Agreement]int

// Add counts rows.
func (t Tally) Add(rows []Row) {
	for _, r := range rows {
		if t[r.Fact] == nil {
			t[r.Fact] = map[Agreement]int{}
		}
		t[r.Fact][r.Agreement]++
	}
}

// Total counts over all facts.
func (t Tally) Total() map[Agreement]int {
	all := map[Agreement]int{}
	for _, counts := range t {
		for a, n := range counts {
			all[a] += n
		}
	}
	return all
}

func (f Facts) sorted() Facts {
	for _, list := range []*[]int{&f.Shows, &f.BreaksUp, &f.NotFound} {
		*list = slices.Sorted(slices.Values(*list))
		if *list == nil {
			*list = []int{}
		}
	}
	return f
}
