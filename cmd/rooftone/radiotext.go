package main

import (
	"fmt"
	"io"
	"math"
	"strings"

	"rooftone/scan/character"
)

// writeRadio tells what was found of a radio, a line or a few for each thing.
func writeRadio(w io.Writer, r *character.Character) error {
	var b strings.Builder
	fmt.Fprintf(&b, "The radio %s, examined for %.0f s at %.4g MS/s\n\n", oneLine(r.Radio), r.AirSeconds, r.RateHz/1e6)
	for _, finding := range [][2]string{
		{"antenna", antennaWords(r)},
		{"pass band", passbandWords(r)},
		{"folding", foldingWords(r)},
		{"gain steps", gainWords(r)},
		{"noise", floorWords(r)},
		{"settling", settlingWords(r)},
		{"clock", clockWords(r)},
		{"own tones", toneWords(r)},
		{"image", imageWords(r)},
		{"lost samples", lossWords(r)},
	} {
		const column, wide = 14, 66
		for i, line := range wrap(finding[1], wide) {
			name := finding[0]
			if i > 0 {
				name = ""
			}
			fmt.Fprintf(&b, "%-*s%s\n", column, name, line)
		}
	}
	_, err := io.WriteString(w, b.String())
	return err
}

// wrap breaks text into lines of at most so many letters.
func wrap(text string, width int) []string {
	var lines []string
	line := ""
	for _, word := range strings.Fields(text) {
		if line != "" && len([]rune(line))+1+len([]rune(word)) > width {
			lines, line = append(lines, line), ""
		}
		line = strings.TrimPrefix(line+" "+word, " ")
	}
	return append(lines, line)
}

const notMeasured = "not measured"

// within writes a figure with its 95 % interval.
func within(f character.Figure, decimals int, unit string) string {
	return fmt.Sprintf("%.*f ±%.*f %s", decimals, f.Value, decimals, math.Max(2*f.Sigma, math.Pow(10, -float64(decimals))), unit)
}

func antennaWords(r *character.Character) string {
	if !r.Antenna() {
		return "no station was heard well enough to measure with: perhaps nothing is connected"
	}
	var each []string
	for _, s := range r.Stations {
		each = append(each, fmt.Sprintf("%d (C/N %.0f dB)", s.RFChannel, s.CNDB))
	}
	return "stations come in: measured with channel " + strings.Join(each, ", ")
}

func passbandWords(r *character.Character) string {
	switch {
	case r.DroopDB == nil:
		return notMeasured
	case len(r.Response) == 0:
		return fmt.Sprintf("by noise alone, %s down at %g of half the rate", within(*r.DroopDB, 1, "dB"), character.EdgeShare)
	}
	text := fmt.Sprintf("%s down at %g of half the rate, the end of what is used; it moves by %.1f dB with frequency",
		within(*r.DroopDB, 1, "dB"), character.EdgeShare, r.StrayDB)
	if r.HumpDB != nil && r.HumpDB.Value > 1 {
		text += fmt.Sprintf("; the noise has a hump of %.0f dB in the middle, as of a tuner that mixes straight down", r.HumpDB.Value)
	}
	return text
}

func foldingWords(r *character.Character) string {
	if r.FoldingDB == nil {
		return notMeasured
	}
	return fmt.Sprintf("what lies at %g of half the rate comes back with %s", 2-character.EdgeShare, within(*r.FoldingDB, 1, "dB"))
}

func gainWords(r *character.Character) string {
	if r.GainsWork != nil && !*r.GainsWork {
		return "signals do not follow the gain: a gain control was left on, or the gain is not set"
	}
	first, last := -1, -1
	worst, step := 0., 0
	for i, g := range r.Gains {
		if g.RealDB == nil {
			continue
		}
		if first < 0 {
			first = i
		} else if off := math.Abs(g.RealDB.Value - r.Gains[last].RealDB.Value - (g.NameDB - r.Gains[last].NameDB)); off > worst {
			worst, step = off, i
		}
		last = i
	}
	if first < 0 || first == last {
		return notMeasured
	}
	a, b := r.Gains[first], r.Gains[last]
	text := fmt.Sprintf("from %g to %g dB by name it is %.1f dB, and not %.1f", a.NameDB, b.NameDB, b.RealDB.Value-a.RealDB.Value, b.NameDB-a.NameDB)
	if step > 0 {
		text += fmt.Sprintf("; the step up to %g dB is the furthest from its name, by %.1f dB", r.Gains[step].NameDB, worst)
	}
	if first > 0 {
		text += fmt.Sprintf("; below %g dB no station was strong enough", a.NameDB)
	}
	return text
}

func floorWords(r *character.Character) string {
	low, high := -1, -1
	for i, g := range r.Gains {
		if g.FloorDBFSHz == nil {
			continue
		}
		if low < 0 {
			low = i
		}
		high = i
	}
	if low < 0 || low == high {
		return notMeasured
	}
	a, b := r.Gains[low], r.Gains[high]
	text := fmt.Sprintf("%.0f dBFS in 1 Hz at the highest gain, %.0f at the lowest", *b.FloorDBFSHz, *a.FloorDBFSHz)
	const rises = 3
	if *b.FloorDBFSHz-*a.FloorDBFSHz < rises {
		text += ": it hardly rises with the gain, so what comes before the gain is not heard"
	}
	return text
}

func settlingWords(r *character.Character) string {
	s := r.Settling
	if s == nil {
		return notMeasured
	}
	after := func(ms float64) string {
		if ms < 1 {
			return "as soon as it says so"
		}
		return fmt.Sprintf("up to %.0f ms after it says so", ms)
	}
	return fmt.Sprintf("a retune is over %s, and where the sample rate changes %s (%d tries each)", after(s.SameRateMS), after(s.OtherRateMS), s.Tries)
}

func clockWords(r *character.Character) string {
	if r.ClockPPM == nil {
		return notMeasured
	}
	text := fmt.Sprintf("runs %+.2f ±%.2f ppm off", r.ClockPPM.Value, math.Max(0.01, 2*r.ClockPPM.Sigma))
	if d := r.DriftPPMPerMinute; d != nil {
		if math.Abs(d.Value) > 3*d.Sigma && math.Abs(d.Value) > 0.02 {
			text += fmt.Sprintf(", and went by %+.2f ppm a minute while it was listened to", d.Value)
		} else {
			text += ", and was steady while it was listened to"
		}
	}
	return text
}

func toneWords(r *character.Character) string {
	var harmonics, others []string
	for _, t := range r.Tones {
		if t.Kind == character.ToneHarmonic {
			harmonics = append(harmonics, fmt.Sprintf("%.1f MHz (%.0f dBFS)", t.Hz/1e6, t.DBFS))
		} else {
			others = append(others, fmt.Sprintf("%+.0f kHz (%.0f dBFS)", t.Hz/1e3, t.DBFS))
		}
	}
	var parts []string
	if r.Middle != nil {
		parts = append(parts, fmt.Sprintf("%.0f dBFS in the middle of every slice", r.Middle.Value))
	}
	if len(others) > 0 {
		parts = append(parts, "at the same place of every slice: "+strings.Join(others, ", "))
	}
	if len(harmonics) > 0 {
		parts = append(parts, "harmonics of its crystal: "+strings.Join(harmonics, ", "))
	}
	if len(parts) == 0 {
		return notMeasured
	}
	return strings.Join(parts, "; ")
}

func imageWords(r *character.Character) string {
	var each []string
	for _, i := range r.Images {
		bound := ""
		if i.AtMost {
			bound = "at most "
		}
		each = append(each, fmt.Sprintf("%s%.0f dB at %.0f MHz", bound, i.DB, i.Hz/1e6))
	}
	if len(each) == 0 {
		return notMeasured
	}
	return "a signal shows on the other side of the middle with " + strings.Join(each, ", ")
}

func lossWords(r *character.Character) string {
	var each []string
	for _, l := range r.Losses {
		what := "none"
		switch {
		case l.Jumps == 1:
			what = "one gap"
		case l.Jumps > 1:
			what = fmt.Sprintf("%d gaps", l.Jumps)
		}
		if l.Told > 0 {
			what += fmt.Sprintf(", of which the radio told %d times", l.Told)
		}
		each = append(each, fmt.Sprintf("%s in %g s at %.4g MS/s", what, l.Seconds, l.RateHz/1e6))
	}
	if len(each) == 0 {
		return notMeasured
	}
	return strings.Join(each, ", ")
}
