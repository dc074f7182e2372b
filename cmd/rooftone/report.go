package main

import (
	"bytes"
	"encoding/csv"
	"encoding/json"
	"fmt"
	"io"
	"math"
	"reflect"
	"strconv"
	"strings"
	"time"

	"rooftone/scan"
	"rooftone/scan/measure"
)

// sweepSchema names the JSON that sweep and record print. Fields may be added
// under the same name; the number rises when one changes its meaning or goes.
const sweepSchema = "rooftone.sweep/1"

// report is a Survey as the JSON has it: a public contract, described in the
// README. A value that was not measured is null, never zero.
type report struct {
	Schema        string      `json:"schema"`
	Started       *string     `json:"started"` // RFC 3339
	Source        string      `json:"source"`
	PPM           *float64    `json:"ppm"`
	PPMSigma      *float64    `json:"ppm_sigma"`
	PPMGiven      *bool       `json:"ppm_given"`
	ClockStations *int        `json:"clock_stations"`
	ThresholdDB   float64     `json:"threshold_db"`
	FalseAlarm    *float64    `json:"false_alarm"`
	Interrupted   bool        `json:"interrupted"`
	Radio         *radioUsed  `json:"radio"` // what was known of it beforehand
	Channels      []reportRow `json:"channels"`

	Expected []reportExpected `json:"expected"`        // every station of the list and of the house
	Beside   []reportBeside   `json:"beside_expected"` // what was expected
}

// reportRow is one channel, in JSON and in CSV. It is flat so that both carry
// the same figures under the same names.
type reportRow struct {
	RFChannel int     `json:"rf_channel"`
	LowerHz   float64 `json:"lower_hz"`
	UpperHz   float64 `json:"upper_hz"`
	Covered   bool    `json:"covered"`

	Presence *string `json:"presence"`
	Standard *string `json:"standard"`
	Grade    *string `json:"grade"`

	MarginDB      *float64 `json:"margin_db"`
	MarginSigmaDB *float64 `json:"margin_sigma_db"`
	MarginMethod  *string  `json:"margin_method"`
	EchoCostDB    *float64 `json:"echo_cost_db"`
	UnderCostDB   *float64 `json:"under_cost_db"`

	MERDB       *float64      `json:"mer_db"`
	MERSigmaDB  *float64      `json:"mer_sigma_db"`
	SliceMER    []reportSlice `json:"slice_mer"`
	EchoFloorDB *float64      `json:"echo_floor_db"`
	Echoes      []reportEcho  `json:"echoes"`
	TiltDB      *float64      `json:"tilt_db"`
	RippleDB    *float64      `json:"ripple_db"`

	CNDB           *float64 `json:"cn_db"`
	CNSigmaDB      *float64 `json:"cn_sigma_db"`
	CNPowerDB      *float64 `json:"cn_power_db"`
	CNPowerSigmaDB *float64 `json:"cn_power_sigma_db"`
	CNPilotDB      *float64 `json:"cn_pilot_db"`
	CNPilotSigmaDB *float64 `json:"cn_pilot_sigma_db"`

	PowerDBFS    *float64 `json:"power_dbfs"`
	PowerSigmaDB *float64 `json:"power_sigma_db"`
	PowerDBm     *float64 `json:"power_dbm"`
	FieldDBuVm   *float64 `json:"field_dbuvm"`
	NoiseDBFS    *float64 `json:"noise_dbfs"`
	NoiseSigmaDB *float64 `json:"noise_sigma_db"`
	NoiseMethod  *string  `json:"noise_method"`

	PilotFound         *bool    `json:"pilot_found"`
	PilotOffsetHz      *float64 `json:"pilot_offset_hz"`
	PilotOffsetSigmaHz *float64 `json:"pilot_offset_sigma_hz"`
	PilotToNoiseDBHz   *float64 `json:"pilot_to_noise_dbhz"`
	PilotToNoiseSigma  *float64 `json:"pilot_to_noise_sigma_db"`
	PilotDBFS          *float64 `json:"pilot_dbfs"`

	Limits   []string `json:"limits"`
	Evidence []string `json:"evidence"` // of each limit, in the same order
	Doubts   []string `json:"doubts"`
	Advice   []string `json:"advice"`

	GainDB          *float64 `json:"gain_db"`
	ClippedFraction *float64 `json:"clipped_fraction"`
	LostSamples     *bool    `json:"lost_samples"`

	Station  *reportIdentity `json:"station"`  // who it says it is
	Stations []reportStation `json:"stations"` // of the list, on this channel

	// New fields come last, so that the columns of CSV stay where they are.
	SeenShare *float64        `json:"seen_share"`
	SeenHz    []reportSpan    `json:"seen_hz"`
	Occupant  *reportOccupant `json:"occupant"`

	// Of a vacant channel: what a station on it is below, with 95 %.
	CNAtMostDB     *float64 `json:"cn_at_most_db"`
	MarginAtMostDB *float64 `json:"margin_at_most_db"`
}

// reportSpan is a part of a channel: its lower and its upper end in Hz.
type reportSpan [2]float64

func (s reportSpan) String() string { return fmt.Sprintf("%.0f-%.0f Hz", s[0], s[1]) }

// reportOccupant is something on a channel that is no station.
type reportOccupant struct {
	LowHz    *float64 `json:"low_hz"`
	HighHz   *float64 `json:"high_hz"`
	UnevenDB *float64 `json:"uneven_db"`
	RepeatS  *float64 `json:"repeat_s"`
	OnShare  *float64 `json:"on_share"`
}

func (o reportOccupant) String() string {
	return fmt.Sprintf("%s to %s Hz", figure(o.LowHz), figure(o.HighHz))
}

func newReportOccupant(o *measure.Occupant) *reportOccupant {
	if o == nil {
		return nil
	}
	out := &reportOccupant{
		LowHz: round(o.Span.LowHz, 1), HighHz: round(o.Span.HighHz, 1),
		UnevenDB: round(o.UnevenDB, 0.01), OnShare: round(o.OnShare, 0.001),
	}
	if o.RepeatSeconds > 0 {
		out.RepeatS = round(o.RepeatSeconds, 1e-9)
	}
	return out
}

// reportSlice is the modulation error ratio in one slice of a channel.
type reportSlice struct {
	OffsetHz float64  `json:"offset_hz"` // of the slice's middle above the lower edge
	MERDB    *float64 `json:"mer_db"`
	SigmaDB  *float64 `json:"mer_sigma_db"`
}

func (s reportSlice) String() string { return fmt.Sprintf("%g Hz %s dB", s.OffsetHz, figure(s.MERDB)) }

// reportEcho is one path besides the strongest.
type reportEcho struct {
	DelayUS      *float64 `json:"delay_us"`
	DelaySigmaUS *float64 `json:"delay_sigma_us"`
	LevelDB      *float64 `json:"level_db"`
	LevelSigmaDB *float64 `json:"level_sigma_db"`
	ExtraFeet    *float64 `json:"extra_ft"`
	ExtraMetres  *float64 `json:"extra_m"`
}

func (e reportEcho) String() string {
	return fmt.Sprintf("%s us %s dB", figure(e.DelayUS), figure(e.LevelDB))
}

func figure(v *float64) string {
	if v == nil {
		return "?"
	}
	return strconv.FormatFloat(*v, 'f', -1, 64)
}

// newReport prepares a survey for JSON and CSV.
func newReport(s *scan.Survey) report {
	r := report{
		Schema:      sweepSchema,
		Source:      s.Source,
		ThresholdDB: s.ThresholdDB,
		Interrupted: s.Interrupted,
		Channels:    []reportRow{},
	}
	if !s.Started.IsZero() {
		started := s.Started.Format(time.RFC3339)
		r.Started = &started
	}
	if s.FalseAlarm > 0 {
		r.FalseAlarm = &s.FalseAlarm
	}
	if k := s.Clock; k != nil {
		r.PPM, r.PPMGiven, r.ClockStations = round(k.PPM.Value, 1e-3), &k.Given, &k.Stations
		if !k.Given {
			r.PPMSigma = round(k.PPM.Sigma, 1e-3)
		}
	}
	r.Radio = newRadioUsed(s)
	for i := range s.Channels {
		r.Channels = append(r.Channels, newReportRow(&s.Channels[i]))
	}
	return r
}

func newReportRow(c *scan.Channel) reportRow {
	row := reportRow{
		RFChannel: c.Channel.Number,
		LowerHz:   c.Channel.LowerHz,
		UpperHz:   c.Channel.UpperHz(),
		Covered:   c.Covered(),
		SeenShare: round(c.SeenShare(), 1e-4),
		SeenHz:    []reportSpan{},
		Presence:  word(c.Presence),
		Standard:  word(c.Standard),
		Grade:     word(c.Grade),
		Limits:    []string{},
		Evidence:  []string{},
		Doubts:    []string{},
		Advice:    append([]string{}, c.Advice...),
	}
	for _, s := range c.Seen {
		row.SeenHz = append(row.SeenHz, reportSpan{math.Round(s.LowHz), math.Round(s.HighHz)})
	}
	for _, r := range c.Reasons {
		row.Limits = append(row.Limits, string(r.Limit))
		row.Evidence = append(row.Evidence, r.Evidence)
	}
	for _, d := range c.Suspicion {
		row.Doubts = append(row.Doubts, string(d))
	}
	if !c.Heard() {
		return row
	}
	row.Occupant = newReportOccupant(c.Occupant)
	row.MarginDB, row.MarginSigmaDB = decibels(c.Margin)
	row.MarginMethod = word(c.MarginMethod)
	row.EchoCostDB, _ = decibels(c.EchoCost)
	row.UnderCostDB, _ = decibels(c.UnderCost)
	row.MERDB, row.MERSigmaDB = decibels(c.MER)
	for _, s := range c.SliceMER {
		mer, sigma := decibels(&s.MER)
		row.SliceMER = append(row.SliceMER, reportSlice{s.CenterHz, mer, sigma})
	}
	if c.EchoFloorDB != nil {
		row.EchoFloorDB = round(*c.EchoFloorDB, 0.1)
	}
	row.Echoes = reportEchoes(c.Echoes)
	row.TiltDB, _ = decibels(c.Tilt)
	row.RippleDB, _ = decibels(c.Ripple)
	row.CNDB, row.CNSigmaDB = decibels(c.CN)
	row.CNPowerDB, row.CNPowerSigmaDB = decibels(c.CNPower)
	row.CNPilotDB, row.CNPilotSigmaDB = decibels(c.CNPilot)
	row.PowerDBFS, row.PowerSigmaDB = decibels(c.PowerDBFS)
	row.PowerDBm, _ = decibels(c.PowerDBm)
	row.FieldDBuVm, _ = decibels(c.FieldDBuVm)
	row.NoiseDBFS, row.NoiseSigmaDB = decibels(c.NoiseDBFS)
	row.NoiseMethod = word(c.Noise)
	// A tone in a channel that is known to be vacant is no pilot, but where
	// it is and how strong still says something.
	found := c.Pilot != nil && c.Presence != measure.Vacant
	row.PilotFound = &found
	if p := c.Pilot; p != nil {
		row.PilotOffsetHz, row.PilotOffsetSigmaHz = round(p.OffsetHz.Value, 0.1), round(p.OffsetHz.Sigma, 0.1)
		row.PilotToNoiseDBHz, row.PilotToNoiseSigma = decibels(&p.ToNoise)
		row.PilotDBFS = round(p.PowerDBFS, 0.01)
	}
	if c.GainDB != nil {
		row.GainDB = round(*c.GainDB, 0.1)
	}
	row.ClippedFraction = round(c.ClippedFraction, 1e-6)
	row.LostSamples = &c.LostSamples
	return row
}

// reportEchoes keeps nil, which says that nothing is known, apart from the empty
// list, which says that there are none.
func reportEchoes(echoes []measure.Echo) []reportEcho {
	if echoes == nil {
		return nil
	}
	out := []reportEcho{}
	for _, e := range echoes {
		out = append(out, reportEcho{
			DelayUS: round(e.DelayUS.Value, 0.001), DelaySigmaUS: round(e.DelayUS.Sigma, 0.001),
			LevelDB: round(e.LevelDB.Value, 0.01), LevelSigmaDB: round(e.LevelDB.Sigma, 0.01),
			ExtraFeet: round(e.ExtraFeet(), 1), ExtraMetres: round(e.ExtraMetres(), 1),
		})
	}
	return out
}

// word returns nil for the empty word.
func word[T ~string](w T) *string {
	if w == "" {
		return nil
	}
	s := string(w)
	return &s
}

// decibels rounds an estimate and its uncertainty to 0.01 dB.
func decibels(e *measure.Estimate) (value, sigma *float64) {
	if e == nil {
		return nil, nil
	}
	return round(e.Value, 0.01), round(e.Sigma, 0.01)
}

// round rounds to a step that is a power of ten, and returns nil for what is
// not a number: JSON has none of those.
func round(v, step float64) *float64 {
	if math.IsNaN(v) || math.IsInf(v, 0) {
		return nil
	}
	// Dividing by a whole number gives the decimal's own float64, where
	// multiplying by the step would leave a tail of digits.
	per := math.Round(1 / step)
	v = math.Round(v*per)/per + 0 // + 0 turns −0 into 0
	return &v
}

// writeJSON writes a report as one indented object.
func writeJSON(w io.Writer, r any) error {
	var b bytes.Buffer
	enc := json.NewEncoder(&b)
	enc.SetEscapeHTML(false)
	enc.SetIndent("", "  ")
	if err := enc.Encode(r); err != nil {
		return fmt.Errorf("writing JSON: %w", err)
	}
	_, err := w.Write(b.Bytes())
	return err
}

// writeCSV writes a survey's channels as a table.
func writeCSV(w io.Writer, r report) error { return writeTable(w, r.Channels) }

// writeTable writes a header and one line a row, as RFC 4180 has it: lines end
// in CR LF. Absent values are empty; the entries of a list are joined with
// "; ".
func writeTable[T any](w io.Writer, rows []T) error {
	var b bytes.Buffer
	out := csv.NewWriter(&b)
	out.UseCRLF = true
	row := reflect.TypeFor[T]()
	header := make([]string, row.NumField())
	for i := range header {
		header[i] = row.Field(i).Tag.Get("json")
	}
	out.Write(header) // errors of a csv.Writer stay until Error is asked
	for _, r := range rows {
		fields := make([]string, len(header))
		for i := range fields {
			fields[i] = csvField(reflect.ValueOf(r).Field(i))
		}
		out.Write(fields)
	}
	out.Flush()
	if err := out.Error(); err != nil {
		return fmt.Errorf("writing CSV: %w", err)
	}
	_, err := w.Write(b.Bytes())
	return err
}

func csvField(v reflect.Value) string {
	if v.Kind() == reflect.Pointer {
		if v.IsNil() {
			return ""
		}
		v = v.Elem()
	}
	switch x := v.Interface().(type) {
	case float64:
		return strconv.FormatFloat(x, 'f', -1, 64)
	case []string:
		return strings.Join(x, "; ")
	case []reportSpan:
		return joined(x)
	case []reportSlice:
		return joined(x)
	case []reportEcho:
		return joined(x)
	case []reportStation:
		return joined(x)
	case reportIdentity:
		return x.Label
	default:
		return fmt.Sprint(x)
	}
}

// joined writes the entries of a list as one field.
func joined[T fmt.Stringer](list []T) string {
	var words []string
	for _, x := range list {
		words = append(words, x.String())
	}
	return strings.Join(words, "; ")
}
