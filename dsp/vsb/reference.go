package vsb

// Reference makes the noiseless samples of what a receiver knows beforehand of
// a field sync: its KnownSymbols symbols and nothing before and after them.
// Time 0 is the peak of the first symbol. It is used by one goroutine at a
// time.
type Reference struct {
	renderer *Renderer
	odd      *training
	even     *training
}

// training is the known symbols of one field sync, at index 0.
type training struct {
	symbols [SegmentSymbols]float32
}

func (s *training) Symbols(dst []float32, first int64) {
	clear(dst)
	if first >= SegmentSymbols || first+int64(len(dst)) <= 0 {
		return
	}
	if first >= 0 {
		copy(dst, s.symbols[first:])
	} else {
		copy(dst[-first:], s.symbols[:])
	}
}

// NewReference returns a Reference for slices as NewRenderer describes them.
func NewReference(rateHz, offsetHz float64) (*Reference, error) {
	r, err := NewRenderer(rateHz, offsetHz)
	if err != nil {
		return nil, err
	}
	f := &Reference{renderer: r, odd: new(training), even: new(training)}
	f.odd.symbols, _ = FieldSync(true)
	f.even.symbols, _ = FieldSync(false)
	return f, nil
}

// Samples fills dst with the known symbols' signal at the times startSeconds +
// n·stepSeconds, on the scale and with the carrier phase of Renderer.Render.
// The pilot is not the training's: it is a line that stands through all time.
// With pilot it is added as such; without it the symbols stand alone.
func (f *Reference) Samples(dst []complex64, odd, pilot bool, startSeconds, stepSeconds float64) error {
	source, dc := f.odd, float32(0)
	if !odd {
		source = f.even
	}
	if pilot {
		dc = PilotLevel
	}
	clear(dst)
	return f.renderer.add(dst, source, dc, startSeconds, stepSeconds, 1)
}
