package scan

import (
	"fmt"
	"math"
	"testing"

	"github.com/stretchr/testify/require"

	"rooftone/dsp/vsb"
	"rooftone/scan/band"
	"rooftone/scan/measure"
)

const (
	symbolRateHz = 4.5e6 / 286 * 684 // A/53 Part 2
	pilotHz      = (band.WidthHz - symbolRateHz/2) / 2
	dataShare    = 21 / (21 + 1.25*1.25) // levels ±1 ±3 ±5 ±7 and the pilot's DC
	thresholdDB  = 15.2                  // A/74
)

// vsbDensity is the data's density above a channel's lower edge for 8-VSB of
// power 1: flat, with skirts that fall as the square of a cosine over 11.52 %
// of half the symbol rate, A/53 Part 2.
func vsbDensity(offsetHz float64) float64 {
	const half, rollOff = symbolRateHz / 4, 0.1152
	switch d := (math.Abs(offsetHz-band.WidthHz/2) - half*(1-rollOff)) / (2 * half * rollOff); {
	case d <= 0:
		return dataShare / (2 * half)
	case d < 1:
		return dataShare / (2 * half) * math.Pow(math.Cos(math.Pi/2*d), 2)
	}
	return 0
}

// snr is the density of an 8-VSB emission's data over that of the noise.
func (w *world) snr(e *emission, offsetHz, rateHz float64) float64 {
	hz := e.channel.LowerHz + offsetHz
	h := e.response(hz)
	signal := power(e.cnDB) * band.WidthHz * vsbDensity(offsetHz) * (real(h)*real(h) + imag(h)*imag(h))
	return signal / (w.noise(hz) + w.rounding(rateHz))
}

// margin is what an ideal decision-feedback equaliser has in hand: the mean of
// ln(1+SNR) over half the symbol rate, what lies beyond the pilot and beyond
// half the symbol rate folded back (Salz 1973), so scaled that a flat channel
// has its C/N less the threshold.
func (w *world) margin(e *emission, rateHz float64) float64 {
	const steps = 4000
	var sum float64
	for k := range steps {
		f := (float64(k) + 0.5) / steps * symbolRateHz / 2
		sum += math.Log1p(w.snr(e, pilotHz+f, rateHz) + w.snr(e, pilotHz-f, rateHz) + w.snr(e, pilotHz+symbolRateHz-f, rateHz))
	}
	const flat = dataShare * band.WidthHz / (symbolRateHz / 2)
	return decibels(math.Expm1(sum/steps)/flat) - thresholdDB
}

// cn is the C/N in 6 MHz of a channel with one path and even noise.
func (w *world) cn(e *emission, rateHz float64) float64 {
	return e.cnDB - decibels(1+w.rounding(rateHz))
}

// tally gathers what an ensemble's figures were off by.
type tally struct {
	about   string
	errors  []float64
	sigmas  []float64
	inside  int // the stated 95 % interval
	missing int // no figure
	wrong   []string
}

// add takes a figure in; nil is one that was not measured.
func (y *tally) add(got *measure.Estimate, truth float64) {
	if got == nil {
		y.missing++
		return
	}
	e := got.Value - truth
	y.errors, y.sigmas = append(y.errors, e), append(y.sigmas, got.Sigma)
	if math.Abs(e) <= 1.96*got.Sigma {
		y.inside++
	}
}

// fault notes a draw that was judged wrongly.
func (y *tally) fault(format string, args ...any) {
	y.wrong = append(y.wrong, fmt.Sprintf(format, args...))
}

func (y *tally) number() int { return len(y.errors) + y.missing }

func (y *tally) bias() float64 {
	var sum float64
	for _, e := range y.errors {
		sum += e
	}
	return sum / math.Max(1, float64(len(y.errors)))
}

func (y *tally) rms() float64 {
	var sum float64
	for _, e := range y.errors {
		sum += e * e
	}
	return math.Sqrt(sum / math.Max(1, float64(len(y.errors))))
}

// log writes what was found.
func (y *tally) log(t *testing.T) {
	t.Helper()
	if y.number() == 0 {
		t.Logf("%s: %d", y.about, len(y.wrong))
	} else {
		y.logFigures(t)
	}
	for i, text := range y.wrong {
		if i == 5 && *draws < 2 {
			t.Logf("… %d in all", len(y.wrong))
			break
		}
		t.Log(text)
	}
}

func (y *tally) logFigures(t *testing.T) {
	t.Helper()
	t.Logf("%s: %d draws, %d without a figure; bias %+.2f, rms %.2f, worst %.2f, stated sigma up to %.2f, inside the stated 95 %% interval %d (%.1f %%)",
		y.about, y.number(), y.missing, y.bias(), y.rms(), worst(y.errors), worst(y.sigmas), y.inside, 100*float64(y.inside)/math.Max(1, float64(y.number())))
}

// manyDraws is from how many draws on a share is asked for as it stands; fewer
// may miss it by three standard deviations.
const manyDraws = 200

// holds asks that the stated intervals hold between two shares of the time. A
// figure that is missing is one that does not hold. That they hold too often
// shows in many draws only.
func (y *tally) holds(t *testing.T, least, most float64) {
	t.Helper()
	n := float64(y.number())
	if n == 0 {
		t.Errorf("%s: no draws", y.about)
		return
	}
	allowed := 0.0
	if n < manyDraws {
		allowed = 3 * math.Sqrt(n*least*(1-least))
	}
	if float64(y.inside) < n*least-allowed {
		t.Errorf("%s: the stated interval holds for %d of %d", y.about, y.inside, y.number())
	}
	if n >= manyDraws && float64(y.inside) > n*most {
		t.Errorf("%s: the stated interval is too wide, it holds for %d of %d", y.about, y.inside, y.number())
	}
}

// faultless asks that no draw was judged wrongly.
func (y *tally) faultless(t *testing.T) {
	t.Helper()
	if len(y.wrong) > 0 {
		t.Errorf("%s: %d judged wrongly, such as: %s", y.about, len(y.wrong), y.wrong[0])
	}
}

// Truth: Salz's integral written twice, here and in dsp/vsb, which is checked
// against an equaliser of real symbols; and 8-VSB's share of data, by hand.
func TestWorldsArithmetic(t *testing.T) {
	for seed := range uint64(12) {
		w := newWorld(seed, sharpFront, nil)
		e := w.put(w.uhf(), 30*w.rng.Float64(), nil, w.profile(int(seed)%6)...)
		w.setLevel(2.4e6)
		const step = 2e3
		var s, n []float64
		for hz := 0.0; hz <= band.WidthHz; hz += step {
			n = append(n, 1)
			s = append(s, w.snr(e, hz, 2.4e6))
		}
		want, err := vsb.EqualisedSNR(s, n, 0, step)
		require.NoError(t, err)
		require.InDelta(t, vsb.MarginDB(want, thresholdDB), w.margin(e, 2.4e6), 0.03)
		e.rays = nil
		require.InDelta(t, w.cn(e, 2.4e6)-thresholdDB, w.margin(e, 2.4e6), 1e-3)
	}
	require.InDelta(t, 11.3, decibels(dataShare/(1-dataShare)), 0.03) // A/53 Part 2
}
