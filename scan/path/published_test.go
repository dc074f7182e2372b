package path_test

import (
	"encoding/csv"
	"os"
	"strconv"
	"testing"

	"github.com/stretchr/testify/require"

	"rooftone/scan/path"
)

// table reads a file of numbers; rows may differ in length.
func table(t testing.TB, name string, skip int) (rows [][]float64) {
	t.Helper()
	f, err := os.Open("testdata/" + name)
	require.NoError(t, err)
	defer f.Close()
	r := csv.NewReader(f)
	r.FieldsPerRecord = -1
	text, err := r.ReadAll()
	require.NoError(t, err)
	for _, row := range text[skip:] {
		var numbers []float64
		for _, field := range row {
			v, err := strconv.ParseFloat(field, 64)
			require.NoError(t, err)
			numbers = append(numbers, v)
		}
		rows = append(rows, numbers)
	}
	return rows
}

// Truth: the rows that the model's authors publish, to the digits given.
func TestPublishedRows(t *testing.T) {
	rows, profiles := table(t, "published.csv", 1), table(t, "published_profiles.csv", 0)
	require.Len(t, rows, 5)
	require.Len(t, profiles, 5)
	for i, r := range rows {
		l := path.Link{HeightsM: [2]float64{r[0], r[1]}, FrequencyHz: r[5] * 1e6}
		l.Surroundings = path.Surroundings{Climate: path.Climate(r[7] - 1), Refractivity: r[4], Permittivity: r[2], Conductivity: r[3], Vertical: r[6] == 1}
		p, err := path.Predict(l, path.Profile{StepM: profiles[i][1], M: profiles[i][2:]})
		require.NoError(t, err)
		s := useOf(int(r[11]))
		s.Time, s.Place, s.Situation = r[8]/100, r[9]/100, r[10]/100
		loss, err := p.LossDB(s)
		require.NoError(t, err)
		require.Equal(t, strconv.FormatFloat(r[12], 'f', 2, 64), strconv.FormatFloat(loss, 'f', 2, 64), "row %d", i+1)
	}
}

// Truth: what the model's authors' program prints for its example, to the digits
// given: the loss, what it is made of, and the table of nine shares.
func TestPublishedExample(t *testing.T) {
	row := table(t, "example_profile.csv", 0)[0]
	l := path.Link{FrequencyHz: 3500e6, HeightsM: [2]float64{15, 3}, Surroundings: path.Television()}
	l.Vertical = true
	p, err := path.Predict(l, path.Profile{StepM: row[1], M: row[2:]})
	require.NoError(t, err)
	to := func(v float64, digits int) string { return strconv.FormatFloat(v, 'f', digits, 64) }
	share := func(time, situation float64) string {
		loss, err := p.LossDB(path.Share{Use: path.Individual, Time: time, Place: 0.5, Situation: situation})
		require.NoError(t, err)
		return to(loss, 1)
	}
	require.Equal(t, "114.5", share(0.5, 0.5))
	for time, want := range map[float64][3]string{
		0.10: {"110.9", "117.2", "129.1"},
		0.65: {"110.9", "117.4", "129.2"},
		0.90: {"110.9", "117.5", "129.3"},
	} {
		require.Equal(t, want, [3]string{share(time, 0.1), share(time, 0.6), share(time, 0.9)}, "%g of the time", time)
	}
	require.Equal(t, "114.5", to(p.FreeSpaceDB, 1))
	require.Equal(t, "3.635", to(p.DistanceM/1e3, 3))
	require.Equal(t, [2]string{"-1.949", "-0.856"}, [2]string{to(p.ElevationRad[0]*1e3, 3), to(p.ElevationRad[1]*1e3, 3)})
	require.Equal(t, [2]string{"14868", "6494"}, [2]string{to(p.HorizonM[0], 0), to(p.HorizonM[1], 0)})
	require.Equal(t, [2]string{"15.0", "3.0"}, [2]string{to(p.EffectiveM[0], 1), to(p.EffectiveM[1], 1)})
	require.Equal(t, "251.5", to(p.SurfaceN, 1))
	require.Equal(t, "3.2", to(p.UnevenM, 1))
	require.Equal(t, "0.0", to(p.ReferenceDB, 1))
	require.Equal(t, path.InSight, p.Mode)
}

// Truth: what the model's authors' program prints in its area mode for antennas
// sited without care, to the digits given.
func TestPublishedArea(t *testing.T) {
	l := path.Link{FrequencyHz: 10e9, HeightsM: [2]float64{3, 3}, Surroundings: path.Television()}
	l.Vertical = true
	for _, row := range []struct {
		km   float64
		want [4]string // free space; of situations 50, 75 and 90 %
	}{
		{10, [4]string{"132.4", "147.0", "151.7", "155.9"}},
		{20, [4]string{"138.5", "174.9", "179.2", "183.1"}},
		{30, [4]string{"142.0", "198.7", "202.9", "206.7"}},
		{40, [4]string{"144.5", "213.0", "217.3", "221.0"}},
		{50, [4]string{"146.4", "215.8", "220.0", "223.8"}},
		{60, [4]string{"148.0", "218.1", "222.4", "226.1"}},
		{70, [4]string{"149.4", "220.1", "224.4", "228.1"}},
		{80, [4]string{"150.5", "221.9", "226.1", "229.9"}},
		{90, [4]string{"151.5", "223.4", "227.7", "231.4"}},
		{100, [4]string{"152.4", "224.8", "229.0", "232.7"}},
		{200, [4]string{"158.5", "234.6", "238.5", "241.9"}},
		{300, [4]string{"162.0", "243.6", "247.2", "250.4"}},
		{400, [4]string{"164.5", "252.0", "255.6", "258.7"}},
		{500, [4]string{"166.4", "260.0", "263.5", "266.6"}},
		{600, [4]string{"168.0", "267.5", "271.0", "274.1"}},
		{700, [4]string{"169.4", "274.8", "278.3", "281.4"}},
		{800, [4]string{"170.5", "281.9", "285.3", "288.4"}},
		{900, [4]string{"171.5", "288.8", "292.3", "295.4"}},
		{1000, [4]string{"172.4", "295.6", "299.1", "302.2"}},
	} {
		p, err := path.PredictOver(l, row.km*1e3, 0)
		require.NoError(t, err)
		got := [4]string{strconv.FormatFloat(p.FreeSpaceDB, 'f', 1, 64)}
		for i, situation := range []float64{0.5, 0.75, 0.9} {
			loss, err := p.LossDB(path.Share{Use: path.Broadcast, Time: 0.9, Place: 0.5, Situation: situation})
			require.NoError(t, err)
			got[i+1] = strconv.FormatFloat(loss, 'f', 1, 64)
		}
		require.Equal(t, row.want, got, "%g km", row.km)
	}

	l.FrequencyHz, l.HeightsM = 3500e6, [2]float64{15, 3}
	p, err := path.PredictOver(l, 10e3, 20)
	require.NoError(t, err)
	loss, err := p.LossDB(path.Share{Use: path.Individual, Time: 0.5, Place: 0.5, Situation: 0.5})
	require.NoError(t, err)
	require.Equal(t, "134.5", strconv.FormatFloat(loss, 'f', 1, 64))
	require.Equal(t, "11.2", strconv.FormatFloat(p.ReferenceDB, 'f', 1, 64))
	require.Equal(t, "14722", strconv.FormatFloat(p.HorizonM[0], 'f', 0, 64))
	require.Equal(t, "-0.567", strconv.FormatFloat(p.ElevationRad[1]*1e3, 'f', 3, 64))
}
