package scan

import (
	"context"
	"fmt"
	"io"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/require"

	"rooftone/scan/band"
	"rooftone/scan/character"
	"rooftone/scan/measure"
	"rooftone/scan/tuner"
	"rooftone/scan/tuner/sim"
)

// played is stays that were heard before, as a recording is.
type played struct {
	info  tuner.Info
	stays []tuner.Block
	at    int // one more than the stay that plays
	done  bool
}

func (p *played) Info() tuner.Info { return p.info }
func (p *played) Close() error     { return nil }

func (p *played) Next(context.Context) (tuner.Stay, error) {
	if p.at == len(p.stays) {
		return tuner.Stay{}, io.EOF
	}
	b := p.stays[p.at]
	p.at, p.done = p.at+1, false
	return tuner.Stay{CenterHz: b.CenterHz, RateHz: b.RateHz, GainDB: b.GainDB, Start: b.Start}, nil
}

func (p *played) Read(context.Context, []complex64) (tuner.Block, error) {
	if p.done {
		return tuner.Block{}, io.EOF
	}
	p.done = true
	return p.stays[p.at-1], nil
}

// margins are errors and half widths of stated intervals.
type margins struct {
	errors []float64
	widths float64
	inside int
}

func (m *margins) add(got *measure.Estimate, want float64) {
	e := got.Value - want
	m.errors = append(m.errors, e)
	m.widths += 1.96 * got.Sigma
	if math.Abs(e) <= 1.96*got.Sigma {
		m.inside++
	}
}

func (m *margins) rms() float64 {
	var sum float64
	for _, e := range m.errors {
		sum += e * e / float64(len(m.errors))
	}
	return math.Sqrt(sum)
}

func (m *margins) String() string {
	n := float64(len(m.errors))
	return fmt.Sprintf("%.0f channels: rms %.2f dB, 95 %% interval ±%.2f dB on the mean, holds %.1f %%, worst %.2f dB", n, m.rms(), m.widths/n, 100*float64(m.inside)/n, worst(m.errors))
}

// Truth: the town's own arithmetic. The same stays are measured with and without what
// an examination found of the dongle that made them (testdata/README.md): one slice,
// the three of a channel, and those of a channel and its neighbours.
func TestWhatACharacterWins(t *testing.T) {
	if testing.Short() {
		t.Skip("an ensemble: it has its time in the long run")
	}
	t.Parallel()
	plan := usChannels(t, "14-36")
	for k, kind := range []struct {
		about  string
		stays  func(c band.Channel, rng *rand.Rand) []float64 // middles
		beside bool
	}{
		{"one slice", func(c band.Channel, rng *rand.Rand) []float64 { return []float64{c.LowerHz + 1e6 + 4e6*rng.Float64()} }, false},
		{"one channel", func(c band.Channel, _ *rand.Rand) []float64 { return Hops(c, 2.4e6) }, false},
		{"a visit", func(c band.Channel, _ *rand.Rand) (out []float64) {
			for _, n := range plan {
				if away := n.Number - c.Number; away >= -2 && away <= 2 {
					out = append(out, Hops(n, 2.4e6)...)
				}
			}
			return out
		}, true},
	} {
		rng := rand.New(rand.NewPCG(77, uint64(k)))
		var with, without margins
		for draw := range ensemble(4) {
			seed := 77 + draw%3
			text, err := os.ReadFile(filepath.Join("testdata", fmt.Sprintf("radio-%d.json", seed)))
			require.NoError(t, err)
			known, err := character.Parse(text)
			require.NoError(t, err)
			town := dongleTown(uint64(seed), float64(seed*3-220))
			c := plan[3+rng.IntN(len(plan)-6)]
			st := station(c.Number, 8+rng.Float64()*18, rng.NormFloat64()*8)
			for range rng.IntN(3) {
				st.Echoes = append(st.Echoes, sim.Echo{DelayUS: 0.03 + rng.Float64()*rng.Float64()*15, LevelDB: -4 - rng.Float64()*14, PhaseDeg: rng.Float64() * 360})
			}
			town.Stations = []sim.Station{st}
			if kind.beside {
				town.Stations = append(town.Stations, station(c.Number+1, 10+rng.Float64()*16, 3), station(c.Number-2, 15, -2))
			}
			tn, err := sim.New(town, sim.Options{})
			require.NoError(t, err)
			stays := listenAt(t, tn, kind.stays(c, rng))
			truth, err := tn.Truth(c.Number)
			require.NoError(t, err)
			want := trueMargin(t, []sim.Station{st}, truth.NoiseDBm, measure.DefaultThresholdDB)
			var told []*measure.Estimate
			for _, radio := range []*character.Character{nil, known} {
				s, err := SweepPlaylist(context.Background(), &played{info: tn.Info(), stays: stays}, Options{Channels: []band.Channel{c}, Plan: plan, Radio: radio})
				require.NoError(t, err)
				require.Empty(t, s.Misfits)
				if m := s.Channels[0].Margin; m != nil {
					told = append(told, m)
				}
			}
			if len(told) < 2 {
				t.Logf("%s, draw %d: %d margins told, at %.1f dB", kind.about, draw, len(told), want)
				continue
			}
			without.add(told[0], want)
			with.add(told[1], want)
		}
		t.Logf("%s, without: %v", kind.about, &without)
		t.Logf("%s, with:    %v", kind.about, &with)
		require.NotEmpty(t, with.errors)
		require.LessOrEqual(t, with.rms(), without.rms()+0.1, kind.about)
		require.GreaterOrEqual(t, with.inside, len(with.errors)*8/10-1, kind.about)
	}
}

// listenAt is what a radio hears at some places, the dwell of a visit at each.
func listenAt(t *testing.T, tn *sim.Tuner, centersHz []float64) (out []tuner.Block) {
	gains := tn.Info().GainsDB
	for _, hz := range centersHz {
		require.NoError(t, tn.Tune(context.Background(), tuner.Tuning{CenterHz: hz, RateHz: 2.4e6, GainDB: gains[len(gains)-1]}))
		b, err := tn.Read(context.Background(), make([]complex64, int(DefaultDwell.Seconds()*2.4e6)))
		require.NoError(t, err)
		out = append(out, b)
	}
	return out
}
