package main

import (
	"context"
	"errors"
	"fmt"
	"os"
	"slices"
	"strings"

	"rooftone/scan"
	"rooftone/scan/recording"
	"rooftone/scan/tuner"
	"rooftone/scan/tuner/network"
	"rooftone/scan/tuner/sim"
	"rooftone/scan/tuner/soapy"
	"rooftone/scan/tuner/usb"
)

// sourceWord is the value of --from, read but not opened.
type sourceWord struct {
	kind  sourceKind
	rest  string   // the serial number, address, town or path
	files []string // of recordings, the paths: one or more

	stand stand         // of a simulated antenna
	soapy soapy.Address // of a radio that SoapySDR has
}

type sourceKind int

const (
	fromFile sourceKind = iota
	fromUSB
	fromNetwork
	fromSoapy
	fromSim
)

// radio reports whether the source can be tuned.
func (k sourceKind) radio() bool { return k != fromFile }

// feeds reports whether the source may have a bias tee.
func (k sourceKind) feeds() bool { return k == fromUSB || k == fromNetwork || k == fromSoapy }

const sourceHint = "a source is usb, usb:SERIAL, soapy, soapy:driver=NAME, tcp://HOST:PORT, sim:TOWN, sim:FILE.toml or the paths of recordings"

// fromFlag is the value of --from. Given again, it names one more recording.
type fromFlag struct {
	words []string
	given bool
}

// usualSource is the source where none is named.
func usualSource() fromFlag { return fromFlag{words: []string{"usb"}} }

func (f *fromFlag) Type() string { return "" }

func (f fromFlag) String() string { return strings.Join(f.words, ",") }

func (f *fromFlag) Set(s string) error {
	if !f.given {
		f.words, f.given = nil, true
	}
	f.words = append(f.words, s)
	return nil
}

// usual reports whether the source is the one where none is named.
func (f fromFlag) usual() bool { return f.String() == usualSource().String() }

// parse reads the words. It touches nothing.
func (f fromFlag) parse() (sourceWord, error) {
	var all sourceWord
	for i, word := range f.words {
		w, err := parseSource(word)
		if err != nil {
			return sourceWord{}, err
		}
		if i == 0 && len(f.words) == 1 && w.kind.radio() {
			return w, nil
		}
		if w.kind.radio() {
			return sourceWord{}, severalRadios(word)
		}
		all.files = append(all.files, w.files...)
	}
	all.kind, all.rest = fromFile, f.String()
	return all, all.checkFiles()
}

func severalRadios(word string) error {
	return usagef("--from: several sources at once must be recordings, and %s is a radio", word).hint("name one radio, or recordings only")
}

// parseSource reads a source word. It touches nothing.
func parseSource(word string) (sourceWord, error) {
	scheme, rest, hasScheme := strings.Cut(word, ":")
	switch {
	case word == "":
		return sourceWord{}, usagef("--from: the source is empty").hint(sourceHint)
	case word == "usb":
		return sourceWord{kind: fromUSB}, nil
	case hasScheme && scheme == "usb":
		if rest == "" {
			return sourceWord{}, usagef("--from: usb: lacks the serial number").hint("rooftone devices lists the radios")
		}
		return sourceWord{kind: fromUSB, rest: rest}, nil
	case word == "soapy":
		return sourceWord{kind: fromSoapy}, nil
	case hasScheme && scheme == "soapy":
		if rest == "" {
			return sourceWord{}, usagef("--from: soapy: lacks the radio").hint("rooftone devices lists the radios")
		}
		a, err := soapy.ParseAddress(rest)
		if err != nil {
			return sourceWord{}, usagef("--from: %w", err).hint("write soapy:driver=NAME,serial=NUMBER as rooftone devices does")
		}
		return sourceWord{kind: fromSoapy, rest: rest, soapy: a}, nil
	case hasScheme && scheme == "tcp":
		if !strings.HasPrefix(rest, "//") {
			return sourceWord{}, usagef("--from: %s lacks its slashes", quote(word)).hint("write tcp://HOST:PORT, such as tcp://192.168.1.20:1234")
		}
		return sourceWord{kind: fromNetwork, rest: word}, nil
	case word == "sim", hasScheme && scheme == "sim":
		if rest == "" {
			return sourceWord{}, usagef("--from: sim: lacks the town").hint("rooftone devices lists the towns")
		}
		town, stand, err := cutStand(rest)
		if err != nil {
			return sourceWord{}, err
		}
		return sourceWord{kind: fromSim, rest: town, stand: stand}, checkTown(town)
	case strings.Contains(word, "://"):
		return sourceWord{}, usagef("--from: sources of kind %s are not known", quote(scheme+"://")).hint(sourceHint)
	}
	return sourceWord{kind: fromFile, rest: word, files: splitFiles(word)}, nil
}

// checkTown refuses towns that are neither built in nor a file's name.
func checkTown(town string) error {
	if strings.HasSuffix(town, ".toml") {
		return nil
	}
	names := sim.Names()
	for _, n := range names {
		if n == town {
			return nil
		}
	}
	err := usagef("--from: no built-in town is called %s", quote(town))
	if near := closest(town, names); near != "" {
		return err.hint("did you mean sim:%s?", near)
	}
	return err.hint("use sim:%s, or sim:FILE.toml for a town of your own", strings.Join(names, ", sim:"))
}

// source is an open source of samples: exactly one of the first two is set.
type source struct {
	tuner    tuner.Tuner
	playlist tuner.Playlist
	bias     tuner.BiasTee // what has to be switched off at the end; or nil
}

func (s source) close() {
	if s.bias != nil {
		s.bias.SetBiasTee(false) // best effort: a radio that is gone feeds nothing
	}
	if s.tuner != nil {
		s.tuner.Close()
		return
	}
	s.playlist.Close()
}

// feed puts the voltage for an amplifier on the antenna socket until close.
func (s *source) feed() error {
	tee, ok := s.tuner.(tuner.BiasTee)
	if !ok {
		return usagef("--bias-tee: %s has none", s.info().Name).hint("leave --bias-tee out")
	}
	if err := tee.SetBiasTee(true); err != nil {
		return fmt.Errorf("switching the bias tee on: %w", err)
	}
	s.bias = tee
	return nil
}

func (s source) info() tuner.Info {
	if s.tuner != nil {
		return s.tuner.Info()
	}
	return s.playlist.Info()
}

// sweep visits the channels with whatever the source is, and shows how far it
// has come.
func (s source) sweep(ctx context.Context, c *console, o scan.Options) (*scan.Survey, error) {
	bar := c.newProgress()
	defer bar.erase()
	o.Progress = bar.at
	if s.tuner == nil {
		survey, err := scan.SweepPlaylist(ctx, s.playlist, o)
		bar.erase()
		c.tellKnown(survey, true)
		c.tellControlled(survey)
		c.tellStrayed(survey)
		return survey, err
	}
	survey, err := scan.SweepTuner(ctx, s.tuner, o)
	if err == nil {
		bar.erase()
		c.tellKnown(survey, false)
		c.tellControlled(survey)
		c.tellStrayed(survey)
	}
	if survey != nil && len(survey.Unlocked) > 0 {
		bar.erase()
		c.note("the radio's tuner does not lock at %s, of which nothing is known", megahertzList(survey.Unlocked))
		c.hint("let it warm up or cool down and try again")
	}
	return survey, err
}

// tellControlled says of a radio that changes its gain by itself.
func (c *console) tellControlled(s *scan.Survey) {
	if s != nil && s.Controlled {
		c.note("the radio changed its gain by itself while it was listened to: levels in dBFS are not to be compared")
		c.hint("unplug it and plug it in again, or close what else has set it")
	}
}

// tellStrayed says of a radio that was not where it was sent.
func (c *console) tellStrayed(s *scan.Survey) {
	if s != nil && len(s.Strayed) > 0 {
		c.note("sent to %s the radio was somewhere else: what it heard there is left out", megahertzList(s.Strayed))
		c.hint("its tuner may not lock there: let it warm up or cool down and try again")
	}
}

// megahertzList writes frequencies in ascending order, the first few of many.
func megahertzList(hz []float64) string {
	const most = 6
	hz = slices.Compact(slices.Sorted(slices.Values(hz)))
	var words []string
	for _, f := range hz[:min(len(hz), most)] {
		words = append(words, fmt.Sprintf("%.1f", f/1e6))
	}
	list := strings.Join(words, ", ") + " MHz"
	if more := len(hz) - most; more > 0 {
		list += fmt.Sprintf(" and %d more", more)
	}
	return list
}

// open opens the source. The hints are for raw recordings.
func (w sourceWord) open(ctx context.Context, c *console, raw rawFlags) (source, error) {
	switch w.kind {
	case fromUSB:
		t, err := usb.Open(ctx, w.rest, usb.Options{Library: c.env(usb.LibraryEnv)})
		if w.rest == "" && errors.Is(err, usb.ErrNoDevice) {
			err = withHint(err, "plug one in; without one, try rooftone demo, a recording with --from FILE or a radio elsewhere with --from tcp://HOST:PORT")
		}
		if err != nil {
			return source{}, err
		}
		return source{tuner: t}, nil
	case fromNetwork:
		t, err := network.Dial(ctx, w.rest, network.Options{})
		if errors.Is(err, network.ErrAddress) {
			err = &usageError{err}
		}
		if err != nil {
			return source{}, err
		}
		return source{tuner: t}, nil
	case fromSoapy:
		t, err := soapy.Open(ctx, w.soapy, soapy.Options{Library: c.env(soapy.LibraryEnv)})
		if err != nil {
			return source{}, err
		}
		return source{tuner: t}, nil
	case fromSim:
		radio, err := w.openSim(sim.Options{})
		if err != nil {
			return source{}, err
		}
		return source{tuner: radio}, nil
	}
	return w.openRecordings(ctx, c, raw)
}

// looksLikeSource reports whether an operand that is no list of channels was
// most likely meant for --from.
func looksLikeSource(s string) bool {
	if s == "usb" || s == "soapy" || strings.ContainsAny(s, ":/\\") {
		return true
	}
	if _, err := os.Stat(s); err == nil {
		return true
	}
	switch extension(s) {
	case ".sigmf-meta", ".sigmf-data", ".sigmf", ".wav", ".toml":
		return true
	}
	_, err := recording.ParseFormat(strings.TrimPrefix(extension(s), "."))
	return err == nil
}
