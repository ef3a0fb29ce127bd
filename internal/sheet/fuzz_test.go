package sheet

import (
	"bytes"
	"errors"
	"strings"
	"testing"
	"unicode/utf8"

	"github.com/xuri/excelize/v2"
)

func FuzzRead(f *testing.F) {
	for _, seed := range []string{"Site,Door\nQuay,1\n", "\xff\xfeS\x00i\x00", "sep=;\nSite;Door\n\"a\nb\";7'-0\"\n", "PK\x03\x04", "Site\tDoor\r\rx\ty", "Site,Door,Last inspection\n\"\"\"\",1,3. M\xe4rz 2025\n"} {
		f.Add([]byte(seed))
	}
	w := excelize.NewFile()
	_ = w.SetSheetRow("Sheet1", "A1", &[]any{"Site", "Door"})
	_ = w.SetSheetRow("Sheet1", "A2", &[]any{"Quay", 1})
	if b, err := w.WriteToBuffer(); err == nil {
		f.Add(b.Bytes())
	}
	f.Fuzz(func(t *testing.T, data []byte) {
		l, err := Read(data, Mapping{})
		var e *Error
		if err != nil {
			if !errors.As(err, &e) {
				t.Fatalf("%v is no reason for people", err)
			}
			return
		}
		for _, r := range l.Rows {
			if r.Number <= l.HeadingRow {
				t.Fatalf("row %d stands above the headings in %d", r.Number, l.HeadingRow)
			}
		}
		again, err := Read(data, l.Mapping)
		if err != nil || len(again.Rows) != len(l.Rows) || len(again.Complaints) != len(l.Complaints) {
			t.Fatalf("with the mapping that it gave it reads otherwise: %v, %d and %d rows", err, len(l.Rows), len(again.Rows))
		}
	})
}

func FuzzReadCSV(f *testing.F) {
	f.Add("a,\"b\"\"c\",d\r\n\"x\ny\",z", ',')
	f.Add("7'-0\";\"", ';')
	f.Fuzz(func(t *testing.T, text string, separator rune) {
		if !utf8.ValidString(text) || separator == '"' || separator == '\n' || separator == '\r' {
			return
		}
		rows, err := readCSV(text, separator)
		if err != nil {
			return
		}
		var b strings.Builder
		for _, row := range rows {
			for i, c := range row {
				if i > 0 {
					b.WriteRune(separator)
				}
				b.WriteString(`"` + strings.ReplaceAll(c.text, `"`, `""`) + `"`)
			}
			b.WriteByte('\n')
		}
		again, err := readCSV(b.String(), separator)
		if err != nil && strings.Count(text, "\n")+strings.Count(text, "\r") <= longestQuote {
			t.Fatal(err)
		}
		if err == nil && len(again) != len(rows) {
			t.Fatalf("%d rows, written and read again %d", len(rows), len(again))
		}
	})
}

func FuzzParseDate(f *testing.F) {
	for _, seed := range []string{"03/04/2025", "2025-04-03", "3. März 2025", "April 3, 2025", "31.02.2025"} {
		f.Add(seed, "day-first")
	}
	f.Fuzz(func(t *testing.T, text, order string) {
		d, why := parseDate(text, DateOrder(order))
		if why != nil {
			return
		}
		if again, why := parseDate(d.String(), MonthFirst); why != nil || again != d {
			t.Fatalf("%q is %s, which reads as %s", text, d, again)
		}
	})
}

func FuzzParseMapping(f *testing.F) {
	f.Add([]byte("columns: {X: site}\nfor_all: {country: US}\n"))
	f.Fuzz(func(t *testing.T, text []byte) {
		m, err := ParseMapping(text)
		if err != nil {
			return
		}
		out, err := m.Text()
		if err != nil {
			t.Fatal(err)
		}
		again, err := ParseMapping(out)
		if err != nil {
			t.Fatalf("%v in its own text %q", err, out)
		}
		if second, _ := again.Text(); !bytes.Equal(out, second) {
			t.Fatalf("%q becomes %q", out, second)
		}
	})
}

// The two files hold what the code believes of them.
func TestEveryFieldHasAKindAndHeadingsOfItsOwn(t *testing.T) {
	book := theColumns()
	owner := map[string]string{}
	for _, field := range book.fields {
		switch field.Kind {
		case kindText, kindLength, kindMass, kindSeconds, kindDate, kindMonths:
		default:
			if len(book.words[field.Kind]) == 0 {
				t.Errorf("%s is of kind %s, which has no words", field.Name, field.Kind)
			}
		}
		for _, h := range field.Headings {
			if other, taken := owner[plain(h)]; taken && other != field.Name {
				t.Errorf("the heading %q stands for %s and %s", h, other, field.Name)
			}
			owner[plain(h)] = field.Name
		}
	}
}
