package live

import (
	"math"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"rooftone/plot/cell"
	"rooftone/scan/band"
	"rooftone/scan/measure"
	"rooftone/scan/meter"
)

func picture() Picture {
	best := 8.3
	p := Picture{Source: "sim:nowhere"}
	now := time.Unix(1e9, 0)
	for i, n := range []int{22, 24, 31} {
		c, _ := band.Plans()[0].Channel(n)
		u := meter.Update{
			Channel: c, State: meter.Measuring, Margin: &measure.Estimate{Value: 6.2 - 9*float64(i), Sigma: 0.2},
			BestDB: &best, BelowBestDB: 2.1, Trend: meter.Rising, Trained: true,
		}
		one := Channel{Label: "North Hill", Now: u}
		for k := range 300 {
			one.Trace = append(one.Trace, Point{now.Add(time.Duration(k) * 100 * time.Millisecond), 6 + 2*math.Sin(float64(k)/20)})
		}
		p.Channels = append(p.Channels, one)
	}
	return p
}

// Truth: the screen's size. Whatever it is, nothing is drawn beyond it, and the
// figure is there.
func TestFrameFits(t *testing.T) {
	for _, s := range []Size{{80, 24, true}, {80, 24, false}, {132, 50, true}, {60, 15, true}, {40, 10, true}, {30, 6, false}, {20, 3, true}, {1, 1, false}} {
		for _, help := range []bool{false, true} {
			p := picture()
			p.Help, p.Rotor = help, help
			lines := Frame(p, s)
			require.LessOrEqual(t, len(lines), s.Height)
			for _, l := range lines {
				require.LessOrEqual(t, cell.Width(l), s.Width)
				if !s.UTF8 && !help {
					require.True(t, strings.IndexFunc(l, func(r rune) bool { return r > 126 }) < 0, l)
				}
			}
			if s.Height < 12 && s.Height > 2 {
				require.Contains(t, strings.Join(lines, "\n"), "+6.2")
			}
		}
	}
}

// Truth: how the figures are drawn, read by eye once.
func TestFrameSays(t *testing.T) {
	p := picture()
	text := strings.Join(Frame(p, Size{80, 24, false}), "\n")
	require.Contains(t, text, "Channel 22, North Hill")
	require.Contains(t, text, "decodes, slim, rising")
	require.Contains(t, text, "2.1 below the best, +8.3")
	require.Contains(t, text, " 2  RF 24    -2.8 dB")
	require.Contains(t, text, "##########") // the top of no figure but the plus's bar
	p.Focus = 1
	require.Contains(t, strings.Join(Frame(p, Size{80, 24, false}), "\n"), "cannot decode yet")

	// Power alone is no picture: another standard's is strong, too.
	p.Focus = 0
	p.Channels[0].Now.Trained = false
	require.Contains(t, strings.Join(Frame(p, Size{80, 24, false}), "\n"), " a signal, but no 8-VSB in it, rising")
	p.Focus = 1
	text = strings.Join(Frame(p, Size{80, 24, false}), "\n")
	require.Contains(t, text, " 1  RF 22    +6.2 dB   a signal, but no 8-VSB in it")
	require.NotContains(t, text, "decodes")

	// A part of a channel is said to be one. What is too narrow for training is
	// not said to be without it.
	u := &p.Channels[0].Now
	u.Seen = []band.Span{{LowHz: 519e6, HighHz: 521.1e6}}
	p.Focus = 0
	text = strings.Join(Frame(p, Size{80, 24, false}), "\n")
	require.Contains(t, text, " Channel 22, North Hill, from 2.1 of its 6 MHz")
	u.Unsought = true
	require.Contains(t, strings.Join(Frame(p, Size{80, 24, false}), "\n"), " decodes, if it is a station, rising")
	uncovered := p
	uncovered.Channels = []Channel{{Now: meter.Update{Channel: u.Channel, State: meter.Uncovered}}}
	require.Contains(t, strings.Join(Frame(uncovered, Size{80, 24, false}), "\n"), "the recording holds nothing usable of it")

	// What is no station is said to be none, with no figure and no promise.
	uncovered.Channels[0].Now = meter.Update{Channel: u.Channel, State: meter.Nothing, Occupied: true}
	require.Contains(t, strings.Join(Frame(uncovered, Size{80, 24, false}), "\n"), " no television station is on it")

	// A stopped meter shows no number.
	for i := range p.Channels {
		p.Channels[i].Stale = true
	}
	for _, s := range []Size{{80, 24, true}, {40, 9, true}} {
		text = strings.Join(Frame(p, s), "\n")
		require.Contains(t, text, "STOPPED")
		require.NotContains(t, text, "-2.8")
		require.NotContains(t, text, "below")
	}
}

// Truth: the values put in. The figures keep their place whatever the number.
func TestFiguresKeepTheirPlace(t *testing.T) {
	point := func(v float64) int {
		p := picture()
		p.Channels[0].Now.Margin.Value = v
		lines := Frame(p, Size{80, 24, true})
		return len([]rune(strings.Split(lines[2+glyphRows-1], " dB margin")[0]))
	}
	require.Equal(t, point(6.2), point(-12.3))
	require.Equal(t, "+0.0", signed(-0.04))
}

// Truth: the screen's size, and what a person who asks for the keys came for: all
// of them, whole.
func TestHelpHasRoom(t *testing.T) {
	for _, s := range []Size{{60, 20, true}, {60, 20, false}, {80, 24, true}, {120, 40, true}} {
		for _, channels := range []int{1, 3} {
			p := picture()
			p.Channels = p.Channels[:channels]
			p.Help, p.Rotor = true, true
			lines := Frame(p, s)
			text := strings.Join(strings.Fields(strings.Join(lines, " ")), " ")
			require.Contains(t, text, "+8.3")
			for _, said := range []string{
				"a quick mark", "forget the best so far", "1 to 8 picks one", "at the decode point and at the best",
				"the phone page's code", "q quit", "5 degrees left or right", "half a foot west or east",
			} {
				require.Contains(t, text, said, s)
			}
			require.NotContains(t, text, "…")
		}
	}
}

// Truth: the screen's size: a large one is used, with larger figures and a higher
// trace.
func TestLargeScreenIsUsed(t *testing.T) {
	p := picture()
	lines := Frame(p, Size{120, 40, true})
	empty := 0
	for _, l := range lines {
		if l == "" {
			empty++
		}
	}
	require.Len(t, lines, 40)
	require.LessOrEqual(t, empty, 9, strings.Join(lines, "\n"))
	text := strings.Join(lines, "\n")
	require.Contains(t, text, strings.Repeat("█", 20)) // the plus's bar, twice as large
	require.Contains(t, text, "dB margin")
}

// Truth: Unicode's wide characters take two cells: nothing is drawn beyond the
// screen, and the source stays at its end.
func TestWideNames(t *testing.T) {
	p := picture()
	for i := range p.Channels {
		p.Channels[i].Label = "東京テレビ塔から北の放送局"
	}
	p.Prompt = "mark (NAME @ HEADING): 屋根裏部屋の北の窓のそばの棚の上の左のはし"
	for _, s := range []Size{{60, 20, true}, {80, 24, true}, {41, 12, true}, {120, 40, true}} {
		lines := Frame(p, s)
		for _, l := range lines {
			require.LessOrEqual(t, cell.Width(l), s.Width, l)
		}
		require.Contains(t, lines[0], "Channel 22, 東京テ")
		require.Contains(t, lines[len(lines)-1], "左のはし_") // what is being typed
		if s.Width >= 60 {
			require.Equal(t, s.Width-1, cell.Width(lines[0]))
			require.Contains(t, strings.Join(lines, "\n"), "2.1 below best") // of another channel
		}
	}
}

// Truth: A/321: a station of ATSC 3.0 holds no 8-VSB, so there is no margin above
// its threshold and nothing is promised; its C/N still leads.
func TestATSC3ByItsCN(t *testing.T) {
	p := picture()
	best := 22.0
	for i, r := range []float64{21.4, 3} {
		u := &p.Channels[i].Now
		u.Standard, u.Gauge, u.Margin, u.Trained = measure.ATSC3, meter.ByCN, nil, false
		u.CN, u.BestDB, u.BelowBestDB = &measure.Estimate{Value: r, Sigma: 0.1}, &best, best-r
	}
	text := strings.Join(Frame(p, Size{80, 24, true}), "\n")
	require.Contains(t, text, "dB C/N")
	require.Contains(t, text, " ATSC 3.0, by its C/N, rising")
	require.Contains(t, text, "0.6 below the best, 22.0")
	require.Contains(t, text, " 2  RF 24     3.0 dB   C/N ATSC 3.0, 19.0 below best")
	for _, no := range []string{"margin", "decode", "+21", "firm"} {
		require.NotContains(t, text, no)
	}
	p.Channels[0].Now.State, p.Channels[0].Now.CN, p.Channels[0].Now.AtMostDB = meter.Nothing, nil, &best
	require.Contains(t, strings.Join(Frame(p, Size{80, 24, true}), "\n"), "nothing heard, C/N below 22.0 dB")
	p.Channels[0].Now = meter.Update{Channel: p.Channels[0].Now.Channel, State: meter.Measuring, Standard: measure.ATSC3, Gauge: meter.ByLevel, Level: &measure.Estimate{Value: -31.25}}
	text = strings.Join(Frame(p, Size{80, 24, true}), "\n")
	require.Contains(t, text, "dBFS")
	require.Contains(t, text, "ATSC 3.0, by its level")
}

// Truth: the readings put in: one that comes late leaves no gap, one that found
// nothing does.
func TestTraceHoldsWhatIsLate(t *testing.T) {
	at := time.Unix(1e9, 0)
	var list []Point
	for k := range 60 {
		list = append(list, Point{at.Add(time.Duration(k) * 500 * time.Millisecond), 5})
	}
	for _, v := range resample(list, 100)[5:] {
		require.Equal(t, 5., v)
	}
	list[40].FigureDB = math.NaN()
	gaps := 0
	for _, v := range resample(list, 100)[5:] {
		if math.IsNaN(v) {
			gaps++
		}
	}
	require.Greater(t, gaps, 0)
	require.Less(t, gaps, 5)
}
