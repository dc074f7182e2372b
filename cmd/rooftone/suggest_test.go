package main

import (
	"testing"

	"github.com/stretchr/testify/require"
)

// Truth: counted by hand.
func TestSlips(t *testing.T) {
	for _, c := range []struct {
		a, b string
		want int
	}{
		{"", "", 0},
		{"sweep", "sweep", 0},
		{"", "abc", 3},
		{"swep", "sweep", 1},
		{"sweeep", "sweep", 1},
		{"sweap", "sweep", 1},
		{"swepe", "sweep", 1}, // neighbours swapped
		{"wsepe", "sweep", 2},
		{"demo", "devices", 5},
		{"größe", "grösse", 2},
	} {
		require.Equal(t, c.want, slips(c.a, c.b), "%s → %s", c.a, c.b)
		require.Equal(t, c.want, slips(c.b, c.a), "%s → %s", c.b, c.a)
	}
}

// Truth: what a person would have meant.
func TestClosest(t *testing.T) {
	words := []string{"demo", "sweep", "record", "devices", "version", "help"}
	for typed, want := range map[string]string{
		"swep":    "sweep",
		"dmeo":    "demo",
		"device":  "devices",
		"recrod":  "record",
		"kitchen": "",
		"zz":      "",
	} {
		require.Equal(t, want, closest(typed, words), typed)
	}
}
