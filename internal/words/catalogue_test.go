package words

import (
	"strings"
	"testing"
	"testing/fstest"
	"time"
)

func filesOf(pairs ...string) fstest.MapFS {
	fsys := fstest.MapFS{}
	for i := 0; i < len(pairs); i += 2 {
		fsys[pairs[i]] = &fstest.MapFile{Data: []byte(pairs[i+1])}
	}
	return fsys
}

func mustLoad(t *testing.T, pairs ...string) *Catalogue {
	t.Helper()
	c, err := load(filesOf(pairs...))
	if err != nil {
		t.Fatal(err)
	}
	return c
}

func TestFaultyMessageFileIsRefusedWithItsPlace(t *testing.T) {
	for _, c := range []struct {
		name, want string
		files      []string
	}{
		{"twice in a file", "en/a.yaml: line 2: k.a stands in line 1 already", []string{"en/a.yaml", "k.a: x\nk.a: y\n"}},
		{"twice in two files", "en/b.yaml, line 1: k.a stands in a.yaml already", []string{"en/a.yaml", "k.a: x\n", "en/b.yaml", "k.a: y\n"}},
		{"not a map", "not a map", []string{"en/a.yaml", "- x\n"}},
		{"empty file", "EOF", []string{"en/a.yaml", ""}},
		{"two documents", "more than one document", []string{"en/a.yaml", "k.a: x\n---\nk.b: y\n"}},
		{"no YAML", "en/a.yaml", []string{"en/a.yaml", "k: [\n"}},
		{"key with a space", `"k a" is no key`, []string{"en/a.yaml", "k a: x\n"}},
		{"key with an empty part", `"k..a" is no key`, []string{"en/a.yaml", "k..a: x\n"}},
		{"a truth value", `k.a: "yes" is not a text`, []string{"en/a.yaml", "k.a: !!bool yes\n"}},
		{"a number", `k.a: "7" is not a text`, []string{"en/a.yaml", "k.a: 7\n"}},
		{"nothing", `k.a: "" is not a text`, []string{"en/a.yaml", "k.a:\n"}},
		{"blank", "the text is empty", []string{"en/a.yaml", "k.a: ' '\n"}},
		{"a list", "k.a: neither a text nor", []string{"en/a.yaml", "k.a: [x]\n"}},
		{"open brace", "a brace that makes no place", []string{"en/a.yaml", "k.a: 'x {name'\n"}},
		{"closing brace", "a brace that makes no place", []string{"en/a.yaml", "k.a: 'x } y'\n"}},
		{"capital in a place", "a brace that makes no place", []string{"en/a.yaml", "k.a: '{Name}'\n"}},
		{"empty place", "a brace that makes no place", []string{"en/a.yaml", "k.a: '{}'\n"}},
		{"no plural form", `"several" is no plural form`, []string{"en/a.yaml", "k.a: {other: x, several: y}\n"}},
		{"plural without other", "the plural form other is missing", []string{"en/a.yaml", "k.a: {one: x}\n"}},
		{"plural form twice", "stands twice", []string{"en/a.yaml", "k.a: {other: x, other: y}\n"}},
		{"no English", "no folder en", []string{"de/a.yaml", "k.a: x\n"}},
		{"no language", "folder words_of_ours is no language", []string{"en/a.yaml", "k.a: x\n", "words_of_ours/a.yaml", "k.a: x\n"}},
		{"stranger in a translation", "de: no English text has the key k.b", []string{"en/a.yaml", "k.a: x\n", "de/a.yaml", "k.b: y\n"}},
		{"strange place in a translation", "de: k.a has a place {tag}", []string{"en/a.yaml", "k.a: x\n", "de/a.yaml", "k.a: '{tag}'\n"}},
	} {
		got, err := load(filesOf(c.files...))
		if err == nil || got != nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%s: %v; want %q", c.name, err, c.want)
		}
	}
}

func TestPlacesAreFilledOnceAndMissingThingsAreSeen(t *testing.T) {
	p := mustLoad(t, "en/a.yaml", "k.a: '{x} and {y} and {x}'\nk.b: plain\n").Printer("en", Metric)
	for _, c := range []struct {
		key  string
		args []any
		want string
	}{
		{"k.a", []any{"x", "1", "y", "2"}, "1 and 2 and 1"},
		{"k.a", []any{"x", "{y}", "y", "2"}, "{y} and 2 and {y}"}, // a value is never read as a text
		{"k.a", []any{"x", "1"}, "1 and ⟦y⟧ and 1"},
		{"k.a", []any{"x", "1", "y"}, "1 and ⟦y⟧ and 1"},
		{"k.a", nil, "⟦x⟧ and ⟦y⟧ and ⟦x⟧"},
		{"k.b", []any{"x", "1"}, "plain"},
		{"k.c", nil, "⟦k.c⟧"},
	} {
		if got := p.T(c.key, c.args...); got != c.want {
			t.Errorf("T(%s, %v) = %q, want %q", c.key, c.args, got, c.want)
		}
	}
}

type civilDay struct{}

func (civilDay) Date() (int, time.Month, int) { return 2027, time.March, 14 }

func TestValuesAreWrittenForTheReader(t *testing.T) {
	c := mustLoad(t, "en/a.yaml", "k: '{x}'\ndate.form: '{day} {month} {year}'\nmonth.3: March\n",
		"de/a.yaml", "date.form: '{day}. {month} {year}'\nmonth.3: März\n")
	for _, x := range []struct {
		value  any
		en, de string
	}{
		{"as it is", "as it is", "as it is"},
		{1234567, "1,234,567", "1.234.567"},
		{int64(-12), "-12", "-12"},
		{1234.5, "1,234.5", "1.234,5"},
		{0.000125, "0.000125", "0,000125"},
		{30.0, "30", "30"},
		{civilDay{}, "14 March 2027", "14. März 2027"},
		{time.Date(2027, 3, 14, 23, 59, 0, 0, time.UTC), "14 March 2027", "14. März 2027"},
		{Units("us"), "us", "us"},
		{true, "true", "true"},
		{nil, "<nil>", "<nil>"},
	} {
		if got := c.Printer("en", Metric).T("k", "x", x.value); got != x.en {
			t.Errorf("%v in English: %q, want %q", x.value, got, x.en)
		}
		if got := c.Printer("de", Metric).T("k", "x", x.value); got != x.de {
			t.Errorf("%v in German: %q, want %q", x.value, got, x.de)
		}
	}
	if got := c.Printer("en", Metric).Date(0, 0, 0); got != "" {
		t.Errorf("no date is written %q", got)
	}
}

// Polish has four forms (Unicode CLDR plural rules): 1; 2-4, 22-24, …; 0, 5-21, 25-31, …; fractions.
func TestPluralFormFollowsTheLanguage(t *testing.T) {
	c := mustLoad(t, "en/a.yaml", "k: {one: one door, other: '{count} doors'}\n",
		"pl/a.yaml", "k: {one: jedne drzwi, few: '{count} pary drzwi', many: '{count} par drzwi', other: '{count} drzwi'}\n")
	for _, x := range []struct {
		count  any
		en, pl string
	}{
		{0, "0 doors", "0 par drzwi"}, {1, "one door", "jedne drzwi"}, {int64(1), "one door", "jedne drzwi"}, {-1, "one door", "jedne drzwi"},
		{2, "2 doors", "2 pary drzwi"}, {5, "5 doors", "5 par drzwi"}, {12, "12 doors", "12 par drzwi"}, {22, "22 doors", "22 pary drzwi"},
		{int64(10_000_001), "10,000,001 doors", "10 000 001 par drzwi"},
		{1.5, "1.5 doors", "1,5 drzwi"}, {"1", "1 doors", "1 drzwi"},
	} {
		if got := c.Printer("en", Metric).T("k", "count", x.count); got != x.en {
			t.Errorf("%v in English: %q, want %q", x.count, got, x.en)
		}
		if got := strings.ReplaceAll(c.Printer("pl", Metric).T("k", "count", x.count), "\u00a0", " "); got != x.pl {
			t.Errorf("%v in Polish: %q, want %q", x.count, got, x.pl)
		}
	}
	if got := c.Printer("en", Metric).T("k"); got != "⟦count⟧ doors" {
		t.Errorf("without a count: %q", got)
	}
}

func TestNearestLanguageIsChosenAndEnglishFillsTheGaps(t *testing.T) {
	c := mustLoad(t, "en/a.yaml", "k.a: color\nk.b: only English\n", "de/a.yaml", "k.a: Farbe\n")
	for lang, want := range map[string]string{
		"en": "color", "en-US": "color", "en-GB": "color", "de": "Farbe", "de-AT": "Farbe", "de_CH": "Farbe", "fr": "color", "": "color",
		"no language": "color", "\x00": "color",
	} {
		if got := c.Printer(lang, Metric).T("k.a"); got != want {
			t.Errorf("%q: %q, want %q", lang, got, want)
		}
	}
	german := c.Printer("de", US)
	if got := german.T("k.b"); got != "only English" {
		t.Errorf("gap: %q", got)
	}
	if german.Language() != "de" || german.Units() != US || c.Printer("de", "furlongs").Units() != Metric {
		t.Errorf("language %s, units %s", german.Language(), german.Units())
	}
	if !c.Has("k.b") || c.Has("k.c") {
		t.Error("Has is mistaken")
	}
}

func TestNoticeHasSubjectAndText(t *testing.T) {
	c, err := Load()
	if err != nil {
		t.Fatal(err)
	}
	p := c.Printer("en", Metric)
	args := []any{"tag", "1234 5672", "door", "main entrance", "site", "Harbour Library", "person", "Mara Lindgren", "company", "Lindgren Door Service",
		"company_contact", "+1 555 0100", "work", p.Enum("work_order_kind", "inspection"), "due_on", civilDay{}, "count", 12, "lines", "Harbour Library\n---------------\n- Door 1234 5672, main entrance: inspection due on 14 March 2027",
		"inspector", "Jonas Weil", "found_on", civilDay{}, "finding", "The leaf closes on people.", "secured", "Operator off, leaf free by hand.",
		"take_note", "", "ending", p.T("notice.no_decline")}
	for _, kind := range []string{"digest_due", "digest_overdue", "unsafe_door", "unsafe_again"} {
		subject, text := p.Mail(kind, args...)
		if strings.ContainsAny(subject, "\r\n⟦") || len(subject) > 78 {
			t.Errorf("%s: subject %q", kind, subject)
		}
		if strings.Contains(text, "⟦") {
			t.Errorf("%s: an empty place in\n%s", kind, text)
		}
		for _, want := range []string{"1234 5672", "main entrance", "Harbour Library", "14 March 2027", "What to do", "Caution", "Mara Lindgren", "cannot be unsubscribed", "prevail"} {
			if !strings.Contains(text, want) {
				t.Errorf("%s: %q is missing in\n%s", kind, want, text)
			}
		}
		for line := range strings.Lines(text) {
			if len(line) > 125 {
				t.Errorf("%s: a line of %d characters: %q", kind, len(line), line)
			}
		}
	}
}

func FuzzParseFile(f *testing.F) {
	for _, seed := range []string{"k.a: x\n", "k: {one: a, other: '{count}'}\n", "", "k: &a x\nl: *a\n", "? [a]\n: b\n", "k: {<<: {other: x}}\n", "\xff", "k: '{'"} {
		f.Add([]byte(seed))
	}
	f.Fuzz(func(t *testing.T, file []byte) {
		entries, err := parseFile(file)
		if err != nil {
			return
		}
		for _, e := range entries {
			if !validKey(e.key) || e.text[formOther] == nil {
				t.Fatalf("%q gave the entry %+v", file, e)
			}
		}
	})
}
