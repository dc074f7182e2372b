package sim

import (
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"rooftone/dsp/vsb"
)

// Common practice: what is built in must open, and be as its story says.
func TestBuiltInTowns(t *testing.T) {
	names := Names()
	require.Equal(t, Demo, names[0])
	require.Subset(t, names, []string{"harbour", "valley", "city", "bench"})
	for _, name := range names {
		town, err := Load(name)
		require.NoError(t, err)
		require.Equal(t, name, town.Name)
		require.NotEmpty(t, town.About)
		s := open(t, town, Options{})
		calls := map[string]bool{}
		for _, st := range town.Stations {
			// No country's call signs begin with Q (ITU Radio Regulations, Article 19).
			require.True(t, strings.HasPrefix(st.Call, "Q"), st.Call)
			require.False(t, calls[st.Call], st.Call)
			calls[st.Call] = true
			truth, err := s.Truth(st.RFChannel)
			require.NoError(t, err)
			require.Greater(t, truth.SignalDBm, -130.0)
		}
	}
}

// Common practice: a town that cannot be is refused by the name of what is wrong.
func TestTownFilesAreStrict(t *testing.T) {
	const head = "[town]\nname = \"x\"\n"
	station := head + "[[station]]\nrf_channel = 20\n"
	for _, c := range []struct{ name, text, says string }{
		{"no name", "", "name"},
		{"shouting name", "[town]\nname = \"X Y\"", "name"},
		{"not TOML", head + "[[station]\n", "line 4"},
		{"unknown key", station + "levl_dbm = -3\n", "station.levl_dbm"},
		{"unknown table", head + "[weather]\nrain = true\n", "weather"},
		{"unknown radio key", head + "[radio]\nppn = 3\n", "radio.ppn"},
		{"model", head + "[radio]\nmodel = \"gold\"\n", "model"},
		{"ppm", head + "[radio]\nppm = 1e9\n", "ppm"},
		{"nan", head + "[radio]\nppm = nan\n", "ppm"},
		{"bits", head + "[radio]\nbits = 99\n", "bits"},
		{"intercept", head + "[radio]\niip3_dbm = inf\n", "iip3_dbm"},
		{"channel", head + "[[station]]\nrf_channel = 37\n", "rf_channel = 37"},
		{"level", station + "level_dbm = 90\n", "level_dbm"},
		{"standard", station + "standard = \"pal\"\n", "standard"},
		{"echo", station + "echoes = [{ delay_us = 5e9 }]\n", "delay_us"},
		{"echo key", station + "echoes = [{ delay = 5 }]\n", "delay"},
		{"fading", station + "fading = { kind = \"odd\" }\n", "kind"},
		{"fading mixed", station + "fading = { kind = \"rayleigh\", seconds = 2 }\n", "seconds"},
		{"fading time", station + "fading = { kind = \"lognormal\", sigma_db = 2 }\n", "seconds"},
		{"bearing", station + "bearing_deg = 400\n", "bearing_deg"},
		{"tone", head + "[[tone]]\nfrequency_hz = 12\n", "frequency_hz"},
		{"wander", head + "[[tone]]\nfrequency_hz = 500e6\ndrift_hz = 5\n", "drift_seconds"},
		{"service", head + "[[service]]\nkind = \"radar\"\nfrequency_hz = 500e6\n", "kind"},
		{"width", head + "[[service]]\nkind = \"lte\"\nfrequency_hz = 620e6\n", "width_hz"},
		{"width of fm", head + "[[service]]\nkind = \"fm\"\nfrequency_hz = 90e6\nwidth_hz = 3\n", "width_hz"},
		{"keying", head + "[[service]]\nkind = \"fm\"\nfrequency_hz = 90e6\non_share = 0.5\n", "on_seconds"},
		{"impulses", head + "[[impulses]]\ndecay_us = 1\n", "bursts_per_second"},
		{"too many", head + strings.Repeat("[[tone]]\nfrequency_hz = 5e8\n", 300), "at most"},
	} {
		t.Run(c.name, func(t *testing.T) {
			_, err := Parse([]byte(c.text))
			require.ErrorContains(t, err, c.says)
			require.NotContains(t, err.Error(), "\n")
		})
	}
}

// Common practice: files by path, built-in towns by name, nothing else.
func TestLoad(t *testing.T) {
	path := filepath.Join(t.TempDir(), "mine.toml")
	require.NoError(t, os.WriteFile(path, []byte("[town]\nname = \"mine\"\n[radio]\nmodel = \"bench\"\nppm = 5\n"), 0o600))
	town, err := Load(path)
	require.NoError(t, err)
	want := BenchRadio()
	want.PPM = 5
	require.Equal(t, want, town.Radio)
	_, err = Load(filepath.Join(t.TempDir(), "none.toml"))
	require.ErrorIs(t, err, os.ErrNotExist)
	for _, name := range []string{"nowhere", "", "../towns/city", "city.tom"} {
		_, err = Load(name)
		require.ErrorContains(t, err, "harbour")
	}
	require.NoError(t, os.WriteFile(path, make([]byte, maxTownBytes+1), 0o600))
	_, err = Load(path)
	require.ErrorContains(t, err, "bytes")
}

// Theory: C/N is level − (k·T·B + NF) while rounding is small; with echoes the
// power is the spectrum times |H|².
func TestTruth(t *testing.T) {
	town := bench(func(w *Town) {
		w.Radio.Bits = 0
		w.Stations = []Station{
			{RFChannel: 20, LevelDBm: -80},
			{RFChannel: 22, LevelDBm: -80, Echoes: []Echo{{DelayUS: 5, LevelDB: -6, PhaseDeg: 33}}},
			{RFChannel: 24, LevelDBm: -80, Echoes: []Echo{{DelayUS: 5, LevelDB: -6, DopplerHz: 3}}},
			{RFChannel: 26, LevelDBm: -70}, {RFChannel: 26, LevelDBm: -85},
			{RFChannel: 28, LevelDBm: -60, ShouldersDB: -40},
		}
		w.Tones = []Tone{{FrequencyHz: 509e6, LevelDBm: -110}}
		w.Services = []Service{{Kind: "lte", FrequencyHz: 620e6, WidthHz: 10e6, LevelDBm: -50}}
	})
	s := open(t, town, Options{})
	truth := func(ch int) Truth {
		v, err := s.Truth(ch)
		require.NoError(t, err)
		return v
	}
	noise := 10*math.Log10(1.380649e-23*290*6e6*1000) + 6
	plain := truth(20)
	require.InDelta(t, -80, plain.SignalDBm, 1e-3)
	require.InDelta(t, noise, plain.NoiseDBm, 1e-3)
	require.InDelta(t, -80-noise, plain.CNDB, 2e-3)
	require.InDelta(t, -110, plain.InterferenceDBm, 1e-9)
	require.True(t, math.IsInf(plain.RoundingDBm, -1))

	// 5 µs ripples 27 times over the channel: the data average 1 + a², the
	// pilot has its own |H|².
	a := math.Pow(10, -6./20)
	theta := 33*math.Pi/180 - 2*math.Pi*(vsb.PilotOffsetHz-3e6)*5e-6
	pilot := 1 + a*a + 2*a*math.Cos(theta)
	require.InDelta(t, -80+dBm(vsb.DataShare*(1+a*a)+vsb.PilotShare*pilot), truth(22).SignalDBm, 0.03)
	require.InDelta(t, -80+dBm(1+a*a), truth(24).SignalDBm, 1e-3)

	require.InDelta(t, -70, truth(26).SignalDBm, 1e-3)
	require.InDelta(t, -85, truth(26).InterferenceDBm, 1e-3)

	// Level for 0.5 MHz, then a straight fall: ∫ = 0.5 MHz + 10/(11.5·ln 10) MHz.
	leak := -60 - 40 + dBm(vsb.DataShare/5.381119e6*(0.5e6+1e6*10/11.5/math.Ln10))
	require.InDelta(t, leak, truth(27).InterferenceDBm, 0.01)
	require.InDelta(t, leak, truth(29).InterferenceDBm, 0.01)
	require.True(t, math.IsInf(truth(36).InterferenceDBm, -1), "the block begins at 615 MHz")
}

// Theory: Bussgang. A weak tone in noise keeps the C/N that Truth says at every
// gain, from thermal noise well above a step to a tenth of a step.
func TestTruthCountsRounding(t *testing.T) {
	for _, gain := range []float64{49.6, 40.3, 30.3, 20.4} {
		town := bench(func(w *Town) { w.Radio.DroopDB = 2 })
		s := open(t, town, Options{})
		thermal := s.town.Radio.noiseFactor(nearest(Gains(), gain), 49.6) * milliwatts(ThermalDBmPerHz) * 2.4e6
		town.Tones = []Tone{{FrequencyHz: 573.3e6, LevelDBm: dBm(thermal) - 10}}
		s = open(t, town, Options{})
		b := take(t, s, 573e6, 2.4e6, gain, 1<<19)
		_, tone := lineAt(b.Samples, 2.4e6, 0.3e6, 4)

		// The noise over ±1 MHz with the droop taken out, as a visit would see it.
		var noise float64
		d := density(t, b.Samples, 2.4e6, 512)
		for k := 256 - 213; k <= 256+213; k++ {
			if k < 256+60 || k > 256+68 { // clear of the tone
				noise += d[k] / real(s.filter.Response(float64(k-256)/512)*s.filter.Response(float64(k-256)/512)) / (427 - 9)
			}
		}
		tone /= math.Pow(real(s.filter.Response(0.125)), 2)
		truth, err := s.Truth(31)
		require.NoError(t, err)
		want := town.Tones[0].LevelDBm - truth.NoiseDBm
		require.InDelta(t, want, dBm(tone/(noise*6e6)), 0.12, "gain %g", gain)
	}
}

// Theory: the bench's stated C/N is Truth's.
func TestBench(t *testing.T) {
	want := []float64{27, 3, 15.2}
	town, err := Bench(want...)
	require.NoError(t, err)
	s := open(t, town, Options{})
	for i, cn := range want {
		truth, err := s.Truth(town.Stations[i].RFChannel)
		require.NoError(t, err)
		require.InDelta(t, cn, truth.CNDB, 0.01)
	}
	_, err = Bench(make([]float64, 13)...)
	require.Error(t, err)

	town, err = Load("bench")
	require.NoError(t, err)
	s = open(t, town, Options{})
	for i, st := range town.Stations {
		truth, err := s.Truth(st.RFChannel)
		require.NoError(t, err)
		require.InDelta(t, 3*(i+1), truth.CNDB, 0.02)
	}
}

func FuzzParse(f *testing.F) {
	for _, name := range Names() {
		text, err := towns.ReadFile("towns/" + name + ".toml")
		if err != nil {
			f.Fatal(err)
		}
		f.Add(string(text))
	}
	f.Add("[town]\nname = \"x\"\n[radio]\nppm = nan\n")
	f.Fuzz(func(t *testing.T, text string) {
		town, err := Parse([]byte(text))
		if err != nil {
			return
		}
		s, err := New(town, Options{})
		if err != nil {
			t.Fatalf("a town that was read does not open: %v", err)
		}
		if _, err := s.Truth(20); err != nil {
			t.Fatal(err)
		}
	})
}
