package rulebook

import (
	"errors"
	"fmt"
	"math"
	"regexp"
	"slices"
	"strings"

	"cel.dev/cel-go/cel"
)

// Computed is a reading that nobody takes: it is worked out from readings, facts and other computed readings. Expressions name it as
// `computed.leaf_energy_j`, in `measured`, in limits and in `when`.
type Computed struct {
	ID    string     `yaml:"id"` // ends in its unit, as a reading's name does
	Title string     `yaml:"title"`
	Unit  string     `yaml:"unit"`  // SI
	Value Expression `yaml:"value"` // over facts, readings and other computed readings
	// Prefers names the reading that is the value wherever somebody took it. A gauge that saw the peak beats a mean that was worked out.
	Prefers  string   `yaml:"prefers"`
	Standing Standing `yaml:"standing"`
	Source   Source   `yaml:"source"`

	value   *program
	prefers *ReadingKind
}

// computedPrefix stands before a computed reading's id in an expression.
const computedPrefix = "computed."

// computedID is a name as readings have it.
var computedID = regexp.MustCompile(`^[a-z][a-z0-9]*(_[a-z0-9]+)+$`)

// Worked is a computed reading as it came out for a door.
type Worked struct {
	Name     string   `json:"name"`
	Title    string   `json:"title"`
	Value    float64  `json:"value"` // in Unit
	Low      *float64 `json:"low,omitempty"`
	High     *float64 `json:"high,omitempty"` // Value with the uncertainty of what it was worked out from; nil when none was stated
	Unit     string   `json:"unit"`
	Standing Standing `json:"standing"` // of the formula
	Source   Source   `json:"source"`
}

// completeComputed checks and compiles the pack's computed readings and gives the language that may name them. What is misnamed is
// left out of it, and its users say so.
func (p *Pack) completeComputed(l *language) (*language, []error) {
	if len(p.Computed) == 0 {
		return l, nil
	}
	var problems []error
	known := map[string]*Computed{}
	place := map[*Computed]int{}
	for i, c := range p.Computed {
		switch {
		case c == nil:
			problems = append(problems, inside("computed", errors.New("an empty computed reading"), "computed", i))
			continue
		case !computedID.MatchString(c.ID):
			problems = append(problems, inside("computed", fmt.Errorf("computed id %q: want lower-case words joined by _, the last one the unit", c.ID), "computed", i, "id"))
			continue
		case known[c.ID] != nil:
			problems = append(problems, inside("computed", fmt.Errorf("computed %s: twice in this pack", c.ID), "computed", i, "id"))
			continue
		case IsReading(c.ID) || slices.ContainsFunc(factKinds(), func(k factKind) bool { return k.name == c.ID }):
			problems = append(problems, inside("computed", fmt.Errorf("computed %s: a reading or a fact has that name", c.ID), "computed", i, "id"))
		}
		known[c.ID], place[c] = c, i
	}
	with, err := l.with(known)
	if err != nil {
		return l, append(problems, err)
	}
	complain := func(c *Computed, err error) {
		if err != nil {
			problems = append(problems, inside("computed "+c.ID, err, "computed", place[c]))
		}
	}
	done := map[*Computed]bool{}
	var way []string
	var visit func(*Computed)
	visit = func(c *Computed) { // what it names comes first
		if done[c] {
			return
		}
		if from := slices.Index(way, c.ID); from >= 0 {
			complain(c, inside("value", fmt.Errorf("goes in a circle: %s", strings.Join(append(slices.Clone(way[from:]), c.ID), ", then "))))
			return
		}
		way = append(way, c.ID)
		for _, other := range namedIn(with.readings, c.Value) {
			visit(known[other])
		}
		way = way[:len(way)-1]
		if !done[c] {
			done[c] = true
			complain(c, c.complete(with, p))
		}
	}
	for _, c := range p.Computed {
		if known[c.idOrNone()] == c && c != nil {
			visit(c)
		}
	}
	return with, problems
}

func (c *Computed) idOrNone() string {
	if c == nil {
		return ""
	}
	return c.ID
}

// namedIn gives the computed readings that an expression names; none when it does not compile.
func namedIn(v vocabulary, source Expression) (ids []string) {
	compiled, issues := v.env.Compile(string(source))
	if issues.Err() != nil {
		return nil
	}
	for _, r := range compiled.NativeRep().ReferenceMap() {
		if id, is := strings.CutPrefix(r.Name, computedPrefix); is && !slices.Contains(ids, id) {
			ids = append(ids, id)
		}
	}
	slices.Sort(ids)
	return ids
}

func (c *Computed) complete(l *language, p *Pack) (err error) {
	if err := required("title", c.Title, "unit", c.Unit, "value", string(c.Value), "standing", string(c.Standing)); err != nil {
		return err
	}
	if err := c.Source.complete(p, c.Standing); err != nil {
		return inside("source", err)
	}
	u, err := unitNamed(c.Unit)
	if err != nil {
		return inside("unit", err)
	}
	if u.si != c.Unit {
		return inside("unit", fmt.Errorf("%s is no SI unit: write %s, and let the limit name its own", c.Unit, u.si))
	}
	if !strings.HasSuffix(c.ID, suffixOf(c.Unit)) {
		return inside("id", fmt.Errorf("%s is in %s: want it to end in %s", c.ID, c.Unit, suffixOf(c.Unit)))
	}
	if c.Prefers != "" {
		k := readingNamed(c.Prefers)
		if i := slices.IndexFunc(l.readings.own, func(o ReadingKind) bool { return o.Name == c.Prefers }); i >= 0 {
			k = &l.readings.own[i]
		}
		switch {
		case k == nil || IsOwn(k.Name) && k.Title == "":
			return inside("prefers", fmt.Errorf("there is no reading %s", c.Prefers))
		case k.Unit != c.Unit || k.Kind != Number:
			return inside("prefers", fmt.Errorf("%s is no reading in %s", c.Prefers, c.Unit))
		}
		c.prefers = k
	}
	value, err := compile(l.readings, c.Value, cel.DoubleType)
	if err != nil {
		return inside("value", err)
	}
	if len(value.facts)+len(value.readings)+len(value.computed) == 0 && !value.leaves {
		return inside("value", errors.New("names neither a reading nor a fact"))
	}
	if !value.measures.bare && !value.measures.near(dimensionOf(c.Unit)) {
		return inside("value", fmt.Errorf("is in %s, the computed reading in %s", value.measures, c.Unit))
	}
	c.value = value
	return nil
}

// suffixOf is how the name of a quantity in that SI unit ends.
func suffixOf(si string) string {
	switch si {
	case "m/s":
		return "_mps"
	}
	return "_" + strings.ToLower(si)
}

// unusedComputed complains of what no rule names, by way of others or not.
func (p *Pack) unusedComputed() (problems []error) {
	used := map[*Computed]bool{}
	var mark func(programs ...*program)
	mark = func(programs ...*program) {
		for _, from := range programs {
			if from == nil {
				continue
			}
			for _, c := range from.computed {
				if !used[c] {
					used[c] = true
					mark(c.value)
				}
			}
		}
	}
	for _, r := range p.Rules {
		mark(r.programs...)
	}
	for i, c := range p.Computed {
		if !used[c] {
			problems = append(problems, inside("computed "+c.ID, errors.New("no rule uses it"), "computed", i, "id"))
		}
	}
	return problems
}

// isTaken tells whether the reading that is preferred to the formula was taken, usable or not.
func (s *situation) isTaken(c *Computed) bool {
	if c.prefers == nil {
		return false
	}
	return s.reading(c.prefers.Name).IsTaken()
}

// parts gives the computed readings that these programs rest on, given what was read: each once, what it rests on before it. Nothing
// is behind one whose preferred reading was taken.
func (s *situation) parts(programs ...*program) (list []*Computed) {
	var visit func(*program)
	visit = func(p *program) {
		for _, c := range p.computed {
			if slices.Contains(list, c) {
				continue
			}
			if !s.isTaken(c) {
				visit(c.value)
			}
			if !slices.Contains(list, c) {
				list = append(list, c)
			}
		}
	}
	for _, p := range programs {
		if p != nil {
			visit(p)
		}
	}
	return list
}

// workedOut gives those of the parts that nobody read.
func (s *situation) workedOut(programs ...*program) []*Computed {
	return slices.DeleteFunc(s.parts(programs...), s.isTaken)
}

// work is the same door with everything worked out that the program names.
func (s *situation) work(p *program) (*situation, error) {
	if len(p.computed) == 0 {
		return s, nil
	}
	o := *s
	o.worked = map[string]float64{}
	for _, c := range s.parts(p) {
		if s.isTaken(c) {
			o.worked[c.ID] = s.read(c.prefers.Name)
			continue
		}
		out, err := o.eval(c.value)
		if err != nil {
			return nil, err
		}
		if o.worked[c.ID], err = finite(out); err != nil {
			return nil, err
		}
	}
	return &o, nil
}

// show writes down how everything came out that was worked out for these programs.
func (s *situation) show(programs ...*program) (list []Worked, err error) {
	for _, c := range s.workedOut(programs...) {
		value, low, high, err := s.interval(c.value)
		if err != nil {
			return nil, err
		}
		w := Worked{Name: c.ID, Title: c.Title, Value: value, Unit: c.Unit, Standing: c.Standing, Source: c.Source}
		if low < high {
			w.Low, w.High = &low, &high
		}
		list = append(list, w)
	}
	return list, nil
}

// shaky tells whether anything that has to be worked out for these programs rests on a formula that is only recalled.
func (s *situation) shaky(programs ...*program) bool {
	return slices.ContainsFunc(s.workedOut(programs...), func(c *Computed) bool { return c.Standing.Weight() == Unverified })
}

// MeanSwingSpeed is the mean speed in metres per second of the leading edge of a leaf (width in metres), the fastest part of it,
// that turns through angleDeg degrees in timeS seconds. Its centre of mass has half of that.
func MeanSwingSpeed(widthM, angleDeg, timeS float64) float64 {
	return widthM * angleDeg * math.Pi / 180 / timeS
}
