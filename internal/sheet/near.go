package sheet

import "strings"

// Near tells whether two names or addresses differ so little that they may be one: "Weir Gate Mall" and "Weirgate Mall",
// "12 Quay Street" and "12 Quay St.". Equal ones are not near: they are the same.
func Near(a, b string) bool {
	x, y := squeezed(a), squeezed(b)
	if x == "" || y == "" || plain(a) == plain(b) {
		return false
	}
	if digitsOf(x) != digitsOf(y) { // Door 1 and Door 2, number 12 and number 14
		return false
	}
	shorter := min(len([]rune(x)), len([]rune(y)))
	return distance([]rune(x), []rune(y), shorter/6+1) <= min(shorter/6, 3)
}

// squeezed leaves out what people write in one list and not in another: the words for a street or a legal form.
func squeezed(text string) string {
	var b strings.Builder
	for token := range strings.FieldsSeq(plain(text)) {
		switch token {
		case "the", "ltd", "llc", "inc", "gmbh", "ag", "co", "corp", "limited", "street", "st", "str", "strasse", "road", "rd", "avenue", "ave", "lane", "ln", "drive", "dr", "and":
		default:
			b.WriteString(token)
		}
	}
	return b.String()
}

func digitsOf(text string) string {
	return strings.Map(func(r rune) rune {
		if r >= '0' && r <= '9' {
			return r
		}
		return -1
	}, text)
}

// distance is how many letters must be put in, taken out or changed (Levenshtein), or any number above most.
func distance(a, b []rune, most int) int {
	if len(a)-len(b) > most || len(b)-len(a) > most {
		return most + 1
	}
	row := make([]int, len(b)+1)
	for j := range row {
		row[j] = j
	}
	for i := 1; i <= len(a); i++ {
		diagonal := row[0]
		row[0] = i
		for j := 1; j <= len(b); j++ {
			cost := 1
			if a[i-1] == b[j-1] {
				cost = 0
			}
			diagonal, row[j] = row[j], min(row[j]+1, row[j-1]+1, diagonal+cost)
		}
	}
	return row[len(b)]
}
