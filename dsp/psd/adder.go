package psd

// newPowerAdder chooses how to add up power spectra under a window v.
func newPowerAdder(v []float64, hop int, kernels bool) (powerAdder, error) {
	window := make([]float32, len(v))
	for i, x := range v {
		window[i] = float32(x)
	}
	// Eight long transforms side by side do not fit a cache that one does.
	const longest = 1 << 14
	if kernels && len(v) <= longest {
		return newLaneAdder(window, hop), nil
	}
	fft, err := newFFT(len(v), kernels)
	if err != nil {
		return nil, err
	}
	return &plainAdder{
		window: window, hop: hop, fft: fft,
		segment: make([]complex64, len(v)),
		sums:    make([]float64, len(v)),
	}, nil
}

// plainAdder transforms one segment after the other.
type plainAdder struct {
	window  []float32
	hop     int
	fft     *FFT
	segment []complex64
	sums    []float64
}

func (a *plainAdder) add(src []complex64) { a.addTo(a.sums, src, lanes) }

func (a *plainAdder) addSome(src []complex64, k int) { a.addTo(a.sums, src, k) }

func (a *plainAdder) total(dst []float64, src []complex64, k int) {
	copy(dst, a.sums)
	a.addTo(dst, src, k)
}

func (a *plainAdder) reset() { clear(a.sums) }

func (a *plainAdder) addTo(sums []float64, src []complex64, k int) {
	for s := range k {
		x := src[s*a.hop:][:len(a.segment)]
		for i, v := range x {
			g := a.window[i]
			a.segment[i] = complex(real(v)*g, imag(v)*g)
		}
		a.fft.transform(a.segment, a.segment, false)
		for i, v := range a.segment {
			sums[i] += float64(real(v)*real(v) + imag(v)*imag(v))
		}
	}
}

// drainEvery is how many times eight segments are added up in single
// precision before they go into double: few enough that rounding stays far
// below a part in a million.
const drainEvery = 64

// laneAdder transforms eight segments side by side.
type laneAdder struct {
	window    []float32
	hop       int
	transform *vertical
	order     []int32   // the frequency of each row
	recent    []float32 // sums of the last few times eight segments, one in each lane
	times     int       // how many times eight
	spare     []float32 // like recent, for less than eight segments
	sums      []float64
}

func newLaneAdder(window []float32, hop int) *laneAdder {
	n := len(window)
	return &laneAdder{
		window: window, hop: hop,
		transform: newVertical(n),
		order:     digitReversal(n),
		recent:    alignedFloats(n * lanes),
		spare:     alignedFloats(n * lanes),
		sums:      make([]float64, n),
	}
}

func (a *laneAdder) add(src []complex64) {
	a.transform.power(a.recent, src, a.hop, a.window)
	if a.times++; a.times == drainEvery {
		a.drain(a.sums, a.recent, lanes)
		clear(a.recent)
		a.times = 0
	}
}

// drain adds the first k lanes of s to sums.
func (a *laneAdder) drain(sums []float64, s []float32, k int) {
	for i, frequency := range a.order {
		sum := 0.0
		for _, v := range s[i*lanes:][:k] {
			sum += float64(v)
		}
		sums[frequency] += sum
	}
}

func (a *laneAdder) addSome(src []complex64, k int) { a.addTo(a.sums, src, k) }

func (a *laneAdder) addTo(sums []float64, src []complex64, k int) {
	if k == 0 {
		return
	}
	// The other lanes hold nonsense, which stays in them.
	clear(a.spare)
	a.transform.power(a.spare, src, a.hop, a.window)
	a.drain(sums, a.spare, k)
}

func (a *laneAdder) total(dst []float64, src []complex64, k int) {
	copy(dst, a.sums)
	a.drain(dst, a.recent, lanes)
	a.addTo(dst, src, k)
}

func (a *laneAdder) reset() {
	clear(a.recent)
	clear(a.sums)
	a.times = 0
}
