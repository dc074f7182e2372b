package vsb

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"
)

func TestReferenceIsSumOfKnownPulses(t *testing.T) {
	// Truth: theory. The closed-form pulses of the known symbols, and the
	// spectra of those through a slice.
	for _, odd := range []bool{true, false} {
		known, _ := FieldSync(odd)
		for _, c := range []struct{ rate, offset, start, ppm float64 }{
			{10e6, 3e6, -5e-6, 0}, {2.4e6, 1e6, -7e-6, 60}, {2.4e6, 3e6, -1e-5, 0}, {2.4e6, 5e6, -1.3e-5, -60},
		} {
			step := (1 + c.ppm*1e-6) / c.rate
			got := make([]complex64, int(90e-6*c.rate))
			f, err := NewReference(c.rate, c.offset)
			require.NoError(t, err)
			require.NoError(t, f.Samples(got, odd, false, c.start, step))
			truth := newSpectrumOfPulses(known[:], 0, c.rate, c.offset, 500)
			want := make([]complex128, len(got))
			for n := range want {
				if at := c.start + float64(n)*step; c.rate == 10e6 {
					want[n] = sumOfPulses(known[:], 0, c.offset, at)
				} else {
					want[n] = truth.at(at)
				}
			}
			db := errorDB(got, want)
			t.Logf("odd %v, %v MS/s at %v MHz: error %.1f dB", odd, c.rate/1e6, c.offset/1e6, db)
			require.Less(t, db, -80.)

			// The pilot is a line, where the slice has it.
			with := make([]complex64, len(got))
			require.NoError(t, f.Samples(with, odd, true, c.start, step))
			for n := range with {
				at := c.start + float64(n)*step
				line := complex128(with[n] - got[n])
				if math.Abs(PilotOffsetHz-c.offset) < 0.46*c.rate {
					line -= pilotAt(c.offset, at)
				}
				require.InDelta(t, 0, real(line), 3e-5)
				require.InDelta(t, 0, imag(line), 3e-5)
			}
		}
	}
}

func TestReferenceIsInTheWaveform(t *testing.T) {
	// Truth: the definition. At a field sync a station sends the reference,
	// but for the tails of its neighbours' pulses; in the other kind of field
	// 63 of 728 symbols are its opposite, which leaves a correlation of 0.83.
	w := NewWaveform(12)
	const rate, offset, step = 2.4e6, 3e6, 1 / 2.4e6
	r := newRenderer(t, rate, offset)
	f, err := NewReference(rate, offset)
	require.NoError(t, err)
	for field := range 4 {
		start := float64(field) * FieldSymbols / SymbolRateHz
		got, odd, even := make([]complex64, 160), make([]complex64, 160), make([]complex64, 160)
		require.NoError(t, r.Render(got, w, start, step))
		// Carrier phase: the reference has its zero at the field's start.
		spin := complex64(turn((PilotOffsetHz - offset) * -start))
		for i := range got {
			got[i] *= spin
		}
		require.NoError(t, f.Samples(odd, true, false, 0, step))
		require.NoError(t, f.Samples(even, false, false, 0, step))
		right, wrong := correlation(got, widen(odd)), correlation(got, widen(even))
		if field%2 == 1 {
			right, wrong = wrong, right
		}
		require.Greater(t, right, 0.98)
		require.InDelta(t, 1-2*63./728, wrong, 0.08)
	}
}
