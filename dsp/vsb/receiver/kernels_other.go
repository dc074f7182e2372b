//go:build !amd64

package receiver

func (p *interpolator) readAt(dst, x []complex64, position, advance int64) {
	p.readPlain(dst, x, position, advance)
}
