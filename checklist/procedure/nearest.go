package procedure

// nearest returns the candidate that differs from word by the fewest
// insertions, removals, changes and swaps of neighbours, if that is few enough
// to be a slip of the hand: at most a third of the word, at most 3.
func nearest(word string, candidates []string) (string, bool) {
	if len(word) > 64 {
		return "", false
	}
	best, bestDistance := "", max(1, min(3, len(word)/3))+1
	for _, candidate := range candidates {
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
