package fleet

import (
	"bytes"
	"cmp"
	"context"
	"slices"
	"strings"
	"time"

	"github.com/google/uuid"

	"lintel.example/lintel/internal/duedate"
	"lintel.example/lintel/internal/fault"
	"lintel.example/lintel/internal/identity"
	"lintel.example/lintel/internal/rulebook"
)

// What follows from visits is computed anew from ALL entries of a door whenever one arrives, in the order in which
// they were observed. So the order of arrival cannot matter: a late upload goes between, and what is newer stands.

// OutOfServiceCase is one per unsafe finding: unsecured until a person records how the door was secured, ended
// only by a passed re-inspection.
type OutOfServiceCase struct {
	CustomerID    uuid.UUID  `json:"-"`
	SiteID        uuid.UUID  `json:"-"`
	DoorID        uuid.UUID  `json:"-"`
	CaseID        uuid.UUID  `json:"case_id"` // that of the finding's entry
	FindingID     uuid.UUID  `json:"finding_id"`
	State         string     `json:"state"` // unsecured, secured, ended
	OpenedAt      time.Time  `json:"opened_at"`
	SecuredAt     *time.Time `json:"secured_at"`
	SecuredHow    string     `json:"secured_how"`
	EgressKept    *bool      `json:"egress_kept"`
	ToldName      string     `json:"told_name"`
	Refused       bool       `json:"refused"` // the last who was told refused
	SecuringEntry *uuid.UUID `json:"securing_entry"`
	EndedAt       *time.Time `json:"ended_at"`
	EndedByEntry  *uuid.UUID `json:"ended_by_entry"`
	RecordedAt    time.Time  `json:"recorded_at"`
	What          string     `json:"-"` // the finding's words
}

// CaseQuery asks for out-of-service cases, the oldest first.
type CaseQuery struct {
	DoorID  uuid.UUID // zero for all
	Open    bool      // only those that are not ended
	AfterAt time.Time
	AfterID uuid.UUID
	Limit   int
}

type consequenceRows interface {
	// PutVisitFindings writes the findings of a door that come from visits, by their ids.
	PutVisitFindings(ctx context.Context, doorID uuid.UUID, list []VisitFinding) error
	PutCases(ctx context.Context, doorID uuid.UUID, list []OutOfServiceCase) error
	// ComputedFindingExists tells whether computation ever made the finding at the door.
	ComputedFindingExists(ctx context.Context, doorID, findingID uuid.UUID) (bool, error)
	CaseByID(ctx context.Context, id uuid.UUID) (OutOfServiceCase, error)
	CasePage(ctx context.Context, q CaseQuery) ([]OutOfServiceCase, error)
}

// VisitFinding is a finding of an inspector as the entries of its door have it.
type VisitFinding struct {
	FindingID     uuid.UUID  `json:"finding_id"` // that of its entry
	VisitID       uuid.UUID  `json:"visit_id"`
	Severity      string     `json:"severity"`
	Cause         string     `json:"cause"`
	What          string     `json:"what"`
	State         string     `json:"state"` // open, mended, cleared, withdrawn, dismissed
	OpenedAt      time.Time  `json:"opened_at"`
	ClosedAt      *time.Time `json:"closed_at"`
	ClosedByEntry *uuid.UUID `json:"closed_by_entry"`
	RecordedAt    time.Time  `json:"recorded_at"`
	// SafeUntil is the last day on which a deficient door may stand so: after it, it is a danger.
	SafeUntil duedate.Day `json:"safe_until,omitzero"`
	Decided   *Decided    `json:"decided,omitempty"`
	Times     int         `json:"times"` // how often it has been found within some years; 1: for the first time
	FirstAt   *time.Time  `json:"first_at"`
	RecursOf  *uuid.UUID  `json:"recurs_of"` // the one before
}

// consequences is everything that the entries of a door add up to.
type consequences struct {
	findings    []VisitFinding
	cases       []OutOfServiceCase
	repairs     []Repair
	completions []Completion
}

// Repair is the corrective work order of one visit at one door.
type Repair struct {
	WorkOrderID uuid.UUID
	VisitID     uuid.UUID
	DueOn       duedate.Day
	State       string // open, done, cancelled
	DoneOn      duedate.Day
	DoneVisitID *uuid.UUID
}

// Completion is a signed conclusion of an inspection.
type Completion struct {
	Day      duedate.Day // in the site's zone
	CountsOn duedate.Day // the day as of which due dates are served by it: the same, but of an order that was done before its period
	VisitID  uuid.UUID   // zero: no visit
	EntryID  uuid.UUID
	Passed   bool
}

// mendWithin is how many days a deficient door may wait for its repair: common practice, no source. Unsafe is at once.
const mendWithin = 28

// consequencesOf adds up the entries of a door. It is a function of their set.
func consequencesOf(entries []Entry, zone *time.Location) consequences {
	var c consequences
	counting := live(entries)
	corrected := correctionsOf(entries)
	for _, e := range counting {
		if k := e.Body.Conclusion; k != nil && e.Signed {
			day := duedate.DayIn(e.ObservedAt, zone)
			c.completions = append(c.completions, Completion{Day: day, CountsOn: day, VisitID: e.VisitID, EntryID: e.EntryID, Passed: k.Result == "passed"})
		}
	}
	for _, e := range inOrder(entries) {
		if e.Body.Finding == nil {
			continue
		}
		finding := findingOf(e, counting, corrected)
		c.findings = append(c.findings, finding)
		if finding.Severity == "unsafe" {
			c.cases = append(c.cases, caseOf(e, counting))
		}
	}
	linkRecurring(c.findings)
	c.repairs = repairsOf(c.findings, entries, zone)
	return c
}

// inOrder sorts entries by the time of their observation; ids break ties, so that the order is total.
func inOrder(entries []Entry) []Entry {
	sorted := slices.Clone(entries)
	slices.SortFunc(sorted, byObservation)
	return sorted
}

// byObservation is the order in which entries count: when they were observed, then by id.
func byObservation(a, b Entry) int {
	if c := a.ObservedAt.Compare(b.ObservedAt); c != 0 {
		return c
	}
	return bytes.Compare(a.EntryID[:], b.EntryID[:])
}

// live gives the entries that no other entry of the same door corrects, in the order of their observation.
func live(entries []Entry) []Entry {
	corrected := correctionsOf(entries)
	return slices.DeleteFunc(inOrder(entries), func(e Entry) bool { _, is := corrected[e.EntryID]; return is })
}

// correctionsOf tells which entry is corrected by which; of several corrections the first observed counts. Only what was
// observed before can be corrected, so that two entries cannot take each other back.
func correctionsOf(entries []Entry) map[uuid.UUID]Entry {
	if !slices.ContainsFunc(entries, func(e Entry) bool { return e.Body.Corrects != nil }) {
		return nil
	}
	byID := map[uuid.UUID]Entry{}
	for _, e := range entries {
		byID[e.EntryID] = e
	}
	corrected := map[uuid.UUID]Entry{}
	for _, e := range inOrder(entries) {
		c := e.Body.Corrects
		if c == nil {
			continue
		}
		if wrong, here := byID[*c]; !here || wrong.DoorID != e.DoorID || !after(wrong, e) {
			continue
		}
		if _, already := corrected[*c]; !already {
			corrected[*c] = e
		}
	}
	return corrected
}

// after tells whether b was observed after a.
func after(a, b Entry) bool { return byObservation(a, b) < 0 }

// findingOf is the finding of an entry with the last decision on it: open until it is mended; cleared when it is unsafe and
// a re-inspection has passed without a word of its repair; withdrawn when a correction replaces it; dismissed when it is
// not unsafe and somebody gave a reason. No decision of anybody's closes it.
func findingOf(e Entry, counting []Entry, corrected map[uuid.UUID]Entry) VisitFinding {
	f := closingOf(e, counting, corrected)
	f.Decided = decidedOn(e, f.ClosedAt, counting)
	return f
}

func closingOf(e Entry, counting []Entry, corrected map[uuid.UUID]Entry) VisitFinding {
	said := e.Body.Finding
	f := VisitFinding{FindingID: e.EntryID, VisitID: e.VisitID, Severity: said.Severity, Cause: said.Rule, What: said.What, State: "open",
		OpenedAt: e.ObservedAt, RecordedAt: e.ReceivedAt, SafeUntil: said.SafeUntil}
	closeBy := func(by Entry, state string) {
		at, id := by.ObservedAt, by.EntryID
		f.State, f.ClosedAt, f.ClosedByEntry = state, &at, &id
	}
	if by, is := corrected[e.EntryID]; is {
		closeBy(by, "withdrawn")
		return f
	}
	for _, by := range counting {
		if !after(e, by) {
			continue
		}
		if m := by.Body.Mending; m != nil && m.FindingID == e.EntryID {
			closeBy(by, "mended")
			return f
		}
		if said.Severity == "unsafe" && passes(by, e, counting) {
			closeBy(by, "cleared")
			return f
		}
		if d := by.Body.Dismissal; d != nil && d.FindingID == e.EntryID && said.Severity != "unsafe" {
			closeBy(by, "dismissed")
			return f
		}
	}
	return f
}

// passes tells whether an entry says, signed, that the door has passed an inspection which knew of the finding: that of
// the finding's own visit, or one in which nothing was read before the finding.
func passes(by, finding Entry, counting []Entry) bool {
	if k := by.Body.Conclusion; k == nil || k.Result != "passed" || !by.Signed || !after(finding, by) {
		return false
	}
	return by.VisitID == finding.VisitID || !slices.ContainsFunc(counting, func(e Entry) bool {
		return e.VisitID == by.VisitID && e.Body.Readings() != nil && after(e, finding)
	})
}

// caseOf is the out-of-service case of an unsafe finding. A correction of the finding does not end it: the door was
// called unsafe, so a passed re-inspection must say otherwise.
func caseOf(e Entry, counting []Entry) OutOfServiceCase {
	c := OutOfServiceCase{CaseID: e.EntryID, FindingID: e.EntryID, State: "unsecured", OpenedAt: e.ObservedAt, RecordedAt: e.ReceivedAt, What: e.Body.Finding.What}
	for _, by := range counting {
		if !after(e, by) {
			continue
		}
		at, id := by.ObservedAt, by.EntryID
		if s := by.Body.Securing; s != nil {
			c.ToldName, c.Refused, c.EgressKept = s.ToldName, s.Answer == "refused", s.EgressKept
			if s.How == "not_secured" { // somebody undid it, or could not do it
				c.State, c.SecuredAt, c.SecuredHow, c.SecuringEntry = "unsecured", nil, "", nil
			} else {
				c.State, c.SecuredAt, c.SecuredHow, c.SecuringEntry = "secured", &at, s.How, &id
			}
		}
		if passes(by, e, counting) {
			c.State, c.EndedAt, c.EndedByEntry = "ended", &at, &id
			return c
		}
	}
	return c
}

// repairsOf makes one corrective work order a visit for what it found unsafe or deficient.
func repairsOf(findings []VisitFinding, entries []Entry, zone *time.Location) []Repair {
	visitOf := map[uuid.UUID]uuid.UUID{}
	for _, e := range entries {
		visitOf[e.EntryID] = e.VisitID
	}
	var repairs []Repair
	for _, f := range findings {
		if f.Severity == "advisory" {
			continue
		}
		i := slices.IndexFunc(repairs, func(r Repair) bool { return r.VisitID == f.VisitID })
		if i < 0 {
			i = len(repairs)
			repairs = append(repairs, Repair{VisitID: f.VisitID, State: "cancelled"})
		}
		repairs[i] = repairs[i].with(f, visitOf, zone)
	}
	return repairs
}

// with adds a finding to a repair: it is due with the most pressing one that was not taken back, no later than the day
// until which that is safe, open while one is open, cancelled when all are taken back.
func (r Repair) with(f VisitFinding, visitOf map[uuid.UUID]uuid.UUID, zone *time.Location) Repair {
	switch noneSoFar := r.State == "cancelled"; {
	case f.unfounded() && !noneSoFar:
		return r
	case !f.unfounded() && noneSoFar:
		r.DueOn = duedate.Day{}
	}
	due := duedate.DayIn(f.OpenedAt, zone)
	if f.Severity == "deficient" {
		due = due.AddDays(mendWithin)
		if !f.SafeUntil.IsZero() && f.SafeUntil.Before(due) {
			due = f.SafeUntil
		}
	}
	if r.DueOn.IsZero() || due.Before(r.DueOn) {
		r.DueOn = due
	}
	switch {
	case f.State == "open" || r.State == "open":
		r.State, r.DoneOn, r.DoneVisitID = "open", duedate.Day{}, nil
	case f.State == "mended" || f.State == "cleared":
		r.State = "done"
		if day := duedate.DayIn(*f.ClosedAt, zone); r.DoneOn.IsZero() || day.After(r.DoneOn) {
			visit := visitOf[*f.ClosedByEntry]
			r.DoneOn, r.DoneVisitID = day, &visit
		}
	}
	return r
}

// repairSpace makes the ids of corrective work orders: one visit at one door always gives the same.
var repairSpace = uuid.MustParse("6f1b3f0e-58a4-5d0e-9a53-1d1f0b6f7c52")

// settleDoor writes what the entries of a door add up to: findings, cases, corrective work orders, the next due
// date and which inspections are thereby done.
func (f *Fleet) settleDoor(ctx context.Context, tx Tx, by identity.Actor, doorID uuid.UUID) error {
	door, err := tx.DoorByID(ctx, doorID, AsOf{})
	if err != nil {
		return err
	}
	site, err := tx.SiteByID(ctx, door.SiteID)
	if err != nil {
		return err
	}
	entries, err := tx.EntriesOfDoor(ctx, doorID)
	if err != nil {
		return err
	}
	c := consequencesOf(entries, site.Location())
	if len(c.findings) > 0 {
		if err := tx.PutVisitFindings(ctx, doorID, c.findings); err != nil {
			return err
		}
	}
	if len(c.cases) > 0 {
		if err := tx.PutCases(ctx, doorID, c.cases); err != nil {
			return err
		}
	}
	if err := f.putRepairs(ctx, tx, door, c.repairs); err != nil {
		return err
	}
	if err := f.settleCalendar(ctx, tx, door, site, c.completions); err != nil {
		return err
	}
	return f.noticeCases(ctx, tx, by, door, site, c.cases)
}

// settleCalendar writes what the completed inspections of a door come to for its orders and plans.
func (f *Fleet) settleCalendar(ctx context.Context, tx Tx, door Door, site Site, completions []Completion) error {
	events, err := tx.OrderEvents(ctx, door.DoorID)
	if err != nil {
		return err
	}
	handover, err := f.settleOrders(ctx, tx, door.DoorID, events, completions)
	if err != nil {
		return err
	}
	return f.settlePlans(ctx, tx, door, site, events, completions, handover)
}

// settleCalendarOf does so for a door of which something else has changed that its due dates rest on.
func (f *Fleet) settleCalendarOf(ctx context.Context, tx Tx, doorID uuid.UUID) error {
	door, err := tx.DoorByID(ctx, doorID, AsOf{})
	if err != nil {
		return err
	}
	site, err := tx.SiteByID(ctx, door.SiteID)
	if err != nil {
		return err
	}
	entries, err := tx.EntriesOfDoor(ctx, doorID)
	if err != nil {
		return err
	}
	return f.settleCalendar(ctx, tx, door, site, consequencesOf(entries, site.Location()).completions)
}

func (f *Fleet) putRepairs(ctx context.Context, tx Tx, door Door, repairs []Repair) error {
	if len(repairs) == 0 {
		return nil
	}
	orders := make([]WorkOrder, len(repairs))
	for i, r := range repairs {
		visit := r.VisitID
		orders[i] = WorkOrder{CustomerID: door.CustomerID, SiteID: door.SiteID, DoorID: door.DoorID,
			WorkOrderID: uuid.NewSHA1(repairSpace, append(visit[:], door.DoorID[:]...)), Kind: "repair", OriginVisitID: &visit,
			DueOn: r.DueOn, State: r.State, DoneOn: r.DoneOn, DoneVisitID: r.DoneVisitID, RecordedAt: f.Now()}
	}
	return tx.UpsertRepairs(ctx, orders, f.Now())
}

// settlePlans moves the due date of each plan to what serves it gives: completed inspections, or its orders that are said to be done. It says of each order
// of a plan whether it is thereby done, still open, or was made for a due date that is none. A plan that counts from the handover of its door does so as
// soon as there was one.
func (f *Fleet) settlePlans(ctx context.Context, tx Tx, door Door, site Site, events []OrderEvent, inspections []Completion, handover duedate.Day) error {
	if err := tx.HoldPlans(ctx, door.DoorID); err != nil {
		return err
	}
	plans, err := tx.PlansOfDoor(ctx, door.DoorID)
	if err != nil || len(plans) == 0 {
		return err
	}
	orders, err := tx.InspectionOrders(ctx, door.DoorID)
	if err != nil {
		return err
	}
	var states []OrderState
	for _, p := range plans {
		longest, _, err := f.longestInterval(ctx, tx, p, door, site)
		if err != nil {
			return err
		}
		completions := inspections
		if p.Purpose != Inspection {
			completions = p.servedBy(orders, events)
		}
		p = p.countedFrom(handover)
		p.LongestMonths = longest.Months
		days := daysOf(completions)
		present := p.PlanDates
		if p.PlanDates = p.datesBy(days); hasOther(plans, p) {
			p.BesideFrom = p.besideFrom(days)
		}
		if p.PlanDates != present {
			if err := tx.SetPlanDates(ctx, p.PlanID, p.PlanDates); err != nil {
				return err
			}
		}
		for _, o := range orders {
			if o.PlanID == nil || *o.PlanID != p.PlanID || o.cancelled(events) {
				continue
			}
			if s := orderState(o, p, completions); s.State != o.State || s.DoneOn != o.DoneOn || s.DueOn != o.DueOn {
				states = append(states, s)
			}
		}
	}
	if len(states) == 0 {
		return nil
	}
	return tx.SetOrderStates(ctx, states, f.Now())
}

// hasOther tells whether a door has an active plan besides one that is active.
func hasOther(plans []Plan, p Plan) bool {
	return p.Active && slices.ContainsFunc(plans, func(o Plan) bool { return o.Active && o.PlanID != p.PlanID })
}

// cancelled tells whether a dispatcher's word takes an order out of its plan's hands; that it was done all the same outweighs it where a word ends it.
func (o WorkOrder) cancelled(events []OrderEvent) bool {
	if o.State != "cancelled" || !o.EndsByWord() {
		return o.State == "cancelled"
	}
	state, _ := stateOf(eventsOf(o, events, nil))
	return state == "cancelled"
}

// longestInterval is the most that the rules that judge a door today allow between two inspections of it; nothing of a plan with another purpose.
func (f *Fleet) longestInterval(ctx context.Context, tx Tx, p Plan, door Door, site Site) (rulebook.Interval, bool, error) {
	if p.Purpose != Inspection {
		return rulebook.Interval{}, false, nil
	}
	packs, err := f.packsOf(ctx, tx, door.Facts, site, duedate.DayIn(f.Now(), site.Location()))
	longest, named := rulebook.LongestInterval(inspectedFacts(door.Facts), packs...)
	return longest, named, err
}

func daysOf(completions []Completion) []duedate.Day {
	days := make([]duedate.Day, len(completions))
	for i, c := range completions {
		days[i] = c.CountsOn
	}
	return days
}

// orderState says how an inspection order stands by the next due date of its plan. A plan that has ended
// wants nothing done any more.
func orderState(o WorkOrder, p Plan, completions []Completion) OrderState {
	s := OrderState{WorkOrderID: o.WorkOrderID, State: "open", DueOn: o.DueOn}
	switch {
	case !o.Period.Before(p.NextDue) && !p.Active, o.Period.After(p.NextDue):
		s.State = "superseded"
	case o.Period == p.NextDue:
		s.DueOn = p.DueBy
	default:
		s.State = "superseded" // passed over by an inspection that counts for a later period
		sorted := slices.Clone(completions)
		slices.SortFunc(sorted, func(a, b Completion) int {
			return cmp.Or(a.Day.Compare(b.Day), strings.Compare(a.EntryID.String(), b.EntryID.String()))
		})
		var days []duedate.Day
		for _, c := range sorted {
			days = append(days, c.CountsOn)
			if p.Rule().Next(days).On.After(o.Period) {
				s.State, s.DoneOn = "done", c.Day
				if c.VisitID != uuid.Nil {
					s.DoneVisitID = &c.VisitID
				}
				break
			}
		}
	}
	return s
}

// checkReading holds one reading against the rulebook's catalogue. A company's question is looked for by whoever has a transaction: checkQuestion.
func (f *Fleet) checkReading(faults *fault.List, r EntryReading) {
	checkQuestionNamed(faults, "/reading/question", r.Name, r.Question)
	if rulebook.IsOwn(r.Name) {
		checkPlace(faults, "/reading", r.Leaf, r.Side)
		return
	}
	kinds := rulebook.Readings()
	i := slices.IndexFunc(kinds, func(k rulebook.ReadingKind) bool { return k.Name == r.Name })
	if i < 0 {
		faults.Add("/reading/name", "reading_unknown")
		return
	}
	checkPlace(faults, "/reading", r.Leaf, r.Side)
	checkReadingOf(faults, kinds[i], r)
}

// checkReadingOf holds a reading against its kind.
func checkReadingOf(faults *fault.List, k rulebook.ReadingKind, r EntryReading) {
	reading := rulebook.Reading{Number: r.Value, Yes: r.Yes, Text: r.Text}
	if r.Value != nil {
		reading.Unit = k.Unit
	}
	if u := r.Uncertainty; u != nil && (k.Kind != rulebook.Number || !(*u > 0 && *u <= k.Max)) {
		faults.Add("/reading/uncertainty", "uncertainty_impossible")
	}
	if r.InstrumentID != nil && k.Kind != rulebook.Number {
		faults.Add("/reading/instrument_id", "instrument_of_answer")
	}
	if k.Kind == rulebook.Text && r.Value == nil && r.Yes == nil {
		checkText(faults, "/reading/text", r.Text, 1, rulebook.LongestAnswer)
		return
	}
	if err := k.Check(reading); err != nil {
		pointer := map[rulebook.ValueKind]string{rulebook.Number: "/reading/value", rulebook.YesNo: "/reading/yes", rulebook.Choice: "/reading/text", rulebook.Text: "/reading/text"}[k.Kind]
		faults.Add(pointer, "reading_impossible", "reason", err.Error())
	}
}

// checkQuestionNamed asks for the title of the question under which a company's reading was asked, and refuses one of any other reading.
func checkQuestionNamed(faults *fault.List, at, name, question string) {
	switch is := rulebook.IsOwn(name); {
	case is && question == "":
		faults.Add(at, "text_missing")
	case !is && question != "":
		faults.Add(at, "question_of_none")
	}
}

// checkPlace holds the place of a reading against what any door has.
func checkPlace(faults *fault.List, at string, leaf int, side string) {
	if leaf < 0 || leaf > mostLeaves {
		faults.Add(at+"/leaf", "count_out_of_range", "least", 1, "greatest", mostLeaves)
	}
	if side != "" {
		checkOneOf(faults, at+"/side", side, "a", "b")
	}
}

// rulebookFacts turns the facts of a door into those that rules speak of.
func rulebookFacts(d DoorFacts) rulebook.Facts {
	facts := rulebook.Facts{DoorKind: rulebook.DoorKind(d.Kind), Energy: known(rulebook.Energy(d.Energy)), Traffic: known(rulebook.Traffic(d.Traffic)),
		ActivationA: known(rulebook.Activation(d.A.Activation)), ActivationB: known(rulebook.Activation(d.B.Activation)), PresenceBy: known(rulebook.Presence(d.PresenceBy)),
		ClearWidthM: d.ClearWidthM.Value, OpeningTimeS: d.OpeningTimeS.Value, ClosingTimeS: d.ClosingTimeS.Value,
		Egress: d.Egress, EgressBreakout: d.Egress, FireRated: d.FireRated, Interior: d.Interior, VulnerableUsers: d.VulnerableUsers}
	for _, l := range d.Leaves {
		facts.Leaves = append(facts.Leaves, rulebook.LeafFacts{WidthM: l.WidthM.Value, HeightM: l.HeightM.Value, MassKg: l.MassKg.Value})
	}
	return facts
}

// inspectedFacts are the facts of a door for the judging of an inspection: whoever signs one holds a certificate of that day.
func inspectedFacts(d DoorFacts) rulebook.Facts {
	facts, certified := rulebookFacts(d), true
	facts.InspectorCertified = &certified
	return facts
}

// known is how rules are told that a word is not known: by none.
func known[W ~string](word W) W {
	if word == "unknown" {
		return ""
	}
	return word
}

// Case gives one out-of-service case.
func (f *Fleet) Case(ctx context.Context, by identity.Actor, id uuid.UUID) (c OutOfServiceCase, err error) {
	err = f.Store.InTxReadOnly(ctx, by, func(ctx context.Context, tx Tx) error {
		c, err = tx.CaseByID(ctx, id)
		return err
	})
	return c, err
}

// Cases lists out-of-service cases, the oldest first.
func (f *Fleet) Cases(ctx context.Context, by identity.Actor, q CaseQuery) (list []OutOfServiceCase, err error) {
	err = f.Store.InTxReadOnly(ctx, by, func(ctx context.Context, tx Tx) error {
		list, err = tx.CasePage(ctx, q)
		return err
	})
	return list, err
}
