package site

import (
	"fmt"
	"math"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

// Truth: the documented columns, and RFC 4180.
func TestReadStations(t *testing.T) {
	kw, m := 850.0, 412.5
	hill := Station{RFChannel: 22, Label: "North Hill", At: Position{44.53, -72.82}, ERPKW: &kw, HeightM: &m}
	bare := Station{RFChannel: 7, At: Position{44, -72}}
	for name, c := range map[string]struct {
		text string
		want []Station
	}{
		"all columns":     {"rf_channel,label,latitude,longitude,erp_kw,height_m\n22,North Hill,44.53,-72.82,850,412.5\n", []Station{hill}},
		"any order, case": {"HEIGHT_M, Longitude ,latitude,RF_channel,label,erp_kw\r\n412.5,-72.82,44.53,22,North Hill,850\r\n", []Station{hill}},
		"unknown column":  {"rf_channel,latitude,longitude,owner\n7,44,-72,nobody\n", []Station{bare}},
		"empty fields":    {"rf_channel,label,latitude,longitude,erp_kw,height_m\n7,,44,-72,,\n", []Station{bare}},
		"mark and note":   {"\ufeffrf_channel,latitude,longitude\n# far away\n\n7,44,-72", []Station{bare}},
		"quoted":          {"rf_channel,label,latitude,longitude,erp_kw,height_m\n22,\"North Hill\",44.53,\"-72.82\",850,412.5\n7,,44,-72,,", []Station{bare, hill}},
		"no rows":         {"rf_channel,latitude,longitude\n", nil},
		"hidden escape": {"rf_channel,latitude,longitude,label\n7,44,-72,\"a\x1b[2Jb\nc\"\n",
			[]Station{{RFChannel: 7, Label: "a\ufffd[2Jb c", At: bare.At}}},
	} {
		got, err := ReadStations(strings.NewReader(c.text))
		require.NoError(t, err, name)
		require.Equal(t, c.want, got, name)
	}
}

// Truth: the documented limits.
func TestReadStationsRefuses(t *testing.T) {
	const head = "rf_channel,label,latitude,longitude,erp_kw,height_m\n"
	for text, want := range map[string]string{
		"":                                       "it is empty",
		"22,North Hill,44,-72\n":                 `no column is named "rf_channel"`,
		"rf_channel,latitude\n":                  `no column is named "longitude"`,
		"latitude,latitude,rf_channel\n":         "two columns",
		head + "22,x,44,-72\n":                   "line 2: it has 4 fields",
		head + "\n22,x,44,west,1,1\n":            `line 3: its longitude is "west"`,
		head + "22,x,,-72,1,1\n":                 "its latitude",
		head + "UHF,x,44,-72,1,1\n":              "its rf_channel",
		head + "0,x,44,-72,1,1\n":                "no RF channel 0",
		head + "22,x,NaN,-72,1,1\n":              "a latitude",
		head + "22,x,44,-272,1,1\n":              "a longitude",
		head + "22,x,44,-72,-1,1\n":              "a power",
		head + "22,x,44,-72,1,1e9\n":             "a height",
		head + "22,\"x,44,-72,1,1\n":             "quote",
		head + strings.Repeat("x", maxRow) + "y": "a line is longer",
	} {
		_, err := ReadStations(strings.NewReader(text))
		require.ErrorContains(t, err, want, "%.60q", text)
		require.NotContains(t, err.Error(), "\n")
	}
	if testing.Short() {
		return // what follows is large
	}
	_, err := ReadStations(strings.NewReader(head + strings.Repeat("22,x,44,-72,1,1\n", maxStations+1)))
	require.ErrorContains(t, err, "more than 50000 stations")
	_, err = ReadStations(strings.NewReader(head + strings.Repeat("#\n", maxList/2)))
	require.ErrorContains(t, err, "longer than 32 MB")
}

// Truth: PathBetween, which has its own tests.
func TestFrom(t *testing.T) {
	list := []Station{{RFChannel: 7, At: Position{44, -72}}, {RFChannel: 9, At: Position{-44, 107.9}}}
	got, err := From(Position{44, -72.1}, list)
	require.NoError(t, err)
	require.Len(t, got, 1, "the one on the other side of the globe is left out")
	require.Equal(t, 7, got[0].RFChannel)
	require.InDelta(t, 90, got[0].BearingDeg, 0.1)
	require.InDelta(t, 8020, got[0].DistanceM, 10)
}

func FuzzReadStations(f *testing.F) {
	f.Add("rf_channel,label,latitude,longitude,erp_kw,height_m\n22,North Hill,44.53,-72.82,850,412.5\n")
	f.Add("\ufeffrf_channel,latitude,longitude\n# note\n\n7,44,-72")
	f.Add("rf_channel,latitude,longitude\n7,1e-400,\"0x1p4\"\n")
	f.Fuzz(func(t *testing.T, text string) {
		list, err := ReadStations(strings.NewReader(text))
		if err != nil {
			require.NotContains(t, err.Error(), "\n")
			return
		}
		require.LessOrEqual(t, len(list), strings.Count(text, "\n")+strings.Count(text, "\r"))
		for _, s := range list {
			require.NoError(t, s.check())
			_, err := s.line()
			require.NoError(t, err, "what can be read can be kept")
			p, err := PathBetween(Position{44, -72}, s.At)
			if err == nil {
				require.False(t, math.IsNaN(p.DistanceM+p.BearingDeg+p.ArrivalDeg))
			}
		}
	})
}

func ExampleReadStations() {
	list, err := ReadStations(strings.NewReader(`rf_channel,label,latitude,longitude,erp_kw,height_m
22,North Hill,44.53,-72.82,850,412
9,Quarry,44.02,-72.10,30,
`))
	if err != nil {
		fmt.Println(err)
		return
	}
	seen, _ := From(Position{44.26, -72.58}, list)
	for _, s := range seen {
		fmt.Printf("%2d %-10s %4.0f km %3.0f°\n", s.RFChannel, s.Label, s.DistanceM/1e3, s.BearingDeg)
	}
	// Output:
	//  9 Quarry       47 km 125°
	// 22 North Hill   36 km 328°
}
