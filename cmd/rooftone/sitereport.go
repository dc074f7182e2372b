package main

import (
	"context"
	"errors"

	"github.com/spf13/pflag"
)

// sitePage is the page about a house visit.
type sitePage struct {
	site siteFlag
	out  string
}

func (p *sitePage) declare(fs *pflag.FlagSet) {
	p.site.declare(fs)
	fs.Var(&fileName{&p.out}, "out", "of a house: write its page to `FILE`, such as visit.html")
}

// wanted reports whether any flag asks for the page.
func (p *sitePage) wanted() bool { return p.site.name != "" || p.out != "" }

func (p *sitePage) run(context.Context, *console) error {
	return errors.New("the page of a house is not written yet")
}
