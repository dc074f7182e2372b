package hunt_test

import (
	"context"
	"flag"
	"io"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/require"

	"rooftone/scan"
	"rooftone/scan/band"
	"rooftone/scan/hunt"
	"rooftone/scan/tuner"
)

var realDir = flag.String("real", "", "a folder of real recordings, *.cu8, named …_sRATE-IN-MS… or …RATE-IN-MS.cu8, to splice too")

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

func TestRealRecordings(t *testing.T) {
	plan := band.Plans()[0]
	channels, err := plan.Select("20-24")
	require.NoError(t, err)
	for _, row := range []struct {
		name string
		rate float64
	}{{"testdata/real/lte-1.92MS.cu8", 1.92e6}, {"testdata/real/bursts-2MS.cu8", 2e6},
	{"/work/shared/real/lte_f2585_s1.92_g0_1s.cu8",1.92e6},
	{"/work/shared/real/lte_f1860_s1.92_g0_1s.cu8",1.92e6},
	{"/work/shared/real/rs_1641428106243_1090M_2M4.cu8",2.4e6},
	{"/work/shared/real/wmbus_868.625M_2M4.cu8",2.4e6},
	} {
		for _, which := range []string{"one", "all", "alone"} {
			r := rand.New(rand.NewPCG(1, 2))
			full := func(k int) bool { return k == 2 || which == "all" }
			list := channels
			if which == "alone" { list = channels[2:3]; full = func(int) bool {return true} }
			h := huntSpliced(t, visitOf(t, r, row.name, row.rate, list, full), list)
			t.Logf("== %s %s", filepath.Base(row.name), which)
			for i := range h.Survey.Channels { c:=&h.Survey.Channels[i]; t.Logf("   %d %s %s %v %+v", c.Channel.Number, c.Presence, c.Standard, c.Suspicion, c.Occupant) }
			for _, s := range h.Suspects { t.Logf("  %s | %s | %v | %+v %v", s.Kind, s.Name, s.Evidence, s.Harms, s.RateHz) }
		}
	}
	_ = math.Pi
}
