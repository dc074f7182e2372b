package cure

import (
	"fmt"
	"math"
	"strconv"
	"strings"

	"rooftone/scan/band"
	"rooftone/scan/site"
)

// Kind is a kind of part that stands between the air and the receiver, or of what
// can be done to the antenna.
type Kind string

const (
	Antenna   Kind = "antenna"   // another gain of the antenna's
	Height    Kind = "height"    // another height
	Amplifier Kind = "amplifier" // gain, and noise of its own
	Wire      Kind = "cable"
	Splitter  Kind = "splitter"
	Loss      Kind = "loss" // an attenuator, or anything that only loses
	Filter    Kind = "filter"
)

// Range is where a figure lies, anywhere in it alike. An exact one has both ends
// the same.
type Range struct{ Low, High float64 }

func exactly(v float64) Range { return Range{v, v} }

func (r Range) at(share float64) float64 { return r.Low + share*(r.High-r.Low) }

// Part is one part of a line, or one change of the antenna.
type Part struct {
	Kind Kind
	// Text is the part as it is typed: ParsePart reads it back.
	Text string
	// Given says that its figures are the user's own; else they are a range of what
	// such parts are commonly made with.
	Given bool

	Gain    Range // dB: an amplifier's, or what the antenna gains at all frequencies
	Noise   Range // dB, an amplifier's noise figure
	Output  Range // dBm, an amplifier's third-order intercept at its output
	Loss    Range // dB, of splitters, filters and what only loses
	ByBand  []BandGain
	Cable   Cable
	LengthM float64
	AtHz    float64 // of a cable whose loss is given: where that is
	Keeps   band.Service
	FromM   float64 // heights
	ToM     float64

	slot int // tells parts apart that are drawn from their ranges
}

// BandGain is what an antenna gains in one band.
type BandGain struct {
	Name          string // low, high, uhf
	LowHz, HighHz float64
	Gain          Range
}

// Common practice, no source: what amplifiers for houses are commonly made with
// besides their gain.
var (
	usualNoise  = Range{2, 5}   // dB
	usualOutput = Range{20, 35} // dBm
)

// splitterLoss is what a splitter loses on each way, its connectors included: the
// division itself and half a dB to one and a half. Common practice: about 3.5 dB for
// two ways and 7 for four.
func splitterLoss(ways int) Range {
	ideal := 10 * math.Log10(float64(ways))
	steps := math.Ceil(math.Log2(float64(ways)))
	if ways == 3 { // one of two ways divided again
		return Range{3.5, 7.5}
	}
	return Range{ideal + 0.3*steps, ideal + 0.7*steps}
}

// televisionBands are the names by which an antenna's gain is told.
func televisionBands() []BandGain {
	return []BandGain{
		{Name: "low", LowHz: 54e6, HighHz: 88e6},
		{Name: "high", LowHz: 174e6, HighHz: 216e6},
		{Name: "uhf", LowHz: 470e6, HighHz: 698e6},
	}
}

// ParsePart reads a part of a kind as a person types it: what follows the kind.
//
//	antenna   4dB or low:-3dB,uhf:+5dB
//	height    20ft:30ft
//	amplifier 20dB or 20dB/3dB, gain and noise figure; /25dBm more is its
//	          third-order intercept at the output
//	cable     rg6:50ft or 3.2dB@600, its whole loss at a frequency in MHz
//	splitter  2
//	loss      4dB
//	filter    fm or lte, and /1dB for what it takes from television
func ParsePart(kind Kind, text string) (Part, error) {
	p := Part{Kind: kind, Text: strings.ToLower(strings.Join(strings.Fields(text), "")), Given: true}
	var err error
	switch kind {
	case Antenna:
		err = p.parseAntenna()
	case Height:
		err = p.parseHeight()
	case Amplifier:
		err = p.parseAmplifier()
	case Wire:
		err = p.parseCable()
	case Splitter:
		err = p.parseSplitter()
	case Loss:
		var dB float64
		dB, err = decibels(p.Text, 0, 60)
		p.Loss = exactly(dB)
	case Filter:
		err = p.parseFilter()
	default:
		err = fmt.Errorf("no part is called %.20q", kind)
	}
	p.Text = strings.NewReplacer("db", "dB", "dbm", "dBm", "mhz", "MHz").Replace(p.Text)
	return p, err
}

// ParseLine reads a line as installed: parts from the antenna to the receiver, such
// as "amplifier 20dB/3dB, cable rg6:50ft, splitter 2". "none" is a receiver at the
// antenna itself.
func ParseLine(text string) ([]Part, error) {
	if strings.TrimSpace(text) == "none" {
		return []Part{}, nil
	}
	var out []Part
	for _, one := range strings.Split(text, ",") {
		fields := strings.Fields(one)
		if len(fields) < 2 {
			return nil, fmt.Errorf("%.40q is no part of a line: write its kind and its figure, such as cable rg6:50ft", strings.TrimSpace(one))
		}
		kind := Kind(strings.ToLower(fields[0]))
		switch kind {
		case Amplifier, Wire, Splitter, Loss, Filter:
		default:
			return nil, fmt.Errorf("%.40q is no part of a line: it is made of amplifier, cable, splitter, loss and filter", fields[0])
		}
		p, err := ParsePart(kind, strings.Join(fields[1:], ""))
		if err != nil {
			return nil, fmt.Errorf("%s: %w", kind, err)
		}
		out = append(out, p)
	}
	return out, nil
}

// String is the part as a line is written.
func (p *Part) String() string { return string(p.Kind) + " " + p.Text }

func (p *Part) parseAntenna() error {
	if !strings.Contains(p.Text, ":") {
		dB, err := decibels(p.Text, -30, 30)
		p.Gain = exactly(dB)
		return err
	}
	for _, one := range strings.Split(p.Text, ",") {
		name, figure, _ := strings.Cut(one, ":")
		found := false
		for _, b := range televisionBands() {
			if b.Name != name {
				continue
			}
			dB, err := decibels(figure, -30, 30)
			if err != nil {
				return err
			}
			b.Gain, found = exactly(dB), true
			p.ByBand = append(p.ByBand, b)
		}
		if !found {
			return fmt.Errorf("%.20q is no band: write low, high or uhf, such as high:-3dB,uhf:+5dB", name)
		}
	}
	return nil
}

func (p *Part) parseHeight() error {
	from, to, ok := strings.Cut(p.Text, ":")
	if !ok {
		return fmt.Errorf("%.20q lacks one of two heights: write 20ft:30ft, the one now and the other", p.Text)
	}
	var err error
	if p.FromM, err = length(from); err == nil {
		p.ToM, err = length(to)
	}
	if err != nil {
		return err
	}
	if p.FromM < 1 || p.ToM < 1 || p.FromM > 300 || p.ToM > 300 {
		return fmt.Errorf("heights of %.3g and %.3g m: they lie between 1 and 300", p.FromM, p.ToM)
	}
	return nil
}

func (p *Part) parseAmplifier() error {
	fields := strings.Split(p.Text, "/")
	if len(fields) > 3 {
		return fmt.Errorf("%.30q is more than gain, noise figure and intercept: write 20dB/3dB", p.Text)
	}
	gain, err := decibels(fields[0], 0, 60)
	if err != nil {
		return err
	}
	p.Gain, p.Noise, p.Output, p.Given = exactly(gain), usualNoise, usualOutput, len(fields) > 1
	if len(fields) > 1 {
		noise, err := decibels(fields[1], 0.1, 30)
		if err != nil {
			return err
		}
		p.Noise = exactly(noise)
	}
	if len(fields) > 2 {
		output, err := figure(strings.TrimSuffix(strings.TrimSuffix(fields[2], "dbm"), "db"), -20, 60, "dBm")
		if err != nil {
			return err
		}
		p.Output = exactly(output)
	}
	return nil
}

func (p *Part) parseCable() error {
	if loss, at, ok := strings.Cut(p.Text, "@"); ok {
		dB, err := decibels(loss, 0, 60)
		if err != nil {
			return err
		}
		mhz, err := figure(strings.TrimSuffix(at, "mhz"), 10, 1000, "MHz")
		p.Loss, p.AtHz = exactly(dB), mhz*1e6
		return err
	}
	name, long, ok := strings.Cut(p.Text, ":")
	if !ok {
		return fmt.Errorf("%.20q lacks the cable's length: write rg6:50ft or rg6:15m", p.Text)
	}
	var err error
	if p.Cable, err = cableOf(name); err != nil {
		return err
	}
	p.LengthM, err = length(long)
	if err == nil && (p.LengthM < 0 || p.LengthM > 1000) {
		err = fmt.Errorf("a cable of %.4g m: it is between 0 and 1000 m long", p.LengthM)
	}
	p.Given = false
	return err
}

func (p *Part) parseSplitter() error {
	ways, err := strconv.Atoi(strings.TrimSuffix(p.Text, "-way"))
	if err != nil || ways < 2 || ways > 16 {
		return fmt.Errorf("%.20q is no number of ways: write 2, 3, 4, 8 or another from 2 to 16", p.Text)
	}
	p.Loss, p.Given = splitterLoss(ways), false
	return nil
}

func (p *Part) parseFilter() error {
	name, loss, told := strings.Cut(p.Text, "/")
	switch name {
	case "fm":
		p.Keeps = band.Service{Name: "fm", LowHz: 88e6, HighHz: 108e6}
	case "lte", "5g":
		p.Keeps = band.Service{Name: "lte", LowHz: 614e6, HighHz: 1e9}
	default:
		return fmt.Errorf("%.20q is no filter: write fm or lte", name)
	}
	p.Loss, p.Given = Range{0.5, 2}, false // common practice, no source
	if told {
		dB, err := decibels(loss, 0, 20)
		p.Loss, p.Given = exactly(dB), true
		return err
	}
	return nil
}

// decibels reads a number of dB, with the unit or without.
func decibels(text string, low, high float64) (float64, error) {
	return figure(strings.TrimSuffix(text, "db"), low, high, "dB")
}

func figure(text string, low, high float64, unit string) (float64, error) {
	v, err := strconv.ParseFloat(text, 64)
	if err != nil || math.IsNaN(v) {
		return 0, fmt.Errorf("%.20q is no number of %s", text, unit)
	}
	if v < low || v > high {
		return 0, fmt.Errorf("%g %s lies outside %g to %g", v, unit, low, high)
	}
	return v, nil
}

// length reads a length in feet or metres, with its unit.
func length(text string) (float64, error) {
	m, typed, err := site.ParseLength(text, site.Metres)
	if err != nil || typed == "" {
		return 0, fmt.Errorf("%.20q is no length with its unit: write 50ft or 15m", text)
	}
	return m, nil
}
