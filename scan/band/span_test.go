package band

import (
	"testing"

	"github.com/stretchr/testify/require"
)

// Truth: sets of numbers on a line.
func TestJoin(t *testing.T) {
	for _, c := range []struct {
		about  string
		in     []Span
		bridge float64
		want   []Span
	}{
		{"none", nil, 0, nil},
		{"empty and turned round", []Span{{2, 2}, {5, 3}}, 0, nil},
		{"apart, in the wrong order", []Span{{5, 6}, {1, 2}}, 0, []Span{{1, 2}, {5, 6}}},
		{"touching", []Span{{1, 2}, {2, 3}}, 0, []Span{{1, 3}}},
		{"one within another", []Span{{1, 9}, {2, 3}, {9.5, 10}}, 0.25, []Span{{1, 9}, {9.5, 10}}},
		{"bridged", []Span{{1, 2}, {2.2, 3}}, 0.25, []Span{{1, 3}}},
	} {
		require.Equal(t, c.want, Join(c.in, c.bridge), c.about)
	}
	require.Equal(t, 2., Span{3, 5}.WidthHz())
}
