package site

import (
	"errors"
	"fmt"
	"math"
	"strconv"
	"strings"

	"rooftone/scan/internal/linefile"
)

// The WGS 84 ellipsoid: NGA.STND.0036, 3.4.
const (
	wgs84A = 6378137.0             // semi-major axis, m
	wgs84F = 1 / 298.257223563     // flattening
	wgs84B = wgs84A * (1 - wgs84F) // semi-minor axis, m
)

// Position is a point on the WGS 84 ellipsoid, which is what satellite
// receivers and maps use: degrees, north and east positive.
type Position struct {
	LatDeg, LonDeg float64
}

// ParsePosition reads "44.26,-72.58": latitude and longitude in decimal
// degrees, north and east positive.
func ParsePosition(s string) (Position, error) {
	a, b, ok := strings.Cut(s, ",")
	lat, err1 := strconv.ParseFloat(strings.TrimSpace(a), 64)
	lon, err2 := strconv.ParseFloat(strings.TrimSpace(b), 64)
	if !ok || err1 != nil || err2 != nil {
		return Position{}, fmt.Errorf("%q is no position: write latitude and longitude in degrees, as 44.26,-72.58", linefile.Printable(s, maxName))
	}
	p := Position{lat, lon}
	return p, p.check()
}

func (p Position) check() error {
	if !(math.Abs(p.LatDeg) <= 90) {
		return fmt.Errorf("a latitude of %g: it lies between -90 and 90", p.LatDeg)
	}
	if !(math.Abs(p.LonDeg) <= 180) {
		return fmt.Errorf("a longitude of %g: it lies between -180 and 180", p.LonDeg)
	}
	return nil
}

func (p Position) String() string {
	return strconv.FormatFloat(p.LatDeg, 'f', -1, 64) + "," + strconv.FormatFloat(p.LonDeg, 'f', -1, 64)
}

// Path is the shortest way from one Position to another.
type Path struct {
	DistanceM  float64
	BearingDeg float64 // at the start, clockwise from true north, 0 ≤ x < 360
	ArrivalDeg float64 // at the end, the direction in which the path goes on
}

// ErrAntipodal is returned for two points so nearly opposite each other on the
// globe that the shortest path between them is not found.
var ErrAntipodal = errors.New("the points are on opposite sides of the globe")

// PathBetween returns the geodesic from one position to another on the
// ellipsoid. It agrees with published geodesics within 0.1 mm, and its bearings
// within 1e-8 degrees or, at some metres, within 1 µm to the side; points nearly
// opposite each other on the globe excepted. Two equal positions have a distance and a bearing of 0.
//
// T. Vincenty, Direct and inverse solutions of geodesics on the ellipsoid with
// application of nested equations, Survey Review XXIII (176), 1975, the
// inverse formula.
func PathBetween(from, to Position) (Path, error) {
	for _, p := range []Position{from, to} {
		if err := p.check(); err != nil {
			return Path{}, err
		}
	}
	const degree = math.Pi / 180
	sinU1, cosU1 := reduced(from.LatDeg * degree)
	sinU2, cosU2 := reduced(to.LatDeg * degree)
	// Less than a turn apart, so that a difference across the date line is as
	// exact as any other.
	difference := math.Remainder(to.LonDeg-from.LonDeg, 360) * degree

	lambda := difference
	for range 200 {
		sinL, cosL := math.Sincos(lambda)
		east, north := cosU2*sinL, cosU1*sinU2-sinU1*cosU2*cosL
		sinS := math.Hypot(east, north)
		cosS := sinU1*sinU2 + cosU1*cosU2*cosL
		sigma := math.Atan2(sinS, cosS)
		if sinS == 0 {
			if cosS < 0 {
				return Path{}, ErrAntipodal
			}
			return Path{}, nil
		}
		sinA := cosU1 * cosU2 * sinL / sinS
		cos2A := (1 - sinA) * (1 + sinA)
		cos2M := 0.0 // on the equator there is no middle to speak of
		if cos2A > 0 {
			cos2M = cosS - 2*sinU1*sinU2/cos2A
		}
		c := wgs84F / 16 * cos2A * (4 + wgs84F*(4-3*cos2A))
		next := difference + (1-c)*wgs84F*sinA*(sigma+c*sinS*(cos2M+c*cosS*(2*cos2M*cos2M-1)))
		if math.Abs(next) > math.Pi {
			return Path{}, ErrAntipodal
		}
		if math.Abs(next-lambda) > 1e-14 {
			lambda = next
			continue
		}
		return Path{
			DistanceM:  arcLength(cos2A, cos2M, sigma, sinS, cosS),
			BearingDeg: turn360(math.Atan2(east, north) / degree),
			ArrivalDeg: turn360(math.Atan2(cosU1*sinL, -sinU1*cosU2+cosU1*sinU2*cosL) / degree),
		}, nil
	}
	return Path{}, ErrAntipodal
}

// reduced returns sine and cosine of the reduced latitude.
func reduced(latitude float64) (sin, cos float64) {
	sin, cos = math.Sincos(latitude)
	sin *= 1 - wgs84F
	h := math.Hypot(sin, cos)
	return sin / h, cos / h
}

// arcLength turns the arc on the auxiliary sphere into metres: Vincenty's
// equations 3, 4, 6 and 19.
func arcLength(cos2A, cos2M, sigma, sinS, cosS float64) float64 {
	u2 := cos2A * (wgs84A*wgs84A - wgs84B*wgs84B) / (wgs84B * wgs84B)
	a := 1 + u2/16384*(4096+u2*(-768+u2*(320-175*u2)))
	b := u2 / 1024 * (256 + u2*(-128+u2*(74-47*u2)))
	correction := b * sinS * (cos2M + b/4*(cosS*(2*cos2M*cos2M-1)-
		b/6*cos2M*(4*sinS*sinS-3)*(4*cos2M*cos2M-3)))
	return wgs84B * a * (sigma - correction)
}

// turn360 brings an angle to 0 ≤ x < 360.
func turn360(deg float64) float64 {
	deg = math.Mod(deg, 360)
	if deg < 0 {
		deg += 360
	}
	if deg >= 360 { // a tiny negative number rounds up to the full turn
		return 0
	}
	return deg
}

// MagneticBearing is what a compass shows when it points to a true bearing.
// The declination is how far magnetic north lies east of true north, in
// degrees; west is negative. It is the user's to give: it depends on the place
// and changes by some tenths of a degree a year, so that a table built into a
// program would be wrong before the program is old.
func MagneticBearing(trueDeg, declinationDeg float64) float64 {
	return turn360(trueDeg - declinationDeg)
}

// TrueBearing is the true bearing of what a compass shows. See MagneticBearing.
func TrueBearing(magneticDeg, declinationDeg float64) float64 {
	return turn360(magneticDeg + declinationDeg)
}
