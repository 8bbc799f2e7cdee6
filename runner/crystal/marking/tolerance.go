package marking

import "strings"

// cutTolerance splits the tolerance letter off the end of a marking, if it has
// one after at least one other character.
func cutTolerance(mark string, letters map[byte]string) (body, tolerance string) {
	last := len(mark) - 1
	if t, ok := letters[mark[last]]; ok && last > 0 {
		return mark[:last], t
	}
	return mark, ""
}

// plainMicro writes both micro signs of Unicode as the letter u.
func plainMicro(mark string) string { return strings.NewReplacer("µ", "u", "μ", "u").Replace(mark) }
