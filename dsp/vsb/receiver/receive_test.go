package receiver

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/require"

	"rooftone/dsp/air"
	"rooftone/dsp/vsb"
)

// codeThreshold is the MER in dB at which 1.93·10⁻⁴ of the packets fail when there is
// nothing but white noise beside the symbols: see the coding package's tests.
const codeThreshold = 14.55

func TestThreshold(t *testing.T) {
	// Truth: the packets sent; the threshold of visibility of A/54A is 1.93·10⁻⁴
	// failed ones. With -draws it is measured, 0.1 dB by 0.1 dB; without, it is
	// looked at where a field has next to none.
	fields, levels := 3.2, []float64{15.1}
	if *draws > 0 {
		fields, levels = float64(*draws), []float64{14.3, 14.4, 14.5, 14.6, 14.7, 14.8, 15}
	}
	for _, cn := range levels {
		s := plain(cn, fields)
		got := s.receive(t, s.samples(t))
		t.Logf("C/N %.1f dB: %d of %d packets failed (%.1e), %d bytes corrected, MER %.2f dB", cn, got.Failed, got.Packets, got.errorRate(), got.Corrected, got.MERAfterDB)
		require.Zero(t, got.wrong)
		if *draws == 0 {
			require.Zero(t, got.Failed)
			require.Greater(t, got.Packets, int64(500))
			require.InDelta(t, cn+10*math.Log10(vsb.MERPerCN), got.MERAfterDB, 0.4)
			require.InDelta(t, cn+10*math.Log10(vsb.MERPerCN), got.IdealDB, 0.4)
			require.InDelta(t, 20, got.ClockPPM, 0.05)
		}
	}
}

func TestColdStart(t *testing.T) {
	// Truth: the packets sent. The first good one has to come within three fields
	// and the interleaver's 52 segments, wherever in a field the samples begin.
	starts := uint64(4)
	if testing.Short() {
		starts = 1
	}
	for seed := range starts {
		s := plain(20, 3+52./vsb.FieldSegments)
		s.seed = 4 * seed
		got := s.receive(t, s.samples(t))
		fields := float64(got.samples) / s.rate * vsb.SymbolRateHz / vsb.FieldSymbols
		t.Logf("first good packet after %.2f fields", fields)
		require.NotZero(t, got.samples)
		require.Zero(t, got.wrong)
		require.Zero(t, got.Failed)
	}
}

// echoCases are channels, by how many dB of C/N more than with the ideal equaliser not
// a packet of a few fields may fail, and by how many none did when README was written.
var echoCases = []struct {
	name  string
	over  float64
	needs float64
	paths []air.Path
	often bool // in the default tests
}{
	{"flat", 0.6, 0, []air.Path{path(0, 0, 0)}, false},
	{"−6 dB, 1 µs", 0.75, 0, []air.Path{path(0, 0, 0), path(1, -6, 100)}, false},
	{"−6 dB, −4 µs", 0.75, 0, []air.Path{path(0, 0, 0), path(-4, -6, 100)}, true},
	{"−3 dB, 15 µs", 0.75, 0, []air.Path{path(0, 0, 0), path(15, -3, 10)}, false},
	{"−1 dB, −5 µs", 1.25, 0.5, []air.Path{path(0, 0, 0), path(-5, -1, 40)}, false},
	{"−1 dB, −2 µs", 2.25, 1.5, []air.Path{path(0, 0, 0), path(-2, -1, 140)}, false},
	{"−1 dB, −0.5 µs", 3.25, 2.5, []air.Path{path(0, 0, 0), path(-0.5, -1, 40)}, false},
	{"−1 dB, 0.2 µs", 1.75, 1, []air.Path{path(0, 0, 0), path(0.2, -1, 80)}, false},
	{"−1 dB, 0.5 µs", 2.25, 1.5, []air.Path{path(0, 0, 0), path(0.5, -1, 80)}, false},
	{"−1 dB, 1 µs", 2, 1.25, []air.Path{path(0, 0, 0), path(1, -1, 200)}, true},
	{"−1 dB, 3 µs", 1.75, 1, []air.Path{path(0, 0, 0), path(3, -1, 300)}, false},
	{"−1 dB, 10 µs", 1.5, 0.75, []air.Path{path(0, 0, 0), path(10, -1, 300)}, false},
	{"−1 dB, 20 µs", 2.25, 1.5, []air.Path{path(0, 0, 0), path(20, -1, 100)}, true},
	{"A", 0.75, 0, []air.Path{path(0, 0, 0), path(.15, -13.8, 50), path(2.22, -16.2, 100), path(3.05, -14.9, 250), path(5.86, -13.6, 300), path(5.93, -16.4, 10)}, false},
	{"B", 0.75, 0, []air.Path{path(0, 0, 0), path(.3, -12, 50), path(3.5, -4, 100), path(4.4, -7, 250), path(9.5, -15, 300), path(12.7, -22, 10)}, true},
	{"C", 0.75, 0, []air.Path{path(0, -2.8, 0), path(.089, 0, 50), path(.419, -3.8, 100), path(1.506, -.1, 250), path(2.322, -2.6, 300), path(2.799, -1.3, 10)}, true},
	{"D", 0.75, 0, []air.Path{path(0, -.1, 0), path(.63, -3.9, 50), path(2.22, -2.6, 100), path(3.05, -1.3, 250), path(5.86, 0, 300), path(5.93, -2.8, 10)}, true},
	{"E, phases 0 20 300", 0.75, 0, []air.Path{path(0, 0, 0), path(1, 0, 20), path(2, 0, 300)}, true},
	{"E, phases 0 90 100", 1, 0.25, []air.Path{path(0, 0, 0), path(1, 0, 90), path(2, 0, 100)}, false},
	{"E, phases 0 120 240", 3.5, 2.75, []air.Path{path(0, 0, 0), path(1, 0, 120), path(2, 0, 240)}, false},
}

func TestEchoes(t *testing.T) {
	// Truth: the packets sent, and the ideal equaliser's signal-to-noise ratio in
	// closed form. With -draws the C/N is raised in steps of 0.25 dB until no
	// packet fails.
	for _, c := range echoCases {
		if *draws == 0 && (!c.often || testing.Short() && c.name != "B") {
			continue
		}
		base := cnFor(t, c.paths, codeThreshold)
		over, fields := c.over, 3.2
		if *draws > 0 {
			over, fields = 0, float64(*draws)
		}
		for ; ; over += 0.25 {
			s := plain(base+over, fields)
			s.paths = c.paths
			got := s.receive(t, s.samples(t))
			t.Logf("%-20s ideal threshold %.2f dB of C/N, %.2f dB above: %d of %d packets failed, MER %.2f dB before, %.2f dB after", c.name, base, over, got.Failed, got.Packets, got.MERBeforeDB, got.MERAfterDB)
			require.Zero(t, got.wrong)
			if got.Packets > 500 && got.Failed == 0 {
				break
			}
			require.NotZero(t, *draws, c.name)
			require.Less(t, over, 8., c.name)
		}
	}
}

// fault changes samples in place as a radio or the air would.
type fault func(t testing.TB, x []complex64, rate float64)

// phaseNoise is a phase that walks at random, with the density 𝓛 in dBc/Hz at a
// distance from the carrier: 𝓛(f) = width/(π·f²), width being the line's.
func phaseNoise(dbc, atHz float64) fault {
	return func(t testing.TB, x []complex64, rate float64) {
		width := math.Pi * atHz * atHz * math.Pow(10, dbc/10)
		sigma := math.Sqrt(2 * math.Pi * width / rate)
		rng := rand.New(rand.NewPCG(7, 8))
		phase := 0.
		for i, v := range x {
			sin, cos := math.Sincos(phase)
			x[i] = v * complex(float32(cos), float32(sin))
			phase += sigma * rng.NormFloat64()
		}
	}
}

// eightBits rounds to unsigned bytes at a quarter of full scale.
func eightBits(t testing.TB, x []complex64, rate float64) {
	scale := float32(0.25 / math.Sqrt(air.MeanPower(x)))
	for i := range x {
		x[i] *= complex(scale, 0)
	}
	q, err := air.NewQuantiser(8)
	require.NoError(t, err)
	q.Apply(x)
}

func TestFaults(t *testing.T) {
	// Truth: the packets sent. Without faults a field has no failed packet at a
	// C/N of 15.1 dB; each fault may cost up to half a decibel. A/74 asks for the
	// phase noise, the clock and the neighbour.
	if testing.Short() {
		t.Skip("seven receptions")
	}
	at15 := plain(15.6, 3.2)
	moving := []air.Path{{}, {DelaySeconds: 2e-6, LevelDB: -6, PhaseDeg: 30, DopplerHz: 5}}
	for _, c := range []struct {
		name  string
		s     func(s *sending)
		fault fault
	}{
		{"clock +60 ppm", func(s *sending) { s.ppm, s.carrierHz = 60, 30e3 }, nil},
		{"clock −60 ppm", func(s *sending) { s.ppm, s.carrierHz = -60, -30e3 }, nil},
		{"phase noise −80 dBc/Hz at 20 kHz", func(s *sending) {}, phaseNoise(-80, 20e3)},
		{"8 bits", func(s *sending) {}, eightBits},
		{"neighbours 26 dB stronger, 20 MS/s", func(s *sending) { s.rate, s.neighbourDB = 20e6, 26 }, nil},
		{"6 MS/s", func(s *sending) { s.rate, s.lower = 6e6, -3e6 }, nil},
		{"echo of −6 dB at 5 Hz", func(s *sending) { s.cn, s.paths = 17.5, moving }, nil},
	} {
		levels := []float64{0}
		if *draws > 0 {
			levels = []float64{-1, -0.75, -0.5, -0.25, 0}
		}
		for _, level := range levels {
			s := at15
			if *draws > 0 {
				s.fields = float64(*draws)
			}
			c.s(&s)
			s.cn += level
			x := s.samples(t)
			if c.fault != nil {
				c.fault(t, x, s.rate)
			}
			got := s.receive(t, x)
			t.Logf("%-36s C/N %.2f dB: %d of %d packets failed, %d bytes corrected, MER %.2f dB", c.name, s.cn, got.Failed, got.Packets, got.Corrected, got.MERAfterDB)
			require.Zero(t, got.wrong)
			if *draws == 0 {
				require.Zero(t, got.Failed, c.name)
				require.Greater(t, got.Packets, int64(500), c.name)
			}
		}
	}
}
