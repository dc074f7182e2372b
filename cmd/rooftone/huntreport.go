package main

import (
	"math"
	"time"

	"rooftone/scan/hunt"
	"rooftone/scan/measure"
)

// huntSchema names the JSON that hunt prints, as sweepSchema does sweep's.
const huntSchema = "rooftone.hunt/1"

// huntReport is what a hunt found as the JSON has it: a public contract.
type huntReport struct {
	Schema      string        `json:"schema"`
	Started     *string       `json:"started"`
	Source      string        `json:"source"`
	PPM         *float64      `json:"ppm"`
	ThresholdDB float64       `json:"threshold_db"`
	Interrupted bool          `json:"interrupted"`
	Clean       bool          `json:"clean"`
	Suspects    []huntSuspect `json:"suspects"`
	Channels    []huntChannel `json:"channels"`
	Bands       []huntBand    `json:"bands"`
	Emitters    []huntEmitter `json:"emitters"`
	GainTest    *huntGain     `json:"gain_test"`
	Products    []huntProduct `json:"products"`
	Tones       []huntTone    `json:"tone_tests"`
	NotDone     []string      `json:"not_done"`
	// Radio is what was known of the radio beforehand.
	Radio *radioUsed `json:"radio"`
}

type huntSuspect struct {
	Kind             string     `json:"kind"`
	Name             string     `json:"name"`
	FrequencyHz      *float64   `json:"frequency_hz"`
	FrequencySigmaHz *float64   `json:"frequency_sigma_hz"`
	WidthHz          *float64   `json:"width_hz"`
	PlacesHz         []float64  `json:"places_hz"`
	SpacingHz        *float64   `json:"spacing_hz"`
	SpacingSigmaHz   *float64   `json:"spacing_sigma_hz"`
	LevelDBFS        *float64   `json:"level_dbfs"`
	LevelSigmaDB     *float64   `json:"level_sigma_db"`
	RateHz           *float64   `json:"rate_hz"`
	MainsHz          *float64   `json:"mains_hz"`
	Duty             *float64   `json:"duty"`
	Evidence         []string   `json:"evidence"`
	Harms            []huntHarm `json:"harms"`
	Next             string     `json:"next"`
	Cure             string     `json:"cure"`
}

type huntHarm struct {
	RFChannel int      `json:"rf_channel"`
	CostDB    *float64 `json:"cost_db"`
	CostSigma *float64 `json:"cost_sigma_db"`
	Breaks    bool     `json:"breaks"`
}

type huntChannel struct {
	RFChannel int          `json:"rf_channel"`
	Covered   bool         `json:"covered"`
	SeenShare *float64     `json:"seen_share"`
	SeenHz    []reportSpan `json:"seen_hz"`
	Presence  *string      `json:"presence"`
	MarginDB  *float64     `json:"margin_db"`
	GainDB    *float64     `json:"gain_db"`
	Clipped   *float64     `json:"clipped_fraction"`
	Origin    *string      `json:"origin"`
	ExcessDB  *float64     `json:"excess_db"`
	SlopeDB   *float64     `json:"slope_db"`
	SlopeSig  *float64     `json:"slope_sigma_db"`
}

type huntBand struct {
	Name        string   `json:"name"`
	About       string   `json:"about"`
	LowHz       float64  `json:"low_hz"`
	HighHz      float64  `json:"high_hz"`
	Covered     *float64 `json:"covered_share"`
	PowerDBFS   *float64 `json:"power_dbfs"`
	PowerDBm    *float64 `json:"power_dbm"`
	Clipped     *float64 `json:"clipped_fraction"`
	Signals     int      `json:"signals"`
	StrongestHz *float64 `json:"strongest_hz"`
	StrongestSD *float64 `json:"strongest_sigma_hz"`
}

type huntEmitter struct {
	Name      string   `json:"name"`
	Service   string   `json:"service"`
	LowHz     *float64 `json:"low_hz"`
	HighHz    *float64 `json:"high_hz"`
	LevelDBFS *float64 `json:"level_dbfs"`
	SigmaHz   *float64 `json:"frequency_sigma_hz"`
}

type huntGain struct {
	MeasuredDB   []float64       `json:"measured_db"`
	BestDB       *float64        `json:"best_gain_db"`
	GainedDB     *float64        `json:"gained_db"`
	Points       []huntGainPoint `json:"points"`
	SecondDBFS   *float64        `json:"second_intercept_dbfs"`
	SecondSigma  *float64        `json:"second_intercept_sigma_db"`
	ThirdDBFS    *float64        `json:"third_intercept_dbfs"`
	ThirdSigma   *float64        `json:"third_intercept_sigma_db"`
	AttenuatorDB *float64        `json:"attenuator_db"`
	Filter       *string         `json:"filter"`
	FilterGained *float64        `json:"filter_gained_db"`
}

type huntGainPoint struct {
	GainDB   *float64 `json:"gain_db"`
	Worst    int      `json:"worst_rf_channel"`
	MarginDB *float64 `json:"worst_margin_db"`
	RealDB   *float64 `json:"real_gain_db"`
}

type huntProduct struct {
	Formula     string   `json:"formula"`
	Order       int      `json:"order"`
	FrequencyHz *float64 `json:"frequency_hz"`
	SigmaHz     *float64 `json:"frequency_sigma_hz"`
	WidthHz     *float64 `json:"width_hz"`
	Services    []string `json:"services"`
	Channels    []int    `json:"rf_channels"`
	LevelDBFS   *float64 `json:"level_dbfs"`
	ToNoiseDB   *float64 `json:"to_noise_db"`
}

type huntTone struct {
	FrequencyHz *float64 `json:"frequency_hz"`
	SigmaHz     *float64 `json:"frequency_sigma_hz"`
	Harmonic    *int     `json:"clock_harmonic"`
	Moves       *bool    `json:"moves"`
	SlopeDB     *float64 `json:"slope_db"`
	SlopeSigma  *float64 `json:"slope_sigma_db"`
	Stays       *bool    `json:"stays_without_antenna"`
}

// newHuntReport prepares what was found for JSON.
func newHuntReport(h *hunt.Hunt, o hunt.Options) huntReport {
	r := huntReport{
		Schema: huntSchema, Source: h.Survey.Source, ThresholdDB: o.ThresholdDB, Interrupted: h.Interrupted,
		Clean: h.Clean(), Suspects: []huntSuspect{}, Channels: []huntChannel{}, Bands: []huntBand{},
		Emitters: []huntEmitter{}, Products: []huntProduct{}, Tones: []huntTone{}, NotDone: append([]string{}, h.Missing...), Radio: newRadioUsed(h.Survey),
	}
	if !h.Survey.Started.IsZero() {
		started := h.Survey.Started.Format(time.RFC3339)
		r.Started = &started
	}
	if k := h.Survey.Clock; k != nil {
		r.PPM = round(k.PPM.Value, 1e-3)
	}
	for i := range h.Suspects {
		r.Suspects = append(r.Suspects, newHuntSuspect(&h.Suspects[i]))
	}
	r.Channels = huntChannels(h)
	for i := range h.Bands {
		b := &h.Bands[i]
		row := huntBand{Name: b.Name, About: b.About, LowHz: b.LowHz, HighHz: b.HighHz, Covered: round(b.Covered, 0.01), Signals: b.Emitters}
		if b.PowerDBFS != nil {
			row.PowerDBFS, row.Clipped = round(*b.PowerDBFS, 0.1), round(b.Clipped, 1e-6)
		}
		if b.PowerDBm != nil {
			row.PowerDBm = round(*b.PowerDBm, 0.1)
		}
		if b.StrongestHz > 0 {
			row.StrongestHz, row.StrongestSD = round(b.StrongestHz, 1), round(b.StrongestSigmaHz, 1)
		}
		r.Bands = append(r.Bands, row)
	}
	for i := range h.Emitters {
		e := &h.Emitters[i]
		r.Emitters = append(r.Emitters, huntEmitter{e.Name, e.Service, round(e.LowHz, 1), round(e.HighHz, 1), round(e.LevelDBFS, 0.1), round(e.SigmaHz, 1)})
	}
	r.GainTest = newHuntGain(h.Gains)
	for i := range h.Products {
		p := &h.Products[i]
		row := huntProduct{Formula: p.Formula, Order: p.Order, FrequencyHz: round(p.FrequencyHz, 1), SigmaHz: round(p.SigmaHz, 1), WidthHz: round(p.WidthHz, 1),
			Services: p.Services, Channels: []int{}, LevelDBFS: round(p.LevelDBFS, 0.1), ToNoiseDB: round(p.ToNoiseDB, 0.1)}
		for _, c := range p.Channels {
			row.Channels = append(row.Channels, c.Number)
		}
		r.Products = append(r.Products, row)
	}
	for i := range h.Spurs {
		t := &h.Spurs[i]
		row := huntTone{FrequencyHz: round(t.FrequencyHz, 0.1), SigmaHz: round(t.SigmaHz, 0.1), Moves: t.Moves, Stays: t.Stays}
		if t.Harmonic > 0 {
			row.Harmonic = &t.Harmonic
		}
		row.SlopeDB, row.SlopeSigma = decibels(t.SlopeDB)
		r.Tones = append(r.Tones, row)
	}
	return r
}

func newHuntSuspect(s *hunt.Suspect) huntSuspect {
	row := huntSuspect{Kind: string(s.Kind), Name: s.Name, Evidence: append([]string{}, s.Evidence...), PlacesHz: []float64{}, Harms: []huntHarm{}, Next: s.Next, Cure: s.Cure}
	value := func(e *measure.Estimate, step float64) *float64 {
		if e == nil {
			return nil
		}
		return round(e.Value, step)
	}
	row.FrequencyHz, row.RateHz, row.Duty = value(s.FrequencyHz, 0.1), value(s.RateHz, 0.01), value(s.Duty, 1e-5)
	if s.FrequencyHz != nil {
		row.FrequencySigmaHz = round(s.FrequencyHz.Sigma, 0.1)
	}
	if s.SpacingHz != nil {
		row.SpacingHz, row.SpacingSigmaHz = round(s.SpacingHz.Value, 0.1), round(s.SpacingHz.Sigma, 0.1)
	}
	row.LevelDBFS, row.LevelSigmaDB = decibels(s.LevelDBFS)
	if s.WidthHz > 0 {
		row.WidthHz = round(s.WidthHz, 1)
	}
	for _, hz := range s.PlacesHz {
		row.PlacesHz = append(row.PlacesHz, *round(hz, 0.1))
	}
	if s.MainsHz > 0 {
		row.MainsHz = &s.MainsHz
	}
	for _, x := range s.Harms {
		harm := huntHarm{RFChannel: x.Channel.Number, Breaks: x.Breaks}
		harm.CostDB, harm.CostSigma = decibels(x.CostDB)
		row.Harms = append(row.Harms, harm)
	}
	return row
}

func huntChannels(h *hunt.Hunt) []huntChannel {
	out := []huntChannel{}
	for i := range h.Survey.Channels {
		c := &h.Survey.Channels[i]
		row := huntChannel{RFChannel: c.Channel.Number, SeenHz: []reportSpan{}}
		for k := range h.Heard {
			if seen := &h.Heard[k]; seen.Channel == c.Channel {
				row.Covered, row.SeenShare = seen.Whole(), round(seen.Share(), 0.001)
				for _, s := range seen.Seen {
					row.SeenHz = append(row.SeenHz, reportSpan{math.Round(s.LowHz), math.Round(s.HighHz)})
				}
			}
		}
		if c.Heard() {
			row.Presence, row.Clipped = word(c.Presence), round(c.ClippedFraction, 1e-6)
			row.MarginDB, _ = decibels(c.Margin)
			if c.GainDB != nil {
				row.GainDB = round(*c.GainDB, 0.1)
			}
		}
		for k := range h.Origins {
			if o := &h.Origins[k]; o.Channel == c.Channel {
				row.Origin, row.ExcessDB = &o.From, round(o.ExcessDB, 0.1)
				row.SlopeDB, row.SlopeSig = decibels(o.SlopeDB)
			}
		}
		out = append(out, row)
	}
	return out
}

func newHuntGain(g *hunt.GainTest) *huntGain {
	if g == nil {
		return nil
	}
	row := &huntGain{MeasuredDB: []float64{}, Points: []huntGainPoint{}}
	for _, v := range g.MeasuredDB {
		row.MeasuredDB = append(row.MeasuredDB, *round(v, 0.1))
	}
	for _, p := range g.Points {
		row.Points = append(row.Points, huntGainPoint{round(p.GainDB, 0.1), p.Worst.Number, round(p.MarginDB, 0.01), round(p.RealDB, 0.01)})
	}
	if len(g.Points) > 0 {
		row.BestDB, row.GainedDB = round(g.BestDB, 0.1), round(g.GainedDB, 0.01)
	}
	row.SecondDBFS, row.SecondSigma = decibels(g.SecondDBFS)
	row.ThirdDBFS, row.ThirdSigma = decibels(g.ThirdDBFS)
	if g.AttenuatorDB > 0 {
		row.AttenuatorDB = &g.AttenuatorDB
	}
	if g.Filter != "" {
		row.Filter, row.FilterGained = &g.Filter, round(g.FilterGainedDB, 0.01)
	}
	return row
}
