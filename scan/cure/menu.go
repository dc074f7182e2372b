package cure

import (
	"fmt"
	"math"
)

// Menu is what is worth asking of a house where nobody asked for anything else: the
// common changes, with the figures that such parts commonly have. Common practice,
// no source.
func (p *Predictor) Menu() []Change {
	m := p.m
	usual := func(kind Kind, text string, gain Range) Part {
		return Part{Kind: kind, Text: text, Gain: gain, Noise: usualNoise, Output: usualOutput}
	}
	mast := usual(Amplifier, "15-20dB", Range{15, 20})
	out := []Change{
		{Name: "a larger antenna, 3 to 6 dB more", Head: []Part{usual(Antenna, "3-6dB", Range{3, 6})}},
		{Name: "half as high again (rule of thumb)", Head: []Part{{Kind: Height, Text: "6m:9m", FromM: 6, ToM: 9}}},
		{Name: "an amplifier at the antenna", Head: []Part{mast}},
	}
	if m.Line == nil || len(m.Line) > 0 {
		out = append(out, Change{Name: "an amplifier behind the line", Tail: []Part{mast}})
	}
	out = append(out, m.betterLine()...)
	for _, name := range m.filtersFor() {
		f, err := ParsePart(Filter, name)
		if err == nil {
			out = append(out, Change{Name: fmt.Sprintf("a filter for %s at the receiver", map[string]string{"fm": "FM", "lte": "LTE and 5G"}[name]), Tail: []Part{f}})
		}
	}
	if m.crowded() {
		out = append(out, Change{Name: "an attenuator of 6 dB", Tail: []Part{{Kind: Loss, Text: "6dB", Given: true, Loss: exactly(6)}}})
	}
	two, err := ParsePart(Splitter, "2")
	if err == nil {
		out = append(out, Change{Name: "a splitter for one more set", Tail: []Part{two}})
	}
	return out
}

// betterLine are changes of the line as it is: thicker cable, no splitter.
func (m *Setup) betterLine() []Change {
	var out []Change
	thick := Cables()[2]
	thicker, without := append([]Part(nil), m.Line...), []Part(nil)
	change := false
	for i := range thicker {
		p := &thicker[i]
		if p.Kind == Wire && p.LengthM > 0 && p.Cable.Name != thick.Name {
			p.Cable, p.Text, change = thick, fmt.Sprintf("%s:%.3gm", thick.Name, p.LengthM), true
		}
		if p.Kind != Splitter {
			without = append(without, m.Line[i])
		}
	}
	if change {
		out = append(out, Change{Name: "RG-11 for the cable", Without: true, Tail: thicker})
	}
	if len(without) < len(m.Line) {
		out = append(out, Change{Name: "no splitter", Without: true, Tail: without})
	}
	return out
}

// filtersFor are the filters that something strong asks for.
func (m *Setup) filtersFor() []string {
	if m.Overload == nil {
		return nil
	}
	const strongDBFS = -10 // what is fainter makes no products that matter
	var out []string
	for _, name := range []string{"fm", "lte"} {
		f, err := ParsePart(Filter, name)
		if err != nil {
			continue
		}
		most := math.Inf(-1)
		for _, e := range m.Overload.Emitters {
			if middle := (e.LowHz + e.HighHz) / 2; middle >= f.Keeps.LowHz && middle < f.Keeps.HighHz {
				most = math.Max(most, e.LevelDBFS)
			}
		}
		if most > strongDBFS {
			out = append(out, name)
		}
	}
	return out
}

// crowded reports whether less of everything may help.
func (m *Setup) crowded() bool {
	if o := m.Overload; o != nil && (o.SecondDBFS != nil || o.ThirdDBFS != nil) {
		return true
	}
	for i := range m.Channels {
		if m.Channels[i].Overload {
			return true
		}
	}
	return false
}
