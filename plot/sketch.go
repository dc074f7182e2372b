package plot

import (
	"fmt"
	"math"
	"strings"

	"rooftone/scan/site"
)

// letterOf names an echo in the sketch and in the table below it.
func letterOf(i int) rune {
	if i < 26 {
		return rune('a' + i)
	}
	return '+'
}

// sketch draws echoes with characters: time to the right, a row for each 5 dB,
// at 0 the strongest path, and for each echo a post with its letter on top.
func sketch(list []arrival, wide int, utf8 bool, w writing, u site.Units) []string {
	post, mast, ground, tick := '|', '#', '-', '+'
	if utf8 {
		post, mast, ground, tick = '│', '█', '─', '┴'
	}
	const gutter, stepDB = 5, 5.0
	columns := wide - gutter
	levels := int(-faintEchoDB/stepDB) + 1
	at := func(us float64) int {
		t := (us - earliestUS) / (latestUS - earliestUS)
		return int(math.Round(math.Max(0, math.Min(1, t)) * float64(columns-1)))
	}
	rows := make([][]rune, levels)
	for r := range rows {
		rows[r] = []rune(strings.Repeat(" ", columns))
		rows[r][at(0)] = mast
	}
	used := map[int]bool{at(0): true}
	for i, a := range list {
		x := at(a.us.v)
		for _, dx := range []int{0, 1, -1, 2, -2} { // two echoes in one place stand side by side
			if k := x + dx; k >= 0 && k < columns && !used[k] {
				x = k
				break
			}
		}
		used[x] = true
		top := int(math.Round(math.Max(0, math.Min(float64(levels-1), -a.db.v/stepDB))))
		rows[top][x] = letterOf(i)
		for r := top + 1; r < levels; r++ {
			rows[r][x] = post
		}
	}
	var out []string
	for r, row := range rows {
		out = append(out, fmt.Sprintf("%3d  ", -int(stepDB)*r)+string(row))
	}
	line := []rune(strings.Repeat(string(ground), columns))
	own, _ := lengths(u)
	late, far := []rune(strings.Repeat(" ", columns)), []rune(strings.Repeat(" ", columns))
	for us := earliestUS; us <= latestUS; us += 5 {
		line[at(us)] = tick
		center(late, at(us), w.number(us, 0))
		if columns >= 50 || math.Mod(us, 10) == 0 {
			center(far, at(us), w.number(math.Round(us*own.perUS/10)*10, 0))
		}
	}
	name := w.micro + "s"
	return append(out, " dB  "+string(line), " "+name+"  "+string(late), fmt.Sprintf("%3s  ", own.unit)+string(far))
}

// center writes text around a place, within the row.
func center(row []rune, at int, text string) {
	r := []rune(text)
	from := max(0, min(len(row)-len(r), at-len(r)/2))
	copy(row[from:], r)
}
