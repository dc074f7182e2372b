package sim

import (
	"fmt"
)

// Bench returns a town for tests: flat channels on RF 14, 16, 18 … up to 36
// whose Truth has the given C/N in dB at the highest gain and 2.4 MS/s, and
// BenchRadio. There can be twelve.
func Bench(cnDB ...float64) (Town, error) {
	const first, last = 14, 36
	town := Town{Name: "bench", About: "Flat channels at known C/N.", Radio: BenchRadio()}
	empty, err := New(town, Options{})
	if err != nil {
		return Town{}, err
	}
	for i, cn := range cnDB {
		number := first + 2*i
		if number > last {
			return Town{}, fmt.Errorf("a bench of %d channels: there is room for %d", len(cnDB), (last-first)/2+1)
		}
		floor, err := empty.Truth(number)
		if err != nil {
			return Town{}, err
		}
		town.Stations = append(town.Stations, Station{
			RFChannel: number, Call: fmt.Sprintf("QB%02d", i), LevelDBm: floor.NoiseDBm + cn,
		})
	}
	return town, town.Validate()
}
