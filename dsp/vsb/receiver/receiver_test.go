package receiver

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/require"

	"rooftone/dsp/air"
	"rooftone/dsp/vsb"
	"rooftone/dsp/vsb/coding"
)

// sending is a station and the way to the receiver.
type sending struct {
	rate, lower float64
	cn          float64 // dB
	paths       []air.Path
	ppm         float64
	carrierHz   float64
	fields      float64
	seed        uint64
	neighbourDB float64 // of other stations in the channels below and above, 0 for none
}

func packets(dst []byte, field int64) {
	rng := rand.New(rand.NewPCG(uint64(field), 99))
	for at := 0; at < len(dst); at += coding.PacketBytes {
		dst[at] = coding.SyncByte
		for i := at + 1; i < at+coding.PacketBytes; i++ {
			dst[i] = byte(rng.Uint32())
		}
		dst[at+1] &^= 0x80
	}
}

func (s sending) samples(t testing.TB) []complex64 {
	n := int(s.fields * vsb.FieldSymbols / vsb.SymbolRateHz * s.rate)
	r, err := vsb.NewRenderer(s.rate, -s.lower)
	require.NoError(t, err)
	x := make([]complex64, n)
	b := coding.NewBroadcast(packets)
	start := 0.003 + 1e-3*float64(s.seed)
	step := 1 / s.rate / (1 + s.ppm*1e-6)
	paths := s.paths
	if paths == nil {
		paths = []air.Path{{}}
	}
	part := make([]complex64, 1<<16)
	for at := 0; at < n; at += len(part) {
		p := part[:min(len(part), n-at)]
		for _, path := range paths {
			if path.DopplerHz == 0 {
				g := complex(air.Amplitude(path.LevelDB), 0)
				sin, cos := math.Sincos(path.PhaseDeg * math.Pi / 180)
				require.NoError(t, r.Add(x[at:at+len(p)], b, start+float64(at)*step-path.DelaySeconds, step, g*complex(cos, sin)))
				continue
			}
			clear(p)
			require.NoError(t, r.Add(p, b, start+float64(at)*step-path.DelaySeconds, step, complex(air.Amplitude(path.LevelDB), 0)))
			air.Shift(p, path.DopplerHz, float64(at)*step+path.PhaseDeg/360/path.DopplerHz, step)
			for i, v := range p {
				x[at+i] += v
			}
		}
	}
	if s.carrierHz != 0 {
		air.Shift(x, s.carrierHz, 0, step)
	}
	c := air.MeanPower(x)
	if s.neighbourDB != 0 {
		for i, offset := range []float64{-6e6, 6e6} {
			n, err := vsb.NewRenderer(s.rate, -s.lower-offset)
			require.NoError(t, err)
			require.NoError(t, n.Add(x, vsb.NewWaveform(77+uint64(i)), start, step, complex(air.Amplitude(s.neighbourDB), 0)))
		}
	}
	air.NewNoise(s.seed).Add(x, c/math.Pow(10, s.cn/10)*s.rate/vsb.ChannelWidthHz)
	return x
}

func TestPlain(t *testing.T) {
	// Truth: the encoder's packets.
	s := sending{rate: 10e6, lower: -3.2e6, cn: 20, fields: 4, seed: 3}
	x := s.samples(t)
	want := map[[188]byte]bool{}
	for f := range int64(8) {
		b := make([]byte, 312*188)
		packets(b, f)
		for at := 0; at < len(b); at += 188 {
			want[[188]byte(b[at:])] = true
		}
	}
	good, bad := 0, 0
	r, err := New(Options{RateHz: s.rate, LowerHz: s.lower, Packet: func(p *Packet) {
		if want[p.Bytes] {
			good++
		} else {
			bad++
		}
	}})
	require.NoError(t, err)
	require.NoError(t, r.Write(x))
	require.NoError(t, r.Flush())
	t.Logf("%+v", r.Status())
	t.Log(good, bad)
}
