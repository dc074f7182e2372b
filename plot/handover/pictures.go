package handover

import (
	"io"
	"slices"

	"rooftone/plot"
	"rooftone/scan/site"
)

// pictures draws what there is to draw.
func (b *builder) pictures() error {
	spot := b.chosen.Spot
	marks := site.MarksOf(spot, b.Marks, b.ranking.Options)
	latest := spot.Mark()
	if len(marks) > 0 {
		latest = marks[len(marks)-1]
	}
	survey := latest.Survey()
	where := spot.String()
	type drawing struct {
		picture
		draw func(io.Writer) error
	}
	drawings := []drawing{{
		picture{
			Title:   "The skyline at the chosen place",
			Caption: "Every wanted channel as a house on the street: the ground is the weakest signal that decodes, height is what it has to spare, a cellar is what it lacks. As the latest visit there found it, " + day(latest) + ".",
			Alt:     "Picture of the wanted channels' margins at " + where + "; the table above has the same figures.",
		},
		func(w io.Writer) error {
			return plot.Skyline(w, "svg", survey, plot.Options{Title: "Wanted channels at " + where, ThresholdDB: survey.ThresholdDB})
		},
	}, {
		picture{
			Title:   "All places by all wanted channels",
			Caption: "A row is a place and heading, the best on top. A cell in a thick frame has enough to spare.",
			Alt:     "Grid of places by channels; the figures at the end of this page say the same.",
		},
		func(w io.Writer) error { return plot.Grid(w, "svg", b.Places, plot.Options{}) },
	}}
	_, headings := b.Places.Turned()
	turned := slices.ContainsFunc(b.Places.Wanted, func(w site.Want) bool { return b.Places.Curve(w.RFChannel) != nil })
	if len(headings) > 2 || turned {
		drawings = append(drawings, drawing{
			picture{
				Title:   "Where to point the antenna",
				Caption: "What each channel has to spare in each direction that was tried.",
				Alt:     "Margins by bearing; the figures at the end of this page say the same.",
			},
			func(w io.Writer) error { return plot.Rose(w, "svg", b.Places, plot.Options{}) },
		})
	}
	for _, d := range drawings {
		var err error
		if d.Source, err = inline(d.draw); err != nil {
			return err
		}
		b.sheet.Pictures = append(b.sheet.Pictures, d.picture)
	}
	return b.watched()
}

// watched tells how a watch went, and draws its course.
func (b *builder) watched() error {
	r := b.Watched
	if r == nil || len(r.Channels) == 0 {
		return nil
	}
	for _, f := range r.Findings {
		b.sheet.Watched = append(b.sheet.Watched, finding{f.Text, f.Next})
	}
	b.sheet.Watch = plot.WatchLines(r)
	b.sheet.Course = &picture{
		Title:   "How it held",
		Caption: "Each channel's margin against time.",
		Alt:     "Margins against time; the lines above say what matters of it.",
	}
	var err error
	b.sheet.Course.Source, err = inline(func(w io.Writer) error { return plot.Course(w, "svg", r, plot.Options{}) })
	return err
}
