package main

import (
	"fmt"
	"math"
	"strings"

	"github.com/spf13/pflag"

	"rooftone/plot"
	"rooftone/scan"
	"rooftone/scan/band"
	"rooftone/scan/expect"
	"rooftone/scan/measure"
	"rooftone/scan/site"
	"rooftone/scan/terrain"
)

// besideFlags put what was expected beside what is measured, where a folder of
// terrain was named. A nil one does nothing.
type besideFlags struct {
	terrain  terrainFlags
	expected *expect.Expectation // nil without terrain
}

func (b *besideFlags) declare(fs *pflag.FlagSet) { b.terrain.declare(fs) }

// expect reckons what should arrive, before anything is measured.
func (b *besideFlags) expect(v *visitFlags) error {
	if b == nil {
		return nil
	}
	folder, err := b.terrain.open()
	switch {
	case err != nil:
		return err
	case folder == nil && *b.terrain.height != usualAntennaM:
		return usagef("--height is for what is expected, and goes with --terrain").hint("--height 20ft --terrain tiles --stations list.csv --at 44.26,-72.58")
	case folder == nil:
		return nil
	}
	if v.stations.at == "" || !v.stations.given {
		return usagef("--terrain goes with a list of stations and with where this antenna is").hint("--stations list.csv --at 44.26,-72.58 --terrain %s", b.terrain.folder)
	}
	at, err := site.ParsePosition(v.stations.at)
	if err != nil {
		return usagef("--at: %w", err)
	}
	plan, err := band.ParsePlan(v.plan)
	if err != nil {
		return usagef("--plan: %w", err)
	}
	b.expected, err = expect.At(expect.House{
		At: at, HeightM: *b.terrain.height, ThresholdDB: *v.threshold,
		GainDBd: v.field.gain, LineLossDB: v.field.loss, NoiseFigureDB: v.noiseFigure,
		HeightsAboveSea: b.terrain.aboveSea, Plan: plan, Terrain: folder,
	}, v.stations.list)
	return err
}

func (b *besideFlags) differences(s *scan.Survey) []expect.Difference {
	var readings []*measure.Reading
	for i := range s.Channels {
		readings = append(readings, &s.Channels[i].Reading)
	}
	return b.expected.Beside(readings)
}

// reportBeside is a channel's measured C/N beside the expected one.
type reportBeside struct {
	RFChannel    int      `json:"rf_channel"`
	Label        string   `json:"label"`
	CN           *float64 `json:"cn_db"`
	Expected     *float64 `json:"expected_cn_db"`
	ExpectedLow  *float64 `json:"expected_cn_low_db"`
	ExpectedHigh *float64 `json:"expected_cn_high_db"`
	Off          *float64 `json:"difference_db"`
	OffLow       *float64 `json:"difference_low_db"`
	OffHigh      *float64 `json:"difference_high_db"`
	Ceiling      bool     `json:"ceiling"`
	Finding      string   `json:"finding"`
}

func (b *besideFlags) report(s *scan.Survey) []reportBeside {
	if b == nil || b.expected == nil {
		return nil
	}
	out := []reportBeside{}
	for _, d := range b.differences(s) {
		r := reportBeside{RFChannel: d.RFChannel, Label: d.Label, Ceiling: d.Ceiling, Finding: string(d.Finding)}
		r.Expected, r.ExpectedLow, r.ExpectedHigh = round(d.Expected.Value, 0.1), round(d.Expected.Low, 0.1), round(d.Expected.High, 0.1)
		if d.CN != nil {
			r.CN = round(d.CN.Value, 0.1)
		}
		if d.Off != nil {
			r.Off, r.OffLow, r.OffHigh = round(d.Off.Value, 0.1), round(d.Off.Low, 0.1), round(d.Off.High, 0.1)
		}
		out = append(out, r)
	}
	return out
}

// show tells below a survey's rows how it stands beside what was expected.
func (b *besideFlags) show(c *console, s *scan.Survey, l looks) error {
	if b == nil || b.expected == nil {
		return nil
	}
	list := b.differences(s)
	lines := []string{"", "C/N beside what the terrain lets through:"}
	for _, d := range list {
		lines = append(lines, besideLine(d))
	}
	if len(list) == 0 {
		lines = append(lines, "of these channels nothing was")
	}
	if m, of := expect.Middle(list); of >= 3 {
		lines = append(lines, fmt.Sprintf("in the middle of %d channels: %s", of, offInWords(*m)))
	}
	if names := b.expected.Missing; len(names) > 0 {
		lines = append(lines, "tiles that lack: "+tilesInWords(names))
	}
	screen := c.screenFor(l)
	return plot.Lines(c.stdout, lines, plot.TextOptions{Width: screen.width, UTF8: screen.utf8})
}

func besideLine(d expect.Difference) string {
	name := d.Label
	if name == "" {
		name = "a station"
	}
	line := fmt.Sprintf("%3d  %s: expected %.0f dB (%.0f to %.0f)", d.RFChannel, name, d.Expected.Value, d.Expected.Low, d.Expected.High)
	switch {
	case d.Finding == expect.Absent:
		return line + ", not there: off the air, moved, or cut off here"
	case d.Ceiling:
		return fmt.Sprintf("%s, measured %.0f: as good as a radio shows", line, d.CN.Value)
	case d.Off == nil && d.Finding == expect.AsExpected:
		return line + ", not there, and it need not be"
	case d.Off == nil:
		return line + ", not measured well enough"
	}
	line += fmt.Sprintf(", measured %.0f: %s (%+.0f to %+.0f)", d.CN.Value, offInWords(d.Off.Value), d.Off.Low, d.Off.High)
	switch d.Finding {
	case expect.Weaker:
		return line + ", less than the terrain allows for"
	case expect.Stronger:
		return line + ", more than it can be: it may be another station"
	}
	return line + ", as expected"
}

// offInWords says by how much something is off.
func offInWords(db float64) string {
	switch {
	case math.Round(db) == 0:
		return "the same"
	case db < 0:
		return fmt.Sprintf("%.0f dB weaker", -db)
	}
	return fmt.Sprintf("%.0f dB stronger", db)
}

func tilesInWords(names []terrain.Name) string {
	var out []string
	for _, n := range names {
		out = append(out, string(n)+".hgt")
	}
	return strings.Join(out, " ")
}
