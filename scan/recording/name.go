package recording

import (
	"fmt"
	"math"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"time"
)

const (
	// leastNamedHz parts the rates from the centres in a file's name: no rate
	// of ours reaches it, and no television channel lies below it.
	leastNamedHz = 25e6
	mostNamedHz  = 10e9
)

// A NameError says that a file's name carries something that cannot be relied
// upon.
type NameError struct {
	Path string
	Want string // "format", "rate" or "center"
	What string // is wrong
}

func (e *NameError) Error() string {
	return fmt.Sprintf("%s: %s: give --%s", e.Path, e.What, e.Want)
}

// ParseName returns what a file's name plainly tells of its samples and what is
// not known already. Frequencies and rates are numbers with a unit, such as
// 555MHz, 868.625M, 2M4 or 2.4MSps, with a word before them, such as
// center_521e6 or fs2400000, or whole kilohertz in hertz, such as 521000000. A
// format is the name's ending or one of its words. A name that tells two things
// at once, or something that cannot be, is a *NameError.
func ParseName(path string, known Hints) (Hints, error) {
	base := filepath.Base(path)
	n := &naming{path: path}
	stem := base
	if ext := filepath.Ext(base); len(ext) > 1 && isLetter(ext[1]) {
		stem = strings.TrimSuffix(base, ext)
		n.takeEnding(ext[1:])
	}
	n.takeWords(joinUnits(words(stem)))
	var err error
	if known.Format == "" {
		if known.Format, err = n.format(); err != nil {
			return Hints{}, err
		}
	}
	if known.RateHz == 0 {
		if known.RateHz, err = n.choose("rate", n.rates); err != nil {
			return Hints{}, err
		}
	}
	if known.CenterHz == 0 {
		if known.CenterHz, err = n.choose("center", n.centers); err != nil {
			return Hints{}, err
		}
	}
	return known, nil
}

func isLetter(b byte) bool { return b|0x20 >= 'a' && b|0x20 <= 'z' }

// weight is how plainly a number in a name says what it is.
type weight int

const (
	bare   weight = iota // digits alone
	width                // a rate, or a bandwidth, or a count of samples
	scaled               // a number of M or k
	united               // a unit tells
	keyed                // a word before it tells
)

type named struct {
	hz     float64
	weight weight
}

// naming gathers what the words of a name say.
type naming struct {
	path           string
	formats        []string
	rates, centers []named
}

func (n *naming) takeWords(list []string) {
	short := shortKeys(list)
	before := ""
	for _, word := range list {
		if n.takeFormat(word) {
			before = ""
			continue
		}
		m := number.FindStringSubmatch(word)
		if m == nil {
			if !strings.EqualFold(word, "hz") { // freq_hz_521000000
				before = meaning(word)
			}
			continue
		}
		of := before
		if before = ""; m[1] != "" {
			of = meaning(m[1])
			// One letter could mean anything where nothing else tells.
			tells := short || m[4] != "" || m[6] != "" || len(m[2]) >= 7
			switch letter := strings.ToLower(m[1]); {
			case letter == "f" && tells:
				of = "center"
			case letter == "s" && tells:
				of = "rate"
			}
		}
		n.takeNumber(of, m)
	}
}

// shortKeys tells whether a name has both an f and an s with a number right
// behind that could be MHz and MS/s, as in f2565_s1.92: either alone could mean
// anything.
func shortKeys(list []string) bool {
	var f, s bool
	for _, word := range list {
		m := number.FindStringSubmatch(word)
		if name, _, _ := splitFormat(word); m == nil || name != "" {
			continue
		}
		v, _ := strconv.ParseFloat(m[2], 64)
		f = f || strings.EqualFold(m[1], "f") && v >= leastNamedHz/1e6
		s = s || strings.EqualFold(m[1], "s") && checkRate(v*1e6) == nil
	}
	return f && s
}

// takeEnding takes the ending of a name that is a sample format's.
func (n *naming) takeEnding(word string) {
	if f, err := ParseFormat(word); err == nil {
		n.formats = append(n.formats, f)
	}
}

// takeFormat takes a word of a name that may name a sample format, and tells
// whether it does.
func (n *naming) takeFormat(word string) bool {
	name, _, _ := splitFormat(word)
	if name != "" && plainFormat.MatchString(word) {
		n.takeEnding(word)
	}
	return name != ""
}

// takeNumber takes the parts of a word with a number.
func (n *naming) takeNumber(of string, m []string) {
	text, prefix := m[2], ""
	if text == "" {
		text, prefix = m[3]+"."+m[5], m[4]
	}
	v, err := strconv.ParseFloat(text, 64)
	if err != nil || math.IsInf(v, 0) {
		return
	}
	unit := m[6]
	hertz, rate, count := hertzUnit.FindStringSubmatch(unit), rateUnit.FindStringSubmatch(unit), countUnit.FindStringSubmatch(unit)
	switch {
	case rate != nil:
		n.takeRate(of, v*factor(prefix+rate[1]), united)
	case count != nil:
		n.takeRate(of, v*factor(prefix+count[1]+count[2]), width)
	case hertz != nil:
		n.takeHertz(of, v*factor(prefix+hertz[1]))
	case prefix != "" && unit == "", prefix == "" && len(unit) == 1 && strings.Contains("kKMG", unit):
		n.takeScaled(of, m[1], v*factor(prefix+unit))
	case unit == "" && (m[1] == "" || of != ""):
		n.takeBare(of, text, v)
	}
}

// takeRate takes a number of samples a second.
func (n *naming) takeRate(of string, hz float64, w weight) {
	switch {
	case of == "rate":
		n.rates = append(n.rates, named{hz, keyed})
	case of == "" && (w == united || checkRate(hz) == nil):
		n.rates = append(n.rates, named{hz, w})
	}
}

func factor(prefix string) float64 {
	switch strings.ToUpper(prefix) {
	case "":
		return 1
	case "K":
		return 1e3
	case "M":
		return 1e6
	case "G":
		return 1e9
	}
	return 0 // two of them: no number
}

// takeHertz takes a number of hertz.
func (n *naming) takeHertz(of string, hz float64) {
	const tv6, tv7, tv8 = 6e6, 7e6, 8e6 // a channel's width as likely as a rate
	switch {
	case of == "center":
		n.centers = append(n.centers, named{hz, keyed})
	case of == "rate":
		n.rates = append(n.rates, named{hz, keyed})
	case of == "other":
	case hz >= leastNamedHz:
		n.centers = append(n.centers, named{hz, united})
	case checkRate(hz) == nil && hz != tv6 && hz != tv7 && hz != tv8:
		n.rates = append(n.rates, named{hz, width})
	}
}

// takeScaled takes a number of M or k, which says for itself whether it is a
// centre or a rate.
func (n *naming) takeScaled(of, letters string, v float64) {
	switch {
	case of == "center":
		n.centers = append(n.centers, named{v, keyed})
	case of == "rate":
		n.rates = append(n.rates, named{v, keyed})
	case of == "other" || letters != "":
	case v >= leastNamedHz:
		n.centers = append(n.centers, named{v, scaled})
	case checkRate(v) == nil:
		n.rates = append(n.rates, named{v, scaled})
	}
}

// takeBare takes digits without a unit. Behind a word they are MHz, kHz or Hz,
// whichever makes sense; by themselves they must be whole kilohertz in hertz.
func (n *naming) takeBare(of, text string, v float64) {
	switch of {
	case "center":
		switch {
		case v < 1e4:
			v *= 1e6
		case v < 1e6:
			v *= 1e3
		}
		n.centers = append(n.centers, named{v, keyed})
	case "rate":
		switch {
		case v < 100:
			v *= 1e6
		case v < 25e3:
			v *= 1e3
		}
		n.rates = append(n.rates, named{v, keyed})
	case "":
		if v < 1e5 || math.Mod(v, 1e3) != 0 || isDate(text) {
			return
		}
		if v >= leastNamedHz && v <= mostNamedHz {
			n.centers = append(n.centers, named{v, bare})
		} else if checkRate(v) == nil {
			n.rates = append(n.rates, named{v, bare})
		}
	}
}

// isDate tells whether digits are a day, such as 20260305.
func isDate(digits string) bool {
	_, err := time.Parse("20060102", digits)
	return err == nil
}

// format returns the only format that the name has.
func (n *naming) format() (string, error) {
	if len(n.formats) == 0 {
		return "", nil
	}
	for _, f := range n.formats[1:] {
		if f != n.formats[0] {
			return "", &NameError{n.path, "format", fmt.Sprintf("its name says both %s and %s", n.formats[0], f)}
		}
	}
	return n.formats[0], nil
}

// choose returns the one value that the plainest of some numbers agree upon; 0
// when there are none.
func (n *naming) choose(want string, all []named) (float64, error) {
	all = slices.DeleteFunc(all, func(v named) bool { return v.hz == 0 })
	plausible := func(hz float64) bool {
		if want == "rate" {
			return checkRate(hz) == nil
		}
		return hz >= leastNamedHz && hz <= mostNamedHz
	}
	least := bare
	for _, v := range all {
		if v.weight >= scaled && plausible(v.hz) {
			least = scaled
		} else if v.weight == width && plausible(v.hz) {
			least = max(least, width)
		}
	}
	var best, absurd float64
	for _, v := range all {
		switch {
		case v.weight < least:
		case !plausible(v.hz):
			absurd = v.hz
		case best == 0:
			best = v.hz
		case math.Abs(v.hz-best) > 1e-9*best:
			return 0, &NameError{n.path, want, fmt.Sprintf("its name says both %s and %s", inWords(want, best), inWords(want, v.hz))}
		}
	}
	if best == 0 && absurd != 0 {
		return 0, &NameError{n.path, want, fmt.Sprintf("its name says %s, which cannot be", inWords(want, absurd))}
	}
	return best, nil
}

func inWords(want string, hz float64) string {
	if want == "rate" {
		return fmt.Sprintf("%.9g MS/s", hz/1e6)
	}
	return fmt.Sprintf("%.9g MHz", hz/1e6)
}
