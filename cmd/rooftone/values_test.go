package main

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

// Truth: our own promise of what may be written.
func TestNumber(t *testing.T) {
	var v *float64
	n := &number{to: &v, min: -200, max: 200, unit: "ppm", auto: true}
	require.Equal(t, "auto", n.String())
	require.NoError(t, n.Set("-12.5"))
	require.Equal(t, -12.5, *v)
	require.Equal(t, "-12.5", n.String())
	require.NoError(t, n.Set("auto"))
	require.Nil(t, v)
	for _, bad := range []string{"", "NaN", "Inf", "-inf", "1e999", "twelve", "200.1", "-201", "12ppm"} {
		require.Error(t, n.Set(bad), bad)
		require.Nil(t, v, "a refused value must leave no trace")
	}
	n.auto = false
	require.ErrorContains(t, n.Set("auto"), "not a number")
}

// Truth: SI prefixes.
func TestHertz(t *testing.T) {
	for s, want := range map[string]float64{
		"2400000":   2.4e6,
		"2.4e6":     2.4e6,
		"2.4M":      2.4e6,
		"2.4MHz":    2.4e6,
		"2.4 mhz":   0, // m is milli: refused rather than guessed
		"2400k":     2.4e6,
		"2400 kHz":  2.4e6,
		"0.605G":    605e6,
		"605000000": 605e6,
		"NaN":       0,
		"M":         0,
		"Hz":        0,
		"":          0,
		"-1M":       0,
		"99G":       0,
	} {
		var v *float64
		err := (&hertz{to: &v, min: 1, max: 6e9}).Set(s)
		if want == 0 {
			require.Error(t, err, s)
			require.Nil(t, v, s)
			continue
		}
		require.NoError(t, err, s)
		require.InEpsilon(t, want, *v, 1e-12, s)
	}
}

// Truth: our own promise of what may be written.
func TestPeriod(t *testing.T) {
	var v time.Duration
	p := &period{to: &v, min: time.Millisecond, max: time.Minute}
	require.NoError(t, p.Set("60ms"))
	require.Equal(t, 60*time.Millisecond, v)
	for _, bad := range []string{"", "60", "0s", "-1s", "2m", "soon"} {
		require.Error(t, p.Set(bad), bad)
		require.Equal(t, 60*time.Millisecond, v)
	}
}

// Truth: our own promise of what may be written.
func TestChoice(t *testing.T) {
	v := "auto"
	c := &choice{to: &v, words: []string{"auto", "always", "never"}}
	require.NoError(t, c.Set("never"))
	require.Equal(t, "never", v)
	require.ErrorContains(t, c.Set("alwys"), "did you mean always?")
	require.Equal(t, "never", v)
}

// Truth: our own promise that a value which is taken lies within its limits,
// and that one which is refused leaves no trace.
func FuzzValues(f *testing.F) {
	for _, s := range []string{"", "auto", "-12.5", "NaN", "1e999", "2.4MHz", "2400 k", "0x1p-2", "60ms", "-1s", "usb:", "tcp://h:1", "sim:\x00", "2026-03-05", "2026-03-05T18:30", "+7"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		var gain, rate *float64
		if err := (&number{to: &gain, min: -50, max: 120, auto: true}).Set(s); err != nil {
			require.Nil(t, gain)
		} else if gain != nil {
			require.True(t, *gain >= -50 && *gain <= 120)
		}
		if err := (&hertz{to: &rate, min: 1e6, max: 20e6}).Set(s); err != nil {
			require.Nil(t, rate)
		} else {
			require.True(t, *rate >= 1e6 && *rate <= 20e6)
		}
		var dwell time.Duration
		if err := (&period{to: &dwell, min: time.Millisecond, max: time.Second}).Set(s); err != nil {
			require.Zero(t, dwell)
		} else {
			require.True(t, dwell >= time.Millisecond && dwell <= time.Second)
		}
		var count *int
		if err := (&whole{to: &count, min: 0, max: 9}).Set(s); err != nil {
			require.Nil(t, count)
		} else {
			require.True(t, *count >= 0 && *count <= 9)
		}
		var since time.Time
		if err := (&day{&since}).Set(s); err != nil {
			require.Zero(t, since)
		}
		if w, err := parseSource(s); err != nil {
			require.NotContains(t, oneLine(err.Error()), "\n")
		} else if w.kind == fromFile {
			require.Equal(t, s, w.rest)
		}
	})
}
