package main

import (
	"strings"
	"time"

	"github.com/spf13/pflag"

	"rooftone/scan/site"
)

// aboutFlags are what stands at the head of a house's page besides what was measured:
// it is kept in the house's file.
type aboutFlags struct {
	address, by string
	notes       []string
	set         *pflag.FlagSet
}

func (a *aboutFlags) declare(fs *pflag.FlagSet) {
	a.set = fs
	fs.StringVar(&a.address, "address", "", "the house's `ADDRESS` for its page, kept in its file")
	fs.StringVar(&a.by, "by", "", "`WHO` measured, for the house's page, kept in its file")
	fs.StringArrayVar(&a.notes, "note", nil, "a `NOTE` for the house's page, kept in its file; may be given several times, and \"\" takes all earlier ones away")
}

// records are what the flags add to the house's file.
func (a *aboutFlags) records() []site.Record {
	now := time.Now()
	news := site.AboutChange{Time: now}
	if a.set.Changed("address") {
		news.Address = &a.address
	}
	if a.set.Changed("by") {
		news.By = &a.by
	}
	var out []site.Record
	if news.Address != nil || news.By != nil {
		out = append(out, news)
	}
	for _, n := range a.notes {
		text := strings.TrimSpace(n)
		out = append(out, site.AboutChange{Time: now, Note: &text})
	}
	return out
}

// keep adds what was said to the house's file, and returns what is known by then.
func (a *aboutFlags) keep(file string, house *site.House) (site.About, error) {
	news := a.records()
	if len(news) == 0 {
		return house.About, nil
	}
	if err := site.Append(file, news...); err != nil {
		return site.About{}, err
	}
	read, err := site.Read(file)
	if err != nil {
		return site.About{}, err
	}
	return read.About, nil
}
