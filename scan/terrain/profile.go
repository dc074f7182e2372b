package terrain

import (
	"errors"
	"fmt"
	"math"
	"slices"

	"rooftone/scan/path"
	"rooftone/scan/site"
)

const (
	// MaxDistanceM is the longest profile.
	MaxDistanceM = 600e3
	// arcSecondM is an arc second of latitude, m: 1 nautical mile is an arc minute.
	arcSecondM = 1852.0 / 60
)

// Profile is the ground between two places.
type Profile struct {
	path.Profile
	Tiles []Name // that it lies on, in order
	// Where no height was known it runs straight from the last known one to the
	// next:
	BridgedM float64 // in all
	LongestM float64 // the longest stretch
}

// ErrNoHeights is returned for a path on which no height is known.
var ErrNoHeights = errors.New("no height is known on the whole path")

// Tiles lists the tiles that the way from one place to another lies on, in order.
func Tiles(from, to site.Position) ([]Name, error) {
	way, err := newWay(from, to)
	if err != nil {
		return nil, err
	}
	return way.tiles(), nil
}

// Profile is the ground on the great circle from one place to another, at the step of
// the finest of its tiles or a little less. Where tiles are missing the error is a
// MissingError that names the first.
func (f *Folder) Profile(from, to site.Position) (*Profile, error) {
	way, err := newWay(from, to)
	if err != nil {
		return nil, err
	}
	p := &Profile{Tiles: way.tiles()}
	step := 0.0
	for _, n := range p.Tiles {
		if !f.Has(n) {
			if f.Sea {
				continue
			}
			return nil, &MissingError{n}
		}
		s := 3 * arcSecondM
		if f.files[n].side == fine {
			s = arcSecondM
		}
		if step == 0 || s < step {
			step = s
		}
	}
	if step == 0 {
		step = 3 * arcSecondM // all sea
	}
	points := max(2, int(math.Ceil(way.distanceM/step)))
	p.StepM = way.distanceM / float64(points)
	p.M = make([]float64, points+1)
	for i := range p.M {
		h, err := f.sample(way.at(float64(i) / float64(points)))
		if missing := (*MissingError)(nil); errors.As(err, &missing) && f.Sea {
			h, err = 0, nil
		}
		if err != nil {
			return nil, err
		}
		p.M[i] = h
	}
	return p, p.bridge()
}

// bridge fills what is not known.
func (p *Profile) bridge() error {
	known := func(h float64) bool { return !math.IsNaN(h) }
	first := slices.IndexFunc(p.M, known)
	if first < 0 {
		return ErrNoHeights
	}
	gap := func(points int) {
		m := float64(points) * p.StepM
		p.BridgedM += m
		p.LongestM = max(p.LongestM, m)
	}
	for i := range first {
		p.M[i] = p.M[first]
	}
	gap(first)
	last := first
	for i := first + 1; i < len(p.M); i++ {
		if !known(p.M[i]) {
			continue
		}
		for k := last + 1; k < i; k++ {
			f := float64(k-last) / float64(i-last)
			p.M[k] = p.M[last] + f*(p.M[i]-p.M[last])
		}
		gap(i - last - 1)
		last = i
	}
	for i := last + 1; i < len(p.M); i++ {
		p.M[i] = p.M[last]
	}
	gap(len(p.M) - 1 - last)
	return nil
}

// way is the great circle between two places. On 300 km it stays within some tens of
// metres of the geodesic on the ellipsoid, which is a sample's width.
type way struct {
	from, to  [3]float64
	angle     float64
	distanceM float64
}

func newWay(from, to site.Position) (*way, error) {
	g, err := site.PathBetween(from, to)
	if err != nil {
		return nil, err
	}
	if g.DistanceM > MaxDistanceM {
		return nil, fmt.Errorf("a path of %.0f km: profiles go up to %.0f km", g.DistanceM/1e3, MaxDistanceM/1e3)
	}
	w := &way{from: vector(from), to: vector(to), distanceM: g.DistanceM}
	a, b := w.from, w.to
	cross := [3]float64{a[1]*b[2] - a[2]*b[1], a[2]*b[0] - a[0]*b[2], a[0]*b[1] - a[1]*b[0]}
	w.angle = math.Atan2(math.Hypot(math.Hypot(cross[0], cross[1]), cross[2]), a[0]*b[0]+a[1]*b[1]+a[2]*b[2])
	return w, nil
}

func vector(p site.Position) [3]float64 {
	const degree = math.Pi / 180
	sinLat, cosLat := math.Sincos(p.LatDeg * degree)
	sinLon, cosLon := math.Sincos(p.LonDeg * degree)
	return [3]float64{cosLat * cosLon, cosLat * sinLon, sinLat}
}

// at is the place a fraction of the way along.
func (w *way) at(f float64) site.Position {
	a, b := 1-f, f
	if sin := math.Sin(w.angle); sin > 0 {
		a, b = math.Sin((1-f)*w.angle)/sin, math.Sin(f*w.angle)/sin
	}
	x, y, z := a*w.from[0]+b*w.to[0], a*w.from[1]+b*w.to[1], a*w.from[2]+b*w.to[2]
	const degree = math.Pi / 180
	return site.Position{LatDeg: math.Atan2(z, math.Hypot(x, y)) / degree, LonDeg: math.Atan2(y, x) / degree}
}

// tiles lists the tiles on the way, looked for at every arc second.
func (w *way) tiles() (names []Name) {
	steps := max(1, int(math.Ceil(w.distanceM/arcSecondM)))
	lastLat, lastLon := math.MaxInt, 0
	for i := range steps + 1 {
		p := w.at(float64(i) / float64(steps))
		lat, lon := corner(p)
		if lat == lastLat && lon == lastLon {
			continue
		}
		lastLat, lastLon = lat, lon
		if n := NameAt(p); !slices.Contains(names, n) {
			names = append(names, n)
		}
	}
	return names
}
