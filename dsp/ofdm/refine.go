package ofdm

import "math"

// slackHz is what remains uncertain of the carriers' place without noise: the
// whitening follows the body's chance.
const slackHz = 15

// describe fills in what the best place shows.
func (s *Searcher) describe(out *Bootstrap, best peak, samples int, trials float64) error {
	out.FrameSeconds = 0
	if best.shift != s.shift {
		if _, err := s.try(best.shift, samples); err != nil {
			return err
		}
	}
	out.FrameSeconds = s.spacing(trials)
	bin := s.rateHz / float64(s.place.length)
	rate := s.rateHz / float64(s.place.ratio())
	off, err := s.refineFrequency(best, rate)
	if err != nil {
		return err
	}
	delay, height, err := s.refineDelay(best, off/rate)
	if err != nil {
		return err
	}
	out.CarrierErrorHz = float64(best.shift)*bin + off
	out.StartSeconds = float64(s.starts[best.block])/s.rateHz + delay/rate
	m := s.freedom()
	out.Share = math.Min(1, height/m)
	// The Cramér–Rao bound of a tone's frequency, of duration T and a ratio of
	// its energy to the noise's density E, has a variance of 6/(E·(2πT)²).
	noise := math.Max(1-out.Share, 1/m)
	out.CarrierSigmaHz = math.Hypot(slackHz, math.Sqrt(6*noise/(out.Share*m))/(2*math.Pi*knownSeconds))
	return nil
}

// spacing returns the shortest time between two places that count as found in
// the last try, 0 when there is one.
func (s *Searcher) spacing(trials float64) float64 {
	// Nearer places are the same bootstrap: seen by two blocks, or C taken for
	// the end of A. The highest of them is where it is.
	const same = BootstrapSeconds
	shortest, before := math.Inf(1), math.Inf(-1)
	var last peak
	var at float64
	for block, start := range s.starts {
		p := s.found[block]
		if s.falseAlarm(p.height, trials) >= FoundBelow {
			continue
		}
		now := float64(start+s.margin+p.delay*s.place.ratio()) / s.rateHz
		if last.height > 0 && now-at <= same {
			if p.height > last.height {
				last, at = p, now
			}
			continue
		}
		if last.height > 0 {
			shortest, before = math.Min(shortest, at-before), at
		}
		last, at = p, now
	}
	if shortest = math.Min(shortest, at-before); math.IsInf(shortest, 1) {
		return 0
	}
	return shortest
}

// refineFrequency returns how far above the shift the carriers are, in Hz, from
// the short samples under the reference times its conjugate: a tone.
func (s *Searcher) refineFrequency(p peak, rate float64) (float64, error) {
	width := (s.known-1)/s.place.ratio() + 1
	product := s.block[:width]
	if err := s.reference(s.turned); err != nil {
		return 0, err
	}
	copy(product, s.turned)
	if err := s.samples(s.turned, p.block, p.shift); err != nil {
		return 0, err
	}
	for i, v := range s.turned[s.margin/s.place.ratio()+p.delay:][:width] {
		r := product[i]
		product[i] = v * complex(real(r), -imag(r))
	}
	power := func(hz float64) float64 {
		spin, phase := turn(-hz/rate), complex128(1)
		var sum complex128
		for _, v := range product {
			sum += complex128(v) * phase
			phase *= spin
		}
		return real(sum)*real(sum) + imag(sum)*imag(sum)
	}
	return highest(power, 0, widestStep, 16), nil
}

// reference sets dst to the weighted reference in short samples.
func (s *Searcher) reference(dst []complex64) error {
	for i, v := range s.matched {
		dst[i] = complex(real(v), -imag(v))
	}
	clear(dst[len(s.matched):])
	return s.inverse.Inverse(dst, dst)
}

// refineDelay returns the delay from a block's beginning, in short samples, and
// the height there, when the carriers are off by so many cycles a short sample.
func (s *Searcher) refineDelay(p peak, cycles float64) (delay, height float64, err error) {
	moved := s.block[:s.place.short]
	if err := s.reference(moved); err != nil {
		return 0, 0, err
	}
	for i := range moved {
		moved[i] *= complex64(turn(cycles * float64(i)))
	}
	if err := s.inverse.Transform(moved, moved); err != nil {
		return 0, 0, err
	}
	spectrum := s.spectrum(p.block)[s.place.reach+p.shift:][:s.place.bins]
	scale := 0.0
	for i, v := range spectrum {
		r := moved[i]
		scale += float64(real(r)*real(r) + imag(r)*imag(r))
		moved[i] = v * complex(real(r), -imag(r))
	}
	scale = float64(s.place.bins) / (scale * float64(s.loudness(p.block)[p.delay]))
	power := func(delay float64) float64 {
		spin, phase := turn(delay/float64(s.place.short)), complex128(1)
		var sum complex128
		for _, v := range moved[:len(spectrum)] {
			sum += complex128(v) * phase
			phase *= spin
		}
		return real(sum)*real(sum) + imag(sum)*imag(sum)
	}
	delay = highest(power, float64(s.margin/s.place.ratio()+p.delay), 1, 8)
	return delay, power(delay) * scale, nil
}

// highest returns where f, which has one maximum within reach of x, has it: the
// best of a grid and then the vertex of the parabola through it and its
// neighbours.
func highest(f func(float64) float64, x, reach float64, points int) float64 {
	step := reach / float64(points)
	best, top := x, f(x)
	for i := -points; i <= points; i++ {
		if y := f(x + float64(i)*step); y > top {
			best, top = x+float64(i)*step, y
		}
	}
	before, after := f(best-step), f(best+step)
	if bend := before - 2*top + after; bend < 0 {
		best += step * math.Max(-0.5, math.Min(0.5, (before-after)/(2*bend)))
	}
	return best
}
