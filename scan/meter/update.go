package meter

import (
	"encoding/json"
	"math"
	"time"

	"rooftone/scan/band"
	"rooftone/scan/measure"
	"rooftone/scan/verdict"
)

// State says what an Update's reading stands on.
type State string

const (
	Learning  State = "learning"  // a careful visit is under way; there is no reading
	Measuring State = "measuring" // there is a reading
	Nothing   State = "nothing"   // neither the channel's power nor its pilot stands out of a known noise
	Uncovered State = "uncovered" // the recording holds nothing usable of the channel
)

// Trend is the sign of the margin's slope over the last second and a half, as
// far as its scatter lets that be told.
type Trend string

const (
	Rising  Trend = "rising"
	Falling Trend = "falling"
	Steady  Trend = "steady"
)

// Update is one reading of one channel. A value that was not measured is nil.
type Update struct {
	Channel band.Channel
	Time    time.Time // of the last sample it rests on
	Count   int64     // of this channel's updates, from 1
	State   State

	// Seen are the parts of the channel that the reading rests on, ascending and
	// apart; nil when that is all of it. Not to be changed.
	Seen []band.Span
	// Stays is how many stays in turn the channel's slices take: so many readings
	// later nothing of this one is left.
	Stays int

	Progress float64 // in state Learning: how much of the careful visit is done, 0 to 1

	// Gauge says what the figure is of that is followed: what BestDB, Trend and
	// SlopeDB are about. Standard is what is on the channel; "" while that is not
	// known. Of what is no 8-VSB there is no Margin, for its threshold is another.
	Gauge    Gauge
	Standard measure.Standard

	Margin   *measure.Estimate // dB above the decode threshold; Sigma is of its level, not of its changes
	Level    *measure.Estimate // dBFS, where Gauge is ByLevel
	Method   measure.MarginMethod
	AtMostDB *float64          // in state Nothing: what is followed is very probably below this
	CN       *measure.Estimate // dB in 6 MHz
	MER      *measure.Estimate // dB, from the last fields' training; nil when none was found lately
	Pilot    *measure.Estimate // dB-Hz over the noise density
	Trained  bool              // training was found within the last seconds: it is 8-VSB
	Occupied bool              // the careful visit found something that is no television station; Standard is other
	Unsought bool              // no training could be: too little of the channel is heard

	Trend   Trend   // "" before there is enough to tell
	SlopeDB float64 // dB per second; 0 unless Trend is Rising or Falling

	BestDB      *float64 // of a quarter-second average, since the last reset
	BestTime    time.Time
	BelowBestDB float64 // how far the reading is below it, never less than 0
	NewBest     bool    // this reading raised it

	GainDB   *float64
	Clipped  float64 // share of the stay's samples on a rail
	Overload bool    // too many of them: the reading is too low, or wrong
	Lost     bool    // samples were missing before the stay: the computer is too slow
}

// SeenShare is the part of the channel that the reading rests on, 0 to 1.
func (u Update) SeenShare() float64 {
	if u.Seen == nil {
		return 1
	}
	r := measure.Reading{Seen: u.Seen}
	return r.SeenShare()
}

// Figure is what is followed, of which Gauge tells what it is; nil when nothing
// was measured.
func (u Update) Figure() *measure.Estimate {
	switch u.Gauge {
	case ByCN:
		return u.CN
	case ByLevel:
		return u.Level
	}
	return u.Margin
}

// Foreign reports whether what is heard holds no 8-VSB: it is known to be of
// another standard, or strong enough for a picture, where training could not be
// missed as long as enough of the channel is heard to find it in.
func (u Update) Foreign() bool {
	if u.Standard == measure.ATSC3 || u.Standard == measure.OtherStandard {
		return true
	}
	return u.Margin != nil && u.Margin.Value >= 0 && !u.Trained && !u.Unsought
}

// Grade says how a channel that decodes will hold; "" of one that does not, or of
// which it is not known: at such a level training could not be missed.
func (u Update) Grade() verdict.Grade {
	if u.Margin == nil || !u.Trained || !(u.Margin.Value >= 0) {
		return ""
	}
	return verdict.GradeOf(u.Margin.Value)
}

// Line is an Update as JSON has it: one object, documented in README.md.
type Line struct {
	Time          string           `json:"time"`
	RFChannel     int              `json:"rf_channel"`
	State         State            `json:"state"`
	SeenShare     *float64         `json:"seen_share,omitempty"`
	Progress      float64          `json:"progress,omitempty"`
	MarginDB      *float64         `json:"margin_db"`
	MarginSigmaDB *float64         `json:"margin_sigma_db"`
	Grade         verdict.Grade    `json:"grade,omitempty"`
	Method        string           `json:"margin_method,omitempty"`
	Standard      measure.Standard `json:"standard,omitempty"`
	Gauge         Gauge            `json:"gauge,omitempty"` // "" is ByMargin
	LevelDBFS     *float64         `json:"level_dbfs,omitempty"`
	AtMostDB      *float64         `json:"at_most_db,omitempty"`
	CNDB          *float64         `json:"cn_db"`
	MERDB         *float64         `json:"mer_db"`
	PilotDBHz     *float64         `json:"pilot_dbhz"`
	Training      bool             `json:"training"`
	Unsought      bool             `json:"training_unsought,omitempty"`
	Occupied      bool             `json:"occupied,omitempty"`
	Trend         Trend            `json:"trend,omitempty"`
	SlopeDBPerS   float64          `json:"slope_db_per_s"`
	BestDB        *float64         `json:"best_db"`
	BestTime      string           `json:"best_time,omitempty"`
	BelowBestDB   *float64         `json:"below_best_db"`
	NewBest       bool             `json:"new_best"`
	Overload      bool             `json:"overload"`
	Clipped       float64          `json:"clipped"`
	Lost          bool             `json:"lost"`
	GainDB        *float64         `json:"gain_db"`
}

// NewLine writes an Update for JSON, decibels to the hundredth.
func NewLine(u Update) Line {
	l := Line{
		Time: stamp(u.Time), RFChannel: u.Channel.Number, State: u.State, Progress: round(u.Progress), Method: string(u.Method), Grade: u.Grade(),
		AtMostDB: rounded(u.AtMostDB), Training: u.Trained, Unsought: u.Unsought, Occupied: u.Occupied, Trend: u.Trend, SlopeDBPerS: round(u.SlopeDB),
		BestDB: rounded(u.BestDB), NewBest: u.NewBest,
		Overload: u.Overload, Clipped: u.Clipped, Lost: u.Lost, GainDB: rounded(u.GainDB),
	}
	if u.Seen != nil {
		share := math.Round(1e3*u.SeenShare()) / 1e3
		l.SeenShare = &share
	}
	l.Standard, l.LevelDBFS = u.Standard, value(u.Level)
	if u.Gauge != ByMargin {
		l.Gauge = u.Gauge
	}
	l.CNDB, l.MERDB, l.PilotDBHz = value(u.CN), value(u.MER), value(u.Pilot)
	if l.MarginDB = value(u.Margin); l.MarginDB != nil {
		l.MarginSigmaDB = rounded(&u.Margin.Sigma)
	}
	if u.BestDB != nil {
		l.BestTime = stamp(u.BestTime)
		if u.Figure() != nil {
			l.BelowBestDB = rounded(&u.BelowBestDB)
		}
	}
	return l
}

// MarshalJSON leaves the margin out of a Line whose figure is another: what is no
// 8-VSB has none, not even one that was not measured.
func (l Line) MarshalJSON() ([]byte, error) {
	type plain Line
	if l.Gauge == "" {
		return json.Marshal(plain(l))
	}
	return json.Marshal(struct {
		plain
		MarginDB      *float64 `json:"margin_db,omitempty"`
		MarginSigmaDB *float64 `json:"margin_sigma_db,omitempty"`
	}{plain: plain(l)})
}

func stamp(t time.Time) string { return t.UTC().Format("2006-01-02T15:04:05.000Z") }

func value(e *measure.Estimate) *float64 {
	if e == nil {
		return nil
	}
	return rounded(&e.Value)
}

func rounded(x *float64) *float64 {
	if x == nil || math.IsNaN(*x) || math.IsInf(*x, 0) {
		return nil
	}
	v := round(*x)
	return &v
}

func round(x float64) float64 { return math.Round(x*100) / 100 }
