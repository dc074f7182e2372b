package recording

import (
	"context"
	"errors"
	"io"
	"math"
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/require"
)

// Truth: the recordings themselves, each played alone.
func TestSetPlaysAll(t *testing.T) {
	dir := t.TempDir()
	names := []string{"a_471M_2M4.cu8", "b_473M_2M4.cs16"}
	for _, n := range names {
		require.NoError(t, os.WriteFile(filepath.Join(dir, n), ramp(400), 0o600))
	}
	base := pair(t, metaJSON(t, nil), ramp(60))
	paths := []string{filepath.Join(dir, names[0]), base, filepath.Join(dir, names[1])}
	var readers []*Reader
	var want []played
	for _, p := range paths {
		want = append(want, openAll(t, p, Hints{})...)
		r, err := Open(context.Background(), p, Hints{})
		require.NoError(t, err)
		readers = append(readers, r)
	}
	s := Join(readers...)
	require.Equal(t, "cf32_le", s.Info().Datatype)
	require.Len(t, s.Spans(), 4)
	ctx := context.Background()
	for i, w := range want {
		stay, err := s.Next(ctx)
		require.NoError(t, err)
		require.Equal(t, w.CenterHz, stay.CenterHz)
		require.Equal(t, w.CenterHz, s.Spans()[i].CenterHz)
		require.True(t, math.IsNaN(stay.GainDB))
		b, err := s.Read(ctx, make([]complex64, 300))
		require.NoError(t, err)
		require.Equal(t, w.samples, b.Samples)
		_, err = s.Read(ctx, make([]complex64, 1))
		require.ErrorIs(t, err, io.EOF)
	}
	_, err := s.Next(ctx)
	require.ErrorIs(t, err, io.EOF)
	require.NoError(t, s.Verify(ctx))
	require.NoError(t, s.Close())
}

// Truth: our own promise that one recording which is cut short keeps nobody
// from the rest, and is told of at the end.
func TestSetWithOneCutShort(t *testing.T) {
	promise := func(_ object, _ []object, all object) {
		all["annotations"] = []object{{"core:sample_start": 0, "core:sample_count": 99}}
	}
	var readers []*Reader
	for _, meta := range [][]byte{metaJSON(t, promise), metaJSON(t, nil)} {
		r, err := Open(context.Background(), pair(t, meta, ramp(60)), Hints{})
		require.NoError(t, err)
		readers = append(readers, r)
	}
	s := Join(readers...)
	defer s.Close()
	ctx := context.Background()
	samples := 0
	var end error
	for {
		if _, end = s.Next(ctx); end != nil {
			break
		}
		for {
			b, err := s.Read(ctx, make([]complex64, 7))
			samples += len(b.Samples)
			if errors.Is(err, io.EOF) {
				break
			}
			require.NoError(t, err)
		}
	}
	require.Equal(t, 60, samples)
	var cut *TruncatedError
	require.ErrorAs(t, end, &cut)
	require.Equal(t, readers[0].Info().Name, cut.Path)
	_, err := s.Next(ctx)
	require.ErrorIs(t, err, io.EOF)
}

// Truth: our own promise that levels keep their ratio between the files of a
// visit.
func TestSetSharesItsScale(t *testing.T) {
	quiet, loud := gaussian(4000, 20), gaussian(4000, 5000)
	h := Hints{"cf32", 2.4e6, 473e6}
	a, err := Open(context.Background(), floats(t, "cf32", quiet), h)
	require.NoError(t, err)
	b, err := Open(context.Background(), floats(t, "cf32", loud), h)
	require.NoError(t, err)
	own, _ := a.FullScale()
	require.Equal(t, 128.0, own)
	s := Join(a, b)
	defer s.Close()
	for i, values := range [][]float64{quiet, loud} {
		full, _ := s.Readers()[i].FullScale()
		require.Equal(t, 32768.0, full)
		_, err := s.Next(context.Background())
		require.NoError(t, err)
		got, err := s.Read(context.Background(), make([]complex64, 1))
		require.NoError(t, err)
		require.InDelta(t, values[0]/full, real(got.Samples[0]), 1e-6)
	}
}
