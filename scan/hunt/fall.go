package hunt

import (
	"math"
	"slices"
	"time"

	"rooftone/dsp/psd"
	"rooftone/scan/tuner"
)

// Fall is power density against time and frequency in one stay: where the most
// harmful suspect stands.
type Fall struct {
	Started         time.Time // of the first row; zero when unknown
	StartHz, StepHz float64   // true, of a row's values
	RowSeconds      float64
	Rows            [][]float32 // FS²/Hz
	Suspect         *Suspect    // that it was chosen for; nil when there is none
}

const (
	fallBins = 256
	// rowSeconds is short enough for the pulses of the mains to stand out.
	rowSeconds = 1.5e-3
	// Bounds of what is kept.
	mostRows, mostFalls = 400, 160
)

// faller keeps the falls of a visit's stays.
type faller struct {
	falls   []*Fall
	centers []float64
	welch   *psd.Welch
	rate    float64
	per     int         // samples a row
	kept    []complex64 // of the row under way
	density []float64
}

// keep takes the next block; newStay is true for the first one of a stay.
func (f *faller) keep(b tuner.Block, newStay bool) error {
	if newStay {
		f.kept = f.kept[:0]
		if f.rate != b.RateHz {
			w, err := psd.NewWelch(b.RateHz, fallBins, psd.Hann)
			if err != nil {
				return err
			}
			f.welch, f.rate, f.per = w, b.RateHz, max(fallBins, int(rowSeconds*b.RateHz))
		}
		f.settle()
		f.falls = append(f.falls, &Fall{
			Started: b.Start, StartHz: b.CenterHz - b.RateHz/2, StepHz: b.RateHz / fallBins, RowSeconds: float64(f.per) / b.RateHz,
		})
		f.centers = append(f.centers, b.CenterHz)
	}
	if len(f.falls) == 0 {
		return nil
	}
	now := f.falls[len(f.falls)-1]
	for x := b.Samples; len(x) > 0 && len(now.Rows) < mostRows; {
		n := min(len(x), f.per-len(f.kept))
		f.kept = append(f.kept, x[:n]...)
		x = x[n:]
		if len(f.kept) < f.per {
			break
		}
		f.welch.Reset()
		f.welch.Write(f.kept)
		f.kept = f.kept[:0]
		f.density = f.welch.Density(f.density)
		row := make([]float32, len(f.density))
		for i, d := range f.density {
			row[i] = float32(d)
		}
		now.Rows = append(now.Rows, row)
	}
	return nil
}

// settle keeps of two stays at one tuning the longer, and of too many stays the
// longest.
func (f *faller) settle() {
	last := len(f.falls) - 1
	if last < 0 {
		return
	}
	drop := slices.IndexFunc(f.centers[:last], func(hz float64) bool { return math.Abs(hz-f.centers[last]) < 1e3 })
	if drop >= 0 && len(f.falls[last].Rows) <= len(f.falls[drop].Rows) {
		drop = last
	}
	if drop < 0 && len(f.falls) >= mostFalls {
		drop = 0
		for i, x := range f.falls {
			if len(x.Rows) < len(f.falls[drop].Rows) {
				drop = i
			}
		}
	}
	if drop >= 0 {
		f.falls, f.centers = slices.Delete(f.falls, drop, drop+1), slices.Delete(f.centers, drop, drop+1)
	}
}

// choose returns the fall that shows the first of the suspects that has a
// place, with its frequencies corrected for the clock.
func (f *faller) choose(suspects []Suspect, clock float64) *Fall {
	f.settle()
	if len(f.falls) == 0 {
		return nil
	}
	at := func(hz float64) int {
		best := -1
		for i, c := range f.centers {
			away := math.Abs(c*clock - hz)
			if len(f.falls[i].Rows) > 1 && away < 1.05e6 && (best < 0 || away < math.Abs(f.centers[best]*clock-hz)) {
				best = i
			}
		}
		return best
	}
	chosen, why := -1, (*Suspect)(nil)
	for i := range suspects {
		s := &suspects[i]
		if s.FrequencyHz != nil {
			chosen = at(s.FrequencyHz.Value)
		} else if len(s.Harms) > 0 {
			chosen = at(s.Harms[0].Channel.CenterHz())
		}
		if chosen >= 0 {
			why = s
			break
		}
	}
	if chosen < 0 {
		for i := range f.falls {
			if len(f.falls[i].Rows) > 1 {
				chosen = i
				break
			}
		}
	}
	if chosen < 0 {
		return nil
	}
	out := *f.falls[chosen]
	out.StartHz *= clock
	out.StepHz *= clock
	out.Suspect = why
	return &out
}
