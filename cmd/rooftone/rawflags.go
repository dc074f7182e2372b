package main

import (
	"fmt"
	"os"
	"strconv"
	"strings"

	"github.com/spf13/pflag"

	"rooftone/scan/recording"
)

// rawFlags say what raw recordings cannot say themselves: of each flag one value
// for all of them, or one for each in their order. Empty and zero are left to
// the recording.
type rawFlags struct {
	formats []string
	rates   []float64
	centers []float64
}

func (r *rawFlags) declare(fs *pflag.FlagSet) {
	r.declareFor(fs, "samples per second, a `RATE`: of a raw recording, or what a radio is asked for, such as 2.4M or, of one that sees whole channels, 8M")
}

// declareFor is declare with a usage of its own for --rate.
func (r *rawFlags) declareFor(fs *pflag.FlagSet, rate string) {
	fs.Var(&formatList{&r.formats}, "format", "for a raw recording: its sample `FORMAT`, such as "+recording.FormatWords+", or another usual name of it; of several, format after format as in cu8,ci16_le; it, the rate and the frequency may stand in the file's name instead, as in 605M_2M4.cu8")
	fs.Var(&hertzList{to: &r.rates, min: 0.25e6, max: 20e6}, "rate", rate)
	fs.Var(&hertzList{to: &r.centers, min: 1e6, max: 1e10}, "center", "for a raw recording: the `FREQUENCY` in its middle, such as 605M, or of several 603M,605M,607M")
}

func (r rawFlags) given() bool { return len(r.formats)+len(r.rates)+len(r.centers) > 0 }

// rate is what a radio is asked for; 0 when nothing is.
func (r rawFlags) rate() float64 {
	if len(r.rates) == 0 {
		return 0
	}
	return r.rates[0]
}

// suit refuses lists that are neither for all of n recordings nor for each.
func (r rawFlags) suit(n int) error {
	for _, f := range []struct {
		flag   string
		values int
	}{{"format", len(r.formats)}, {"rate", len(r.rates)}, {"center", len(r.centers)}} {
		if f.values > 1 && f.values != n {
			recordings := "one recording"
			if n > 1 {
				recordings = fmt.Sprintf("%d recordings", n)
			}
			return usagef("--%s lists %d values for %s", f.flag, f.values, recordings).
				hint("give one for all, or one for each in their order; leave one empty, as in 603M,,607M, where the recording tells")
		}
	}
	return nil
}

// hints returns what the flags say of the i-th of n recordings. One value for
// several is not for those that tell by themselves.
func (r rawFlags) hints(i int, path string, n int) recording.Hints {
	var h recording.Hints
	sigmf, wav := tellsAll(path), strings.EqualFold(extension(path), ".wav")
	own := func(values int, tells bool) int {
		switch {
		case values == n:
			return i
		case values == 1 && !tells:
			return 0
		}
		return -1
	}
	if k := own(len(r.formats), sigmf || wav); k >= 0 {
		h.Format = r.formats[k]
	}
	if k := own(len(r.rates), sigmf || wav); k >= 0 {
		h.RateHz = r.rates[k]
	}
	if k := own(len(r.centers), sigmf); k >= 0 {
		h.CenterHz = r.centers[k]
	}
	return h
}

// tellsAll reports whether a path is that of a SigMF recording.
func tellsAll(path string) bool {
	if one, _ := recording.IsArchive(path); one || strings.HasSuffix(path, metaEnding) || strings.HasSuffix(path, dataEnding) {
		return true
	}
	_, err := os.Stat(path)
	return err != nil && exists(path)
}

// String writes the flags as they are typed, each after a space.
func (r rawFlags) String() string {
	var b strings.Builder
	for _, f := range []struct{ flag, values string }{
		{"format", (&formatList{&r.formats}).String()},
		{"rate", (&hertzList{to: &r.rates}).String()},
		{"center", (&hertzList{to: &r.centers}).String()},
	} {
		if f.values != "" {
			fmt.Fprintf(&b, " --%s %s", f.flag, f.values)
		}
	}
	return b.String()
}

// formatList is the flag value of sample formats.
type formatList struct{ to *[]string }

func (f *formatList) Type() string { return "" }

func (f *formatList) String() string {
	if f.to == nil {
		return ""
	}
	return strings.Join(*f.to, ",")
}

func (f *formatList) Set(s string) error {
	var list []string
	for _, word := range strings.Split(s, ",") {
		if word = strings.TrimSpace(word); word == "" && strings.Contains(s, ",") {
			list = append(list, "")
			continue
		}
		name, err := recording.ParseFormat(word)
		if err != nil {
			if near := closest(word, listedFormats()); near != "" {
				err = fmt.Errorf("%w (did you mean %s?)", err, near)
			}
			return err
		}
		list = append(list, name)
	}
	*f.to = append(*f.to, list...)
	return nil
}

// listedFormats are those that the help names.
func listedFormats() []string {
	return strings.FieldsFunc(strings.Replace(recording.FormatWords, " or ", ",", 1), func(r rune) bool { return r == ',' || r == ' ' })
}

// hertzList is the flag value of frequencies or rates.
type hertzList struct {
	to       *[]float64
	min, max float64
}

func (h *hertzList) Type() string { return "" }

func (h *hertzList) String() string {
	if h.to == nil {
		return ""
	}
	var out []string
	for _, v := range *h.to {
		word := ""
		if v != 0 {
			word = strconv.FormatFloat(v, 'f', -1, 64)
		}
		out = append(out, word)
	}
	return strings.Join(out, ",")
}

func (h *hertzList) Set(s string) error {
	var list []float64
	for _, word := range strings.Split(s, ",") {
		var v *float64
		if strings.TrimSpace(word) == "" && strings.Contains(s, ",") {
			list = append(list, 0)
			continue
		}
		if err := (&hertz{to: &v, min: h.min, max: h.max}).Set(word); err != nil {
			return err
		}
		list = append(list, *v)
	}
	*h.to = append(*h.to, list...)
	return nil
}
