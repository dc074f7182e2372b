package ofdm

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/require"

	"rooftone/dsp/air"
)

// offsets are the centres of the slices in which a dongle sees a channel.
var offsets = []float64{1e6, 3e6, 5e6}

// requireTrue checks that what was found of w in a stay is so: late is how long
// after the strongest path the bootstrap may be placed.
func (s stay) requireTrue(t testing.TB, w *Waveform, b Bootstrap, late float64) {
	start := s.start + b.StartSeconds/(1+s.ppm*1e-6)
	start -= w.FrameSeconds() * math.Round(start/w.FrameSeconds())
	require.Greater(t, start, -0.3e-6)
	require.Less(t, start, late+0.3e-6)
	low, high := newTestSearcher(t, s.rate, s.offset, 100_000).Seen()
	want := -s.ppm * 1e-6 / (1 + s.ppm*1e-6) * (s.hz + (low+high)/2)
	require.InDelta(t, want, b.CarrierErrorHz, 5*b.CarrierSigmaHz)
}

func TestDetection(t *testing.T) {
	if testing.Short() {
		t.Skip("an ensemble: it has its time in the long run")
	}
	// Truth: the signal's own generator, whose first symbol the stored vector
	// confirms. 8 bits, 300 ms, frames of 250 ms, any clock to 60 ppm.
	noise := air.NewNoise(1)
	for _, c := range []struct {
		name   string
		echoes []air.Path
		late   float64
		known  bool
	}{
		{"known clock", nil, 0, true},
		{"unknown clock", nil, 0, false},
		{"two echoes", []air.Path{{DelaySeconds: 1.4e-6, LevelDB: -1, PhaseDeg: 130}, {DelaySeconds: 9.3e-6, LevelDB: -5, PhaseDeg: 20}}, 10e-6, true},
		{"equal echo", []air.Path{{DelaySeconds: 0.3e-6, PhaseDeg: 180}}, 1e-6, true},
	} {
		for _, level := range []struct {
			cn    float64
			least float64 // share that must be found
		}{{0, 1}, {-5, 1}, {-8, 0}, {-10, 0}, {-12, 0}, {-14, 0}} {
			if level.least == 0 && *trials < 100 {
				continue
			}
			random := rand.New(rand.NewPCG(2, uint64(100+level.cn)))
			found := 0
			n := *trials
			if !c.known {
				n = (n + 2) / 3
			}
			for i := range n {
				s := stay{rate: 2.4e6, offset: offsets[i%3], seconds: 0.3, hz: 600e6, cn: level.cn, bits: 8, echoes: c.echoes}
				s.ppm, s.start = 120*random.Float64()-60, 100*random.Float64()
				w := newWaveform(t, random.Uint64(), 186)
				x := s.of(t, s.station(t, w), noise)
				expected, uncertainty := s.carrierError()+300*(random.Float64()-0.5), 200.
				if !c.known {
					expected, uncertainty = 0, 36.2e3
				}
				b, err := newTestSearcher(t, s.rate, s.offset, len(x)).Search(x, expected, uncertainty)
				require.NoError(t, err)
				if b.Found {
					found++
					s.requireTrue(t, w, b, c.late)
				}
			}
			t.Logf("%s, C/N %v dB: %d of %d found", c.name, level.cn, found, n)
			require.GreaterOrEqual(t, float64(found), level.least*float64(n))
		}
	}
}

func TestRatesAndPlaces(t *testing.T) {
	if testing.Short() {
		t.Skip("an ensemble: it has its time in the long run")
	}
	// Truth: the signal's own generator. Share is S/(S+N): the bootstrap's
	// density is 6/4.497 times that of a transmission as wide as the channel.
	noise := air.NewNoise(2)
	w := newWaveform(t, 11, 186)
	for _, c := range []struct{ rate, offset, ppm float64 }{
		{1e6, 3e6, 60}, {1e6, 1.1e6, -10}, {1.8e6, 4e6, 0}, {2.048e6, 2e6, 30}, {2.4e6, 0.3e6, -60}, {2.4e6, 5.6e6, 60}, {3.2e6, 3.3e6, 5},
		{6.144e6, 3e6, -20}, {8e6, 3e6, 40}, {10e6, 6e6, -40}, {20e6, 3e6, 60}, {20e6, -4e6, 0},
	} {
		for _, cn := range []float64{math.Inf(1), 20, 0} {
			s := stay{rate: c.rate, offset: c.offset, ppm: c.ppm, hz: 695e6, seconds: 0.02, cn: cn, start: 1.99}
			x := s.of(t, s.station(t, w), noise)
			b, err := newTestSearcher(t, c.rate, c.offset, len(x)).Search(x, s.carrierError()+150, 200)
			require.NoError(t, err)
			require.True(t, b.Found, "%+v, C/N %v dB: %+v", c, cn, b)
			s.requireTrue(t, w, b, 0)
			snr := 6e6 / bootWidth * air.Power(cn)
			want := 1.
			if !math.IsInf(cn, 1) {
				want = snr / (snr + 1)
			}
			require.InDelta(t, want, b.Share, 0.13, "%+v, C/N %v dB", c, cn)
		}
	}
}

func TestFrames(t *testing.T) {
	if testing.Short() {
		t.Skip("an ensemble: it has its time in the long run")
	}
	// Truth: the frames' length. The clock counts 30 ppm more samples.
	noise := air.NewNoise(5)
	for _, c := range []struct {
		symbols int
		seconds float64
		want    float64
	}{{36, 0.3, 0.05}, {74, 0.3, 0.002 + 74*BodySymbolSeconds}, {111, 0.3, 0.15}, {186, 0.3, 0}, {186, 0.6, 0.25}} {
		s := stay{rate: 2.4e6, offset: 3e6, ppm: 30, hz: 500e6, seconds: c.seconds, cn: 3, bits: 8, start: -0.07}
		w := newWaveform(t, 6, c.symbols)
		x := s.of(t, s.station(t, w), noise)
		b, err := newTestSearcher(t, s.rate, s.offset, len(x)).Search(x, s.carrierError(), 200)
		require.NoError(t, err)
		require.True(t, b.Found)
		s.requireTrue(t, w, b, 0)
		require.InDelta(t, c.want*(1+30e-6), b.FrameSeconds, 1e-6)
	}

	// A stay within a long frame shows nothing, one at its beginning does.
	long := newWaveform(t, 6, mostSymbols)
	for _, c := range []struct {
		start float64
		found bool
	}{{0.01, false}, {4.6, false}, {4.8, true}, {-0.298, true}, {-0.3, false}} {
		s := stay{rate: 2.4e6, offset: 1e6, hz: 500e6, seconds: 0.3, cn: 20, bits: 8, start: c.start}
		x := s.of(t, s.station(t, long), noise)
		b, err := newTestSearcher(t, s.rate, s.offset, len(x)).Search(x, 0, 200)
		require.NoError(t, err)
		require.Equal(t, c.found, b.Found, "from %v s", c.start)
	}
}

func TestStaysInAnyLength(t *testing.T) {
	// Truth: the definition. However long the stay and wherever in a block it
	// lies, the bootstrap is found when all of it is there with its margin.
	const rate = 2.4e6
	s := newTestSearcher(t, rate, 3e6, 20000)
	w := newWaveform(t, 2, 186)
	r := newRenderer(t, rate, 3e6)
	for _, length := range []int{s.least(), s.least() + 1, 2000, 4095, 4096, 4097, 6939, 6940, 6941, 12000, 20000} {
		for _, before := range []int{s.margin, s.margin + 1, (length - s.known) / 2, length - s.known - s.margin - 1, length - s.known - s.margin} {
			x := make([]complex64, length)
			require.NoError(t, r.Render(x, w, -float64(before)/rate, 1/rate))
			air.NewNoise(uint64(length+before)).Add(x, 0.4)
			b, err := s.Search(x, 0, 200)
			require.NoError(t, err)
			if before < s.margin || before > length-s.known-s.margin {
				continue // there are none such in the shortest stays
			}
			require.True(t, b.Found, "%d of %d: %+v", before, length, b)
			require.InDelta(t, float64(before), b.StartSeconds*rate, 0.5)
		}
	}
}

func TestSearcherRefuses(t *testing.T) {
	// Truth: what the documentation says.
	for _, c := range []struct {
		rate, offset float64
		samples      int
		says         string
	}{
		{0.9e6, 3e6, 720000, "sample rate"}, {21e6, 3e6, 720000, "sample rate"}, {math.NaN(), 3e6, 720000, "sample rate"},
		{2.4e6, -1e6, 720000, "too little"}, {2.4e6, 7e6, 720000, "too little"}, {2.4e6, math.NaN(), 720000, "too little"},
		{2.4e6, math.Inf(1), 720000, "too little"}, {2.4e6, 3e6, 1000, "stays of"}, {2.4e6, 3e6, -1, "stays of"}, {2.4e6, 3e6, math.MaxInt, "stays of"},
	} {
		_, err := NewSearcher(c.rate, c.offset, c.samples)
		require.ErrorContains(t, err, c.says)
	}
	s := newTestSearcher(t, 2.4e6, 3e6, 10000)
	x := make([]complex64, 10001)
	air.NewNoise(1).Fill(x, 1)
	for _, c := range []struct {
		samples    int
		hz, within float64
		says       string
	}{
		{0, 0, 0, "samples"}, {1200, 0, 0, "samples"}, {10001, 0, 0, "samples"},
		{9000, 160e3, 0, "off"}, {9000, 100e3, 60e3, "off"}, {9000, 0, -1, "off"}, {9000, math.NaN(), 0, "off"}, {9000, 0, math.NaN(), "off"},
	} {
		b, err := s.Search(x[:c.samples], c.hz, c.within)
		require.ErrorContains(t, err, c.says)
		require.Zero(t, b)
	}
	for _, v := range []float32{float32(math.NaN()), float32(math.Inf(1))} {
		x[5000] = complex(v, 0)
		b, err := s.Search(x[:9000], 0, 0)
		require.ErrorContains(t, err, "no numbers")
		require.False(t, b.Found)
	}
	// Silence is no error, and what was wrong before does not matter.
	b, err := s.Search(make([]complex64, 9000), 0, 0)
	require.NoError(t, err)
	require.Equal(t, Bootstrap{FalseAlarm: 1}, b)
	x[5000] = 0
	for _, c := range [][2]float64{{0, 150e3}, {150e3, 0}, {-150e3, 0}, {-100e3, 50e3}} {
		b, err = s.Search(x[:9000], c[0], c[1])
		require.NoError(t, err)
		require.Greater(t, b.FalseAlarm, 1e-3)
	}
}

func TestSearchAllocatesNothing(t *testing.T) {
	// Truth: the definition.
	x := make([]complex64, 30000)
	require.NoError(t, newRenderer(t, 2.4e6, 3e6).Render(x, newWaveform(t, 1, 36), -0.005, 1/2.4e6))
	s := newTestSearcher(t, 2.4e6, 3e6, len(x))
	require.Zero(t, testing.AllocsPerRun(5, func() {
		if b, err := s.Search(x, 0, 3000); err != nil || !b.Found {
			t.Fatal(b, err)
		}
	}))
}
