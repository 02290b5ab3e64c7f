package procedure

import "unicode/utf8"

// nearest returns the candidate that differs from word by the fewest
// insertions, removals, changes and swaps of neighbours, if that is few enough
// to be a slip of the hand: at most a third of the word, or 1 in a short one, at
// most 3. Between single letters every word would be near, so they have none.
func nearest(word string, candidates []string) (string, bool) {
	const runesMin, runesMax = 2, 64
	runes := utf8.RuneCountInString(word)
	if runes < runesMin || runes > runesMax {
		return "", false
	}
	best, bestDistance := "", max(1, min(3, runes/3))+1
	for _, candidate := range candidates {
		longer := utf8.RuneCountInString(candidate) - runes
		if max(longer, -longer) >= bestDistance {
			continue // as many insertions or removals at least
		}
		if d := editDistance(word, candidate); d < bestDistance {
			best, bestDistance = candidate, d
		}
	}
	return best, best != ""
}

// editDistance is the optimal string alignment distance between a and b.
func editDistance(a, b string) int {
	x, y := []rune(a), []rune(b)
	before, last := make([]int, len(y)+1), make([]int, len(y)+1)
	for j := range last {
		last[j] = j
	}
	for i := 1; i <= len(x); i++ {
		row := make([]int, len(y)+1)
		row[0] = i
		for j := 1; j <= len(y); j++ {
			cost := 1
			if x[i-1] == y[j-1] {
				cost = 0
			}
			row[j] = min(last[j]+1, row[j-1]+1, last[j-1]+cost)
			if i > 1 && j > 1 && x[i-1] == y[j-2] && x[i-2] == y[j-1] {
				row[j] = min(row[j], before[j-2]+1)
			}
		}
		before, last = last, row
	}
	return last[len(y)]
}
