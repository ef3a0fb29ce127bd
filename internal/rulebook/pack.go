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
	Addresses    map[string]string `yaml:"addresses"` // short names for long addresses
	Rules        []*Rule           `yaml:"rules"`
	ZoneRules    []*ZoneRule       `yaml:"zones"`
	Digest       string            `yaml:"-"` // SHA-256 of the pack's text in hex: says which text has judged

	scope *program // what must be known to say whether the pack is for a door
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

	when, measured, pass *program
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
	if err := decoder.Decode(new(yaml.Node)); !errors.Is(err, io.EOF) {
		return nil, errors.New("more than one document")
	}
	digest := sha256.Sum256(text)
	p.Digest = hex.EncodeToString(digest[:])
	return &p, p.complete(l)
}

var (
	packID = regexp.MustCompile(`^[a-z0-9]+([.-][a-z0-9]+)*@[a-z0-9]+([.+-][a-z0-9]+)*$`)
	ruleID = regexp.MustCompile(`^[a-z0-9]+(-[a-z0-9]+)*$`)
)

// complete checks a decoded pack and compiles it.
func (p *Pack) complete(l *language) error {
	switch {
	case !packID.MatchString(p.ID):
		return fmt.Errorf("id %q: want name@edition, each of lower-case words joined by - or .", p.ID)
	case !strings.HasSuffix(p.ID, "@"+p.Edition):
		return fmt.Errorf("id %q: want it to end with @%s, the edition", p.ID, p.Edition)
	case p.Standard == "" || p.Edition == "" || p.Jurisdiction == "":
		return errors.New("standard, edition and jurisdiction are all required")
	case !slices.Contains([]Role{Basis, Law, Owner, Company}, p.Role):
		return inside("role", fmt.Errorf("%q: want basis, law, owner or company", p.Role))
	case p.Title == "" || p.Caution == "":
		return errors.New("title and caution are both required")
	case len(p.Rules) == 0:
		return errors.New("rules: none")
	}
	p.scope = &program{facts: []factKind{factNamed("door_kind"), factNamed("energy")}}
	problems := []error{inside("applies_to", p.AppliesTo.check())}
	seen := map[string]bool{}
	once := func(what, id string) error {
		if !ruleID.MatchString(id) {
			return fmt.Errorf("%s id %q: want lower-case words, joined by -", what, id)
		}
		if seen[what+id] {
			return fmt.Errorf("%s %s: twice in this pack", what, id)
		}
		seen[what+id] = true
		return nil
	}
	for i, r := range p.Rules {
		if r == nil {
			problems = append(problems, inside("rules", errors.New("an empty rule"), "rules", i))
			continue
		}
		problems = append(problems, inside("rules", once("rule", r.ID), "rules", i, "id"), inside("rule "+r.ID, r.complete(l, p), "rules", i))
	}
	for i, z := range p.ZoneRules {
		if z == nil {
			problems = append(problems, inside("zones", errors.New("an empty zone"), "zones", i))
			continue
		}
		problems = append(problems, inside("zones", once("zone", z.ID), "zones", i, "id"), inside("zone "+z.ID, z.complete(l, p), "zones", i))
	}
	return errors.Join(problems...)
}

// inside says where in the pack a mistake is: for people, and as the keys that lead there; without keys, where is the key.
func inside(where string, err error, keys ...any) error {
	if err == nil {
		return nil
	}
	if keys == nil {
		keys = []any{where}
	}
	return &spot{where, keys, err}
}

func (a AppliesTo) check() error {
	if len(a.Kinds) == 0 || len(a.Energies) == 0 {
		return errors.New("kinds and energies are required")
	}
	for _, k := range a.Kinds {
		if !slices.Contains(factNamed("door_kind").values, string(k)) {
			return fmt.Errorf("unknown door kind %q", k)
		}
	}
	for _, e := range a.Energies {
		if !slices.Contains(factNamed("energy").values, string(e)) {
			return fmt.Errorf("unknown energy %q", e)
		}
	}
	return nil
}

func (r *Rule) complete(l *language, p *Pack) (err error) {
	if r.Title == "" || r.Asks == "" {
		return errors.New("title and asks are both required")
	}
	switch r.Severity {
	case Unsafe, Deficient, Advisory:
	default:
		return inside("severity", fmt.Errorf("severity %q: want unsafe, deficient or advisory", r.Severity))
	}
	if err := r.Source.complete(p, r.Standing); err != nil {
		return inside("source", err)
	}
	if r.when, err = compileWhen(l.facts, r.When); err != nil {
		return err
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
	if len(r.measured.readings) == 0 {
		return errors.New("measured: names no reading")
	}
	if err := r.Limit.complete(l); err != nil {
		return inside("limit", err)
	}
	if want := dimensionOf(r.Limit.unit.si); !r.measured.measures.bare && !r.measured.measures.near(want) {
		return fmt.Errorf("measured is in %s, the limit in %s", r.measured.measures, r.Limit.Unit)
	}
	return nil
}

// checkPass refuses limits that hide in an expression, where nobody sees their unit, and rules that pass on nothing.
func (p *program) checkPass() error {
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
		return err
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

func compileWhen(env *cel.Env, when Expression) (*program, error) {
	if when == "" {
		return nil, nil
	}
	p, err := compile(env, when, cel.BoolType)
	return p, inside("when", err)
}

func (z *ZoneRule) complete(l *language, p *Pack) (err error) {
	if z.Title == "" {
		return errors.New("title is required")
	}
	if z.Kind != ActivationZone && z.Kind != PresenceZone {
		return fmt.Errorf("kind %q: want activation or presence", z.Kind)
	}
	if err := z.Source.complete(p, z.Standing); err != nil {
		return inside("source", err)
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
		return err
	}
	if u.si != si {
		return fmt.Errorf("unit %s does not measure %s", q.Unit, si)
	}
	if !(q.Value > 0) || math.IsInf(q.Value, 0) {
		return fmt.Errorf("value %v: want a positive number", q.Value)
	}
	q.si = q.Value * u.factor
	return nil
}

// complete fills in the pack's standard and address and refuses a source that says less than its standing claims.
func (s *Source) complete(p *Pack, standing Standing) error {
	if s.Address != "" {
		address, ok := p.Addresses[s.Address]
		if !ok || address == "" {
			return fmt.Errorf("address %q is not among the pack's addresses", s.Address)
		}
		s.Address = address
	}
	if standing == CommonPractice {
		if s.Standard != "" || s.Edition != "" || s.Clause != "" {
			return errors.New("common_practice has no standard, edition or clause; say in note who does it so")
		}
		if s.Note == "" {
			return errors.New("note: required for common_practice")
		}
		return nil
	}
	if (s.Standard == "") != (s.Edition == "") {
		return errors.New("standard and edition go together; leave out both for the pack's own")
	}
	if s.Standard == "" {
		s.Standard, s.Edition = p.Standard, p.Edition
	}
	switch standing {
	case Found, SecondHand:
		if s.Clause == "" || s.Address == "" {
			return fmt.Errorf("%s needs clause and address", standing)
		}
	case FromMemory:
	default:
		return fmt.Errorf("standing %q: want found, second_hand, common_practice or from_memory", standing)
	}
	return nil
}
