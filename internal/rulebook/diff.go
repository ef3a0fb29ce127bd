package rulebook

import (
	"fmt"
	"slices"
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
	for _, r := range b.Rules {
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
	for _, r := range a.Rules {
		if !slices.ContainsFunc(b.Rules, func(o *Rule) bool { return o.ID == r.ID }) {
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
