package sheet

import (
	"maps"
	"regexp"
	"slices"
	"strconv"
	"strings"
)

// List is what a file says, row by row.
type List struct {
	Format     string // csv or xlsx
	Encoding   string // of CSV
	Separator  string // of CSV
	Sheet      string // of XLSX
	HeadingRow int
	Columns    []Taken
	Rows       []Row
	Complaints []Complaint
	Notes      []Note
	Mapping    Mapping // what was said and what was found: given again, it reads the same
}

// Taken is a column and what it was taken for; Field is "" where nobody knows, and "ignore" where nobody wants it.
type Taken struct {
	Letter  string // as spreadsheets name it
	Heading string
	Field   string
	Unit    string
	Dates   DateOrder
	Said    bool // by the mapping, not by the heading alone
}

// Row is one row of the list, with what of it could be read.
type Row struct {
	Number int // as spreadsheets count
	Bad    bool
	Values map[string]Value // by field; what is not there is not said
}

// Complaint is one cell that cannot be read, or a row that is not one. Code is stable and the last part of the keys
// "import.wrong.<code>" and "import.do.<code>".
type Complaint struct {
	Row     int
	Heading string // "" for the whole row
	Value   string // what stands there
	Code    string
	Args    []any // name, value pairs for the texts
}

// Note is a row that was left out without harm: a repeated heading, a total, a remark below the list.
type Note struct {
	Row   int
	Code  string // the last part of the key "import.note.<code>"
	Value string // the first thing that stands there
}

// leastHeadings is how many columns a row must be able to name to be a row of headings.
const leastHeadings = 2

// lastHeadingRow is how far down the row of headings is looked for.
const lastHeadingRow = 60

// Read reads a file. The error is an *Error where it is no list at all; every cell that cannot be read is a complaint.
func Read(data []byte, m Mapping) (List, error) {
	book := theColumns()
	g, err := gridOf(data, m, book)
	if err != nil {
		return List{}, err
	}
	heading, known := headingRow(g, m, book)
	if known < leastHeadings {
		return List{}, &Error{"no_headings", []any{"fewest", leastHeadings}}
	}
	l := List{Format: g.format, Encoding: g.encoding, Sheet: g.sheet, HeadingRow: heading + 1, Mapping: m}
	if g.separator != 0 {
		l.Separator = string(g.separator)
	}
	if l.Columns, err = takeColumns(g.rows[heading], m, book); err != nil {
		return List{}, err
	}
	l.rememberColumns(m)
	r, err := newRowReader(l.Columns, m, book)
	if err != nil {
		return List{}, err
	}
	l.readRows(g, heading, r)
	return l, nil
}

func gridOf(data []byte, m Mapping, book *columnBook) (grid, error) {
	switch {
	case len(data) > MostBytes:
		return grid{}, &Error{"too_large", []any{"most", MostBytes >> 20}}
	case len(strings.TrimSpace(string(data[:min(len(data), 1000)]))) == 0:
		return grid{}, &Error{Code: "empty"}
	case isOldXLS(data):
		return grid{}, &Error{Code: "old_workbook"}
	case isXLSX(data):
		return gridOfXLSX(data, m, book)
	}
	return gridOfCSV(data, m, book)
}

// headingRow finds the row of which most cells name a field, and how many do; -1 where no cell does.
func headingRow(g grid, m Mapping, book *columnBook) (row, known int) {
	row = -1
	for i := range min(len(g.rows), lastHeadingRow) {
		fields := map[string]bool{}
		for _, c := range g.rows[i] {
			if text := strings.TrimSpace(c.text); text != "" && len(text) <= 100 {
				if column, ok := m.column(text); ok {
					fields[column.Field+text] = true
				} else if column, ok := book.take(text); ok {
					fields[column.Field] = true
				}
			}
		}
		if len(fields) > known {
			row, known = i, len(fields)
		}
	}
	return row, known
}

// takeColumns says of each column what it is taken for, and refuses two for one field, and a mapping of a heading
// that is not there.
func takeColumns(headings []cell, m Mapping, book *columnBook) ([]Taken, error) {
	var columns []Taken
	byField, seen := map[string]string{}, map[string]bool{}
	for i, c := range headings {
		t := Taken{Letter: letter(i), Heading: strings.Join(strings.Fields(c.text), " ")}
		column, said := m.column(t.Heading)
		if !said && t.Heading != "" {
			column, _ = book.take(t.Heading)
		}
		t.Field, t.Unit, t.Dates, t.Said = column.Field, column.Unit, column.Dates, said
		seen[plain(t.Heading)] = true
		columns = append(columns, t)
		if t.Field == "" || t.Field == Ignore {
			continue
		}
		if other, twice := byField[t.Field]; twice {
			return nil, &Error{"columns_twice", []any{"field", t.Field, "one", other, "other", t.Heading}}
		}
		byField[t.Field] = t.Heading
	}
	for _, h := range slices.Sorted(maps.Keys(m.Columns)) {
		if !seen[plain(h)] && m.Columns[h].Field != Ignore {
			return nil, &Error{"mapped_heading_missing", []any{"heading", h}}
		}
	}
	return columns, nil
}

// letter names a column as spreadsheets do: A, Z, AA.
func letter(i int) string {
	if i < 26 {
		return string(rune('A' + i))
	}
	return letter(i/26-1) + letter(i%26)
}

// rememberColumns writes into the mapping what each column was taken for.
func (l *List) rememberColumns(m Mapping) {
	l.Mapping.Columns = map[string]Column{}
	maps.Copy(l.Mapping.Columns, m.Columns)
	for _, t := range l.Columns {
		if t.Field != "" && !t.Said {
			l.Mapping.Columns[t.Heading] = Column{t.Field, t.Unit, t.Dates}
		}
	}
	if l.Sheet != "" {
		l.Mapping.Sheet = l.Sheet
	}
}

// rowReader reads the rows below the headings.
type rowReader struct {
	columns []Taken
	read    map[string]reading // by field
	asAbove map[string]bool
	above   map[string]cell // by field: the last that said something
	forAll  map[string]Value
	derive  []Derivation
}

func newRowReader(columns []Taken, m Mapping, book *columnBook) (*rowReader, error) {
	r := &rowReader{columns: columns, read: map[string]reading{}, asAbove: map[string]bool{}, above: map[string]cell{}, forAll: map[string]Value{}, derive: m.Derive}
	reader := func(name, unit string, dates DateOrder) reading {
		f, _ := book.field(name)
		if unit == "" && f.Kind == kindLength {
			unit = m.Lengths
		}
		if dates == "" {
			dates = m.Dates
		}
		own := map[string]string{}
		for _, field := range []string{f.Name, wordsName(f.Name)} {
			for from, to := range m.Words[field] {
				own[plain(from)] = to
			}
		}
		return reading{field: f, unit: unit, dates: dates, own: own, book: book}
	}
	for _, t := range columns {
		if t.Field != "" && t.Field != Ignore {
			r.read[t.Field] = reader(t.Field, t.Unit, t.Dates)
		}
	}
	for _, name := range m.AsAbove {
		r.asAbove[name] = true
	}
	for _, d := range m.Derive {
		if _, ok := r.read[d.Field]; !ok {
			r.read[d.Field] = reader(d.Field, "", "")
		}
	}
	for _, name := range slices.Sorted(maps.Keys(m.ForAll)) {
		v, ok, why := reader(name, "", "").value(cell{text: m.ForAll[name]})
		if why != nil || !ok {
			return nil, &Error{"for_all_unreadable", []any{"field", name, "value", m.ForAll[name]}}
		}
		v.Heading, v.Stated = name, true
		r.forAll[name] = v
	}
	return r, nil
}

// wordsName lets the words for component.model serve for sensor.a.model too.
func wordsName(field string) string {
	if parts := strings.Split(field, "."); len(parts) == 3 {
		return "component." + parts[2]
	}
	return field
}

// readRows sorts what stands below the headings into rows of the list and what is none of it.
func (l *List) readRows(g grid, heading int, r *rowReader) {
	last := heading // the last row with more than a remark in it
	for i := heading + 1; i < len(g.rows); i++ {
		if filled(g.rows[i]) > 1 && !isTotal(g.rows[i]) {
			last = i
		}
	}
	for i := heading + 1; i < len(g.rows); i++ {
		row := g.rows[i]
		n, first := filled(row), firstText(row)
		switch {
		case n == 0:
		case sameTexts(row, g.rows[heading]):
			l.Notes = append(l.Notes, Note{i + 1, "repeated_headings", first})
		case isTotal(row):
			l.Notes = append(l.Notes, Note{i + 1, "total", first})
		case n == 1 && i > last && len(r.read) > 2:
			l.Notes = append(l.Notes, Note{i + 1, "remark_below", first})
		default:
			l.Rows = append(l.Rows, r.row(l, i+1, row))
		}
	}
}

func (r *rowReader) row(l *List, number int, cells []cell) Row {
	row := Row{Number: number, Values: map[string]Value{}}
	for i, t := range r.columns {
		read, wanted := r.read[t.Field]
		if !wanted {
			continue
		}
		var c cell
		if i < len(cells) {
			c = cells[i]
		}
		switch said := strings.TrimSpace(c.text); {
		case said == "" && r.asAbove[t.Field], isDitto(said):
			c = r.above[t.Field]
		case said != "":
			r.above[t.Field] = c
		}
		v, ok, why := read.value(c)
		if why != nil {
			row.Bad = true
			l.Complaints = append(l.Complaints, Complaint{number, t.Heading, short(v.Raw), why.code, why.args})
		}
		if ok {
			v.Heading = t.Heading
			row.Values[t.Field] = v
		}
	}
	for _, d := range r.derive {
		from, known := row.Values[d.From]
		if _, said := row.Values[d.Field]; said || !known {
			continue
		}
		for word, meaning := range d.Words {
			if plain(word) == plain(from.Raw) {
				if v, ok, _ := r.read[d.Field].value(cell{text: meaning}); ok {
					v.Heading, v.Stated = from.Heading, true
					row.Values[d.Field] = v
				}
			}
		}
	}
	for name, v := range r.forAll {
		if _, said := row.Values[name]; !said {
			row.Values[name] = v
		}
	}
	return row
}

// isDitto knows the ways of writing "the same as above".
func isDitto(text string) bool {
	return slices.Contains([]string{`"`, "''", "″", "”", "〃", "ditto", "do.", "dto", "dto.", "as above", "same as above"}, strings.ToLower(text))
}

var (
	total   = regexp.MustCompile(`^((grand|sub) ?)?(totals?|sum|summe|gesamt|gesamtsumme|anzahl|count)( (of )?(no of )?(doors|turen|tueren))?( [0-9]+( (doors?|tur|turen|tueren))?)?$`)
	counted = regexp.MustCompile(`^[0-9]+ (doors?|tur|turen|tueren|sites?|objekte?|stuck|pcs|pieces)$`)
)

// isTotal tells a line of sums: one cell says so, all others are numbers, or so many doors.
func isTotal(row []cell) bool {
	found := false
	for _, c := range row {
		switch text := plain(c.text); {
		case text == "":
		case total.MatchString(text):
			found = true
		case counted.MatchString(text):
		default:
			if _, err := strconv.ParseFloat(strings.ReplaceAll(strings.TrimSpace(c.text), ",", "."), 64); err != nil {
				return false
			}
		}
	}
	return found
}

func filled(row []cell) (n int) {
	for _, c := range row {
		if strings.TrimSpace(c.text) != "" {
			n++
		}
	}
	return n
}

func firstText(row []cell) string {
	for _, c := range row {
		if text := strings.TrimSpace(c.text); text != "" {
			return short(text)
		}
	}
	return ""
}

// sameTexts tells whether every cell that is filled stands in the headings too, at the same place.
func sameTexts(row, headings []cell) bool {
	for i, c := range row {
		if text := plain(c.text); text != "" && (i >= len(headings) || plain(headings[i].text) != text) {
			return false
		}
	}
	return filled(row) > 1
}

// short keeps what stands in a cell short enough for a table.
func short(text string) string {
	text = strings.Join(strings.Fields(text), " ")
	if r := []rune(text); len(r) > 60 {
		return string(r[:59]) + "…"
	}
	return text
}

// Part is a component that a row speaks of: what the row says of it, by the part of the field's name after the last dot.
type Part struct {
	Kind   string // "" where the row says a model or a serial, and not of what
	Place  string // a, b, or 1 to 4
	Values map[string]Value
}

// Parts gives the components of a row, in a steady order.
func (r Row) Parts() []Part {
	byName := map[string]*Part{}
	for _, name := range slices.Sorted(maps.Keys(r.Values)) {
		parts := strings.Split(name, ".")
		what := parts[len(parts)-1]
		switch {
		case len(parts) == 3:
			key := parts[0] + "." + parts[1]
			if byName[key] == nil {
				byName[key] = &Part{Kind: parts[0], Place: parts[1], Values: map[string]Value{}}
			}
			byName[key].Values[what] = r.Values[name]
		case len(parts) == 2:
			if byName["component"] == nil {
				byName["component"] = &Part{Kind: r.Values["component.kind"].Text, Place: "1", Values: map[string]Value{}}
			}
			byName["component"].Values[what] = r.Values[name]
		}
	}
	var list []Part
	for _, key := range slices.Sorted(maps.Keys(byName)) {
		list = append(list, *byName[key])
	}
	return list
}
