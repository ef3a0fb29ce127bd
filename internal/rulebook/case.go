package rulebook

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"slices"
	"strings"

	"github.com/agnivade/levenshtein"
)

// Case is a door at one visit, as the line protocol gives it: what `lintel judge` is asked about.
type Case struct {
	Facts    Facts
	Readings []Used // of the door as a whole, in the catalogue's order
}

// CaseError is what is wrong with a line, and where: "readings.latch_time_s", or "" for the text as a whole.
type CaseError struct {
	Member string
	What   string
}

func (e *CaseError) Error() string {
	if e.Member == "" {
		return e.What
	}
	return e.Member + ": " + e.What
}

// ParseCase reads {"door": {facts}, "visit": {facts}, "readings": {name: value or {"value", "uncertainty"}}}. All three may be left
// out. A repeated or unknown member, null, another type and a value out of its range are each a *CaseError.
//
// A door of this protocol has one activation, and leaves of one width and mass (leaf_count of them, 1 when only their size is said). What the
// protocol has no name for is taken as most doors have it, unless the line says otherwise: presence_by "overhead_sensor",
// vulnerable_users false, egress_breakout the same as egress.
func ParseCase(line []byte) (Case, error) {
	text, err := readCase(line)
	if err != nil {
		return Case{}, err
	}
	c := Case{}
	for _, group := range []struct {
		name    string
		members []caseMember
	}{{"door", doorMembers()}, {"visit", visitMembers()}} {
		for _, m := range text[group.name] {
			i := slices.IndexFunc(group.members, func(k caseMember) bool { return k.name == m.name })
			if i < 0 {
				return Case{}, unknownMember(group.name, m.name, names(group.members))
			}
			if err := group.members[i].take(&c.Facts, m.value); err != nil {
				return Case{}, &CaseError{group.name + "." + m.name, err.Error()}
			}
		}
	}
	c.complete(text["door"])
	for _, m := range text["readings"] {
		u, err := caseReading(m)
		if err != nil {
			return Case{}, err
		}
		c.Readings = append(c.Readings, u)
	}
	return c, nil
}

// complete fills in what the protocol has no name for, and gives the leaves their number.
func (c *Case) complete(door []member) {
	f := &c.Facts
	if f.PresenceBy == "" {
		f.PresenceBy = OverheadSensor
	}
	if f.VulnerableUsers == nil {
		f.VulnerableUsers = new(bool)
	}
	if f.EgressBreakout == nil {
		f.EgressBreakout = f.Egress
	}
	count := 0.0
	var size LeafFacts
	for _, m := range door {
		number, _ := numberOf(m.value)
		switch m.name {
		case "leaf_count":
			count = number
		case "leaf_width_m":
			size.WidthM = &number
		case "leaf_mass_kg":
			size.MassKg = &number
		}
	}
	if count == 0 && (size.WidthM != nil || size.MassKg != nil) {
		count = 1
	}
	f.Leaves = slices.Repeat([]LeafFacts{size}, int(count))
}

// caseMember is one fact that a line may say.
type caseMember struct {
	name string
	take func(*Facts, any) error
}

func names(members []caseMember) (names []string) {
	for _, m := range members {
		names = append(names, m.name)
	}
	return names
}

func doorMembers() []caseMember {
	leaf := func(name string) factKind {
		i := slices.IndexFunc(leafKinds(), func(k factKind) bool { return "leaf_"+k.name == name })
		return leafKinds()[i]
	}
	return []caseMember{
		word("door_kind", factNamed("door_kind").values, func(f *Facts, v string) { f.DoorKind = DoorKind(v) }),
		word("energy", factNamed("energy").values, func(f *Facts, v string) { f.Energy = Energy(v) }),
		word("activation", factNamed("activation").values, func(f *Facts, v string) { f.ActivationA, f.ActivationB = Activation(v), Activation(v) }),
		word("activation_a", factNamed("activation_a").values, func(f *Facts, v string) { f.ActivationA = Activation(v) }),
		word("activation_b", factNamed("activation_b").values, func(f *Facts, v string) { f.ActivationB = Activation(v) }),
		word("traffic", []string{oneWay, string(TwoWay)}, func(f *Facts, v string) { f.Traffic = Traffic(v) }),
		word("presence_by", factNamed("presence_by").values, func(f *Facts, v string) { f.PresenceBy = Presence(v) }),
		yes("egress", func(f *Facts, v *bool) { f.Egress = v }),
		yes("egress_breakout", func(f *Facts, v *bool) { f.EgressBreakout = v }),
		yes("fire_rated", func(f *Facts, v *bool) { f.FireRated = v }),
		yes("interior", func(f *Facts, v *bool) { f.Interior = v }),
		yes("vulnerable_users", func(f *Facts, v *bool) { f.VulnerableUsers = v }),
		amount("leaf_width_m", leaf("leaf_width_m"), func(*Facts, *float64) {}), // the leaves are made when all is read
		amount("leaf_mass_kg", leaf("leaf_mass_kg"), func(*Facts, *float64) {}),
		{"leaf_count", func(_ *Facts, value any) error {
			n, ok := numberOf(value)
			if k := factNamed("leaf_count"); !ok || n != float64(int(n)) || n < k.min || n > k.max {
				return fmt.Errorf("must be a whole number from %g to %g, not %s", k.min, k.max, kindOf(value))
			}
			return nil
		}},
		amount("clear_width_m", factNamed("clear_width_m"), func(f *Facts, v *float64) { f.ClearWidthM = v }),
	}
}

func visitMembers() []caseMember {
	return []caseMember{
		word("mode", factNamed("mode").values, func(f *Facts, v string) { f.Mode = Mode(v) }),
		yes("inspector_certified", func(f *Facts, v *bool) { f.InspectorCertified = v }),
	}
}

func word(name string, values []string, set func(*Facts, string)) caseMember {
	return caseMember{name, func(f *Facts, value any) error {
		text, ok := value.(string)
		if !ok || !slices.Contains(values, text) {
			return fmt.Errorf("must be one of %s, not %s", strings.Join(values, ", "), kindOf(value))
		}
		set(f, text)
		return nil
	}}
}

func yes(name string, set func(*Facts, *bool)) caseMember {
	return caseMember{name, func(f *Facts, value any) error {
		is, ok := value.(bool)
		if !ok {
			return fmt.Errorf("must be true or false, not %s", kindOf(value))
		}
		set(f, &is)
		return nil
	}}
}

func amount(name string, k factKind, set func(*Facts, *float64)) caseMember {
	return caseMember{name, func(f *Facts, value any) error {
		number, ok := numberOf(value)
		if !ok || numberProblem(number, k.min, k.max) != "" {
			return fmt.Errorf("must be a number from %g to %g, not %s", k.min, k.max, kindOf(value))
		}
		set(f, &number)
		return nil
	}}
}

func caseReading(m member) (Used, error) {
	path := "readings." + m.name
	i := slices.IndexFunc(Readings(), func(k ReadingKind) bool { return k.Name == m.name })
	if i < 0 {
		known := []string{}
		for _, k := range Readings() {
			known = append(known, k.Name)
		}
		return Used{}, unknownMember("readings", m.name, known)
	}
	k := Readings()[i]
	value, uncertainty := m.value, (*float64)(nil)
	if parts, ok := m.value.([]member); ok {
		value = nil
		for _, part := range parts {
			switch part.name {
			case "value":
				value = part.value
			case "uncertainty":
				number, ok := numberOf(part.value)
				if !ok || number < 0 {
					return Used{}, &CaseError{path + ".uncertainty", "must be a number, 0 or more, not " + kindOf(part.value)}
				}
				uncertainty = &number
			default:
				return Used{}, unknownMember(path, part.name, []string{"value", "uncertainty"})
			}
		}
		if value == nil {
			return Used{}, &CaseError{path + ".value", "is missing"}
		}
	}
	if k.Kind == YesNo {
		is, ok := value.(bool)
		switch {
		case !ok:
			return Used{}, &CaseError{path, "must be true or false, not " + kindOf(value)}
		case uncertainty != nil:
			return Used{}, &CaseError{path + ".uncertainty", "is for measured values only"}
		}
		return Used{k.Name, Answered(is)}, nil
	}
	number, ok := numberOf(value)
	if !ok || numberProblem(number, k.Min, k.Max) != "" {
		return Used{}, &CaseError{path, fmt.Sprintf("must be a number from %g to %g, not %s", k.Min, k.Max, kindOf(value))}
	}
	r := Measured(number, k.Unit)
	r.Uncertainty = uncertainty
	return Used{k.Name, r}, nil
}

// unknownMember says so and names the nearest that there is.
func unknownMember(where, name string, known []string) error {
	nearest := slices.MinFunc(known, func(a, b string) int {
		return levenshtein.ComputeDistance(name, a) - levenshtein.ComputeDistance(name, b)
	})
	if where != "" {
		where += "."
	}
	return &CaseError{where + quoted(name), "is not known; did you mean " + nearest + "?"}
}

// member is one member of a JSON object, in the order of the text. Its value is a string, json.Number, bool, nil or []member.
type member struct {
	name  string
	value any
}

// readCase reads the three groups.
func readCase(line []byte) (map[string][]member, error) {
	if !json.Valid(line) {
		return nil, &CaseError{"", notJSON(line)}
	}
	d := json.NewDecoder(bytes.NewReader(line))
	d.UseNumber()
	if t, err := d.Token(); err != nil || t != json.Delim('{') {
		return nil, &CaseError{"", "must be a JSON object"}
	}
	all, err := readMembers(d, "")
	if err != nil {
		return nil, err
	}
	groups := map[string][]member{}
	for _, m := range all {
		if !slices.Contains([]string{"door", "visit", "readings"}, m.name) {
			return nil, unknownMember("", m.name, []string{"door", "visit", "readings"})
		}
		group, ok := m.value.([]member)
		if !ok {
			return nil, &CaseError{m.name, "must be an object, not " + kindOf(m.value)}
		}
		groups[m.name] = group
	}
	return groups, nil
}

// readMembers reads the members of an object whose opening brace was read. Lists are nowhere allowed.
func readMembers(d *json.Decoder, path string) ([]member, error) {
	list := []member{}
	for d.More() {
		t, err := d.Token()
		if err != nil {
			return nil, &CaseError{path, err.Error()}
		}
		name := t.(string)
		where := strings.TrimPrefix(path+"."+quoted(name), ".")
		if slices.ContainsFunc(list, func(m member) bool { return m.name == name }) {
			return nil, &CaseError{where, "is given twice"}
		}
		t, err = d.Token()
		if err != nil {
			return nil, &CaseError{where, err.Error()}
		}
		var value any = t
		switch t {
		case json.Delim('{'):
			if strings.Count(where, ".") > 1 {
				return nil, &CaseError{where, "must be a single value"}
			}
			if value, err = readMembers(d, where); err != nil {
				return nil, err
			}
		case json.Delim('['):
			return nil, &CaseError{where, "must not be a list"}
		}
		list = append(list, member{name, value})
	}
	_, err := d.Token()
	if err != nil && !errors.Is(err, io.EOF) {
		return nil, &CaseError{path, err.Error()}
	}
	return list, nil
}

func notJSON(line []byte) string {
	if len(bytes.TrimSpace(line)) == 0 {
		return "is empty; want a JSON object"
	}
	err := json.Unmarshal(line, new(any))
	var syntax *json.SyntaxError
	if errors.As(err, &syntax) {
		return fmt.Sprintf("is not JSON: %s (at byte %d)", strings.TrimPrefix(syntax.Error(), "json: "), syntax.Offset)
	}
	return "is not JSON"
}

func numberOf(value any) (float64, bool) {
	n, ok := value.(json.Number)
	if !ok {
		return 0, false
	}
	number, err := n.Float64()
	return number, err == nil
}

// kindOf says what stands where something else was wanted.
func kindOf(value any) string {
	switch v := value.(type) {
	case nil:
		return "null"
	case string:
		return quoted(v)
	case json.Number:
		return quotedBare(v.String())
	case bool:
		return fmt.Sprint(v)
	}
	return "an object"
}

// longestName is how much of a stranger's text is said back.
const longestName = 60

func quotedBare(text string) string {
	if runes := []rune(text); len(runes) > longestName {
		return string(runes[:longestName]) + "…"
	}
	return text
}

// quoted gives a name back in one line: as it is when it is a plain one, else quoted and cut.
func quoted(name string) string {
	plain := name != "" && strings.IndexFunc(name, func(r rune) bool { return r != '_' && (r < '0' || r > '9') && (r < 'a' || r > 'z') }) < 0
	name = quotedBare(name)
	if plain {
		return name
	}
	return fmt.Sprintf("%q", name)
}
