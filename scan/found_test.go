package scan

import (
	"math"
	"math/cmplx"
	"math/rand/v2"
	"slices"
	"testing"

	"github.com/stretchr/testify/require"

	"rooftone/dsp/air"
	"rooftone/dsp/vsb"
	"rooftone/dsp/vsb/coding"
	"rooftone/dsp/vsb/receiver"
	"rooftone/scan/measure"
	"rooftone/scan/tuner/sim"
)

// wide is a channel as a radio has it that sees all of it, without any noise.
type wide struct {
	samples []complex64
	noisy   []complex64
	power   float64 // of the first path alone
}

const (
	wideRate  = 8e6
	wideLower = -3.1e6
	wideCount = 619448 // samples: 3.2 fields
)

func newWide(t *testing.T, echoes []sim.Echo, seed uint64) *wide {
	t.Helper()
	packets := func(dst []byte, field int64) {
		rng := rand.New(rand.NewPCG(seed, uint64(field)))
		for at := range dst {
			dst[at] = byte(rng.Uint32())
			if at%coding.PacketBytes == 0 {
				dst[at] = coding.SyncByte
			}
		}
	}
	r, err := vsb.NewRenderer(wideRate, -wideLower)
	require.NoError(t, err)
	station := coding.NewBroadcast(packets)
	w := &wide{power: 1}
	w.samples = make([]complex64, wideCount)
	w.noisy = make([]complex64, len(w.samples))
	begin := 1e-3 * float64(seed%20)
	const piece = 1 << 16
	for at := 0; at < len(w.samples); at += piece {
		part := w.samples[at:min(at+piece, len(w.samples))]
		start := begin + float64(at)/wideRate
		require.NoError(t, r.Add(part, station, start, 1/wideRate, 1))
		for _, e := range echoes {
			gain := cmplx.Rect(air.Amplitude(e.LevelDB), e.PhaseDeg*math.Pi/180)
			require.NoError(t, r.Add(part, station, start-e.DelayUS*1e-6, 1/wideRate, gain))
		}
	}
	return w
}

// received tells whether all packets are received with noise in 6 MHz so many
// decibels below the first path.
func (w *wide) received(t *testing.T, cn float64, seed uint64) bool {
	copy(w.noisy, w.samples)
	air.NewNoise(seed).Add(w.noisy, w.power/math.Pow(10, cn/10)*wideRate/vsb.ChannelWidthHz)
	r, err := receiver.New(receiver.Options{RateHz: wideRate, LowerHz: wideLower})
	require.NoError(t, err)
	require.NoError(t, r.Write(w.noisy))
	require.NoError(t, r.Flush())
	s := r.Status()
	return s.Packets > 400 && s.Failed == 0
}

// found returns the least C/N, of the first path alone, at which all packets are
// received, looked for by halves between two others.
func (w *wide) found(t *testing.T, low, high float64, seed uint64) float64 {
	for high-low > 0.2 {
		if mid := (low + high) / 2; w.received(t, mid, seed) {
			high = mid
		} else {
			low = mid
		}
	}
	return (low + high) / 2
}

func TestMarginAgainstReceiver(t *testing.T) {
	if testing.Short() {
		t.Skip("with the race detector receiving is slow")
	}
	// Truth: packets. Noise is added to a channel with a station's echoes until the
	// receiver loses packets; how much that takes is compared with the margin that
	// a dongle's slices of such a channel gave. The receiver's own threshold on a
	// flat channel is found the same way.
	t.Parallel()
	flat := newWide(t, nil, 1)
	var own float64
	const tries = 3
	for seed := range uint64(tries) {
		own += flat.found(t, 13, 17, 1000+seed) / tries
	}
	t.Logf("the receiver's own threshold: C/N %.2f dB", own)
	require.Less(t, own, 15.3)

	rng := rand.New(rand.NewPCG(2027, 3))
	var errors []float64
	channels := 2
	if *draws > 1 {
		channels = *draws
	}
	for len(errors) < channels {
		town := randomTown(rng)
		s, tn := look(t, town, Options{Channels: usChannels(t, "14-36"), Plan: usChannels(t, "14-36")})
		for n := 14; n <= 36 && len(errors) < channels; n += 2 {
			stations := onChannel(town, n)
			c := channelOf(t, s, n)
			if len(stations) > 1 || c.Presence != measure.Present || c.Margin == nil {
				continue
			}
			tune(t, tn, c)
			truth, err := tn.Truth(n)
			require.NoError(t, err)
			cn := stations[0].LevelDBm - truth.NoiseDBm
			predicted := c.Margin.Value + s.ThresholdDB - own
			w := newWide(t, stations[0].Echoes, rng.Uint64N(1<<40))
			least := w.found(t, cn-predicted-3, cn-predicted+5, uint64(len(errors)))
			e := predicted - (cn - least)
			errors = append(errors, e)
			if math.Abs(e) > 0.7 || *draws > 1 {
				t.Logf("channel %d: predicted %.2f dB, found %.2f dB, C/N %.2f dB, echoes %v", n, predicted, cn-least, cn, stations[0].Echoes)
			}
		}
	}
	var sum, squares, within float64
	for _, e := range errors {
		sum += e
		squares += e * e
		if math.Abs(e) <= 1 {
			within++
		}
	}
	slices.Sort(errors)
	n := float64(len(errors))
	t.Logf("%d channels: predicted less found %+.2f dB on average, rms %.2f dB, from %+.2f to %+.2f dB, within 1 dB %.1f %%",
		len(errors), sum/n, math.Sqrt(squares/n), errors[0], errors[len(errors)-1], 100*within/n)
	require.GreaterOrEqual(t, within/n, 0.9)
}
