package scripts

import "strings"

// Suggest returns "; did you mean X?" for the name nearest to found, or nothing
// when none is near enough to be a slip of the finger.
func Suggest(found string, names []string) string {
	best, bestDistance := "", 1+max(1, len(found)/3)
	for _, name := range names {
		if d := editDistance(strings.ToLower(found), strings.ToLower(name)); d < bestDistance {
			best, bestDistance = name, d
		}
	}
	if best == "" {
		return ""
	}
	return "; did you mean " + best + "?"
}

// editDistance counts the insertions, deletions and replacements of single bytes
// that turn a into b (Levenshtein distance).
func editDistance(a, b string) int {
	row := make([]int, len(b)+1)
	for j := range row {
		row[j] = j
	}
	for i := range len(a) {
		diagonal := row[0]
		row[0] = i + 1
		for j := range len(b) {
			replace := diagonal
			if a[i] != b[j] {
				replace++
			}
			diagonal = row[j+1]
			row[j+1] = min(replace, row[j]+1, row[j+1]+1)
		}
	}
	return row[len(b)]
}
