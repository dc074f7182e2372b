package main

import (
	"bytes"
	"errors"
	"math"
	"testing"

	"github.com/stretchr/testify/require"

	"rooftone/scan"
	"rooftone/scan/band"
	"rooftone/scan/measure"
	"rooftone/scan/meter"
	"rooftone/scan/recording"
	"rooftone/scan/tuner"
	"rooftone/scan/verdict"
)

// heldFile is a recording that is only its stays.
type heldFile struct {
	recorded
	stays []recording.Span
}

func (h heldFile) Info() tuner.Info        { return tuner.Info{Name: "x.cu8"} }
func (h heldFile) Spans() []recording.Span { return h.stays }

func stayAt(centerMHz, rateMHz, seconds float64) recording.Span {
	return recording.Span{
		Stay:    tuner.Stay{CenterHz: centerMHz * 1e6, RateHz: rateMHz * 1e6, GainDB: math.NaN()},
		Samples: int64(seconds*rateMHz*1e6 + 0.5),
	}
}

// heardPart is a channel of which a recording showed the given parts, in MHz.
func heardPart(t *testing.T, number int, grade verdict.Grade, lowHigh ...float64) scan.Channel {
	t.Helper()
	ch, ok := band.Plans()[0].Channel(number)
	require.True(t, ok)
	out := scan.Channel{Reading: measure.Reading{Channel: ch}}
	for i := 0; i < len(lowHigh); i += 2 {
		out.Seen = append(out.Seen, band.Span{LowHz: lowHigh[i] * 1e6, HighHz: lowHigh[i+1] * 1e6})
		out.Presence = measure.Present
	}
	out.Grade = grade
	return out
}

// Truth: our own promise of the line that says what a recording holds, what that
// showed and what to record next. Channel 28 is 554 to 560 MHz.
func TestWhatIsMissingIsTold(t *testing.T) {
	one := []recording.Span{stayAt(555, 2.4, 0.06)}
	for name, test := range map[string]struct {
		stays    []recording.Span
		channels []scan.Channel
		listed   bool
		note     string // "": none
		err      string
		hint     string
	}{
		"a third of the channel asked for": {
			one, []scan.Channel{heardPart(t, 28, verdict.Slim, 554, 556.05)}, true,
			"x.cu8 holds 553.95 to 556.05 MHz, 60 ms: 34 % of channel 28 (slim); 0.5 s at 557 and 559 MHz would complete it", "", "",
		},
		"of all, the one that was heard": {
			one, []scan.Channel{heardPart(t, 27, ""), heardPart(t, 28, "", 554, 556.05), heardPart(t, 29, "")}, false,
			"x.cu8 holds 553.95 to 556.05 MHz, 60 ms: 34 % of channel 28 (present); 0.5 s at 557 and 559 MHz would complete it", "", "",
		},
		"a part of one, nothing of others": {
			one, []scan.Channel{heardPart(t, 28, verdict.Slim, 554, 556.05), heardPart(t, 29, ""), heardPart(t, 30, "")}, true,
			"x.cu8 holds 553.95 to 556.05 MHz, 60 ms: 34 % of channel 28 (slim), nothing of channels 29-30; 0.5 s at each of 8 tunings from 557 to 571 MHz would complete them", "", "",
		},
		"all that was asked for": {
			[]recording.Span{stayAt(557, 8, 0.1)}, []scan.Channel{heardPart(t, 28, verdict.Slim, 554, 560)}, true, "", "", "",
		},
		"edges left out": {
			[]recording.Span{stayAt(557, 8, 0.1)}, []scan.Channel{heardPart(t, 28, verdict.Slim, 554.05, 559.95)}, true, "", "", "",
		},
		"a whole one and slivers, nobody asked": {
			[]recording.Span{stayAt(557, 8, 0.1)}, []scan.Channel{heardPart(t, 27, "", 553.5, 554), heardPart(t, 28, verdict.Firm, 554, 560), heardPart(t, 29, "", 560, 560.5)}, false, "", "", "",
		},
		"a sliver, asked for": {
			[]recording.Span{stayAt(557, 8, 0.1)}, []scan.Channel{heardPart(t, 28, verdict.Firm, 554, 560), heardPart(t, 29, "", 560, 560.5)}, true,
			"x.cu8 holds 553.5 to 560.5 MHz, 100 ms: 8 % of channel 29 (present); 0.5 s at 563 MHz would complete it", "", "",
		},
		"across an edge, nobody asked": {
			[]recording.Span{stayAt(560, 2.4, 1.5)}, []scan.Channel{heardPart(t, 28, "", 558.95, 560), heardPart(t, 29, "", 560, 561.05)}, false,
			"x.cu8 holds 558.95 to 561.05 MHz, 1.5 s: 18 % of channel 28 (present); 0.5 s at 555, 556.5 and 558 MHz would complete it", "", "",
		},
		"a slow one": {
			[]recording.Span{stayAt(554.3, 0.25, 0.5)}, []scan.Channel{heardPart(t, 28, "", 554.19, 554.41)}, false,
			"x.cu8 holds 554.19 to 554.41 MHz, 500 ms: 4 % of channel 28 (present); 0.5 s at 555, 557 and 559 MHz and 2.4 MS/s would complete it", "", "",
		},
		"two rates": {
			[]recording.Span{stayAt(555, 2.4, 0.1), stayAt(558, 5, 0.1)}, []scan.Channel{heardPart(t, 28, "", 555.82, 560)}, false,
			"x.cu8 holds 553.95 to 560.19 MHz, 100 ms: 70 % of channel 28 (present); 0.5 s at 555 MHz and 5 MS/s would complete it", "", "",
		},
		"nothing of what was asked for": {
			one, []scan.Channel{heardPart(t, 22, "")}, true,
			"", "x.cu8 holds 553.95 to 556.05 MHz, 60 ms: nothing can be said of channel 22", "0.5 s at 519, 521 and 523 MHz would show it; this is of channels 27-28",
		},
		"nothing at all": {
			[]recording.Span{stayAt(1090, 2.4, 0.06)}, []scan.Channel{heardPart(t, 28, "")}, false,
			"", "x.cu8 holds 1088.95 to 1091.05 MHz, 60 ms: no part of any channel", "the channels of this plan lie at 54 to 72, 76 to 88, 174 to 216 and 470 to 608 MHz; --center corrects the frequency of a raw recording",
		},
		"too short": {
			[]recording.Span{stayAt(557, 2.4, 1e-4)}, []scan.Channel{heardPart(t, 27, ""), heardPart(t, 28, "")}, false,
			"", "x.cu8 holds 555.95 to 558.05 MHz, 0.1 ms: too little of channel 28 to say anything of it", "0.5 s at 555, 557 and 559 MHz would show it",
		},
	} {
		t.Run(name, func(t *testing.T) {
			var asked []band.Channel
			for _, ch := range test.channels {
				asked = append(asked, ch.Channel)
			}
			src := source{playlist: heldFile{stays: test.stays}}
			e := src.evidenceOf(&scan.Survey{Channels: test.channels}, asked, band.Plans()[0].Channels, test.listed)
			err := e.nothing()
			if test.err != "" {
				require.EqualError(t, err, test.err)
				require.Equal(t, test.hint, hintOf(err))
				return
			}
			require.NoError(t, err)
			var said bytes.Buffer
			e.tell(&console{stderr: &said})
			if test.note == "" {
				require.Empty(t, said.String())
				return
			}
			require.Equal(t, "rooftone: note: "+test.note+"\n", said.String())
		})
	}
}

// Truth: our own promise that the meter, too, says what to record.
func TestMeterSaysWhatToRecord(t *testing.T) {
	src := source{playlist: heldFile{stays: []recording.Span{stayAt(557, 2.4, 1)}}}
	ch, _ := band.Plans()[0].Channel(28)
	err := recordMore(&meter.UncoveredError{Channels: []band.Channel{ch}}, src)
	require.Equal(t, "0.5 s at 555 and 559 MHz would complete it", hintOf(err))
	other := errors.New("other")
	require.Equal(t, other, recordMore(other, src))
	require.NoError(t, recordMore(nil, src))
}
