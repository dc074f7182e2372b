package main

import (
	"encoding/json"
	"io"
	"math"
	"time"

	"rooftone/scan/receive"
)

// receiveSchema names the lines of JSON that receive prints.
const receiveSchema = "rooftone.receive/1"

// receiveSecond, receiveStation and receiveTotal are the lines of receive --json: a
// public contract, described in the README.
type receiveSecond struct {
	Kind        string   `json:"kind"`
	At          *float64 `json:"at"`
	Time        *string  `json:"time"`
	Locked      bool     `json:"locked"`
	Relocked    bool     `json:"relocked"`
	MERDB       *float64 `json:"mer_db"`
	MERBeforeDB *float64 `json:"mer_before_db"`
	IdealDB     *float64 `json:"ideal_mer_db"`
	MarginDB    *float64 `json:"margin_db"`
	Packets     int64    `json:"packets"`
	Errors      int64    `json:"packet_errors"`
	Corrected   int64    `json:"corrected_bytes"`
	Clipped     *float64 `json:"clipped_fraction"`
	Lost        bool     `json:"lost_samples"`
	SkippedS    *float64 `json:"skipped_s"`
}

type receiveStation struct {
	Kind      string `json:"kind"`
	RFChannel int    `json:"rf_channel"`
	*reportIdentity
}

type receiveTotal struct {
	Kind        string   `json:"kind"`
	Schema      string   `json:"schema"`
	Source      string   `json:"source"`
	RFChannel   int      `json:"rf_channel"`
	Seconds     *float64 `json:"seconds"`
	Locks       int      `json:"locks"`
	FirstGoodS  *float64 `json:"first_good_s"`
	Packets     int64    `json:"packets"`
	Errors      int64    `json:"packet_errors"`
	ErrorShare  *float64 `json:"packet_error_share"`
	Corrected   int64    `json:"corrected_bytes"`
	BadSeconds  int      `json:"bad_seconds"`
	Losses      int      `json:"losses"`
	SkippedS    *float64 `json:"skipped_s"`
	HeardShare  *float64 `json:"heard_share"`
	Interrupted bool     `json:"interrupted"`
}

// receiveJSON prints a reception for programs.
type receiveJSON struct {
	flags *receiveFlags
	out   io.Writer
}

func (j *receiveJSON) line(v any) error {
	enc := json.NewEncoder(j.out)
	enc.SetEscapeHTML(false)
	return printed(enc.Encode(v))
}

func (j *receiveJSON) second(s receive.Second) error {
	l := receiveSecond{
		Kind: "second", At: round(s.At, 1e-3), Locked: s.Locked, Relocked: s.Relocked,
		MERDB: round(s.MERDB, 0.01), MERBeforeDB: round(s.MERBeforeDB, 0.01), IdealDB: round(s.IdealDB, 0.01), MarginDB: round(s.MarginDB, 0.01),
		Packets: s.Packets, Errors: s.Failed, Corrected: s.Corrected, Clipped: round(s.Clipped, 1e-6), Lost: s.Lost,
		SkippedS: round(s.Skipped, 1e-3),
	}
	if !s.Time.IsZero() {
		l.Time = text(s.Time.UTC().Format(time.RFC3339Nano))
	}
	return j.line(l)
}

func (j *receiveJSON) station(rx *receive.Reception) error {
	who := identityOf(rx.Identity())
	if who == nil {
		return nil
	}
	return j.line(receiveStation{Kind: "station", RFChannel: j.flags.channel.Number, reportIdentity: who})
}

func (j *receiveJSON) total(rx *receive.Reception, interrupted bool) error {
	t := rx.Total()
	share := math.NaN()
	if t.Packets > 0 {
		share = t.FailedShare()
	}
	return j.line(receiveTotal{
		Kind: "total", Schema: receiveSchema, Source: j.flags.src.info().Name, RFChannel: j.flags.channel.Number,
		Seconds: round(t.Seconds, 1e-3), Locks: t.Locks, FirstGoodS: round(t.FirstGood, 1e-3),
		Packets: t.Packets, Errors: t.Failed, ErrorShare: round(share, 1e-9), Corrected: t.Corrected,
		BadSeconds: t.BadSeconds, Losses: t.Lost, SkippedS: round(t.Skipped, 1e-3), HeardShare: round(t.HeardShare(), 1e-4), Interrupted: interrupted,
	})
}
