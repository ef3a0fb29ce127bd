package sheet

import (
	_ "embed"
	"slices"
	"strings"
	"sync"
	"unicode"

	"go.yaml.in/yaml/v3"
	"golang.org/x/text/unicode/norm"
)

//go:embed columns.yaml
var columnsFile []byte

//go:embed vocabulary.yaml
var vocabularyFile []byte

// Kinds of fields that are read in a way of their own; every other kind is a vocabulary.
const (
	kindText    = "text"
	kindLength  = "length"
	kindMass    = "mass"
	kindSeconds = "seconds"
	kindDate    = "date"
	kindCount   = "count"
	kindMonths  = "months"
	kindYesNo   = "yes_no"
)

// Field is something that a list can bring.
type Field struct {
	Name     string   `yaml:"field"`
	Kind     string   `yaml:"kind"`
	Headings []string `yaml:"headings"`
	// Otherwise is what a new thing gets where the list says nothing: a word of our own for it, never a fact.
	Otherwise string `yaml:"otherwise"`
}

// columnBook knows the fields, their headings and the words in their cells.
type columnBook struct {
	fields    []Field
	byHeading map[string]string            // plain heading → field
	words     map[string]map[string]string // kind → plain word → what it means
}

// theColumns reads the two files that are built in, once. It does not change afterwards.
var theColumns = sync.OnceValue(func() *columnBook {
	b, err := newColumnBook(columnsFile, vocabularyFile)
	if err != nil {
		panic(err) // a test reads them
	}
	return b
})

func newColumnBook(columns, vocabulary []byte) (*columnBook, error) {
	b := &columnBook{byHeading: map[string]string{}, words: map[string]map[string]string{}}
	if err := yaml.Unmarshal(columns, &b.fields); err != nil {
		return nil, err
	}
	for _, f := range b.fields {
		for _, h := range append([]string{f.Name}, f.Headings...) {
			b.byHeading[plain(h)] = f.Name
		}
	}
	var lists map[string]map[string][]string
	if err := yaml.Unmarshal(vocabulary, &lists); err != nil {
		return nil, err
	}
	for kind, list := range lists {
		b.words[kind] = map[string]string{}
		for word, spellings := range list {
			for _, s := range append([]string{word}, spellings...) {
				b.words[kind][plain(s)] = word
			}
		}
	}
	return b, nil
}

// field finds a field by its name: those of columns.yaml, and the fields of a component that has columns of its own
// in a row of doors, such as sensor.a.model.
func (b *columnBook) field(name string) (Field, bool) {
	for _, f := range b.fields {
		if f.Name == name {
			return f, true
		}
	}
	parts := strings.Split(name, ".")
	if len(parts) != 3 || b.words["component"][plain(parts[0])] != parts[0] || !slices.Contains(places(), parts[1]) {
		return Field{}, false
	}
	f, ok := b.field("component." + parts[2])
	f.Name = name
	return f, ok && parts[2] != "kind" && parts[2] != "side"
}

func (b *columnBook) names() []string {
	names := make([]string, len(b.fields))
	for i, f := range b.fields {
		names[i] = f.Name
	}
	return names
}

// Names lists the fields that a list can bring.
func Names() []string { return theColumns().names() }

// places are where a component with columns of its own is: on a side, or just the n-th of its kind.
func places() []string { return []string{"a", "b", "1", "2", "3", "4"} }

// plain is a text as headings and words are compared: small letters without accents, digits, single spaces.
func plain(text string) string {
	var b strings.Builder
	space := false
	for _, r := range norm.NFD.String(strings.ToLower(strings.ReplaceAll(text, "#", " no "))) {
		switch {
		case unicode.Is(unicode.Mn, r):
		case r == 'ß':
			b.WriteString("ss")
		case unicode.IsLetter(r), unicode.IsDigit(r):
			if space && b.Len() > 0 {
				b.WriteByte(' ')
			}
			space = false
			b.WriteRune(r)
		default:
			space = true
		}
	}
	tokens := strings.Fields(b.String())
	for i, token := range tokens {
		if slices.Contains([]string{"nr", "num", "number", "nummer"}, token) {
			tokens[i] = "no"
		}
	}
	return strings.Join(tokens, " ")
}

// unitsOf are the units that a column of a kind may have.
func unitsOf(kind string) []string {
	switch kind {
	case kindLength:
		return []string{"mm", "cm", "m", "in", "ft"}
	case kindMass:
		return []string{"kg", "lb"}
	case kindSeconds:
		return []string{"s"}
	}
	return nil
}

// unitNamed reads the unit behind a heading.
func unitNamed(token string) string {
	switch token {
	case "mm", "cm", "m", "in", "ft", "kg", "lb", "s":
		return token
	case "inch", "inches":
		return "in"
	case "feet", "foot":
		return "ft"
	case "metre", "metres", "meter", "meters":
		return "m"
	case "lbs", "pounds":
		return "lb"
	case "sec", "secs", "seconds", "sek":
		return "s"
	}
	return ""
}

// take finds out what a column is from its heading alone.
func (b *columnBook) take(heading string) (Column, bool) {
	tokens := strings.Fields(plain(heading))
	if len(tokens) > 1 {
		unit := unitNamed(tokens[len(tokens)-1])
		rest := tokens[:len(tokens)-1]
		if rest[len(rest)-1] == "in" && len(rest) > 1 { // height in mm
			rest = rest[:len(rest)-1]
		}
		if name, ok := b.named(rest); ok && unit != "" {
			if f, _ := b.field(name); slices.Contains(unitsOf(f.Kind), unit) {
				return Column{Field: name, Unit: unit}, true
			}
		}
	}
	if name, ok := b.named(tokens); ok {
		return Column{Field: name}, true
	}
	if rest, order := withoutDateForm(tokens); order != "" {
		if name, ok := b.named(rest); ok {
			if f, _ := b.field(name); f.Kind == kindDate {
				return Column{Field: name, Dates: order}, true
			}
		}
	}
	return Column{}, false
}

// withoutDateForm takes dd mm yyyy and its like from the end of a heading.
func withoutDateForm(tokens []string) (rest []string, order DateOrder) {
	if len(tokens) < 4 {
		return nil, ""
	}
	initials := ""
	for _, token := range tokens[len(tokens)-3:] {
		initials += token[:1]
		if strings.Trim(token, token[:1]) != "" {
			return nil, ""
		}
	}
	order = map[string]DateOrder{"dmy": DayFirst, "tmj": DayFirst, "mdy": MonthFirst, "ymd": YearFirst}[initials]
	return tokens[:len(tokens)-3], order
}

// named finds the field of a heading's words: a heading of columns.yaml, or a component with its place and what is said
// of it, as in "outside sensor mount height".
func (b *columnBook) named(tokens []string) (string, bool) {
	if name, ok := b.byHeading[strings.Join(tokens, " ")]; ok {
		return name, true
	}
	for length := min(len(tokens), 3); length > 0; length-- {
		for from := 0; from+length <= len(tokens); from++ {
			kind, ok := b.words["component"][strings.Join(tokens[from:from+length], " ")]
			if !ok {
				continue
			}
			if name, ok := b.ofComponent(kind, slices.Concat(tokens[:from], tokens[from+length:])); ok {
				return name, true
			}
		}
	}
	return "", false
}

// ofComponent reads what of a component a heading speaks of, from the words beside the component's own.
func (b *columnBook) ofComponent(kind string, rest []string) (string, bool) {
	place := "1"
	for i, token := range rest {
		side := b.words["side"][token]
		if slices.Contains(places(), token) {
			side = token
		}
		if slices.Contains(places(), side) {
			place = side
			rest = slices.Delete(slices.Clone(rest), i, i+1)
			break
		}
	}
	if len(rest) == 0 || len(rest) == 1 && rest[0] == "type" {
		return kind + "." + place + ".model", true
	}
	name, ok := b.byHeading[strings.Join(rest, " ")]
	what, isComponent := strings.CutPrefix(name, "component.")
	if name == "leaf_height_m" { // "height" alone: of a component it is where it is mounted
		what, isComponent = "height", true
	}
	if !ok || !isComponent || what == "kind" || what == "side" {
		return "", false
	}
	return kind + "." + place + "." + what, true
}

// Key is a name as it is compared: what differs in case, accents or punctuation alone is the same.
func Key(text string) string { return plain(text) }

// Word finds what a text means in the vocabulary of a kind, such as party_role.
func Word(kind, text string) (word string, ok bool) {
	word, ok = theColumns().words[kind][plain(text)]
	return word, ok
}

// Otherwise is what a new thing gets in a field of which its list says nothing, "" where it stays unknown.
func Otherwise(field string) string {
	f, _ := theColumns().field(field)
	return f.Otherwise
}
