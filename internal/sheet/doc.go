// Package sheet reads the lists of doors that people keep: CSV in any of its usual dresses, and XLSX.
//
// PURE. Bytes and options in; typed rows and complaints out, every bad cell named with its row, its column and the
// reason. Nothing is guessed in silence: a column is what its heading says (columns.yaml knows the headings of the trade)
// or what a Mapping says; a length has a unit in the cell, in the heading or stated; 03/04/2025 is a date only with a
// stated order; what was left out of the list (blank lines apart) is noted. A value that is not there is not there.
//
// The steps of Read: bytes become a grid of cells (grid.go, csv.go, xlsx.go), the grid's heading row is found and its
// columns are taken for fields (columns.go), the rows below are sorted into doors and remarks (list.go), and each cell
// is read as its field wants it (value.go).
//
// To add a column: a field with its headings in columns.yaml, and what becomes of it in internal/fleet/intake_row.go or
// intake_door.go. To add a heading or a word to one that is there: columns.yaml alone. To add a way of writing a value: value.go, with the
// text of a new complaint in internal/words/en/import.yaml.
package sheet
