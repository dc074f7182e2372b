package site

import (
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

// Truth: what the file's description promises: a later record replaces an earlier
// one field by field, notes are added, an empty one takes them away.
func TestAbout(t *testing.T) {
	path := filepath.Join(t.TempDir(), "house.jsonl")
	require.NoError(t, Create(path, Header{Name: "Mill Lane 4"}))
	word := func(s string) *string { return &s }
	at := time.Date(2026, 3, 5, 10, 40, 0, 0, time.UTC)
	require.NoError(t, Append(path,
		AboutChange{Time: at, Address: word("4 Mill  Lane,\nOrford"), By: word("B. Roe")},
		AboutChange{Time: at, Note: word("old")}, AboutChange{Time: at, Note: word("")},
		AboutChange{Time: at, By: word("A. Marsh"), Note: word("the cable is old")},
		AboutChange{Note: word("the mast leans")},
	))
	h, err := Read(path)
	require.NoError(t, err)
	require.Empty(t, h.Damage)
	require.Equal(t, About{Address: "4 Mill Lane, Orford", By: "A. Marsh",
		Notes: []Remark{{at, "the cable is old"}, {Text: "the mast leans"}}}, h.About)

	for _, bad := range []AboutChange{{}, {Time: at}, {Address: word("\x1b[2J")}, {By: word(strings.Repeat("x", maxName+1))}, {Note: word("\xff")}} {
		require.Error(t, Append(path, bad))
	}

	f, err := os.OpenFile(path, os.O_APPEND|os.O_WRONLY, 0)
	require.NoError(t, err)
	_, err = f.WriteString(`{"kind":"about","time":"yesterday","by":"C"}` + "\n" + `{"kind":"about","by":7}` + "\n" +
		`{"kind":"about","by":"\u001b[2JD\u202e","moon":1}` + "\n")
	require.NoError(t, err)
	require.NoError(t, f.Close())
	h, err = Read(path)
	require.NoError(t, err)
	require.Len(t, h.Damage, 2)
	require.NotContains(t, h.About.By, "\x1b")
	require.Contains(t, h.About.By, "D")
}
