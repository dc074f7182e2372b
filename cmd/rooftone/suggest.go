package main

// closest returns the word that a mistyped one most likely meant, "" when
// none is near.
func closest(typed string, words []string) string {
	// One slip in three letters, two at the most in a short word: beyond that
	// a suggestion is a guess.
	best, bestSlips := "", max(1, min(3, len(typed)/3))+1
	for _, w := range words {
		if d := slips(typed, w); d < bestSlips {
			best, bestSlips = w, d
		}
	}
	return best
}

// slips counts the letters left out, put in, mistaken or swapped with a
// neighbour that turn a into b.
func slips(a, b string) int {
	x, y := []rune(a), []rune(b)
	// before, above, row are rows i−2, i−1 and i of the table whose entry j is
	// the distance between x[:i] and y[:j].
	before, above, row := make([]int, len(y)+1), make([]int, len(y)+1), make([]int, len(y)+1)
	for j := range row {
		row[j] = j
	}
	for i := 1; i <= len(x); i++ {
		before, above, row = above, row, before
		row[0] = i
		for j := 1; j <= len(y); j++ {
			cost := 1
			if x[i-1] == y[j-1] {
				cost = 0
			}
			row[j] = min(above[j]+1, row[j-1]+1, above[j-1]+cost)
			if i > 1 && j > 1 && x[i-1] == y[j-2] && x[i-2] == y[j-1] {
				row[j] = min(row[j], before[j-2]+1)
			}
		}
	}
	return row[len(y)]
}
