package live

import (
	"math"
	"strings"
	"testing"
	"time"
	"unicode/utf8"

	"github.com/stretchr/testify/require"

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
				require.LessOrEqual(t, utf8.RuneCountInString(l), s.Width)
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
