package meter

import (
	"math"
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
	if !f.faint || !f.pilot.locked || at.Before(f.nextLong) {
		return false
	}
	f.nextLong = at.Add(longEvery * time.Duration(channels))
	return true
}

// train fits the training in a stay when it is time to.
func (f *follower) train(k int, b tuner.Block, at time.Time) {
	if !at.Before(f.nextFit) && f.pilot.locked {
		f.fit(k, b, at)
	}
}

// fit fits the training in a stay.
func (f *follower) fit(k int, b tuner.Block, at time.Time) {
	p := &f.pilot
	f.nextFit = at.Add(f.fitEvery)
	h := &f.hops[k]
	if f.trainer[k] == nil {
		t, err := vsb.NewTrainer(b.RateHz, math.Round(h.centerHz-f.channel.LowerHz))
		if err != nil {
			f.nextFit = at.Add(time.Hour) // a rate that it cannot do: never mind
			return
		}
		f.trainer[k] = t
	}
	ppm := (f.channel.PilotHz()/(f.hops[0].centerHz+p.offsetHz) - 1) * 1e6
	fit, err := f.trainer[k].Fit(b.Samples, vsb.Knowledge{CenterHz: h.centerHz, ClockPPM: ppm, RangePPM: rangePPM})
	if err != nil || fit.FalseAlarm > trainingAlarm || fit.Fields == 0 {
		return
	}
	f.lastSeen = at
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
	var data, errors, weight float64
	for k := range f.hops {
		if t := &f.hops[k].trained; t.weight > 0 && at.Sub(t.at) < trainedSpan {
			data += t.data
			errors += t.errors
			weight += t.weight
		}
	}
	if !(errors > 0 && data > 0) {
		return nil
	}
	snr := data / errors
	return &measure.Estimate{
		Value: toDB(snr),
		Sigma: 10 / math.Ln10 * errorRelative / math.Sqrt(weight) * math.Sqrt(1+2/snr),
	}
}

// evaluate makes a reading of what was heard by now, or nothing until every
// slice was.
func (f *follower) evaluate(at time.Time) (Update, bool) {
	for k := range f.hops {
		if !f.hops[k].heard {
			return Update{}, false
		}
	}
	f.count++
	u := Update{Channel: f.channel, Time: at, Count: f.count, State: Nothing, MER: f.mer(at)}
	u.Trained = !f.lastSeen.IsZero() && at.Sub(f.lastSeen) < trainedSpan
	if !math.IsNaN(f.gainDB) {
		gain := f.gainDB
		u.GainDB = &gain
	}
	noise := 0.0
	for k := range f.hops {
		noise += f.noiseAt(k, at) / float64(len(f.hops))
	}
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
	case math.IsInf(sigma, 1):
		return u, true // no noise floor and no pilot
	case r < heardSigmas*sigma && !u.Trained && !p.standsOut():
		most := toDB(math.Max(r, 0)+2*sigma) - f.threshold
		u.AtMostDB = &most
		return u, true
	}
	r = math.Max(r, sigma/2)
	u.State = Measuring
	u.CN = &measure.Estimate{Value: toDB(r), Sigma: 10 / math.Ln10 * math.Min(1, sigma/r)}
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
	f.remember(&u)
	return u, true
}

func (f *follower) remember(u *Update) {
	u.NewBest = f.history.add(u.Time, u.Margin.Value)
	u.Trend, u.SlopeDB = f.history.trend(len(f.hops))
	best := f.history.best
	u.BestDB, u.BestTime = &best, f.history.bestTime
	u.BelowBestDB = math.Max(0, best-u.Margin.Value)
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
	ratio := sum * f.stepHz / (noise * band.WidthHz)
	own := math.Sqrt(1.5 / (f.average * float64(len(f.density))))
	return ratio - 1, ratio * math.Hypot(math.Hypot(own, f.relative), f.passSigma*math.Ln10/10/math.Sqrt(3))
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
	copy(f.shape, f.density)
	const pilotGapHz = 4.5e3
	bridgeOver(f.shape, band.PilotOffsetHz/f.stepHz, pilotGapHz/f.stepHz)
	for k := range f.hops {
		n := f.noiseAt(k, at)
		for i := f.hops[k].first; i < f.hops[k].last; i++ {
			f.shape[i] -= n
			f.floor[i] = n
		}
	}
	snr, err := vsb.EqualisedSNR(f.shape, f.floor, 0, f.stepHz)
	if err != nil || !(snr > 0) {
		return 0, false
	}
	return vsb.MarginDB(snr, 0) + biasDB/f.average - toDB(powerR), true
}
