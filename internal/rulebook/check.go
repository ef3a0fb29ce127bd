package rulebook

import (
	"bytes"
	"cmp"
	"errors"
	"fmt"
	"io"
	"reflect"
	"regexp"
	"slices"
	"strconv"
	"strings"

	"cel.dev/cel-go/common"
	"github.com/agnivade/levenshtein"
	"go.yaml.in/yaml/v3"
)

// Mistake is one thing that is wrong with the text of a pack.
type Mistake struct {
	Line, Column int    // from 1; 0 when it is about the text as a whole
	What         string // where, and what is wrong
	Hint         string // what to do; may be ""
}

func (m Mistake) String() string {
	text := m.What
	if m.Line > 0 {
		text = fmt.Sprintf("%d:%d: %s", m.Line, m.Column, m.What)
	}
	if m.Hint != "" {
		text += " (" + m.Hint + ")"
	}
	return text
}

// Check reads a pack and gives everything that is wrong with it, in the order of the text; the pack when nothing is.
func Check(text []byte) (*Pack, []Mistake, error) {
	l, err := newLanguage()
	if err != nil {
		return nil, nil, err
	}
	p, err := parsePack(l, text)
	if err == nil {
		return p, nil, nil
	}
	var tree yaml.Node
	_ = yaml.NewDecoder(bytes.NewReader(text)).Decode(&tree) // what does not parse has its line in the error
	var mistakes []Mistake
	flatten(err, nil, nil, func(where []string, keys []any, err error) {
		mistakes = append(mistakes, locate(&tree, where, keys, err)...)
	})
	slices.SortStableFunc(mistakes, func(a, b Mistake) int { return cmp.Or(cmp.Compare(a.Line, b.Line), cmp.Compare(a.Column, b.Column)) })
	return nil, slices.Compact(mistakes), nil
}

// spot is a mistake at a place of the pack.
type spot struct {
	where string
	keys  []any // of mappings (string) and lists (int), from the place around it
	err   error
}

func (s *spot) Error() string { return s.where + ": " + s.err.Error() }
func (s *spot) Unwrap() error { return s.err }

// flatten visits every single mistake of an error, with the way to it.
func flatten(err error, where []string, keys []any, visit func([]string, []any, error)) {
	switch e := err.(type) {
	case *spot:
		flatten(e.err, append(slices.Clone(where), e.where), append(slices.Clone(keys), e.keys...), visit)
	case interface{ Unwrap() []error }:
		for _, one := range e.Unwrap() {
			flatten(one, where, keys, visit)
		}
	default:
		visit(where, keys, err)
	}
}

// expressionMistake is what CEL says of an expression, with its place in it.
type expressionMistake struct {
	line, column int // from 1 and from 0, within the expression
	what         string
}

func (m *expressionMistake) Error() string {
	return fmt.Sprintf("%d:%d: %s", m.line, m.column+1, m.what)
}

func expressionMistakes(issues []*common.Error) error {
	var all []error
	for _, i := range issues {
		what, _, _ := strings.Cut(i.Message, " (") // what CEL adds is about its own containers, and its guesses know no readings
		all = append(all, &expressionMistake{i.Location.Line(), i.Location.Column(), what})
	}
	return errors.Join(all...)
}

// locate finds the place of a mistake in the text.
func locate(tree *yaml.Node, where []string, keys []any, err error) []Mistake {
	if typed := (*yaml.TypeError)(nil); errors.As(err, &typed) {
		var all []Mistake
		for _, what := range typed.Errors {
			all = append(all, yamlMistake(tree, what))
		}
		return all
	}
	if len(keys) == 0 && (errors.Is(err, io.EOF) || yamlLine.MatchString(err.Error())) {
		return []Mistake{yamlMistake(tree, strings.TrimPrefix(err.Error(), "yaml: "))}
	}
	m := Mistake{What: strings.Join(append(slices.Clone(where), err.Error()), ": ")}
	node := descend(tree, keys)
	if node != nil {
		m.Line, m.Column = node.Line, node.Column
	}
	if in := (*expressionMistake)(nil); errors.As(err, &in) {
		m.What = strings.Join(append(slices.Clone(where), in.what), ": ")
		if node != nil && in.line > 0 {
			m.Line += in.line - 1
			switch node.Style {
			case yaml.LiteralStyle, yaml.FoldedStyle:
				m.Line++
			case yaml.DoubleQuotedStyle, yaml.SingleQuotedStyle:
				m.Column += in.column + 1
			default:
				m.Column += in.column
			}
		}
	}
	m.Hint = hintFor(m.What)
	return []Mistake{m}
}

// descend follows keys as far as the text has them.
func descend(node *yaml.Node, keys []any) *yaml.Node {
	if node.Kind == yaml.DocumentNode && len(node.Content) > 0 {
		node = node.Content[0]
	}
	if node.Kind == 0 {
		return nil
	}
	for _, key := range keys {
		var next *yaml.Node
		switch k := key.(type) {
		case int:
			if node.Kind == yaml.SequenceNode && k < len(node.Content) {
				next = node.Content[k]
			}
		case string:
			for i := 0; node.Kind == yaml.MappingNode && i+1 < len(node.Content); i += 2 {
				if node.Content[i].Value == k {
					next = node.Content[i+1]
				}
			}
		}
		if next == nil {
			break
		}
		node = next
	}
	return node
}

var (
	yamlLine     = regexp.MustCompile(`line (\d+): `)
	strangeField = regexp.MustCompile(`field (\S+) not found in type rulebook\.(\w+)`)
	strangeName  = regexp.MustCompile(`undeclared reference to '([^']+)'`)
	typeName     = regexp.MustCompile(` (in|into) (type )?\*?rulebook\.\w+`)
)

// yamlMistake takes what the YAML reader says, which names a line but no column.
func yamlMistake(tree *yaml.Node, what string) Mistake {
	m := Mistake{What: what}
	if what == io.EOF.Error() {
		m.What = "there is nothing in it"
	}
	if found := yamlLine.FindStringSubmatch(what); found != nil {
		m.Line, _ = strconv.Atoi(found[1])
		m.Column = 1
		m.What = strings.Replace(what, found[0], "", 1)
	}
	if found := strangeField.FindStringSubmatch(m.What); found != nil {
		m.Column = columnOf(tree, m.Line, found[1])
		m.Hint = "did you mean " + closest(found[1], membersOf(found[2])) + "?"
		m.What = "there is no member " + found[1]
	}
	m.What = typeName.ReplaceAllString(m.What, "")
	return m
}

// columnOf finds a word on a line of the tree.
func columnOf(node *yaml.Node, line int, word string) int {
	if node.Line == line && node.Value == word {
		return node.Column
	}
	for _, child := range node.Content {
		if column := columnOf(child, line, word); column > 1 {
			return column
		}
	}
	return 1
}

// membersOf gives what may stand in a part of a pack.
func membersOf(part string) (members []string) {
	for _, t := range []reflect.Type{reflect.TypeFor[Pack](), reflect.TypeFor[AppliesTo](), reflect.TypeFor[Rule](), reflect.TypeFor[Limit](),
		reflect.TypeFor[ZoneRule](), reflect.TypeFor[BodyRule](), reflect.TypeFor[Quantity](), reflect.TypeFor[Source]()} {
		for i := 0; t.Name() == part && i < t.NumField(); i++ {
			if tag := t.Field(i).Tag.Get("yaml"); tag != "" && tag != "-" {
				members = append(members, tag)
			}
		}
	}
	return members
}

func closest(name string, known []string) string {
	return slices.MinFunc(known, func(a, b string) int {
		return levenshtein.ComputeDistance(name, a) - levenshtein.ComputeDistance(name, b)
	})
}

// hintFor says what to do about the mistakes that are made most.
func hintFor(what string) string {
	switch {
	case strangeName.MatchString(what):
		return nameHint(strangeName.FindStringSubmatch(what)[1])
	case strings.Contains(what, "no matching overload"):
		return "write whole numbers as 15.0 inside a formula, and compare numbers with numbers only"
	case strings.Contains(what, "unknown unit"):
		return "one of s, m, mm, in, ft, kg, lb, N, lbf, J, lbf.ft, m/s, in/s, ft/s, deg, rpm, months"
	case strings.Contains(what, "puts ") || strings.Contains(what, ", the limit in"):
		return "facts and readings are in SI; m_to_in, in_to_m and kg_to_lb convert"
	case strings.Contains(what, "needs clause and address"):
		return "name both, or use the standing from_memory"
	case strings.Contains(what, "steps"):
		return "one pass over the leaves is enough for any rule"
	case strings.Contains(what, "Syntax error"):
		return "a formula with a comma or a colon stands on a line of its own, or in quotes"
	}
	return ""
}

// nameHint names the nearest fact, reading or function.
func nameHint(name string) string {
	known := []string{"leaves", "greatest", "least", "in_to_m", "m_to_in", "kg_to_lb", "low_energy_time_us_s", "low_energy_time_si_s", "swing_energy_j", sideActivation}
	for _, k := range factKinds() {
		known = append(known, k.name)
	}
	for _, k := range Readings() {
		if k.Name == name {
			return "a reading is written " + readingPrefix + name + ", and only in measured or pass"
		}
		known = append(known, readingPrefix+k.Name)
	}
	if slices.Contains(known, name) {
		return name + " may not stand here: conditions and limits take facts, zones alone take " + sideActivation
	}
	return "did you mean " + closest(name, known) + "?"
}
