package rulebook

import (
	"errors"
	"fmt"
	"maps"
	"math"
	"reflect"
	"slices"
	"strconv"
	"strings"

	"cel.dev/cel-go/cel"
	"cel.dev/cel-go/checker"
	"cel.dev/cel-go/common/ast"
	"cel.dev/cel-go/common/types"
	"cel.dev/cel-go/common/types/ref"
	"cel.dev/cel-go/ext"
	"go.yaml.in/yaml/v3"
)

// costLimit bounds what one expression may do; the costliest of the embedded packs needs some hundreds for eight leaves.
const costLimit = 10_000

// Expression is the text of a CEL expression in a pack. A bare YAML number or boolean stands for itself, so `at_most: 15` is 15.0.
type Expression string

func (e *Expression) UnmarshalYAML(node *yaml.Node) error {
	if node.Kind != yaml.ScalarNode || strings.TrimSpace(node.Value) == "" {
		return yamlError(node, "want an expression")
	}
	if node.Tag == "!!int" || node.Tag == "!!float" {
		var number float64
		if err := node.Decode(&number); err != nil {
			return err
		}
		if math.IsNaN(number) || math.IsInf(number, 0) {
			return yamlError(node, node.Value+" is no finite number")
		}
		text := strconv.FormatFloat(number, 'f', -1, 64)
		if !strings.Contains(text, ".") {
			text += ".0" // 15 alone is a whole number in CEL, which compares with no reading
		}
		*e = Expression(text)
		return nil
	}
	*e = Expression(node.Value)
	return nil
}

// language is what an expression may say, by where it stands.
type language struct {
	facts    vocabulary // when, at_least, at_most: facts and computed readings
	readings vocabulary // measured, pass, value: facts, readings and computed readings
	side     vocabulary // zones: facts and what opens the door from this side
}

// vocabulary is the names that an expression may use.
type vocabulary struct {
	env      *cel.Env
	computed map[string]*Computed // of the pack, by id
	own      []ReadingKind        // of the pack's questions
}

// asking is the language that may also name the readings of a company's questions.
func (l *language) asking(own []ReadingKind) (*language, error) {
	readings, err := l.readings.env.Extend(readingVariables(own)...)
	if err != nil {
		return nil, err
	}
	return &language{l.facts, vocabulary{env: readings, own: own}, l.side}, nil
}

func readingVariables(kinds []ReadingKind) (variables []cel.EnvOption) {
	for _, k := range kinds {
		variables = append(variables, cel.Variable(readingPrefix+k.Name, readingType(k.Kind)))
	}
	return variables
}

// readingType is what an expression sees of a reading; nil of a kind that there is not.
func readingType(k ValueKind) *cel.Type {
	switch k {
	case Number:
		return cel.DoubleType
	case YesNo:
		return cel.BoolType
	case Choice, Text:
		return cel.StringType
	}
	return nil
}

// with is the language that may also name these computed readings.
func (l *language) with(computed map[string]*Computed) (*language, error) {
	var variables []cel.EnvOption
	for id := range computed {
		variables = append(variables, cel.Variable(computedPrefix+id, cel.DoubleType))
	}
	facts, err := l.facts.env.Extend(variables...)
	if err != nil {
		return nil, err
	}
	readings, err := l.readings.env.Extend(variables...)
	if err != nil {
		return nil, err
	}
	return &language{vocabulary{env: facts, computed: computed}, vocabulary{readings, computed, l.readings.own}, l.side}, nil
}

func newLanguage() (*language, error) {
	leafType := reflect.TypeFor[leaf]()
	options := []cel.EnvOption{
		// has() would let a rule ask whether a value is there; that is the judge's part. Macros that a library brings come after.
		cel.ClearMacros(),
		cel.Macros(cel.AllMacro, cel.ExistsMacro, cel.MapMacro, cel.FilterMacro),
		ext.Math(),
		ext.NativeTypes(leafType, ext.ParseStructTags(true)),
		cel.Variable("leaves", cel.ListType(cel.ObjectType(leafType.String()))),
		listFunction("greatest", slices.Max[[]float64]),
		listFunction("least", slices.Min[[]float64]),
		numberFunction("in_to_m", 1, func(x []float64) float64 { return x[0] * metresPerInch }),
		numberFunction("m_to_in", 1, func(x []float64) float64 { return x[0] / metresPerInch }),
		numberFunction("kg_to_lb", 1, func(x []float64) float64 { return x[0] / kilogramsPerLb }),
		numberFunction("low_energy_time_us_s", 2, func(x []float64) float64 { return LowEnergyTimeUS(x[0], x[1]) }),
		numberFunction("low_energy_time_si_s", 2, func(x []float64) float64 { return LowEnergyTimeSI(x[0], x[1]) }),
		numberFunction("swing_speed_mps", 3, func(x []float64) float64 { return MeanSwingSpeed(x[0], x[1], x[2]) }),
		numberFunction("swing_energy_j", 4, func(x []float64) float64 { return SwingEnergy(x[0], x[1], x[2], x[3]) }),
	}
	for _, k := range factKinds() {
		if k.name != sideActivation {
			options = append(options, cel.Variable(k.name, k.celType()))
		}
	}
	facts, err := cel.NewEnv(options...)
	if err != nil {
		return nil, err
	}
	readings, err := facts.Extend(readingVariables(Readings())...)
	if err != nil {
		return nil, err
	}
	side, err := facts.Extend(cel.Variable(sideActivation, cel.StringType))
	return &language{vocabulary{env: facts}, vocabulary{env: readings}, vocabulary{env: side}}, err
}

// readingPrefix stands before a reading's name in an expression. Every reading is a variable of its own with its real type, so
// that a name that does not exist is found when the pack is loaded; in a map it would be found only when the rule runs.
const readingPrefix = "reading."

func (k factKind) celType() *cel.Type {
	switch {
	case k.values != nil:
		return cel.StringType
	case k.isNumber():
		return cel.DoubleType
	}
	return cel.BoolType
}

func numberFunction(name string, arguments int, f func([]float64) float64) cel.EnvOption {
	signature := slices.Repeat([]*cel.Type{cel.DoubleType}, arguments)
	return cel.Function(name, cel.Overload(name, signature, cel.DoubleType, cel.FunctionBinding(func(args ...ref.Val) ref.Val {
		numbers := make([]float64, len(args))
		for i, a := range args {
			numbers[i] = float64(a.(types.Double))
		}
		return types.Double(f(numbers))
	})))
}

func listFunction(name string, f func([]float64) float64) cel.EnvOption {
	signature := []*cel.Type{cel.ListType(cel.DoubleType)}
	return cel.Function(name, cel.Overload(name, signature, cel.DoubleType, cel.UnaryBinding(func(list ref.Val) ref.Val {
		native, err := list.ConvertToNative(reflect.TypeFor[[]float64]())
		if err != nil {
			return types.WrapErr(err)
		}
		numbers := native.([]float64)
		if len(numbers) == 0 {
			return types.NewErr("%s of an empty list", name)
		}
		return types.Double(f(numbers))
	})))
}

// mostLeafCount is how many leaves a door has at most, for what an expression may cost.
const mostLeafCount = 8

// mostLeaves tells CEL's estimate how long the list of leaves gets.
type mostLeaves struct{}

func (mostLeaves) EstimateSize(e checker.AstNode) *checker.SizeEstimate {
	if path := e.Path(); len(path) == 1 && path[0] == "leaves" {
		return &checker.SizeEstimate{Max: mostLeafCount}
	}
	return nil
}

func (mostLeaves) EstimateCallCost(string, string, *checker.AstNode, []checker.AstNode) *checker.CallEstimate {
	return nil
}

// program is a compiled expression and what it needs to run.
type program struct {
	source   Expression
	run      cel.Program
	facts    []factKind
	leaves   bool       // it looks at the leaves at all
	leaf     []factKind // members that it reads of each leaf
	readings []ReadingKind
	computed []*Computed
	every    []ReadingKind // that it may look at: also those of what is worked out, and those that are preferred to it
	measures dimension
	course   course // how its value goes with each reading, those of computed readings too
	cost     uint64 // of itself

	// Most expressions are one number or one name. They are looked up instead of run: half of the time of an inspection.
	literal ref.Val // the number that the whole expression is
	name    string  // the fact or reading that it is
}

// errElsewhere is the error of an expression that names a computed reading which is wrong itself. It is told there, and not again here.
var errElsewhere = errors.New("names a computed reading that is wrong")

// compile refuses what is misspelt, of another type than want, or not sure to be complete when its needs are met. The computed readings
// that it names are complete.
func compile(v vocabulary, source Expression, want *cel.Type) (*program, error) {
	compiled, issues := v.env.Compile(string(source))
	if issues.Err() != nil {
		return nil, expressionMistakes(source, issues.Errors())
	}
	if !compiled.OutputType().IsExactType(want) {
		return nil, fmt.Errorf("%q gives %s, want %s", source, compiled.OutputType(), want)
	}
	run, err := v.env.Program(compiled, cel.CostLimit(costLimit))
	if err != nil {
		return nil, err
	}
	p := &program{source: source, run: run}
	if err := p.readNeeds(compiled.NativeRep(), v); err != nil {
		return nil, fmt.Errorf("%q: %w", source, err)
	}
	if slices.ContainsFunc(p.computed, func(c *Computed) bool { return c.value == nil }) {
		return nil, errElsewhere
	}
	p.every = p.everyReading(v.own)
	estimate, err := v.env.EstimateCost(compiled, mostLeaves{})
	if err != nil {
		return nil, err
	}
	if p.cost = estimate.Max; p.cost > costLimit {
		return nil, fmt.Errorf("may take %d steps with %d leaves, more than the %d that an expression may take", p.cost, mostLeafCount, costLimit)
	}
	if with := p.cost + costOf(p.behind()); with > costLimit {
		return nil, fmt.Errorf("may take %d steps with everything that it names, more than the %d that an expression may take", with, costLimit)
	}
	if p.measures, err = p.dimension(compiled.NativeRep()); err != nil {
		return nil, fmt.Errorf("%q %w", source, err)
	}
	tree := compiled.NativeRep()
	if whole := tree.Expr(); whole.Kind() == ast.LiteralKind {
		p.literal = whole.AsLiteral()
	} else if r := tree.ReferenceMap()[whole.ID()]; r != nil {
		p.name = r.Name
	}
	p.course = courseOf(tree, v.computed)
	return p, p.course.check()
}

// behind gives every computed reading that the program names, by way of others or not.
func (p *program) behind() (all []*Computed) {
	seen := map[*Computed]bool{}
	var visit func(*program)
	visit = func(from *program) {
		for _, c := range from.computed {
			if !seen[c] {
				seen[c] = true
				visit(c.value)
				all = append(all, c)
			}
		}
	}
	visit(p)
	return all
}

func costOf(computed []*Computed) (cost uint64) {
	for _, c := range computed {
		cost += c.value.cost
	}
	return cost
}

func (p *program) everyReading(own []ReadingKind) []ReadingKind {
	if len(p.computed) == 0 {
		return p.readings
	}
	names := map[string]bool{}
	for _, k := range p.readings {
		names[k.Name] = true
	}
	for _, c := range p.behind() {
		for _, k := range c.value.readings {
			names[k.Name] = true
		}
		if c.prefers != nil {
			names[c.prefers.Name] = true
		}
	}
	return readingsNamed(names, own)
}

// readingsNamed gives those of the catalogue, and then of a pack's own, that are named.
func readingsNamed(names map[string]bool, own []ReadingKind) []ReadingKind {
	return slices.DeleteFunc(append(Readings(), own...), func(k ReadingKind) bool { return !names[k.Name] })
}

func (p *program) readNeeds(tree *ast.AST, v vocabulary) error {
	kinds := map[string]factKind{}
	for _, k := range factKinds() {
		kinds[k.name] = k
	}
	for _, k := range v.own {
		if k.Kind == Choice { // compared with its choices alone, as facts are with their values
			kinds[readingPrefix+k.Name] = factKind{name: readingPrefix + k.Name, values: k.Choices}
		}
	}
	facts, leafMembers, readings, named := map[string]bool{}, map[string]bool{}, map[string]bool{}, map[string]bool{}
	compared := map[int64]bool{} // nodes of facts with named values, and of texts, that stand in a comparison of the two
	nameOf := func(e ast.Expr) string {
		if r := tree.ReferenceMap()[e.ID()]; r != nil {
			return r.Name
		}
		return ""
	}
	var problems []error
	refuse := func(e ast.Expr, format string, args ...any) {
		problems = append(problems, mistakeAt(tree, e, fmt.Sprintf(format, args...)))
	}
	ast.PreOrderVisit(tree.Expr(), ast.NewExprVisitor(func(e ast.Expr) {
		name := nameOf(e)
		kind, isFact := kinds[name]
		switch {
		case strings.HasPrefix(name, readingPrefix):
			readings[strings.TrimPrefix(name, readingPrefix)] = true
		case name == "leaves" || isFact:
			facts[name] = true
		case strings.HasPrefix(name, computedPrefix):
			named[strings.TrimPrefix(name, computedPrefix)] = true
		}
		switch e.Kind() {
		case ast.SelectKind:
			leafMembers[e.AsSelect().FieldName()] = true
		case ast.CallKind:
			checkComparison(tree, e.AsCall(), kinds, nameOf, compared, refuse)
		case ast.IdentKind:
			if isFact && kind.values != nil && !compared[e.ID()] {
				refuse(e, "%s may only be compared (==, !=, in) with its own values: %s", name, strings.Join(kind.values, ", "))
			}
		case ast.LiteralKind:
			if text, ok := e.AsLiteral().(types.String); ok && !compared[e.ID()] {
				refuse(e, "text %q is compared with no fact", string(text))
			}
		case ast.StructKind, ast.MapKind:
			refuse(e, "objects cannot be made in a rule")
		}
	}))
	if len(problems) > 0 {
		return problems[0]
	}
	unused := func(set map[string]bool) func(factKind) bool { return func(k factKind) bool { return !set[k.name] } }
	p.facts = slices.DeleteFunc(factKinds(), unused(facts))
	p.leaves = facts["leaves"]
	p.leaf = slices.DeleteFunc(leafKinds(), unused(leafMembers))
	p.readings = readingsNamed(readings, v.own)
	for _, id := range slices.Sorted(maps.Keys(named)) {
		p.computed = append(p.computed, v.computed[id])
	}
	return nil
}

// checkComparison refuses `presence_by == 'beam'`, which would silently never be true, and comparisons of whole leaves, which would look
// at members that nobody asked for.
func checkComparison(tree *ast.AST, call ast.CallExpr, kinds map[string]factKind, nameOf func(ast.Expr) string, compared map[int64]bool, refuse func(ast.Expr, string, ...any)) {
	switch call.FunctionName() {
	case "_==_", "_!=_", "@in":
	default:
		return
	}
	for _, arg := range call.Args() {
		if strings.Contains(tree.GetType(arg.ID()).String(), reflect.TypeFor[leaf]().String()) {
			refuse(arg, "leaves cannot be compared as a whole")
		}
	}
	fact, values := call.Args()[0], call.Args()[1]
	if fact.Kind() == ast.LiteralKind {
		fact, values = values, fact
	}
	kind, ok := kinds[nameOf(fact)]
	if !ok || kind.values == nil {
		return
	}
	texts := []ast.Expr{values}
	if values.Kind() == ast.ListKind {
		texts = values.AsList().Elements()
	}
	for _, t := range texts {
		if t.Kind() != ast.LiteralKind {
			refuse(t, "%s may only be compared with its own values: %s", kind.name, strings.Join(kind.values, ", "))
			return
		}
		if text, _ := t.AsLiteral().(types.String); !slices.Contains(kind.values, string(text)) {
			refuse(t, "%s is never %q; its values: %s", kind.name, string(text), strings.Join(kind.values, ", "))
		}
		compared[t.ID()] = true
	}
	compared[fact.ID()] = true
}

// situation is a door at one inspection: everything that expressions may see of it. It is what CEL resolves names in.
type situation struct {
	known     map[string]any // facts by name, leaf members as leaves[0].width_m
	leaves    []leaf
	leafCount int
	readings  []Used             // one of each name
	ends      map[string]float64 // readings that are looked at elsewhere within their uncertainty
	worked    map[string]float64 // computed readings by id, for the program that runs

	conditions map[Expression]bool // of facts alone, so true or false for every rule that has them
}

func newSituation(f Facts, readings []Used) *situation {
	s := &situation{known: f.known(), leafCount: len(f.Leaves), readings: readings, leaves: make([]leaf, len(f.Leaves)), conditions: map[Expression]bool{}}
	for i, l := range f.Leaves {
		s.leaves[i] = leaf{valueOf(l.WidthM), valueOf(l.HeightM), valueOf(l.MassKg)}
	}
	return s
}

// with is the same door with other readings.
func (s *situation) with(readings []Used) *situation {
	o := *s
	o.readings = readings
	return &o
}

// reading of that name; the zero value when it was not taken.
func (s *situation) reading(name string) Reading {
	for i := range s.readings {
		if s.readings[i].Name == name {
			return s.readings[i].Reading
		}
	}
	return Reading{}
}

// ResolveName gives CEL a fact or a reading.
func (s *situation) ResolveName(name string) (any, bool) {
	if name == "leaves" {
		return s.leaves, true
	}
	if id, is := strings.CutPrefix(name, computedPrefix); is {
		value, ok := s.worked[id]
		return value, ok
	}
	reading, is := strings.CutPrefix(name, readingPrefix)
	if !is {
		value, ok := s.known[name]
		return value, ok
	}
	switch r := s.reading(reading); {
	case r.Number != nil:
		return s.read(reading), true
	case r.Yes != nil:
		return *r.Yes, true
	case r.Text != "":
		return r.Text, true
	}
	return nil, false
}

// read gives a number that was read, within its uncertainty where it is looked at.
func (s *situation) read(reading string) float64 {
	if end, ok := s.ends[reading]; ok {
		return end
	}
	return valueOf(s.reading(reading).Number)
}

// Parent is none: everything is here.
func (s *situation) Parent() cel.Activation { return nil }

func valueOf(number *float64) float64 {
	if number == nil {
		return 0
	}
	return *number
}

// gaps names every input that the program needs and that cannot be used: its own, and those of what has to be worked out for it.
func (s *situation) gaps(p *program) (gaps []Gap) {
	gaps = s.ownGaps(p)
	if len(p.computed) == 0 {
		return gaps
	}
	for _, c := range s.parts(p) {
		more := []Gap{}
		if s.isTaken(c) {
			if problem := c.prefers.problem(s.reading(c.prefers.Name)); problem != "" {
				more = append(more, c.prefers.gap(problem))
			}
		} else {
			more = s.ownGaps(c.value)
		}
		for _, g := range more {
			if !slices.Contains(gaps, g) {
				gaps = append(gaps, g)
			}
		}
	}
	return gaps
}

func (s *situation) ownGaps(p *program) (gaps []Gap) {
	for _, k := range p.facts {
		if g := k.gap(s.known, k.name); g != nil {
			gaps = append(gaps, *g)
		}
	}
	if p.leaves && s.leafCount == 0 {
		gaps = append(gaps, Gap{Name: "leaves", Problem: Missing})
	}
	for i := range s.leafCount {
		for _, k := range p.leaf {
			if g := k.gap(s.known, leafName(i, k.name)); g != nil {
				gaps = append(gaps, *g)
			}
		}
	}
	for _, k := range p.readings {
		if problem := k.problem(s.reading(k.Name)); problem != "" {
			gaps = append(gaps, k.gap(problem))
		}
	}
	return gaps
}

// truth and number run a program whose gaps are none. An error means that the arithmetic went wrong (a division by zero, too many steps).
func (s *situation) truth(p *program) (bool, error) {
	out, err := s.value(p)
	return out == types.True, err
}

func (s *situation) number(p *program) (float64, error) {
	out, err := s.value(p)
	if err != nil {
		return 0, err
	}
	return finite(out)
}

func finite(out ref.Val) (float64, error) {
	number := float64(out.(types.Double))
	if math.IsNaN(number) || math.IsInf(number, 0) {
		return 0, fmt.Errorf("the result is not finite")
	}
	return number, nil
}

func (s *situation) value(p *program) (ref.Val, error) {
	door, err := s.work(p)
	if err != nil {
		return nil, err
	}
	return door.eval(p)
}

// eval runs a program when everything is worked out that it names.
func (s *situation) eval(p *program) (ref.Val, error) {
	if p.literal != nil {
		return p.literal, nil
	}
	if p.name != "" {
		switch known, _ := s.ResolveName(p.name); value := known.(type) {
		case float64:
			return types.Double(value), nil
		case bool:
			return types.Bool(value), nil
		}
	}
	out, _, err := p.run.Eval(s)
	return out, err
}
