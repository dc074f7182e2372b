package main

import (
	"context"
	"fmt"
	"strconv"
	"strings"
	"time"

	"github.com/spf13/pflag"

	"rooftone/scan"
	"rooftone/scan/band"
	"rooftone/scan/site"
)

func markCommand() command {
	return command{
		name:     "mark",
		operands: "PLACE",
		short:    "measure the wanted channels here, and remember it for the house",
		about: `Measures the wanted channels carefully with the antenna as it stands now, shows
them as sweep does, and adds the measurement to the house's file under the name
of the place. Mark several places and headings, then rank them. Marking one
again makes it more certain.

It says that the mark is kept when it is on the disk, and not before. After
Ctrl-C, what was measured by then is kept and marked as interrupted.

In a simulated town that has an antenna, --bearing also turns it there.`,
		examples: `rooftone mark chimney --bearing 135 --site house.jsonl
rooftone mark "attic, west" --height 6 --site house.jsonl
rooftone mark gable --from sim:harbour --site house.jsonl
                                        in the simulated town`,
		flags: func(fs *pflag.FlagSet) func(context.Context, *console, []string) error {
			m := marker{visit: visitFlags{careful: true}}
			m.site.declare(fs)
			fs.Var(&number{to: &m.bearing, min: 0, max: 360, unit: "degrees"}, "bearing", "where the antenna points, in `DEGREES` clockwise from north; true or by compass, but the same for all of a house's marks")
			fs.Var(&number{to: &m.height, min: -500, max: 9000, unit: "metres"}, "height", "its height in `METRES`, from wherever you count")
			fs.StringVar(&m.note, "note", "", "anything worth remembering, a `TEXT`")
			m.visit.declare(fs)
			return func(ctx context.Context, c *console, operands []string) error {
				return m.run(ctx, c, operands)
			}
		},
	}
}

// marker measures a place and remembers it.
type marker struct {
	visit visitFlags
	site  siteFlag

	place           string
	bearing, height *float64
	note            string
}

func (m *marker) run(ctx context.Context, c *console, operands []string) error {
	if err := m.site.check("mark"); err != nil {
		return err
	}
	if len(operands) == 0 {
		return usagef("mark needs the name of the place").hint("rooftone mark chimney --site %s", m.site.name)
	}
	if len(operands) > 1 {
		return usagef("%d arguments where the name of a place belongs", len(operands)).hint("rooftone mark %s --site %s", quote(strings.Join(operands, " ")), m.site.name)
	}
	if m.place = strings.TrimSpace(operands[0]); m.place == "" {
		return usagef("the name of the place is empty").hint("rooftone mark chimney --site %s", m.site.name)
	}
	house, err := m.site.read(c)
	if err != nil {
		return err
	}
	m.visit.stations.site = m.site
	if err := m.visit.stations.join(house); err != nil {
		return err
	}
	if len(house.Wanted) == 0 {
		return withHint(fmt.Errorf("no channels are wanted in %s", m.site.name), "rooftone want 7,22 --site %s", m.site.name)
	}
	if plan, err := band.ParsePlan(m.visit.plan); err == nil {
		if err := lacking(plan, house.Wanted, m.site.name); err != nil {
			return err
		}
	}
	req, err := m.visit.check([]string{channelList(house.Wanted)})
	if err != nil {
		return err
	}
	defer discardPictures(req.pictures)
	if m.bearing != nil {
		if s := req.from.stand.bearing; s != nil && *s != *m.bearing {
			return usagef("--bearing and the source do not agree where the antenna points").hint("leave one of them out")
		}
		if req.from.kind == fromSim {
			req.from.turnTo(m.bearing)
		}
	}
	// A file that cannot be added to is better known of before the visit.
	if err := site.Append(m.site.name); err != nil {
		return err
	}
	return m.measure(ctx, c, req)
}

// channelList writes wanted channels as a list of channels is typed.
func channelList(wanted []site.Want) string {
	var numbers []string
	for _, w := range wanted {
		numbers = append(numbers, strconv.Itoa(w.RFChannel))
	}
	return strings.Join(numbers, ",")
}

func (m *marker) measure(ctx context.Context, c *console, req *visit) error {
	src, err := req.from.open(ctx, c, m.visit.raw)
	if err != nil {
		return err
	}
	defer func() { src.close() }()
	if m.visit.bias {
		if err := src.feed(); err != nil {
			return err
		}
	}
	req.options.Radio = c.known(src)
	survey, err := src.sweep(ctx, c, req.options)
	if err != nil {
		// It is not what was asked for, but worth a look.
		if survey != nil && anyCovered(survey) {
			if showErr := m.visit.show(c, survey); showErr != nil {
				return showErr
			}
		}
		return fmt.Errorf("nothing is kept: %w", err)
	}
	if !anyCovered(survey) {
		if survey.Interrupted {
			c.note("interrupted before anything was measured: nothing is kept")
			return errInterrupted
		}
		if err := src.evidenceOf(survey, req.options.Channels, req.options.Plan, true).nothing(); err != nil {
			return fmt.Errorf("nothing is kept: %w", err)
		}
		return fmt.Errorf("%s shows none of the wanted channels: nothing is kept", m.visit.from)
	}
	mark := m.mark(survey, req.from.kind.radio())
	if err := site.Append(m.site.name, mark); err != nil {
		return err
	}
	// It is kept whatever becomes of what follows, so say so first.
	c.note("kept: %s, in %s", spotName(mark), m.site.name)
	if err := m.visit.show(c, survey); err != nil {
		return err
	}
	if !survey.Interrupted {
		src.evidenceOf(survey, req.options.Channels, req.options.Plan, true).tell(c)
	}
	if err := m.visit.stations.remember(c, survey); err != nil {
		return err
	}
	for _, p := range req.pictures {
		if err := p.finish(survey); err != nil {
			return err
		}
	}
	if survey.Interrupted {
		return c.interrupted()
	}
	return nil
}

// mark is what is kept of a survey. A radio measures now; a simulated one has
// a time of its own, and a recording tells when it was made, or does not.
func (m *marker) mark(s *scan.Survey, now bool) site.Mark {
	mark := site.NewMark(s)
	mark.Place, mark.Note, mark.Program = m.place, m.note, version()
	mark.BearingDeg, mark.HeightM = m.bearing, m.height
	if now || mark.Time.IsZero() {
		mark.Time = time.Now()
	}
	return mark
}

// spotName names where a mark was made.
func spotName(m site.Mark) string {
	spot := site.Spot{Place: m.Place, BearingDeg: m.BearingDeg, HeightM: m.HeightM}
	return spot.String()
}
