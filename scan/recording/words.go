package recording

import (
	"fmt"
	"strings"
)

// FormatWords lists the usual sample formats, for help and for error lines.
const FormatWords = "cu8, ci8, ci16_le or cf32_le"

// formatNames are the complex formats that are known, in SigMF's words without
// byte order, each with what else people and programs call it.
var formatNames = []struct {
	name  string
	width int // bytes in one of I and Q
	alias string
}{
	{"cu8", 1, "u8 uint8 uc8 byte uchar"},
	{"ci8", 1, "cs8 sc8 i8 s8 int8 char schar"},
	{"cu16", 2, "u16 uint16 uc16 ushort"},
	{"ci16", 2, "cs16 sc16 i16 s16 int16 short"},
	{"cu32", 4, "u32 uint32 uc32"},
	{"ci32", 4, "cs32 sc32 i32 s32 int32"},
	{"cf32", 4, "fc32 f32 float32 float fc complex64 cfile"},
	{"cf64", 8, "fc64 f64 float64 double complex128"},
}

// ParseFormat finds the sample format that a word names: SigMF's own or a usual
// synonym, in upper or lower case. One of several bytes may end in its byte
// order, such as _be or le; without, it is little-endian, as every common
// machine writes it. It returns SigMF's word.
func ParseFormat(word string) (string, error) {
	f, err := parseFormat(word)
	return f.name, err
}

// splitFormat finds the name and the byte order of a format that a word names;
// the name is "" when it names none.
func splitFormat(word string) (name string, width int, swap bool) {
	stem, big := strings.ToLower(word), false
	for _, end := range []string{"_le", "_be", "-le", "-be", "le", "be"} {
		if cut, ok := strings.CutSuffix(stem, end); ok && nameOf(cut) >= 0 {
			stem, big = cut, end[len(end)-2] == 'b'
			break
		}
	}
	i := nameOf(stem)
	if i < 0 {
		return "", 0, false
	}
	f := formatNames[i]
	return f.name, f.width, big && f.width > 1
}

// nameOf returns the place of a word without byte order in formatNames, or −1.
func nameOf(word string) int {
	for i, f := range formatNames {
		if word == f.name {
			return i
		}
		for alias := range strings.FieldsSeq(f.alias) {
			if word == alias {
				return i
			}
		}
	}
	return -1
}

// isReal tells whether a word is one of SigMF's for real samples.
func isReal(word string) bool {
	rest, ok := strings.CutPrefix(strings.ToLower(word), "r")
	if !ok {
		return false
	}
	name, _, _ := splitFormat("c" + rest)
	return name != ""
}

// unknownFormat explains why a word names no format that can be used.
func unknownFormat(word string) error {
	if isReal(word) {
		return fmt.Errorf("holds real samples (%s), which have no centre frequency: record I and Q instead, as %s", short(word), FormatWords)
	}
	return fmt.Errorf("sample format %q is not known: use %s", short(word), FormatWords)
}
