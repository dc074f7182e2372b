package main

import (
	"context"
	"encoding/json"
	"fmt"
	"io"
	"os"
	"slices"
	"strings"

	"rooftone/scan/band"
	"rooftone/scan/bundle"
	"rooftone/scan/character"
	"rooftone/scan/recording"
)

// facts are what the flags say, or else who sits at the terminal.
func (b *bundler) facts(ctx context.Context, c *console, req *visit) (bundle.Facts, error) {
	var f bundle.Facts
	if !b.told {
		if !isTerminal(c.stdin) {
			return f, usagef("a bundle needs what a set shows, and there is no terminal to ask at").
				hint("say so with --shows 7,22 --breaks-up 31 --not-found 14")
		}
		return askFacts(ctx, c, req.options.Channels, readLines(c.stdin))
	}
	for _, list := range []struct {
		flag, text string
		to         *[]int
	}{{"shows", b.shows, &f.Shows}, {"breaks-up", b.breaksUp, &f.BreaksUp}, {"not-found", b.notFound, &f.NotFound}} {
		var err error
		if *list.to, err = factList(list.text, req.options.Channels); err != nil {
			return f, usagef("--%s: %w", list.flag, err).hint("write RF channels as one list, such as 7-13,22, of those that are visited")
		}
	}
	if err := f.Check(); err != nil {
		return f, usagef("%w", err).hint("put each channel into one list")
	}
	if len(f.All()) == 0 {
		return f, usagef("all lists of what the set does are empty").hint("name a channel that was tried: --shows 7")
	}
	return f, nil
}

// factList reads a list of channels that are visited. An empty one is none.
func factList(text string, visited []band.Channel) ([]int, error) {
	if strings.TrimSpace(text) == "" {
		return nil, nil
	}
	channels, err := widestPlan().Select(text)
	if err != nil {
		return nil, err
	}
	var out []int
	for _, ch := range channels {
		if !slices.Contains(visited, ch) {
			return nil, fmt.Errorf("channel %d is not among those that are visited", ch.Number)
		}
		out = append(out, ch.Number)
	}
	return out, nil
}

// askFacts asks for the facts before anything was measured, so that no verdict
// leads who answers.
func askFacts(ctx context.Context, c *console, visited []band.Channel, typed <-chan typedLine) (bundle.Facts, error) {
	var f bundle.Facts
	for {
		f = bundle.Facts{}
		c.note("three questions about the set at this antenna: answer with RF channels that were tried, such as 7-13,22, or an empty line for none")
		for _, q := range []struct {
			words string
			to    *[]int
		}{
			{"which channels does it show, with a steady picture?", &f.Shows},
			{"which break up: it finds them, but the picture freezes or falls into blocks?", &f.BreaksUp},
			{"which were tried and are not found?", &f.NotFound},
		} {
			var err error
			if *q.to, err = askList(ctx, c, q.words, visited, typed); err != nil {
				return f, err
			}
		}
		err := f.Check()
		if err == nil && len(f.All()) > 0 {
			return f, nil
		}
		if err == nil {
			err = fmt.Errorf("no channel was named")
		}
		c.note("%v: once more", err)
	}
}

// askList asks until the answer is a list.
func askList(ctx context.Context, c *console, question string, visited []band.Channel, typed <-chan typedLine) ([]int, error) {
	for {
		c.note("%s", question)
		var line typedLine
		select {
		case <-ctx.Done():
			c.note("interrupted: no bundle was written")
			return nil, errInterrupted
		case line = <-typed:
		}
		if line.end {
			return nil, usagef("the answers ended before the questions").hint("say what the set shows with --shows 7,22 --breaks-up 31 --not-found 14")
		}
		list, err := factList(line.text, visited)
		if err == nil {
			return list, nil
		}
		c.note("%v: write RF channels as one list, such as 7-13,22", err)
	}
}

// radioOf tells the kind of the radio and no more.
func radioOf(from sourceWord, src source) bundle.Radio {
	info := src.info()
	r := bundle.Radio{Datatype: info.Datatype, GainsDB: info.GainsDB}
	if r.GainsDB == nil {
		r.GainsDB = []float64{}
	}
	if hz := info.Clock.ReferenceHz; hz > 0 {
		r.ReferenceHz = &hz
	}
	switch from.kind {
	case fromUSB:
		r.Kind = "usb"
	case fromNetwork:
		r.Kind = "tcp"
	case fromSim:
		r.Kind = "sim"
	case fromSoapy:
		r.Kind, r.Driver = "soapy", driverOf(info.Name)
	default:
		r.Kind = "recording"
		// One of ours tells what it was made with: of that, the kind.
		name := radioName(src)
		if kind, _, _ := strings.Cut(name, ":"); slices.Contains(bundle.Kinds(), kind) {
			r.Kind, r.Driver = kind, driverOf(name)
		}
	}
	return r
}

// radioName is the name of the radio, or of that with which a recording of ours was
// made.
func radioName(src source) string {
	if reader, ok := src.playlist.(*recording.Reader); ok {
		return reader.Meta().Hardware
	}
	return src.info().Name
}

// driverOf is the driver in a name such as soapy:driver=NAME,serial=NUMBER.
func driverOf(name string) string {
	_, args, _ := strings.Cut(name, ":")
	for pair := range strings.SplitSeq(args, ",") {
		key, value, _ := strings.Cut(pair, "=")
		if plain := func(r rune) bool { return (r < 'a' || r > 'z') && (r < '0' || r > '9') && r != '_' && r != '-' }; key == "driver" && !strings.ContainsFunc(value, plain) {
			return value
		}
	}
	return ""
}

// characters is where the radio's character comes from. Whatever else keeps
// characters belongs here: it has to implement bundle.Characters.
func (b *bundler) characters(c *console) bundle.Characters {
	if b.characterFile != "" {
		return characterFile(b.characterFile)
	}
	folder, err := c.radiosFolder()
	if err != nil {
		return nil // no folder, no character
	}
	return keptCharacters(folder)
}

// keptCharacters is the folder in which rooftone radio keeps what it found.
type keptCharacters string

func (f keptCharacters) Character(radio string) (json.RawMessage, error) {
	k, err := character.Load(string(f), radio)
	if err != nil {
		return nil, nil // what is not there or cannot be read stops no bundle
	}
	return json.Marshal(k)
}

// characterOf is the radio's character without what tells one radio from another;
// nil where there is none.
func characterOf(from bundle.Characters, word sourceWord, src source) ([]byte, error) {
	if from == nil {
		return nil, nil
	}
	name := radioName(src)
	character, err := from.Character(name)
	if err != nil || character == nil {
		return nil, err
	}
	driver := driverOf(name)
	apart := func(r rune) bool { return strings.ContainsRune(":,=/ ", r) }
	secrets := slices.DeleteFunc(strings.FieldsFunc(name+" "+word.rest, apart), func(s string) bool {
		return s == driver || s == "driver" || s == "serial" || slices.Contains(bundle.Kinds(), s)
	})
	if host, err := os.Hostname(); err == nil {
		secrets = append(secrets, host)
	}
	return bundle.Bare(character, secrets...)
}

// characterFile is one file with the character of the radio in use.
type characterFile string

func (f characterFile) Character(string) (json.RawMessage, error) {
	const most = 4 << 20
	file, err := os.Open(string(f))
	if err != nil {
		return nil, withHint(fmt.Errorf("no character %s: %w", quote(string(f)), cause(err)), "leave --character out where there is none")
	}
	defer file.Close()
	text, err := io.ReadAll(io.LimitReader(file, most))
	if err != nil {
		return nil, fmt.Errorf("reading %s: %w", string(f), cause(err))
	}
	return text, nil
}
