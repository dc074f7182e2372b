package site

import (
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

// Truth: what was written, and the rule that a later record of one thing replaces an
// earlier one.
func TestLead(t *testing.T) {
	path := t.TempDir() + "/house.jsonl"
	require.NoError(t, Create(path, Header{Name: "x"}))
	at := time.Date(2026, 3, 5, 9, 0, 0, 0, time.UTC)
	h, err := Read(path)
	require.NoError(t, err)
	require.Nil(t, h.Lead)
	require.NoError(t, Append(path, Lead{Time: at, Parts: []string{"cable rg59:50ft", "splitter 2"}}))
	require.NoError(t, Append(path, Lead{Time: at.Add(time.Hour), Parts: []string{}}))
	h, err = Read(path)
	require.NoError(t, err)
	require.Equal(t, &Lead{Time: at.Add(time.Hour), Parts: []string{}}, h.Lead)
	require.Zero(t, h.Others)

	require.Error(t, Append(path, Lead{Parts: []string{"cable rg6:1m"}}), "without a time")
	require.Error(t, Append(path, Lead{Time: at, Parts: make([]string, maxParts+1)}))
	const head = `{"kind":"house","schema":"rooftone.house/1","name":"x"}` + "\n"
	for _, bad := range []string{`{"kind":"lead","time":"noon","parts":[]}`, `{"kind":"lead","time":"2026-03-05T09:00:00Z","parts":7}`} {
		h, err := Decode(strings.NewReader(head + bad + "\n"))
		require.NoError(t, err)
		require.Equal(t, 1, h.Damaged, bad)
		require.Nil(t, h.Lead)
	}
}
