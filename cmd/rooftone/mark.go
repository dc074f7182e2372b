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

After another visit, say after a storm, a place is the same if its name is: a
heading may differ by 6 degrees, a height by a foot or be left out. On one visit
headings that differ by more than 2 degrees are different ones.

In a simulated town that has an antenna, --bearing also turns it there.`,
		examples: `rooftone mark chimney --bearing 135 --site house.jsonl
rooftone mark "attic, west" --height 20ft --site house.jsonl
rooftone mark gable --from sim:harbour --site house.jsonl
                                        in the simulated town`,
		flags: func(fs *pflag.FlagSet) func(context.Context, *console, []string) error {
			m := marker{visit: visitFlags{careful: true}}
			m.site.declare(fs)
			fs.Var(&number{to: &m.bearing, min: 0, max: 360, unit: "degrees"}, "bearing", "where the antenna points, in `DEGREES` clockwise from north; true or by compass, but the same for all of a house's marks: rooftone house --north says which")
			fs.Var(&m.height, "height", "its `HEIGHT`, from wherever you count, such as 20ft or 6.1m; a number alone is in the house's units, metres unless it has some")
			m.units.declare(fs)
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

	units   unitsFlag
	place   string
	bearing *float64
	height  length
	note    string

	heightM *float64
	house   *site.House // as it was before
	told    telling
	first   []site.Record // what the house's file learns by the way
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
	m.house = house
	m.settle(house, "")
	m.visit.brief = len(house.Marks) > 0 // the first mark explains the rows
	m.visit.stations.site = m.site
	if err := m.visit.stations.join(house); err != nil {
		return err
	}
	m.visit.stations.units = m.told.units
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
			at := m.told.trueDeg(*m.bearing)
			req.from.turnTo(&at)
			m.settle(house, site.TrueNorth) // a town's are
		}
	}
	// A file that cannot be added to is better known of before the visit.
	if err := site.Append(m.site.name); err != nil {
		return err
	}
	return m.measure(ctx, c, req)
}

// settle reads the height in the house's units, and has the house's file learn
// the units that were typed, and the north, where it has none.
func (m *marker) settle(house *site.House, north site.North) {
	var typed site.Units
	m.told = m.units.telling(house)
	m.heightM, typed = m.height.in(m.told.units)
	m.first = firstSetting(house, typed, north, nil)
	m.told.learn(m.first)
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
	if err := site.Append(m.site.name, append([]site.Record{mark}, m.first...)...); err != nil {
		return err
	}
	// It is kept whatever becomes of what follows, so say so first.
	c.note("kept: %s, in %s", m.told.mark(mark), m.site.name)
	settled(c, m.first, m.site.name)
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
		if err := p.finish(c, survey); err != nil {
			return err
		}
	}
	if survey.Interrupted {
		return c.interrupted()
	}
	c.hint(m.next(mark))
	return nil
}

// next is what to do after a mark.
func (m *marker) next(mark site.Mark) string {
	spots := site.Spots(append(m.house.Marks[:len(m.house.Marks):len(m.house.Marks)], mark), site.DefaultOptions())
	if n := len(spots); n > 1 {
		return fmt.Sprintf("mark the next place or heading, or compare the %d there are: rooftone rank --site %s", n, m.site.name)
	}
	if mark.BearingDeg == nil {
		return fmt.Sprintf("mark another place, or this one at another heading with --bearing; then rooftone rank --site %s compares them", m.site.name)
	}
	return fmt.Sprintf("turn or carry the antenna and mark the next; then rooftone rank --site %s compares them", m.site.name)
}

// mark is what is kept of a survey. A radio measures now; a simulated one has
// a time of its own, and a recording tells when it was made, or does not.
func (m *marker) mark(s *scan.Survey, now bool) site.Mark {
	mark := site.NewMark(s)
	mark.Place, mark.Note, mark.Program = m.place, m.note, version()
	mark.BearingDeg, mark.HeightM = m.bearing, m.heightM
	if now || mark.Time.IsZero() {
		mark.Time = time.Now()
	}
	return mark
}
