package terrain_test

import (
	"encoding/binary"
	"io/fs"
	"math"
	"os"
	"testing"
	"testing/fstest"

	"github.com/stretchr/testify/require"

	"rooftone/scan/site"
	"rooftone/scan/terrain"
)

// tileOf is a tile whose heights are a function of the place: rows from the north,
// the high byte first, the outermost rows and columns on the whole degrees.
func tileOf(lat, lon, side int, height func(latDeg, lonDeg float64) int) *fstest.MapFile {
	var b []byte
	for row := range side {
		for col := range side {
			h := height(float64(lat+1)-float64(row)/float64(side-1), float64(lon)+float64(col)/float64(side-1))
			b = binary.BigEndian.AppendUint16(b, uint16(int16(h)))
		}
	}
	return &fstest.MapFile{Data: b}
}

// slope rises to the north and to the east.
func slope(latDeg, lonDeg float64) int {
	return int(math.Round(1000 + 300*(latDeg-44) + 200*(lonDeg+73)))
}

func open(t testing.TB, fsys fs.FS) *terrain.Folder {
	t.Helper()
	f, err := terrain.Open(fsys)
	require.NoError(t, err)
	return f
}

// Truth: the mission's document: names are those of the south-west corners; and
// common practice at the date line and the poles.
func TestNames(t *testing.T) {
	for p, want := range map[site.Position]terrain.Name{
		{LatDeg: 44.26, LonDeg: -72.58}: "N44W073",
		{LatDeg: 44, LonDeg: -73}:       "N44W073",
		{LatDeg: -0.5, LonDeg: 0.5}:     "S01E000",
		{LatDeg: 0, LonDeg: 0}:          "N00E000",
		{LatDeg: 52, LonDeg: 180}:       "N52W180",
		{LatDeg: 52, LonDeg: 179.99}:    "N52E179",
		{LatDeg: 90, LonDeg: 5}:         "N89E005",
		{LatDeg: -90, LonDeg: 5}:        "S90E005",
	} {
		require.Equal(t, want, terrain.NameAt(p), "%v", p)
	}
}

// Truth: theory: over a plane every sample of a profile is the plane's height there,
// within the tiles' rounding to metres; the steps are the tiles' own; and the way is
// the geodesic of scan/site within a sample's width.
func TestProfileOfAPlane(t *testing.T) {
	f := open(t, fstest.MapFS{
		"N44W073.hgt":             tileOf(44, -73, 1201, slope),
		"n44w072.SRTMGL3.HGT":     tileOf(44, -72, 1201, slope),
		"N43W073.SRTMGL1.hgt":     tileOf(43, -73, 3601, slope),
		"N43W073.hgt":             tileOf(43, -73, 1201, func(_, _ float64) int { return 1 }),
		"readme.txt":              {},
		"N10E010.SRTMGL1.hgt.zip": {},
	})
	from, to := site.Position{LatDeg: 44.7, LonDeg: -71.2}, site.Position{LatDeg: 43.3, LonDeg: -71.9}
	names, err := terrain.Tiles(from, to)
	require.NoError(t, err)
	require.Equal(t, []terrain.Name{"N44W072", "N43W072"}, names)
	_, err = f.Profile(from, to)
	missing := (*terrain.MissingError)(nil)
	require.ErrorAs(t, err, &missing)
	require.Equal(t, terrain.Name("N43W072"), missing.Name)
	require.Equal(t, "N10E010.SRTMGL1.hgt.zip", f.Packed("N10E010"))

	to = site.Position{LatDeg: 44.05, LonDeg: -72.9}
	p, err := f.Profile(from, to)
	require.NoError(t, err)
	require.Equal(t, []terrain.Name{"N44W072", "N44W073"}, p.Tiles)
	g, err := site.PathBetween(from, to)
	require.NoError(t, err)
	require.InDelta(t, g.DistanceM, p.DistanceM(), 1e-6)
	require.InDelta(t, 92.6, p.StepM, 0.1)
	require.Zero(t, p.BridgedM)
	for _, i := range []int{0, 1, len(p.M) / 3, len(p.M) / 2, len(p.M) - 1} {
		at := along(t, from, to, float64(i)/float64(len(p.M)-1))
		want := 1000 + 300*(at.LatDeg-44) + 200*(at.LonDeg+73)
		require.InDelta(t, want, p.M[i], 1, "point %d", i)
	}

	p, err = f.Profile(site.Position{LatDeg: 43.2, LonDeg: -72.9}, site.Position{LatDeg: 44.2, LonDeg: -72.9})
	require.NoError(t, err)
	require.InDelta(t, 30.87, p.StepM, 0.02, "the finest tile's step, and of two tiles of one name the finer")
	require.Greater(t, p.M[0], 700.0)
}

// along is the place on the geodesic that divides it: the way is found by halving,
// with scan/site's geodesics alone.
func along(t *testing.T, from, to site.Position, f float64) site.Position {
	t.Helper()
	at := site.Position{LatDeg: from.LatDeg + f*(to.LatDeg-from.LatDeg), LonDeg: from.LonDeg + f*(to.LonDeg-from.LonDeg)}
	whole, err := site.PathBetween(from, to)
	require.NoError(t, err)
	for range 50 {
		here, err := site.PathBetween(from, at)
		require.NoError(t, err)
		north, east := math.Cos(here.BearingDeg*math.Pi/180)*here.DistanceM, math.Sin(here.BearingDeg*math.Pi/180)*here.DistanceM
		wantN, wantE := math.Cos(whole.BearingDeg*math.Pi/180)*whole.DistanceM*f, math.Sin(whole.BearingDeg*math.Pi/180)*whole.DistanceM*f
		at.LatDeg += (wantN - north) / 111e3
		at.LonDeg += (wantE - east) / (111e3 * math.Cos(at.LatDeg*math.Pi/180))
	}
	return at
}

// Truth: theory: a void is bridged by a straight line between what is known, and said;
// a single void among its neighbours is not even noticed; a tile of voids is an error.
func TestVoids(t *testing.T) {
	hole := func(lat, lon float64) int {
		if lat > 44.4 && lat < 44.6 {
			return -32768
		}
		return slope(lat, lon)
	}
	f := open(t, fstest.MapFS{"N44W073.hgt": tileOf(44, -73, 1201, hole), "N45W073.hgt": tileOf(45, -73, 1201, func(_, _ float64) int { return -32768 })})
	from, to := site.Position{LatDeg: 44.1, LonDeg: -72.5}, site.Position{LatDeg: 44.9, LonDeg: -72.5}
	p, err := f.Profile(from, to)
	require.NoError(t, err)
	require.InDelta(t, 0.2*111.1e3, p.BridgedM, 400)
	require.Equal(t, p.BridgedM, p.LongestM)
	require.InDelta(t, 1000+300*0.5+200*0.5, p.M[len(p.M)/2], 1.5)

	p, err = f.Profile(from, site.Position{LatDeg: 45.2, LonDeg: -72.5})
	require.NoError(t, err)
	require.InDelta(t, p.M[len(p.M)-1], 1000+300+100, 1.5)
	_, err = f.Profile(site.Position{LatDeg: 45.2, LonDeg: -72.5}, site.Position{LatDeg: 45.3, LonDeg: -72.5})
	require.ErrorIs(t, err, terrain.ErrNoHeights)
}

// Truth: common practice: what is no tile is named, with what is wrong.
func TestDamagedTiles(t *testing.T) {
	from, to := site.Position{LatDeg: 44.1, LonDeg: -72.5}, site.Position{LatDeg: 44.9, LonDeg: -72.5}
	good := tileOf(44, -73, 1201, slope).Data
	swapped := make([]byte, len(good))
	for i := range good {
		swapped[i] = good[i^1]
	}
	high := tileOf(44, -73, 1201, func(_, _ float64) int { return 12000 }).Data
	for want, data := range map[string][]byte{
		"has 2884801 bytes": good[1:],
		"has 0 bytes":       {},
		"low byte":          swapped,
		"such as 12000 m":   high,
	} {
		f := open(t, fstest.MapFS{"N44W073.hgt": {Data: data}})
		_, err := f.Profile(from, to)
		require.ErrorContains(t, err, want)
		require.ErrorContains(t, err, "N44W073.hgt")
	}
	_, err := terrain.Open(fstest.MapFS{"readme.txt": {}})
	require.ErrorIs(t, err, terrain.ErrNoTiles)
	_, err = terrain.Open(fstest.MapFS{"N44W073.hgt.zip": {}})
	require.ErrorContains(t, err, "unpack")
	_, err = terrain.Open(os.DirFS("nowhere"))
	require.ErrorIs(t, err, fs.ErrNotExist)
}

// Truth: theory: across the date line, below sea level and over the pole a plane's
// heights come out as anywhere; the sea without tiles is at 0 m where that is said.
func TestEdgesOfTheWorld(t *testing.T) {
	level := func(h int) func(_, _ float64) int { return func(_, _ float64) int { return h } }
	f := open(t, fstest.MapFS{
		"N52E179.hgt": tileOf(52, 179, 1201, level(-20)),
		"N52W180.hgt": tileOf(52, -180, 1201, level(-20)),
		"N89E005.hgt": tileOf(89, 5, 1201, level(7)),
	})
	p, err := f.Profile(site.Position{LatDeg: 52.5, LonDeg: 179.8}, site.Position{LatDeg: 52.4, LonDeg: -179.8})
	require.NoError(t, err)
	require.Equal(t, []terrain.Name{"N52E179", "N52W180"}, p.Tiles)
	require.Less(t, p.DistanceM(), 35e3)
	for _, h := range p.M {
		require.InDelta(t, -20, h, 1e-9)
	}
	p, err = f.Profile(site.Position{LatDeg: 89.6, LonDeg: 5.5}, site.Position{LatDeg: 90, LonDeg: 5.5})
	require.NoError(t, err)
	require.InDelta(t, 7, p.M[len(p.M)-1], 1e-9)

	f.Sea = true
	p, err = f.Profile(site.Position{LatDeg: 52.5, LonDeg: 178.8}, site.Position{LatDeg: 52.4, LonDeg: 179.5})
	require.NoError(t, err)
	require.Zero(t, p.M[0])
	require.InDelta(t, -20, p.M[len(p.M)-1], 1e-9)

	p, err = f.Profile(site.Position{LatDeg: 52.5, LonDeg: 179.5}, site.Position{LatDeg: 52.5, LonDeg: 179.5})
	require.NoError(t, err)
	require.Zero(t, p.DistanceM())
}

// FuzzTile reads whatever a folder may hold: never a panic, never a height that is
// none.
func FuzzTile(f *testing.F) {
	f.Add("N44W073.hgt", []byte{0, 100, 0, 101}, true, 44.2, -72.6, 44.9, -72.1)
	f.Add("S01E000.hgt", []byte{128, 0}, true, -0.2, 0.5, 0.2, 0.4)
	f.Add("N52W180.hgt", []byte{9, 9, 9}, false, 52.1, 179.9, 52.2, -179.9)
	f.Fuzz(func(t *testing.T, name string, data []byte, whole bool, lat1, lon1, lat2, lon2 float64) {
		if whole && len(data) > 0 {
			const size = 1201 * 1201 * 2
			full := make([]byte, 0, size+len(data))
			for len(full) < size {
				full = append(full, data...)
			}
			data = full[:size]
		}
		if !fs.ValidPath(name) || name == "." {
			return
		}
		folder, err := terrain.Open(fstest.MapFS{name: {Data: data}})
		if err != nil {
			return
		}
		folder.Sea = true
		p, err := folder.Profile(site.Position{LatDeg: lat1, LonDeg: lon1}, site.Position{LatDeg: lat2, LonDeg: lon2})
		if err != nil {
			return
		}
		for _, h := range p.M {
			if !(h >= -500 && h <= 9000) {
				t.Fatalf("a height of %g m", h)
			}
		}
	})
}
