package watch

import (
	"math"
	"slices"
	"sort"
	"time"
)

// Joint is which fades began together on several channels.
type Joint struct {
	Fades    int     // that have a line of their own, of all channels
	Together int     // of them, those that began together with another channel's
	Expected float64 // so many would by chance
	Certain  bool    // chance does not explain it
	Events   []JointEvent
}

// JointEvent is a moment at which several channels began to fade.
type JointEvent struct {
	Time       time.Time
	RFChannels []int
	DepthDB    float64 // of the deepest
	Seconds    float64 // of the longest
}

// mostEvents bounds how many are told.
const mostEvents = 200

type joints struct {
	Joint
	of map[int]int
}

// newJoints looks for fades that begin together.
func newJoints(l *Log, every float64, channels []int) *joints {
	j := &joints{of: map[int]int{}}
	together := seconds(math.Max(3, 2.2*every))
	var fades []Fade
	for _, f := range l.Fades {
		if !f.Stayed {
			fades = append(fades, f)
		}
	}
	j.Fades = len(fades)
	for i := 0; i < len(fades); {
		k := i + 1
		for k < len(fades) && fades[k].Time.Sub(fades[i].Time) <= together {
			k++
		}
		var with []int
		e := JointEvent{Time: fades[i].Time}
		for _, f := range fades[i:k] {
			if !slices.Contains(with, f.RFChannel) {
				with = append(with, f.RFChannel)
			}
			e.DepthDB, e.Seconds = math.Max(e.DepthDB, f.DepthDB()), math.Max(e.Seconds, f.Seconds)
		}
		if len(with) < 2 {
			i++
			continue
		}
		sort.Ints(with)
		e.RFChannels = with
		j.Together += len(with)
		for _, rf := range with {
			j.of[rf]++
		}
		if len(j.Events) < mostEvents {
			j.Events = append(j.Events, e)
		}
		i = k
	}
	j.Expected = byChance(fades, together, channels)
	j.Certain = unlikely(j.Together/2, j.Expected/2) && float64(j.Together) > 2*j.Expected // they come in twos at least
	return j
}

// byChance is how many fades would begin within a time of another channel's if the
// channels knew nothing of each other but the hour: evenings may be bad for all.
func byChance(fades []Fade, together time.Duration, channels []int) float64 {
	var sum float64
	for i := 0; i < len(fades); {
		hour := fades[i].Time.Truncate(time.Hour)
		count := map[int]float64{}
		n := 0.0
		for ; i < len(fades) && fades[i].Time.Truncate(time.Hour).Equal(hour); i++ {
			count[fades[i].RFChannel]++
			n++
		}
		for _, rf := range channels {
			others := n - count[rf]
			sum += count[rf] * (1 - math.Exp(-others*2*together.Seconds()/3600))
		}
	}
	return sum
}
