package sheet

import "strings"

// longestQuote is over how many lines a quoted cell may reach before it is taken to be a quote that nobody closed.
const longestQuote = 60

// readCSV cuts text into rows of cells. Any of CR, LF and CRLF ends a row, outside of quotes; a quote inside of a cell that
// does not begin with one stands for itself (7'-0"), and so does what follows a closing quote.
func readCSV(text string, separator rune) (rows [][]cell, err error) {
	var row []cell
	var b strings.Builder
	in := []rune(text)
	endCell := func() {
		row = append(row, cell{text: b.String()})
		b.Reset()
	}
	endRow := func() {
		endCell()
		rows = append(rows, row)
		row = nil
	}
	for i := 0; i < len(in); i++ {
		r := in[i]
		switch {
		case r == '"' && b.Len() == 0 && (i == 0 || in[i-1] == separator || in[i-1] == '\n' || in[i-1] == '\r'):
			end, ok := quoted(in, i+1, &b)
			if !ok {
				return nil, &Error{"quote_open", []any{"row", len(rows) + 1}}
			}
			i = end
		case r == separator:
			endCell()
		case r == '\n':
			endRow()
		case r == '\r':
			endRow()
			if i+1 < len(in) && in[i+1] == '\n' {
				i++
			}
		default:
			b.WriteRune(r)
		}
		if len(rows) > mostRows {
			return nil, &Error{"too_many_rows", []any{"most", mostRows}}
		}
		if len(row) > mostColumns {
			return nil, &Error{"too_many_columns", []any{"most", mostColumns, "row", len(rows) + 1}}
		}
	}
	if b.Len() > 0 || len(row) > 0 {
		endRow()
	}
	return rows, nil
}

// quoted writes what stands in quotes from i on and gives the place of the closing one; a doubled quote is one.
func quoted(in []rune, i int, b *strings.Builder) (end int, ok bool) {
	for lines := 0; i < len(in); i++ {
		switch {
		case in[i] == '"' && i+1 < len(in) && in[i+1] == '"':
			b.WriteRune('"')
			i++
		case in[i] == '"':
			return i, true
		default:
			if in[i] == '\n' || in[i] == '\r' && (i+1 == len(in) || in[i+1] != '\n') {
				if lines++; lines > longestQuote {
					return 0, false
				}
			}
			b.WriteRune(in[i])
		}
	}
	return 0, false
}

// gridOfCSV reads a text file with the separator under which most headings are known; sep=; in the first line says it.
func gridOfCSV(data []byte, m Mapping, book *columnBook) (grid, error) {
	text, encoding, err := decode(data)
	if err != nil {
		return grid{}, err
	}
	separators := []rune{',', ';', '\t', '|'}
	said := false
	if line, rest, found := strings.Cut(text, "\n"); found && len(strings.TrimSpace(line)) == 5 && strings.HasPrefix(line, "sep=") {
		separators, said = []rune{rune(line[4])}, true
		text = rest
	}
	var best grid
	var firstErr error
	most, headings := -1, 0
	for _, separator := range separators {
		rows, err := readCSV(text, separator)
		if err != nil {
			if firstErr == nil {
				firstErr = err
			}
			continue
		}
		if said {
			rows = append([][]cell{nil}, rows...) // the line that says it is a row of the file
		}
		g := grid{format: "csv", encoding: encoding, separator: separator, rows: rows}
		row, known := headingRow(g, m, book)
		if score := known*mostColumns + width(g, row); score > most {
			best, most, headings = g, score, known
		}
	}
	if headings < leastHeadings && firstErr != nil {
		return grid{}, firstErr
	}
	return best, nil
}

func width(g grid, row int) int {
	if row < 0 {
		return 0
	}
	return min(len(g.rows[row]), mostColumns-1)
}
