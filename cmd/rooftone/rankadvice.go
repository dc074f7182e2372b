package main

import (
	"math"

	"rooftone/scan/decide"
)

// Where a place's figures are from.
const (
	fromMarks = "marks"
	fromTurn  = "turn"
)

// judge adds what a channel's margin is worth. One of another standard has none.
func (c *rankChannel) judge(at decide.Chance) {
	if at.Other {
		c.MarginDB, c.MarginSigmaDB, c.Grade = nil, nil, nil
	} else if at.Measured {
		c.Decodes, c.Holds = round(at.Decodes, 1e-3), round(at.Holds, 1e-3)
	}
}

func newRankPair(q *decide.Pair) *rankPair {
	if q == nil {
		return nil
	}
	out := &rankPair{
		Places: spotsOf(q.Spots[:]), From: listed(q.From), Enough: listed(q.Enough), Gained: listed(q.Gained), Ahead: round(q.Ahead, 1e-3),
		Worth: q.Worth, Gain: round(q.Gain, 1e-2), Rotator: q.Rotator, CombinerLossDB: round(q.LossDB, 0.1), Combined: []rankJoined{},
	}
	for _, j := range q.Joined {
		row := rankJoined{RFChannel: j.RFChannel}
		if j.WorstDB != nil {
			row.WorstDB = round(*j.WorstDB, 0.01)
		}
		if j.BestDB != nil {
			row.BestDB = round(*j.BestDB, 0.01)
		}
		out.Combined = append(out.Combined, row)
	}
	return out
}

func newRankAgainst(v *decide.Versus) []rankAgainst {
	out := []rankAgainst{}
	if v == nil {
		return out
	}
	for _, d := range v.Channels {
		row := rankAgainst{RFChannel: d.RFChannel, Certain: d.Certain}
		row.FirstDB, _ = decibels(d.First.Margin)
		row.SecondDB, _ = decibels(d.Second.Margin)
		row.GainedDB, row.GainedSigmaDB = decibels(d.Margin)
		row.FirstHolds, row.SecondHolds = holds(d.First), holds(d.Second)
		out = append(out, row)
	}
	return out
}

// holds is the probability that a channel holds; nil where it is not known.
func holds(c decide.Chance) *float64 {
	if !c.Measured || c.Other {
		return nil
	}
	return round(c.Holds, 1e-3)
}

func newRankGivenUp(list []decide.Lead) []rankGivenUp {
	out := []rankGivenUp{}
	for _, l := range list {
		row := rankGivenUp{RFChannel: l.RFChannel, There: newRankSpot(l.Spot), Matters: l.Matters}
		row.HereDB, _ = decibels(l.Here.Margin)
		row.ThereDB, _ = decibels(l.There.Margin)
		out = append(out, row)
	}
	return out
}

func newRankNext(list []decide.Step) []rankNext {
	out := []rankNext{}
	for _, s := range list {
		out = append(out, rankNext{
			rankSpot: newRankSpot(s.Spot), RFChannels: listed(s.Channels),
			CouldGain: round(s.CouldGain, 1e-2), Promise: round(s.Promise, 1e-2), Again: s.Again,
		})
	}
	return out
}

func newRankHeading(s *decide.Single) rankHeading {
	out := rankHeading{
		Place: s.Place, HeightM: s.HeightM, From: fromMarks,
		HeadingDeg: round(math.Mod(s.Heading.Value, 360), 0.1), HeadingSigmaDeg: round(s.Heading.Sigma, 0.1),
		HoldFromDeg: round(s.FromDeg, 0.1), HoldToDeg: round(s.ToDeg, 0.1), HoldLossDB: round(s.HoldLossDB, 0.1),
		Value: round(s.Value, 1e-3), Costs: []rankCost{}, Unknown: listed(s.Unknown),
	}
	if s.Turn != nil {
		out.From = fromTurn
	}
	for _, c := range s.Costs {
		row := rankCost{RFChannel: c.RFChannel, Holds: holds(c.Here), CostDB: round(c.CostDB, 0.01)}
		row.MarginDB, row.MarginSigmaDB = decibels(c.Here.Margin)
		if c.Here.Measured {
			row.Decodes = round(c.Here.Decodes, 1e-3)
		}
		if c.Peak != nil {
			row.PeakDB, _ = decibels(c.Peak)
			row.PeakDeg = round(c.PeakDeg, 1)
		}
		out.Costs = append(out.Costs, row)
	}
	return out
}
