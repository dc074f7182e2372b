package main

import (
	"rooftone/scan/cure"
	"rooftone/scan/measure"
)

// cureSchema names the JSON that cure prints, as sweepSchema does sweep's.
const cureSchema = "rooftone.cure/1"

// cureReport is what cure says as the JSON has it: a public contract.
type cureReport struct {
	Schema      string        `json:"schema"`
	From        string        `json:"from"`
	ThresholdDB float64       `json:"threshold_db"`
	Lead        []string      `json:"lead"`
	Channels    []cureChannel `json:"channels"`
	Changes     []cureChange  `json:"changes"`
	Check       *cureCheck    `json:"check"`
	Caution     *string       `json:"caution"`
}

type cureChannel struct {
	RFChannel   int         `json:"rf_channel"`
	Label       *string     `json:"label"`
	Wanted      bool        `json:"wanted"`
	MarginDB    *float64    `json:"margin_db"`
	MarginSigma *float64    `json:"margin_sigma_db"`
	NoiseFrom   *cureOrigin `json:"noise_from"`
	Amplifier   string      `json:"amplifier"`
	Why         *string     `json:"why"`
	First       *string     `json:"first"`
	Limits      []string    `json:"limits"`
	Elsewhere   *curePlace  `json:"elsewhere"`
}

type curePlace struct {
	Place       string   `json:"place"`
	MarginDB    *float64 `json:"margin_db"`
	MarginSigma *float64 `json:"margin_sigma_db"`
}

// cureSpan is a 95 % interval with its middle: low, middle, high.
type cureSpan [3]*float64

func spanIn(i cure.Interval, step float64) cureSpan {
	return cureSpan{round(i.Low, step), round(i.Middle, step), round(i.High, step)}
}

type cureOrigin struct {
	Outside  cureSpan `json:"outside"`
	Lead     cureSpan `json:"lead"`
	Receiver cureSpan `json:"receiver"`
	Products cureSpan `json:"products"`
	Under    cureSpan `json:"under"`
	RestsOn  string   `json:"rests_on"` // bare, head or common
}

type cureChange struct {
	Name     string        `json:"name"`
	Head     []curePart    `json:"at_antenna"`
	Tail     []curePart    `json:"at_receiver"`
	Without  bool          `json:"without_lead"`
	Channels []cureOutcome `json:"channels"`
	Gained   cureSpan      `json:"gained"`
	Lost     cureSpan      `json:"lost"`
}

type curePart struct {
	Kind  string `json:"kind"`
	Text  string `json:"text"`
	Given bool   `json:"given"`
}

type cureOutcome struct {
	RFChannel   int      `json:"rf_channel"`
	ChangeDB    cureSpan `json:"change_db"`
	MarginDB    cureSpan `json:"margin_db"`
	Decodes     *float64 `json:"decodes"`
	DecodesNow  *float64 `json:"decodes_now"`
	ProductsDB  cureSpan `json:"products_to_noise_db"`
	Overload    bool     `json:"overload"`
	MayOverload bool     `json:"may_overload"`
}

type cureCheck struct {
	OffDB    *float64          `json:"off_db"`
	Inside   int               `json:"inside"`
	Channels []cureCheckedLine `json:"channels"`
}

type cureCheckedLine struct {
	RFChannel     int      `json:"rf_channel"`
	ForetoldDB    cureSpan `json:"foretold_db"`
	MeasuredDB    *float64 `json:"measured_db"`
	MeasuredSigma *float64 `json:"measured_sigma_db"`
	OffDB         *float64 `json:"off_db"`
	Inside        bool     `json:"inside"`
}

func (a *cureAnswer) report() cureReport {
	r := cureReport{Schema: cureSchema, From: a.what, ThresholdDB: a.threshold, Lead: a.leadText, Channels: []cureChannel{}, Changes: []cureChange{}}
	for i := range a.channels {
		r.Channels = append(r.Channels, a.channelReport(i))
	}
	for i := range a.outcomes {
		r.Changes = append(r.Changes, changeReport(&a.outcomes[i]))
	}
	if a.check != nil {
		check := &cureCheck{OffDB: round(a.check.OffDB, 0.01), Inside: a.check.Inside, Channels: []cureCheckedLine{}}
		for i := range a.check.Channels {
			c := &a.check.Channels[i]
			line := cureCheckedLine{RFChannel: c.Channel.Number, ForetoldDB: spanIn(c.Foreseen, 0.01), OffDB: round(c.OffDB, 0.01), Inside: c.Fits}
			line.MeasuredDB, line.MeasuredSigma = decibels(&measure.Estimate{Value: c.Measured.Value, Sigma: c.Measured.Sigma})
			check.Channels = append(check.Channels, line)
		}
		r.Check = check
	}
	if a.upwards() {
		text := cureCaution()
		r.Caution = &text
	}
	return r
}

func (a *cureAnswer) channelReport(i int) cureChannel {
	c := &a.channels[i]
	out := cureChannel{RFChannel: c.Channel.Number, Label: worded(c.Label), Wanted: c.Wanted, Limits: []string{}}
	out.MarginDB, out.MarginSigma = decibels(c.Margin)
	for k := range a.origins {
		if o := &a.origins[k]; o.Index == i {
			rests := o.Told
			if rests == "" {
				rests = "common"
			}
			out.NoiseFrom = &cureOrigin{
				spanIn(o.Outside, 0.001), spanIn(o.Line, 0.001), spanIn(o.Receiver, 0.001),
				spanIn(o.Products, 0.001), spanIn(o.Under, 0.001), rests,
			}
		}
	}
	for k := range a.counsels {
		if q := &a.counsels[k]; q.Index == i {
			out.Amplifier, out.Why, out.First = string(q.Amplifier), worded(q.Why), worded(q.First)
			out.Limits = append(out.Limits, q.Limits...)
		}
	}
	if better, ok := a.elsewhere[c.Channel.Number]; ok {
		out.Elsewhere = &curePlace{Place: better.place}
		out.Elsewhere.MarginDB, out.Elsewhere.MarginSigma = decibels(&better.margin)
	}
	return out
}

// worded is a text, nil for none.
func worded(text string) *string {
	if text == "" {
		return nil
	}
	return &text
}

func changeReport(o *cure.Outcome) cureChange {
	parts := func(list []cure.Part) []curePart {
		out := []curePart{}
		for _, p := range list {
			out = append(out, curePart{string(p.Kind), p.Text, p.Given})
		}
		return out
	}
	out := cureChange{
		Name: o.Change.Name, Head: parts(o.Change.Head), Tail: parts(o.Change.Tail), Without: o.Change.Without,
		Channels: []cureOutcome{}, Gained: spanIn(o.Gained, 0.01), Lost: spanIn(o.Lost, 0.01),
	}
	for i := range o.Channels {
		c := &o.Channels[i]
		out.Channels = append(out.Channels, cureOutcome{
			RFChannel: c.Channel.Number, ChangeDB: spanIn(c.Change, 0.01), MarginDB: spanIn(c.Margin, 0.01),
			Decodes: round(c.Decodes, 0.001), DecodesNow: round(c.Before, 0.001), ProductsDB: spanIn(c.Products, 0.1),
			Overload: c.Overloaded(), MayOverload: c.MayOverload(),
		})
	}
	return out
}
