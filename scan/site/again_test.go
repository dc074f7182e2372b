package site

import (
	"fmt"
	"math/rand/v2"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

// at is a mark of one channel; a bearing or height below -1 was not told.
func at(when time.Time, place string, bearing, height, margin float64) Mark {
	m := marginMark(when, place, margin)
	if bearing >= -1 {
		m.BearingDeg = &bearing
	}
	if height >= -1 {
		m.HeightM = &height
	}
	return m
}

const untold = -9.

// Truth: the documented rule, worked out by hand: after a storm a heading and a
// height that were found again by hand are the old ones, if it is clear which.
func TestChangesAfterAStorm(t *testing.T) {
	storm := noon.Add(30 * 24 * time.Hour)
	for name, c := range map[string]struct {
		before, since []Mark
		want          string
	}{
		"to the letter":       {[]Mark{at(noon, "gable", 131, untold, 9)}, []Mark{at(storm, "Gable", 131, untold, 2)}, "gable, 131° SE=131"},
		"another degree":      {[]Mark{at(noon, "gable", 131, untold, 9)}, []Mark{at(storm, "gable", 130, untold, 2)}, "gable, 131° SE=130"},
		"by hand":             {[]Mark{at(noon, "gable", 131, untold, 9)}, []Mark{at(storm, "gable", 136, untold, 2)}, "gable, 131° SE=136"},
		"around north":        {[]Mark{at(noon, "gable", 358, untold, 9)}, []Mark{at(storm, "gable", 2, untold, 2)}, "gable, 358° N=2"},
		"too far":             {[]Mark{at(noon, "gable", 131, untold, 9)}, []Mark{at(storm, "gable", 138, untold, 2)}, "new gable, 138° SE; left gable, 131° SE"},
		"a height now":        {[]Mark{at(noon, "gable", 131, untold, 9)}, []Mark{at(storm, "gable", 131, 6.1, 2)}, "gable, 131° SE=131"},
		"no height now":       {[]Mark{at(noon, "gable", 131, 6.1, 9)}, []Mark{at(storm, "gable", 130, untold, 2)}, "gable, 131° SE, 6.1 m=130"},
		"6 m and 20 ft":       {[]Mark{at(noon, "gable", 131, 6, 9)}, []Mark{at(storm, "gable", 131, 6.096, 2)}, "gable, 131° SE, 6 m=131"},
		"another storey":      {[]Mark{at(noon, "gable", 131, 6, 9)}, []Mark{at(storm, "gable", 131, 3, 2)}, "new gable, 131° SE, 3 m; left gable, 131° SE, 6 m"},
		"another place":       {[]Mark{at(noon, "gable", 131, untold, 9)}, []Mark{at(storm, "barn", 131, untold, 2)}, "new barn, 131° SE; left gable, 131° SE"},
		"the nearer is exact": {[]Mark{at(noon, "gable", 131, untold, 9), at(noon, "gable", 136, untold, 5)}, []Mark{at(storm, "gable", 136, untold, 2)}, "gable, 136° SE=136; left gable, 131° SE"},
		"both again": {[]Mark{at(noon, "gable", 131, untold, 9), at(noon, "gable", 136, untold, 5)},
			[]Mark{at(storm, "gable", 130, untold, 2), at(storm, "gable", 139, untold, 2)}, "gable, 131° SE=130; gable, 136° SE=139"},
		"between two": {[]Mark{at(noon, "gable", 128, untold, 9), at(noon, "gable", 134, untold, 5)}, []Mark{at(storm, "gable", 131, untold, 2)},
			"new gable, 131° SE; left gable, 128° SE; left gable, 134° SE; unclear gable, 131° SE: gable, 128° SE or gable, 134° SE"},
		"two heights": {[]Mark{at(noon, "gable", 131, 3, 9), at(noon, "gable", 131, 6, 5)}, []Mark{at(storm, "gable", 131, untold, 2)},
			"new gable, 131° SE; left gable, 131° SE, 3 m; left gable, 131° SE, 6 m; unclear gable, 131° SE: gable, 131° SE, 3 m or gable, 131° SE, 6 m"},
		"no heading now": {[]Mark{at(noon, "gable", 131, untold, 9)}, []Mark{at(storm, "gable", untold, untold, 2)},
			"new gable; left gable, 131° SE; unclear, no heading, gable: gable, 131° SE"},
		"a finer look since": {[]Mark{at(noon, "gable", 131, untold, 9)}, []Mark{at(storm, "gable", 131, untold, 2), at(storm, "gable", 135, untold, 3)},
			"gable, 131° SE=131; new gable, 135° SE"},
	} {
		marks := append(append([]Mark{}, c.since...), c.before...)
		changes, visited := Changes(marks, storm.Add(-time.Hour), DefaultOptions())
		require.Equal(t, c.want, told(changes, visited), name)
	}
}

func told(changes []Change, v Visited) string {
	var out []string
	for _, c := range changes {
		out = append(out, fmt.Sprintf("%s=%.0f", c.Before, *c.Spot.BearingDeg))
	}
	for _, s := range v.New {
		out = append(out, "new "+s.String())
	}
	for _, s := range v.Left {
		out = append(out, "left "+s.String())
	}
	for _, u := range v.Unclear {
		out = append(out, unclearWords(u))
	}
	return strings.Join(out, "; ")
}

func unclearWords(u Unclear) string {
	var among []string
	for _, s := range u.Among {
		among = append(among, s.String())
	}
	word := "unclear "
	if u.NoHeading {
		word = "unclear, no heading, "
	}
	return word + u.Spot.String() + ": " + strings.Join(among, " or ")
}

// Truth: the slope of a cosine's beam, worked out by hand: 5 degrees explain
// 1.05 dB more.
func TestChangesAllowForTheHeading(t *testing.T) {
	storm := noon.Add(30 * 24 * time.Hour)
	sigma := func(heading float64) float64 {
		changes, _ := Changes([]Mark{at(noon, "gable", 131, untold, 9), at(storm, "gable", heading, untold, 2)}, storm, DefaultOptions())
		require.Len(t, changes, 1)
		return changes[0].Channels[0].Change.Sigma
	}
	require.InDelta(t, 1.05*1.05, sigma(136)*sigma(136)-sigma(131)*sigma(131), 1e-9)
}

// Truth: the documented rule: on one visit what is told is meant, from visit to
// visit a hand finds a heading again.
func TestSpotsOverVisits(t *testing.T) {
	week := 7 * 24 * time.Hour
	marks := []Mark{
		at(noon, "gable", 131, untold, 10), at(noon.Add(time.Minute), "gable", 136, untold, 8), at(noon.Add(2*time.Minute), "gable", 131, 6, 12),
		at(noon.Add(week), "Gable", 130, untold, 10), at(noon.Add(week), "gable", 268, 6, 1), at(noon.Add(2*week), "gable", 272, untold, 1),
		at(noon.Add(3*week), "gable", 133.5, 6, 7),
	}
	names := func(spots []Spot) string {
		var out []string
		for _, s := range spots {
			out = append(out, fmt.Sprintf("%s x%d", s.String(), len(s.Visits)))
		}
		return strings.Join(out, "; ")
	}
	o := DefaultOptions()
	spots := Spots(marks, o)
	require.Equal(t, "gable, 131° SE x2; gable, 131° SE, 6 m x1; gable, 134° SE, 6 m x1; gable, 136° SE x1; gable, 268° W, 6 m x2", names(spots))
	var doubts []string
	for _, u := range Unclears(spots, marks, o) {
		doubts = append(doubts, unclearWords(u))
	}
	// Of the last, 131 with and without its height and 136 were all possible.
	require.Equal(t, []string{"unclear gable, 134° SE, 6 m: gable, 131° SE or gable, 131° SE, 6 m or gable, 136° SE"}, doubts)
	for i := range spots {
		require.Len(t, MarksOf(&spots[i], marks, o), len(spots[i].Visits))
	}
	// In any order.
	r := rand.New(rand.NewPCG(1, 2))
	for range 20 {
		r.Shuffle(len(marks), func(i, j int) { marks[i], marks[j] = marks[j], marks[i] })
		require.Equal(t, names(spots), names(Spots(marks, o)))
	}
}

// Truth: the documented rule, on names that a person types.
func TestAgainAt(t *testing.T) {
	o := DefaultOptions()
	o.Units = Feet
	spots := Spots([]Mark{at(noon, "gable", 131, 6.1, 1), at(noon, "gable", 136, 6.1, 1), at(noon, "gable", 268, untold, 1), at(noon, "attic", untold, untold, 1)}, o)
	var list []*Spot
	for i := range spots {
		list = append(list, &spots[i])
	}
	find := func(place string, bearing, height *float64) string {
		var out []string
		for _, s := range AgainAt(list, place, bearing, height, o) {
			out = append(out, s.String())
		}
		return strings.Join(out, "; ")
	}
	require.Equal(t, "gable, 131° SE, 20 ft", find("Gable", ptr(130.), nil))
	require.Equal(t, "gable, 131° SE, 20 ft", find("gable", ptr(131.), ptr(6.)))
	require.Equal(t, "gable, 131° SE, 20 ft; gable, 136° SE, 20 ft", find("gable", ptr(133.5), nil))
	require.Equal(t, "gable, 268° W", find("gable", ptr(271.), nil))
	require.Equal(t, "attic", find("ATTIC", nil, nil))
	require.Len(t, AgainAt(list, "gable", nil, nil, o), 3)
	require.Empty(t, find("barn", nil, nil))
	require.Empty(t, find("gable", ptr(20.), nil))
}
