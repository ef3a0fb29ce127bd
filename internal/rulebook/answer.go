package rulebook

import (
	"fmt"
	"slices"
	"strings"
)

// Result of one rule, or of a whole case, in the line protocol.
const (
	ResultPass          = "pass"
	ResultFail          = "fail"
	ResultUndecided     = "undecided"
	ResultMissing       = "missing"
	ResultNotApplicable = "not_applicable"
	ResultIncomplete    = "incomplete"
)

// Answer is what a pack says about a case.
type Answer struct {
	Pack    string // without its edition
	Edition string
	Verdict string // pass, fail or incomplete
	Rules   []RuleAnswer
}

// RuleAnswer is what one rule says, in the pack's order.
type RuleAnswer struct {
	ID      string
	Result  string // pass, fail, undecided, missing or not_applicable
	Rule    *Rule
	Verdict Verdict
	Limit   *BoundsUsed // nil for a question, and when it cannot be worked out
}

// Answer judges a case by a pack, named as name@edition, or by name alone for its newest edition.
//
// The verdict takes every rule as heavy as the pack makes it: fail when an unsafe or a deficient rule fails; else incomplete when one
// of those lacks something or is undecided, or none of those applies (the pack is for other doors); else pass. Unlike in an inspection (Conclude), a limit that is only recalled counts
// too: whoever asks sees its standing beside it.
func (b *Book) Answer(pack string, c Case) (Answer, error) {
	p, err := b.Named(pack)
	if err != nil {
		return Answer{}, err
	}
	a := Answer{Pack: p.Name(), Edition: p.Edition, Verdict: ResultPass}
	bearing := false // a rule that bears on the verdict was judged
	for i, v := range p.Judge(c.Facts, c.Readings) {
		r := p.Rules[i]
		rule := RuleAnswer{ID: r.ID, Result: resultOf(v), Rule: r, Verdict: v, Limit: v.Limit}
		if rule.Limit == nil {
			rule.Limit = r.limitFor(c.Facts)
		}
		a.Rules = append(a.Rules, rule)
		switch {
		case r.Severity == Advisory:
		case rule.Result == ResultFail:
			a.Verdict = ResultFail
		case rule.Result == ResultPass:
			bearing = true
		case a.Verdict == ResultPass && (rule.Result == ResultMissing || rule.Result == ResultUndecided):
			a.Verdict = ResultIncomplete
		}
	}
	if a.Verdict == ResultPass && !bearing {
		a.Verdict = ResultIncomplete
	}
	return a, nil
}

func resultOf(v Verdict) string {
	switch {
	case v.Outcome == Passed:
		return ResultPass
	case v.Outcome == Failed:
		return ResultFail
	case v.Outcome == Undecided:
		return ResultUndecided
	case v.Outcome == NotApplicable, v.Reason == PackIsForOthers:
		return ResultNotApplicable
	}
	return ResultMissing
}

// Named gives a pack by name@edition, or the newest edition of that name.
func (b *Book) Named(name string) (*Pack, error) {
	if p, ok := b.Pack(name); ok {
		return p, nil
	}
	var newest *Pack
	var known []string
	for _, p := range b.packs {
		if p.Name() == name && (newest == nil || p.Edition > newest.Edition) {
			newest = p
		}
		known = append(known, p.ID)
	}
	if newest != nil {
		return newest, nil
	}
	name, edition, with := strings.Cut(name, "@")
	var editions []string
	for _, p := range b.packs {
		if p.Name() == name {
			editions = append(editions, p.Edition)
		}
	}
	if with && editions != nil {
		return nil, fmt.Errorf("%s has no edition %s; there is %s", name, quoted(edition), strings.Join(editions, ", "))
	}
	slices.Sort(known)
	return nil, fmt.Errorf("there is no pack %s; there is %s", quoted(name), strings.Join(known, ", "))
}
