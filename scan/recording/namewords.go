package recording

import (
	"regexp"
	"strings"
)

// words cuts a name where neither letters, digits nor a decimal point stand.
func words(stem string) []string {
	var out []string
	from := 0
	for i := 0; i <= len(stem); i++ {
		if i < len(stem) && inWord(stem, from, i) {
			continue
		}
		if i > from {
			out = append(out, stem[from:i])
		}
		from = i + 1
	}
	return out
}

func inWord(s string, from, i int) bool {
	digit := func(k int) bool { return k >= from && k < len(s) && s[k] >= '0' && s[k] <= '9' }
	if s[i] != '.' {
		return digit(i) || isLetter(s[i])
	}
	if !digit(i-1) || !digit(i+1) {
		return false
	}
	// Seven digits are hertz: what comes behind them is the next number.
	whole := i
	for digit(whole - 1) {
		whole--
	}
	return i-whole < 7
}

// joinUnits joins numbers to the units that stand behind them as words of their
// own.
func joinUnits(list []string) []string {
	var out []string
	for _, word := range list {
		if n := len(out) - 1; n >= 0 && digits.MatchString(out[n]) && (hertzUnit.MatchString(word) || rateUnit.MatchString(word)) {
			out[n] += word
			continue
		}
		out = append(out, word)
	}
	return out
}

var digits = regexp.MustCompile(`^\d+(\.\d+)?$`)

// number is a word with a number in it: perhaps letters before it, the number
// with a decimal point, an exponent or a unit within it (2M4), and a unit.
var number = regexp.MustCompile(`^([A-Za-z]*?)(?:(\d+(?:\.\d+)?(?:[eE]\d{1,2})?)|(\d+)([kKMG])(\d+))([A-Za-z]*)$`)

var (
	hertzUnit = regexp.MustCompile(`^([kKmMgG]?)[hH][zZ]$`)
	rateUnit  = regexp.MustCompile(`^([kKmMgG]?)(?i:sps)$`)
	countUnit = regexp.MustCompile(`^(?:([kKM])(?:S|Sa)|([kM])s)$`)
)

// What a word before a number can say of it.
var (
	centerWords = strings.Fields("center centre freq frequency fc cf centerfreq centrefreq")
	rateWords   = strings.Fields("rate samplerate samprate sr fs sps")
	otherWords  = strings.Fields("bw bandwidth band span offset ofs off shift if lo step bin cutoff dev tone pilot gain lna vga dur len duration")
)

// meaning is what the word before a number says of it: "center", "rate",
// "other" or "".
func meaning(word string) string {
	word = strings.ToLower(word)
	for _, m := range []struct {
		of    string
		words []string
	}{{"center", centerWords}, {"rate", rateWords}, {"other", otherWords}} {
		for _, w := range m.words {
			if word == w {
				return m.of
			}
		}
	}
	return ""
}

// plainFormat is a sample format's name that means nothing else: f32 could be a
// frequency, and short a recording that is.
var plainFormat = regexp.MustCompile(`^(?i:c[uisf]|sc|fc|u?int|float|complex)\d`)
