package main

import (
	"time"

	"rooftone/scan/watch"
)

// logSchema names the JSON that report prints of a log, as sweepSchema does
// sweep's.
const logSchema = "rooftone.watch-report/1"

// logJSON is a log's report as the JSON has it: a public contract.
type logJSON struct {
	Schema   string           `json:"schema"`
	From     *string          `json:"from"`
	To       *string          `json:"to"`
	EverySec *float64         `json:"every_s"`
	Source   string           `json:"source"`
	Starts   int              `json:"starts"`
	AwaySec  *float64         `json:"away_s"`
	Gaps     []logGap         `json:"gaps"`
	ClockSet []logClock       `json:"clock_sets"`
	Disk     []logDisk        `json:"disk_troubles"`
	Damaged  int              `json:"damaged"`
	Torn     bool             `json:"torn"`
	Channels []logChannelJSON `json:"channels"`
	Joint    logJoint         `json:"joint"`
	Steps    []logStep        `json:"steps"`
	Findings []logFinding     `json:"findings"`
}

type logGap struct {
	Time    string   `json:"time"`
	Seconds *float64 `json:"seconds"`
	Reason  string   `json:"reason"`
}

type logClock struct {
	Time  string   `json:"time"`
	BySec *float64 `json:"by_s"`
}

type logDisk struct {
	Time      string   `json:"time"`
	Seconds   *float64 `json:"seconds"`
	Reason    string   `json:"reason"`
	LostTicks int      `json:"lost_ticks"`
}

type logChannelJSON struct {
	RFChannel     int        `json:"rf_channel"`
	Readings      int        `json:"readings"`
	WatchedSec    *float64   `json:"watched_s"`
	Since         string     `json:"since"`
	NowDB         *float64   `json:"now_db"`
	MedianDB      *float64   `json:"median_db"`
	AbsentShare   *float64   `json:"absent_share"`
	Available     *float64   `json:"available"`
	AvailableLow  *float64   `json:"available_low"`
	AvailableHigh *float64   `json:"available_high"`
	Needs         []logNeed  `json:"needs"`
	Depths        []logDepth `json:"depths"`
	Fades         logFades   `json:"fades"`
	Day           *logDay    `json:"day"`
	Drift         *logDrift  `json:"drift"`
	OverloadShare *float64   `json:"overload_share"`
	ImpulseShare  *float64   `json:"impulse_share"`
	LostShare     *float64   `json:"lost_share"`
	ATSC3Share    *float64   `json:"atsc3_share"`
	OtherShare    *float64   `json:"other_standard_share"`
	AtMostDB      *float64   `json:"at_most_db"`
	ImpulseFades  logChance  `json:"impulse_fades"`
	OverloadFades logChance  `json:"overload_fades"`
}

type logNeed struct {
	Share       float64  `json:"share"`
	DepthDB     *float64 `json:"depth_db"`
	DepthLowDB  *float64 `json:"depth_low_db"`
	DepthHighDB *float64 `json:"depth_high_db"`
	ShortDB     *float64 `json:"short_db"`
	WatchForSec *float64 `json:"watch_for_s"`
}

type logDepth struct {
	LevelDB int      `json:"level_db"`
	Share   *float64 `json:"share"`
	Falls   int      `json:"falls"`
	PerHour *float64 `json:"per_hour"`
	MeanSec *float64 `json:"mean_s"`
}

type logFades struct {
	Count         int      `json:"count"`
	PerDay        *float64 `json:"per_day"`
	MeanSec       *float64 `json:"mean_s"`
	MedianSec     *float64 `json:"median_s"`
	LongestSec    *float64 `json:"longest_s"`
	MedianDepthDB *float64 `json:"median_depth_db"`
	DeepestDB     *float64 `json:"deepest_db"`
	Listed        int      `json:"listed"`
	BelowZero     int      `json:"below_threshold"`
	Together      int      `json:"together"`
}

type logDay struct {
	Days      int        `json:"days"`
	OffsetDB  []*float64 `json:"offset_db"`
	LowDB     []*float64 `json:"low_db"`
	BestHour  int        `json:"best_hour"`
	WorstHour int        `json:"worst_hour"`
	SwingDB   *float64   `json:"swing_db"`
	Chance    *float64   `json:"chance"`
	Certain   bool       `json:"certain"`
}

type logDrift struct {
	Days        int      `json:"days"`
	PerWeek     *float64 `json:"db_per_week"`
	PerWeekLow  *float64 `json:"db_per_week_low"`
	PerWeekHigh *float64 `json:"db_per_week_high"`
	Certain     bool     `json:"certain"`
}

type logStep struct {
	RFChannel int      `json:"rf_channel"`
	Time      string   `json:"time"`
	WithinSec *float64 `json:"within_s"`
	ChangeDB  *float64 `json:"change_db"`
	With      []int    `json:"with"`
}

// logChance is how many fades had something in them.
type logChance struct {
	Seen     int      `json:"seen"`
	ByChance *float64 `json:"by_chance"`
	Certain  bool     `json:"certain"`
}

type logJoint struct {
	Fades    int        `json:"fades"`
	Together int        `json:"together"`
	ByChance *float64   `json:"by_chance"`
	Certain  bool       `json:"certain"`
	Events   []logEvent `json:"events"`
}

type logEvent struct {
	Time       string   `json:"time"`
	RFChannels []int    `json:"rf_channels"`
	DepthDB    *float64 `json:"depth_db"`
	Seconds    *float64 `json:"seconds"`
}

type logFinding struct {
	Kind       string  `json:"kind"`
	RFChannels []int   `json:"rf_channels"`
	Text       string  `json:"text"`
	Next       *string `json:"next"`
}

// newLogJSON writes a log's report down.
func newLogJSON(r *watch.Report) logJSON {
	out := logJSON{
		Schema: logSchema, From: moment(r.From), To: moment(r.To), EverySec: round(r.EverySec, 0.001), Source: r.Source,
		Starts: r.Starts, AwaySec: round(r.Away.Seconds(), 0.1), Damaged: r.Damaged, Torn: r.Torn,
		Gaps: []logGap{}, ClockSet: []logClock{}, Disk: []logDisk{}, Channels: []logChannelJSON{}, Steps: []logStep{}, Findings: []logFinding{},
		Joint: logJoint{Fades: r.Joint.Fades, Together: r.Joint.Together, ByChance: round(r.Joint.Expected, 0.01), Certain: r.Joint.Certain, Events: []logEvent{}},
	}
	for _, g := range r.Gaps {
		out.Gaps = append(out.Gaps, logGap{stampOf(g.Start), round(g.Seconds, 0.1), g.Reason})
	}
	for _, c := range r.Clocks {
		out.ClockSet = append(out.ClockSet, logClock{stampOf(c.Time), round(c.BySec, 0.001)})
	}
	for _, d := range r.Disk {
		out.Disk = append(out.Disk, logDisk{stampOf(d.Start), round(d.Seconds, 0.1), d.Reason, d.LostTicks})
	}
	for i := range r.Channels {
		out.Channels = append(out.Channels, newLogChannel(&r.Channels[i]))
	}
	for _, e := range r.Joint.Events {
		out.Joint.Events = append(out.Joint.Events, logEvent{stampOf(e.Time), e.RFChannels, round(e.DepthDB, 0.01), round(e.Seconds, 0.1)})
	}
	for _, s := range r.Steps {
		out.Steps = append(out.Steps, logStep{s.RFChannel, stampOf(s.Time), round(s.Within.Seconds(), 0.1), round(s.ChangeDB, 0.01), listOf(s.With)})
	}
	for _, f := range r.Findings {
		l := logFinding{Kind: string(f.Kind), RFChannels: listOf(f.RFChannels), Text: f.Text}
		if f.Next != "" {
			l.Next = &f.Next
		}
		out.Findings = append(out.Findings, l)
	}
	return out
}

func newLogChannel(c *watch.ChannelReport) logChannelJSON {
	const fine = 1e-6
	out := logChannelJSON{
		ATSC3Share: round(c.ATSC3, fine), OtherShare: round(c.Other, fine),
		RFChannel: c.RFChannel, Readings: c.Readings, WatchedSec: round(c.Watched.Seconds(), 0.1), Since: stampOf(c.Since),
		NowDB: round(c.NowDB, 0.01), MedianDB: round(c.MedianDB, 0.01), AbsentShare: round(c.Absent, fine),
		Available: round(c.Available.Value, fine), AvailableLow: round(c.Available.Low, fine), AvailableHigh: round(c.Available.High, fine),
		OverloadShare: round(c.Overload, fine), ImpulseShare: round(c.Impulse, fine), LostShare: round(c.Lost, fine),
		ImpulseFades:  logChance{c.Troubles.Seen, round(c.Troubles.Expected, 0.01), c.Troubles.Certain},
		OverloadFades: logChance{c.Overloads.Seen, round(c.Overloads.Expected, 0.01), c.Overloads.Certain},
		Needs:         []logNeed{}, Depths: []logDepth{},
	}
	if c.AtMostDB != nil {
		out.AtMostDB = round(*c.AtMostDB, 0.1)
	}
	for _, n := range c.Needs {
		l := logNeed{
			Share: n.Share, DepthDB: round(n.DepthDB.Value, 0.01), DepthLowDB: round(n.DepthDB.Low, 0.01),
			DepthHighDB: round(n.DepthDB.High, 0.01), ShortDB: round(n.ShortDB.Value, 0.01),
		}
		if n.WatchFor > 0 {
			l.WatchForSec = round(n.WatchFor.Seconds(), 1)
		}
		out.Needs = append(out.Needs, l)
	}
	for _, d := range c.Depths {
		out.Depths = append(out.Depths, logDepth{d.LevelDB, round(d.Share, fine), d.Falls, round(d.PerHour, 0.001), round(d.MeanSec, 0.01)})
	}
	f := &c.Fades
	out.Fades = logFades{Count: f.Count, PerDay: round(f.PerDay, 0.001), Listed: f.Told, BelowZero: f.BelowZero, Together: f.Joint}
	if f.Count > 0 {
		out.Fades.MeanSec, out.Fades.DeepestDB = round(f.MeanSec, 0.01), round(f.DeepDB, 0.01)
	}
	if f.Told > 0 {
		out.Fades.MedianSec, out.Fades.LongestSec, out.Fades.MedianDepthDB = round(f.MedianSec, 0.01), round(f.LongSec, 0.01), round(f.MedianDB, 0.01)
	}
	if d := c.Day; d != nil {
		out.Day = &logDay{
			Days: d.Days, BestHour: d.Best, WorstHour: d.Worst, SwingDB: round(d.Swing, 0.01), Chance: round(d.Chance, 0.001), Certain: d.Certain(),
		}
		for h := range d.Offset {
			out.Day.OffsetDB = append(out.Day.OffsetDB, round(d.Offset[h], 0.01))
			out.Day.LowDB = append(out.Day.LowDB, round(d.Low[h], 0.01))
		}
	}
	if d := c.Drift; d != nil {
		w := d.DBPerWeek
		out.Drift = &logDrift{d.Days, round(w.Value, 0.01), round(w.Low, 0.01), round(w.High, 0.01), d.Certain()}
	}
	return out
}

func stampOf(t time.Time) string { return t.Format(time.RFC3339) }

// moment is a time, or null.
func moment(t time.Time) *string {
	if t.IsZero() {
		return nil
	}
	s := stampOf(t)
	return &s
}

// listOf is never null.
func listOf(n []int) []int {
	if n == nil {
		return []int{}
	}
	return n
}
