package rulebook

import (
	"cmp"
	"math"
	"slices"

	"cel.dev/cel-go/common/types"
)

// Outcome of one rule.
type Outcome string

const (
	Passed        Outcome = "passed"
	Failed        Outcome = "failed"
	Undecided     Outcome = "undecided" // the uncertainty of what was read reaches over the limit
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
	TooManyReadings  Reason = "too_many_readings"       // more ways to take them together than anybody looks at
	LeftOpen         Reason = "left_open"               // a question that need not be answered, and was not
	MayNotApply      Reason = "may_not_apply"           // the uncertainty of what was read leaves open whether the rule applies
)

// Verdict is what one rule says about one door.
type Verdict struct {
	RuleID   string      `json:"rule_id"`
	Title    string      `json:"title"`
	Outcome  Outcome     `json:"outcome"`
	Weight   Weight      `json:"weight"`
	Readings []Used      `json:"readings,omitempty"` // the readings that were judged, as they came
	Computed []Worked    `json:"computed,omitempty"` // what was worked out of them for Measured, or for whether the rule applies
	Measured *Amount     `json:"measured,omitempty"` // what was held against the limit, in the limit's unit
	Low      *Amount     `json:"low,omitempty"`      // Measured with its uncertainty, from Low to High; nil when none was stated
	High     *Amount     `json:"high,omitempty"`
	Limit    *BoundsUsed `json:"limit,omitempty"`
	Severity Severity    `json:"severity"` // what a failure is proposed to be; never more than advisory when unverified
	Source   Source      `json:"source"`
	Standing Standing    `json:"standing"`         // from_memory too when what was worked out rests on a formula that is only recalled
	Reason   Reason      `json:"reason,omitempty"` // of not_judged, not_applicable, and undecided when it is open whether the rule applies
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

// mostSets bounds in how many ways the readings of one rule may go together. Real doors have some dozens.
const mostSets = 4096

// Judge holds the readings against every rule of the pack and gives one verdict a rule, in the pack's order. A name may
// be read several times, at several leaves or sides: each is judged, and the worst verdict stands. A rule that takes
// two readings takes them from places that meet. Readings that no rule needs are not looked at. The same input always
// gives the same verdicts, in whatever order the readings come.
func (p *Pack) Judge(facts Facts, readings []Used) []Verdict {
	verdicts := make([]Verdict, len(p.Rules))
	door := newSituation(facts, nil)
	sorted := slices.Clone(readings)
	slices.SortFunc(sorted, Used.compare)
	sorted = slices.CompactFunc(sorted, func(a, b Used) bool { return a.compare(b) == 0 })
	for i, r := range p.Rules {
		verdicts[i] = r.judgeEach(p, door, sorted)
	}
	return verdicts
}

// judgeEach gives the worst verdict over all ways in which the readings of the rule go together.
func (r *Rule) judgeEach(p *Pack, door *situation, readings []Used) Verdict {
	sets, ok := together(r.looks, readings)
	if !ok {
		v := r.judge(p, door)
		if v.Outcome != NotApplicable {
			v.Outcome, v.Reason, v.Gaps = NotJudged, TooManyReadings, nil
		}
		return v
	}
	worst := r.judge(p, door.with(sets[0]))
	for _, set := range sets[1:] {
		if v := r.judge(p, door.with(set)); v.worseThan(worst) {
			worst = v
		}
	}
	return worst
}

// together gives every way of taking one reading of each kind so that all places meet. Every reading of these kinds is in
// at least one; what no reading of another kind meets stays alone, and is judged as lacking it. It answers false when
// there are too many ways. The readings are sorted, and each is there once.
func together(kinds []ReadingKind, sorted []Used) (sets [][]Used, ok bool) {
	for _, first := range kinds {
		for _, u := range sorted {
			if u.Name != first.Name {
				continue
			}
			from, ok := extended([]Used{u}, kinds, sorted)
			if sets = append(sets, from...); !ok || len(sets) > mostSets {
				return nil, false
			}
		}
	}
	if sets == nil {
		sets = [][]Used{nil}
	}
	return sets, true
}

// extended gives the ways of adding to a set one reading of each other kind, at places that meet.
func extended(set []Used, kinds []ReadingKind, readings []Used) (sets [][]Used, ok bool) {
	sets = [][]Used{set}
	for _, k := range kinds {
		if k.Name == set[0].Name {
			continue
		}
		var longer [][]Used
		for _, s := range sets {
			before := len(longer)
			for _, u := range readings {
				if u.Name == k.Name && meetsAll(u.Place, s) {
					longer = append(longer, append(slices.Clip(s), u))
				}
			}
			if len(longer) == before {
				longer = append(longer, s)
			}
			if len(longer) > mostSets {
				return nil, false
			}
		}
		sets = longer
	}
	return sets, true
}

func meetsAll(place Place, set []Used) bool {
	for _, u := range set {
		if !place.meets(u.Place) {
			return false
		}
	}
	return true
}

// compare orders readings by everything that they say.
func (u Used) compare(o Used) int {
	number := func(r Reading) float64 {
		if r.Number == nil {
			return math.Inf(-1)
		}
		return *r.Number
	}
	yes := func(r Reading) int {
		switch {
		case r.Yes == nil:
			return 0
		case *r.Yes:
			return 2
		}
		return 1
	}
	return cmp.Or(cmp.Compare(u.Name, o.Name), cmp.Compare(u.Leaf, o.Leaf), cmp.Compare(u.Side, o.Side), cmp.Compare(number(u.Reading), number(o.Reading)),
		cmp.Compare(yes(u.Reading), yes(o.Reading)), cmp.Compare(u.Text, o.Text), cmp.Compare(u.Question, o.Question), cmp.Compare(u.Unit, o.Unit), cmp.Compare(valueOf(u.Uncertainty), valueOf(o.Uncertainty)))
}

// worseThan tells whether v says worse of the door than o: failed, then undecided, then not judged, then passed; of two that failed or
// passed, the one further on the wrong side of the limit.
func (v Verdict) worseThan(o Verdict) bool {
	rank := map[Outcome]int{Failed: 4, Undecided: 3, NotJudged: 2, Passed: 1, NotApplicable: 0}
	if rank[v.Outcome] != rank[o.Outcome] {
		return rank[v.Outcome] > rank[o.Outcome]
	}
	if v.Measured == nil || o.Measured == nil {
		return false
	}
	return v.room() < o.room()
}

// room is how far the measured value stays within the limit, in the limit's unit; negative outside.
func (v Verdict) room() float64 {
	room := math.Inf(1)
	if b := v.Limit.AtLeast; b != nil {
		room = v.Measured.Value - b.Value
	}
	if b := v.Limit.AtMost; b != nil {
		room = math.Min(room, b.Value-v.Measured.Value)
	}
	return room
}

func (r *Rule) judge(p *Pack, s *situation) Verdict {
	v := Verdict{RuleID: r.ID, Title: r.Title, Outcome: NotJudged, Severity: r.Severity, Source: r.Source, Standing: r.Standing}
	if s.shaky(r.programs...) {
		v.Standing = FromMemory
	}
	if v.Weight = v.Standing.Weight(); v.Weight == Unverified {
		v.Severity = Advisory
	}
	var applies, surely bool
	if applies, surely, v.Reason, v.Gaps = s.applies(p, r.when); !applies {
		if v.Reason == RuleDoesNotApply {
			v.Outcome = NotApplicable
		}
		return v
	}
	if v.Gaps = s.allGaps(r.inputs()...); v.Gaps != nil {
		v.Reason = InputsUnusable
		switch {
		case r.leftOpen(v.Gaps):
			v.Outcome, v.Reason, v.Gaps = NotApplicable, LeftOpen, nil
		case r.Question != nil && v.Severity == Advisory: // nothing is wrong with the door, but nobody can say that all was asked
			v.Severity = NoSeverity
		}
		return v
	}
	for _, k := range s.restsOn(r.looks, r.programs...) {
		v.Readings = append(v.Readings, Used{k.Name, s.reading(k.Name)})
	}
	outcome, err := r.hold(s, &v)
	if err != nil {
		v.Reason, v.Computed, v.Measured, v.Low, v.High, v.Limit = NotComputable, nil, nil, nil, nil, nil
		return v
	}
	if !surely && outcome == Failed {
		outcome = Undecided
	}
	if !surely && outcome == Undecided {
		v.Reason = MayNotApply
	}
	v.Outcome = outcome
	return v
}

// hold holds what was read against what the rule asks and writes both into the verdict.
func (r *Rule) hold(s *situation, v *Verdict) (_ Outcome, err error) {
	if v.Computed, err = s.show(r.measured, r.when); err != nil { // what the limit is worked out from shows in the limit
		return "", err
	}
	if r.pass != nil {
		return s.answer(r.pass)
	}
	return r.measure(s, v)
}

func (s *situation) answer(p *program) (Outcome, error) {
	passed, err := s.truth(p)
	if passed {
		return Passed, err
	}
	return Failed, err
}

// measure compares in the limit's unit and writes both sides into the verdict. A value with an uncertainty passes when the whole of
// its interval is within the limit, fails when the whole is outside, and is undecided otherwise: guard bands as wide as the expanded
// uncertainty on both sides of the limit, as in JCGM 106:2012, 8.3, and ISO 14253-1 (rule and figures from memory). A limit that is worked
// out from readings has an interval too, and the worse end counts: where both rest on one reading that decides later than it could, but never wrongly.
func (r *Rule) measure(s *situation, v *Verdict) (Outcome, error) {
	si, lowSI, highSI, err := s.interval(r.measured)
	if err != nil {
		return "", err
	}
	unit, name := r.Limit.unit, r.Limit.Unit
	measured, low, high := unit.amountOfSI(name, si), unit.amountOfSI(name, lowSI), unit.amountOfSI(name, highSI)
	v.Measured = &measured
	if lowSI < highSI {
		v.Low, v.High = &low, &high
	}
	within, outside := true, false
	v.Limit = &BoundsUsed{}
	if r.Limit.atLeast != nil {
		bound, least, most, err := s.interval(r.Limit.atLeast)
		if err != nil {
			return "", err
		}
		v.Limit.AtLeast = pointerTo(unit.amount(name, bound))
		within, outside = low.Value >= most-sameValue*math.Abs(most), high.Value < least-sameValue*math.Abs(least)
	}
	if r.Limit.atMost != nil {
		bound, least, most, err := s.interval(r.Limit.atMost)
		if err != nil {
			return "", err
		}
		v.Limit.AtMost = pointerTo(unit.amount(name, bound))
		within, outside = within && high.Value <= least+sameValue*math.Abs(least), outside || low.Value > most+sameValue*math.Abs(most)
	}
	switch {
	case within:
		return Passed, nil
	case outside:
		return Failed, nil
	}
	return Undecided, nil
}

func pointerTo[T any](v T) *T { return &v }

// limitFor gives the limit that would hold for a door by its facts alone, nil when it cannot be worked out.
func (r *Rule) limitFor(facts Facts) *BoundsUsed {
	if r.Limit == nil {
		return nil
	}
	s := newSituation(facts, nil)
	used := &BoundsUsed{}
	for _, b := range []struct {
		program *program
		amount  **Amount
	}{{r.Limit.atLeast, &used.AtLeast}, {r.Limit.atMost, &used.AtMost}} {
		if b.program == nil {
			continue
		}
		if s.gaps(b.program) != nil {
			return nil
		}
		value, err := s.number(b.program)
		if err != nil {
			return nil
		}
		*b.amount = pointerTo(r.Limit.unit.amount(r.Limit.Unit, value))
	}
	return used
}

// interval gives the program's value, and the least and the greatest that it takes when each reading lies anywhere within its
// uncertainty. That is exact, because a value that neither only rises nor only falls with a reading was refused when the pack was
// loaded (course): the least is where every reading is at the end that makes it least. Readings may be off together or not.
func (s *situation) interval(p *program) (value, low, high float64, err error) {
	if value, err = s.number(p); err != nil {
		return 0, 0, 0, err
	}
	low, high = value, value
	for _, up := range []bool{false, true} {
		end := s.towards(p, up)
		if end == nil {
			break
		}
		at, err := end.number(p)
		if err != nil {
			return 0, 0, 0, err
		}
		low, high = math.Min(low, at), math.Max(high, at)
	}
	return value, low, high, nil
}

// towards is the same door with every reading at the end of its uncertainty that makes the program's value greatest, or least; nil when nothing
// that the program looks at has an uncertainty.
func (s *situation) towards(p *program, up bool) *situation {
	if !slices.ContainsFunc(s.readings, func(u Used) bool { return u.Uncertainty != nil && *u.Uncertainty > 0 }) {
		return nil
	}
	end := *s
	end.ends = map[string]float64{}
	for _, k := range s.restsOn(p.every, p) {
		r := s.reading(k.Name)
		if r.Number == nil || r.Uncertainty == nil || *r.Uncertainty == 0 {
			continue
		}
		if (p.course.with[k.Name] == rises) == up {
			end.ends[k.Name] = *r.Number + *r.Uncertainty
		} else {
			end.ends[k.Name] = math.Max(k.Min, *r.Number-*r.Uncertainty)
		}
	}
	if len(end.ends) == 0 {
		return nil
	}
	return &end
}

// restsOn gives those of the readings on which the programs rest, given what was read: not those of a formula whose preferred reading was
// taken, nor a preferred one that was not.
func (s *situation) restsOn(of []ReadingKind, programs ...*program) []ReadingKind {
	if !slices.ContainsFunc(programs, func(p *program) bool { return len(p.computed) > 0 }) {
		return of
	}
	parts := s.parts(programs...)
	return slices.DeleteFunc(slices.Clone(of), func(k ReadingKind) bool {
		named := func(p *program) bool {
			return slices.ContainsFunc(p.readings, func(r ReadingKind) bool { return r.Name == k.Name })
		}
		return !slices.ContainsFunc(programs, named) && !slices.ContainsFunc(parts, func(c *Computed) bool {
			if s.isTaken(c) {
				return c.prefers.Name == k.Name
			}
			return named(c.value)
		})
	})
}

// applies says whether a rule with that condition applies to the door, or why that cannot be said. It does not surely apply when the
// uncertainty of what was read leaves it open.
func (s *situation) applies(p *Pack, when *program) (applies, surely bool, why Reason, gaps []Gap) {
	if gaps := s.gaps(p.scope); gaps != nil {
		return false, false, InputsUnusable, gaps
	}
	if !p.IsFor(DoorKind(s.known["door_kind"].(string)), Energy(s.known["energy"].(string))) {
		return false, false, PackIsForOthers, nil
	}
	if when == nil {
		return true, true, "", nil
	}
	if gaps := s.gaps(when); gaps != nil {
		if s.never(when, gaps) {
			return false, false, RuleDoesNotApply, nil
		}
		return false, false, InputsUnusable, gaps
	}
	applies, surely, err := s.holds(when)
	if err != nil {
		return false, false, NotComputable, nil
	}
	if !applies {
		return false, false, RuleDoesNotApply, nil
	}
	return true, surely, "", nil
}

// never tells whether a condition is not met whatever the facts are that nobody knows: a sliding door's rule is none for a door that swings,
// even while nobody has said whether its leaves break out. CEL answers "false" past a name that is missing only where that name cannot
// matter. Members of leaves are zero and not missing, so nothing is said of conditions that look at them.
func (s *situation) never(when *program, gaps []Gap) bool {
	if when.leaves || len(when.computed) > 0 || slices.ContainsFunc(gaps, func(g Gap) bool { return g.Problem != Missing }) {
		return false
	}
	out, err := s.eval(when)
	return err == nil && out == types.False
}

// holds tells whether a condition is met anywhere within the uncertainty of what was read, and whether it is met everywhere.
func (s *situation) holds(when *program) (met, surely bool, err error) {
	if len(when.computed) == 0 {
		met, known := s.conditions[when.source]
		if !known {
			if met, err = s.truth(when); err != nil {
				return false, false, err
			}
			s.conditions[when.source] = met
		}
		return met, met, nil
	}
	doors := []*situation{s}
	for _, up := range []bool{false, true} {
		if end := s.towards(when, up); end != nil {
			doors = append(doors, end)
		}
	}
	surely = true
	for _, door := range doors {
		is, err := door.truth(when)
		if err != nil {
			return false, false, err
		}
		met, surely = met || is, surely && is
	}
	return met, surely, nil
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

// Counts tells whether the verdict bears on passing: its rule binds, and its failure is more than an advisory.
func (v Verdict) Counts() bool { return v.Weight == Binding && v.Severity != Advisory }

// Result of all verdicts together.
type Result string

const (
	InspectionPassed     Result = "passed"
	InspectionFailed     Result = "failed"
	InspectionIncomplete Result = "incomplete" // a binding rule was not judged or is undecided, or there was none to judge
)

// Conclude says what the verdicts amount to. Unverified and advisory verdicts neither fail an inspection nor carry it. It
// is arithmetic, not a certificate: the inspector's judgement prevails.
func Conclude(verdicts []Verdict) Result {
	result := InspectionIncomplete
	open := false
	for _, v := range verdicts {
		if !v.Counts() {
			continue
		}
		switch v.Outcome {
		case Failed:
			return InspectionFailed
		case NotJudged, Undecided:
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
