package hunt

import (
	"context"
	"errors"
	"io"
	"math"

	"rooftone/scan"
	"rooftone/scan/tuner"
)

// Play hunts in a recording. What it does not hold is told in Hunt.Missing.
func Play(ctx context.Context, p tuner.Playlist, o Options) (*Hunt, error) {
	o.fill()
	o.Terminate = nil
	l := &listener{Options: o, info: p.Info()}
	l.inside = NewInside(scan.Company(o.Channels, o.Plan), l.info)
	l.inside.ThresholdDB = o.ThresholdDB
	tap := &tap{Playlist: p, listener: l, gains: map[float64]float64{}, buffer: make([]complex64, 1<<16)}
	var err error
	l.survey, err = scan.SweepPlaylist(ctx, tap, scan.Options{
		Channels: scan.Company(o.Channels, o.Plan), Plan: o.Plan, PPM: o.PPM, ThresholdDB: o.ThresholdDB,
		Calibration: o.Calibration,
		Progress: func(done, total int, _ float64) {
			if o.Progress != nil {
				o.Progress("the recording", done, total)
			}
		},
	})
	l.ear.end()
	h := l.conclude(err != nil || l.survey != nil && l.survey.Interrupted)
	if ctx.Err() != nil {
		err = nil
	}
	return h, err
}

// tap lets the hunt hear what the survey hears of a recording, and what it
// passes over.
type tap struct {
	tuner.Playlist
	listener *listener
	gains    map[float64]float64 // the first gain at each tuning
	fresh    bool
	inside   bool // this stay is one of the survey's own, not a rung
	read     bool // to its end
	begun    bool
	buffer   []complex64
}

// Next implements tuner.Playlist.
func (t *tap) Next(ctx context.Context) (tuner.Stay, error) {
	for t.begun && !t.read {
		if _, err := t.Read(ctx, t.buffer); err != nil {
			if !errors.Is(err, io.EOF) {
				return tuner.Stay{}, err
			}
		}
	}
	s, err := t.Playlist.Next(ctx)
	if err != nil {
		return s, err
	}
	t.begun, t.read, t.fresh = true, false, true
	key := math.Round(s.CenterHz / 1e3)
	gain, seen := t.gains[key]
	if !seen {
		t.gains[key], gain = s.GainDB, s.GainDB
	}
	t.inside = gain == s.GainDB || math.IsNaN(gain) && math.IsNaN(s.GainDB)
	return s, nil
}

// Read implements tuner.Playlist.
func (t *tap) Read(ctx context.Context, dst []complex64) (tuner.Block, error) {
	b, err := t.Playlist.Read(ctx, dst)
	const railsShare = 2e-3 // above it a block shows what the rails make
	if len(b.Samples) > 0 {
		if t.inside && float64(b.Clipped) <= railsShare*float64(len(b.Samples)) {
			if keepErr := t.listener.inside.Keep(b, t.fresh); keepErr != nil {
				return b, keepErr
			}
			if keepErr := t.listener.fall(b, t.fresh); keepErr != nil {
				return b, keepErr
			}
		}
		if keepErr := t.listener.take(b, t.fresh); keepErr != nil {
			return b, keepErr
		}
		t.fresh = false
	}
	if err != nil {
		t.read = true
	}
	return b, err
}
