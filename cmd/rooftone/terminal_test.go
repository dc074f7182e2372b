package main

import (
	"bytes"
	"testing"

	"github.com/stretchr/testify/require"
)

// Truth: POSIX's order of the locale variables, and no-color.org's rule.
func TestScreen(t *testing.T) {
	for _, c := range []struct {
		name  string
		env   map[string]string
		looks looks
		want  screen
	}{
		{"piped", map[string]string{"LANG": "en_US.UTF-8"}, looks{}, screen{80, true, false}},
		{"C locale overrules", map[string]string{"LC_ALL": "C", "LANG": "en_US.UTF-8"}, looks{}, screen{80, false, false}},
		{"empty is unset", map[string]string{"LC_ALL": "", "LC_CTYPE": "C.utf8"}, looks{}, screen{80, true, false}},
		{"asked for ASCII", map[string]string{"LANG": "en_US.UTF-8"}, looks{ascii: true}, screen{80, false, false}},
		{"asked for colour", map[string]string{"LANG": "C", "NO_COLOR": "1"}, looks{colour: "always"}, screen{80, false, true}},
		{"COLUMNS", map[string]string{"LANG": "C", "COLUMNS": "132"}, looks{}, screen{132, false, false}},
		{"COLUMNS too narrow", map[string]string{"LANG": "C", "COLUMNS": "3"}, looks{}, screen{narrowest, false, false}},
		{"COLUMNS nonsense", map[string]string{"LANG": "C", "COLUMNS": "wide"}, looks{}, screen{80, false, false}},
	} {
		k := &console{stdout: &bytes.Buffer{}, env: func(s string) string { return c.env[s] }}
		require.Equal(t, c.want, k.screenFor(c.looks), c.name)
	}
}
