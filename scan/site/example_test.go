package site_test

import (
	"fmt"
	"os"
	"path/filepath"
	"time"

	"rooftone/scan/measure"
	"rooftone/scan/site"
)

// A house from its first line to what its places give.
func Example() {
	dir, err := os.MkdirTemp("", "site")
	if err != nil {
		fmt.Println(err)
		return
	}
	defer os.RemoveAll(dir)
	path := filepath.Join(dir, "mill-lane.jsonl")

	label := "North Hill"
	mark := func(place string, marginDB float64) site.Mark {
		return site.Mark{
			Time: time.Date(2026, 3, 5, 12, 0, 0, 0, time.UTC), Place: place,
			Heard: []site.Heard{{RFChannel: 22, Margin: &measure.Estimate{Value: marginDB, Sigma: 0.4}}},
		}
	}
	if err := site.Create(path, site.Header{Name: "Mill Lane 4"}); err != nil {
		fmt.Println(err)
		return
	}
	err = site.Append(path, site.WantChange{RFChannel: 22, Label: &label}, mark("attic", 3), mark("chimney", 14))
	if err != nil {
		fmt.Println(err) // none of the three is to be taken as kept
		return
	}
	house, err := site.Read(path)
	if err != nil {
		fmt.Println(err)
		return
	}
	for _, d := range house.Damage {
		fmt.Println("hint:", d)
	}
	for _, s := range site.Spots(house.Marks, site.DefaultOptions()) {
		fmt.Printf("%s: %v, %s with %.0f dB\n", house.Name, &s, house.Label(22), s.Channels[22].Margin.Value)
	}
	// Output:
	// Mill Lane 4: attic, North Hill with 3 dB
	// Mill Lane 4: chimney, North Hill with 14 dB
}
