package receive

import (
	"bytes"
	"context"
	"encoding/binary"
	"math"
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/require"

	"rooftone/scan/recording"
	"rooftone/scan/tuner"
	"rooftone/scan/tuner/sim"
)

// heard is some samples of the town around a frequency, at a rate.
func heard(t testing.TB, centerHz, rateHz, seconds float64) []complex64 {
	town, err := sim.Load("lighthouse")
	require.NoError(t, err)
	s, err := sim.New(town, sim.Options{})
	require.NoError(t, err)
	require.NoError(t, s.Tune(context.Background(), tuner.Tuning{CenterHz: centerHz, RateHz: rateHz, GainDB: 30}))
	b, err := s.Read(context.Background(), make([]complex64, int(seconds*rateHz)))
	require.NoError(t, err)
	return b.Samples
}

// written puts samples into a file as a program of another maker would, and says what
// they are.
func written(t testing.TB, samples []complex64, format string) string {
	var b bytes.Buffer
	if format == "wav" {
		// RIFF WAVE, two channels of 16 bits; ISO says nothing of it, Microsoft's
		// Multimedia Programming Interface 1.0 does.
		n := uint32(4 * len(samples))
		b.WriteString("RIFF")
		binary.Write(&b, binary.LittleEndian, 36+n)
		b.WriteString("WAVEfmt ")
		binary.Write(&b, binary.LittleEndian, []uint32{16, 2<<16 | 1, 8e6, 4 * 8e6, 16<<16 | 4})
		b.WriteString("data")
		binary.Write(&b, binary.LittleEndian, n)
	}
	for _, z := range samples {
		for _, v := range []float32{real(z), imag(z)} {
			switch format {
			case "cu8":
				b.WriteByte(byte(math.Round(float64(v)*127.5 + 127.5)))
			case "ci8":
				b.WriteByte(byte(int8(math.Max(-128, math.Min(127, math.Round(float64(v)*128))))))
			case "ci16_le", "wav":
				binary.Write(&b, binary.LittleEndian, int16(math.Max(-32768, math.Min(32767, math.Round(float64(v)*32768)))))
			case "cf32_le":
				binary.Write(&b, binary.LittleEndian, v)
			}
		}
	}
	name := filepath.Join(t.TempDir(), "heard.bin")
	if format == "wav" {
		name = filepath.Join(t.TempDir(), "heard.wav")
	}
	require.NoError(t, os.WriteFile(name, b.Bytes(), 0o666))
	return name
}

func TestEveryFormat(t *testing.T) {
	// Truth: the town's words, through the sample formats as SigMF and RIFF define
	// them, with the channel anywhere in the samples' band.
	c := channel(t, 14)
	const rate = 8e6
	for _, test := range []struct {
		format string
		off    float64 // of the samples' middle from the channel's
	}{{"cu8", 0}, {"ci8", 0.9e6}, {"ci16_le", -1e6}, {"cf32_le", 0.3e6}, {"wav", -0.4e6}} {
		if testing.Short() && test.format != "ci16_le" {
			continue
		}
		center := c.CenterHz() + test.off
		samples := heard(t, center, rate, 0.2)
		hints := recording.Hints{Format: test.format, RateHz: rate, CenterHz: center}
		if test.format == "wav" {
			hints.Format = ""
		}
		p, err := recording.Open(context.Background(), written(t, samples, test.format), hints)
		require.NoError(t, err, test.format)
		r := New(c, Options{})
		require.NoError(t, FromPlaylist(context.Background(), p, c, r.Write), test.format)
		require.NoError(t, r.Flush())
		require.NoError(t, p.Close())
		total := r.Total()
		require.Greater(t, total.Packets, int64(1200), test.format)
		require.Zero(t, total.Failed, test.format)
		require.NotNil(t, r.Identity(), test.format)
		require.EqualValues(t, 0x2c14, *r.Identity().TransportID, test.format)
	}
}

func TestNoStayShowsTheChannel(t *testing.T) {
	// Truth: the channel table.
	c := channel(t, 14)
	p, err := recording.Open(context.Background(), written(t, make([]complex64, 1000), "cu8"), recording.Hints{Format: "cu8", RateHz: 8e6, CenterHz: c.CenterHz() + 3e6})
	require.NoError(t, err)
	defer p.Close()
	narrow := (*NarrowError)(nil)
	require.ErrorAs(t, FromPlaylist(context.Background(), p, c, func(tuner.Block, bool) error { return nil }), &narrow)
	require.ErrorContains(t, narrow, "do not show the whole of channel 14, 470 to 476 MHz")
}

func TestFromTunerChoosesTheGain(t *testing.T) {
	// Truth: the town: its strongest station overloads the converter at the highest
	// gain and not at one below.
	town, err := sim.Load("lighthouse")
	require.NoError(t, err)
	town.Stations[0].LevelDBm = -58
	s, err := sim.New(town, sim.Options{})
	require.NoError(t, err)
	ctx, stop := context.WithCancel(context.Background())
	first := true
	err = FromTuner(ctx, s, channel(t, 14), 0, nil, func(b tuner.Block, fresh bool) error {
		require.Equal(t, first, fresh)
		require.Less(t, float64(b.Clipped), 1e-3*float64(len(b.Samples)))
		require.Less(t, b.GainDB, s.Info().GainsDB[len(s.Info().GainsDB)-1])
		require.Equal(t, DefaultRateHz, b.RateHz)
		if !first {
			stop()
		}
		first = false
		return nil
	})
	require.NoError(t, err, "the end of the context is none")
}
