package rulebook

import (
	"fmt"
	"slices"
	"strings"
)

// Change is one way in which a pack differs from another.
type Change struct {
	Rule string     // id of the rule, zone or computed reading; "" for the pack itself
	Kind ChangeKind // also the last part of a message key, "pack.change.<kind>"
	What string     // the member that differs, for a change of one
	From string
	To   string
}

// ChangeKind says what became of a rule.
type ChangeKind string

const (
	RuleAdded   ChangeKind = "added"
	RuleRemoved ChangeKind = "removed"
	Changed     ChangeKind = "changed"

	QuestionAdded   ChangeKind = "question_added"
	QuestionRemoved ChangeKind = "question_removed"
)

// Diff says what changes for a door when it is judged by b instead of by a: what is for whom, and every rule or computed reading that
// came, went or says something else. Rules are the same when they have the same id. In the order of b, what is gone last.
func Diff(a, b *Pack) (changes []Change) {
	changed := func(rule, what, from, to string) {
		if from != to {
			changes = append(changes, Change{rule, Changed, what, from, to})
		}
	}
	changed("", "kinds", fmt.Sprint(a.AppliesTo.Kinds), fmt.Sprint(b.AppliesTo.Kinds))
	changed("", "energies", fmt.Sprint(a.AppliesTo.Energies), fmt.Sprint(b.AppliesTo.Energies))
	changed("", "signed_by", fmt.Sprint(a.Certificates()), fmt.Sprint(b.Certificates()))
	for _, c := range b.Computed {
		i := slices.IndexFunc(a.Computed, func(o *Computed) bool { return o.ID == c.ID })
		if i < 0 {
			changes = append(changes, Change{Rule: c.ID, Kind: RuleAdded, To: c.Title})
			continue
		}
		o := a.Computed[i]
		changed(c.ID, "value", string(o.Value), string(c.Value))
		changed(c.ID, "prefers", o.Prefers, c.Prefers)
		changed(c.ID, "standing", string(o.Standing), string(c.Standing))
	}
	changes = append(changes, diffQuestions(a.Questions, b.Questions)...)
	for _, r := range b.Rules {
		if r.Question != nil {
			continue
		}
		i := slices.IndexFunc(a.Rules, func(o *Rule) bool { return o.ID == r.ID })
		if i < 0 {
			changes = append(changes, Change{Rule: r.ID, Kind: RuleAdded, To: r.Title})
			continue
		}
		o := a.Rules[i]
		changed(r.ID, "when", string(o.When), string(r.When))
		changed(r.ID, "measured", string(o.Measured)+string(o.Pass), string(r.Measured)+string(r.Pass))
		changed(r.ID, "limit", o.Limit.String(), r.Limit.String())
		changed(r.ID, "severity", string(o.Severity), string(r.Severity))
		changed(r.ID, "standing", string(o.Standing), string(r.Standing))
	}
	for _, z := range b.ZoneRules {
		i := slices.IndexFunc(a.ZoneRules, func(o *ZoneRule) bool { return o.ID == z.ID })
		if i < 0 {
			changes = append(changes, Change{Rule: z.ID, Kind: RuleAdded, To: z.Title})
			continue
		}
		o := a.ZoneRules[i]
		changed(z.ID, "when", string(o.When), string(z.When))
		changed(z.ID, "zone", o.area(), z.area())
		changed(z.ID, "standing", string(o.Standing), string(z.Standing))
	}
	for _, c := range a.Computed {
		if !slices.ContainsFunc(b.Computed, func(o *Computed) bool { return o.ID == c.ID }) {
			changes = append(changes, Change{Rule: c.ID, Kind: RuleRemoved, From: c.Title})
		}
	}
	for _, q := range a.Questions {
		if !slices.ContainsFunc(b.Questions, func(o *Question) bool { return o.ID == q.ID }) {
			changes = append(changes, Change{Rule: q.ID, Kind: QuestionRemoved, From: q.Title})
		}
	}
	for _, r := range a.Rules {
		if r.Question == nil && !slices.ContainsFunc(b.Rules, func(o *Rule) bool { return o.ID == r.ID }) {
			changes = append(changes, Change{Rule: r.ID, Kind: RuleRemoved, From: r.Title})
		}
	}
	for _, z := range a.ZoneRules {
		if !slices.ContainsFunc(b.ZoneRules, func(o *ZoneRule) bool { return o.ID == z.ID }) {
			changes = append(changes, Change{Rule: z.ID, Kind: RuleRemoved, From: z.Title})
		}
	}
	return changes
}

// diffQuestions says what is asked otherwise in b: also what only a person who is asked sees, since it is sealed with the answer.
func diffQuestions(a, b []*Question) (changes []Change) {
	for _, q := range b {
		i := slices.IndexFunc(a, func(o *Question) bool { return o.ID == q.ID })
		if i < 0 {
			changes = append(changes, Change{Rule: q.ID, Kind: QuestionAdded, To: q.Title})
			continue
		}
		o := a[i]
		for _, one := range []struct{ what, from, to string }{
			{"title", o.Title, q.Title}, {"asks", o.Asks, q.Asks}, {"answer", o.answers(), q.answers()}, {"station", string(o.Station), string(q.Station)}, {"each", string(o.reading.Each), string(q.reading.Each)},
			{"required", fmt.Sprint(o.Required), fmt.Sprint(q.Required)}, {"when", string(o.When), string(q.When)}, {"wanted", strings.Join(o.Wanted, ", "), strings.Join(q.Wanted, ", ")},
			{"limit", o.Limit.String(), q.Limit.String()}, {"severity", string(o.Severity), string(q.Severity)}, {"standing", string(o.Standing), string(q.Standing)},
		} {
			if one.from != one.to {
				changes = append(changes, Change{q.ID, Changed, one.what, one.from, one.to})
			}
		}
	}
	return changes
}

// answers says how the question is answered: yes_no, number in m from 0 to 2, choice of good, worn.
func (q *Question) answers() string {
	switch q.Answer {
	case Number:
		return fmt.Sprintf("%s in %s from %g to %g", q.Answer, q.Unit, q.reading.Min, q.reading.Max)
	case Choice:
		return fmt.Sprintf("%s of %s", q.Answer, strings.Join(q.Choices, ", "))
	}
	return string(q.Answer)
}

// String writes a limit as the pack has it: its formulas and its unit.
func (limit *Limit) String() string {
	switch {
	case limit == nil:
		return ""
	case limit.AtLeast != "" && limit.AtMost != "":
		return fmt.Sprintf("%s ≤ x ≤ %s %s", limit.AtLeast, limit.AtMost, limit.Unit)
	case limit.AtLeast != "":
		return fmt.Sprintf("≥ %s %s", limit.AtLeast, limit.Unit)
	}
	return fmt.Sprintf("≤ %s %s", limit.AtMost, limit.Unit)
}

func (z *ZoneRule) area() string {
	return fmt.Sprintf("x %s to %s, y %s to %s m", z.X0, z.X1, z.Y0, z.Y1)
}
