// Package problemtest is for tests of the sources' errors.
package problemtest

import (
	"testing"

	"github.com/stretchr/testify/require"

	"rooftone/scan/tuner"
)

// Require asks for an error of a kind, in one line, with advice in one line, as
// the command line shows them.
func Require(t testing.TB, err error, kind error) {
	t.Helper()
	require.ErrorIs(t, err, kind)
	var p *tuner.Problem
	require.ErrorAs(t, err, &p)
	for _, line := range []string{p.What, p.Hint} {
		require.NotEmpty(t, line)
		require.NotContains(t, line, "\n")
		require.NotRegexp(t, `\.$`, line)
	}
	t.Logf("error: %s", p.What)
	t.Logf("hint: %s", p.Hint)
}
