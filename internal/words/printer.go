package words

import (
	"fmt"
	"maps"
	"slices"
	"strings"
	"time"

	"golang.org/x/text/feature/plural"
	"golang.org/x/text/language"
	"golang.org/x/text/message"
	"golang.org/x/text/number"
)

// text is a text in its plural forms; one without has formOther only.
type text map[plural.Form]pattern

// pattern is a text cut at its places.
type pattern []segment

// segment is either a literal or a place.
type segment struct{ literal, place string }

const (
	formOther  = plural.Other
	countPlace = "count" // the argument that chooses the plural form
)

func formNamed(name string) (plural.Form, bool) {
	form, ok := map[string]plural.Form{
		"zero": plural.Zero, "one": plural.One, "two": plural.Two, "few": plural.Few, "many": plural.Many, "other": plural.Other,
	}[name]
	return form, ok
}

func (t text) places() []string {
	names := map[string]bool{}
	for _, p := range t {
		for _, s := range p {
			if s.place != "" {
				names[s.place] = true
			}
		}
	}
	return slices.Sorted(maps.Keys(names))
}

// Printer writes for one reader. The zero Printer is not usable; Catalogue.Printer makes them, cheaply enough for one a
// request. Safe for concurrent use.
type Printer struct {
	texts    texts
	english  texts
	tag      language.Tag
	numbers  *message.Printer
	units    Units
	language string
}

// Printer makes a printer for a language, as a BCP 47 tag ("de", "en-US"), and units. A language that is not there, or is
// no language, falls back to the nearest one that is, in the end to English; units that are neither are metric.
func (c *Catalogue) Printer(lang string, units Units) Printer {
	wanted, err := language.Parse(lang)
	if err != nil {
		wanted = language.MustParse(fallback)
	}
	tag, index, _ := c.matcher.Match(wanted)
	if units != US {
		units = Metric
	}
	base, _ := tag.Base()
	return Printer{
		texts: c.languages[index], english: c.languages[0], tag: tag, numbers: message.NewPrinter(tag), units: units, language: base.String(),
	}
}

// Language is the language of the texts, for the lang attribute of a page.
func (p Printer) Language() string { return p.language }

// Units are what physical values are written in.
func (p Printer) Units() Units { return p.units }

// T gives the text of a key. args are pairs of a place's name and its value: a string stands as it is, a number and
// a date (anything with Date() (year, month, day), such as a civil date or a time.Time) are written in the language's
// way. A text with plural forms needs a whole number named "count". A missing key gives ⟦key⟧, a place without a value
// ⟦name⟧; a value without a place is left out.
func (p Printer) T(key string, args ...any) string {
	t, ok := p.texts[key]
	if !ok {
		if t, ok = p.english[key]; !ok {
			return "⟦" + key + "⟧"
		}
	}
	var out strings.Builder
	for _, s := range t.form(p.tag, args) {
		out.WriteString(s.literal)
		if s.place == "" {
			continue
		}
		if value, given := argument(args, s.place); given {
			out.WriteString(p.write(value))
		} else {
			out.WriteString("⟦" + s.place + "⟧")
		}
	}
	return out.String()
}

// Enum gives the word for a value of an enumeration of the vocabulary: Enum("door_kind", "sliding").
func (p Printer) Enum(enumeration, value string) string {
	return p.T("enum." + enumeration + "." + value)
}

// Mail gives subject and text of a notice of a kind: work_order_due, work_order_overdue, unsafe_door.
func (p Printer) Mail(kind string, args ...any) (subject, text string) {
	return p.T("mail."+kind+".subject", args...), p.T("mail."+kind+".text", args...)
}

// Date writes a civil date with the month in letters, because 3/4 is two dates. The zero date gives "".
func (p Printer) Date(year int, month time.Month, day int) string {
	if year == 0 && month == 0 && day == 0 {
		return ""
	}
	return p.T("date.form", "day", fmt.Sprint(day), "month", p.T(fmt.Sprintf("month.%d", month)), "year", fmt.Sprint(year))
}

// form chooses the plural form.
func (t text) form(tag language.Tag, args []any) pattern {
	if len(t) == 1 {
		return t[formOther]
	}
	count, _ := argument(args, countPlace)
	if n, whole := wholeNumber(count); whole {
		if p, ok := t[plural.Cardinal.MatchPlural(tag, n, 0, 0, 0, 0)]; ok {
			return p
		}
	}
	return t[formOther]
}

// wholeNumber gives the absolute value, which is what the plural rules look at.
func wholeNumber(value any) (n int, ok bool) {
	switch v := value.(type) {
	case int:
		n = v
	case int32:
		n = int(v)
	case int64:
		n = int(v)
	default:
		return 0, false
	}
	if n < 0 {
		n = -n
	}
	return n, n >= 0 // the least int has no positive
}

func argument(args []any, name string) (value any, given bool) {
	for i := 0; i+1 < len(args); i += 2 {
		if args[i] == name {
			return args[i+1], true
		}
	}
	return nil, false
}

const mostDecimals = 6 // of a bare number in a text; a physical value comes with decimals of its own, from Quantity

func (p Printer) write(value any) string {
	switch v := value.(type) {
	case string:
		return v
	case interface {
		Date() (int, time.Month, int)
	}:
		return p.Date(v.Date())
	case int, int8, int16, int32, int64, uint, uint8, uint16, uint32, uint64, float32, float64:
		return p.numbers.Sprint(number.Decimal(v, number.MaxFractionDigits(mostDecimals)))
	}
	return fmt.Sprint(value)
}
