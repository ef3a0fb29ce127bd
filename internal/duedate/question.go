package duedate

import (
	"bytes"
	"encoding/json"
	"fmt"
	"math"
	"slices"
	"time"

	"github.com/agnivade/levenshtein"
)

// Question is one line of the protocol of `lintel due`: a cycle, the days on which it was done, and how far to look.
type Question struct {
	Cycle Cycle
	Done  []Day
	Until Day
}

// ParseQuestion reads {"regime", "every_months", "anchor", "fixed_month", "tolerance_before_days", "done", "until"}; fixed_month belongs to its
// regime, tolerance_before_days is 0 and done is empty when nothing is said. An unknown, repeated or missing member, null, another type and what
// makes no sense are each a *CycleFault, its Member empty when it is the line as a whole.
func ParseQuestion(line []byte) (Question, error) {
	q := Question{}
	members := map[string]func(value any) error{
		"regime":                func(v any) error { return text(v, func(s string) error { q.Cycle.Regime = Regime(s); return nil }) },
		"every_months":          func(v any) error { return whole(v, func(n int) { q.Cycle.EveryMonths = n }) },
		"anchor":                func(v any) error { return date(v, func(d Day) { q.Cycle.Anchor = d }) },
		"fixed_month":           func(v any) error { return whole(v, func(n int) { q.Cycle.FixedMonth = time.Month(n) }) },
		"tolerance_before_days": func(v any) error { return whole(v, func(n int) { q.Cycle.ToleranceBeforeDays = n }) },
		"until":                 func(v any) error { return date(v, func(d Day) { q.Until = d }) },
		"done": func(v any) error {
			list, ok := v.([]any)
			if !ok {
				return fmt.Errorf("must be a list of dates")
			}
			for i, one := range list {
				if err := date(one, func(d Day) { q.Done = append(q.Done, d) }); err != nil {
					return fmt.Errorf("at %d: %w", i, err)
				}
			}
			return nil
		},
	}
	given, err := membersOf(line)
	if err != nil {
		return Question{}, err
	}
	for _, name := range given.names {
		set, ok := members[name]
		if !ok {
			return Question{}, &CycleFault{quoted(name), "is not known; did you mean " + nearest(name, members) + "?"}
		}
		if err := set(given.values[name]); err != nil {
			return Question{}, &CycleFault{name, err.Error()}
		}
	}
	for _, name := range []string{"regime", "every_months", "anchor", "until"} {
		if !slices.Contains(given.names, name) {
			return Question{}, &CycleFault{name, "is missing"}
		}
	}
	if slices.Contains(given.names, "fixed_month") && q.Cycle.FixedMonth == 0 {
		return Question{}, &CycleFault{"fixed_month", "must be a whole number from 1 to 12"}
	}
	return q, q.Cycle.Validate()
}

func nearest(name string, members map[string]func(any) error) string {
	known := []string{}
	for one := range members {
		known = append(known, one)
	}
	slices.Sort(known)
	return slices.MinFunc(known, func(a, b string) int {
		return levenshtein.ComputeDistance(name, a) - levenshtein.ComputeDistance(name, b)
	})
}

// jsonMembers are those of an object in the order of the text.
type jsonMembers struct {
	names  []string
	values map[string]any
}

// membersOf reads an object; a member that is given twice is refused, numbers stay as they are written.
func membersOf(line []byte) (jsonMembers, error) {
	m := jsonMembers{values: map[string]any{}}
	if len(bytes.TrimSpace(line)) == 0 {
		return m, &CycleFault{"", "is empty; want a JSON object"}
	}
	if !json.Valid(line) {
		return m, &CycleFault{"", "is not JSON"}
	}
	d := json.NewDecoder(bytes.NewReader(line))
	d.UseNumber()
	if t, err := d.Token(); err != nil || t != json.Delim('{') {
		return m, &CycleFault{"", "must be a JSON object"}
	}
	for d.More() {
		t, err := d.Token()
		if err != nil {
			return m, &CycleFault{"", err.Error()}
		}
		name := t.(string)
		if slices.Contains(m.names, name) {
			return m, &CycleFault{quoted(name), "is given twice"}
		}
		var value any
		if err := d.Decode(&value); err != nil {
			return m, &CycleFault{quoted(name), err.Error()}
		}
		m.names, m.values[name] = append(m.names, name), value
	}
	return m, nil
}

func text(value any, take func(string) error) error {
	s, ok := value.(string)
	if !ok {
		return fmt.Errorf("must be a text")
	}
	return take(s)
}

func date(value any, take func(Day)) error {
	return text(value, func(s string) error {
		d, err := ParseDay(s)
		if err == nil {
			take(d)
		}
		return err
	})
}

// whole takes a whole number, however it is written: 12, 12.0, 1.2e1. One that no member can mean is cut to one that each refuses in its own words.
func whole(value any, take func(int)) error {
	n, ok := value.(json.Number)
	if !ok {
		return fmt.Errorf("must be a whole number")
	}
	f, _ := n.Float64() // ±Inf when it is out of a float's range
	if f != math.Trunc(f) {
		return fmt.Errorf("must be a whole number, not %s", n)
	}
	const farOut = 1e6
	take(int(max(-farOut, min(farOut, f))))
	return nil
}
