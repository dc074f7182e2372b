package receive

import (
	"context"
	"errors"
	"fmt"
	"io"
	"slices"
	"time"

	"rooftone/scan/band"
	"rooftone/scan/tuner"
)

// DefaultRateHz is what a radio that sees whole channels is asked for.
const DefaultRateHz = 8e6

// Rate returns the rate at which a radio is asked for whole channels: DefaultRateHz,
// or where it says what it can do the lowest above that, or else the highest below.
func Rate(t tuner.Tuner) float64 {
	r, ok := t.(tuner.Rated)
	if !ok || len(r.Rates()) == 0 {
		return DefaultRateHz
	}
	if hz, ok := r.Rates().AtLeast(DefaultRateHz); ok {
		return hz
	}
	hz, _ := r.Rates().AtMost(DefaultRateHz)
	return hz
}

// blockTime is how much is read at once.
const blockTime = 50 * time.Millisecond

// Deliver takes samples that follow the last ones, unless fresh or the block itself
// says otherwise.
type Deliver func(b tuner.Block, fresh bool) error

// FromTuner tunes a radio to the middle of a channel and delivers what it hears until
// the context ends, which is no error, or deliver returns one. Without a gain it
// takes the highest at which the converter does not overload.
func FromTuner(ctx context.Context, t tuner.Tuner, c band.Channel, rateHz float64, gainDB *float64, deliver Deliver) error {
	if rateHz == 0 {
		rateHz = Rate(t)
	}
	buffer := make([]complex64, int(blockTime.Seconds()*rateHz))
	gains := ladder(t.Info().GainsDB, gainDB)
	for i, gain := range gains {
		tuning := tuner.Tuning{CenterHz: c.CenterHz(), RateHz: rateHz, GainDB: gain}
		if err := t.Tune(ctx, tuning); err != nil {
			return ended(ctx, fmt.Errorf("tuning to channel %d: %w", c.Number, err))
		}
		b, err := t.Read(ctx, buffer)
		if err != nil {
			return ended(ctx, fmt.Errorf("listening to channel %d: %w", c.Number, err))
		}
		const overloadShare = 1e-3
		if float64(b.Clipped) > overloadShare*float64(len(b.Samples)) && i+1 < len(gains) {
			continue
		}
		if err := deliver(b, true); err != nil {
			return err
		}
		break
	}
	for {
		b, err := t.Read(ctx, buffer)
		if len(b.Samples) > 0 {
			if err := deliver(b, false); err != nil {
				return err
			}
		}
		if err != nil {
			return ended(ctx, fmt.Errorf("listening to channel %d: %w", c.Number, err))
		}
	}
}

// ended drops an error that is the context's end.
func ended(ctx context.Context, err error) error {
	if ctx.Err() != nil {
		return nil
	}
	return err
}

// ladder is the gains to try, the highest first, some 6 dB apart.
func ladder(gains []float64, asked *float64) []float64 {
	const step = 6
	switch {
	case asked != nil:
		return []float64{*asked}
	case len(gains) == 0:
		return []float64{tuner.UnknownGain()}
	}
	sorted := slices.Clone(gains)
	slices.Sort(sorted)
	out := []float64{sorted[len(sorted)-1]}
	for i := len(sorted) - 2; i >= 0; i-- {
		if i == 0 || out[len(out)-1]-sorted[i] >= step {
			out = append(out, sorted[i])
		}
	}
	return out
}

// FromPlaylist delivers those of a recording's stays that show the whole channel.
// Where none does it returns a *NarrowError of the one that comes nearest. The end
// of the context is no error. What is delivered before a recording turns out to be
// damaged is good.
func FromPlaylist(ctx context.Context, p tuner.Playlist, c band.Channel, deliver Deliver) error {
	var (
		buffer  []complex64
		nearest *NarrowError
		found   bool
	)
	for {
		stay, err := p.Next(ctx)
		switch {
		case errors.Is(err, io.EOF) && !found && nearest != nil:
			return nearest
		case errors.Is(err, io.EOF):
			return nil
		case err != nil:
			return ended(ctx, fmt.Errorf("reading the recording: %w", err))
		}
		if !Covers(c, stay.CenterHz, stay.RateHz) {
			if n := (&NarrowError{c, stay.CenterHz, stay.RateHz}); nearest == nil || n.away() < nearest.away() {
				nearest = n
			}
			continue
		}
		found = true
		if n := int(blockTime.Seconds() * stay.RateHz); len(buffer) < n {
			buffer = make([]complex64, n)
		}
		for fresh := true; ; fresh = false {
			b, err := p.Read(ctx, buffer)
			if len(b.Samples) > 0 {
				if err := deliver(b, fresh); err != nil {
					return err
				}
			}
			if errors.Is(err, io.EOF) {
				break
			}
			if err != nil {
				return ended(ctx, fmt.Errorf("reading the recording: %w", err))
			}
		}
	}
}

// away is how much of the channel is not shown, in Hz.
func (e *NarrowError) away() float64 {
	low := max(e.Channel.LowerHz, e.CenterHz-e.RateHz/2)
	high := min(e.Channel.UpperHz(), e.CenterHz+e.RateHz/2)
	return band.WidthHz - (high - low)
}
