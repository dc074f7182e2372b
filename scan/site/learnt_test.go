package site

import (
	"os"
	"path/filepath"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

func TestLearnt(t *testing.T) {
	// Truth: the promises of Learnt's comments.
	name := filepath.Join(t.TempDir(), "house.jsonl")
	require.NoError(t, Create(name, Header{Name: "Mill Lane"}))
	id, at := 0x2c14, time.Date(2026, 3, 5, 18, 0, 0, 0, time.UTC)
	first := Learnt{Time: at, RFChannel: 14, TransportID: &id, Services: []LearntService{{Number: "8.1", Name: "OLD"}}}
	later := Learnt{
		Time: at.Add(time.Hour), RFChannel: 14, TransportID: &id, Program: "rooftone",
		Services: []LearntService{
			{Number: "8.1", Name: "QSKL\x1b[2J", Video: []string{"MPEG-2 video"}, Audio: []string{"AC-3 eng", "AC-3 spa"}},
			{Number: "8.2", Name: "Tides"},
		},
	}
	other := Learnt{Time: at, RFChannel: 7, TransportID: &id}
	require.NoError(t, Append(name, first, other, later))
	h, err := Read(name)
	require.NoError(t, err)
	require.Empty(t, h.Damage)
	require.Len(t, h.Learnt, 2)
	require.Equal(t, other.Label(), h.Learnt[0].Label())
	require.Equal(t, "stream 0x2c14", h.Label(7))
	later.Services[0].Name = "QSKL\ufffd[2J"
	require.Equal(t, later, h.Learnt[1])
	require.Equal(t, "8.1 QSKL\ufffd[2J", h.Label(14))
	require.Empty(t, h.Label(15))

	label := "Skerrow"
	require.NoError(t, Append(name, WantChange{RFChannel: 14, Label: &label}))
	h, err = Read(name)
	require.NoError(t, err)
	require.Equal(t, label, h.Label(14), "what people call it comes first")

	require.Error(t, Append(name, Learnt{Time: at}))
	require.Error(t, Append(name, Learnt{RFChannel: 3}))
	f, err := os.OpenFile(name, os.O_APPEND|os.O_WRONLY, 0)
	require.NoError(t, err)
	_, err = f.WriteString(`{"kind":"learnt","time":"yesterday","rf_channel":3}
{"kind":"learnt","time":"2026-03-05T18:00:00Z","rf_channel":3,"transport_id":70000}
{"kind":"learnt","time":"2026-03-05T18:00:00Z","rf_channel":0}
`)
	require.NoError(t, err)
	require.NoError(t, f.Close())
	h, err = Read(name)
	require.NoError(t, err)
	require.Equal(t, 3, h.Damaged)
	require.Len(t, h.Learnt, 2)
}
