package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"time"

	"rooftone/plot"
	"rooftone/scan"
	"rooftone/scan/excerpt"
	"rooftone/scan/recording"
)

// What is expected before it is known; only the dwell hangs on these guesses.
const (
	// expectedSampleBytes is what a sample of two bytes comes down to when it
	// is packed.
	expectedSampleBytes = 1.2
	// expectedStations is the share of all channels with a station on them.
	expectedStations = 0.4
)

// plan sets what a visit that has to fit looks at, and says so.
func (r *recorder) plan(c *console, req *visit, named bool) {
	if r.fit == nil {
		return
	}
	o := &req.options
	wanted := o.Channels
	// What the visit takes in besides has to be known for a choice.
	o.Channels = scan.Company(wanted, o.Plan)
	if !req.from.kind.radio() {
		return
	}
	if !r.dwellGiven {
		share := 1.0
		if !named {
			share = expectedStations
		}
		const usualRateHz = 2.4e6
		o.Dwell = excerpt.Dwell(o.Channels, share, usualRateHz, expectedSampleBytes, *r.fit, explainDwell)
	}
	c.note("to fit %s, each slice of %s is listened to for %s; what is kept is chosen by what they show", sizeInText(*r.fit), countedChannels(len(o.Channels)), inMilliseconds(o.Dwell))
}

func countedChannels(n int) string {
	if n == 1 {
		return "1 channel"
	}
	return fmt.Sprintf("%d channels", n)
}

// excerpt chooses what of the visit fits, writes that, and returns what it
// shows by itself: what the other side will see. Without --fit it returns the
// survey as it is.
func (r *recorder) excerpt(ctx context.Context, c *console, asked scan.Options, whole *scan.Survey) (*scan.Survey, error) {
	if r.fit == nil || !r.kept {
		return whole, nil
	}
	if r.kind == "" {
		// What was heard until Ctrl-C is worth packing.
		ctx = context.WithoutCancel(ctx)
	}
	if err := r.w.Close(); err != nil {
		return nil, err
	}
	from, _ := r.w.Names()
	sources, err := r.weigh(ctx, from)
	if err != nil {
		return nil, err
	}
	o := excerpt.Options{Bytes: *r.fit - r.reserve, Told: r.told}
	if len(asked.Channels) < len(asked.Plan) {
		for _, ch := range asked.Channels {
			o.First = append(o.First, ch.Number)
		}
	}
	if r.packed, err = createOut(r.names()[0]); err != nil {
		return nil, err
	}
	choice, size, err := r.write(ctx, from, whole, sources, o)
	if err != nil {
		return nil, err
	}
	small, err := measureAgain(ctx, r.packed.f.Name(), asked)
	if err != nil {
		return nil, err
	}
	small.Source, small.Started, small.Interrupted = whole.Source, whole.Started, whole.Interrupted
	tellChoice(c, choice, whole, asked)
	tellDifferences(c, choice, whole, small)
	c.note("%s of %s are used", sizeInText(size+r.reserve), sizeInText(*r.fit))
	return small, nil
}

// weigh finds out what each stay of the whole visit weighs.
func (r *recorder) weigh(ctx context.Context, name string) ([]excerpt.Source, error) {
	reader, err := recording.Open(ctx, name, recording.Hints{})
	if err != nil {
		return nil, err
	}
	defer reader.Close()
	sizes, err := reader.Sizes(ctx, r.single == packedEnding)
	if err != nil {
		return nil, err
	}
	var out []excerpt.Source
	for i, s := range reader.Spans() {
		out = append(out, excerpt.Source{Span: s, SampleBytes: sizes[i]})
	}
	return out, nil
}

// write writes the file, with less in it until it fits: what a part of a stay
// weighs is known only when it is packed.
func (r *recorder) write(ctx context.Context, from string, whole *scan.Survey, sources []excerpt.Source, o excerpt.Options) (*excerpt.Choice, int64, error) {
	const tries = 5
	for try := 0; ; try++ {
		choice, err := excerpt.Choose(whole, sources, o)
		if small := (*excerpt.TooSmallError)(nil); errors.As(err, &small) {
			return nil, 0, withHint(fmt.Errorf("--fit %s is too small for even one channel with what it is judged by", sizeWords(*r.fit)), "--fit %s at least", sizeWords(roundUp(small.Least+r.reserve)))
		}
		if err != nil {
			return nil, 0, err
		}
		if err := r.writeParts(ctx, from, choice); err != nil {
			return nil, 0, err
		}
		info, err := r.packed.f.Stat()
		if err != nil {
			return nil, 0, fmt.Errorf("writing %s: %w", r.packed.name, cause(err))
		}
		if info.Size()+r.reserve <= *r.fit {
			return choice, info.Size(), nil
		}
		if try == tries {
			return nil, 0, fmt.Errorf("writing %s: it does not come down to %s", r.packed.name, sizeInText(*r.fit))
		}
		o.Bytes -= info.Size() + r.reserve - *r.fit + *r.fit/200
	}
}

// writeParts copies the chosen parts and packs them.
func (r *recorder) writeParts(ctx context.Context, from string, choice *excerpt.Choice) error {
	reader, err := recording.Open(ctx, from, recording.Hints{})
	if err != nil {
		return err
	}
	defer reader.Close()
	name := filepath.Base(r.base)
	base := filepath.Join(r.folder, "kept", name)
	if err := os.MkdirAll(filepath.Dir(base), 0o777); err != nil {
		return fmt.Errorf("writing %s: %w", r.packed.name, cause(err))
	}
	w, err := recording.Replace(base, reader.Meta())
	if err != nil {
		return err
	}
	defer w.Abort()
	if err := excerpt.Copy(ctx, reader, choice.Parts, w); err != nil {
		return err
	}
	if err := w.Close(); err != nil {
		return err
	}
	if err := r.packed.f.Truncate(0); err != nil {
		return fmt.Errorf("writing %s: %w", r.packed.name, cause(err))
	}
	if _, err := r.packed.f.Seek(0, io.SeekStart); err != nil {
		return fmt.Errorf("writing %s: %w", r.packed.name, cause(err))
	}
	return recording.Pack(r.packed.f, base, name, r.single == packedEnding)
}

// measureAgain measures a recording as sweep does.
func measureAgain(ctx context.Context, name string, o scan.Options) (*scan.Survey, error) {
	reader, err := recording.Open(ctx, name, recording.Hints{})
	if err != nil {
		return nil, err
	}
	defer reader.Close()
	o.Radio, _ = reader.Radio() // it was written just now
	return scan.SweepPlaylist(ctx, reader, o)
}

// tellChoice says what is kept and what is left out.
func tellChoice(c *console, o *excerpt.Choice, whole *scan.Survey, asked scan.Options) {
	if len(o.Whole) > 0 {
		c.note("kept: %s of each slice of channel %s", inMilliseconds(o.Dwell), plot.Ranges(o.Whole))
	}
	if len(o.References) > 0 {
		c.note("kept of vacant channels, a little for their noise: %s", plot.Ranges(o.References))
	}
	left := map[string][]int{}
	for i := range whole.Channels {
		ch := &whole.Channels[i]
		if slices.Contains(o.Left, ch.Channel.Number) && slices.Contains(asked.Channels, ch.Channel) {
			left[gradeOrPresence(ch)] = append(left[gradeOrPresence(ch)], ch.Channel.Number)
		}
	}
	var out []string
	for _, word := range []string{"firm", "slim", "cliff", "trace", "present", "unsure", "vacant"} {
		if len(left[word]) > 0 {
			out = append(out, word+" "+plot.Ranges(left[word]))
		}
	}
	if len(out) > 0 {
		c.note("left out for want of room: %s", strings.Join(out, "; "))
	}
}

// gradeOrPresence is the one word for a channel.
func gradeOrPresence(c *scan.Channel) string {
	if c.Grade != "" {
		return string(c.Grade)
	}
	return string(c.Presence)
}

// tellDifferences names the channels that are judged otherwise from what is
// kept than from all that was heard.
func tellDifferences(c *console, o *excerpt.Choice, whole, small *scan.Survey) {
	for i := range small.Channels {
		s := &small.Channels[i]
		at := slices.IndexFunc(whole.Channels, func(w scan.Channel) bool { return w.Channel == s.Channel })
		if at < 0 || !slices.Contains(o.Whole, s.Channel.Number) {
			continue
		}
		if was, is := judged(&whole.Channels[at]), judged(s); was != is {
			c.note("channel %d is judged %s by what is kept, and %s by all that was heard", s.Channel.Number, is, was)
		}
	}
}

// judged is a channel's verdict in a few words.
func judged(c *scan.Channel) string {
	word := gradeOrPresence(c)
	for i, r := range c.Reasons {
		sep := ", "
		if i == 0 {
			sep = ": "
		}
		word += sep + string(r.Limit)
	}
	return word
}

// finishSingle packs what was recorded into one file, if that was not done
// yet, and gives it its name.
func (r *recorder) finishSingle() (string, error) {
	name := r.names()[0]
	if r.packed != nil {
		return name, r.packed.finish(func(io.Writer) error { return nil })
	}
	if err := r.w.Close(); err != nil {
		return "", err
	}
	from, _ := r.w.Names()
	var err error
	if r.packed, err = createOut(name); err != nil {
		return "", err
	}
	return name, r.packed.finish(func(w io.Writer) error {
		return recording.Pack(w, from, filepath.Base(r.base), r.single == packedEnding)
	})
}

// sizeInText writes a size with a space before its unit.
func sizeInText(n int64) string {
	words := sizeWords(n)
	digits := strings.TrimRight(words, "kMGB")
	return digits + " " + words[len(digits):]
}

func inMilliseconds(d time.Duration) string { return fmt.Sprintf("%.0f ms", d.Seconds()*1e3) }

// sizeWords writes a size as --fit takes it.
func sizeWords(n int64) string {
	switch {
	case n >= 1e9:
		return fmt.Sprintf("%.3gGB", float64(n)/1e9)
	case n >= 1e6:
		return fmt.Sprintf("%.3gMB", float64(n)/1e6)
	case n >= 1e3:
		return fmt.Sprintf("%.3gkB", float64(n)/1e3)
	}
	return fmt.Sprintf("%dB", n)
}

// roundUp rounds a size up to two figures, with room for what a guess is off.
func roundUp(n int64) int64 {
	n += n / 50
	step := int64(1)
	for n/step >= 100 {
		step *= 10
	}
	return (n + step - 1) / step * step
}

// byteSize is the flag value of a size in bytes. It points at nil until it is
// given.
type byteSize struct{ to **int64 }

func (b *byteSize) Type() string { return "" }

func (b *byteSize) String() string {
	if b.to == nil || *b.to == nil {
		return ""
	}
	return sizeWords(**b.to)
}

// The units are those of the SI and of IEC 80000-13.
func (b *byteSize) Set(s string) error {
	text := strings.ToLower(strings.TrimSpace(s))
	split := strings.IndexFunc(text, func(r rune) bool { return r != '.' && (r < '0' || r > '9') })
	if split < 0 {
		split = len(text)
	}
	units := map[string]float64{"": 1, "b": 1, "kb": 1e3, "mb": 1e6, "gb": 1e9, "kib": 1 << 10, "mib": 1 << 20, "gib": 1 << 30}
	v, err := strconv.ParseFloat(text[:split], 64)
	unit, ok := units[strings.TrimSpace(text[split:])]
	if err != nil || !ok {
		return fmt.Errorf("%s is not a size: write 18MB or 20MiB", quote(s))
	}
	const most = 1e12
	if v *= unit; !(v >= 1 && v <= most) {
		return fmt.Errorf("%s is not a size that a file has", quote(s))
	}
	n := int64(v)
	*b.to = &n
	return nil
}
