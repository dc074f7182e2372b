package plot

import "rooftone/scan"

// key draws one of each kind of lot and says what it is.
func (b *builder) key(rows []scan.Channel) {
	l := letters{size: 7.5, ink: black}
	const lot, base, high = 11.0, keyY, 12.0
	notHeard := "not covered by the source"
	if inPart(rows) != "" {
		notHeard = "not heard"
	}
	type entry struct {
		text string
		draw func(x0, x1 float64)
	}
	entries := []entry{
		{"decodes: the slope of the roof is the 95 % interval", func(x0, x1 float64) {
			mid := (x0 + x1) / 2
			pts := []point{{x0, base}, {x0, base + high - 5}, {mid, base + high}, {x1, base + high - 5}, {x1, base}}
			b.fill(b.scale.tone(16), pts...)
			b.outline(black, 0.8, nil, pts...)
		}},
		{"cannot decode yet", func(x0, x1 float64) {
			mid, top := (x0+x1)/2, base+high-2
			pts := []point{{x0, top}, {x0, base + 3}, {mid, base - 1}, {x1, base + 3}, {x1, top}}
			b.fill(b.scale.tone(-8), pts...)
			b.hatch(black, 0.5, 2.8, falling, pts...)
			b.outline(black, 0.8, nil, pts...)
		}},
		{"unsure", func(x0, x1 float64) {
			b.outline(black, 0.9, []float64{2.5, 1.8}, rectangle(box{x0, base - 1, x1, base + high})...)
			b.text(letters{size: 8, bold: true, ink: black}, (x0+x1)/2, base+2.6, 0.5, "?")
		}},
		{"vacant", func(x0, x1 float64) {
			b.line(black, 1.4, nil, point{x0 - 2, base + 2}, point{x1 + 2, base + 2})
			b.line(soft, 0.9, nil, point{x0, base + 2}, point{x0, base + 7})
			b.line(soft, 0.9, nil, point{x1, base + 2}, point{x1, base + 7})
		}},
		{notHeard, func(x0, x1 float64) {
			b.outline(soft, 0.7, []float64{0.8, 2.2}, rectangle(box{x0, base - 1, x1, base + high - 2})...)
		}},
		{"beyond the axis", func(x0, x1 float64) {
			pts := rectangle(box{x0, base - 2, x1, base + high - 3})
			b.fill(b.scale.tone(topDB), pts...)
			b.outline(black, 0.8, nil, pts...)
			b.cut(x0, x1, base+high-3, 1)
		}},
	}
	if len(foreigners(rows)) > 0 {
		entries = append(entries, entry{"another standard", func(x0, x1 float64) { b.tank(x0, x1, base+5, 7) }})
	}
	total := 0.0
	for _, e := range entries {
		total += lot + 4 + b.width(l, e.text)
	}
	space := (pageWidth - 2*marginX - total) / float64(len(entries)-1)
	x := marginX + 2
	for _, e := range entries {
		e.draw(x, x+lot)
		x += lot + 4
		b.text(l, x, base+2, 0, e.text)
		x += b.width(l, e.text) + min(space, 26)
	}
}
