package main

import (
	"context"
	"fmt"
	"slices"
	"strconv"
	"strings"
	"text/tabwriter"
	"time"

	"github.com/spf13/pflag"

	"rooftone/scan/band"
	"rooftone/scan/site"
)

func wantCommand() command {
	return command{
		name:     "want",
		operands: "[CHANNELS]",
		short:    "which channels are wanted at a house, by name and importance",
		about: `Keeps the list of wanted channels in the house's own file, which it starts if
there is none. Without CHANNELS it shows the list. CHANNELS is a list such as
7-13,22; RF channels, as sweep shows them.

A channel of importance 2 counts as two when places are ranked; one of
importance 0 is measured and shown but does not count. Nothing is ever taken
out of the file: what is said later replaces what was said before.`,
		examples: `rooftone want 7,22,31 --site house.jsonl     these three
rooftone want 22 --site house.jsonl --label "North Hill" --importance 2
rooftone want 31 --site house.jsonl --remove
rooftone want --site house.jsonl             the list as it stands`,
		flags: func(fs *pflag.FlagSet) func(context.Context, *console, []string) error {
			var w wantFlags
			w.site.declare(fs)
			fs.StringVar(&w.name, "name", "", "what the house is called, a `NAME`; for a file that is not there yet, else the file's own name is taken")
			fs.StringVar(&w.label, "label", "", "what people call the channel, a `NAME`")
			fs.Var(&whole{to: &w.importance, min: 0, max: site.MaxImportance}, "importance", "how many channels it counts as, a `NUMBER` from 0 to 9; 1 unless given")
			fs.BoolVar(&w.remove, "remove", false, "not wanted any more")
			return func(_ context.Context, c *console, operands []string) error {
				w.labelled = fs.Changed("label")
				return w.run(c, operands)
			}
		},
	}
}

type wantFlags struct {
	site       siteFlag
	name       string
	label      string
	labelled   bool
	importance *int
	remove     bool
}

func (w *wantFlags) run(c *console, operands []string) error {
	if err := w.site.check("want"); err != nil {
		return err
	}
	if len(operands) == 0 {
		if w.labelled || w.importance != nil || w.remove {
			return usagef("no channel was given").hint("rooftone want 22 --site %s", w.site.name)
		}
		return w.list(c)
	}
	if len(operands) > 1 {
		return usagef("%d arguments where one list of channels belongs", len(operands)).
			hint("write the channels as one list, such as 7-13,22,31")
	}
	changes, err := w.changes(operands[0])
	if err != nil {
		return err
	}
	if !w.remove {
		if err := w.site.startNamed(c, w.name); err != nil {
			return err
		}
	}
	if _, err := w.site.read(c); err != nil { // say what is wrong with it, if anything
		return err
	}
	if err := site.Append(w.site.name, changes...); err != nil {
		return err
	}
	if err := w.list(c); err != nil {
		return err
	}
	if w.remove {
		return nil
	}
	return w.tellOldPlan(c)
}

// tellOldPlan says which wanted channels no station of today's plan is on: most
// often a slip, and else one that every visit has to be told of.
func (w *wantFlags) tellOldPlan(c *console) error {
	house, err := site.Read(w.site.name)
	if err != nil {
		return err
	}
	today := band.Plans()[0]
	if err := lacking(today, house.Wanted, w.site.name); err != nil {
		c.note("%v", err)
		c.hint(hintOf(err))
	}
	return nil
}

// lacking is an error when a plan lacks channels that are wanted at a house.
func lacking(plan band.Plan, wanted []site.Want, file string) error {
	var lacks []string
	for _, want := range wanted {
		if !slices.ContainsFunc(plan.Channels, func(c band.Channel) bool { return c.Number == want.RFChannel }) {
			lacks = append(lacks, strconv.Itoa(want.RFChannel))
		}
	}
	if len(lacks) == 0 {
		return nil
	}
	list := strings.Join(lacks, ",")
	return usagef("channel %s is wanted in %s, and plan %s has none of that number", list, file, plan.Name).
		hint("rooftone want %s --remove --site %s; or measure with --plan %s", list, file, widestPlan().Name)
}

// changes reads what is asked for; nothing is touched.
func (w *wantFlags) changes(list string) ([]site.Record, error) {
	if w.remove && (w.labelled || w.importance != nil) {
		return nil, usagef("--remove goes with neither --label nor --importance").hint("leave them out")
	}
	channels, err := widestPlan().Select(list)
	if err != nil {
		return nil, usagef("%w", err).hint("write the channels as one list, such as 7-13,22,31")
	}
	if w.labelled && len(channels) > 1 {
		return nil, usagef("one label for %d channels", len(channels)).hint("rooftone want %d --site %s --label NAME", channels[0].Number, w.site.name)
	}
	var changes []site.Record
	for _, ch := range channels {
		wanted := !w.remove
		change := site.WantChange{Time: time.Now(), RFChannel: ch.Number, Wanted: &wanted, Importance: w.importance}
		if w.labelled {
			change.Label = &w.label
		}
		changes = append(changes, change)
	}
	return changes, nil
}

// widestPlan is the plan with the most channels: what is wanted at a house does
// not depend on how it is looked for.
func widestPlan() band.Plan {
	plans := band.Plans()
	widest := plans[0]
	for _, p := range plans {
		if len(p.Channels) > len(widest.Channels) {
			widest = p
		}
	}
	return widest
}

// list shows the wanted channels.
func (w *wantFlags) list(c *console) error {
	h, err := w.site.read(c)
	if err != nil {
		return err
	}
	if len(h.Wanted) == 0 {
		c.note("no channels are wanted in %s", w.site.name)
		c.hint(fmt.Sprintf("rooftone want 7,22 --site %s", w.site.name))
		return nil
	}
	var b strings.Builder
	table := tabwriter.NewWriter(&b, 0, 8, 2, ' ', 0)
	fmt.Fprintln(table, " RF\timportance\tlabel")
	for _, want := range h.Wanted {
		fmt.Fprintf(table, "%3d\t%10d\t%s\n", want.RFChannel, want.Importance, oneLine(h.Label(want.RFChannel)))
	}
	table.Flush() // to memory
	for line := range strings.Lines(b.String()) {
		if _, err := fmt.Fprintln(c.stdout, strings.TrimRight(line, " \n")); err != nil {
			return fmt.Errorf("writing the results: %w", cause(err))
		}
	}
	return nil
}
