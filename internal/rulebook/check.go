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
	"unicode"

	"cel.dev/cel-go/common"
	"cel.dev/cel-go/common/ast"
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

// Check reads a pack and gives everything that is wrong with it, in the order of the text; the pack when nothing is. It must also fit
// beside the others: no id that is theirs, and no edition that is one of theirs for the same doors. Another text of the same id is no mistake.
func Check(text []byte, beside ...*Pack) (*Pack, []Mistake, error) {
	l, err := newLanguage()
	if err != nil {
		return nil, nil, err
	}
	p, err := parsePack(l, text)
	if err == nil {
		err = p.checkBeside(beside)
	}
	if err == nil {
		return p, nil, nil
	}
	source := source{lines: strings.Split(string(text), "\n")}
	_ = yaml.NewDecoder(bytes.NewReader(text)).Decode(&source.tree) // what does not parse has its line in the error
	var mistakes []Mistake
	flatten(err, nil, nil, func(where []string, keys []any, err error) {
		mistakes = append(mistakes, source.locate(where, keys, err)...)
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

// mistakeAt is a mistake at a part of an expression.
func mistakeAt(tree *ast.AST, part ast.Expr, what string) error {
	place := tree.SourceInfo().GetStartLocation(part.ID())
	return &expressionMistake{place.Line(), place.Column(), what}
}

// wholeName is a reading or a computed reading at the beginning of a text.
var wholeName = regexp.MustCompile(`^(reading|computed)\.(own\.)?\w+`)

func expressionMistakes(source Expression, issues []*common.Error) error {
	lines := strings.Split(string(source), "\n")
	var all []error
	for _, i := range issues {
		what, _, _ := strings.Cut(i.Message, " (") // what CEL adds is about its own containers, and its guesses know no readings
		if line, column := i.Location.Line(), i.Location.Column(); line > 0 && line <= len(lines) && column >= 0 {
			runes := []rune(lines[line-1])
			if name := wholeName.FindString(string(runes[min(column, len(runes)):])); name != "" { // it looks up the first word alone when nothing is near the whole
				first, _, _ := strings.Cut(name, ".")
				what = strings.Replace(what, "'"+first+"'", "'"+name+"'", 1)
			}
		}
		all = append(all, &expressionMistake{i.Location.Line(), i.Location.Column(), what})
	}
	return errors.Join(all...)
}

// source is the text of a pack.
type source struct {
	lines []string
	tree  yaml.Node // empty when it is no YAML
}

// parses tells whether the first lines are YAML.
func (s *source) parses(lines int) bool {
	return yaml.Unmarshal([]byte(strings.Join(s.lines[:lines], "\n")), new(yaml.Node)) == nil
}

// locate finds the place of a mistake in the text.
func (s *source) locate(where []string, keys []any, err error) []Mistake {
	if typed := (*yaml.TypeError)(nil); errors.As(err, &typed) {
		var all []Mistake
		for _, what := range typed.Errors {
			all = append(all, s.yamlMistake(what))
		}
		return all
	}
	if what, isYAML := strings.CutPrefix(err.Error(), "yaml: "); len(keys) == 0 && (isYAML || errors.Is(err, io.EOF)) {
		return []Mistake{s.yamlMistake(what)}
	}
	m := Mistake{What: strings.Join(append(slices.Clone(where), err.Error()), ": ")}
	node := descend(&s.tree, keys)
	if node != nil {
		m.Line, m.Column = node.Line, node.Column
	}
	if in := (*expressionMistake)(nil); errors.As(err, &in) {
		m.What = strings.Join(append(slices.Clone(where), in.what), ": ")
		if node != nil && in.line > 0 {
			m.Line, m.Column = s.within(node, in.line, in.column)
		}
	}
	m.Hint = hintFor(m.What, computedIn(&s.tree), ownIn(&s.tree))
	return []Mistake{m}
}

// within finds a place of an expression, a line from 1 and a column from 0, in the text. YAML joins and indents lines as it likes, so
// what is counted is the signs that are no white space: they are the same in both.
func (s *source) within(node *yaml.Node, line, column int) (int, int) {
	isSign := func(r rune) bool { return !unicode.IsSpace(r) }
	lines := strings.Split(node.Value, "\n")
	before, all := 0, 0
	for i, text := range lines {
		for j, r := range []rune(text) {
			if isSign(r) {
				all++
				if i+1 < line || i+1 == line && j < column {
					before++
				}
			}
		}
	}
	after := 0 // of the last sign, when the place is behind all of them
	if before == all && all > 0 {
		before, after = before-1, 1
	}
	atLine, atColumn := node.Line, node.Column
	switch node.Style {
	case yaml.LiteralStyle, yaml.FoldedStyle:
		atLine, atColumn = atLine+1, 1
	case yaml.DoubleQuotedStyle, yaml.SingleQuotedStyle:
		atColumn++
	}
	for ; atLine <= len(s.lines); atLine, atColumn = atLine+1, 1 {
		signs := []rune(s.lines[atLine-1])
		for ; atColumn <= len(signs); atColumn++ {
			sign := signs[atColumn-1]
			if !isSign(sign) {
				continue
			}
			if before == 0 {
				return atLine, atColumn + after
			}
			before--
			if node.Style == yaml.SingleQuotedStyle && sign == '\'' || node.Style == yaml.DoubleQuotedStyle && sign == '\\' {
				atColumn++ // two signs that stand for one
			}
		}
	}
	return node.Line, node.Column
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
	yamlLine     = regexp.MustCompile(`line (\d+): (?:column (\d+): )?`)
	strangeField = regexp.MustCompile(`field (\S+) not found in type rulebook\.(\w+)`)
	strangeName  = regexp.MustCompile(`undeclared reference to '([^']+)'`)
	repeatedKey  = regexp.MustCompile(`mapping key "([^"]+)" already defined at`)
	wrongType    = regexp.MustCompile("cannot unmarshal (!!\\w+)(?: `([^`]*)`)? into (\\S+)")
	strangeKind  = regexp.MustCompile(`unknown kind of certificate "([^"]*)"`)
	typeName     = regexp.MustCompile(` (in|into) (type )?\*?rulebook\.\w+`)
)

// yamlMistake takes what the YAML reader says, which names a line but no column, and not always the right line.
func (s *source) yamlMistake(what string) Mistake {
	m := Mistake{What: what}
	if found := yamlLine.FindStringSubmatch(what); found != nil {
		m.Line, _ = strconv.Atoi(found[1])
		m.Column, _ = strconv.Atoi(cmp.Or(found[2], "1"))
		m.What = strings.Replace(what, found[0], "", 1)
	}
	switch {
	case what == io.EOF.Error():
		m.What, m.Hint = "there is nothing in it", "a pack begins with id: name@edition"
	case strangeField.MatchString(m.What):
		found := strangeField.FindStringSubmatch(m.What)
		m.Column = s.columnOf(m.Line, func(n *yaml.Node) bool { return n.Value == found[1] })
		m.What, m.Hint = "there is no member "+found[1], "did you mean "+closest(found[1], membersOf(found[2]))+"?"
	case repeatedKey.MatchString(m.What):
		found := repeatedKey.FindStringSubmatch(m.What)
		m.Column = s.columnOf(m.Line, func(n *yaml.Node) bool { return n.Value == found[1] })
		m.Hint = "each member once; a rule begins with its own -"
	case wrongType.MatchString(m.What):
		found := wrongType.FindStringSubmatch(m.What)
		m.Column = s.columnOf(m.Line, func(n *yaml.Node) bool {
			return n.ShortTag() == found[1] && strings.HasPrefix(n.Value, strings.TrimSuffix(found[2], "..."))
		})
		m.What, m.Hint = kindWords[found[1]]+" where "+wantedWords(found[3])+" is wanted", "see the packs that come with the program for how it is written"
	case s.tree.Kind == 0:
		m.Line, m.Column, m.Hint = s.notYAML()
	default:
		m.Hint = hintFor(m.What, nil, nil)
	}
	m.What = typeName.ReplaceAllString(m.What, "")
	return m
}

// kindWords says what stands there.
var kindWords = map[string]string{"!!map": "members", "!!seq": "a list", "!!str": "a text", "!!int": "a number", "!!float": "a number", "!!bool": "true or false", "!!null": "nothing", "!!timestamp": "a date"}

// wantedWords says what a Go type is called in a pack.
func wantedWords(goType string) string {
	switch {
	case strings.HasPrefix(goType, "[]"):
		return "a list"
	case goType == "float64":
		return "a number"
	case goType == "bool":
		return "true or false"
	case strings.HasPrefix(goType, "map[") || slices.Contains([]string{"Limit", "Source", "AppliesTo", "Item", "BodyRule", "Quantity", "Rule", "ZoneRule", "Computed", "Question", "Pack"}, strings.TrimPrefix(goType, "rulebook.")):
		return "an object of members"
	}
	return "a text"
}

// notYAML finds the line that the YAML reader does not take. What the reader says itself is where the part began that it could not end.
func (s *source) notYAML() (line, column int, hint string) {
	for i, text := range s.lines {
		for j, sign := range []rune(text) {
			if sign == unicode.ReplacementChar || unicode.IsControl(sign) && sign != '\t' && sign != '\r' {
				return i + 1, j + 1, "only plain UTF-8 text"
			}
		}
		indent := text[:len(text)-len(strings.TrimLeft(text, " \t"))]
		if tab := strings.Index(indent, "\t"); tab >= 0 {
			return i + 1, tab + 1, "indent with spaces"
		}
	}
	good, bad := 0, len(s.lines) // the first lines parse, the first of them do not
	for good+1 < bad {
		middle := (good + bad) / 2
		if s.parses(middle) {
			good = middle
			continue
		}
		bad = middle
		for more := middle + 1; more < min(middle+8, len(s.lines)); more++ { // a list or a text over several lines, cut through
			if s.parses(more) {
				good, bad = more, len(s.lines)
				break
			}
		}
	}
	text := s.lines[good]
	return good + 1, 1 + len(text) - len(strings.TrimLeft(text, " ")), "members of one object begin in one column; a text with a colon or a comma stands in quotes; a list or an object that is opened is closed"
}

// columnOf finds the first node on a line of which something is so.
func (s *source) columnOf(line int, is func(*yaml.Node) bool) int {
	column := 1
	var look func(*yaml.Node) bool
	look = func(n *yaml.Node) bool {
		if n.Kind != yaml.DocumentNode && n.Line == line && is(n) {
			column = n.Column
			return true
		}
		return n.Kind != yaml.AliasNode && slices.ContainsFunc(n.Content, look)
	}
	look(&s.tree)
	return column
}

// membersOf gives what may stand in a part of a pack.
func membersOf(part string) (members []string) {
	for _, t := range []reflect.Type{reflect.TypeFor[Pack](), reflect.TypeFor[Item](), reflect.TypeFor[AppliesTo](), reflect.TypeFor[Computed](), reflect.TypeFor[Question](), reflect.TypeFor[Rule](), reflect.TypeFor[Limit](),
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

// hints says what to do about a mistake that says so; the first that fits.
var hints = []struct{ says, hint string }{
	{"only a company's pack asks", "role: company, or take the questions out"},
	{"that a pack may ask", "two packs, or fewer questions"},
	{"the first beginning with a letter", "as in handle-tight"},
	{"a word of the language", "another id, of two words perhaps"},
	{"ends as the name of a number", "another last word: the name of a number ends in its unit"},
	{"an empty question", "take out the lone -"},
	{"at the approach everything", "each: side, or leave it out"},
	{"only a number has unit", "answer: number, or take them out"},
	{"only a choice has choices", "answer: choice, or take them out"},
	{"only a number has a limit", "wanted: [yes], or some of the choices"},
	{"have wanted answers", "limit with at_least or at_most and its unit; a text has neither, and the severity none"},
	{"names no answer", "wanted: [yes], or some of the choices"},
	{"none of the answers", "as it stands in choices, or yes or no"},
	{"every answer is wanted", "take wanted out, and say severity: none"},
	{"another answer than the wanted one is wrong", "unsafe, deficient or advisory, or take wanted or limit out"},
	{"although no answer is wrong", "severity: none, or say in wanted or limit which answer is right"},
	{"from_memory: a question", "common_practice, with a note of who asks it"},
	{"none is for questions", "unsafe, deficient or advisory"},
	{"numbers of a door", "least and most bound what can be read at all, in the question's unit"},
	{"want 2 to", "choices: [good, worn]"},
	{"want one line of", "a short text without line breaks, in quotes"},
	{"goes in a circle", "work one of them out of readings and facts alone"},
	{"no rule uses it", "name it in a rule as computed.NAME, or take it out"},
	{"neither only rises nor only falls", "name the reading once, or make two rules of it; a difference is bounded by at_least and at_most together"},
	{"no SI unit", "facts and readings are in SI; a limit may name another unit"},
	{"want it to end in", "the name of a number ends in its unit"},
	{"is no reading in", "prefer a reading of the same unit, or take prefers out"},
	{"a reading or a fact has that name", "another id"},
	{"the computed reading in", "facts and readings are in SI; m_to_in, in_to_m and kg_to_lb convert"},
	{"no matching overload", "write whole numbers as 15.0 inside a formula, and compare numbers with numbers only"},
	{"nobody could sign", "name kinds of certificate, or leave it out: then the general one signs"},
	{"unknown unit", "one of s, m, mm, in, ft, kg, lb, N, lbf, J, lbf.ft, m/s, in/s, ft/s, deg, rpm, months"},
	{"does not measure", "a height has a unit of length, a speed one of speed, held one of time"},
	{"puts ", "facts and readings are in SI; m_to_in, in_to_m and kg_to_lb convert"},
	{", the limit in", "facts and readings are in SI; m_to_in, in_to_m and kg_to_lb convert"},
	{" takes ", "facts and readings are in SI; m_to_in, in_to_m and kg_to_lb convert"},
	{"needs clause and address", "name both, or use the standing from_memory"},
	{"is not among the pack's addresses", "write it into addresses, with the page or web address where the value was read"},
	{"common_practice has no standard", "take them out, or say found, second_hand or from_memory"},
	{"required for common_practice", "note: who does it so, and where"},
	{"standard and edition go together", "name both, or neither"},
	{"steps", "one pass over the leaves is enough for any rule"},
	{"Syntax error", "a formula with a comma or a colon stands on a line of its own, or in quotes; brackets and quotes close"},
	{"want an expression", "a number, or a formula as one line of text"},
	{"no finite number", "a plain number"},
	{"gives ", "a condition and pass are true or false; a limit and measured are numbers"},
	{"want either measured and limit, or pass", "measured and limit go together, for a number; pass alone is for yes or no"},
	{"names no reading", "a reading is written reading.NAME; without one the rule would judge the register alone"},
	{"is a number: judge it", "measured: " + readingPrefix + "NAME, and limit with at_least or at_most and its unit"},
	{"neither a reading nor a fact", "name what a person answers or what the register says"},
	{"names no fact", "leave when out for a rule that always applies"},
	{"want at_least, at_most", "at_least, at_most or both, and the unit"},
	{"is more than at_most", "turn them round, or keep one"},
	{"always or never so", "look at the number and at the unit"},
	{"may only be compared", "write NAME == 'value', or NAME in ['value', 'value']"},
	{"is never ", "take one of its values"},
	{"compared with no fact", "compare a fact with it, or take it out"},
	{"cannot be compared as a whole", "compare a member of a leaf: leaves.exists(l, l.mass_kg > 100.0)"},
	{"cannot be made", "a rule reads what is there: facts, leaves, readings"},
	{"want name@edition", "as in a156.10@2005"},
	{"want it to end with", "the id is name@edition"},
	{"want lower-case words joined by _", "as in leaf_energy_j"},
	{"want lower-case words", "as in hold-open-time"},
	{"twice in this pack", "every rule, zone and computed reading has an id of its own"},
	{": twice", "each once"},
	{"\" twice", "each once"},
	{"unknown door kind", "sliding, swinging, folding or revolving"},
	{"unknown energy", "full, low or assist"},
	{"kinds and energies are required", "kinds: [sliding], energies: [full]"},
	{"each other id", "only ids that the pack had before, each once"},
	{"positive number", "value: a number above nothing, with its unit"},
	{"more than one document", "one file, one pack: take out the line ---"},
	{"an empty rule", "take out the lone -"},
	{"an empty computed reading", "take out the lone -"},
	{"an empty zone", "take out the lone -"},
	{"want item, and either", "what is looked at; rules: [ids] that ask it, or not: why none does"},
	{"no rule or zone", "an id of this pack"},
	{"no item of coverage", "name it in the rules of an item, or leave coverage out as a whole"},
	{"required", "add what is missing"},
	{"nothing stands there", "write what it is, or take the member out; between braces a text with a comma stands in quotes"},
	{"overlaps with", "another edition, or other doors; a company's own rules have a standard of their own"},
	{"the id of", "another id"},
	{"recursion limit", "fewer brackets within brackets"},
	{"rules: none", "at least one rule"},
	{": want ", "take one of these words"},
}

// hintFor says what to do about a mistake.
func hintFor(what string, computed, own []string) string {
	if found := strangeName.FindStringSubmatch(what); found != nil {
		return nameHint(found[1], computed, own)
	}
	if _, name, is := strings.Cut(what, "there is no reading "); is {
		return "did you mean " + closest(name, append(readingNames(), own...)) + "?"
	}
	if found := strangeKind.FindStringSubmatch(what); found != nil {
		return "did you mean " + closest(found[1], CertificateKinds()) + "?"
	}
	for _, h := range hints {
		if strings.Contains(what, h.says) {
			return h.hint
		}
	}
	return "see the packs that come with the program for how it is written"
}

// computedIn gives the ids of the computed readings that the text defines.
func computedIn(tree *yaml.Node) (ids []string) {
	list := descend(tree, []any{"computed"})
	if list == nil || list.Kind != yaml.SequenceNode {
		return nil
	}
	for _, one := range list.Content {
		if id := descend(one, []any{"id"}); id != nil && id.Kind == yaml.ScalarNode {
			ids = append(ids, id.Value)
		}
	}
	return ids
}

// ownIn gives the names of the readings that the text's questions declare.
func ownIn(tree *yaml.Node) (names []string) {
	list := descend(tree, []any{"questions"})
	if list == nil || list.Kind != yaml.SequenceNode {
		return nil
	}
	for _, one := range list.Content {
		var q Question
		if id := descend(one, []any{"id"}); id == nil || id.Kind != yaml.ScalarNode || one.Decode(&q) != nil {
			continue
		}
		_ = q.declare() // as far as it goes
		if name := q.reading.Name; name != "" {
			names = append(names, name)
		}
	}
	return names
}

func readingNames() (names []string) {
	for _, k := range Readings() {
		names = append(names, k.Name)
	}
	return names
}

// nameHint names the nearest fact, reading, computed reading or function.
func nameHint(name string, computed, own []string) string {
	known := []string{"math.sqrt", "math.abs", "math.ceil", "math.floor", "math.greatest", "math.least", "leaves", "greatest", "least", sideActivation}
	if name == "has" {
		return "the judge looks itself whether a value is there, before a rule runs"
	}
	for function := range measuring {
		known = append(known, function)
	}
	for _, k := range factKinds() {
		known = append(known, k.name)
	}
	for _, reading := range append(readingNames(), own...) {
		if reading == name {
			return "a reading is written " + readingPrefix + name + ", and only in measured, pass or the value of a computed reading"
		}
		known = append(known, readingPrefix+reading)
	}
	for _, id := range computed {
		if id == name {
			return "a computed reading is written " + computedPrefix + name
		}
		known = append(known, computedPrefix+id)
	}
	slices.Sort(known)
	if i := slices.IndexFunc(known, func(k string) bool { return strings.HasSuffix(k, "."+name) }); i >= 0 {
		return "did you mean " + known[i] + "?"
	}
	if strings.HasPrefix(name, readingPrefix) && slices.Contains(known, name) {
		return "a reading stands in measured or pass only: there the judge looks first whether it was read; conditions and limits take facts and computed readings"
	}
	if slices.Contains(known, name) {
		return name + " may not stand here: conditions and limits take facts and computed readings, zones facts and " + sideActivation
	}
	return "did you mean " + closest(name, known) + "?"
}
