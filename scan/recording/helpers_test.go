package recording

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"maps"
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/require"

	"rooftone/scan/tuner"
)

const references = "../../testdata/recordings"

// object is a piece of JSON.
type object = map[string]any

// metaJSON makes metadata of two captures, changed as a test wants.
func metaJSON(t testing.TB, change func(global object, captures []object, all object)) []byte {
	t.Helper()
	global := object{"core:datatype": "cu8", "core:sample_rate": 2.4e6, "core:version": "1.2.5"}
	captures := []object{
		{"core:sample_start": 0, "core:frequency": 471e6},
		{"core:sample_start": 10, "core:frequency": 473e6},
	}
	all := object{"global": global, "captures": captures, "annotations": []object{}}
	if change != nil {
		change(global, captures, all)
	}
	b, err := json.Marshal(all)
	require.NoError(t, err)
	return b
}

// pair writes the two files of a recording and returns their base name.
func pair(t testing.TB, meta, data []byte) string {
	t.Helper()
	base := filepath.Join(t.TempDir(), "roof")
	require.NoError(t, os.WriteFile(base+metaEnding, meta, 0o600))
	if data != nil {
		require.NoError(t, os.WriteFile(base+dataEnding, data, 0o600))
	}
	return base
}

// ramp returns n bytes that differ.
func ramp(n int) []byte {
	b := make([]byte, n)
	for i := range b {
		b[i] = byte(1 + i%250)
	}
	return b
}

// played is a stay with all its samples.
type played struct {
	tuner.Stay
	samples []complex64
	clipped int
	lost    bool
	err     error // what ended it, if not io.EOF
}

// play reads a recording to its end in pieces of n samples and checks what
// holds of every tuner.Playlist. It returns the error that ended it, nil for
// io.EOF.
func play(t testing.TB, r *Reader, n int) ([]played, error) {
	t.Helper()
	ctx := context.Background()
	var out []played
	dst := make([]complex64, n)
	for {
		stay, err := r.Next(ctx)
		if errors.Is(err, io.EOF) {
			return out, nil
		}
		if err != nil {
			_, again := r.Next(ctx)
			require.ErrorIs(t, again, io.EOF, "an end that was told once")
			return out, err
		}
		p := played{Stay: stay}
		for {
			b, err := r.Read(ctx, dst)
			require.LessOrEqual(t, len(b.Samples), n)
			if len(b.Samples) > 0 {
				require.Equal(t, stay.CenterHz, b.CenterHz)
				require.Equal(t, stay.RateHz, b.RateHz)
				require.Equal(t, fmt.Sprint(stay.GainDB), fmt.Sprint(b.GainDB))
				require.Equal(t, after(stay.Start, int64(len(p.samples)), stay.RateHz), b.Start)
				p.lost = p.lost || b.Lost
			}
			p.samples = append(p.samples, b.Samples...)
			p.clipped += b.Clipped
			if err != nil {
				if !errors.Is(err, io.EOF) {
					p.err = err
				}
				break
			}
			require.NotEmpty(t, b.Samples, "neither samples nor an error")
		}
		out = append(out, p)
	}
}

// openAll opens and plays a recording that has nothing wrong with it.
func openAll(t testing.TB, path string, h Hints) []played {
	t.Helper()
	r, err := Open(context.Background(), path, h)
	require.NoError(t, err)
	defer r.Close()
	stays, err := play(t, r, 7)
	require.NoError(t, err)
	for _, s := range stays {
		require.NoError(t, s.err)
	}
	return stays
}

// openError opens a recording that must be refused.
func openError(t testing.TB, path string, h Hints) error {
	t.Helper()
	r, err := Open(context.Background(), path, h)
	if err == nil {
		r.Close()
		require.Fail(t, "was opened", path)
	}
	require.Nil(t, r)
	require.NotContains(t, err.Error(), "\n")
	return err
}

// decoded converts bytes as a whole.
func decoded(t testing.TB, word string, b []byte) []complex64 {
	t.Helper()
	f, err := parseFormat(word)
	require.NoError(t, err)
	out := make([]complex64, len(b)/int(f.size()))
	f.decode(out, append([]byte(nil), b...))
	return out
}

func merge(o object, with object) { maps.Copy(o, with) }
