package main

import (
	"context"
	"time"

	"github.com/spf13/pflag"

	"rooftone/scan/tuner"
)

// stay is a recording of one channel, whole and without a gap.
type stay struct{ span time.Duration }

func (s *stay) declare(fs *pflag.FlagSet) {
	fs.Var(&period{to: &s.span, min: 100 * time.Millisecond, max: 24 * time.Hour}, "for", "with one channel and a radio that sees all of it: stay there for a `TIME` such as 30s, without a gap, to be received later; 16 MB a second at 8 MS/s")
}

// staying records one channel for as long as was asked.
func (r *recorder) staying(ctx context.Context, c *console, v *visitFlags, operands []string) error {
	w := &wholeChannel{visit: *v, span: r.stay.span}
	if err := w.check("record "+r.base, operands); err != nil {
		return err
	}
	if r.fit != nil {
		return usagef("--fit chooses how long to listen, and --for says it").hint("leave one of them out")
	}
	if !w.from.kind.radio() {
		return usagef("--for is for radios").hint("to measure a recording, rooftone sweep --from %s", v.from)
	}
	if err := r.check(w.from); err != nil {
		return err
	}
	defer r.discard()
	if err := w.open(ctx, c); err != nil {
		return err
	}
	defer func() { w.src.close() }()
	r.radio = c.known(w.src)
	keep, err := r.begin(w.src.info())
	if err != nil {
		return err
	}
	bar := c.newProgress()
	defer bar.erase()
	var seconds float64
	err = w.listen(ctx, func(b tuner.Block, fresh bool) error {
		seconds += float64(len(b.Samples)) / b.RateHz
		bar.at(int(10*seconds), int(10*r.stay.span.Seconds()), b.CenterHz)
		return keep(b, fresh)
	})
	bar.erase()
	name, finishErr := r.finish()
	if err != nil {
		if finishErr == nil && name != "" {
			c.note("the recording %s holds what was heard until then", name)
		}
		return err
	}
	if finishErr != nil {
		return finishErr
	}
	if name != "" {
		c.note("the recording is %s", name)
		c.hint("rooftone receive " + operands[0] + " --from " + name)
	}
	if ctx.Err() != nil {
		c.note("interrupted: only what was heard by then is kept")
		return errInterrupted
	}
	return nil
}
