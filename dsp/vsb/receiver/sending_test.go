package receiver

import (
	"flag"
	"math"
	"math/cmplx"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/require"

	"rooftone/dsp/air"
	"rooftone/dsp/vsb"
	"rooftone/dsp/vsb/coding"
)

var draws = flag.Int("draws", 0, "fields to receive for each point of a measurement; 0 for a few")

// sending is a station and the way to the receiver.
type sending struct {
	rate, lower float64
	cn          float64 // dB, in 6 MHz, all paths' power being C
	paths       []air.Path
	ppm         float64
	carrierHz   float64
	fields      float64
	seed        uint64
	neighbourDB float64 // of other stations in the channels below and above, 0 for none
}

// beginSeconds is when samples begin, after an odd field does.
func (s sending) beginSeconds() float64 { return 0.003 + 1.7e-3*float64(s.seed) }

// plain is a station at 10 MS/s.
func plain(cn, fields float64) sending {
	return sending{rate: 10e6, lower: -3.2e6, cn: cn, fields: fields, ppm: 20, carrierHz: 3000}
}

// packets writes a field's packets.
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

// sent are the packets of the first fields.
func sent(fields int64) map[[coding.PacketBytes]byte]bool {
	all := map[[coding.PacketBytes]byte]bool{}
	field := make([]byte, coding.FieldPackets*coding.PacketBytes)
	for f := range fields {
		packets(field, f)
		for at := 0; at < len(field); at += coding.PacketBytes {
			all[[coding.PacketBytes]byte(field[at:])] = true
		}
	}
	return all
}

func (s sending) samples(t testing.TB) []complex64 {
	n := int(s.fields * vsb.FieldSymbols / vsb.SymbolRateHz * s.rate)
	r, err := vsb.NewRenderer(s.rate, -s.lower)
	require.NoError(t, err)
	x := make([]complex64, n)
	station := coding.NewBroadcast(packets)
	start, step := s.beginSeconds(), 1/s.rate/(1+s.ppm*1e-6)
	paths := s.paths
	if paths == nil {
		paths = []air.Path{{}}
	}
	moving := make([]complex64, 1<<16)
	for at := 0; at < n; at += len(moving) {
		part := x[at:min(at+len(moving), n)]
		for _, p := range paths {
			begin := start + float64(at)*step - p.DelaySeconds
			gain := cmplx.Rect(air.Amplitude(p.LevelDB), p.PhaseDeg*math.Pi/180)
			if p.DopplerHz == 0 {
				require.NoError(t, r.Add(part, station, begin, step, gain))
				continue
			}
			m := moving[:len(part)]
			clear(m)
			require.NoError(t, r.Add(m, station, begin, step, gain))
			air.Shift(m, p.DopplerHz, float64(at)*step, step)
			air.AddScaled(part, m, 1)
		}
	}
	if s.carrierHz != 0 {
		air.Shift(x, s.carrierHz, 0, step)
	}
	power := air.MeanPower(x)
	if s.neighbourDB != 0 {
		for i, offset := range []float64{-6e6, 6e6} {
			r, err := vsb.NewRenderer(s.rate, -s.lower-offset)
			require.NoError(t, err)
			w := vsb.NewWaveform(77 + uint64(i))
			require.NoError(t, r.Add(x, w, start, step, complex(air.Amplitude(s.neighbourDB), 0)))
		}
	}
	air.NewNoise(s.seed).Add(x, power/math.Pow(10, s.cn/10)*s.rate/vsb.ChannelWidthHz)
	return x
}

// outcome is what came of a reception.
type outcome struct {
	Status      // at the end, before Flush
	wrong   int // packets that were neither failed nor sent
	samples int // until the first good packet
}

// receive receives samples and compares the packets with those sent.
func (s sending) receive(t testing.TB, x []complex64) outcome {
	all := sent(int64(s.fields) + 3)
	var out outcome
	var r *Receiver
	r, err := New(Options{RateHz: s.rate, LowerHz: s.lower, Packet: func(p *Packet) {
		if p.Failed {
			return
		}
		if !all[p.Bytes] {
			out.wrong++
		} else if out.samples == 0 {
			out.samples = int(r.Status().Samples)
		}
	}})
	require.NoError(t, err)
	for at := 0; at < len(x); at += 5000 {
		require.NoError(t, r.Write(x[at:min(at+5000, len(x))]))
	}
	out.Status = r.Status()
	require.NoError(t, r.Flush())
	return out
}

// errorRate is the share of packets that failed.
func (o outcome) errorRate() float64 {
	if o.Packets == 0 {
		return 1
	}
	return float64(o.Failed) / float64(o.Packets)
}

func path(us, db, deg float64) air.Path {
	return air.Path{DelaySeconds: us * 1e-6, LevelDB: db, PhaseDeg: deg}
}

// idealMER returns what the ideal decision-feedback equaliser has, in dB, for paths at
// a C/N.
func idealMER(t testing.TB, paths []air.Path, cn float64) float64 {
	const step = 2e3
	var signal []float64
	var power float64
	for hz := 0.; hz <= vsb.ChannelWidthHz; hz += step {
		var h complex128
		for _, p := range paths {
			turn := p.PhaseDeg*math.Pi/180 - 2*math.Pi*(hz-vsb.ChannelWidthHz/2)*p.DelaySeconds
			h += cmplx.Rect(air.Amplitude(p.LevelDB), turn)
		}
		g := real(h)*real(h) + imag(h)*imag(h)
		signal = append(signal, vsb.Density(hz)*g)
		power += vsb.Density(hz) / vsb.DataShare * g * step
	}
	noise := make([]float64, len(signal))
	for i := range noise {
		noise[i] = power / math.Pow(10, cn/10) / vsb.ChannelWidthHz
	}
	snr, err := vsb.EqualisedSNR(signal, noise, 0, step)
	require.NoError(t, err)
	return 10 * math.Log10(snr)
}

// cnFor returns the C/N at which the ideal equaliser has a MER.
func cnFor(t testing.TB, paths []air.Path, mer float64) float64 {
	low, high := 0., 60.
	for high-low > 0.005 {
		if mid := (low + high) / 2; idealMER(t, paths, mid) > mer {
			high = mid
		} else {
			low = mid
		}
	}
	return high
}
