package main

import (
	"context"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"time"

	"github.com/spf13/pflag"

	"rooftone/scan/character"
	"rooftone/scan/recording"
	"rooftone/scan/tuner"
)

func recordCommand() command {
	return command{
		name:     "record",
		operands: "FILE [CHANNELS]",
		short:    "visit channels and keep the samples, to be measured again",
		about: `Visits the channels as sweep does, shows the same, and keeps the samples as one
SigMF recording, FILE.sigmf-meta and FILE.sigmf-data. Measuring it again with
sweep --from FILE.sigmf-meta gives the same readings. Both files appear
complete or not at all.

Some 0.9 MB a channel with the usual dwell. Ctrl-C ends the visit early: what
was recorded by then is kept.

A FILE that ends in .sigmf or .sigmf.gz is written as one file, a SigMF archive,
in the second case compressed to about half. With --fit it is such a file of at
most that size, to be sent to a helper: it says what it keeps and what it leaves
out, and shows what the other side will see.`,
		examples: `rooftone record saturday                every channel
rooftone record mast 14-36 --bearing 240 --height 9 --note "north mast"
                                        with where the antenna looked
rooftone record wide 14 --from sim:lighthouse --for 10s
                                        one whole channel, to be received
rooftone record help --fit 18MB         what fits into an e-mail of 25 MB
rooftone sweep --from help.sigmf.gz     measure it again, here or elsewhere`,
		flags: func(fs *pflag.FlagSet) func(context.Context, *console, []string) error {
			var (
				v visitFlags
				r recorder
			)
			r.declare(fs)
			v.declare(fs)
			return func(ctx context.Context, c *console, operands []string) error {
				r.dwellGiven = fs.Changed("dwell")
				if len(operands) == 0 {
					return usagef("record needs a name for the recording").hint("rooftone record saturday")
				}
				if err := r.setName(operands[0]); err != nil {
					return err
				}
				if r.stay.span > 0 {
					return r.staying(ctx, c, &v, operands[1:])
				}
				return v.run(ctx, c, operands[1:], &r)
			}
		},
	}
}

// recorder keeps the samples of a visit.
type recorder struct {
	base   string // the files' names without their endings
	single string // the ending of the one file that is written instead; or ""
	force  bool

	fit        *int64 // bytes that the one file may have
	reserve    int64  // of these, what goes beside the excerpt
	told       []int  // excerpt.Options' Told
	kind       string // when set, all that is told of the radio, and no times are
	dwellGiven bool

	bearing, height *float64
	antenna, note   string
	stay            stay
	radio           *character.Character // what is known of it, to be kept too; or nil

	w    *recording.Writer
	kept bool // something was written

	within string   // a folder of its own for all of it, which goes with it; or ""
	folder string   // where the two files wait to be packed into one
	packed *outFile // that one file, if it is written already
}

const (
	metaEnding    = ".sigmf-meta"
	dataEnding    = ".sigmf-data"
	archiveEnding = ".sigmf"
	packedEnding  = ".sigmf.gz"
)

func (r *recorder) declare(fs *pflag.FlagSet) {
	fs.Var(&byteSize{&r.fit}, "fit", "choose channels and dwell so that one file of at most a `SIZE` holds them, such as 18MB or 20MiB; an e-mail grows by a third on its way")
	fs.BoolVar(&r.force, "force", false, "replace a recording of that name")
	r.stay.declare(fs)
	fs.Var(&number{to: &r.bearing, min: 0, max: 360, unit: "degrees"}, "bearing", "where the antenna looks, in `DEGREES` clockwise from true north; kept with the recording")
	fs.Var(&metres{to: &r.height}, "height", "its `HEIGHT` above the ground, such as 20ft or 6.1m; metres unless it says; kept with the recording")
	fs.StringVar(&r.antenna, "antenna", "", "which antenna it is, in a few `WORDS`; kept with the recording")
	fs.StringVar(&r.note, "note", "", "anything worth remembering, a `TEXT`; kept with the recording")
}

// setName reads the operand FILE, which may have either ending.
func (r *recorder) setName(name string) error {
	base := strings.TrimSuffix(strings.TrimSuffix(name, metaEnding), dataEnding)
	if one, packed := recording.IsArchive(name); one {
		r.single = archiveEnding
		if packed {
			r.single = packedEnding
		}
		base = strings.TrimSuffix(name, r.single)
	} else if r.fit != nil {
		r.single = packedEnding
	}
	last := filepath.Base(base)
	if base == "" || strings.HasSuffix(base, "/") || strings.HasSuffix(base, string(filepath.Separator)) || last == "." || last == ".." {
		return usagef("%s is not a name for a recording", quote(name)).hint("rooftone record saturday")
	}
	switch ext := extension(base); ext {
	case ".wav", ".raw", ".bin", ".iq", ".cu8", ".png", ".svg", ".pdf":
		return usagef("a recording is a SigMF pair, not %s", quote(ext)).
			hint("rooftone record %s", strings.TrimSuffix(base, filepath.Ext(base)))
	}
	r.base = base
	return nil
}

// names are the names of what will be written.
func (r *recorder) names() []string {
	if r.single != "" {
		return []string{r.base + r.single}
	}
	return []string{r.base + metaEnding, r.base + dataEnding}
}

// check refuses before the visit what would fail after it.
func (r *recorder) check(from sourceWord) error {
	for _, name := range r.names() {
		if from.kind == fromFile && (from.reads(name) || from.reads(r.base)) {
			return usagef("a recording cannot be made from itself").hint("give the new one another name")
		}
		if err := keepOld(name, r.force); err != nil {
			return err
		}
		o, err := createOut(name)
		if err != nil {
			return err
		}
		o.discard()
	}
	return nil
}

// begin returns what keeps the samples of a source.
func (r *recorder) begin(info tuner.Info) (func(tuner.Block, bool) error, error) {
	create, path := recording.Create, r.base
	if r.single != "" {
		var err error
		dir, name := filepath.Split(r.base)
		if r.folder, err = os.MkdirTemp(dir+".", "."+name+".part-"); err != nil {
			return nil, noFolder(dir, fmt.Errorf("writing %s: %w", r.names()[0], cause(err)))
		}
		path = filepath.Join(r.folder, name)
	} else if r.force {
		create = recording.Replace
	}
	meta := recording.Meta{
		Datatype:    info.Datatype,
		Hardware:    info.Name,
		Recorder:    version(),
		Description: r.note,
		Clock:       info.Clock,
		Radio:       r.radio,
	}
	if r.kind != "" {
		meta.Hardware = r.kind
		if r.radio != nil {
			meta.Radio = r.radio.Anonymous(r.kind)
		}
	}
	if r.bearing != nil || r.height != nil || r.antenna != "" {
		meta.Antenna = &recording.Antenna{Model: r.antenna, HeightM: r.height, BearingDeg: r.bearing}
	}
	var err error
	if r.w, err = create(path, meta); err != nil {
		return nil, err
	}
	var samples int64 // of this stay
	return func(b tuner.Block, newStay bool) error {
		if newStay {
			samples = 0
			r.w.NewCapture()
		}
		// Of a stay of minutes an excerpt keeps the first moments.
		if samples += int64(len(b.Samples)); r.fit != nil && samples > int64(b.RateHz) {
			return nil
		}
		r.kept = true
		if r.kind != "" {
			b.Start = time.Time{}
		}
		return r.w.WriteBlock(b)
	}, nil
}

// finish gives the files their names, and returns that of the one to open.
// An empty name means that there was nothing to keep.
func (r *recorder) finish() (string, error) {
	if !r.kept {
		return "", nil
	}
	if r.single != "" {
		return r.finishSingle()
	}
	if err := r.w.Close(); err != nil {
		return "", err
	}
	name, _ := r.w.Names()
	return name, nil
}

// discard removes what was not finished. It may be called at any time.
func (r *recorder) discard() {
	if r.w != nil {
		r.w.Abort()
	}
	if r.folder != "" {
		os.RemoveAll(r.folder)
	}
	r.packed.discard()
	if r.within != "" {
		os.RemoveAll(r.within)
	}
}
