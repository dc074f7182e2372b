package measure

import (
	"math"

	"rooftone/dsp/decibel"
	"rooftone/dsp/robust"
	"rooftone/dsp/vsb"
	"rooftone/scan/band"
)

// equalisedLeastDB is the C/N below which the shape of the spectrum drowns in
// its scatter and the margin follows from C/N alone.
const equalisedLeastDB = -6

// shapeSigmaDB is what a spectrum's finite resolution and the joints between
// slices leave uncertain of a margin, beside its statistics. It was found by an
// ensemble of channels with up to three echoes.
const shapeSigmaDB = 0.08

// margin derives the decode margin of a present channel: what an ideal
// equaliser reaches with the signal-to-noise ratio measured across the channel,
// less the threshold. Where much of the channel was not seen, that is taken from
// what its training promises; where the channel's shape is not known, the margin
// is C/N less the threshold.
func (m *measurer) margin(r *Reading, n *interference, p *promise) {
	if r.CN == nil {
		return
	}
	r.Margin = &Estimate{r.CN.Value - m.ThresholdDB, r.CN.Sigma}
	r.MarginMethod = MarginPower
	if r.CNPower == nil || r.CN.Value != r.CNPower.Value {
		r.MarginMethod = MarginPilot
	}
	if p != nil {
		r.Margin, r.MarginMethod = &Estimate{decibel.Of(p.snr/vsb.MERPerCN) - m.ThresholdDB, p.snrSigmaDB}, MarginTraining
		return
	}
	if r.SeenShare() < promisedShare {
		// A flat channel is a guess; echoes commonly tilt what is seen of it.
		r.Margin.Sigma = math.Hypot(r.Margin.Sigma, (1-r.SeenShare())*unseenDB)
		return
	}
	if n == nil || r.CN.Value < equalisedLeastDB || r.MarginMethod != MarginPower {
		return
	}
	d := m.view.channelDensities(r, n)
	snr, sigma, err := vsb.EqualisedSNRSigma(d.signal, d.noise, d.ratioSigma, n.relative, d.startHz, d.stepHz)
	if err != nil || !(snr > 0) {
		return
	}
	unseen := (1 - r.SeenShare()) * unseenDB
	r.Margin = &Estimate{
		vsb.MarginDB(snr, m.ThresholdDB),
		math.Hypot(math.Hypot(decibel.PerNeper*sigma/snr, unseen), math.Hypot(m.view.passbandSigma()/math.Sqrt(3), math.Hypot(shapeSigmaDB, m.foldingSigmaDB(r, d)))),
	}
	r.MarginMethod = MarginEqualised
	m.costs(r, n)
}

// foldingSigmaDB is what is not known of the folding that was taken off a
// channel's data.
func (m *measurer) foldingSigmaDB(r *Reading, d channelDensities) float64 {
	signal := robust.Mean(d.signal)
	if !(signal > 0) {
		return 0
	}
	return decibel.PerNeper * m.view.foldedSigma(r.Channel.LowerHz, r.Channel.UpperHz()) / signal
}

// costs tells what the equalised margin lost, and to what. Without echoes and
// with nothing but noise under it the channel would have C/N less the
// threshold.
func (m *measurer) costs(r *Reading, n *interference) {
	power := decibel.Power(r.PowerDBFS.Value)
	clear := power/(n.floor*band.WidthHz) - 1
	left := power/(n.mean()*band.WidthHz) - 1
	if !(clear > 0 && left > 0) {
		return
	}
	sigma := 10 / math.Ln10 * n.relative
	if len(n.pieces) > 0 {
		r.UnderCost = &Estimate{decibel.Of(clear / left), sigma}
		r.UnderTilted = n.tilted()
	}
	r.EchoCost = &Estimate{decibel.Of(left) - m.ThresholdDB - r.Margin.Value, math.Hypot(r.Margin.Sigma, 0.1)}
}

// channelDensities are a channel's data and noise on the stitched grid.
type channelDensities struct {
	signal, noise   []float64 // FS²/Hz
	ratioSigma      []float64 // of signal over noise, each bin's own
	startHz, stepHz float64   // above the channel's lower edge
}

func (v *view) channelDensities(r *Reading, n *interference) channelDensities {
	s := &v.spectrum
	c := r.Channel
	// Half a bin beyond the edges: the skirts' ends fold onto the band's.
	first := max(0, int(math.Floor((c.LowerHz-s.StartHz)/s.StepHz)))
	last := min(len(s.Density)-1, int(math.Ceil((c.UpperHz()-s.StartHz)/s.StepHz)))
	d := channelDensities{startHz: s.At(first) - c.LowerHz, stepHz: s.StepHz}
	// Values of a windowed and interpolated spectrum share some 1.5 bins.
	share := math.Sqrt(1.5 / s.Averages)
	total := withoutPilot(s.Density[first:last+1], d.startHz, d.stepHz, r.Pilot)
	for i, p := range total {
		noise := n.at(d.startHz + float64(i)*d.stepHz)
		d.signal = append(d.signal, p-noise)
		d.noise = append(d.noise, noise)
		d.ratioSigma = append(d.ratioSigma, p/noise*share)
	}
	mend(d.signal, total, v.folded[first:last+1], d.startHz, d.stepHz)
	return d
}

// withoutPilot replaces the bins that the pilot fills by a straight line.
func withoutPilot(density []float64, startHz, stepHz float64, p *Pilot) []float64 {
	const pilotBins, beside = 4, 8
	out := append([]float64(nil), density...)
	at := band.PilotOffsetHz
	if p != nil {
		at += p.OffsetHz.Value
	}
	middle := int(math.Round((at - startHz) / stepHz))
	if middle-pilotBins-beside < 0 || middle+pilotBins+beside >= len(out) {
		return out
	}
	left := robust.Mean(density[middle-pilotBins-beside : middle-pilotBins])
	right := robust.Mean(density[middle+pilotBins+1 : middle+pilotBins+beside+1])
	for i := -pilotBins; i <= pilotBins; i++ {
		out[middle+i] = left + (right-left)*float64(i+pilotBins+1)/(2*pilotBins+2)
	}
	return out
}

// interference is what stands under a channel: the noise floor, or more where
// the training shows more.
type interference struct {
	floor    float64      // FS²/Hz
	relative float64      // its relative standard uncertainty
	pieces   []errorPiece // over the floor
}

// errorPiece is the error density that the training left in one slice.
type errorPiece struct {
	lowHz, highHz float64 // above the channel's lower edge
	density       float64 // FS²/Hz
}

// at returns the density of all that is not signal at a place in the channel:
// that of the nearest piece, for between the slices' fits lies a little that
// none has seen.
func (n *interference) at(offsetHz float64) float64 {
	density, nearest := n.floor, math.Inf(1)
	for _, p := range n.pieces {
		if away := math.Max(p.lowHz-offsetHz, offsetHz-p.highHz); away < nearest {
			density, nearest = p.density, away
		}
	}
	return density
}

// mean is the mean of at over the channel.
func (n *interference) mean() float64 {
	const places = 60
	var sum float64
	for k := range places {
		sum += n.at((float64(k) + 0.5) * band.WidthHz / places)
	}
	return sum / places
}

// tilted reports whether what stands over the floor is mostly at one end.
func (n *interference) tilted() bool {
	low, high := n.at(band.WidthHz/6)/n.floor-1, n.at(band.WidthHz*5/6)/n.floor-1
	const uneven = 4
	return math.Max(low, high) > uneven*math.Max(0.1, math.Min(low, high))
}

const (
	responsePoints = 60 // of 100 kHz
	// An echo of 20 µs makes waves of 50 kHz.
	finePoints = 240 // of 25 kHz
	fineSigma  = 0.7 // dB; where the usual point is less sure, fine ones show noise
	// Where a station's own spectrum is lower than this, relative to its flat
	// top, its skirt says little of the channel.
	responseLeast = 0.15
	responseSigma = 2.0 // dB; a point less sure is left out
	flatLowHz     = 0.7e6
	flatHighHz    = 5.3e6
)

// response fills the channel's response, tilt and ripple: the received data
// density over the transmitted one.
func (m *measurer) response(r *Reading, n *interference) {
	if n == nil || r.CNPower == nil || r.CNPower.Value < equalisedLeastDB {
		return
	}
	d := m.view.channelDensities(r, n)
	r.Response = m.view.responseIn(&d, n, responsePoints)
	r.Tilt, r.Ripple = tiltAndRipple(r.Response)
	fine := m.view.responseIn(&d, n, finePoints)
	if 10*len(fine)*responsePoints < 9*len(r.Response)*finePoints || len(fine) == 0 || usualSigma(fine) > fineSigma {
		return
	}
	r.FineResponse = fine
	// Waves that the coarse points average over.
	const surely = 6 // some 5 standard deviations lie between the extremes of mere noise
	if _, ripple := tiltAndRipple(fine); ripple != nil && r.Ripple != nil && ripple.Value > r.Ripple.Value+surely*usualSigma(fine) {
		r.Ripple = ripple
	}
}

func usualSigma(points []ResponsePoint) float64 {
	sigma := make([]float64, len(points))
	for i := range points {
		sigma[i] = points[i].LevelDB.Sigma
	}
	return robust.Median(sigma)
}

// responseIn is the response in so many pieces of the channel, relative to its mean.
func (v *view) responseIn(d *channelDensities, n *interference, pieces int) []ResponsePoint {
	type piece struct{ got, sent, total, bins float64 }
	top := vsb.Density(band.WidthHz / 2)
	width := band.WidthHz / float64(pieces)
	all := make([]piece, pieces)
	for i := range d.signal {
		hz := d.startHz + float64(i)*d.stepHz
		if k := int(math.Floor(hz / width)); k >= 0 && k < pieces {
			if t := vsb.Density(hz); t > responseLeast*top {
				p := &all[k]
				p.got += d.signal[i]
				p.total += d.signal[i] + d.noise[i]
				p.sent += t
				p.bins++
			}
		}
	}
	var out []ResponsePoint
	var sum, weight float64
	for k, x := range all {
		if x.bins < width/d.stepHz/2 || !(x.got > 0) {
			continue
		}
		own := math.Sqrt(1.5/v.spectrum.Averages/x.bins) * x.total / x.got
		common := n.relative * (x.total - x.got) / x.got
		p := ResponsePoint{width * (float64(k) + 0.5), Estimate{decibel.Of(x.got / x.sent), 10 / math.Ln10 * math.Hypot(own, common)}}
		if p.LevelDB.Sigma > responseSigma {
			continue
		}
		out = append(out, p)
		sum += x.got / x.sent
		weight++
	}
	for i := range out {
		out[i].LevelDB.Value -= decibel.Of(sum / weight)
	}
	return out
}

// spacing is the usual step between points, in Hz.
func spacing(points []ResponsePoint) float64 {
	step := band.WidthHz / responsePoints
	for i := 1; i < len(points); i++ {
		step = math.Min(step, points[i].OffsetHz-points[i-1].OffsetHz)
	}
	return step
}

// tiltAndRipple fits a straight line to the flat part of a response and
// returns its rise from end to end and what stays around it, peak to peak.
func tiltAndRipple(points []ResponsePoint) (tilt, ripple *Estimate) {
	var x, y, sigma []float64
	for _, p := range points {
		if p.OffsetHz >= flatLowHz && p.OffsetHz <= flatHighHz {
			x = append(x, p.OffsetHz)
			y = append(y, p.LevelDB.Value)
			sigma = append(sigma, p.LevelDB.Sigma)
		}
	}
	const least = 2. / 3 // of the points of the flat part
	if len(points) == 0 || len(x) < 2 || float64(len(x)) < least*(flatHighHz-flatLowHz)/spacing(points) {
		return nil, nil
	}
	mx, my := robust.Mean(x), robust.Mean(y)
	var sxx, sxy, varSlope float64
	for i := range x {
		sxx += (x[i] - mx) * (x[i] - mx)
		sxy += (x[i] - mx) * (y[i] - my)
		varSlope += (x[i] - mx) * (x[i] - mx) * sigma[i] * sigma[i]
	}
	slope := sxy / sxx
	low, high := math.Inf(1), math.Inf(-1)
	for i := range x {
		rest := y[i] - my - slope*(x[i]-mx)
		low, high = math.Min(low, rest), math.Max(high, rest)
	}
	// Told for the whole flat top, from skirt to skirt.
	const span = band.WidthHz - 4*band.PilotOffsetHz
	return &Estimate{slope * span, math.Sqrt(varSlope) / sxx * span},
		&Estimate{high - low, math.Sqrt2 * robust.Median(sigma)}
}
