package watch

import (
	"fmt"
	"math"
	"math/cmplx"
	"math/rand/v2"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

// watched makes a log of readings that a function gives, and concludes from it.
func watched(t *testing.T, every time.Duration, span time.Duration, channels []int, margin func(i int, since time.Duration) *float64, flags func(i int, since time.Duration, r *Reading)) *Report {
	t.Helper()
	path := filepath.Join(t.TempDir(), "roof.watch")
	b := usualBounds()
	b.sync = time.Hour
	w, err := Open(path, Settings{bounds: &b, Every: every, RFChannels: channels}, noon)
	require.NoError(t, err)
	for since := time.Duration(0); since < span; since += every {
		tick := Tick{Time: noon.Add(since), Since: since}
		for i, rf := range channels {
			r := Reading{RFChannel: rf, MarginDB: margin(i, since)}
			if flags != nil {
				flags(i, since, &r)
			}
			tick.Readings = append(tick.Readings, r)
		}
		require.NoError(t, w.Add(tick))
	}
	require.NoError(t, w.Close(noon.Add(span)))
	l, err := Read(path)
	require.NoError(t, err)
	require.Zero(t, l.Damaged)
	return Conclude(l)
}

// scattered is a Rayleigh process: many waves from all around an antenna that
// moves. Its envelope's rms is 1.
type scattered struct{ cycles, phase []float64 }

func newScattered(rng *rand.Rand, dopplerHz float64) *scattered {
	s := &scattered{}
	for range 64 {
		s.cycles = append(s.cycles, dopplerHz*math.Cos(2*math.Pi*rng.Float64()))
		s.phase = append(s.phase, rng.Float64())
	}
	return s
}

func (s *scattered) envelope(seconds float64) float64 {
	var z complex128
	for i := range s.cycles {
		z += cmplx.Rect(1, 2*math.Pi*(s.cycles[i]*seconds+s.phase[i]))
	}
	return cmplx.Abs(z) / math.Sqrt(float64(len(s.cycles)))
}

// Truth: Rice's formulas for a Rayleigh process (Rice 1945, Clarke 1968): with ρ
// the level over the rms, N = √(2π)·fd·ρ·exp(−ρ²) falls a second, each to last
// (exp(ρ²)−1)/(ρ·fd·√(2π)), and a share 1−exp(−ρ²) of the time below.
func TestFadesOfARayleighProcess(t *testing.T) {
	const dopplerHz, rmsDB = 0.01, 10.0
	rng := rand.New(rand.NewPCG(3, 14))
	// The sum of waves is not quite Gaussian for ever: several towns.
	channels := numbers(8)
	var waves []*scattered
	for range channels {
		waves = append(waves, newScattered(rng, dopplerHz))
	}
	hours, within := time.Duration(30), 0.06
	if testing.Short() {
		hours, within = 8, 0.15
	}
	r := watched(t, time.Second, hours*time.Hour, channels, func(i int, since time.Duration) *float64 {
		m := rmsDB + 20*math.Log10(waves[i].envelope(since.Seconds()))
		return &m
	}, nil)
	for _, level := range []int{0, 3, 5, 7, 10} {
		rho := math.Pow(10, (float64(level)-rmsDB)/20)
		wantFalls := math.Sqrt(2*math.Pi) * dopplerHz * rho * math.Exp(-rho*rho)
		wantShare := 1 - math.Exp(-rho*rho)
		var falls, seconds, below float64
		for _, c := range r.Channels {
			falls += float64(c.Basis.Falls(level))
			seconds += c.Basis.Seconds()
			below += c.Basis.Below(float64(level)) * c.Basis.Seconds()
		}
		t.Logf("ρ %.2f: %.1f falls an hour, Rice %.1f; each %.1f s, Rice %.1f s; %.2f %% of the time, Rice %.2f %%", rho,
			falls/seconds*3600, wantFalls*3600, below/falls, wantShare/wantFalls, 100*below/seconds, 100*wantShare)
		require.InEpsilon(t, wantFalls, falls/seconds, within, "falls through %d dB", level)
		require.InEpsilon(t, wantShare/wantFalls, below/falls, within, "length below %d dB", level)
		require.InEpsilon(t, wantShare, below/seconds, within, "time below %d dB", level)
	}
	covered, asked := 0, 0
	for _, c := range r.Channels {
		// The median of a Rayleigh envelope is √ln 2 of its rms; 1 % of the time
		// it is below √(−ln 0.99).
		want := 20 * math.Log10(math.Sqrt(math.Ln2)/math.Sqrt(-math.Log(0.99)))
		n := c.Needs[1]
		require.InDelta(t, want, n.DepthDB.Value, 1.5)
		asked++
		if n.DepthDB.Low <= want && want <= n.DepthDB.High {
			covered++
		}
		want = math.Exp(-math.Pow(10, -rmsDB/10))
		require.InDelta(t, want, c.Available.Value, 0.03)
		asked++
		if c.Available.Low <= want && want <= c.Available.High {
			covered++
		}
		require.Empty(t, c.Steps, "fading is no step")
	}
	t.Logf("%d of %d intervals hold the truth", covered, asked)
	require.GreaterOrEqual(t, covered, asked-3)
	require.False(t, r.Joint.Certain, "%d of %d together, %g by chance", r.Joint.Together, r.Joint.Fades, r.Joint.Expected)
}

// Truth: a Rayleigh process again, of which many short looks are taken: the 95 %
// intervals of the time below a level hold the true share as often as they say.
func TestIntervalsHold(t *testing.T) {
	rng := rand.New(rand.NewPCG(15, 92))
	held, asked, tight, draws := 0, 0, 0.0, 150
	if testing.Short() {
		draws = 40
	}
	for range draws {
		s := newScattered(rng, 0.005)
		c := newCourse(22)
		c.every = 2
		var hours []Tally
		for k := range 3 * 1800 {
			if k%1800 == 0 && k > 0 {
				h, _ := c.endHour()
				hours = append(hours, h)
			}
			since := time.Duration(k) * 2 * time.Second
			m := 10 + 20*math.Log10(s.envelope(since.Seconds()))
			c.add(Reading{RFChannel: 22, MarginDB: &m}, noon.Add(since), since)
		}
		h, _ := c.endHour()
		hours = append(hours, h)
		b := newBatches(hours)
		for _, level := range []float64{0, 5} {
			want := 1 - math.Exp(-math.Pow(10, (level-10)/10))
			got := b.share(level)
			asked++
			if got.Low <= want && want <= got.High {
				held++
			}
			tight += (got.High - got.Low) / want
		}
	}
	t.Logf("%d of %d intervals hold the truth; they are %.1f of it wide", held, asked, tight/float64(asked))
	require.GreaterOrEqual(t, float64(held), 0.92*float64(asked))
	require.Less(t, tight/float64(asked), 2.5, "and say something")
}

// Truth: arithmetic. A common cable that fails for half a minute now and then, a
// step, a drift and a day are found where they were put, and nowhere else.
func TestFaultsAreFound(t *testing.T) {
	t.Parallel()
	const days = 12
	h := newHouse(4)
	faults := rand.New(rand.NewPCG(8, 8))
	var bad []time.Duration
	for range 40 {
		bad = append(bad, time.Duration(faults.Float64()*days*24*3600)*time.Second)
	}
	stepAt := 5*24*time.Hour + 1234*time.Second*5
	var tick Tick
	r := watched(t, 5*time.Second, days*24*time.Hour, numbers(4), func(i int, since time.Duration) *float64 {
		if i == 0 {
			tick = h.tick(since, 5)
		}
		m := *tick.Readings[i].MarginDB + 6
		for _, b := range bad {
			if since >= b && since < b+30*time.Second {
				m -= 12
			}
		}
		if i == 1 && since >= stepAt {
			m -= 5
		}
		if i == 2 {
			m -= since.Hours() / (7 * 24) * 2 // dB a week
		}
		return &m
	}, nil)
	require.Len(t, r.Channels, 4)
	require.True(t, r.Joint.Certain, "%d of %d, %g by chance", r.Joint.Together, r.Joint.Fades, r.Joint.Expected)
	require.GreaterOrEqual(t, len(r.Joint.Events), 38)
	for i, c := range r.Channels {
		if i == 1 {
			require.Len(t, c.Steps, 1)
			require.InDelta(t, 0, c.Steps[0].Time.Sub(noon.Add(stepAt)).Minutes(), 2)
			require.InDelta(t, -5, c.Steps[0].ChangeDB, 1)
			require.Empty(t, c.Steps[0].With)
		} else {
			require.Empty(t, c.Steps, "channel %d", i)
		}
		require.NotNil(t, c.Day)
		require.True(t, c.Day.Certain(), "%+v", c.Day)
		require.InDelta(t, 3, c.Day.Swing, 1)
		// Best where 8 h + 12 h is: -cos is largest half a day after its phase.
		require.InDelta(t, 20, c.Day.Best, 2)
		require.NotNil(t, c.Drift)
		require.Equal(t, i == 2, c.Drift.Certain(), "channel %d: %+v", i, c.Drift)
		if i == 2 {
			require.InDelta(t, -2, c.Drift.DBPerWeek.Value, 0.5)
		}
	}
	for _, f := range r.Findings {
		t.Logf("%s %v: %s | %s", f.Kind, f.RFChannels, f.Text, f.Next)
	}
}

// Truth: common sense. Channels that fade, one with a day and one without, have no
// steps in a month; one that is cut by so much has one.
func TestStepsAndNone(t *testing.T) {
	t.Parallel()
	rng := rand.New(rand.NewPCG(27, 18))
	const minutes = 30 * 1440
	wrong, missed, asked := 0, 0, 0
	runs := 40
	if testing.Short() {
		runs = 12
	}
	for run := range runs {
		tau := []float64{2, 10, 60, 240}[run%4] // minutes
		sigma := []float64{0.3, 1, 2}[run%3]
		keep := math.Exp(-1 / tau)
		slow := 0.0
		at := 1000 + rng.IntN(minutes-2000)
		change := 8 * sigma
		if run%2 == 0 {
			change = 0
		}
		var p []point
		for i := range minutes {
			slow = keep*slow + math.Sqrt(1-keep*keep)*rng.NormFloat64()
			db := 10 + sigma*slow + 2*math.Cos(2*math.Pi*float64(i)/1440)
			if i >= at {
				db -= change
			}
			p = append(p, point{noon.Add(time.Duration(i) * time.Minute), db})
		}
		found := stepsIn(22, p, time.Minute, 180)
		hit := 0
		for _, s := range found {
			if d := s.Time.Sub(p[at].at).Minutes(); change > 0 && math.Abs(d) <= 3 {
				hit++
			} else {
				wrong++
				t.Logf("run %d: τ %.0f min, σ %.1f dB: %+.1f dB, %.0f min from where one is", run, tau, sigma, s.ChangeDB, d)
			}
		}
		if change > 0 {
			asked++
			if hit == 0 {
				missed++
				t.Logf("run %d: τ %.0f min, σ %.1f dB: a step of %.1f dB is not found", run, tau, sigma, change)
			}
		}
	}
	t.Logf("%d of %d steps found, %d found that are none", asked-missed, asked, wrong)
	require.Zero(t, wrong)
	require.LessOrEqual(t, missed, 4)
}

// Truth: arithmetic. Fades that come with noise in pulses are told from pulses that
// come as they please, and a change of all channels at once from one of a single
// channel.
func TestWhatComesTogether(t *testing.T) {
	t.Parallel()
	rng := rand.New(rand.NewPCG(19, 73))
	fade := func(i int, since time.Duration) bool {
		// Half a minute in every quarter of an hour, of each channel at another time.
		return since > time.Hour && (since+time.Duration(i)*4*time.Minute)%(15*time.Minute) < 30*time.Second
	}
	const stepAt = 7 * time.Hour
	r := watched(t, 5*time.Second, 14*time.Hour, numbers(3), func(i int, since time.Duration) *float64 {
		m := 12 + 0.2*rng.NormFloat64()
		if fade(i, since) {
			m -= 6
		}
		if since >= stepAt {
			m -= 3
		}
		return &m
	}, func(i int, since time.Duration, r *Reading) {
		r.Impulse = i == 0 && fade(i, since) || rng.Float64() < 0.01
		r.Overload = rng.Float64() < 0.01
	})
	for i, c := range r.Channels {
		require.Equal(t, i == 0, c.Troubles.Certain, "%+v", c.Troubles)
		require.False(t, c.Overloads.Certain, "%+v", c.Overloads)
		require.InDelta(t, 13*4, c.Fades.Count, 3)
		require.InDelta(t, 30, c.Fades.MedianSec, 1)
		require.InDelta(t, 6.3, c.Fades.MedianDB, 0.5)
		require.Len(t, c.Steps, 1)
		require.InDelta(t, -3, c.Steps[0].ChangeDB, 0.3)
		require.Len(t, c.Steps[0].With, 2)
		require.WithinDuration(t, noon.Add(stepAt), c.Steps[0].Time, 2*time.Minute)
	}
	require.False(t, r.Joint.Certain)
	kinds := map[FindingKind]int{}
	for _, f := range r.Findings {
		kinds[f.Kind]++
	}
	require.Equal(t, map[FindingKind]int{Changed: 1, Alone: 1, Impulsive: 1}, kinds, "%+v", r.Findings)
	require.Contains(t, r.Findings[0].Text, "channels 20, 21 and 22 changed by -")
	require.Contains(t, r.Findings[0].Next, "what they share")
}

func ExampleConclude() {
	log := strings.NewReader(`{"kind":"watch","schema":"rooftone.watch/1"}
{"kind":"start","time":"2026-03-05T18:30:00-05:00","every_s":20,"rf_channels":[22]}
{"kind":"tick","time":"2026-03-05T18:30:00-05:00","margin_db":{"22":9.3}}
{"kind":"tick","time":"2026-03-05T18:30:20-05:00","margin_db":{"22":-1.2}}
{"kind":"tick","time":"2026-03-05T18:30:40-05:00","margin_db":{"22":9.1}}
{"kind":"tick","time":"2026-03-05T18:31:00-05:00","margin_db":{"22":9.4}}
`)
	l, err := Decode(log)
	if err != nil {
		fmt.Println(err)
		return
	}
	for _, c := range Conclude(l).Channels {
		fmt.Printf("RF %d: %.0f %% of %v, %d fall below the decode point\n", c.RFChannel, 100*c.Available.Value, c.Watched, c.Basis.Falls(0))
	}
	// Output:
	// RF 22: 75 % of 1m20s, 1 fall below the decode point
}
