package main

import (
	"bytes"
	"errors"
	"fmt"
	"testing"

	"github.com/stretchr/testify/require"
)

// Truth: the rules at the top of speak.go.
func TestComplain(t *testing.T) {
	for _, c := range []struct {
		err  error
		want string
	}{
		{errors.New("reading a.wav: broken"), "rooftone: error: reading a.wav: broken\n"},
		{errors.New("ends in a full stop."), "rooftone: error: ends in a full stop\n"},
		{errors.New("two\nlines\tand \x1b[31mcolour"), "rooftone: error: two lines and \uFFFD[31mcolour\n"},
		{
			fmt.Errorf("opening: %w", withHint(errors.New("no radio"), "plug one in")),
			"rooftone: error: opening: no radio\nrooftone: hint: plug one in\n",
		},
		{
			withHint(withHint(errors.New("no radio"), "inner"), "outer %d", 1),
			"rooftone: error: no radio\nrooftone: hint: outer 1\n",
		},
	} {
		var b bytes.Buffer
		(&console{stderr: &b}).complain(c.err)
		require.Equal(t, c.want, b.String())
	}
}
