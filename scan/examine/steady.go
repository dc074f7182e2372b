package examine

import (
	"context"
	"errors"
	"math"
	"math/cmplx"
	"slices"
	"time"

	"rooftone/dsp/robust"
	"rooftone/scan/character"
	"rooftone/scan/tuner"
)

const (
	settleTries   = 5
	settleSeconds = 0.13 // listened to after a retune
	restShare     = 0.35 // of that, at the end, which is taken for settled

	// otherRateHz is a common dongle's other rate; a radio that has rates of its
	// own is asked for what is next to it.
	otherRateHz = 1.92e6

	lossSeconds = 2

	// pieceSeconds is how finely a pilot's phase is followed.
	pieceSeconds = 1e-3
)

// strongest is the pilot that stands out most, nil when there is none.
func (e *exam) strongest() *pilot {
	var best *pilot
	for _, p := range e.pilots {
		if best == nil || p.cnDB > best.cnDB {
			best = p
		}
	}
	return best
}

// pieces returns a pilot's amplitude in pieces of a block, and how its phase
// advances from one to the next.
func pieces(b tuner.Block, offsetHz, seconds float64) (amplitudes, advances []float64) {
	n := int(seconds * b.RateHz)
	step := cmplx.Rect(1, -2*math.Pi*offsetHz/b.RateHz)
	var last complex128
	for from := 0; from+n <= len(b.Samples); from += n {
		w := cmplx.Rect(1, -2*math.Pi*math.Mod(offsetHz/b.RateHz*float64(from), 1))
		var sum complex128
		for i, z := range b.Samples[from : from+n] {
			h := math.Sin(math.Pi * (float64(i) + 0.5) / float64(n))
			sum += complex128(z) * w * complex(h*h, 0)
			w *= step
		}
		if from > 0 {
			advances = append(advances, cmplx.Phase(sum*cmplx.Conj(last)))
		}
		amplitudes, last = append(amplitudes, cmplx.Abs(sum)), sum
	}
	return amplitudes, advances
}

// settling finds how long after a retune a pilot is not what it is afterwards.
func (e *exam) settling(ctx context.Context) error {
	p := e.strongest()
	if p == nil {
		return nil
	}
	if ok, err := e.refresh(ctx, p); err != nil || !ok {
		return err
	}
	other := e.otherRate()
	s := character.Settling{Tries: settleTries}
	for i := range 2 * settleTries {
		rate, worst := e.rate, &s.SameRateMS
		if i%2 == 1 {
			rate, worst = other, &s.OtherRateMS
		}
		const awayHz = 31e6
		away := p.radioHz + math.Copysign(awayHz, 400e6-p.radioHz)
		if _, err := e.listen(ctx, tuner.Tuning{CenterHz: away, RateHz: rate, GainDB: p.gainDB}, 5e-3); errors.Is(err, tuner.ErrNoLock) {
			continue
		} else if err != nil {
			return err
		}
		b, err := e.listen(ctx, tuner.Tuning{CenterHz: p.radioHz - 0.3*e.rate/2, RateHz: e.rate, GainDB: p.gainDB}, settleSeconds)
		if errors.Is(err, tuner.ErrNoLock) {
			continue
		}
		if err != nil {
			return err
		}
		amplitudes, advances := pieces(b, p.place(b), pieceSeconds)
		if ms := settled(amplitudes, advances) * pieceSeconds * 1e3; ms > *worst {
			*worst = ms
		}
	}
	e.out.Settling = &s
	return nil
}

// otherRate is another sample rate that the radio has.
func (e *exam) otherRate() float64 {
	r, ok := e.t.(tuner.Rated)
	if !ok || len(r.Rates()) == 0 {
		return otherRateHz
	}
	if hz, ok := r.Rates().AtMost(e.rate * 0.8); ok {
		return hz
	}
	return e.rate
}

// settled is from which piece on all is as at the end, for some pieces at least: what
// is lost later is another matter.
func settled(amplitudes, advances []float64) float64 {
	rest := int(float64(len(advances)) * (1 - restShare))
	if rest < 1 || rest >= len(advances)-4 {
		return 0
	}
	amplitude, advance := robust.Median(slices.Clone(amplitudes[rest:])), robust.Median(slices.Clone(advances[rest:]))
	const sigmas, leastPart, leastTurn = 5, 0.12, 0.3
	part := math.Max(leastPart*amplitude, sigmas*robust.Spread(slices.Clone(amplitudes[rest:])))
	turn := math.Max(leastTurn, sigmas*robust.Spread(slices.Clone(advances[rest:])))
	const enough = 5
	good := 0
	for k := range advances {
		off := math.Abs(math.Remainder(advances[k]-advance, 2*math.Pi)) > turn || math.Abs(amplitudes[k]-amplitude) > part
		if off {
			good = 0
			continue
		}
		if good++; good == enough {
			return float64(k - enough + 1)
		}
	}
	return float64(len(advances))
}

// losses listens for jumps of a pilot's phase at the radio's rates.
func (e *exam) losses(ctx context.Context) error {
	p := e.strongest()
	if p == nil {
		return nil
	}
	rates := []float64{e.rate}
	if _, rated := e.t.(tuner.Rated); !rated {
		rates = append(rates, otherRateHz)
	} else if other := e.otherRate(); other != e.rate {
		rates = append(rates, other)
	}
	for _, rate := range rates {
		if err := e.loss(ctx, p, rate); err != nil {
			return err
		}
	}
	return nil
}

func (e *exam) loss(ctx context.Context, p *pilot, rate float64) error {
	const settling = 0.1 // the longest that is known of
	b, err := e.listen(ctx, tuner.Tuning{CenterHz: p.radioHz - 0.37*rate/2, RateHz: rate, GainDB: p.gainDB}, settling)
	if errors.Is(err, tuner.ErrNoLock) {
		return nil
	}
	if err != nil {
		return err
	}
	l := character.Loss{RateHz: rate}
	var advances []float64
	n := int(pieceSeconds*b.RateHz) * 100
	for l.Seconds < lossSeconds {
		b, err := e.read(ctx, n)
		if err != nil {
			return err
		}
		if b.Lost {
			l.Told++
		}
		_, a := pieces(b, p.place(b), pieceSeconds)
		advances = append(advances, a...)
		l.Seconds += float64(n) / b.RateHz
	}
	l.Seconds = round1(l.Seconds)
	l.Jumps = jumps(advances)
	e.out.Losses = append(e.out.Losses, l)
	return nil
}

// jumps counts the places at which a phase does not go on as it does.
func jumps(advances []float64) int {
	usual := robust.Median(slices.Clone(advances))
	const sigmas, least, apart = 7, 0.35, 3
	turn := math.Max(least, sigmas*robust.Spread(slices.Clone(advances)))
	n, last := 0, -apart
	for k, a := range advances {
		if math.Abs(math.Remainder(a-usual, 2*math.Pi)) > turn {
			if k-last >= apart {
				n++
			}
			last = k
		}
	}
	return n
}

// clock finds how fast the clock runs, and how that went on: one pilot tells it
// against itself, whatever its own error is.
func (e *exam) clock(ctx context.Context) error {
	for _, p := range e.pilots {
		if _, err := e.refresh(ctx, p); err != nil {
			return err
		}
	}
	if len(e.sights) > 0 {
		e.out.DriftPPMPerMinute = drift(e.sights)
	}
	if c := e.survey.Clock; c != nil && !c.Given {
		ppm := character.Figure{Value: c.PPM.Value, Sigma: c.PPM.Sigma}
		// As it runs in the end: by how much the pilots moved since the survey.
		if d := e.out.DriftPPMPerMinute; d != nil && !e.survey.Started.IsZero() {
			ppm.Value += d.Value * e.now().Sub(e.survey.Started.Add(e.survey.Listened/2)).Minutes()
		}
		e.out.ClockPPM = &ppm
	}
	return nil
}

// drift is the slope over time that sights have in common, each station's counted
// from its own mean.
func drift(sights []sight) *character.Figure {
	const leastSpan = 5 * time.Second
	var number, mean, when = map[int]float64{}, map[int]float64{}, map[int]float64{}
	began := sights[0].at
	minutes := func(s sight) float64 { return s.at.Sub(began).Minutes() }
	for _, s := range sights {
		number[s.channel]++
		mean[s.channel] += s.ppm
		when[s.channel] += minutes(s)
	}
	var tt, tp, most float64
	for _, s := range sights {
		t := minutes(s) - when[s.channel]/number[s.channel]
		tt += t * t
		tp += t * (s.ppm - mean[s.channel]/number[s.channel])
		most = math.Max(most, math.Abs(t))
	}
	free := len(sights) - len(number) - 1
	if free < 1 || most < leastSpan.Minutes()/2 {
		return nil
	}
	slope, squares := tp/tt, 0.
	for _, s := range sights {
		t := minutes(s) - when[s.channel]/number[s.channel]
		left := s.ppm - mean[s.channel]/number[s.channel] - slope*t
		squares += left * left
	}
	return &character.Figure{Value: slope, Sigma: math.Sqrt(squares / float64(free) / tt)}
}
