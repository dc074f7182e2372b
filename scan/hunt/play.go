package hunt

import (
	"context"
	"errors"
	"io"

	"rooftone/scan"
	"rooftone/scan/tuner"
)

// Play hunts in a recording. What it does not hold is told in Hunt.Missing.
func Play(ctx context.Context, p tuner.Playlist, o Options) (*Hunt, error) {
	l := newListener(o, p.Info())
	l.Terminate, l.Keep = nil, nil
	to := l.surveyOptions()
	to.Progress = func(done, total int, _ float64) {
		if l.Progress != nil {
			l.Progress("the recording", done, total)
		}
	}
	var err error
	l.survey, err = scan.SweepPlaylist(ctx, newSieve(&tap{Playlist: p, listener: l, buffer: make([]complex64, 1<<16)}, l.Plan), to)
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
	fresh    bool
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
	return s, nil
}

// Read implements tuner.Playlist.
func (t *tap) Read(ctx context.Context, dst []complex64) (tuner.Block, error) {
	b, err := t.Playlist.Read(ctx, dst)
	if len(b.Samples) > 0 {
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
