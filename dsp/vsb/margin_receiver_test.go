package vsb

import (
	"encoding/csv"
	"fmt"
	"math"
	"os"
	"sort"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/stat"
)

// decoded is how an independent receiver fared with one channel.
type decoded struct {
	echoes    string
	paths     []path
	cnDB      float64
	lost      float64 // part of the packets
	marginDB  float64 // what we say of the channel
	ownDB     float64 // the same from the best that an equaliser like the receiver's can do
	longestUS float64 // echo
}

func TestMarginOrdersAsReceiverDecodes(t *testing.T) {
	if testing.Short() {
		t.Skip("an ensemble: it has its time in the long run")
	}
	// Truth: a second implementation, GNU Radio's receiver; see
	// testdata/margin/README.txt.
	cases := readDecoded(t)
	margin := func(c decoded) float64 { return c.marginDB }
	own := func(c decoded) float64 { return c.ownDB }

	// In noise alone it needs 1.8 dB of margin for one packet in a hundred
	// lost: C/N 17.0 dB.
	needed := marginAt(t, cases, "", 0.01)
	t.Logf("in noise 1 packet in 100 is lost at a margin of %.2f dB, C/N %.2f dB", needed, needed+15.2)
	require.InDelta(t, 1.8, needed, 0.15)

	// The margin is what no receiver exceeds: with echoes of any kind this one
	// needs as much as in noise alone, or more.
	for _, c := range cases {
		if c.lost < 0.01 {
			require.Greater(t, c.marginDB, needed-0.3, "%q at %g dB", c.echoes, c.cnDB)
		}
	}

	// Echoes of −10 dB and less that its linear equaliser (64 real taps, which
	// look back 4.7 µs) can undo, as what is left of their squares and cubes is
	// in its reach, too: the margin orders them as it decodes them. What
	// scatter there is comes with the echoes' phases.
	short := cases[:0:0]
	for _, c := range cases {
		if c.longestUS <= 1.5 {
			short = append(short, c)
		}
	}
	worst, pair := worstInversion(short)
	t.Logf("%d cases with echoes to 1.5 µs: rank correlation %.3f, worst inversion %.2f dB: %s", len(short), rankCorrelation(short, margin), worst, pair)
	require.Greater(t, rankCorrelation(short, margin), 0.88)
	require.Less(t, worst, 1.)

	// Later and several echoes leave it with what its equaliser cannot undo,
	// down to losing most packets where an ideal one has 9 dB of margin. That
	// it is the equaliser that falls short shows in the order: it is that of the
	// best that 64 such taps can do.
	worst, pair = worstInversion(cases)
	t.Logf("%d cases in all: rank correlation %.3f, with the best of its own equaliser %.3f, worst inversion %.2f dB: %s",
		len(cases), rankCorrelation(cases, margin), rankCorrelation(cases, own), worst, pair)
	require.Greater(t, rankCorrelation(cases, margin), 0.55)
	require.Greater(t, rankCorrelation(cases, own), 0.85)
}

// rankCorrelation is Spearman's correlation of a margin with packets received.
func rankCorrelation(cases []decoded, margin func(decoded) float64) float64 {
	margins, received := make([]float64, len(cases)), make([]float64, len(cases))
	for i, c := range cases {
		margins[i], received[i] = margin(c), -c.lost
	}
	return stat.Correlation(ranks(margins), ranks(received), nil)
}

// worstInversion returns by how many dB a channel on which most packets were
// lost had more margin than one on which all but one in a hundred arrived.
func worstInversion(cases []decoded) (worst float64, pair string) {
	worst = math.Inf(-1)
	for _, good := range cases {
		for _, bad := range cases {
			if d := bad.marginDB - good.marginDB; good.lost < 0.01 && bad.lost > 0.5 && d > worst {
				worst = d
				pair = fmt.Sprintf("%q at %g dB failed, %q at %g dB did not", bad.echoes, bad.cnDB, good.echoes, good.cnDB)
			}
		}
	}
	return worst, pair
}

// marginAt interpolates the margin at which a part of the packets is lost.
func marginAt(t testing.TB, cases []decoded, echoes string, lost float64) float64 {
	var of []decoded
	for _, c := range cases {
		if c.echoes == echoes {
			of = append(of, c)
		}
	}
	sort.Slice(of, func(i, j int) bool { return of[i].cnDB < of[j].cnDB })
	for i := 1; i < len(of); i++ {
		if a, b := of[i-1], of[i]; a.lost >= lost && b.lost < lost {
			part := math.Log(a.lost/lost) / math.Log(a.lost/math.Max(b.lost, 1e-4))
			return a.marginDB + part*(b.marginDB-a.marginDB)
		}
	}
	t.Fatalf("%q does not cross %g", echoes, lost)
	return 0
}

// ranks returns the places of values in their order, shared where equal.
func ranks(values []float64) []float64 {
	r := make([]float64, len(values))
	for i, v := range values {
		for _, u := range values {
			switch {
			case u < v:
				r[i]++
			case u == v:
				r[i] += 0.5
			}
		}
	}
	return r
}

func readDecoded(t testing.TB) []decoded {
	f, err := os.Open("../../testdata/margin/receiver.csv")
	require.NoError(t, err)
	defer f.Close()
	rows, err := csv.NewReader(f).ReadAll()
	require.NoError(t, err)
	require.Equal(t, []string{"echoes", "cn_db", "packets", "lost"}, rows[0])
	number := func(s string) float64 {
		v, err := strconv.ParseFloat(s, 64)
		require.NoError(t, err)
		return v
	}
	var cases []decoded
	for _, row := range rows[1:] {
		c := decoded{echoes: row[0], cnDB: number(row[1]), lost: number(row[3]) / number(row[2])}
		c.paths = []path{{0, 1}}
		for _, e := range strings.Fields(row[0]) {
			v := strings.Split(e, "/")
			require.Len(t, v, 3)
			us := number(v[0])
			c.longestUS = math.Max(c.longestUS, us)
			c.paths = append(c.paths, path{us * 1e-6, fromDB(number(v[1]), number(v[2]))})
		}
		noise := noiseFor(c.paths, c.cnDB)
		c.marginDB = MarginDB(ideal(t, c.paths, noise), 15.2)
		c.ownDB = MarginDB(linearReal(t, c.paths, noise), 15.2)
		cases = append(cases, c)
	}
	require.NotEmpty(t, cases)
	return cases
}

// linearReal is the most that an equaliser of 64 real taps, one symbol apart,
// 12 of which look ahead, reaches with the pilot turned to phase 0.
func linearReal(t testing.TB, paths []path, noise float64) float64 {
	var pilot complex128
	for _, p := range paths {
		pilot += p.gain * turn((ChannelWidthHz/2-PilotOffsetHz)*p.delay)
	}
	size := complex(math.Hypot(real(pilot), imag(pilot)), 0)
	turned := make([]path, len(paths))
	for i, p := range paths {
		turned[i] = path{p.delay, p.gain * size / pilot}
	}
	d := newDesigner(newSymbolChannel(turned, noise, 0, 64), 64, 0, false)
	mse, err := d.error(12)
	require.NoError(t, err)
	return 1/mse - 1
}
