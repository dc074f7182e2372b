package verdict

import (
	"fmt"
	"math"
	"strings"

	"rooftone/scan/band"
	"rooftone/scan/measure"
)

// coverage turns a standard uncertainty into half a 95 % interval.
const coverage = 1.96

// Basis says how much of a channel a reading rests on, of which a share from 0
// to 1 was heard: "from 2.1 of its 6 MHz". It is "" where that is all of it, or
// nothing.
func Basis(share float64) string {
	const whole = band.WidthHz / 1e6
	mhz := share * whole
	switch {
	case !(mhz > 0) || mhz >= whole-0.05:
		return ""
	case mhz < 1:
		return fmt.Sprintf("from %.2f of its %.0f MHz", mhz, whole)
	}
	return fmt.Sprintf("from %.1f of its %.0f MHz", mhz, whole)
}

// Could says which other grades a margin's 95 % interval reaches into: "could be
// firm", "could be cliff or firm". It is "" where there is none.
func Could(margin *measure.Estimate) string {
	if margin == nil || !(margin.Sigma > 0) || math.IsInf(margin.Sigma, 0) || math.IsNaN(margin.Value) {
		return ""
	}
	own := gradeOf(margin.Value)
	low, high := gradeOf(margin.Value-coverage*margin.Sigma), gradeOf(margin.Value+coverage*margin.Sigma)
	var others []string
	within := false
	for _, g := range []Grade{Trace, Cliff, Slim, Firm} {
		within = within || g == low
		if within && g != own {
			others = append(others, string(g))
		}
		if g == high {
			break
		}
	}
	switch n := len(others); n {
	case 0:
		return ""
	case 1:
		return "could be " + others[0]
	default:
		return "could be " + strings.Join(others[:n-1], ", ") + " or " + others[n-1]
	}
}

// partly reports whether more than a little of the channel was not heard.
func partly(r *measure.Reading) bool { return Basis(r.SeenShare()) != "" }

// echoCost is what echoes are known to cost. Of a channel that was heard in part
// that is an inference: it counts where its own uncertainty leaves no doubt that
// there is a cost, and the echo itself was found or half of the channel seen.
func echoCost(r *measure.Reading) float64 {
	cost := valueOf(r.EchoCost)
	if cost == 0 || !partly(r) {
		return cost
	}
	const enough = 0.5
	if cost < coverage*r.EchoCost.Sigma || len(r.Echoes) == 0 && r.SeenShare() < enough {
		return 0
	}
	return cost
}
