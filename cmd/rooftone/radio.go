package main

import (
	"context"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strings"
	"time"

	"github.com/spf13/pflag"

	"rooftone/plot"
	"rooftone/scan"
	"rooftone/scan/band"
	"rooftone/scan/character"
	"rooftone/scan/examine"
)

// radioSchema names the JSON that radio prints.
const radioSchema = "rooftone.radio/1"

func radioCommand() command {
	return command{
		name:  "radio",
		short: "examine the radio itself, from the air, for better figures later",
		about: `Measures the radio that is plugged in with no instruments but the stations on the
air: its pass band and what folds in from beyond it, what its gain steps really
are, its noise, how long it takes to settle, its clock and how that drifts, its
own tones, its image, whether it loses samples, and whether the antenna feeds
anything at all. It takes some 40 seconds and wants an antenna with a station or
two, better three.

What is found is kept for this radio, by its serial number, and later visits with
it use it. They notice by themselves when it no longer fits.`,
		examples: `rooftone radio                          the USB radio
rooftone radio --sheet radio.png        and a picture to keep
rooftone radio --from sim:harbour       a simulated one
rooftone radio --json | jq .folding_db`,
		flags: func(fs *pflag.FlagSet) func(context.Context, *console, []string) error {
			var r radioFlags
			r.declare(fs)
			return func(ctx context.Context, c *console, operands []string) error {
				return r.run(ctx, c, operands)
			}
		},
	}
}

// radioFlags are the flags of radio.
type radioFlags struct {
	from      fromFlag
	plan      string
	bias      bool
	sheetFile string
	json      bool
}

func (r *radioFlags) declare(fs *pflag.FlagSet) {
	r.from = usualSource()
	fs.Var(&r.from, "from", "the radio, a `SOURCE`: usb, usb:SERIAL, soapy:driver=NAME, tcp://HOST:PORT, sim:TOWN or sim:FILE.toml")
	fs.StringVar(&r.plan, "plan", band.Plans()[0].Name, "channel `PLAN` in which stations are looked for: us, RF channels 2-36, or us-2009, 2-51 without 37")
	fs.BoolVar(&r.bias, "bias-tee", false, "feed an amplifier through the antenna socket while measuring; not with an antenna that is a short circuit for direct current")
	fs.Var(&fileName{&r.sheetFile}, "sheet", "draw the radio's page to `FILE`: .png, .svg or .pdf")
	fs.BoolVar(&r.json, "json", false, "print JSON, the whole of what was found")
}

// check reads the request and opens the picture's file.
func (r *radioFlags) check(operands []string) (from sourceWord, plan band.Plan, sheet *picture, err error) {
	if len(operands) > 0 {
		return from, plan, nil, usagef("radio takes no arguments, but was given %s", quote(operands[0])).
			hint("rooftone radio --from SOURCE names another radio")
	}
	if plan, err = band.ParsePlan(r.plan); err != nil {
		return from, plan, nil, usagef("--plan: %w", err).hint("leave --plan out for RF channels 2-36")
	}
	if from, err = r.from.parse(); err != nil {
		return from, plan, nil, err
	}
	if !from.kind.radio() {
		return from, plan, nil, usagef("a recording has no radio to examine, and %s is one", r.from).hint("rooftone radio examines the USB radio")
	}
	if !from.kind.feeds() && r.bias {
		return from, plan, nil, usagef("--bias-tee is for radios, and %s is none", r.from).hint("leave --bias-tee out")
	}
	if r.sheetFile == "" {
		return from, plan, nil, nil
	}
	format, err := plot.Format(r.sheetFile)
	if err != nil {
		return from, plan, nil, usagef("--sheet: %w", err).hint("--sheet picture.png, .svg or .pdf")
	}
	sheet = &picture{flag: "sheet", name: r.sheetFile, format: format}
	sheet.file, err = createOut(r.sheetFile)
	return from, plan, sheet, err
}

func (r *radioFlags) run(ctx context.Context, c *console, operands []string) error {
	from, plan, sheet, err := r.check(operands)
	if err != nil {
		return err
	}
	if sheet != nil {
		defer sheet.file.discard()
	}
	src, err := from.open(ctx, c, rawFlags{})
	if err != nil {
		return err
	}
	defer func() { src.close() }()
	if r.bias {
		if err := src.feed(); err != nil {
			return err
		}
	}
	found, err := examineRadio(ctx, c, src, plan)
	if err != nil {
		if ctx.Err() != nil {
			c.note("interrupted: nothing is kept")
			return errInterrupted
		}
		return err
	}
	if r.json {
		err = writeJSON(c.stdout, radioReport{radioSchema, found})
	} else {
		err = writeRadio(c.stdout, found)
	}
	if err != nil {
		return fmt.Errorf("writing the results: %w", cause(err))
	}
	if sheet != nil {
		err := sheet.file.finish(func(w io.Writer) error { return plot.Radio(w, sheet.format, found, plot.Options{}) })
		if err != nil {
			return err
		}
		sheet.file.say(c, "the picture")
	}
	return keepRadio(c, found)
}

// radioReport is what radio prints as JSON: what is kept, with its schema.
type radioReport struct {
	Schema string `json:"schema"`
	*character.Character
}

func examineRadio(ctx context.Context, c *console, src source, plan band.Plan) (*character.Character, error) {
	bar := c.newProgress()
	defer bar.erase()
	found, err := examine.Radio(ctx, src.tuner, examine.Options{
		Plan:     plan.Channels,
		Progress: func(doing string) { bar.say("examining the radio: " + doing) },
	})
	if err != nil {
		return nil, err
	}
	found.Program = version()
	return found, nil
}

// keepRadio keeps what was found where it tells more than nothing.
func keepRadio(c *console, found *character.Character) error {
	if !found.Antenna() {
		c.note("no station was heard well enough: nothing is kept of this radio")
		c.hint("connect an antenna that receives a station and run rooftone radio again")
		return nil
	}
	folder, err := c.radiosFolder()
	if err != nil {
		return err
	}
	name, err := character.Save(folder, found)
	if err != nil {
		return withHint(err, "%s names another folder", radiosEnv)
	}
	c.note("kept for later visits with %s, in %s", found.Radio, name)
	return nil
}

// known is what is known of the radio that a source is, or that a recording was
// made with; nil when that is nothing. What cannot be read does not stop a visit.
func (c *console) known(src source) *character.Character {
	if src.tuner == nil {
		r, ok := src.playlist.(recorded)
		if !ok {
			return nil
		}
		k, err := r.Radio()
		if err != nil {
			c.note("what the recording keeps of its radio is not used: %v", err)
		}
		return k
	}
	folder, err := c.radiosFolder()
	if err != nil {
		return nil
	}
	k, err := character.Load(folder, src.info().Name)
	switch {
	case character.Missing(err):
		return nil
	case err != nil:
		c.note("what is kept of this radio is not used: %v", cause(err))
		c.hint("rooftone radio examines it anew")
		return nil
	}
	return k
}

// tellKnown says what was known of the radio that a survey was made with, and what
// of it does not fit.
func (c *console) tellKnown(s *scan.Survey, recorded bool) {
	if s == nil || s.Radio == nil {
		return
	}
	c.note("%s", radioWords(s))
	if len(s.Misfits) > 0 && !recorded {
		c.hint("rooftone radio examines it anew")
	}
}

// radioWords says the same in a line.
func radioWords(s *scan.Survey) string {
	day := s.Radio.Measured.Format(time.DateOnly)
	if len(s.Misfits) == 0 {
		return fmt.Sprintf("measured with what rooftone radio found of %s on %s", s.Radio.Radio, day)
	}
	return fmt.Sprintf("%s is not as rooftone radio found it on %s: its %s fits no more, and what was heard now is taken instead", s.Radio.Radio, day, strings.Join(s.Misfits, " and its "))
}

// onceTold says of the careful visits of a live meter what was known of the radio,
// nothing of it twice.
func onceTold(say func(string)) func(*scan.Survey) {
	told := map[string]bool{}
	return func(s *scan.Survey) {
		if s.Radio == nil {
			return
		}
		if words := radioWords(s); !told[words] {
			told[words] = true
			say(words)
		}
	}
}

// radioUsed is what a survey knew of its radio beforehand, as JSON.
type radioUsed struct {
	Radio    string   `json:"radio"`
	Examined string   `json:"examined"` // RFC 3339
	Misfits  []string `json:"misfits"`  // what of it fits no more: clock, pass band, folding
}

func newRadioUsed(s *scan.Survey) *radioUsed {
	if s.Radio == nil {
		return nil
	}
	return &radioUsed{s.Radio.Radio, s.Radio.Measured.Format(time.RFC3339), append([]string{}, s.Misfits...)}
}

// radiosEnv names another folder for what is kept of radios.
const radiosEnv = "ROOFTONE_RADIOS"

// radiosFolder is where what is known of radios is kept.
func (c *console) radiosFolder() (string, error) {
	if folder := c.env(radiosEnv); folder != "" {
		return folder, nil
	}
	config, err := os.UserConfigDir()
	if err != nil {
		return "", withHint(fmt.Errorf("looking for the user's folder for configuration: %w", err), "%s names a folder to keep radios in", radiosEnv)
	}
	return filepath.Join(config, "rooftone", "radios"), nil
}
