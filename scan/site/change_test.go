package site

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"rooftone/scan/measure"
)

const none = -1000 // a channel that was measured and is not there

func marginMark(at time.Time, place string, margins ...float64) Mark {
	m := Mark{Time: at, Place: place}
	for i, x := range margins {
		h := Heard{RFChannel: 7 + i}
		if x != none {
			h.Margin = &measure.Estimate{Value: x, Sigma: 0.2}
		}
		m.Heard = append(m.Heard, h)
	}
	return m
}

// Truth: the documented rule, worked out by hand.
func TestChanges(t *testing.T) {
	day := 24 * time.Hour
	marks := []Mark{
		marginMark(noon, "roof", 20, 12, none, 15, 10),
		marginMark(noon.Add(time.Hour), "attic", 5),
		marginMark(noon.Add(2*time.Hour), "gable", 5),
		marginMark(noon.Add(7*day), "roof", 12, 13, 8, none),
		marginMark(noon.Add(7*day), "attic", 6),
		marginMark(noon.Add(8*day), "shed", 3),
	}
	changes, visited := Changes(marks, noon.Add(7*day), DefaultOptions())
	require.Len(t, changes, 2)
	require.Len(t, visited.New, 1)
	require.Equal(t, "shed", visited.New[0].Place)
	require.Len(t, visited.Left, 1)
	require.Equal(t, "gable", visited.Left[0].Place)

	attic, roof := changes[0], changes[1]
	require.Equal(t, "attic", attic.Spot.Place)
	require.InDelta(t, 1, attic.Channels[0].Change.Value, 1e-9)
	require.InDelta(t, math.Sqrt2*math.Hypot(0.2, 1), attic.Channels[0].Change.Sigma, 1e-3)
	require.False(t, attic.Channels[0].Certain)

	require.Equal(t, "roof", roof.Spot.Place)
	require.Len(t, roof.Channels, 4, "RF 11 was not measured again")
	var certain []bool
	for i, c := range roof.Channels {
		require.Equal(t, 7+i, c.RFChannel)
		certain = append(certain, c.Certain)
	}
	require.Equal(t, []bool{true, false, true, true}, certain)
	require.InDelta(t, -8, roof.Channels[0].Change.Value, 1e-9)
	require.Nil(t, roof.Channels[2].Before)
	require.Nil(t, roof.Channels[3].Since)

	changes, visited = Changes(nil, noon, DefaultOptions())
	require.Empty(t, changes)
	require.Empty(t, visited)
}

// Truth: the definition of FalseAlarm, on visits between which nothing changed.
func TestChangesFalseAlarm(t *testing.T) {
	r := rand.New(rand.NewPCG(13, 14))
	o := DefaultOptions()
	const n = 1500
	alarms := 0
	for range n {
		var marks []Mark
		for i := range 8 { // four places, twice
			m := marginMark(noon.Add(time.Duration(i/4)*time.Hour), fmt.Sprint(i%4), 5, 10, 15)
			for k := range m.Heard {
				m.Heard[k].Margin.Value += math.Hypot(m.Heard[k].Margin.Sigma, o.RepeatDB) * r.NormFloat64()
			}
			marks = append(marks, m)
		}
		changes, _ := Changes(marks, noon.Add(time.Minute), o)
		alarm := false
		for _, c := range changes {
			for _, ch := range c.Channels {
				alarm = alarm || ch.Certain
			}
		}
		if alarm {
			alarms++
		}
	}
	t.Logf("false alarms: %.1f %%", 100*float64(alarms)/n)
	require.InDelta(t, o.FalseAlarm, float64(alarms)/n, 0.02)
}

func ExampleChanges() {
	marks := []Mark{marginMark(noon, "chimney", 14, 9), marginMark(noon.Add(time.Hour), "chimney", 13.5, 2)}
	changes, _ := Changes(marks, noon.Add(time.Minute), DefaultOptions())
	for _, c := range changes[0].Channels {
		fmt.Printf("RF %d: %+.1f dB, certain: %t\n", c.RFChannel, c.Change.Value, c.Certain)
	}
	// Output:
	// RF 7: -0.5 dB, certain: false
	// RF 8: -7.0 dB, certain: true
}
