package sheet_test

import (
	"bytes"
	"encoding/binary"
	"errors"
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"
	"unicode/utf16"

	"github.com/xuri/excelize/v2"
	"golang.org/x/text/encoding/charmap"

	"lintel.example/lintel/internal/sheet"
)

func read(t testing.TB, data []byte, m sheet.Mapping) sheet.List {
	t.Helper()
	l, err := sheet.Read(data, m)
	if err != nil {
		t.Fatalf("%v %v", err, err.(*sheet.Error).Args)
	}
	return l
}

// says gives what a row says, field=value, in order.
func says(r sheet.Row) string {
	var parts []string
	for name, v := range r.Values {
		switch {
		case v.Text != "":
			parts = append(parts, name+"="+v.Text)
		case !v.Date.IsZero():
			parts = append(parts, name+"="+v.Date.String())
		default:
			parts = append(parts, fmt.Sprintf("%s=%.4g", name, v.Number))
		}
	}
	slices.Sort(parts)
	return strings.Join(parts, " ")
}

func complaints(l sheet.List) string {
	var lines []string
	for _, c := range l.Complaints {
		lines = append(lines, fmt.Sprintf("%d %s %q %s", c.Row, c.Heading, c.Value, c.Code))
	}
	return strings.Join(lines, "\n")
}

func wantText(t testing.TB, got, want string) {
	t.Helper()
	if got != want {
		t.Errorf("got\n%s\nwant\n%s", got, want)
	}
}

func utf16Of(text string, order binary.ByteOrder, mark bool) []byte {
	if mark {
		text = "\ufeff" + text
	}
	var b bytes.Buffer
	for _, u := range utf16.Encode([]rune(text)) {
		_ = binary.Write(&b, order, u)
	}
	return b.Bytes()
}

const plainList = "Site,Door,Width (mm)\nCafé Zwölf,Main,900\n"

func TestAListReadsTheSameInEveryEncodingAndDialect(t *testing.T) {
	w1252, err := charmap.Windows1252.NewEncoder().Bytes([]byte(plainList))
	if err != nil {
		t.Fatal(err)
	}
	for name, data := range map[string][]byte{
		"UTF-8":           []byte(plainList),
		"UTF-8 with mark": []byte("\ufeff" + plainList),
		"UTF-16 LE":       utf16Of(plainList, binary.LittleEndian, true),
		"UTF-16 BE":       utf16Of(plainList, binary.BigEndian, true),
		"UTF-16 LE bare":  utf16Of(plainList, binary.LittleEndian, false),
		"UTF-16 BE bare":  utf16Of(plainList, binary.BigEndian, false),
		"Windows-1252":    w1252,
		"semicolons":      []byte(strings.ReplaceAll(plainList, ",", ";")),
		"tabs":            []byte(strings.ReplaceAll(plainList, ",", "\t")),
		"CR":              []byte(strings.ReplaceAll(plainList, "\n", "\r")),
		"CRLF":            []byte(strings.ReplaceAll(plainList, "\n", "\r\n")),
		"sep=":            []byte("sep=;\r\n" + strings.ReplaceAll(plainList, ",", ";")),
		"no end of line":  []byte(strings.TrimSpace(plainList)),
		"quoted":          []byte("\"Site\",\"Door\",\"Width (mm)\"\n\"Café Zwölf\",\"Main\",\"900\"\n"),
	} {
		t.Run(name, func(t *testing.T) {
			l := read(t, data, sheet.Mapping{Columns: map[string]sheet.Column{"Width (mm)": {Field: "clear_width_m", Unit: "mm"}}})
			if len(l.Rows) != 1 || len(l.Complaints) > 0 {
				t.Fatalf("%d rows, %s", len(l.Rows), complaints(l))
			}
			wantText(t, says(l.Rows[0]), "clear_width_m=0.9 door=Main site=Café Zwölf")
		})
	}
}

func TestQuotedCellsMayHoldEverything(t *testing.T) {
	l := read(t, []byte("Site;Door;Leaf height;Note\n\"Mill; North\";\"Door \"\"A\"\"\";\"7'-0\"\"\";\"two\r\nlines\"\nMill;B;7'-0\";x\n"), sheet.Mapping{})
	if len(l.Rows) != 2 || len(l.Complaints) > 0 {
		t.Fatalf("%d rows, %s", len(l.Rows), complaints(l))
	}
	wantText(t, says(l.Rows[0]), "door=Door \"A\" leaf_height_m=2.134 note=two\r\nlines site=Mill; North")
	wantText(t, says(l.Rows[1]), `door=B leaf_height_m=2.134 note=x site=Mill`)
	if l.Rows[1].Number != 3 {
		t.Errorf("the row below a cell of two lines is number %d", l.Rows[1].Number)
	}
}

func TestWhatIsNoRowOfTheListIsLeftOutAndNoted(t *testing.T) {
	l := read(t, []byte(`Doors of the Quay estate,,,
printed 03/04/2025,,,

Site,Door,Leaf width,Serial no
Quay,1,900 mm,S1
,,,
Site,Door,Leaf width,Serial no
Quay,2,36 in,S2
Total,,2,
Grand Total,2,,
Summe,,,2 Türen
"Gesamt: 2 Türen",,,
,,,
end of list,,,
`), sheet.Mapping{})
	var notes []string
	for _, n := range l.Notes {
		notes = append(notes, fmt.Sprint(n.Row, " ", n.Code))
	}
	wantText(t, strings.Join(notes, "\n"), "7 repeated_headings\n9 total\n10 total\n11 total\n12 total\n14 remark_below")
	if l.HeadingRow != 4 || len(l.Rows) != 2 || l.Rows[1].Number != 8 || len(l.Complaints) > 0 {
		t.Errorf("headings in row %d, %d rows, %s", l.HeadingRow, len(l.Rows), complaints(l))
	}
}

func TestASiteThatIsCalledTotalIsNoTotal(t *testing.T) {
	l := read(t, []byte("Site,Door,Leaf width\nTotal Fitness,1,900 mm\nTotal,Main,900 mm\nTotal,Two Doors,900 mm\n"), sheet.Mapping{})
	if len(l.Rows) != 3 {
		t.Errorf("%d rows", len(l.Rows))
	}
}

func TestEveryBadCellIsNamed(t *testing.T) {
	l := read(t, []byte(`Site,Door,Door type,Leaf height,Leaf weight,Opening time,Last inspection,Leaves,Serial no,Fire rated
Quay,1,wobbly,2130,80,3,03/04/2025,nine,1.23E+11,maybe
Quay,2,sliding,2.13 furlongs,80 stone,soon,03/04/25,0,S2,yes
Quay,3,sliding,7'-13",80 kg,3 s,31/02/2025,2,S3,no
Quay,4,sliding,"2,130 mm",80 kg,3 s,April 2025,2,S3,no
Quay,5,sliding,#REF!,80 kg,3 s,45750,2,S3,no
`), sheet.Mapping{})
	wantText(t, complaints(l), `2 Door type "wobbly" word_unknown
2 Leaf height "2130" length_no_unit
2 Leaf weight "80" amount_no_unit
2 Opening time "3" amount_no_unit
2 Last inspection "03/04/2025" date_ambiguous
2 Leaves "nine" not_a_count
2 Serial no "1.23E+11" number_shortened
2 Fire rated "maybe" word_unknown
3 Leaf height "2.13 furlongs" length_unknown_unit
3 Leaf weight "80 stone" amount_unknown_unit
3 Opening time "soon" amount_no_number
3 Last inspection "03/04/25" two_digit_year
3 Leaves "0" not_a_count
4 Leaf height "7'-13\"" length_inches_not_under_12
4 Last inspection "31/02/2025" not_in_the_calendar
5 Leaf height "2,130 mm" length_ambiguous_thousands
5 Last inspection "April 2025" date_without_day
6 Leaf height "#REF!" formula_failed
6 Last inspection "45750" date_is_number`)
	for _, r := range l.Rows {
		if !r.Bad {
			t.Errorf("row %d is not bad", r.Number)
		}
	}
}

func TestADateInFiguresNeedsAnOrder(t *testing.T) {
	for _, c := range []struct {
		text  string
		order sheet.DateOrder
		want  string
	}{
		{"03/04/2025", sheet.DayFirst, "2025-04-03"}, {"03/04/2025", sheet.MonthFirst, "2025-03-04"}, {"03.04.2025", sheet.DayFirst, "2025-04-03"},
		{"03/04/2025", "", "date_ambiguous"}, {"03/04/2025", sheet.YearFirst, "date_ambiguous"},
		{"25/04/2025", "", "2025-04-25"}, {"04/25/2025", "", "2025-04-25"}, {"04/04/2025", "", "2025-04-04"},
		{"25/04/2025", sheet.MonthFirst, "date_in_other_order"}, {"04/25/2025", sheet.DayFirst, "date_in_other_order"},
		{"2025-04-03", "", "2025-04-03"}, {"2025/4/3", sheet.MonthFirst, "2025-04-03"}, {"2025-04-03 00:00:00", "", "2025-04-03"}, {"2025-04-03T10:00:00Z", "", "2025-04-03"},
		{"3 Apr 2025", "", "2025-04-03"}, {"3-Apr-2025", sheet.MonthFirst, "2025-04-03"}, {"April 3, 2025", "", "2025-04-03"}, {"3rd April 2025", "", "2025-04-03"},
		{"3. März 2025", "", "2025-03-03"}, {"Thu 3 April 2025", "", "2025-04-03"}, {"03/04/2025 10:30 AM", sheet.DayFirst, "2025-04-03"},
		{"03-Apr-25", "", "two_digit_year"}, {"03/04/25", sheet.DayFirst, "two_digit_year"}, {"29 Feb 2025", "", "not_in_the_calendar"}, {"3 Foo 2025", "", "not_a_date"},
		{"yesterday", "", "not_a_date"}, {"03/04/1025", sheet.DayFirst, "year_out_of_range"}, {"2025", "", "date_without_day"}, {"04/2025", "", "date_without_day"},
	} {
		l := read(t, []byte("Site;Door;Last inspection\nQuay;1;"+c.text+"\n"), sheet.Mapping{Dates: c.order})
		got := l.Rows[0].Values["last_inspection"].Date.String()
		if len(l.Complaints) > 0 {
			got = l.Complaints[0].Code
		}
		if got != c.want {
			t.Errorf("%q %s: %s, want %s", c.text, c.order, got, c.want)
		}
	}
}

func TestHeadingsAreKnownHoweverTheyAreSpelled(t *testing.T) {
	for heading, want := range map[string]string{
		"SITE NAME": "site", "Site-Name:": "site", " building ": "site", "Straße": "address", "Tür": "door", "Tuer": "door", "Door #": "door", "Door No.": "door", "door nr": "door",
		"Type of door": "kind", "Clear opening width (mm)": "clear_width_m mm", "Height [in]": "leaf_height_m in", "Leaf height in cm": "leaf_height_m cm", "Leaf weight, lbs": "leaf_mass_kg lb",
		"Opening time (sec)": "opening_time_s s", "Last inspection (dd/mm/yyyy)": "last_inspection day-first", "Last inspection MM-DD-YYYY": "last_inspection month-first",
		"Due date [YYYY-MM-DD]": "next_due year-first", "E-Mail": "party_email", "Sensor model": "sensor.1.model", "Outside sensor model": "sensor.a.model",
		"Sensor inside mount height (m)": "sensor.b.height m", "Sensor 2 serial no.": "sensor.2.serial", "Radar outside height mm": "sensor.a.height mm", "Operator": "operator.1.model",
		"Operator S/N": "operator.1.serial", "Control unit make": "control.1.maker", "Battery warranty until": "battery.1.warranty", "S/N": "component.serial", "Mounting height": "component.height",
		"colour": "", "Width": "", "Operator colour": "", "Width (furlongs)": "",
	} {
		l := read(t, []byte("Customer\tCity\tTime zone\t"+heading+"\nx\ty\tz\t\n"), sheet.Mapping{})
		c := l.Columns[3]
		if got := strings.TrimSpace(strings.Join(strings.Fields(c.Field+" "+c.Unit+" "+string(c.Dates)), " ")); got != want {
			t.Errorf("%q is taken for %q, want %q", heading, got, want)
		}
	}
}

func TestAMappingSaysWhatHeadingsDoNot(t *testing.T) {
	m, err := sheet.ParseMapping([]byte(`
dates: day-first
lengths: mm
columns:
  B: {field: clear_width_m, unit: cm}
  Obj: site
  Bauart: kind
  Junk: ignore
for_all: {country: germany, energy: low}
as_above: [site]
words:
  kind: {ST: sliding}
derive:
  - {field: time_zone, from: city, words: {Bonn: Europe/Berlin}}
`))
	if err != nil {
		t.Fatal(err)
	}
	const list = "Obj;Tür;Bauart;B;Leaf height;City;Letzte Wartung;Junk;Energy\nHaus;1;ST;90;2100;Bonn;03.04.2025;site;\n;2;ditto;95;2,1 m;Köln;;x;full\n"
	l := read(t, []byte(list), m)
	if len(l.Complaints) > 0 {
		t.Fatal(complaints(l))
	}
	wantText(t, says(l.Rows[0]), "city=Bonn clear_width_m=0.9 country=DE door=1 energy=low kind=sliding last_inspection=2025-04-03 leaf_height_m=2.1 site=Haus time_zone=Europe/Berlin")
	wantText(t, says(l.Rows[1]), "city=Köln clear_width_m=0.95 country=DE door=2 energy=full kind=sliding leaf_height_m=2.1 site=Haus")

	text, err := l.Mapping.Text()
	if err != nil {
		t.Fatal(err)
	}
	kept, err := sheet.ParseMapping(text)
	if err != nil {
		t.Fatalf("%v in\n%s", err, text)
	}
	again := read(t, []byte(list), kept)
	for i := range l.Rows {
		wantText(t, says(again.Rows[i]), says(l.Rows[i]))
	}
}

func TestAMappingThatCannotBeIsRefusedByName(t *testing.T) {
	for text, want := range map[string]string{
		"columns: {X: sit}": `there is no field "sit"`, "dates: sometimes": "dates", "lengths: yd": "lengths", "colums: {}": "colums", "for_all: {x: y}": `no field "x"`,
		"as_above: [x]": `no field "x"`, "words: {x: {a: b}}": `no field "x"`, "columns: {X: {field: site, unit: mm}}": "no unit", "derive: [{field: x, from: site}]": `no field "x"`,
		"a: b\n---\nc: d": "mapping", "columns: {X: sensor.c.model}": "no field",
	} {
		if _, err := sheet.ParseMapping([]byte(text)); err == nil || !strings.Contains(err.Error(), want) || strings.Contains(err.Error(), "\n") {
			t.Errorf("%s: %v, want one line with %q", text, err, want)
		}
	}
}

func TestAFileThatIsNoListIsRefusedWithAReason(t *testing.T) {
	two := []byte("Site,Door\nQuay,1\n")
	for name, c := range map[string]struct {
		data []byte
		m    sheet.Mapping
		want string
	}{
		"empty":            {nil, sheet.Mapping{}, "empty"},
		"blank":            {[]byte(" \r\n \n"), sheet.Mapping{}, "empty"},
		"prose":            {[]byte("Dear all,\nplease find attached\n"), sheet.Mapping{}, "no_headings"},
		"binary":           {[]byte("GIF89a\x00\x01\x02\x00\x00\x00abc"), sheet.Mapping{}, "not_text"},
		"old workbook":     {[]byte("\xD0\xCF\x11\xE0\xA1\xB1\x1A\xE1 and so on"), sheet.Mapping{}, "old_workbook"},
		"broken workbook":  {[]byte("PK\x03\x04 and so on"), sheet.Mapping{}, "workbook_unreadable"},
		"open quote":       {[]byte("Site,Door\n\"Quay,1\nQuay,2\n"), sheet.Mapping{}, "quote_open"},
		"two for one":      {[]byte("Site,Building,Door\na,b,c\n"), sheet.Mapping{}, "columns_twice"},
		"mapped, not here": {two, sheet.Mapping{Columns: map[string]sheet.Column{"Ort": {Field: "city"}}}, "mapped_heading_missing"},
		"for all":          {two, sheet.Mapping{ForAll: map[string]string{"energy": "huge"}}, "for_all_unreadable"},
		"too large":        {bytes.Repeat([]byte("x"), sheet.MostBytes+1), sheet.Mapping{}, "too_large"},
	} {
		_, err := sheet.Read(c.data, c.m)
		var e *sheet.Error
		if !errors.As(err, &e) || e.Code != c.want {
			t.Errorf("%s: %v, want %s", name, err, c.want)
		}
	}
}

// workbook makes an XLSX out of rows; a time.Time becomes a real date cell.
func workbook(t testing.TB, sheets map[string][][]any, change func(*excelize.File)) []byte {
	t.Helper()
	f := excelize.NewFile()
	for name, rows := range sheets {
		if _, err := f.NewSheet(name); err != nil {
			t.Fatal(err)
		}
		for i, row := range rows {
			at, _ := excelize.CoordinatesToCellName(1, i+1)
			if err := f.SetSheetRow(name, at, &row); err != nil {
				t.Fatal(err)
			}
		}
	}
	if change != nil {
		change(f)
	}
	if err := f.DeleteSheet("Sheet1"); err != nil {
		t.Fatal(err)
	}
	b, err := f.WriteToBuffer()
	if err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

func TestAWorkbookIsReadAsPeopleSeeIt(t *testing.T) {
	data := workbook(t, map[string][][]any{
		"Doors": {
			{"Our doors"},
			{},
			{"Site", "Door", "Door type", "Leaf height", "Height checked", "Last inspection", "Operator serial no", "Opening time (s)"},
			{"Quay", "1", "sliding", "2,13 m", "", time.Date(2025, 4, 3, 0, 0, 0, 0, time.UTC), 123456789012, 2.1},
			{nil, "2", "sliding", 2130, "", "03/04/2025", "0012", 3},
			{"Mill", "3", "sliding", time.Date(2025, 4, 3, 0, 0, 0, 0, time.UTC), "", 45750, "x", 3},
		},
		"Legend": {{"anything"}, {"else"}},
	}, func(f *excelize.File) {
		if err := f.MergeCell("Doors", "A4", "A5"); err != nil {
			t.Fatal(err)
		}
	})
	l := read(t, data, sheet.Mapping{})
	if l.Sheet != "Doors" || l.HeadingRow != 3 || len(l.Rows) != 3 {
		t.Fatalf("%+v", l)
	}
	wantText(t, says(l.Rows[0]), "door=1 kind=sliding last_inspection=2025-04-03 leaf_height_m=2.13 opening_time_s=2.1 operator.1.serial=123456789012 site=Quay")
	wantText(t, says(l.Rows[1]), "door=2 kind=sliding opening_time_s=3 operator.1.serial=0012 site=Quay")
	wantText(t, complaints(l), `5 Leaf height "2130" length_no_unit
5 Last inspection "03/04/2025" date_ambiguous
6 Leaf height "45750" is_a_date
6 Last inspection "45750" date_is_number`)
}

func TestAWorkbookWithTwoListsAsksWhich(t *testing.T) {
	rows := [][]any{{"Site", "Door"}, {"Quay", "1"}}
	data := workbook(t, map[string][][]any{"North": rows, "South": rows}, nil)
	_, err := sheet.Read(data, sheet.Mapping{})
	var e *sheet.Error
	if !errors.As(err, &e) || e.Code != "several_sheets" {
		t.Fatalf("%v", err)
	}
	if l := read(t, data, sheet.Mapping{Sheet: "South"}); l.Sheet != "South" || len(l.Rows) != 1 {
		t.Errorf("%+v", l)
	}
	if _, err := sheet.Read(data, sheet.Mapping{Sheet: "West"}); !errors.As(err, &e) || e.Code != "no_such_sheet" {
		t.Errorf("%v", err)
	}
}

func TestNamesThatDifferLittleAreNear(t *testing.T) {
	for _, c := range []struct {
		a, b string
		near bool
	}{
		{"Weir Gate Mall", "Weirgate Mall", true}, {"12 Quay Street", "12 Quay St.", true}, {"Harbour House", "Harbor House", true}, {"Mill Ltd", "The Mill", true},
		{"Quay", "quay", false}, {"Door 1", "Door 2", false}, {"12 Quay Street", "14 Quay Street", false}, {"Weir Gate Mall", "Harbour House", false}, {"", "x", false}, {"A", "B", false},
	} {
		if got := sheet.Near(c.a, c.b); got != c.near {
			t.Errorf("Near(%q, %q) = %v", c.a, c.b, got)
		}
	}
}
