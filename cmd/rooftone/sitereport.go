package main

import (
	"context"
	"io"
	"path/filepath"

	"github.com/spf13/pflag"

	"rooftone/plot/handover"
	"rooftone/scan/decide"
	"rooftone/scan/site"
)

// sitePage is the page about a house visit.
type sitePage struct {
	rank   ranker
	out    string
	chosen string

	given func() bool // whether any of its flags is
}

func (p *sitePage) declare(fs *pflag.FlagSet) {
	own := pflag.NewFlagSet("", pflag.ContinueOnError)
	p.rank.site.declare(own)
	own.Var(&fileName{&p.out}, "out", "of a house: write its page to `FILE`, such as visit.html")
	own.StringVar(&p.chosen, "chosen", "", "of a house: the `PLACE` that was decided for, as rank writes it, such as \"gable, 131\"; without it the best")
	p.rank.declareChoice(own)
	p.rank.stations.declare(own)
	fs.AddFlagSet(own)
	p.given = func() bool {
		any := false
		own.VisitAll(func(f *pflag.Flag) { any = any || fs.Changed(f.Name) })
		return any
	}
}

// wanted reports whether any flag asks for the page.
func (p *sitePage) wanted() bool { return p.given() }

func (p *sitePage) run(_ context.Context, c *console, logs []string) error {
	if err := p.rank.site.check("report"); err != nil {
		return err
	}
	if p.out == "" {
		return usagef("the page of a house needs a file").hint("--out visit.html")
	}
	switch extension(p.out) {
	case ".html", ".htm":
	case ".pdf":
		return usagef("--out: the page is written as .html, not .pdf").hint("--out visit.html, and print that to a PDF")
	default:
		return usagef("--out: the page is HTML, and %s does not end in .html", quote(p.out)).hint("--out visit.html")
	}
	if len(logs) > 0 && sameFile(p.out, logs[0]) {
		return usagef("--out names the log").hint("--out visit.html")
	}
	if sameFile(p.out, p.rank.site.name) {
		return usagef("--out and --site name the same file").hint("--out visit.html")
	}
	if err := p.rank.stations.read(); err != nil {
		return err
	}
	house, err := p.rank.site.read(c)
	if err != nil {
		return err
	}
	places, err := p.rank.places(house)
	if err != nil {
		return err
	}
	page := &handover.Page{
		Places: places, Marks: house.Marks, Program: version(),
		File: filepath.Base(p.rank.site.name), Damaged: house.Damaged,
		Expected: p.rank.stations.expectedOnPage(house, p.rank.tell(house)),
	}
	if p.chosen != "" {
		if page.Chosen, err = choose(places.Ranking.Rows, p.chosen, places.Ranking.Options); err != nil {
			return err
		}
	}
	if len(logs) > 0 {
		if page.Watched, err = readLog(c, logs[0]); err != nil {
			return err
		}
	}
	out, err := createOut(p.out)
	if err != nil {
		return err
	}
	defer out.discard()
	if err := out.finish(func(w io.Writer) error { return handover.Write(w, page) }); err != nil {
		return err
	}
	out.say(c, "the page")
	return nil
}

// choose finds the place that a person means: as rank writes it or the beginning of
// that, a heading and a height being as good as a hand's.
func choose(rows []decide.Row, name string, o site.Options) (*decide.Row, error) {
	spots := make([]*site.Spot, len(rows))
	row := map[*site.Spot]*decide.Row{}
	for i := range rows {
		spots[i] = rows[i].Spot
		row[rows[i].Spot] = &rows[i]
	}
	found, err := chooseSpot(spots, name, o)
	if err != nil {
		return nil, err
	}
	return row[found], nil
}
