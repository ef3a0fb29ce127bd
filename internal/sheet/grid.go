package sheet

import (
	"bytes"
	"slices"
	"unicode/utf16"
	"unicode/utf8"

	"golang.org/x/text/encoding/charmap"
)

// Limits of a list. A fleet of a million doors is brought in by parts.
const (
	MostBytes   = 32 << 20
	mostRows    = 200_000
	mostColumns = 256
	mostCell    = 10_000    // characters that a cell may have
	mostInXLSX  = 512 << 20 // bytes that a workbook may unfold to
)

// Error is why a file cannot be read as a list at all. Code is stable and the last part of the key "problem.sheet_<code>".
type Error struct {
	Code string
	Args []any // name, value pairs for the text
}

// Error implements error for logs.
func (e *Error) Error() string { return "sheet: " + e.Code }

// cell is what stands in one place of a grid.
type cell struct {
	text string
	day  Date // of a real date cell
}

// grid is a table as it stands in the file: row i is the spreadsheet's row i+1.
type grid struct {
	format    string // csv or xlsx
	encoding  string // of CSV
	separator rune   // of CSV
	sheet     string // of XLSX
	rows      [][]cell
}

func (g grid) at(row, column int) cell {
	if row < 0 || column >= len(g.rows[row]) {
		return cell{}
	}
	return g.rows[row][column]
}

// decode turns the bytes of a text file into text and names the encoding: by its mark, by the zeros that UTF-16 has in
// plain letters, as UTF-8 where that is valid, else as Windows-1252.
func decode(data []byte) (text, encoding string, err error) {
	switch {
	case bytes.HasPrefix(data, []byte{0xEF, 0xBB, 0xBF}):
		if data = data[3:]; !utf8.Valid(data) {
			return "", "", &Error{Code: "not_text"}
		}
		return string(data), "UTF-8", nil
	case bytes.HasPrefix(data, []byte{0xFF, 0xFE}):
		return utf16Text(data[2:], 0), "UTF-16 LE", nil
	case bytes.HasPrefix(data, []byte{0xFE, 0xFF}):
		return utf16Text(data[2:], 1), "UTF-16 BE", nil
	}
	even, odd := zeros(data)
	switch {
	case odd > len(data)/8 && even < odd/8:
		return utf16Text(data, 0), "UTF-16 LE", nil
	case even > len(data)/8 && odd < even/8:
		return utf16Text(data, 1), "UTF-16 BE", nil
	case even+odd > 0:
		return "", "", &Error{Code: "not_text"}
	case utf8.Valid(data):
		return string(data), "UTF-8", nil
	case slices.ContainsFunc([]byte{0x81, 0x8d, 0x8f, 0x90, 0x9d}, func(b byte) bool { return bytes.IndexByte(data, b) >= 0 }): // Windows-1252 has nothing there
		return "", "", &Error{Code: "not_text"}
	}
	plain, err := charmap.Windows1252.NewDecoder().Bytes(data)
	if err != nil {
		return "", "", &Error{Code: "not_text"}
	}
	return string(plain), "Windows-1252", nil
}

// zeros counts the zero bytes at even and at odd places.
func zeros(data []byte) (even, odd int) {
	for i, b := range data {
		switch {
		case b != 0:
		case i%2 == 0:
			even++
		default:
			odd++
		}
	}
	return even, odd
}

// utf16Text reads pairs of bytes; low is the place of the lower byte in a pair.
func utf16Text(data []byte, low int) string {
	units := make([]uint16, len(data)/2)
	for i := range units {
		units[i] = uint16(data[2*i+low]) | uint16(data[2*i+1-low])<<8
	}
	return string(utf16.Decode(units))
}
