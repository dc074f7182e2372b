package bundle

import (
	"bytes"
	"context"
	"flag"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"text/tabwriter"

	"github.com/stretchr/testify/require"

	"rooftone/scan"
	"rooftone/scan/band"
	"rooftone/scan/recording"
	"rooftone/scan/tuner"
	"rooftone/scan/tuner/sim"
	"rooftone/scan/verdict"
)

var folder = flag.String("bundles", "", "replay the field bundles of a folder, and print how often verdicts and sets agree")

// Truth: what sets showed, as whoever made the bundles saw it. Without a folder the
// sets are ideal ones in simulated towns: arithmetic on each station's C/N, which the
// simulation knows, says what they show.
func TestReplay(t *testing.T) {
	names, err := filepath.Glob(filepath.Join(*folder, "*"+Ending))
	require.NoError(t, err)
	if *folder == "" {
		names = simulated(t)
	}
	require.NotEmpty(t, names, "no file of the folder ends in %s", Ending)
	tally, refused := Tally{}, 0
	for _, name := range names {
		rows, err := replay(name)
		if err != nil && *folder != "" {
			refused++ // one that is damaged does not keep the others from being told
			t.Log(err)
			continue
		}
		require.NoError(t, err)
		tally.Add(rows)
		t.Logf("%s\n%s", filepath.Base(name), rowsInText(rows))
	}
	t.Logf("%d bundles, %d of them could not be read\n%s", len(names), refused, tallyInText(tally))
	if *folder == "" {
		all := tally.Total()
		require.Zero(t, all[Near]+all[Differ]+all[Void])
		for _, f := range []Fact{Shows, BreaksUp, NotFound} {
			require.Positive(t, tally[f][Agree], f)
		}
	}
}

func replay(name string) ([]Row, error) {
	b, closer, err := Open(name)
	if err != nil {
		return nil, err
	}
	defer closer.Close()
	rows, _, err := b.Replay(context.Background())
	return rows, err
}

func rowsInText(rows []Row) string {
	var b strings.Builder
	table := tabwriter.NewWriter(&b, 0, 8, 2, ' ', 0)
	fmt.Fprintln(table, "RF\tset\tverdict\tmargin\t")
	for _, r := range rows {
		margin := "-"
		if m := r.Margin; m != nil {
			margin = fmt.Sprintf("%+.1f ± %.1f dB", m.Value, 1.96*m.Sigma)
		}
		fmt.Fprintf(table, "%d\t%s\t%s\t%s\t%s\n", r.RFChannel, r.Fact, r.Verdict, margin, r.Agreement)
	}
	table.Flush()
	return b.String()
}

func tallyInText(t Tally) string {
	var b strings.Builder
	table := tabwriter.NewWriter(&b, 0, 8, 2, ' ', 0)
	fmt.Fprintln(table, "set\tagree\tnear\tdiffer\topen")
	line := func(name string, n map[Agreement]int) {
		fmt.Fprintf(table, "%s\t%d\t%d\t%d\t%d\n", name, n[Agree], n[Near], n[Differ], n[Void])
	}
	for _, f := range []Fact{Shows, BreaksUp, NotFound} {
		line(string(f), t[f])
	}
	line("all", t.Total())
	table.Flush()
	return b.String()
}

// simulated makes bundles of two small towns, and returns their names.
func simulated(t *testing.T) []string {
	towns := [][]float64{{26.2, 16.7}, {19.5, 16.5, 10, 30}} // C/N in dB on 14, 16, 18 …
	if testing.Short() {
		towns = towns[:1]
	}
	var names []string
	for i, cn := range towns {
		names = append(names, filepath.Join(t.TempDir(), fmt.Sprintf("town%d%s", i, Ending)))
		require.NoError(t, os.WriteFile(names[i], simulatedBundle(t, cn), 0o600))
	}
	return names
}

// simulatedBundle visits a town, asks an ideal set, and writes what both say.
func simulatedBundle(t *testing.T, cn []float64) []byte {
	town, err := sim.Bench(cn...)
	require.NoError(t, err)
	radio, err := sim.New(town, sim.Options{})
	require.NoError(t, err)
	defer radio.Close()
	plan := band.Plans()[0]
	m := manifest()
	m.Facts = Facts{}
	var channels []band.Channel
	for number := 14; number <= 12+2*len(cn); number++ {
		c, ok := plan.Channel(number)
		require.True(t, ok)
		channels = append(channels, c)
		truth, err := radio.Truth(number)
		require.NoError(t, err)
		switch margin := truth.CNDB - 15.2; { // ATSC A/74's C/N
		case margin < 0: // also where there is nothing
			m.Facts.NotFound = append(m.Facts.NotFound, number)
		case margin < verdict.SlimMarginDB:
			m.Facts.BreaksUp = append(m.Facts.BreaksUp, number)
		default:
			m.Facts.Shows = append(m.Facts.Shows, number)
		}
	}
	m.Channels = m.Facts.All()
	base := filepath.Join(t.TempDir(), "excerpt")
	w, err := recording.Create(base, recording.Meta{Datatype: radio.Info().Datatype, Clock: radio.Info().Clock})
	require.NoError(t, err)
	_, err = scan.SweepTuner(t.Context(), radio, scan.Options{Channels: channels, Plan: channels, Keep: func(b tuner.Block, fresh bool) error {
		if fresh {
			w.NewCapture()
		}
		return w.WriteBlock(b)
	}})
	require.NoError(t, err)
	require.NoError(t, w.Close())
	var packed, file bytes.Buffer
	require.NoError(t, recording.Pack(&packed, base, "excerpt", true))
	require.NoError(t, Write(&file, m, &packed, nil))
	require.True(t, slices.IsSorted(m.Channels))
	return file.Bytes()
}
