package hunt_test

import (
	"context"
	"flag"
	"io"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"rooftone/scan"
	"rooftone/scan/band"
	"rooftone/scan/hunt"
	"rooftone/scan/tuner"
)

var realDir = flag.String("real", "", "a folder of more real recordings, *.cu8, to splice; those whose name has lte in it are a telephone network's")

// splice is a visit to channels made of other recordings: a Playlist.
type splice struct {
	rateHz float64
	gainDB float64
	stays  []spliced
	at     int
	pos    int
}

type spliced struct {
	centerHz float64
	samples  []complex64
	clipped  int
}

func (s *splice) Info() tuner.Info { return tuner.Info{Name: "splice", Datatype: "cu8"} }
func (s *splice) Close() error     { return nil }

func (s *splice) Next(context.Context) (tuner.Stay, error) {
	if s.at++; s.at > len(s.stays) {
		return tuner.Stay{}, io.EOF
	}
	s.pos = 0
	return tuner.Stay{CenterHz: s.stays[s.at-1].centerHz, RateHz: s.rateHz, GainDB: s.gainDB}, nil
}

func (s *splice) Read(_ context.Context, dst []complex64) (tuner.Block, error) {
	x := s.stays[s.at-1]
	if s.pos == len(x.samples) {
		return tuner.Block{}, io.EOF
	}
	n := copy(dst, x.samples[s.pos:])
	b := tuner.Block{Samples: dst[:n], CenterHz: x.centerHz, RateHz: s.rateHz, GainDB: s.gainDB}
	if s.pos == 0 {
		b.Clipped = x.clipped
	}
	s.pos += n
	return b, nil
}

// raw reads unsigned 8-bit I/Q.
func raw(t *testing.T, name string) (samples []complex64, clipped int) {
	t.Helper()
	iq, err := os.ReadFile(name)
	require.NoError(t, err)
	samples = make([]complex64, len(iq)/2)
	_, clipped = tuner.FromBytes(samples, iq)
	return samples, clipped
}

// noise is even noise as an 8-bit converter has it.
func noise(r *rand.Rand, n int) []complex64 {
	const rms = 0.06
	out := make([]complex64, n)
	for i := range out {
		out[i] = complex(tuner.FromByte(tuner.ToByte(float32(rms*r.NormFloat64()))), tuner.FromByte(tuner.ToByte(float32(rms*r.NormFloat64()))))
	}
	return out
}

// visitOf splices a visit to channels, full says which of them hold the
// recording; the others are noise.
func visitOf(t *testing.T, r *rand.Rand, name string, rateHz float64, channels []band.Channel, full func(k int) bool) *splice {
	t.Helper()
	x, clipped := raw(t, name)
	s := &splice{rateHz: rateHz, gainDB: 40}
	for k, c := range channels {
		for _, hz := range scan.Hops(c, rateHz) {
			if !full(k) {
				s.stays = append(s.stays, spliced{hz, noise(r, len(x)), 0})
				continue
			}
			// Begun elsewhere, so that slices differ.
			turn := r.IntN(len(x))
			s.stays = append(s.stays, spliced{hz, append(append([]complex64{}, x[turn:]...), x[:turn]...), clipped})
		}
	}
	return s
}

// huntSpliced hunts in a spliced visit.
func huntSpliced(t *testing.T, s *splice, channels []band.Channel) *hunt.Hunt {
	t.Helper()
	h, err := hunt.Play(context.Background(), s, hunt.Options{Channels: channels, Plan: channels})
	require.NoError(t, err)
	return h
}

// realFiles are the recordings of testdata, and those of the folder asked for.
func realFiles(t *testing.T) map[string]float64 {
	t.Helper()
	out := map[string]float64{"testdata/real/lte-1.92MS.cu8": 1.92e6, "testdata/real/bursts-2MS.cu8": 2e6}
	if *realDir == "" {
		return out
	}
	names, err := filepath.Glob(filepath.Join(*realDir, "*.cu8"))
	require.NoError(t, err)
	for _, name := range names {
		rate := 2.4e6
		switch base := filepath.Base(name); {
		case strings.Contains(base, "1.92"):
			rate = 1.92e6
		case strings.Contains(base, "dump1090_modes1"):
			rate = 2e6
		}
		out[name] = rate
	}
	return out
}

// Truth: what the recordings are known to be: a telephone network's downlink,
// short bursts and noise, as if they stood in television's channels. None is in
// time with the mains, and none is a station's fault. In one channel of five, in
// all and in a channel by itself, LTE is told to be a telephone network's.
func TestRealRecordings(t *testing.T) {
	if testing.Short() {
		t.Skip("an ensemble: it has its time in the long run")
	}
	list, err := band.Plans()[0].Select("20-24")
	require.NoError(t, err)
	r := rand.New(rand.NewPCG(71, 72))
	for name, rate := range realFiles(t) {
		for _, row := range []struct {
			name     string
			channels []band.Channel
			full     func(k int) bool
			numbers  string
		}{
			{"one", list, func(k int) bool { return k == 2 }, "channel 22"},
			{"all", list, func(int) bool { return true }, "channels 20, 21, 22, 23 and 24"},
			{"alone", list[2:3], func(int) bool { return true }, "channel 22"},
		} {
			if testing.Short() && row.name == "all" {
				continue
			}
			t.Run(filepath.Base(name)+" "+row.name, func(t *testing.T) {
				h := huntSpliced(t, visitOf(t, r, name, rate, row.channels, row.full), row.channels)
				networks := 0
				for _, s := range h.Suspects {
					t.Logf("%s | %s | %v", s.Kind, s.Name, s.Evidence)
					require.Zero(t, s.MainsHz)
					require.NotContains(t, []hunt.Kind{hunt.Impulses, hunt.CoChannel, hunt.Splatter}, s.Kind)
					if s.Kind == hunt.Bursts && strings.Contains(s.Name, "telephone") {
						networks++
						require.True(t, strings.HasSuffix(s.Name, " on "+row.numbers), s.Name)
					}
				}
				require.Equal(t, strings.Contains(name, "lte"), networks == 1)
				if strings.Contains(name, "lte") {
					require.False(t, h.Clean())
				}
			})
		}
	}
}
