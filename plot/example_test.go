package plot_test

import (
	"os"

	"rooftone/plot"
	"rooftone/scan"
	"rooftone/scan/band"
	"rooftone/scan/measure"
	"rooftone/scan/verdict"
)

func ExampleRows() {
	channel := func(number int, lowerHz float64) measure.Reading {
		return measure.Reading{
			Channel: band.Channel{Number: number, LowerHz: lowerHz},
			Seen:    []band.Span{{LowHz: lowerHz, HighHz: lowerHz + 6e6}}, Presence: measure.Vacant,
		}
	}
	strong, weak, vacant := channel(14, 470e6), channel(15, 476e6), channel(16, 482e6)
	strong.Presence, weak.Presence = measure.Present, measure.Present
	strong.Margin, strong.CN = &measure.Estimate{Value: 14.6, Sigma: 0.2}, &measure.Estimate{Value: 29.8, Sigma: 0.2}
	weak.Margin, weak.CN = &measure.Estimate{Value: -3.4, Sigma: 0.6}, &measure.Estimate{Value: 11.8, Sigma: 0.6}
	s := &scan.Survey{Source: "sim:saltmarsh", Channels: []scan.Channel{
		{Reading: strong, Verdict: verdict.Verdict{Grade: verdict.Firm}},
		{Reading: weak, Verdict: verdict.Verdict{Grade: verdict.Trace, Reasons: []verdict.Reason{{Limit: verdict.Weak}}}},
		{Reading: vacant},
	}}
	if err := plot.Rows(os.Stdout, s, plot.TextOptions{}); err != nil {
		panic(err)
	}
	// Output:
	// Skyline: 1 firm, 1 trace, 1 vacant
	// source sim:saltmarsh
	//
	//  RF          -18         0     +9           +30 margin dB   C/N dB  limits
	//  14 firm                 |######:####           +15   +-1     30
	//  15 trace             ==#|      :                -3.4 +-1.2   12    weak
	//
	// vacant: 16
	// grades: firm 9 dB and more to spare; trace on the air, but no picture here
	// bar: to the right of | a channel decodes (C/N above 15.2 dB) with so many dB in
	//     hand, to the left it lacks so many; : is the roof line, 9 dB, enough for
	//     95 % of the spots around; = and +- show the 95 % interval, - what is unsure
}
