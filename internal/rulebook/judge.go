package rulebook

import (
	"math"
	"slices"
)

// Outcome of one rule.
type Outcome string

const (
	Passed        Outcome = "passed"
	Failed        Outcome = "failed"
	NotJudged     Outcome = "not_judged"
	NotApplicable Outcome = "not_applicable"
)

// Reason says why a rule was not judged or does not apply. It is also the last part of a message key, "rulebook.reason.<reason>".
type Reason string

const (
	RuleDoesNotApply Reason = "rule_does_not_apply"
	PackIsForOthers  Reason = "pack_is_for_other_doors" // the pack does not cover doors of this kind and energy
	InputsUnusable   Reason = "inputs_unusable"         // missing or impossible: see the gaps
	NotComputable    Reason = "not_computable"          // inputs are there, but the arithmetic has no finite result
)

// Verdict is what one rule says about one door.
type Verdict struct {
	RuleID   string      `json:"rule_id"`
	TitleKey string      `json:"title_key"`
	Outcome  Outcome     `json:"outcome"`
	Weight   Weight      `json:"weight"`
	Readings []Used      `json:"readings,omitempty"` // the readings that were judged, as they came
	Measured *Amount     `json:"measured,omitempty"` // what was held against the limit, in the limit's unit
	Limit    *BoundsUsed `json:"limit,omitempty"`
	Severity Severity    `json:"severity"` // what a failure is proposed to be; never more than advisory when unverified
	Source   Source      `json:"source"`
	Standing Standing    `json:"standing"`
	Reason   Reason      `json:"reason,omitempty"` // of not_judged and not_applicable
	Gaps     []Gap       `json:"gaps,omitempty"`   // the inputs at fault
}

// Used is a reading that a verdict rests on.
type Used struct {
	Name string `json:"name"`
	Reading
}

// BoundsUsed is a limit with its formulas worked out for the door.
type BoundsUsed struct {
	AtLeast *Amount `json:"at_least,omitempty"`
	AtMost  *Amount `json:"at_most,omitempty"`
}

// Judge holds the readings (by name, see Readings) against every rule of the pack and gives one verdict a rule, in the
// pack's order. Readings that no rule needs are not looked at. The same input always gives the same verdicts.
func (p *Pack) Judge(facts Facts, readings map[string]Reading) []Verdict {
	s := newSituation(facts, readings)
	verdicts := make([]Verdict, len(p.Rules))
	for i, r := range p.Rules {
		verdicts[i] = r.judge(p, s)
	}
	return verdicts
}

func (r *Rule) judge(p *Pack, s *situation) Verdict {
	v := Verdict{
		RuleID: r.ID, TitleKey: r.TitleKey, Outcome: NotJudged, Weight: r.Standing.Weight(),
		Severity: r.Severity, Source: r.Source, Standing: r.Standing,
	}
	if v.Weight == Unverified {
		v.Severity = Advisory
	}
	var applies bool
	if applies, v.Reason, v.Gaps = s.applies(p, r.when); !applies {
		if v.Reason == RuleDoesNotApply {
			v.Outcome = NotApplicable
		}
		return v
	}
	if v.Gaps = s.allGaps(r.inputs()...); v.Gaps != nil {
		v.Reason = InputsUnusable
		return v
	}
	for _, k := range r.readings() {
		v.Readings = append(v.Readings, Used{k.Name, s.readings[k.Name]})
	}
	var passed bool
	var err error
	if r.pass != nil {
		passed, err = s.truth(r.pass)
	} else {
		passed, err = r.measure(s, &v)
	}
	switch {
	case err != nil:
		v.Reason, v.Measured, v.Limit = NotComputable, nil, nil
	case passed:
		v.Outcome = Passed
	default:
		v.Outcome = Failed
	}
	return v
}

// measure compares in the limit's unit and writes both sides into the verdict.
func (r *Rule) measure(s *situation, v *Verdict) (bool, error) {
	si, err := s.number(r.measured)
	if err != nil {
		return false, err
	}
	measured := r.Limit.unit.amountOfSI(r.Limit.Unit, si)
	v.Measured, v.Limit = &measured, &BoundsUsed{}
	passed := true
	if r.Limit.atLeast != nil {
		bound, err := s.number(r.Limit.atLeast)
		if err != nil {
			return false, err
		}
		least := r.Limit.unit.amount(r.Limit.Unit, bound)
		v.Limit.AtLeast = &least
		passed = measured.Value >= bound-sameValue*math.Abs(bound)
	}
	if r.Limit.atMost != nil {
		bound, err := s.number(r.Limit.atMost)
		if err != nil {
			return false, err
		}
		most := r.Limit.unit.amount(r.Limit.Unit, bound)
		v.Limit.AtMost = &most
		passed = passed && measured.Value <= bound+sameValue*math.Abs(bound)
	}
	return passed, nil
}

// applies says whether a rule with that condition applies to the door, or why that cannot be said.
func (s *situation) applies(p *Pack, when *program) (bool, Reason, []Gap) {
	if gaps := s.gaps(p.scope); gaps != nil {
		return false, InputsUnusable, gaps
	}
	if !p.isFor(DoorKind(s.known["door_kind"].(string)), Energy(s.known["energy"].(string))) {
		return false, PackIsForOthers, nil
	}
	if when == nil {
		return true, "", nil
	}
	if gaps := s.gaps(when); gaps != nil {
		return false, InputsUnusable, gaps
	}
	applies, err := s.truth(when)
	if err != nil {
		return false, NotComputable, nil
	}
	if !applies {
		return false, RuleDoesNotApply, nil
	}
	return true, "", nil
}

// allGaps gives the gaps of several programs, each input once.
func (s *situation) allGaps(programs ...*program) (gaps []Gap) {
	for _, p := range programs {
		for _, g := range s.gaps(p) {
			if !slices.Contains(gaps, g) {
				gaps = append(gaps, g)
			}
		}
	}
	return gaps
}

// inputs are the programs that run once the rule applies.
func (r *Rule) inputs() []*program {
	if r.pass != nil {
		return []*program{r.pass}
	}
	inputs := []*program{r.measured}
	for _, bound := range []*program{r.Limit.atLeast, r.Limit.atMost} {
		if bound != nil {
			inputs = append(inputs, bound)
		}
	}
	return inputs
}

// readings that the rule judges, in the catalogue's order.
func (r *Rule) readings() []ReadingKind {
	if r.pass != nil {
		return r.pass.readings
	}
	return r.measured.readings
}

// NeededReadings gives the readings that an inspection of that door needs, in the catalogue's order: those of every rule
// that applies or of which it is unknown whether it applies. A door that the pack is not for needs none.
func (p *Pack) NeededReadings(facts Facts) []ReadingKind {
	s := newSituation(facts, nil)
	needed := map[string]bool{}
	for _, r := range p.Rules {
		if _, reason, _ := s.applies(p, r.when); reason == RuleDoesNotApply || reason == PackIsForOthers {
			continue
		}
		for _, k := range r.readings() {
			needed[k.Name] = true
		}
	}
	return slices.DeleteFunc(Readings(), func(k ReadingKind) bool { return !needed[k.Name] })
}

// Result of all verdicts together.
type Result string

const (
	InspectionPassed     Result = "passed"
	InspectionFailed     Result = "failed"
	InspectionIncomplete Result = "incomplete" // a binding rule was not judged, or there was none to judge
)

// Conclude says what the verdicts amount to. Unverified verdicts neither fail an inspection nor carry it. It is arithmetic,
// not a certificate: the inspector's judgement prevails.
func Conclude(verdicts []Verdict) Result {
	result := InspectionIncomplete
	open := false
	for _, v := range verdicts {
		if v.Weight != Binding {
			continue
		}
		switch v.Outcome {
		case Failed:
			return InspectionFailed
		case NotJudged:
			open = true
		case Passed:
			result = InspectionPassed
		}
	}
	if open {
		return InspectionIncomplete
	}
	return result
}
