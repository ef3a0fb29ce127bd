package sheet

import (
	"archive/zip"
	"bytes"
	"regexp"
	"slices"
	"strconv"
	"strings"

	"github.com/xuri/excelize/v2"
)

// isXLSX tells a workbook by the beginning of a zip archive.
func isXLSX(data []byte) bool { return bytes.HasPrefix(data, []byte("PK\x03\x04")) }

// isOldXLS tells a workbook of before 2007, or one with a password: both are compound files.
func isOldXLS(data []byte) bool {
	return bytes.HasPrefix(data, []byte("\xD0\xCF\x11\xE0\xA1\xB1\x1A\xE1"))
}

// gridOfXLSX reads the sheet that the mapping names, else the one visible sheet that has a row of headings.
func gridOfXLSX(data []byte, m Mapping, book *columnBook) (g grid, err error) {
	defer func() { // the library is fed with whatever somebody sent
		if recover() != nil {
			g, err = grid{}, &Error{Code: "workbook_unreadable"}
		}
	}()
	if !unfoldsWithin(data, mostInXLSX) {
		return grid{}, &Error{Code: "workbook_too_large"}
	}
	f, err := excelize.OpenReader(bytes.NewReader(data), excelize.Options{UnzipSizeLimit: mostInXLSX, UnzipXMLSizeLimit: mostInXLSX, RawCellValue: true})
	if err != nil {
		return grid{}, &Error{Code: "workbook_unreadable"}
	}
	defer f.Close()
	var withHeadings []grid
	visible := []string{}
	for _, name := range f.GetSheetList() {
		if shown, err := f.GetSheetVisible(name); err != nil || !shown && name != m.Sheet {
			continue
		}
		visible = append(visible, name)
		if m.Sheet != "" && name != m.Sheet {
			continue
		}
		g, err := gridOfSheet(f, name)
		if err != nil {
			return grid{}, err
		}
		if _, known := headingRow(g, m, book); known >= leastHeadings || m.Sheet != "" {
			withHeadings = append(withHeadings, g)
		}
	}
	sheets := strings.Join(visible, ", ")
	switch {
	case len(withHeadings) == 1:
		return withHeadings[0], nil
	case len(withHeadings) > 1:
		return grid{}, &Error{"several_sheets", []any{"sheets", sheets}}
	case m.Sheet != "":
		return grid{}, &Error{"no_such_sheet", []any{"sheet", m.Sheet, "sheets", sheets}}
	}
	return grid{}, &Error{"no_headings", []any{"fewest", leastHeadings}}
}

// unfoldsWithin adds up what the parts of a zip archive say that they unfold to.
func unfoldsWithin(data []byte, most uint64) bool {
	r, err := zip.NewReader(bytes.NewReader(data), int64(len(data)))
	if err != nil {
		return true // not ours to say: the reader refuses it
	}
	var sum uint64
	for _, file := range r.File {
		if sum += file.UncompressedSize64; sum > most || file.UncompressedSize64 > most {
			return false
		}
	}
	return true
}

func gridOfSheet(f *excelize.File, name string) (grid, error) {
	g := grid{format: "xlsx", sheet: name}
	rows, err := f.Rows(name)
	if err != nil {
		return g, &Error{Code: "workbook_unreadable"}
	}
	defer rows.Close()
	dates := newDateCells(f, name)
	for n := 1; rows.Next(); n++ {
		texts, err := rows.Columns(excelize.Options{RawCellValue: true})
		if err != nil {
			return g, &Error{Code: "workbook_unreadable"}
		}
		if n > mostRows {
			return g, &Error{"too_many_rows", []any{"most", mostRows}}
		}
		for len(texts) > 0 && texts[len(texts)-1] == "" { // formatted, but empty
			texts = texts[:len(texts)-1]
		}
		if len(texts) > mostColumns {
			return g, &Error{"too_many_columns", []any{"most", mostColumns, "row", n}}
		}
		row := make([]cell, len(texts))
		for i, text := range texts {
			row[i] = dates.cell(text, i+1, n)
		}
		g.rows = append(g.rows, row)
	}
	g.unfoldMerged(f)
	return g, nil
}

// unfoldMerged writes the value of a cell that reaches over several rows into each of them. Over several columns it
// belongs to the first alone: a title, not a value of each.
func (g *grid) unfoldMerged(f *excelize.File) {
	merged, err := f.GetMergeCells(g.sheet)
	if err != nil {
		return
	}
	for _, m := range merged {
		column, from, err1 := excelize.CellNameToCoordinates(m.GetStartAxis())
		_, to, err2 := excelize.CellNameToCoordinates(m.GetEndAxis())
		if err1 != nil || err2 != nil || from > len(g.rows) {
			continue
		}
		value := g.at(from-1, column-1)
		for row := from; row < min(to, len(g.rows)); row++ {
			for len(g.rows[row]) < column {
				g.rows[row] = append(g.rows[row], cell{})
			}
			g.rows[row][column-1] = value
		}
	}
}

// dateCells tells real dates from other numbers: both are numbers in the file, and only the format of the cell differs.
type dateCells struct {
	f      *excelize.File
	sheet  string
	is1904 bool
	styles map[int]bool // style → it shows a date
}

func newDateCells(f *excelize.File, sheet string) *dateCells {
	d := &dateCells{f: f, sheet: sheet, styles: map[int]bool{}}
	if props, err := f.GetWorkbookProps(); err == nil && props.Date1904 != nil {
		d.is1904 = *props.Date1904
	}
	return d
}

func (d *dateCells) cell(text string, column, row int) cell {
	c := cell{text: text}
	value, err := strconv.ParseFloat(text, 64)
	if err != nil {
		return c
	}
	name, err := excelize.CoordinatesToCellName(column, row)
	if err != nil {
		return c
	}
	if plain := plainNumber(value); plain != text { // 007 may be a text, and then it stays 007
		if kind, err := d.f.GetCellType(d.sheet, name); err != nil || kind != excelize.CellTypeNumber && kind != excelize.CellTypeUnset {
			return c
		}
		c.text = plain
	}
	if value < 1 || value > 2_958_465 { // 9999-12-31
		return c
	}
	style, err := d.f.GetCellStyle(d.sheet, name)
	if err != nil || !d.shows(style) {
		return c
	}
	if at, err := excelize.ExcelDateToTime(value, d.is1904); err == nil {
		c.day = Date{at.Year(), int(at.Month()), at.Day()}
	}
	return c
}

// plainNumber undoes what a workbook makes of numbers: 2.1299999999999999 is 2.13, 1.23E+11 is a serial number.
func plainNumber(value float64) string {
	if value == float64(int64(value)) && value < 1e15 && value > -1e15 {
		return strconv.FormatInt(int64(value), 10)
	}
	return strconv.FormatFloat(value, 'f', -1, 64)
}

func (d *dateCells) shows(style int) bool {
	is, known := d.styles[style]
	if !known {
		if s, err := d.f.GetStyle(style); err == nil {
			is = isDateFormat(s.NumFmt, s.CustomNumFmt)
		}
		d.styles[style] = is
	}
	return is
}

// notInFormats are the parts of a number format that are no letters of a date: quoted and escaped text, colours, locales.
var notInFormats = regexp.MustCompile(`"[^"]*"|\\.|\[[^\]]*\]|_.`)

// isDateFormat knows the built-in formats for dates (ECMA-376 part 1, 18.8.30: 14 to 17 and 22, from memory; 27 to 36 and 50
// to 58 are dates of East Asian locales) and finds a day, month or year in a custom one.
func isDateFormat(builtIn int, custom *string) bool {
	if custom != nil {
		plain := strings.ToLower(notInFormats.ReplaceAllString(*custom, ""))
		return strings.ContainsAny(plain, "dy")
	}
	return builtIn >= 14 && builtIn <= 17 || builtIn == 22 || builtIn >= 27 && builtIn <= 36 || slices.Contains([]int{50, 51, 52, 53, 54, 55, 56, 57, 58}, builtIn)
}
