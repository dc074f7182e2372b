package cell

import (
	"testing"
	"unicode/utf8"

	"github.com/stretchr/testify/require"
)

// Truth: Unicode Standard Annex 11: East Asian wide characters take two cells,
// combining marks none, and what stands joined is one character.
func TestWidth(t *testing.T) {
	for text, want := range map[string]int{
		"": 0, "North Hill": 10, "São": 3, "Sa\u0303o": 3, "東京": 4, "テレビ": 6, "방송": 4, "👍": 2, "–": 1, "█▁": 2,
	} {
		require.Equal(t, want, Width(text), text)
	}
}

// Truth: what fits is counted by hand.
func TestCutFitTailWrap(t *testing.T) {
	require.Equal(t, "東", Cut("東京", 3))
	require.Equal(t, "東京", Cut("東京", 4))
	require.Equal(t, "Sa\u0303", Cut("Sa\u0303o", 2))
	require.Equal(t, "", Cut("東", 1))
	require.Equal(t, "東…", Fit("東京テ", 4, "…"))
	require.Equal(t, "North...", Fit("North Hill", 9, "..."))
	require.Equal(t, "No", Fit("North Hill", 2, "..."))
	require.Equal(t, "京テ", Tail("東京テ", 5))
	require.Equal(t, "東 ", Pad("東", 3))
	require.Equal(t, []string{"a house", "file is", "named"}, Wrap("a house file is named", 8))
	require.Equal(t, []string{"東京", "テ"}, Wrap("東京テ", 5))
	require.Equal(t, []string{""}, Wrap(" ", 5))
}

// Truth: the cells asked for, and the text put in.
func FuzzFit(f *testing.F) {
	f.Add("東京 tower", 5)
	f.Add("e\u0301\u200d👩", 1)
	f.Fuzz(func(t *testing.T, text string, cells int) {
		cells %= 100
		for _, out := range append(Wrap(text, max(2, cells)), Cut(text, cells), Fit(text, max(0, cells), "…"), Tail(text, max(0, cells))) {
			if utf8.ValidString(text) && !utf8.ValidString(out) {
				t.Fatalf("half a character of %q: %q", text, out)
			}
		}
		if w := Width(Fit(text, max(0, cells), "…")); w > max(0, cells) {
			t.Fatalf("%q takes %d cells of %d", text, w, cells)
		}
	})
}
