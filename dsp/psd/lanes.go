//go:build amd64 || arm64

package psd

import "unsafe"

// The kernels, which each processor has in its own assembly. All round in the same
// places, and fuse in the same places, so that results are the same to the last bit.

//go:noescape
func load8(out *float32, src *complex64, hop int, window *float32, count int)

//go:noescape
func radix4(out, in *float32, outStride, inStride int, twiddle *complex64, count, groups int)

//go:noescape
func radix2(rows *float32, groups int)

//go:noescape
func power4(sums, rows *float32, groups int)

//go:noescape
func power2(sums, rows *float32, groups int)

//go:noescape
func loadRow(out *float32, src *complex64, flip uint32, count int)

//go:noescape
func join8(dst *complex64, stride int, rows *float32, order *int32, twiddle, scratch *float32, flip uint32, groups int)

//go:noescape
func dot8(x *complex64, taps *float32, count int) complex64

const (
	rowLen   = 2 * lanes // float32s in a row: real parts, then imaginary ones
	nearRows = 256       // rows that stay in the nearest cache
	loadRows = 16        // rows that are loaded and go through the first pass in one piece
)

// alignedFloats makes n float32s that begin on a cache line.
func alignedFloats(n int) []float32 {
	const line = 64
	s := make([]float32, n+line/4)
	skip := (line - int(uintptr(unsafe.Pointer(&s[0]))%line)) % line / 4
	return s[skip : skip+n : skip+n]
}

// vertical transforms columns of n rows, one transform in each lane, by
// decimation in frequency: in natural order, out in that of digitReversal. A
// transform then needs no shuffling, only arithmetic between rows.
type vertical struct {
	n      int
	passes []pass // the longest first
	rows   []float32
	piece  []float32 // of the input, on its way into the first pass
}

func newVertical(n int) *vertical {
	v := &vertical{n: n, rows: alignedFloats(n * rowLen), piece: alignedFloats(4 * loadRows * rowLen)}
	for _, p := range makePasses(n) {
		v.passes = append([]pass{p}, v.passes...)
	}
	return v
}

// power adds to sums the squared magnitudes of the windowed transforms of
// eight segments, the first at the start of src and each hop after the last:
// eight sums for each row, a lane each. n must be at least 16.
func (v *vertical) power(sums []float32, src []complex64, hop int, window []float32) {
	_ = src[(lanes-1)*hop+v.n-1] // the kernel reads as far and does not look
	p := v.passes[0]
	q := p.quarter
	rows := min(q, loadRows)
	for t := 0; t < q; t += rows {
		for r := range 4 {
			load8(&v.piece[r*rows*rowLen], &src[r*q+t], hop, &window[r*q+t], rows)
		}
		radix4(&v.rows[t*rowLen], &v.piece[0], q, rows, &p.twiddle[3*t], rows, 1)
	}
	for r := range 4 {
		v.descend(r*q, q, 1, sums)
	}
}

// descend runs the passes from level on over size rows from the given one,
// part by part once they are small enough for the nearest cache. With sums, it
// adds up powers instead of leaving the results in the rows.
func (v *vertical) descend(from, size, level int, sums []float32) {
	rows := v.rows[from*rowLen : (from+size)*rowLen]
	for ; level < len(v.passes); level++ {
		p := v.passes[level]
		if sums != nil && p.quarter == 1 {
			power4(&sums[from*lanes], &rows[0], size/4)
			return
		}
		radix4(&rows[0], &rows[0], p.quarter, p.quarter, &p.twiddle[0], p.quarter, size/(4*p.quarter))
		if size > nearRows {
			for r := range 4 {
				v.descend(from+r*p.quarter, p.quarter, level+1, sums)
			}
			return
		}
	}
	switch {
	case firstRadix(v.n) == 1:
	case sums != nil:
		power2(&sums[from*lanes], &rows[0], size/2)
	default:
		radix2(&rows[0], size/2)
	}
}

// joined is one transform of n, from 64 up, as eight of n/8 side by side.
type joined struct {
	n       int
	eighths *vertical
	order   []int32
	twiddle []float32 // for eight frequencies at a time, rows of the seven lanes from 1
	scratch []float32
}

func newJoined(n int) *joined {
	m := n / lanes
	j := &joined{n: n, eighths: newVertical(m), order: make([]int32, m), scratch: alignedFloats(12 * rowLen)}
	for place, k := range digitReversal(m) {
		j.order[k] = int32(place)
	}
	j.twiddle = alignedFloats(m * 7 * 2)
	for k := range m {
		for l := 1; l < lanes; l++ {
			w := unit(-l*k, n)
			at := (k/lanes*7+l-1)*rowLen + k%lanes
			j.twiddle[at], j.twiddle[at+lanes] = float32(real(w)), float32(imag(w))
		}
	}
	return j
}

func (j *joined) transform(dst, src []complex64, inverse bool) {
	var flip uint32
	if inverse {
		flip = 1 << 31 // conjugated on the way in and on the way out
	}
	m := j.n / lanes
	rows := j.eighths.rows
	loadRow(&rows[0], &src[0], flip, m)
	j.eighths.descend(0, m, 0, nil)
	join8(&dst[0], m, &rows[0], &j.order[0], &j.twiddle[0], &j.scratch[0], flip, m/lanes)
}
