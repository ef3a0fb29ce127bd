package sheet

import (
	"errors"
	"regexp"
	"slices"
	"strconv"
	"strings"

	"lintel.example/lintel/internal/words"
)

// Date is a civil date as a list has it. The zero Date is none.
type Date struct{ Year, Month, Day int }

// IsZero tells whether there is no date.
func (d Date) IsZero() bool { return d == Date{} }

// Value is what one cell says, read as its field wants it.
type Value struct {
	Raw     string  // as it stands in the cell, or was said for all rows
	Heading string  // of its column, or the field's name
	Text    string  // text, or the word that is meant
	Number  float64 // of a length, mass, time or count, in SI
	Date    Date
	// Stated: said for all rows or derived, not by a cell of this row. It fills what is empty and replaces nothing.
	Stated bool
}

// refusal is why a cell cannot be read: the code of a complaint with its arguments.
type refusal struct {
	code string
	args []any
}

func refuse(code string, args ...any) *refusal { return &refusal{code, args} }

// nothing are the ways of writing that nothing is known.
func nothing(text string) bool {
	return slices.Contains([]string{"", "-", "--", "---", "?", "??", "n/a", "na", "n.a.", "unknown", "not known", "tbd", "tbc", "k.a.", "k. a.", "unbekannt", "#n/a"}, strings.ToLower(text))
}

// reading is how the cells of one column are read.
type reading struct {
	field Field
	unit  string
	dates DateOrder
	own   map[string]string // the mapping's words, plain → meaning
	book  *columnBook
}

// value reads a cell; ok is false where the cell says nothing.
func (r reading) value(c cell) (v Value, ok bool, why *refusal) {
	text := strings.TrimSpace(strings.ReplaceAll(c.text, "\u00a0", " "))
	v.Raw = text
	if len([]rune(text)) > mostCell {
		return v, false, refuse("cell_too_long", "most", mostCell)
	}
	if meaning, said := r.own[plain(text)]; said && text != "" {
		text, c.day = meaning, Date{}
	}
	if vocabulary, isWords := r.book.words[r.field.Kind]; isWords {
		if word, known := vocabulary[plain(text)]; known && plain(text) != "" {
			v.Text = word
			if r.field.Kind == kindCount {
				v.Number, _ = strconv.ParseFloat(word, 64)
			}
			return v, true, nil
		}
	}
	if nothing(text) {
		return v, false, nil
	}
	if strings.HasPrefix(text, "#") && strings.HasSuffix(text, "!") || strings.EqualFold(text, "#NAME?") {
		return v, false, refuse("formula_failed")
	}
	if !c.day.IsZero() && r.field.Kind != kindDate {
		if r.field.Kind == kindText {
			v.Text = c.day.String()
			return v, true, nil
		}
		return v, false, refuse("is_a_date", "date", c.day.String())
	}
	switch r.field.Kind {
	case kindText:
		if shortened.MatchString(text) {
			return v, false, refuse("number_shortened")
		}
		v.Text = text
	case kindLength:
		v.Number, why = length(text, r.unit)
	case kindMass:
		v.Number, why = amount(words.ParseMass, text, r.unit)
	case kindSeconds:
		v.Number, why = amount(words.ParseSeconds, text, r.unit)
	case kindDate:
		v.Date, why = c.day, nil
		if c.day.IsZero() {
			v.Date, why = parseDate(text, r.dates)
		}
	case kindCount:
		v.Number, why = count(text, 8)
	case kindMonths:
		v.Number, why = months(text)
	default:
		if r.field.Kind == "country" && len(text) == 2 { // any of ISO 3166-1; whoever keeps sites knows which there are
			v.Text = strings.ToUpper(text)
			break
		}
		return v, false, refuse("word_unknown", "words", strings.Join(r.vocabulary(), ", "))
	}
	return v, why == nil, why
}

// vocabulary are the words of the field's kind, for a complaint.
func (r reading) vocabulary() []string {
	var list []string
	for _, word := range r.book.words[r.field.Kind] {
		if !slices.Contains(list, word) {
			list = append(list, word)
		}
	}
	slices.Sort(list)
	return list
}

// shortened is what a spreadsheet makes of a long number when it is kept as CSV.
var shortened = regexp.MustCompile(`^[0-9]([.,][0-9]+)?[eE]\+[0-9]+$`)

func length(text, unit string) (float64, *refusal) {
	m, err := words.ParseLengthIn(text, unit)
	var fault *words.LengthError
	if errors.As(err, &fault) {
		return 0, refuse("length_" + fault.Code)
	}
	return m, nil
}

type amountReader func(text, unit string) (float64, error)

func amount(read amountReader, text, unit string) (float64, *refusal) {
	value, err := read(text, unit)
	var fault *words.AmountError
	if errors.As(err, &fault) {
		return 0, refuse("amount_"+fault.Code, "units", strings.Join(fault.Units, ", "))
	}
	return value, nil
}

func count(text string, most int) (float64, *refusal) {
	n, err := strconv.Atoi(text)
	if err != nil || n < 1 || n > most {
		return 0, refuse("not_a_count", "most", most)
	}
	return float64(n), nil
}

var monthsForm = regexp.MustCompile(`^([0-9]{1,3}) *(months?|mths?|mo|monate?|years?|yrs?|y|jahre?)?\.?$`)

// months reads "12", "12 months", "1 year", "yearly".
func months(text string) (float64, *refusal) {
	small := strings.ToLower(text)
	if n, ok := map[string]float64{"yearly": 12, "annual": 12, "annually": 12, "jahrlich": 12, "jährlich": 12, "half yearly": 6, "half-yearly": 6,
		"every six months": 6, "quarterly": 3, "monthly": 1}[small]; ok {
		return n, nil
	}
	m := monthsForm.FindStringSubmatch(small)
	if m == nil {
		return 0, refuse("not_months")
	}
	n, _ := strconv.Atoi(m[1])
	if strings.HasPrefix(m[2], "y") || strings.HasPrefix(m[2], "jahr") {
		n *= 12
	}
	if n < 1 || n > 120 {
		return 0, refuse("not_months")
	}
	return float64(n), nil
}
