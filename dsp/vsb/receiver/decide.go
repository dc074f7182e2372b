package receiver

import (
	"math"

	"rooftone/dsp/vsb"
	"rooftone/dsp/vsb/coding"
)

// The loop that follows the carrier's phase by the decided symbols: its time constant
// is 1/phaseGain symbols.
const (
	phaseGain = 0.008
	driftGain = phaseGain * phaseGain / 40
)

const knownPath = coding.Path(1<<60 - 1) // the symbols of a path that its successor still has

// decide takes the block's symbols one by one: subtracts what the ones before leave
// in each, decides it, and turns the next by what the error says of the phase.
func (e *engine) decide() {
	var sync float32
	odd := e.odd
	for s := range blockSegments {
		index := (e.segment + s) % vsb.FieldSegments
		at := s * vsb.SegmentSymbols
		for sub := 0; sub < vsb.SegmentSymbols; sub += farSymbols {
			if index == 0 {
				e.decideSync(at, sub, odd)
			} else {
				sync += e.decideData(index, at, sub)
			}
		}
		if index == 0 {
			odd = !odd
		}
	}
	e.odd = odd
	e.syncError += (float64(sync)/blockSegments/vsb.SegmentSyncSymbols - e.syncError) / 8
}

// runner is what changes from symbol to symbol.
type runner struct {
	cos, sin float32 // of the phase at the run's begin
	phase    float32 // since then
	drift    float32
}

func (e *engine) begin() runner {
	sin, cos := math.Sincos(float64(e.phase))
	return runner{cos: float32(cos), sin: float32(sin), drift: e.drift}
}

func (e *engine) end(r *runner, place int) {
	sin, cos := math.Sincos(float64(e.phase + r.phase/2))
	e.turns[place/farSymbols] = complex(float32(cos), float32(sin))
	e.phase += r.phase
	if e.phase > math.Pi {
		e.phase -= 2 * math.Pi
	}
	if e.phase < -math.Pi {
		e.phase += 2 * math.Pi
	}
	e.drift = r.drift
}

// turn turns an equalised symbol.
func (r *runner) turn(v complex64) (re, im float32) {
	p := r.phase
	c, s := 1-p*p/2, p-p*p*p/6
	cos, sin := r.cos*c-r.sin*s, r.sin*c+r.cos*s
	return real(v)*cos - imag(v)*sin, real(v)*sin + imag(v)*cos
}

// follow moves the phase by what an error says.
func (r *runner) follow(err, im float32) {
	x := err * im * (1 / float32(vsb.LevelMeanSquare))
	x = min(max(x, -1), 1)
	r.phase += phaseGain*x + r.drift
	r.drift += driftGain * x
}

// decideData takes farSymbols symbols of a data segment. at is where the segment
// begins in the block, sub where they do in the segment. It returns the squared
// error of the sync symbols among them.
func (e *engine) decideData(index, at, sub int) (sync float32) {
	var far [farSymbols]float32
	place := history + at + sub
	convolve(&far, e.levels[place-feedbackTaps:], e.designer.far[:])
	r := e.begin()
	first := 0
	out := e.equalised[forwardBehind+at+sub:][:farSymbols]
	turned := e.points[at+sub:][:farSymbols]
	near := &e.designer.near
	if sub == 0 {
		first = vsb.SegmentSyncSymbols
		for i, level := range [vsb.SegmentSyncSymbols]float32{vsb.SyncLevel, -vsb.SyncLevel, -vsb.SyncLevel, vsb.SyncLevel} {
			re, im := r.turn(out[i])
			re -= far[i] + dot(e.levels[place+i-nearTaps:], near[:])
			turned[i] = complex(re, im)
			err := re - vsb.PilotLevel - level
			sync += err * err
			e.levels[place+i] = level + vsb.PilotLevel
			r.follow(err, im)
		}
	}
	coder := coding.Coder(index, max(sub, vsb.SegmentSyncSymbols))
	for i := first; i < farSymbols; i++ {
		re, im := r.turn(out[i])
		re -= far[i] + dot(e.levels[place+i-nearTaps:], near[:]) + vsb.PilotLevel
		path := e.slicer.Slice(coder, re)
		turned[i] = complex(re, im)
		level := path.Level(0)
		if e.genie {
			level = e.truth[e.blocks*blockSymbols+at+sub+i]
			e.paths[coder] = path
		}
		e.levels[place+i] = level + vsb.PilotLevel
		if !e.genie && path>>3&knownPath != e.paths[coder]&knownPath {
			e.revise(index, place+i, sub+i, path, e.paths[coder])
		}
		e.paths[coder] = path
		r.follow(re-level, im)
		if coder++; coder == 12 {
			coder = 0
		}
	}
	e.end(&r, place)
	return sync
}

// revise writes a coder's earlier symbols as its path now has them, as far back as it
// differs from the one before. place is the newest symbol's, at is its own in the
// segment.
func (e *engine) revise(index, place, at int, path, before coding.Path) {
	path, before = path>>3&knownPath, before&knownPath
	for path != before && place > 2*vsb.SegmentSymbols {
		place, at = place-12, at-12
		if at >= 0 && at < vsb.SegmentSyncSymbols {
			place, at = place-12, at-12
		}
		if at < 0 {
			at += vsb.SegmentSymbols
			if index--; index == 0 {
				place -= vsb.SegmentSymbols
				index = vsb.FieldSegments - 1
			}
		}
		e.levels[place] = path.Level(0) + vsb.PilotLevel
		path, before = path>>3, before>>3
	}
}

// decideSync takes farSymbols symbols of a field sync.
func (e *engine) decideSync(at, sub int, odd bool) {
	var far [farSymbols]float32
	place := history + at + sub
	convolve(&far, e.levels[place-feedbackTaps:], e.designer.far[:])
	r := e.begin()
	known := e.syncs[0]
	if odd {
		known = e.syncs[1]
	}
	for i := range farSymbols {
		re, im := r.turn(e.equalised[forwardBehind+at+sub+i])
		re -= far[i] + dot(e.levels[place+i-nearTaps:], e.designer.near[:]) + vsb.PilotLevel
		e.points[at+sub+i] = complex(re, im)
		var level float32
		switch k := sub + i; {
		case k < len(known):
			level = known[k]
		case k < precodeStart:
			level = vsb.SyncLevel
			if re < 0 {
				level = -vsb.SyncLevel
			}
		default:
			level = nearest(re)
		}
		e.levels[place+i] = level + vsb.PilotLevel
		r.follow(re-level, im)
	}
	e.end(&r, place)
}

// precodeStart is where a field sync's last symbols begin, which repeat the last of
// the data segment before.
const precodeStart = vsb.SegmentSymbols - 12

// nearest returns the data level that is nearest.
func nearest(v float32) float32 {
	return float32(2*math.Round(min(max(float64(v), -7), 7)/2-0.5) + 1)
}
