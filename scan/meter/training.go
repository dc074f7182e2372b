package meter

import (
	"math"
	"slices"
	"time"

	"rooftone/dsp/vsb"
	"rooftone/scan/band"
	"rooftone/scan/measure"
	"rooftone/scan/tuner"
)

const (
	fitEvery      = 300 * time.Millisecond // by channel, of its slices in turn
	trainedSpan   = 4 * time.Second        // how long what a fit said counts
	enoughFits    = 3.0
	mostFits      = 12.0  // beyond which older ones fade
	errorRelative = 0.085 // of one field's error in a slice of 2 MHz: 1/√142
	errorStands   = 0.2   // by how much an error must exceed the noise
	errorBelow    = 0.1   // and by how much it must fall short of it
	errorSigmas   = 3.3
	trainingAlarm = 1e-3
	rangePPM      = 3
	// surelyHz is how much of the channel a slice has to show so that the training
	// of a station that decodes cannot be missed in it: 0.76 MHz around the pilot
	// are not enough, 0.9 MHz anywhere are.
	surelyHz = 0.85e6
	// wideFitEvery is fitEvery while neither pilot nor clock say where to look.
	wideFitEvery = time.Second
)

const (
	faintDB   = -8.0 // C/N below which the training of one field drowns
	longStays = 8    // in a row, for eight fields
	longEvery = 2 * time.Second
)

// longIsDue reports whether the stay is to be a long one: a faint channel is
// listened to for longer now and then, for the training of eight fields together
// shows what one does not.
func (f *follower) longIsDue(at time.Time, channels int) bool {
	if !f.faint || !f.placed() || at.Before(f.nextLong) {
		return false
	}
	f.nextLong = at.Add(longEvery * time.Duration(channels))
	return true
}

// train fits the training in a stay when it is time to.
func (f *follower) train(k int, b tuner.Block, at time.Time) {
	if !at.Before(f.nextFit) && f.placed() {
		f.fit(k, b, at)
	}
}

// placed reports whether it is known where the training's carrier is: by the
// pilot, or where no slice shows that by what is known of the clock, which may be
// nothing.
func (f *follower) placed() bool { return f.pilotHop < 0 || f.pilot.locked }

// knowledge is what is known of the carrier and the clock before a fit.
func (f *follower) knowledge(h *hop) vsb.Knowledge {
	k := vsb.Knowledge{CenterHz: h.centerHz}
	switch {
	case f.pilotHop >= 0:
		k.ClockPPM = (f.channel.PilotHz()/(f.hops[f.pilotHop].centerHz+f.pilot.offsetHz) - 1) * 1e6
		k.RangePPM = rangePPM
	case f.clockPPM != nil:
		k.ClockPPM, k.RangePPM = *f.clockPPM, f.clockOff
	}
	return k
}

// fit fits the training in a stay.
func (f *follower) fit(k int, b tuner.Block, at time.Time) {
	h := &f.hops[k]
	if h.unfit {
		return
	}
	f.nextFit = at.Add(f.fitEvery)
	if f.pilotHop < 0 && f.clockPPM == nil {
		f.nextFit = at.Add(wideFitEvery) // it is sought far and wide, which takes its time
	}
	if f.trainer[k] == nil {
		t, err := vsb.NewTrainer(b.RateHz, math.Round(h.centerHz-f.channel.LowerHz))
		if err != nil {
			h.unfit = true // a rate that it cannot do, or too little of the channel
			return
		}
		f.trainer[k] = t
	}
	fit, err := f.trainer[k].Fit(b.Samples, f.knowledge(h))
	if err != nil || fit.FalseAlarm > trainingAlarm || fit.Fields == 0 {
		return
	}
	f.lastSeen = at
	if f.pilotHop < 0 && f.clockPPM == nil {
		ppm := fit.ClockPPM
		f.clockPPM, f.clockOff = &ppm, rangePPM+3*fit.ClockSigmaPPM
	}
	if !(fit.ErrorDensity > 0) {
		return
	}
	lift := meanOf(h.lift)
	t := &h.trained
	if at.Sub(t.at) > trainedSpan {
		*t = trained{}
	}
	n := float64(fit.Fields)
	t.weight = math.Min(t.weight+n, mostFits)
	t.errors += (fit.ErrorDensity*lift - t.errors) * n / t.weight
	t.data += (fit.DataDensity*lift - t.data) * n / t.weight
	t.at = at
}

// mer is the modulation error ratio of the fits that still count.
func (f *follower) mer(at time.Time) *measure.Estimate {
	var data, errors, weight float64 // weight is the inverse of the relative variance
	for k := range f.hops {
		if t := &f.hops[k].trained; t.weight > 0 && at.Sub(t.at) < trainedSpan {
			data += t.data
			errors += t.errors
			weight += t.weight / math.Pow(f.errorRelative(k), 2)
		}
	}
	if !(errors > 0 && data > 0) {
		return nil
	}
	snr := data / errors
	return &measure.Estimate{
		Value: toDB(snr),
		Sigma: 10 / math.Ln10 / math.Sqrt(weight) * math.Sqrt(1+2/snr),
	}
}

// evaluate makes a reading of what was heard by now, or nothing until every
// slice was: a reading of some would step when the next is heard, and nothing on
// the roof has moved. Which slices there are is the layout's to say, and they need
// not show the whole channel.
func (f *follower) evaluate(at time.Time) (Update, bool) {
	for k := range f.hops {
		if !f.hops[k].heard {
			return Update{}, false
		}
	}
	f.count++
	u := Update{Channel: f.channel, Time: at, Count: f.count, State: Nothing, Gauge: ByMargin, MER: f.mer(at), Seen: f.seen, Stays: len(f.hops)}
	u.Trained = f.isTrained(at)
	u.Occupied = f.occupied && !u.Trained
	u.Unsought = !slices.ContainsFunc(f.hops, func(h hop) bool { return !h.unfit && f.hertz(h.last-h.first) >= surelyHz })
	if !math.IsNaN(f.gainDB) {
		gain := f.gainDB
		u.GainDB = &gain
	}
	if u.Standard = f.standardOf(&u); u.Standard != "" && u.Standard != measure.ATSC1 {
		u.Gauge = ByCN
	}
	noise := f.meanNoise(at)
	powerR, powerSigma := f.byPower(noise)
	pilotR, pilotSigma := f.byPilot(noise, math.Max(powerR, 0))
	p := &f.pilot
	if p.standsOut() {
		n := noise
		if n == 0 {
			n = p.density
		}
		u.Pilot = &measure.Estimate{Value: toDB(p.power / n), Sigma: 10 / math.Ln10 * math.Hypot(p.sigma/p.power, f.relative)}
	}
	r, sigma, byPower := join(powerR, powerSigma, pilotR, pilotSigma)
	switch {
	case math.IsInf(sigma, 1): // no noise floor and no pilot
		if u.Gauge == ByCN {
			f.byLevel(&u)
		}
		return u, true
	case r < heardSigmas*f.doubt(r, sigma) && !u.Trained && !p.standsOut():
		most := toDB(math.Max(r, 0) + 2*f.doubt(r, sigma))
		if u.Gauge == ByMargin {
			most -= f.threshold
		}
		u.AtMostDB = &most
		return u, true
	}
	r = math.Max(r, sigma/2)
	u.State = Measuring
	// What stands out does so by what was heard; what the whole channel has is
	// less certain where that is a part.
	u.CN = &measure.Estimate{Value: toDB(r), Sigma: math.Hypot(10/math.Ln10*math.Min(1, sigma/r), unseenDB(f.seenShare))}
	f.faint = u.CN.Value < faintDB
	shape, method := f.shapeCost(u.CN.Value, powerR, at)
	if !byPower {
		method = measure.MarginPilot
	}
	u.Method = method
	u.Margin = &measure.Estimate{
		Value: u.CN.Value - f.threshold + shape,
		Sigma: math.Hypot(u.CN.Sigma, math.Hypot(f.passSigma/math.Sqrt(3), systematicDB)),
	}
	f.gauge(&u)
	return u, true
}

// doubt is how uncertain it is that a ratio is above zero. Where neither pilot nor
// training vouch for it, the pass band must not make it.
func (f *follower) doubt(r, sigma float64) float64 {
	if f.passKnown {
		return sigma
	}
	return math.Hypot(sigma, math.Max(1, 1+r)*unknownPassDB*math.Ln10/10)
}

func (f *follower) remember(u *Update) {
	if f.gauged != u.Gauge {
		f.history, f.gauged = history{}, u.Gauge // the best margin is no C/N
	}
	figure := u.Figure().Value
	u.NewBest = f.history.add(u.Time, figure)
	u.Trend, u.SlopeDB = f.history.trend(len(f.hops))
	best := f.history.best
	u.BestDB, u.BestTime = &best, f.history.bestTime
	u.BelowBestDB = math.Max(0, best-figure)
}

// byPower is the C/N by power, as a ratio, and its standard uncertainty.
func (f *follower) byPower(noise float64) (r, sigma float64) {
	if !(noise > 0) {
		return 0, math.Inf(1)
	}
	var sum float64
	for _, d := range f.density {
		sum += d
	}
	own := math.Sqrt(1.5 / (f.average * float64(f.bins)))
	relative := math.Hypot(math.Hypot(own, f.relative), f.passSigma*math.Ln10/10/math.Sqrt(3))
	if f.carries == 1 {
		ratio := sum * f.stepHz / (noise * band.WidthHz)
		return ratio - 1, ratio * relative
	}
	// A part of the channel holds its own noise, and its share of a station; one
	// without its pilot is a part too.
	width := float64(f.bins) * f.stepHz
	ratio, whole := sum*f.stepHz/(noise*width), width/band.WidthHz/f.carries
	return (ratio - 1) * whole, ratio * relative * whole
}

// meanNoise is the mean of what stands under the slices of which that is known; 0
// when it is known of none.
func (f *follower) meanNoise(at time.Time) float64 {
	var sum, n float64
	for k := range f.hops {
		if noise := f.noiseAt(k, at); noise > 0 {
			sum += noise
			n++
		}
	}
	if n == 0 {
		return 0
	}
	return sum / n
}

// byPilot is the C/N by the pilot. about is what is known of it otherwise.
func (f *follower) byPilot(noise, about float64) (r, sigma float64) {
	p := &f.pilot
	if noise == 0 {
		noise = p.density
	}
	if !p.locked || !(noise > 0) {
		return 0, math.Inf(1)
	}
	unit := 1 / (vsb.PilotShare * noise * band.WidthHz)
	r = p.power * unit
	relative := math.Hypot(echoSigmaDB*math.Ln10/10, f.relative)
	// An echo's pull is in proportion to what is there; what is read there may
	// be low by chance, so the better known figure is asked too.
	return r, math.Hypot(p.sigma*unit, relative*math.Max(r, math.Min(about, 4*r)))
}

// join weighs two figures by their variances.
func join(a, aSigma, b, bSigma float64) (r, sigma float64, first bool) {
	wa, wb := 1/(aSigma*aSigma), 1/(bSigma*bSigma)
	if wa+wb == 0 {
		return 0, math.Inf(1), false
	}
	return (wa*a + wb*b) / (wa + wb), 1 / math.Sqrt(wa+wb), wa >= wb
}

// shapeCost is what the channel's unevenness does to its margin: the equalised
// margin less what the C/N alone would give. Where noise hides the shape, what
// it was last still counts.
func (f *follower) shapeCost(cnDB, powerR float64, at time.Time) (float64, measure.MarginMethod) {
	now, ok := math.NaN(), false
	if cnDB > equalisedLeastDB && powerR > 0 {
		now, ok = f.equalised(powerR, at)
	}
	if !ok {
		return f.shapeDB, measure.MarginPower
	}
	sure := math.Min(1, (cnDB-equalisedLeastDB)/(shapeSureDB-equalisedLeastDB))
	if sure == 1 {
		weight := 1.0
		if f.shaped {
			weight = 1 - math.Exp(-at.Sub(f.shapeAt).Seconds()/shapeSpan.Seconds())
		}
		f.shapeDB += weight * (now - f.shapeDB)
		f.shapeAt, f.shaped = at, true
	}
	return sure*now + (1-sure)*f.shapeDB, measure.MarginEqualised
}

func (f *follower) equalised(powerR float64, at time.Time) (float64, bool) {
	for k := range f.hops {
		h := &f.hops[k]
		copy(f.shape[h.first:h.last], f.density[h.first:h.last])
	}
	const pilotGapHz = 4.5e3
	if f.pilotHop >= 0 {
		bridgeOver(f.shape, band.PilotOffsetHz/f.stepHz, pilotGapHz/f.stepHz)
	}
	mean := f.meanNoise(at)
	for k := range f.hops {
		n := f.noiseAt(k, at)
		if n == 0 {
			n = mean
		}
		for i := f.hops[k].first; i < f.hops[k].last; i++ {
			f.shape[i] -= n
			f.floor[i] = n
		}
	}
	var snr float64
	if f.seen == nil {
		var err error
		if snr, err = vsb.EqualisedSNR(f.shape, f.floor, 0, f.stepHz); err != nil {
			return 0, false
		}
	} else if part, ok := f.partSNR(); ok {
		snr = part
	}
	if !(snr > 0) {
		return 0, false
	}
	return vsb.MarginDB(snr, 0) + biasDB/f.average - toDB(powerR), true
}
