package rulebook

import (
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"math"
	"regexp"
	"slices"
	"strings"

	"cel.dev/cel-go/cel"
	"cel.dev/cel-go/common/types"
	"go.yaml.in/yaml/v3"
)

// Standing says how well the source of a value is known.
type Standing string

const (
	Found          Standing = "found"           // read at the address
	SecondHand     Standing = "second_hand"     // read in somebody's notes about the standard
	CommonPractice Standing = "common_practice" // no standard says so, the trade does it
	FromMemory     Standing = "from_memory"     // recalled; nobody has looked it up yet
)

// Weight says whether a verdict counts.
type Weight string

const (
	Binding    Weight = "binding"
	Unverified Weight = "unverified" // advice only, until somebody has opened the standard
)

// Weight of a verdict that rests on a value of this standing.
func (s Standing) Weight() Weight {
	if s == FromMemory {
		return Unverified
	}
	return Binding
}

// Severity is what a pack proposes for a finding; the inspector decides.
type Severity string

const (
	Unsafe    Severity = "unsafe"
	Deficient Severity = "deficient"
	Advisory  Severity = "advisory"
)

// Source is where a value stands.
type Source struct {
	Standard string `yaml:"standard" json:"standard,omitempty"` // the pack's own when left out
	Edition  string `yaml:"edition" json:"edition,omitempty"`
	Clause   string `yaml:"clause" json:"clause,omitempty"`
	Address  string `yaml:"address" json:"address,omitempty"` // page or web address where it was read; in a pack a name out of `addresses`
	Note     string `yaml:"note" json:"note,omitempty"`       // for whoever verifies the value
}

// Role says which doors a pack judges.
type Role string

const (
	Basis   Role = "basis"   // doors whose rule basis it is: that edition, for as long as the basis is not changed
	Law     Role = "law"     // every door within its jurisdiction that it is for, beside the basis: law for doors that are there already
	Owner   Role = "owner"   // none by itself: what the owner's own people look after between inspections
	Company Role = "company" // every door that it is for, beside the basis, while the company has it in force
)

// Pack is one edition of one standard. It is read-only once loaded and may be used by many goroutines.
type Pack struct {
	ID           string            `yaml:"id"`       // name@edition, as in a156.10@2005
	Formerly     []string          `yaml:"formerly"` // ids that this pack had before: records keep naming them
	Title        string            `yaml:"title"`
	Caution      string            `yaml:"caution"` // what whoever reads a verdict of this pack must know
	Standard     string            `yaml:"standard"`
	Edition      string            `yaml:"edition"`
	Role         Role              `yaml:"role"`
	Jurisdiction string            `yaml:"jurisdiction"` // where it holds: ISO 3166-2 or a country; a union of countries for a basis, any for everywhere
	AppliesTo    AppliesTo         `yaml:"applies_to"`
	SignedBy     []string          `yaml:"signed_by"` // kinds of certificate of which one signs by the pack; the general one when left out
	Addresses    map[string]string `yaml:"addresses"` // short names for long addresses
	Coverage     []Item            `yaml:"coverage"`  // what the standard has an inspector look at, in its order; may be left out
	Computed     []*Computed       `yaml:"computed"`  // readings that nobody takes, worked out for the rules
	Rules        []*Rule           `yaml:"rules"`     // and, once loaded, behind them those of the questions
	Questions    []*Question       `yaml:"questions"` // of a company's pack
	ZoneRules    []*ZoneRule       `yaml:"zones"`
	Digest       string            `yaml:"-"` // SHA-256 of the pack's text in hex: says which text has judged

	scope *program // what must be known to say whether the pack is for a door
}

// Item is one thing that the standard has an inspector look at: covered by rules or zones of the pack, or not covered for a reason.
type Item struct {
	Item   string   `yaml:"item"`
	Clause string   `yaml:"clause"` // in this edition; left out when nobody has read it there
	Rules  []string `yaml:"rules"`  // ids of rules and zones
	Not    string   `yaml:"not"`    // why no rule asks it
}

// AppliesTo says which doors a pack is for.
type AppliesTo struct {
	Kinds    []DoorKind `yaml:"kinds"`
	Energies []Energy   `yaml:"energies"`
}

// Rule asks one thing of a door. Either Measured and Limit are set, or Pass.
type Rule struct {
	ID       string     `yaml:"id"`
	Title    string     `yaml:"title"`    // short
	Asks     string     `yaml:"asks"`     // one sentence
	Method   string     `yaml:"method"`   // how it is measured or looked at; may be left out where it is plain
	When     Expression `yaml:"when"`     // the rule applies when this is true; always when left out
	Measured Expression `yaml:"measured"` // what the limit is held against, in SI
	Limit    *Limit     `yaml:"limit"`
	Pass     Expression `yaml:"pass"`
	Severity Severity   `yaml:"severity"`
	Standing Standing   `yaml:"standing"`
	Source   Source     `yaml:"source"`
	Question *Question  `yaml:"-"` // that it judges; nil: it is a rule of the pack

	when, measured, pass *program
	programs             []*program    // all that it runs
	looks                []ReadingKind // that it may look at, in the catalogue's order
}

// Limit bounds a value from one side or both, in the unit that the standard makes primary. The bounds are expressions over facts.
type Limit struct {
	AtLeast Expression `yaml:"at_least"`
	AtMost  Expression `yaml:"at_most"`
	Unit    string     `yaml:"unit"`

	unit            unit
	atLeast, atMost *program
}

// ZoneRule asks that a rectangle of floor on one side be watched. Bounds are expressions over facts and `activation` (what opens
// the door from this side), in metres in the side's frame.
type ZoneRule struct {
	ID       string     `yaml:"id"`
	Title    string     `yaml:"title"`
	Kind     ZoneKind   `yaml:"kind"`
	When     Expression `yaml:"when"`
	X0       Expression `yaml:"x0_m"`
	X1       Expression `yaml:"x1_m"`
	Y0       Expression `yaml:"y0_m"`
	Y1       Expression `yaml:"y1_m"`
	Body     BodyRule   `yaml:"body"`
	Standing Standing   `yaml:"standing"`
	Source   Source     `yaml:"source"`

	when   *program
	bounds [4]*program // x0, x1, y0, y1
}

// BodyRule is the smallest person that a zone must notice.
type BodyRule struct {
	Height Quantity  `yaml:"height"`
	Speed  *Quantity `yaml:"speed"` // how slow it may walk, for zones that notice motion
	Held   *Quantity `yaml:"held"`  // how long it must be held while it stands still, for zones that notice presence
}

// Quantity is a number with its unit.
type Quantity struct {
	Value float64 `yaml:"value"`
	Unit  string  `yaml:"unit"`

	si float64
}

// Name is the pack's name without its edition.
func (p *Pack) Name() string {
	name, _, _ := strings.Cut(p.ID, "@")
	return name
}

// parsePack reads one pack strictly: unknown members, second documents, unknown names in expressions, and limits
// without a source are refused. The error names pack, rule and member.
func parsePack(l *language, text []byte) (*Pack, error) {
	decoder := yaml.NewDecoder(bytes.NewReader(text))
	decoder.KnownFields(true)
	var p Pack
	if err := decoder.Decode(&p); err != nil {
		return nil, err
	}
	var second yaml.Node
	if err := decoder.Decode(&second); !errors.Is(err, io.EOF) {
		return nil, yamlError(&second, "more than one document")
	}
	var tree yaml.Node
	if err := yaml.Unmarshal(text, &tree); err != nil {
		return nil, err
	}
	if empty := emptyMembers(&tree); empty != nil {
		return nil, &yaml.TypeError{Errors: empty}
	}
	digest := sha256.Sum256(text)
	p.Digest = hex.EncodeToString(digest[:])
	return &p, p.complete(l)
}

// emptyMembers finds every member that says nothing: YAML takes "when:" alone as if it were not there.
func emptyMembers(node *yaml.Node) (mistakes []string) {
	for i, child := range node.Content {
		if child.Tag == "!!null" && node.Kind == yaml.MappingNode && i%2 == 1 {
			mistakes = append(mistakes, yamlError(child, node.Content[i-1].Value+": nothing stands there").Errors...)
		}
		mistakes = append(mistakes, emptyMembers(child)...)
	}
	return mistakes
}

// yamlError says what is wrong at a node as the YAML reader says it, but with the column.
func yamlError(node *yaml.Node, what string) *yaml.TypeError {
	return &yaml.TypeError{Errors: []string{fmt.Sprintf("line %d: column %d: %s", max(node.Line, 1), max(node.Column, 1), what)}}
}

// required names the members that are empty; nil when none is. Names and values follow one another.
func required(members ...string) error {
	var missing []string
	for i := 0; i < len(members); i += 2 {
		if members[i+1] == "" {
			missing = append(missing, members[i])
		}
	}
	if missing == nil {
		return nil
	}
	return fmt.Errorf("%s: required", strings.Join(missing, ", "))
}

var (
	packID = regexp.MustCompile(`^[a-z0-9]+([.-][a-z0-9]+)*@[a-z0-9]+([.+-][a-z0-9]+)*$`)
	ruleID = regexp.MustCompile(`^[a-z0-9]+(-[a-z0-9]+)*$`)
)

// complete checks a decoded pack and compiles it.
func (p *Pack) complete(l *language) error {
	if err := required("id", p.ID, "title", p.Title, "caution", p.Caution, "standard", p.Standard, "edition", p.Edition, "role", string(p.Role), "jurisdiction", p.Jurisdiction); err != nil {
		return err
	}
	switch {
	case !packID.MatchString(p.ID):
		return inside("id", fmt.Errorf("%q: want name@edition, each of lower-case words joined by - or .", p.ID))
	case !strings.HasSuffix(p.ID, "@"+p.Edition):
		return inside("id", fmt.Errorf("%q: want it to end with @%s, the edition", p.ID, p.Edition))
	case !slices.Contains([]Role{Basis, Law, Owner, Company}, p.Role):
		return inside("role", fmt.Errorf("%q: want basis, law, owner or company", p.Role))
	case len(p.Rules) == 0 && len(p.Questions) == 0:
		return errors.New("rules: none")
	}
	if p.Role == Company && len(p.Formerly) > 0 {
		return inside("formerly", errors.New("a company's pack had no other name before: its records name it as it is"))
	}
	if p.Role == Company && len(p.ZoneRules) > 0 {
		return inside("zones", errors.New("the areas that must be watched are the rule basis's; a company's pack has rules only"))
	}
	p.scope = &program{facts: []factKind{factNamed("door_kind"), factNamed("energy")}}
	problems := []error{inside("applies_to", p.AppliesTo.check()), inside("formerly", p.checkFormerly())}
	l, wrong := p.completeQuestions(l)
	problems = append(problems, wrong...)
	l, wrong = p.completeComputed(l)
	problems = append(problems, wrong...)
	if p.SignedBy != nil {
		problems = append(problems, checkSignedBy(p.SignedBy))
	}
	seen := map[string]bool{}
	once := func(what, id string) error {
		if id == "" {
			return nil // its rule says so
		}
		if !ruleID.MatchString(id) {
			return fmt.Errorf("id %q: want lower-case words, joined by -", id)
		}
		if seen[what+id] {
			return fmt.Errorf("id %s: twice in this pack", id)
		}
		seen[what+id] = true
		return nil
	}
	for i, r := range p.Rules {
		if r == nil {
			problems = append(problems, inside("rules", errors.New("an empty rule"), "rules", i))
			continue
		}
		problems = append(problems, inside("rule "+r.ID, once("rule", r.ID), "rules", i, "id"), inside("rule "+r.ID, r.complete(l, p), "rules", i))
	}
	for i, q := range p.Questions {
		if q == nil || !q.sound {
			continue // told above
		}
		r := q.rule()
		if err := errors.Join(inside("id", once("rule", q.ID)), r.complete(l, p)); err != nil {
			problems = append(problems, inside("question "+q.ID, err, "questions", i))
		}
		p.Rules = append(p.Rules, r)
	}
	if errors.Join(problems...) == nil { // a rule that is not understood may be the one that uses it
		problems = p.unusedComputed()
	}
	for i, z := range p.ZoneRules {
		if z == nil {
			problems = append(problems, inside("zones", errors.New("an empty zone"), "zones", i))
			continue
		}
		problems = append(problems, inside("zone "+z.ID, once("zone", z.ID), "zones", i, "id"), inside("zone "+z.ID, z.complete(l, p), "zones", i))
	}
	return errors.Join(append(problems, p.checkCoverage())...)
}

// checkCoverage refuses an item that is neither covered nor left out for a reason, and a rule that covers nothing.
func (p *Pack) checkCoverage() error {
	if len(p.Coverage) == 0 {
		return nil
	}
	covers, known := map[string]bool{}, map[string]bool{}
	for _, r := range p.Rules {
		if r != nil {
			known[r.ID] = true
		}
	}
	for _, z := range p.ZoneRules {
		if z != nil {
			known[z.ID] = true
		}
	}
	var problems []error
	for i, item := range p.Coverage {
		refuse := func(format string, args ...any) {
			problems = append(problems, inside("coverage", fmt.Errorf(format, args...), "coverage", i))
		}
		if item.Item == "" || (len(item.Rules) == 0) == (item.Not == "") {
			refuse("want item, and either rules or not")
		}
		if slices.ContainsFunc(p.Coverage[:i], func(o Item) bool { return o.Item == item.Item }) {
			refuse("%s: twice", item.Item)
		}
		for _, id := range item.Rules {
			if covers[id] = true; !known[id] {
				refuse("there is no rule or zone %s", id)
			}
		}
	}
	for i, r := range p.Rules {
		if r != nil && r.Question == nil && !covers[r.ID] {
			problems = append(problems, inside("rule "+r.ID, errors.New("no item of coverage names it"), "rules", i))
		}
	}
	return errors.Join(problems...)
}

// inside says where in the pack a mistake is: for people, and as the keys that lead there; without keys, where is the key.
func inside(where string, err error, keys ...any) error {
	if err == nil || errors.Is(err, errElsewhere) {
		return nil
	}
	if keys == nil {
		keys = []any{where}
	}
	return &spot{where, keys, err}
}

// checkBeside refuses a pack that cannot stand beside the others: what a record or a door names must be one pack.
func (p *Pack) checkBeside(others []*Pack) error {
	var problems []error
	for _, o := range others {
		if o.ID == p.ID {
			continue
		}
		for i, id := range p.Formerly {
			if id == o.ID || slices.Contains(o.Formerly, id) {
				problems = append(problems, inside("formerly", fmt.Errorf("%s is, or was, the id of %s", id, o.ID), "formerly", i))
			}
		}
		if slices.Contains(o.Formerly, p.ID) {
			problems = append(problems, inside("id", fmt.Errorf("%s was the id of %s", p.ID, o.ID)))
		}
		if o.Standard == p.Standard && o.Edition == p.Edition && o.AppliesTo.overlaps(p.AppliesTo) {
			problems = append(problems, inside("edition", fmt.Errorf("overlaps with %s: both are %s of %s for the same doors", o.ID, p.Standard, p.Edition)))
		}
	}
	return errors.Join(problems...)
}

func (a AppliesTo) overlaps(b AppliesTo) bool {
	return slices.ContainsFunc(a.Kinds, func(k DoorKind) bool { return slices.Contains(b.Kinds, k) }) &&
		slices.ContainsFunc(a.Energies, func(e Energy) bool { return slices.Contains(b.Energies, e) })
}

// checkFormerly refuses former ids that say nothing, or that the pack has now.
func (p *Pack) checkFormerly() error {
	for i, id := range p.Formerly {
		if id == "" || id == p.ID || slices.Contains(p.Formerly[:i], id) {
			return inside("former id", fmt.Errorf("%q: want each other id that the pack had before, once", id), i)
		}
	}
	return nil
}

func (a AppliesTo) check() error {
	if len(a.Kinds) == 0 || len(a.Energies) == 0 {
		return errors.New("kinds and energies are required")
	}
	for i, k := range a.Kinds {
		if !slices.Contains(factNamed("door_kind").values, string(k)) {
			return inside("kinds", fmt.Errorf("unknown door kind %q", k), "kinds", i)
		}
		if slices.Contains(a.Kinds[:i], k) {
			return inside("kinds", fmt.Errorf("%s: twice", k), "kinds", i)
		}
	}
	for i, e := range a.Energies {
		if !slices.Contains(factNamed("energy").values, string(e)) {
			return inside("energies", fmt.Errorf("unknown energy %q", e), "energies", i)
		}
		if slices.Contains(a.Energies[:i], e) {
			return inside("energies", fmt.Errorf("%s: twice", e), "energies", i)
		}
	}
	return nil
}

func (r *Rule) complete(l *language, p *Pack) error {
	if err := r.compile(l, p); err != nil {
		return err
	}
	if r.pass == nil && r.measured == nil {
		return nil // it names what is wrong elsewhere
	}
	r.programs = r.inputs()
	if r.when != nil {
		r.programs = append(r.programs, r.when)
	}
	names := map[string]bool{}
	for _, p := range r.programs {
		for _, k := range p.every {
			names[k.Name] = true
		}
	}
	r.looks = readingsNamed(names, l.readings.own)
	return nil
}

func (r *Rule) compile(l *language, p *Pack) (err error) {
	if err := required("id", r.ID, "title", r.Title, "asks", r.Asks, "severity", string(r.Severity), "standing", string(r.Standing)); err != nil {
		return err
	}
	switch r.Severity {
	case Unsafe, Deficient, Advisory:
	case NoSeverity:
		if r.Question == nil {
			return inside("severity", errors.New("none is for questions: a rule has unsafe, deficient or advisory"))
		}
	default:
		return inside("severity", fmt.Errorf("%q: want unsafe, deficient or advisory", r.Severity))
	}
	if err := r.Source.complete(p, r.Standing); err != nil {
		return err
	}
	if r.when, err = compileWhen(l.facts, r.When); err != nil {
		return err
	}
	if r.pass != nil { // any answer will do
		return nil
	}
	if (r.Pass != "") == (r.Limit != nil) || (r.Measured != "") != (r.Limit != nil) {
		return errors.New("want either measured and limit, or pass")
	}
	if r.Pass != "" {
		if r.pass, err = compile(l.readings, r.Pass, cel.BoolType); err != nil {
			return inside("pass", err)
		}
		return inside("pass", r.pass.checkPass())
	}
	if r.measured, err = compile(l.readings, r.Measured, cel.DoubleType); err != nil {
		return inside("measured", err)
	}
	if len(r.measured.every) == 0 {
		return inside("measured", errors.New("names no reading"))
	}
	if err := r.Limit.complete(l); err != nil {
		return inside("limit", err)
	}
	if want := dimensionOf(r.Limit.unit.si); !r.measured.measures.bare && !r.measured.measures.near(want) {
		return inside("measured", fmt.Errorf("is in %s, the limit in %s", r.measured.measures, r.Limit.Unit))
	}
	return inside("limit", r.Limit.checkRange(r.measured))
}

// checkRange refuses a limit that no reading can keep, and one that no reading can break: a slip in its number or its unit.
func (limit *Limit) checkRange(measured *program) error {
	least, isLeast := limit.atLeast.number()
	most, isMost := limit.atMost.number()
	if isLeast && isMost && least > most {
		return inside("at_least", fmt.Errorf("%g is more than at_most %g", least, most))
	}
	if measured.name == "" || len(measured.computed) > 0 {
		return nil
	}
	k := measured.readings[0]
	from, to := k.Min/limit.unit.factor, k.Max/limit.unit.factor
	if isLeast && (least <= from || least > to) {
		return inside("at_least", fmt.Errorf("%s is read from %.4g to %.4g %s: at least %g is always or never so", k.Name, from, to, limit.Unit, least))
	}
	if isMost && (most < from || most >= to) {
		return inside("at_most", fmt.Errorf("%s is read from %.4g to %.4g %s: at most %g is always or never so", k.Name, from, to, limit.Unit, most))
	}
	return nil
}

// number that the whole expression is.
func (p *program) number() (float64, bool) {
	if p == nil {
		return 0, false
	}
	number, is := p.literal.(types.Double)
	return float64(number), is
}

// checkPass refuses limits that hide in an expression, where nobody sees their unit, and rules that pass on nothing.
func (p *program) checkPass() error {
	for _, c := range p.computed {
		return fmt.Errorf("%s%s is a number: judge it by measured and limit", computedPrefix, c.ID)
	}
	for _, k := range p.readings {
		if k.Kind == Number {
			return fmt.Errorf("%s is a number: judge it by measured and limit", k.Name)
		}
	}
	if len(p.readings)+len(p.facts) == 0 && !p.leaves {
		return errors.New("names neither a reading nor a fact")
	}
	return nil
}

func (limit *Limit) complete(l *language) (err error) {
	if limit.AtLeast == "" && limit.AtMost == "" {
		return errors.New("want at_least, at_most or both")
	}
	if limit.unit, err = unitNamed(limit.Unit); err != nil {
		return inside("unit", err)
	}
	if limit.AtLeast != "" {
		if limit.atLeast, err = compile(l.facts, limit.AtLeast, cel.DoubleType); err != nil {
			return inside("at_least", err)
		}
		if err := limit.fits(limit.atLeast); err != nil {
			return inside("at_least", err)
		}
	}
	if limit.AtMost != "" {
		if limit.atMost, err = compile(l.facts, limit.AtMost, cel.DoubleType); err != nil {
			return inside("at_most", err)
		}
		if err := limit.fits(limit.atMost); err != nil {
			return inside("at_most", err)
		}
	}
	return nil
}

// fits refuses a bound that is worked out in another unit than the limit's: facts are in SI, the limit may be in inches.
func (limit *Limit) fits(bound *program) error {
	m := bound.measures
	if m.bare || m == plainRatio || limit.unit.factor == 1 && m.near(dimensionOf(limit.unit.si)) {
		return nil
	}
	return fmt.Errorf("is in %s, the limit in %s", m, limit.Unit)
}

func compileWhen(v vocabulary, when Expression) (*program, error) {
	if when == "" {
		return nil, nil
	}
	p, err := compile(v, when, cel.BoolType)
	if err == nil && len(p.facts)+len(p.computed) == 0 && !p.leaves {
		err = errors.New("names no fact, so it is always or never so")
	}
	return p, inside("when", err)
}

func (z *ZoneRule) complete(l *language, p *Pack) (err error) {
	if err := required("id", z.ID, "title", z.Title, "kind", string(z.Kind), "x0_m", string(z.X0), "x1_m", string(z.X1), "y0_m", string(z.Y0), "y1_m", string(z.Y1), "standing", string(z.Standing)); err != nil {
		return err
	}
	if z.Kind != ActivationZone && z.Kind != PresenceZone {
		return inside("kind", fmt.Errorf("%q: want activation or presence", z.Kind))
	}
	if err := z.Source.complete(p, z.Standing); err != nil {
		return err
	}
	if z.when, err = compileWhen(l.side, z.When); err != nil {
		return err
	}
	for i, bound := range []struct {
		name   string
		source Expression
	}{{"x0_m", z.X0}, {"x1_m", z.X1}, {"y0_m", z.Y0}, {"y1_m", z.Y1}} {
		if z.bounds[i], err = compile(l.side, bound.source, cel.DoubleType); err != nil {
			return inside(bound.name, err)
		}
	}
	return inside("body", z.Body.complete())
}

func (b *BodyRule) complete() error {
	if err := b.Height.complete("m"); err != nil {
		return inside("height", err)
	}
	if b.Speed != nil {
		if err := b.Speed.complete("m/s"); err != nil {
			return inside("speed", err)
		}
	}
	if b.Held != nil {
		return inside("held", b.Held.complete("s"))
	}
	return nil
}

func (q *Quantity) complete(si string) error {
	u, err := unitNamed(q.Unit)
	if err != nil {
		return inside("unit", err)
	}
	if u.si != si {
		return inside("unit", fmt.Errorf("%s does not measure %s", q.Unit, si))
	}
	if !(q.Value > 0) || math.IsInf(q.Value, 0) {
		return inside("value", fmt.Errorf("%v: want a positive number", q.Value))
	}
	q.si = q.Value * u.factor
	return nil
}

// complete fills in the pack's standard and address and refuses a source that says less than its standing claims.
func (s *Source) complete(p *Pack, standing Standing) error {
	if !slices.Contains([]Standing{Found, SecondHand, CommonPractice, FromMemory}, standing) {
		return inside("standing", fmt.Errorf("%q: want found, second_hand, common_practice or from_memory", standing))
	}
	if s.Address != "" {
		address, ok := p.Addresses[s.Address]
		if !ok || address == "" {
			return inside("source", inside("address", fmt.Errorf("%q is not among the pack's addresses", s.Address)))
		}
		s.Address = address
	}
	if standing == CommonPractice {
		if s.Standard != "" || s.Edition != "" || s.Clause != "" {
			return inside("source", errors.New("common_practice has no standard, edition or clause; say in note who does it so"))
		}
		if s.Note == "" {
			return inside("source", errors.New("note: required for common_practice"))
		}
		return nil
	}
	if (s.Standard == "") != (s.Edition == "") {
		return inside("source", errors.New("standard and edition go together; leave out both for the pack's own"))
	}
	if s.Standard == "" {
		s.Standard, s.Edition = p.Standard, p.Edition
	}
	if standing != FromMemory && (s.Clause == "" || s.Address == "") {
		return inside("source", fmt.Errorf("%s needs clause and address", standing))
	}
	return nil
}
