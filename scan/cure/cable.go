package cure

import (
	"fmt"
	"math"
	"strings"
)

// Cable is a general type of coaxial cable. Its loss in 100 ft is A + B·√f, with f
// in MHz, in dB: the conductor's loss goes with the root of the frequency, and over
// 54 to 1000 MHz a constant makes up for the rest.
type Cable struct {
	Name string
	A, B float64
}

// Cables are the types that a house is likely to have. The figures go through what
// manufacturers' sheets commonly print for drop cable of these types at 68 °F at 55
// and at 1000 MHz (1.60 and 6.55 dB in 100 ft, 2.05 and 8.12, 0.96 and 4.35: from
// memory of such sheets, common practice). One make differs from another, and a cable
// from itself when it is warm or old: CableSpread.
func Cables() []Cable {
	return []Cable{
		{"rg6", 0.083, 0.2045},
		{"rg59", 0.190, 0.2508},
		{"rg11", -0.078, 0.1400},
	}
}

// CableSpread is how far the loss of a cable may be from what its type says, as a
// share: a tenth. Common practice, no source.
const CableSpread = 0.1

const metresPerFoot = 0.3048

// LossDB is the loss of a length at a frequency.
func (c Cable) LossDB(lengthM, hz float64) float64 {
	return math.Max(0, c.A+c.B*math.Sqrt(hz/1e6)) * lengthM / (100 * metresPerFoot)
}

// cableOf finds a cable by what people call it: rg6, RG-6, "series 6".
func cableOf(name string) (Cable, error) {
	plain := strings.NewReplacer("-", "", " ", "", "/u", "", "series", "rg").Replace(strings.ToLower(name))
	var names []string
	for _, c := range Cables() {
		if c.Name == plain {
			return c, nil
		}
		names = append(names, c.Name)
	}
	return Cable{}, fmt.Errorf("no cable of type %.20q is known: use %s, or its loss at a frequency, such as 4.5dB@600", name, strings.Join(names, ", "))
}
