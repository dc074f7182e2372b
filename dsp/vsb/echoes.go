package vsb

import (
	"cmp"
	"errors"
	"math"
	"math/cmplx"
	"slices"

	"rooftone/dsp/render"
)

const (
	// FaintestEchoDB is the level, relative to the strongest path, down to
	// which echoes are told.
	FaintestEchoDB = -20

	mostPaths  = 14
	falseEcho  = 0.003   // chance that noise alone makes a path
	fainterDB  = -24     // paths below are not looked for any further
	mergeLevel = 1.5     // dB: what a path's level is worse known than
	mergeDelay = 0.06e-6 // seconds: or its delay, beside another path
)

// Echo is a path that the channel has beside its strongest one.
type Echo struct {
	DelaySeconds float64 // after the strongest path
	DelaySigma   float64
	LevelDB      float64 // relative to the strongest path
	LevelSigmaDB float64

	// Merged says that there is more than one path here, too close together
	// to be told apart.
	Merged bool
}

// Profile is a channel's paths and its response, put together from slices.
type Profile struct {
	Echoes []Echo // down to FaintestEchoDB, by delay; not the strongest path

	// StrongestMerged says that the strongest path is more than one.
	StrongestMerged bool

	// ResolutionSeconds is the delay by which two paths of like strength must
	// differ to be told apart safely: the inverse of the bandwidth.
	ResolutionSeconds float64

	// Response is the slices' response, joined: each bin from the slice whose
	// middle is nearest, turned to one phase and one time.
	Response []ResponseBin
}

// Echoes finds the paths of a channel from fits of one or more of its slices.
// The slices need not be coherent with each other, nor equally strong.
//
// Paths are added one by one, each where it explains the most of what is left,
// and all paths' delays, gains and the slices' phases, gains and times are
// solved for again by least squares, as long as that explains more than noise
// would. Paths closer than the bandwidth resolves stay apart only where both
// come out well determined. The uncertainties are the Cramér–Rao bound of the
// paths that were found.
//
// A radio's pass band that Knowledge did not have looks like faint paths close
// to the strongest one: 0.3 dB at the edges like −35 dB.
func Echoes(trainings ...*Training) (*Profile, error) {
	m, used := newEchoModel(trainings)
	if len(used) == 0 {
		return nil, errors.New("finding echoes: no slice has a fit of the training")
	}
	out := &Profile{ResolutionSeconds: 1 / m.width()}
	m.fitAligned(out.ResolutionSeconds)
	m.merge(out.ResolutionSeconds)
	out.StrongestMerged = m.paths[0].merged
	for p, path := range m.paths[1:] {
		delay, magnitude := m.sigmas(p + 1)
		size := cmplx.Abs(path.gain)
		e := Echo{
			DelaySeconds: path.delay, DelaySigma: delay,
			LevelDB: 20 * math.Log10(size), LevelSigmaDB: 20 / math.Ln10 * magnitude / size,
			Merged: path.merged,
		}
		if e.LevelDB >= FaintestEchoDB {
			out.Echoes = append(out.Echoes, e)
		}
	}
	slices.SortFunc(out.Echoes, func(a, b Echo) int { return cmp.Compare(a.DelaySeconds, b.DelaySeconds) })
	out.Response = m.join(used)
	return out, nil
}

// newEchoModel returns the model of one path, and the trainings that have what
// it needs.
func newEchoModel(trainings []*Training) (m *echoModel, used []*Training) {
	m = &echoModel{paths: []echoPath{{gain: 1}}}
	var middle float64
	for _, t := range trainings {
		if t == nil || t.echoes == nil {
			continue
		}
		m.slices = append(m.slices, &echoSlice{echoData: t.echoes})
		used = append(used, t)
		middle += t.echoes.middleHz
	}
	for _, s := range m.slices {
		s.turnHz = s.middleHz - middle/float64(len(used))
	}
	return m, used
}

// width is that of the band from the lowest slice's lower end to the highest
// one's upper end.
func (m *echoModel) width() float64 {
	low, high := math.Inf(1), math.Inf(-1)
	for _, s := range m.slices {
		low = math.Min(low, s.middleHz-s.spanHz/2)
		high = math.Max(high, s.middleHz+s.spanHz/2)
	}
	return high - low
}

// grow adds paths while they explain more than noise would.
func (m *echoModel) grow(resolution float64) {
	cells := (LatestEchoSeconds - EarliestEchoSeconds) / resolution
	least := math.Log(cells / falseEcho)
	for len(m.paths) < mostPaths {
		kept, before := m.save(), m.power
		delay, gain, any := m.next(resolution)
		if !any {
			return
		}
		m.paths = append(m.paths, echoPath{delay: delay, gain: gain})
		sound := m.solve()
		strongest := m.strongest()
		level := 20 * math.Log10(cmplx.Abs(m.paths[len(m.paths)-1].gain)/cmplx.Abs(m.paths[strongest].gain))
		if !sound || before-m.power < least || level < fainterDB {
			m.restore(kept)
			m.solve()
			return
		}
		if strongest != 0 {
			m.lead(strongest)
			m.solve()
		}
	}
}

func (m *echoModel) strongest() int {
	best := 0
	for p, path := range m.paths {
		if cmplx.Abs(path.gain) > cmplx.Abs(m.paths[best].gain) {
			best = p
		}
	}
	return best
}

// next returns the delay that promises the most, and the gain it would have.
// Far from the paths there are the residual's match with a path tells enough;
// close to them it is weighed against what these would do.
func (m *echoModel) next(resolution float64) (delay float64, gain complex128, any bool) {
	const perResolution = 4
	var scores, delays []float64
	for _, s := range m.slices {
		s.match = s.matches(s.match, s.rest)
	}
	for at := -LatestEchoSeconds; at <= LatestEchoSeconds; at += resolution / perResolution {
		var sum complex128
		var size float64
		if !m.delayHolds(at) {
			continue
		}
		for _, s := range m.slices {
			first, w, _ := s.weights(at + s.late)
			var match complex128
			for j, v := range w {
				match += complex(float64(v), 0) * s.match[first+j]
			}
			g := s.gain * turn(-s.turnHz*at)
			sum += complex(real(g), -imag(g)) * match
			size += (real(g)*real(g) + imag(g)*imag(g)) * s.echoData.power[first+render.TapsBefore]
		}
		scores = append(scores, norm2([]complex128{sum})/size)
		delays = append(delays, at)
	}
	var tries []float64
	for range 4 {
		best := -1
		for i, v := range scores {
			if best < 0 || v > scores[best] {
				best = i
			}
		}
		if best < 0 {
			break
		}
		tries = append(tries, delays[best])
		for i := max(0, best-perResolution/2); i < min(len(scores), best+perResolution/2+1); i++ {
			scores[i] = 0
		}
	}
	for _, p := range m.paths {
		for _, d := range []float64{0.4, 0.7, 1, 1.5, 2.2} {
			tries = append(tries, p.delay-d*resolution, p.delay+d*resolution)
		}
	}
	best := 0.
	for _, at := range tries {
		if !m.delayHolds(at) {
			continue
		}
		if fall, g := m.promise(at); fall > best {
			best, delay, gain, any = fall, at, g, true
		}
	}
	return delay, gain, any
}

// merge joins paths that lie close together and cannot both be well
// determined.
func (m *echoModel) merge(resolution float64) {
	for len(m.paths) > 1 {
		a, b := -1, -1
		nearest := resolution
		for p := range m.paths {
			for q := p + 1; q < len(m.paths); q++ {
				if d := math.Abs(m.paths[p].delay - m.paths[q].delay); d < nearest && m.unclear(p, q) {
					nearest, a, b = d, p, q
				}
			}
		}
		if a < 0 {
			return
		}
		x, y := m.paths[a], m.paths[b]
		wx, wy := cmplx.Abs(x.gain), cmplx.Abs(y.gain)
		wx, wy = wx*wx, wy*wy
		joined := echoPath{
			delay:  (wx*x.delay + wy*y.delay) / (wx + wy),
			gain:   x.gain + y.gain,
			merged: true,
		}
		if cmplx.Abs(joined.gain) < 0.1*math.Sqrt(wx+wy) {
			joined.gain = complex(math.Sqrt(wx+wy), 0)
		}
		m.paths[a] = joined
		m.paths = slices.Delete(m.paths, b, b+1)
		m.lead(m.strongest())
		if !m.solve() {
			return
		}
		m.lead(m.strongest())
		m.solve()
	}
}

// unclear says whether two neighbours' figures are too uncertain to stand side
// by side.
func (m *echoModel) unclear(p, q int) bool {
	for _, k := range []int{p, q} {
		if k == 0 {
			continue
		}
		delay, magnitude := m.sigmas(k)
		if delay > mergeDelay || 20/math.Ln10*magnitude/cmplx.Abs(m.paths[k].gain) > mergeLevel {
			return true
		}
	}
	return false
}

// join puts the slices' responses together.
func (m *echoModel) join(trainings []*Training) []ResponseBin {
	byBin := map[int]ResponseBin{}
	distance := map[int]float64{}
	for i, t := range trainings {
		s := m.slices[i]
		for _, b := range t.Response {
			k := int(math.Round(b.OffsetHz / responseStepHz))
			d := math.Abs(b.OffsetHz - s.middleHz)
			if known, ok := distance[k]; ok && known <= d {
				continue
			}
			distance[k] = d
			b.Gain *= cmplx.Rect(1, -cmplx.Phase(s.gain)) * turn((b.OffsetHz-s.middleHz)*s.late)
			byBin[k] = b
		}
	}
	out := make([]ResponseBin, 0, len(byBin))
	for _, b := range byBin {
		out = append(out, b)
	}
	slices.SortFunc(out, func(a, b ResponseBin) int { return cmp.Compare(a.OffsetHz, b.OffsetHz) })
	return out
}
