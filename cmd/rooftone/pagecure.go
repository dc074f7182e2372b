package main

import (
	"math"
	"strings"

	"rooftone/plot/handover"
	"rooftone/scan/cure"
	"rooftone/scan/measure"
	"rooftone/scan/site"
	"rooftone/scan/verdict"
)

// pageCure works out for a house's page what the common changes would bring at a place;
// nil where nothing was marked there, as at a heading that only a turn heard.
func pageCure(file siteFlag, house *site.House, at *site.Spot) (*handover.Cure, error) {
	if at.Mark() == nil || len(site.MarksOf(at, house.Marks, site.DefaultOptions())) == 0 {
		return nil, nil
	}
	told := (&unitsFlag{}).telling(house)
	plain := *at // named as the house does, whatever the page is told in
	plain.Units, plain.North = told.units, told.north
	f := cureFlags{site: file, place: plain.String(), hereAt: -1}
	setup := cure.Setup{ThresholdDB: measure.DefaultThresholdDB, TopGainDB: math.NaN(), Surroundings: cure.Residential}
	var err error
	if setup.Line, err = f.installed(house); err != nil {
		return nil, err
	}
	a := &cureAnswer{threshold: setup.ThresholdDB, leadText: leadText(setup.Line)}
	if _, err := f.marked(house, nil, &setup, a); err != nil {
		return nil, err
	}
	f.answer(setup, a, nil)
	return a.onPage(), nil
}

// onPage is the answer as a page has it: of the wanted channels alone.
func (a *cureAnswer) onPage() *handover.Cure {
	out := &handover.Cure{Lead: a.leadText}
	for i := range a.outcomes {
		o := &a.outcomes[i]
		ch := handover.Change{What: o.Change.Name}
		for k := range o.Channels {
			c := &o.Channels[k]
			if !a.channels[c.Index].Wanted {
				continue
			}
			ch.Channels = append(ch.Channels, handover.Foretold{RFChannel: c.Channel.Number, LowDB: c.Change.Low, HighDB: c.Change.High})
			ch.Overload = ch.Overload || c.Overloaded()
			ch.MayOverload = ch.MayOverload || c.MayOverload()
			if list := a.moveOf(c, &ch); list != nil {
				*list = append(*list, c.Channel.Number)
			}
		}
		if len(ch.Channels) > 0 {
			out.Changes = append(out.Changes, ch)
		}
	}
	out.Sayings = a.sayings()
	return out
}

// moveOf is the list of a change to which a channel belongs; nil for none.
func (a *cureAnswer) moveOf(c *cure.ChannelOutcome, ch *handover.Change) *[]int {
	switch c.Move(a.channels[c.Index].Margin.Value) {
	case cure.Comes:
		return &ch.Gained
	case cure.MayCome:
		return &ch.MayGain
	case cure.Falls:
		return &ch.Lost
	case cure.MayFall:
		return &ch.MayLose
	}
	return nil
}

// sayings are what is to be concluded about wanted channels that are short or held by
// something, each said once.
func (a *cureAnswer) sayings() []handover.Saying {
	var out []handover.Saying
	at := map[string]int{}
	for i := range a.counsels {
		k := &a.counsels[i]
		c := &a.channels[k.Index]
		firm := c.Margin != nil && c.Margin.Value >= verdict.FirmMarginDB
		if !c.Wanted || firm && len(k.Limits) == 0 && k.Amplifier != cure.AmplifierHarms {
			continue
		}
		for _, text := range append([]string{k.Why}, k.Limits...) {
			if text = strings.TrimSpace(text); text == "" {
				continue
			}
			n, ok := at[text]
			if !ok {
				n = len(out)
				at[text] = n
				out = append(out, handover.Saying{Text: text})
			}
			out[n].Channels = append(out[n].Channels, k.Channel.Number)
		}
	}
	return out
}
