package config

import "strings"

// suggest says what an unknown key was probably meant to be.
func suggest(key string, known []string) string {
	plain := strings.ReplaceAll(strings.ToLower(key), "_", "-")
	// A third of the letters may be wrong, and one more.
	best, least := "", len(key)/3+2
	for _, k := range known {
		if d := distance(plain, k); d < least {
			best, least = k, d
		}
	}
	switch {
	case best == "":
		return "the keys here are " + strings.Join(known, ", ")
	case best == strings.ToLower(key):
		return "keys are in lower case, write " + best
	default:
		return "did you mean " + best + "?"
	}
}

// distance is the number of letters to insert, remove or replace to make b of a
// (Levenshtein).
func distance(a, b string) int {
	from, to := []rune(a), []rune(b)
	row := make([]int, len(to)+1)
	for j := range row {
		row[j] = j
	}
	for i, x := range from {
		diagonal := row[0]
		row[0] = i + 1
		for j, y := range to {
			replace := diagonal
			if x != y {
				replace++
			}
			diagonal = row[j+1]
			row[j+1] = min(replace, row[j+1]+1, row[j]+1)
		}
	}
	return row[len(to)]
}
