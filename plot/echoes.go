package plot

import (
	"fmt"
	"io"
	"math"
	"strings"

	"rooftone/scan"
	"rooftone/scan/site"
)

// Echoes draws the echoes of a survey's stations and writes them as "png",
// "svg" or "pdf". A survey of one channel fills the page: its echoes, and
// where the walls could stand that make them. Several channels stand in
// streets below one another in RF order, in as many columns as they need, so
// that what is on several of them stands in line. A channel of which nothing
// can be told says why.
func Echoes(w io.Writer, format string, s *scan.Survey, o Options) error {
	if s == nil {
		return errNoSurvey
	}
	all := lots(s)
	shown := echoRows(all)
	if o.Title == "" {
		o.Title = "Echoes at this antenna"
		if len(shown) == 1 {
			o.Title = fmt.Sprintf("Echoes on channel %d", shown[0].Channel.Number)
		}
	}
	var spoken []string
	for _, c := range shown {
		spoken = append(spoken, spokenEchoes(c))
	}
	a := about{o.Title, "Echoes: delay after the strongest path, level, extra path. " + strings.Join(spoken, ". ") + ".", s.Started}
	return paint(w, format, a, func(p *pen) { drawEchoes(p, s, all, shown, o) })
}

// fewRows is how many channels have room for one that shows nothing.
const fewRows = 12

// echoRows chooses the channels to draw: the only one, or the stations; of
// many only those with something to tell.
func echoRows(all []scan.Channel) []scan.Channel {
	if len(all) == 1 {
		return all
	}
	shown := stations(all)
	if len(shown) <= fewRows {
		return shown
	}
	var heard []scan.Channel
	for _, c := range shown {
		if trained(c) {
			heard = append(heard, c)
		}
	}
	if len(heard) == 0 {
		return shown
	}
	return heard
}

func drawEchoes(p *pen, s *scan.Survey, all, shown []scan.Channel, o Options) {
	switch len(shown) {
	case 0:
		heading(p, o.Title, tally(all), "")
		p.text(letters{size: 11, bold: true, ink: soft}, pageWidth/2, pageHeight/2, 0.5, "no station here to hear echoes of")
	case 1:
		drawEchoPage(p, s, shown[0], o)
	default:
		drawEchoStreets(p, all, shown, o)
	}
	footing(p, s, all)
}

const howToReadEchoes = "How to read it: at 0 stands the strongest path. Each echo is a narrow house, as far along the street as it comes late and as high as it is loud; " +
	"the slope of its roof and its breadth are the 95 % intervals. A dark house limits decoding. "

// echoHeadline says in one line what the picture shows.
func echoHeadline(c scan.Channel) string {
	if s := noEchoes(c); s != "" {
		return s
	}
	list := arrivals(c)
	a, _ := loudest(list)
	w := onPaper()
	count := "1 echo: "
	if len(list) > 1 {
		count = fmt.Sprintf("%d echoes, the loudest ", len(list))
	}
	late := "late"
	if a.us.v < 0 {
		late = "early"
		a.us.v = -a.us.v
	}
	text := fmt.Sprintf("%s%s %ss %s at %s dB", count, w.delay(a), w.micro, late, w.level(a))
	if late == "early" {
		return text + ": the strongest path may itself be an echo"
	}
	return text + fmt.Sprintf(": %s ft or %s m of extra path", w.way(a, feetPerUS), w.way(a, metrePerUS))
}

// echoColumns is in how many columns n streets stand, and how many below one
// another.
func echoColumns(n int) (columns, rows int) {
	columns = 1
	for _, most := range []int{6, 12, 21, 36} {
		if n > most {
			columns++
		}
	}
	return columns, (n + columns - 1) / columns
}

const (
	streetsTop    = 420.0
	streetsBottom = 72.0
	mostStreets   = 60 // on one page
)

func drawEchoStreets(p *pen, all, shown []scan.Channel, o Options) {
	heading(p, o.Title, echoTally(all, shown), howToReadEchoes+
		"A wall that throws it back stands half the extra path away if it is straight behind the antenna, the whole if it is at its side. Houses in line on several channels are most likely one and the same wall.")
	if len(shown) > mostStreets {
		p.text(letters{size: 7.5, ink: soft}, pageWidth-marginX, streetsBottom-31, 1, fmt.Sprintf("and %d channels more", len(shown)-mostStreets))
		shown = shown[:mostStreets]
	}
	columns, rows := echoColumns(len(shown))
	const between = 14.0
	wide := (pageWidth - 2*marginX - between*float64(columns-1)) / float64(columns)
	high := math.Min((streetsTop-streetsBottom)/float64(rows), 116)
	gutter := 54.0
	if columns > 2 {
		gutter = 32
	}
	size := math.Max(6.5, 8-0.5*float64(columns))
	sc := newScale()
	for i := 0; i < len(shown); i += rows {
		column := shown[i:min(i+rows, len(shown))]
		left := marginX + float64(i/rows)*(wide+between)
		k := &lane{pen: p, scale: sc, label: letters{size: size, ink: black}, units: o.Units}
		if own, _ := lengths(o.Units); columns == 1 {
			k.far = &own
		}
		k.x0, k.x1 = left+gutter, left+wide
		bottom := streetsTop - high*float64(len(column))
		for us := 0.0; us <= latestUS; us += 5 {
			p.line(faint, 0.4, []float64{0.6, 2.4}, point{k.x(us), bottom + 7}, point{k.x(us), streetsTop - 4})
		}
		for j, c := range column {
			top := streetsTop - high*float64(j)
			k.y0, k.y1, k.roof = top-high+7, top-8, top-1
			if columns < 3 && high > 40 && noEchoes(c) == "" {
				k.guides()
			}
			k.streetName(c, left, k.draw(c))
		}
		k.measures(columns < 3, bottom+3)
	}
}

// streetName writes which channel a street is, and how it fares.
func (k *lane) streetName(c scan.Channel, left float64, missed int) {
	number := letters{size: math.Min(13, 0.36*(k.y1-k.y0)+2), bold: true, ink: black}
	small := letters{size: 6.5, ink: soft}
	y := k.y1 - capital*number.size + 3
	k.text(number, left, y, 0, k.fit(number, fmt.Sprint(c.Channel.Number), k.x0-left-6))
	lines := []string{word(c)}
	if missed > 0 {
		lines = append(lines, fmt.Sprintf("+%d more", missed))
	}
	for _, text := range lines {
		if y -= 8; y < k.y0-4 {
			return
		}
		k.text(small, left, y, 0, k.fit(small, text, math.Max(30, k.x0-left-24)))
	}
}

// measures writes the delays along a street and the extra paths they stand
// for.
func (k *lane) measures(both bool, y float64) {
	small := letters{size: 6.5, ink: soft}
	if k.x1-k.x0 > 400 {
		small.size = 7.5
	}
	w := onPaper()
	scales := []struct {
		unit        string
		perUS, step float64
	}{{w.micro + "s", 1, 5}, {"ft", feetPerUS, 5000}, {"m", metrePerUS, 1000}}
	if k.x1-k.x0 > 400 {
		scales[1].step = 2000
	}
	if k.x1-k.x0 < 180 {
		scales[1].step, scales[2].step = 10000, 3000
	}
	if k.units == site.Metres {
		scales[1], scales[2] = scales[2], scales[1]
	}
	if !both {
		scales = scales[:2]
	}
	for i, sc := range scales {
		y -= small.size + 1.5
		if i > 0 {
			k.line(faint, 0.5, nil, point{k.x0, y + small.size}, point{k.x1, y + small.size})
		}
		edge := k.x0 - 2
		k.text(small, k.x0-12, y, 1, sc.unit)
		for v := math.Ceil(earliestUS*sc.perUS/sc.step) * sc.step; v <= latestUS*sc.perUS; v += sc.step {
			text := w.number(v, 0)
			x, half := k.x(v/sc.perUS), k.width(small, text)/2
			if x-half < edge-8 || x+half > k.x1+8 {
				continue
			}
			if i > 0 {
				k.line(soft, 0.5, nil, point{x, y + small.size}, point{x, y + small.size - 1.5})
			}
			k.text(small, x, y, 0.5, text)
			edge = x + half + 10
		}
	}
}

// echoTally counts what the streets show.
func echoTally(all, shown []scan.Channel) string {
	with, without := 0, 0
	for _, c := range shown {
		if trained(c) {
			if len(arrivals(c)) > 0 {
				with++
			} else {
				without++
			}
		}
	}
	var out []string
	count := func(n int, text string) {
		if n > 0 {
			out = append(out, fmt.Sprintf("%d %s", n, text))
		}
	}
	count(with, "with echoes")
	count(without, "without")
	if n := len(stations(all)) - with - without; n > 0 {
		out = append(out, fmt.Sprintf("nothing can be told of %d", n))
	}
	plural := "s"
	if len(stations(all)) == 1 {
		plural = ""
	}
	return fmt.Sprintf("%d station%s: %s", len(stations(all)), plural, strings.Join(out, ", "))
}
