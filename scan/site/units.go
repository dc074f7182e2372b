package site

import (
	"fmt"
	"math"
	"regexp"
	"strconv"
	"strings"
)

// Units are the units in which people tell lengths at a house. Whatever they
// are, all that is kept or computed is in metres.
type Units string

const (
	Metres Units = "metres"
	Feet   Units = "feet"
)

// The international foot and mile are exact by definition (NIST Handbook 44,
// Appendix C).
const (
	metresPerFoot = 0.3048
	metresPerInch = metresPerFoot / 12
	metresPerMile = 1609.344
)

// PerUnit is how many metres one of the units is: a foot or a metre.
func (u Units) PerUnit() float64 {
	if u == Feet {
		return metresPerFoot
	}
	return 1
}

// Short is the unit's sign: "ft" or "m".
func (u Units) Short() string {
	if u == Feet {
		return "ft"
	}
	return "m"
}

// Length writes metres in the units: "20 ft", "6.1 m". A tenth of a foot, and
// a centimetre, come out as they were typed though they are kept in centimetres.
func (u Units) Length(m float64) string {
	if u == Feet {
		return trimmed(m/metresPerFoot, 1) + " ft"
	}
	return trimmed(m, 2) + " m"
}

// Distance writes metres as people tell how far a station is: in miles where
// lengths are told in feet, in kilometres where in metres, and in both where
// nobody chose.
func (u Units) Distance(m float64) string {
	km, miles := fmt.Sprintf("%.3g km", m/1e3), fmt.Sprintf("%.3g miles", m/metresPerMile)
	switch u {
	case Feet:
		return miles
	case Metres:
		return km
	}
	return km + " or " + miles
}

// trimmed writes a number with so many digits behind the point at the most.
func trimmed(v float64, digits int) string {
	per := math.Pow10(digits)
	return strconv.FormatFloat(math.Round(v*per)/per+0, 'f', -1, 64)
}

var lengthText = regexp.MustCompile(`(?i)^(-?[0-9]+(?:\.[0-9]*)?|-?\.[0-9]+)\s*(?:(m|metres?|meters?)|(ft|feet|foot|'|′)(?:\s*([0-9]+(?:\.[0-9]*)?)\s*(?:in|inch|inches|"|″))?)?$`)

// ParseLength reads a length as people write it, "6 m", "20ft", "20' 6\"", or a
// number alone, which is in the units of the house. It returns metres, and the
// units that were written; "" where none were.
func ParseLength(text string, house Units) (m float64, typed Units, err error) {
	fields := lengthText.FindStringSubmatch(strings.TrimSpace(text))
	if fields == nil {
		return 0, "", fmt.Errorf("%q is no length: write 6 m or 20 ft", text)
	}
	v, err := strconv.ParseFloat(fields[1], 64)
	if err != nil || math.IsInf(v, 0) {
		return 0, "", fmt.Errorf("%q is no length: write 6 m or 20 ft", text)
	}
	per := house.PerUnit()
	switch {
	case fields[2] != "":
		typed, per = Metres, 1
	case fields[3] != "":
		typed, per = Feet, metresPerFoot
	}
	m = v * per
	if fields[4] != "" {
		inches, err := strconv.ParseFloat(fields[4], 64)
		if err != nil || inches >= 12 {
			return 0, "", fmt.Errorf("%q is no length: a foot has 12 inches", text)
		}
		m += math.Copysign(inches*metresPerInch, v)
	}
	return m, typed, nil
}

// North says from which north the bearings of a house are counted.
type North string

const (
	TrueNorth    North = "true"
	CompassNorth North = "compass" // magnetic north, as a compass shows it
)

// Words follow a heading: " true", " by compass", or nothing where nobody said.
func (n North) Words() string {
	switch n {
	case TrueNorth:
		return " true"
	case CompassNorth:
		return " by compass"
	}
	return ""
}

// Sentence says of all headings that are shown which north they are from.
func (n North) Sentence() string {
	switch n {
	case TrueNorth:
		return "headings are from true north"
	case CompassNorth:
		return "headings are by compass, from magnetic north"
	}
	return "headings are as they were told: true or by compass, nobody said"
}

// Point is the point of the compass nearest to a bearing, one of 16: 131 is
// "SE".
func Point(deg float64) string {
	names := [...]string{"N", "NNE", "NE", "ENE", "E", "ESE", "SE", "SSE", "S", "SSW", "SW", "WSW", "W", "WNW", "NW", "NNW"}
	return names[int(math.Round(turn360(math.Round(deg))/22.5))%len(names)]
}

// Heading writes a bearing in whole degrees with its point of the compass:
// "131° SE".
func Heading(deg float64) string {
	return fmt.Sprintf("%.0f° %s", turn360(math.Round(deg)), Point(deg))
}
