package terrain

import (
	"encoding/binary"
	"fmt"
	"io"
	"io/fs"
	"math"
	"slices"

	"rooftone/scan/site"
)

// tile is a tile in memory, as it is on disk.
type tile struct {
	lat, lon int // of its south-west corner
	side     int
	data     []byte
}

// read reads a file into the tile, whose memory is used again where it is large
// enough.
func (t *tile) read(fsys fs.FS, name string) error {
	f, err := fsys.Open(name)
	if err != nil {
		return fmt.Errorf("reading a tile of heights: %w", err)
	}
	defer f.Close()
	info, err := f.Stat()
	if err != nil {
		return fmt.Errorf("reading the tile %s: %w", name, err)
	}
	if t.side = sideOf(info.Size()); t.side == 0 {
		return fmt.Errorf("the tile %s has %d bytes, where one of 3 arc seconds has %d and one of 1 arc second %d: it is damaged or something else",
			name, info.Size(), coarse*coarse*sampleBytes, fine*fine*sampleBytes)
	}
	t.data = slices.Grow(t.data[:0], int(info.Size()))[:info.Size()]
	if _, err := io.ReadFull(f, t.data); err != nil {
		return fmt.Errorf("reading the tile %s: %w", name, err)
	}
	if err := t.check(); err != nil {
		return fmt.Errorf("the tile %s %w", name, err)
	}
	return nil
}

// check looks for heights that are none: bytes in the wrong order make neighbours
// differ wildly, other files have heights beyond those of the earth.
func (t *tile) check() error {
	const (
		stride   = 8    // rows: one in so many is looked at
		rougher  = 4    // times as rough as with its bytes exchanged
		tolerate = 0.02 // of the samples
	)
	var asIs, swapped float64
	var known, wrong int
	example := 0
	for row := 0; row < t.side; row += stride {
		before, beforeSwapped := void, 0
		for col := range t.side {
			v := t.raw(row, col)
			if v == void {
				before = void
				continue
			}
			known++
			if v < lowest || v > highest {
				wrong, example = wrong+1, v
			}
			other := int(int16(uint16(v)<<8 | uint16(v)>>8))
			if before != void {
				asIs += math.Abs(float64(v - before))
				swapped += math.Abs(float64(other - beforeSwapped))
			}
			before, beforeSwapped = v, other
		}
	}
	switch {
	case asIs > rougher*swapped:
		return fmt.Errorf("has the low byte of each height first: a tile has the high byte first")
	case float64(wrong) > tolerate*float64(known):
		return fmt.Errorf("has heights that the earth has not, such as %d m: it is damaged or something else", example)
	}
	return nil
}

// raw is a sample, row 0 in the north.
func (t *tile) raw(row, col int) int {
	return int(int16(binary.BigEndian.Uint16(t.data[(row*t.side+col)*sampleBytes:])))
}

// at is the height at a position between the four samples about it, those that are
// no void and make up half of the weight; otherwise NaN.
func (t *tile) at(p site.Position) float64 {
	last := t.side - 1
	split := func(x float64) (int, float64) {
		x = min(max(x*float64(last), 0), float64(last))
		i := min(int(x), last-1)
		return i, x - float64(i)
	}
	east := p.LonDeg - float64(t.lon)
	if east >= 360 { // at 180 degrees, which is −180
		east -= 360
	}
	row, south := split(float64(t.lat+1) - p.LatDeg)
	col, right := split(east)
	sum, weight := 0.0, 0.0
	for _, c := range [4]struct {
		row, col int
		w        float64
	}{
		{row, col, (1 - south) * (1 - right)},
		{row, col + 1, (1 - south) * right},
		{row + 1, col, south * (1 - right)},
		{row + 1, col + 1, south * right},
	} {
		if v := t.raw(c.row, c.col); v >= lowest && v <= highest {
			sum += c.w * float64(v)
			weight += c.w
		}
	}
	if weight < 0.5 {
		return math.NaN()
	}
	return sum / weight
}
