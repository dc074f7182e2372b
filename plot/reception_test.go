package plot

import (
	"bytes"
	"image/png"
	"math"
	"math/cmplx"
	"math/rand/v2"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"rooftone/dsp/vsb"
	"rooftone/dsp/vsb/receiver"
	"rooftone/scan/band"
	"rooftone/scan/receive"
	"rooftone/scan/station"
)

// filtered is what the filters make of a path, without their skirts.
func filtered(s float64) complex128 {
	x := s * vsb.SymbolRateHz / 2
	if x == 0 {
		return 1
	}
	return complex(math.Sin(math.Pi*x)/(math.Pi*x)*math.Exp(-math.Pow(x/8, 2)), 0) * cmplx.Rect(1, math.Pi*x)
}

// received is an invented reception of two minutes, with a bad half minute in it.
func received() receive.Look {
	rng := rand.New(rand.NewPCG(1, 2))
	id := uint16(0x2c14)
	l := receive.Look{
		Channel: band.Channel{Number: 14, LowerHz: 470e6}, Source: "sim:lighthouse", ThresholdDB: 15.2,
		Started:  time.Date(2026, 3, 14, 9, 30, 0, 0, time.UTC),
		Total:    receive.Total{Seconds: 120, Locks: 2, FirstGood: 0.061, Packets: 1545000, Failed: 1031, Corrected: 50321, BadSeconds: 9},
		Status:   receiver.Status{Locked: true, MERBeforeDB: 7.3, MERAfterDB: 22.4, IdealDB: 22.7, CarrierHz: 412, ClockPPM: -1.7},
		Identity: &receive.Identity{Station: station.Station{TransportID: &id, Channels: []station.Channel{{Major: 8, Minor: 1, Name: "QSKL-HD"}}}},
		Timeline: receive.Timeline{Length: 1},
	}
	for range 3000 {
		level := float64(2*rng.IntN(8) - 7)
		l.Before = append(l.Before, complex64(complex(level+2*rng.NormFloat64(), 5*rng.NormFloat64())))
		l.After = append(l.After, complex64(complex(level+0.35*rng.NormFloat64(), 0)))
	}
	for i := range 400 {
		d := float64(i-97) / vsb.SymbolRateHz
		g := complex(1e-3*rng.NormFloat64(), 0)
		for _, e := range []struct{ at, amplitude float64 }{{0, 1}, {0.7e-6, 0.45}, {2.9e-6, 0.28}, {-0.9e-6, 0.16}} {
			g += complex(e.amplitude, 0) * filtered(d-e.at)
		}
		l.Taps = append(l.Taps, receiver.Tap{DelaySeconds: d, Gain: g})
	}
	for i := range 120 {
		b := receive.Bin{Seconds: 1, Packets: 12900, LowestMERDB: 22.4 + rng.NormFloat64()/4, HighestMERDB: 22.6 + rng.NormFloat64()/4}
		if i > 60 && i < 75 {
			b.LowestMERDB, b.HighestMERDB = 14, 19
			b.Failed = int64(1 + 40*rng.IntN(20))
		}
		if i == 70 {
			b.Unlocked, b.LowestMERDB, b.HighestMERDB = 1, math.NaN(), math.NaN()
		}
		l.Timeline.Bins = append(l.Timeline.Bins, b)
	}
	return l
}

// Common practice: the page is whole in every format, and says in words what it
// shows.
func TestReception(t *testing.T) {
	l := received()
	for _, format := range []string{"png", "svg", "pdf"} {
		var b bytes.Buffer
		require.NoError(t, Reception(&b, format, l, Options{}))
		switch format {
		case "png":
			_, err := png.Decode(bytes.NewReader(b.Bytes()))
			require.NoError(t, err)
		case "svg":
			for _, said := range []string{"Channel 14: 8.1 QSKL-HD", "1031 with errors", "MER before the equaliser 7.3 dB"} {
				require.Contains(t, b.String(), said)
			}
		}
	}
	require.Error(t, Reception(&bytes.Buffer{}, "bmp", l, Options{}))
}

// Truth: one path, half a symbol from the nearest tap: one bar, and no echo.
func TestReceptionOfOnePath(t *testing.T) {
	l := received()
	require.NotContains(t, labelsOf(l), "no echo above \u221220 dB")
	for i := range l.Taps {
		l.Taps[i].Gain = filtered(l.Taps[i].DelaySeconds - 0.5/vsb.SymbolRateHz)
	}
	require.Contains(t, labelsOf(l), "no echo above \u221220 dB")
}

func labelsOf(l receive.Look) (out []string) {
	for _, x := range drawn(func(p *pen) { drawReception(p, l, "x") }).labels {
		out = append(out, x.text)
	}
	return out
}

// Common practice: what is not there is said not to be there, and nothing breaks.
func TestReceptionOfNothing(t *testing.T) {
	nan := math.NaN()
	empty := receive.Look{Channel: band.Channel{Number: 14, LowerHz: 470e6}, Total: receive.Total{FirstGood: nan}}
	odd := received()
	odd.Before[5], odd.After[7] = complex64(complex(nan, nan)), complex64(complex(math.Inf(1), 0))
	odd.Taps[3].Gain = complex(nan, 0)
	odd.Timeline.Bins = append(odd.Timeline.Bins, receive.Bin{LowestMERDB: nan, HighestMERDB: nan, Failed: 3})
	odd.Timeline.Bins[0] = receive.Bin{LowestMERDB: math.Inf(1), HighestMERDB: math.Inf(-1), Failed: 2, Packets: 1, Seconds: 1}
	odd.Identity.Channels[0].Name = "\x1b[2J"
	for _, l := range []receive.Look{empty, odd} {
		var b bytes.Buffer
		require.NoError(t, Reception(&b, "svg", l, Options{}))
		require.NotContains(t, b.String(), "NaN")
		require.NotContains(t, b.String(), "\x1b")
	}
	var b bytes.Buffer
	require.NoError(t, Reception(&b, "svg", empty, Options{}))
	require.Contains(t, b.String(), "no symbols")
	require.Contains(t, b.String(), "nothing was received")
}
