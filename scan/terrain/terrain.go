// Package terrain reads the ground's heights from tiles that the user has, and makes
// profiles of the ground between two places.
//
// A tile is a square of one degree as the Shuttle Radar Topography Mission has them
// (NASA and USGS, SRTM Topography, 2.1 and 3): big-endian 16-bit heights in metres
// above mean sea level, row by row from the north, the outermost rows and columns
// shared with the neighbours; 1201 a side at 3 arc seconds, 3601 at 1. Its name is that
// of its south-west corner, as in N44W073.hgt.
package terrain

import (
	"errors"
	"fmt"
	"io/fs"
	"math"
	"regexp"
	"slices"
	"strings"

	"rooftone/scan/site"
)

const (
	fine, coarse = 3601, 1201 // samples a side
	sampleBytes  = 2
	void         = math.MinInt16
	// The ground's heights on earth, with room: from the Dead Sea to Everest.
	lowest, highest = -500, 9000
	// held is how many tiles stay in memory: 26 MB each at 1 arc second.
	held = 4
)

// Name is a tile's name without its ending, as in N44W073.
type Name string

// NameAt is the tile that a position lies in.
func NameAt(p site.Position) Name {
	lat, lon := corner(p)
	ns, ew := 'N', 'E'
	if lat < 0 {
		ns, lat = 'S', -lat
	}
	if lon < 0 {
		ew, lon = 'W', -lon
	}
	return Name(fmt.Sprintf("%c%02d%c%03d", ns, lat, ew, lon))
}

// corner is the south-west corner of the tile that a position lies in.
func corner(p site.Position) (lat, lon int) {
	lat = min(max(int(math.Floor(p.LatDeg)), -90), 89)
	if lon = int(math.Floor(p.LonDeg)); lon >= 180 {
		lon -= 360
	}
	return lat, lon
}

// Folder is a folder of tiles. It is not for use by several goroutines at once.
type Folder struct {
	fsys   fs.FS
	files  map[Name]file
	packed map[Name]string // tiles that are still packed, and their files
	held   []*tile         // the one used last comes last
	// Sea takes what no tile covers for open sea, of which no tiles are made.
	Sea bool
}

// file is a tile on disk.
type file struct {
	name string
	side int
}

// The names that tiles have come with: N44W073.hgt, n44w073.hgt,
// N44W073.SRTMGL1.hgt; and packed, N44W073.SRTMGL1.hgt.zip.
var tileName = regexp.MustCompile(`(?i)^([NS][0-9]{2}[EW][0-9]{3})(\.[a-z0-9]+)?\.hgt(\.zip|\.gz)?$`)

// ErrNoTiles is returned for a folder without a tile.
var ErrNoTiles = errors.New("no tile of heights is in the folder")

// Open lists the tiles of a folder. A tile of a wrong size is an error when it is
// read.
func Open(fsys fs.FS) (*Folder, error) {
	entries, err := fs.ReadDir(fsys, ".")
	if err != nil {
		return nil, fmt.Errorf("reading the folder of tiles: %w", err)
	}
	f := &Folder{fsys: fsys, files: map[Name]file{}, packed: map[Name]string{}}
	for _, e := range entries {
		m := tileName.FindStringSubmatch(e.Name())
		if m == nil || e.IsDir() {
			continue
		}
		name := Name(strings.ToUpper(m[1]))
		if m[3] != "" {
			f.packed[name] = e.Name()
			continue
		}
		info, err := fs.Stat(fsys, e.Name())
		if err != nil {
			return nil, fmt.Errorf("reading the folder of tiles: %w", err)
		}
		side := sideOf(info.Size())
		if old, ok := f.files[name]; !ok || side > old.side {
			f.files[name] = file{e.Name(), side}
		}
	}
	if len(f.files) == 0 {
		if len(f.packed) > 0 {
			return nil, fmt.Errorf("%w, but for packed ones: unpack them", ErrNoTiles)
		}
		return nil, ErrNoTiles
	}
	return f, nil
}

// sideOf is how many samples a side a tile of so many bytes has; 0 for no tile.
func sideOf(bytes int64) int {
	for _, side := range []int{fine, coarse} {
		if bytes == int64(side)*int64(side)*sampleBytes {
			return side
		}
	}
	return 0
}

// Has says whether a tile is in the folder.
func (f *Folder) Has(n Name) bool { _, ok := f.files[n]; return ok }

// Packed is the file of a tile that is in the folder only packed; "" otherwise.
func (f *Folder) Packed(n Name) string {
	if f.Has(n) {
		return ""
	}
	return f.packed[n]
}

// sample is the height at a position: NaN in a void. A missing tile is ErrMissing.
func (f *Folder) sample(p site.Position) (float64, error) {
	t, err := f.tile(p)
	if err != nil {
		return 0, err
	}
	return t.at(p), nil
}

// MissingError is a tile that is wanted and not there.
type MissingError struct{ Name Name }

func (e *MissingError) Error() string {
	return fmt.Sprintf("the tile %s.hgt is not in the folder", e.Name)
}

// tile returns the tile at a position, read if it has to be.
func (f *Folder) tile(p site.Position) (*tile, error) {
	lat, lon := corner(p)
	for i := len(f.held) - 1; i >= 0; i-- {
		if t := f.held[i]; t.lat == lat && t.lon == lon {
			if last := len(f.held) - 1; i != last {
				f.held = append(slices.Delete(f.held, i, i+1), t)
			}
			return t, nil
		}
	}
	name := NameAt(p)
	from, ok := f.files[name]
	if !ok {
		return nil, &MissingError{name}
	}
	t := &tile{}
	if len(f.held) == held {
		t.data = f.held[0].data[:0]
		f.held = slices.Delete(f.held, 0, 1)
	}
	if err := t.read(f.fsys, from.name); err != nil {
		return nil, err
	}
	t.lat, t.lon = lat, lon
	f.held = append(f.held, t)
	return t, nil
}
