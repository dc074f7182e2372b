package main

import (
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/require"

	"rooftone/scan/recording"
)

// Truth: our own promise that a comma parts recordings, but for one in the name
// of something that is there.
func TestSplitFiles(t *testing.T) {
	t.Chdir(t.TempDir())
	for _, name := range []string{"a.cu8", "b,c.cu8", "d,e.sigmf-meta", "f", "f,g"} {
		require.NoError(t, os.WriteFile(name, nil, 0o600))
	}
	for word, want := range map[string][]string{
		"a.cu8":           {"a.cu8"},
		"a.cu8,b,c.cu8":   {"a.cu8", "b,c.cu8"},
		"b,c.cu8,a.cu8":   {"b,c.cu8", "a.cu8"},
		"b,c.cu8":         {"b,c.cu8"},
		"d,e,a.cu8":       {"d,e", "a.cu8"},
		"f,g":             {"f,g"},
		"g,f":             {"g", "f"},
		"x.cu8,y.cu8":     {"x.cu8", "y.cu8"},
		"a.cu8,":          {"a.cu8", ""},
		"no,such,a.cu8":   {"no", "such", "a.cu8"},
		"./b,c.cu8,f,g,f": {"./b,c.cu8", "f,g", "f"},
	} {
		require.Equal(t, want, splitFiles(word), word)
	}
}

// Truth: our own promise of which recording a value in a list is for.
func TestRawFlagsOfSeveral(t *testing.T) {
	dir := t.TempDir()
	base := filepath.Join(dir, "roof")
	require.NoError(t, os.WriteFile(base+".sigmf-meta", nil, 0o600))
	var r rawFlags
	require.NoError(t, (&formatList{&r.formats}).Set("cs16"))
	rates := &hertzList{to: &r.rates, min: 1e6, max: 20e6}
	require.NoError(t, rates.Set("2.4M"))
	centers := &hertzList{to: &r.centers, min: 1e6, max: 1e10}
	require.NoError(t, centers.Set("477M, ,481MHz"))
	require.NoError(t, centers.Set("483M"))
	require.Equal(t, "477000000,,481000000,483000000", centers.String())
	require.Equal(t, " --format ci16_le --rate 2400000 --center 477000000,,481000000,483000000", r.String())
	require.NoError(t, r.suit(4))
	require.ErrorContains(t, r.suit(3), "--center lists 4 values for 3 recordings")
	require.ErrorContains(t, r.suit(1), "for one recording")
	for i, want := range []recording.Hints{
		{Format: "ci16_le", RateHz: 2.4e6, CenterHz: 477e6},
		{},
		{CenterHz: 481e6},
		{CenterHz: 483e6},
	} {
		path := []string{"a.bin", base, "b.WAV", "c.sigmf.gz"}[i]
		require.Equal(t, want, r.hints(i, path, 4), path)
	}
	// Of one recording everything is for that one: it is refused there, not
	// passed over.
	one := rawFlags{formats: []string{"cu8"}, rates: []float64{2.4e6}, centers: []float64{473e6}}
	require.Equal(t, recording.Hints{Format: "cu8", RateHz: 2.4e6, CenterHz: 473e6}, one.hints(0, base, 1))

	for _, bad := range []string{"", "x", "477M,x", "1k", "477M;479M"} {
		require.Error(t, centers.Set(bad), bad)
	}
	require.Len(t, r.centers, 4, "a refused value leaves no trace")
	require.ErrorContains(t, (&formatList{&r.formats}).Set("cu8,ci9"), "use cu8, ci8, ci16_le or cf32_le (did you mean ci8?)")
	require.ErrorContains(t, (&formatList{&r.formats}).Set(""), "not known")
	require.Len(t, r.formats, 1)
}
