package sheet

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"maps"
	"slices"
	"strings"

	"go.yaml.in/yaml/v3"
)

// DateOrder says in which order the parts of 03/04/2025 stand. "" is not said.
type DateOrder string

// The orders.
const (
	DayFirst   DateOrder = "day-first"
	MonthFirst DateOrder = "month-first"
	YearFirst  DateOrder = "year-first"
)

// Mapping is what somebody says of a list beyond its headings. It can be kept in a file and given again.
type Mapping struct {
	Sheet   string                       `yaml:"sheet,omitempty"`    // of a workbook with several
	Dates   DateOrder                    `yaml:"dates,omitempty"`    // of dates in figures
	Lengths string                       `yaml:"lengths,omitempty"`  // the unit of lengths that have none: mm, cm, m, in, ft
	Columns map[string]Column            `yaml:"columns,omitempty"`  // by heading
	ForAll  map[string]string            `yaml:"for_all,omitempty"`  // field → what holds where the list says nothing
	AsAbove []string                     `yaml:"as_above,omitempty"` // fields whose empty cells mean the same as the row above
	Words   map[string]map[string]string `yaml:"words,omitempty"`    // field → what stands in the cell → what it means
	Derive  []Derivation                 `yaml:"derive,omitempty"`
}

// Column says what a column is taken for. In YAML a field alone may stand for it.
type Column struct {
	Field string    `yaml:"field"` // or "ignore"
	Unit  string    `yaml:"unit,omitempty"`
	Dates DateOrder `yaml:"dates,omitempty"`
}

// Derivation fills a field from another one of the row where the list says nothing: a time zone from the region.
type Derivation struct {
	Field string            `yaml:"field"`
	From  string            `yaml:"from"`
	Words map[string]string `yaml:"words"`
}

// Ignore is the field of a column that is not wanted.
const Ignore = "ignore"

// UnmarshalYAML reads a field alone, or a map.
func (c *Column) UnmarshalYAML(node *yaml.Node) error {
	if node.Kind == yaml.ScalarNode {
		return node.Decode(&c.Field)
	}
	type plain Column
	return node.Decode((*plain)(c))
}

// MarshalYAML writes a field alone where that is all.
func (c Column) MarshalYAML() (any, error) {
	if c.Unit == "" && c.Dates == "" {
		return c.Field, nil
	}
	type plain Column
	return plain(c), nil
}

// ParseMapping reads a mapping file. The error says in one line what is wrong with it.
func ParseMapping(text []byte) (Mapping, error) {
	var m Mapping
	d := yaml.NewDecoder(bytes.NewReader(text))
	d.KnownFields(true)
	if err := d.Decode(&m); err != nil && !errors.Is(err, io.EOF) {
		return Mapping{}, fmt.Errorf("mapping: %s", strings.ReplaceAll(err.Error(), "\n", " "))
	}
	if err := d.Decode(new(yaml.Node)); !errors.Is(err, io.EOF) {
		return Mapping{}, errors.New("mapping: more than one document")
	}
	return m, m.Check()
}

// Text writes the mapping as a file.
func (m Mapping) Text() ([]byte, error) { return yaml.Marshal(m) }

// Check names the first thing in a mapping that is not known here.
func (m Mapping) Check() error {
	book := theColumns()
	known := func(where, field string) error {
		if _, ok := book.field(field); !ok {
			return fmt.Errorf("mapping: %s: there is no field %q; there are %s", where, field, strings.Join(book.names(), ", "))
		}
		return nil
	}
	if !slices.Contains([]DateOrder{"", DayFirst, MonthFirst, YearFirst}, m.Dates) {
		return fmt.Errorf("mapping: dates: %q is none of %s, %s, %s", m.Dates, DayFirst, MonthFirst, YearFirst)
	}
	if m.Lengths != "" && !slices.Contains(unitsOf(kindLength), m.Lengths) {
		return fmt.Errorf("mapping: lengths: %q is none of %s", m.Lengths, strings.Join(unitsOf(kindLength), ", "))
	}
	for _, heading := range slices.Sorted(maps.Keys(m.Columns)) {
		c := m.Columns[heading]
		if c.Field == Ignore {
			continue
		}
		if err := known("columns: "+heading, c.Field); err != nil {
			return err
		}
		f, _ := book.field(c.Field)
		if c.Unit != "" && !slices.Contains(unitsOf(f.Kind), c.Unit) {
			return fmt.Errorf("mapping: columns: %s: %q is no unit for it", heading, c.Unit)
		}
		if !slices.Contains([]DateOrder{"", DayFirst, MonthFirst, YearFirst}, c.Dates) {
			return fmt.Errorf("mapping: columns: %s: dates: %q is none of %s, %s, %s", heading, c.Dates, DayFirst, MonthFirst, YearFirst)
		}
	}
	for _, field := range slices.Sorted(maps.Keys(m.ForAll)) {
		if err := known("for_all", field); err != nil {
			return err
		}
	}
	for _, field := range m.AsAbove {
		if err := known("as_above", field); err != nil {
			return err
		}
	}
	for _, field := range slices.Sorted(maps.Keys(m.Words)) {
		if err := known("words", field); err != nil {
			return err
		}
	}
	for _, d := range m.Derive {
		if err := errors.Join(known("derive", d.Field), known("derive", d.From)); err != nil {
			return err
		}
	}
	return nil
}

// column finds what is said of a heading, however it is spelled.
func (m Mapping) column(heading string) (Column, bool) {
	if c, ok := m.Columns[heading]; ok {
		return c, true
	}
	for _, h := range slices.Sorted(maps.Keys(m.Columns)) {
		if plain(h) == plain(heading) {
			return m.Columns[h], true
		}
	}
	return Column{}, false
}
