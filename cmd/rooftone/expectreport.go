package main

import (
	"rooftone/scan/expect"
	"rooftone/scan/path"
	"rooftone/scan/site"
	"rooftone/scan/terrain"
)

// expectReport is what expect --json prints: a public contract, described in the
// README.
type expectReport struct {
	Schema       string           `json:"schema"`
	Headline     string           `json:"headline"`
	Aim          string           `json:"aim"`
	Latitude     float64          `json:"latitude"`
	Longitude    float64          `json:"longitude"`
	HeightM      float64          `json:"height_m"`
	ThresholdDB  float64          `json:"threshold_db"`
	TilesWanted  []terrain.Name   `json:"tiles_wanted"`
	TilesMissing []terrain.Name   `json:"tiles_missing"`
	Far          int              `json:"far"`
	Stations     []expectedReport `json:"stations"`
}

type expectedReport struct {
	RFChannel  int      `json:"rf_channel"`
	Label      string   `json:"label"`
	BearingDeg *float64 `json:"bearing_deg"`
	Compass    string   `json:"compass"`
	Magnetic   *float64 `json:"magnetic_bearing_deg"`
	DistanceKM *float64 `json:"distance_km"`
	ERPKW      *float64 `json:"erp_kw"`
	HeightM    *float64 `json:"height_m"`

	Outlook *string  `json:"outlook"`
	Problem string   `json:"problem"`
	Ground  *string  `json:"ground"`
	Way     *string  `json:"way"`
	Hidden  *float64 `json:"hidden_km"`
	Bridged *float64 `json:"bridged_km"`

	Field       *float64 `json:"field_dbuvm"`
	FieldLow    *float64 `json:"field_low_dbuvm"`
	FieldHigh   *float64 `json:"field_high_dbuvm"`
	FieldMost   *float64 `json:"field_90_dbuvm"`
	Antenna     *float64 `json:"antenna_dbm"`
	AntennaLow  *float64 `json:"antenna_low_dbm"`
	AntennaHigh *float64 `json:"antenna_high_dbm"`
	CN          *float64 `json:"cn_db"`
	CNLow       *float64 `json:"cn_low_db"`
	CNHigh      *float64 `json:"cn_high_db"`
	Margin      *float64 `json:"margin_db"`
	MarginLow   *float64 `json:"margin_low_db"`
	MarginHigh  *float64 `json:"margin_high_db"`

	Rival   *float64       `json:"above_rival_db"`
	Missing []terrain.Name `json:"tiles_missing"`
}

const expectSchema = "rooftone.expect/1"

func newExpectReport(e *expect.Expectation, h expect.House, s *stationFlags) expectReport {
	r := expectReport{
		Schema: expectSchema, Headline: e.Headline(), Aim: e.Aim(),
		Latitude: h.At.LatDeg, Longitude: h.At.LonDeg, HeightM: h.HeightM, ThresholdDB: h.ThresholdDB,
		TilesWanted: e.Wanted, TilesMissing: e.Missing, Far: e.Far, Stations: []expectedReport{},
	}
	for i := range e.Stations {
		r.Stations = append(r.Stations, newExpectedReport(&e.Stations[i], s.declination))
	}
	return r
}

func newExpectedReport(x *expect.Expected, declination *float64) expectedReport {
	r := expectedReport{
		RFChannel: x.RFChannel, Label: x.Label, BearingDeg: round(x.BearingDeg, 0.1), Compass: site.Point(x.BearingDeg),
		DistanceKM: round(x.DistanceM/1e3, 0.1), ERPKW: x.ERPKW, HeightM: x.HeightM,
		Problem: x.Problem, Missing: x.Missing,
	}
	if r.Missing == nil {
		r.Missing = []terrain.Name{}
	}
	if declination != nil {
		r.Magnetic = round(site.MagneticBearing(x.BearingDeg, *declination), 0.1)
	}
	if x.Problem != "" {
		return r
	}
	outlook, ground, way := string(x.Outlook), string(x.Ground), "sight"
	switch {
	case x.Mode == path.Scattered:
		way = "scattered"
	case x.Hidden:
		way = "hidden"
	}
	r.Outlook, r.Ground = &outlook, &ground
	if x.Ground == expect.Profiled {
		r.Way, r.Bridged = &way, round(x.BridgedM/1e3, 0.01)
		if x.Hidden {
			r.Hidden = round(x.HiddenM/1e3, 0.01)
		}
	}
	three := func(i expect.Interval) (v, low, high *float64) {
		return round(i.Value, 0.1), round(i.Low, 0.1), round(i.High, 0.1)
	}
	r.Field, r.FieldLow, r.FieldHigh = three(x.Field)
	r.FieldMost = round(x.FieldMost, 0.1)
	r.Antenna, r.AntennaLow, r.AntennaHigh = three(x.Antenna)
	r.CN, r.CNLow, r.CNHigh = three(x.CN)
	r.Margin, r.MarginLow, r.MarginHigh = three(x.Margin)
	if x.RivalDB != nil {
		r.Rival = round(*x.RivalDB, 0.1)
	}
	return r
}
