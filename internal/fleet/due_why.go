package fleet

import (
	"context"
	"fmt"
	"slices"
	"strings"

	"github.com/google/uuid"

	"lintel.example/lintel/internal/duedate"
	"lintel.example/lintel/internal/identity"
	"lintel.example/lintel/internal/rulebook"
	"lintel.example/lintel/internal/words"
)

// WhyDue says in a sentence how a date of a cycle came about, and in further ones what moved it.
func WhyDue(texts words.Printer, c duedate.Cycle, d duedate.Due) string {
	clamped, counted, missed := "", "", ""
	if d.Clamped {
		clamped = texts.T("due.clamped")
	}
	switch {
	case d.Early > 0:
		counted = texts.T("due.counted_early", "last", d.Last.String(), "counted", d.Counted.String(), "count", d.Early)
	case !d.Counted.IsZero():
		counted = texts.T("due.counted", "last", d.Last.String(), "counted", d.Counted.String())
	}
	if len(d.Missed) > 0 {
		missed = texts.T("due.missed", "days", joinedDays(d.Missed))
	}
	key := "due." + string(c.Regime)
	switch {
	case c.AnchorDue && d.Months == 0 && (c.Regime == duedate.Anniversary || c.Regime == duedate.FromLast):
		key = "due.first"
	case c.AnchorDue && d.Months == 0:
		key = "due.first_end"
	case c.AnchorDue && c.Regime == duedate.FixedMonth:
		key += ".first_due"
	case c.Regime == duedate.FromLast || c.Regime == duedate.MonthEnd:
		key += "." + string(d.Basis)
	case c.Regime == duedate.FixedMonth && d.Months == 0:
		key += ".first"
	}
	regular := d.On
	if !d.Deferred.IsZero() {
		regular = d.Deferred
	}
	if !d.Capped.IsZero() {
		regular = d.Capped
	}
	_, month, _ := regular.Date()
	why := texts.T(key, "interval", texts.T("due.interval", "count", d.Months), "month", texts.T(fmt.Sprintf("month.%d", month)), "from", d.From.String(), "clamped", clamped, "counted", counted, "missed", missed)
	if !d.Capped.IsZero() {
		capped := d.On
		if !d.Deferred.IsZero() {
			capped = d.Deferred
		}
		why += " " + texts.T("due.capped", "interval", texts.T("due.interval", "count", c.LongestMonths), "from", d.CapFrom.String(), "regular", d.Capped.String(), "day", capped.String())
	}
	if !d.Deferred.IsZero() {
		why += " " + texts.T("due.deferred", "day", d.Deferred.String(), "on", d.On.String())
	}
	return why
}

func joinedDays(days []duedate.Day) string {
	list := make([]string, len(days))
	for i, d := range days {
		list[i] = d.String()
	}
	return strings.Join(list, ", ")
}

// DueExplained is everything that says when a door is due.
type DueExplained struct {
	Door  Door
	Site  Site
	Today duedate.Day // at the site
	Plans []PlanExplained
}

// PlanExplained is an active plan with its next dates, as if each were served on its day.
type PlanExplained struct {
	Plan        Plan
	Handover    duedate.Day // what it counts from instead of AnchorOn; zero: does not
	Inspections []duedate.Day
	Longest     *rulebook.Interval // nil: no rule names one
	Suspensions []Suspension
	Dates       []duedate.Due
	DoBy        []DoBy // of each of the dates; nil for who is not told of working days
}

// explainedMonths is how far an explanation looks ahead, at least to the next date.
const explainedMonths = 36

// ExplainDue says when a door is due by each of its active plans, and why.
func (f *Fleet) ExplainDue(ctx context.Context, by identity.Actor, doorID uuid.UUID) (e DueExplained, err error) {
	err = f.Store.InTxReadOnly(ctx, by, func(ctx context.Context, tx Tx) error {
		if e.Door, err = tx.DoorByID(ctx, doorID, AsOf{}); err != nil {
			return err
		}
		if e.Site, err = tx.SiteByID(ctx, e.Door.SiteID); err != nil {
			return err
		}
		e.Today = duedate.DayIn(f.Now(), e.Site.Location())
		entries, err := tx.EntriesOfDoor(ctx, doorID)
		if err != nil {
			return err
		}
		done := daysOf(consequencesOf(entries, e.Site.Location()).completions)
		slices.SortFunc(done, duedate.Day.Compare)
		handover, err := handedOver(ctx, tx, doorID, e.Today)
		if err != nil {
			return err
		}
		plans, err := tx.PlansOfDoor(ctx, doorID)
		if err != nil {
			return err
		}
		for _, p := range plans {
			if !p.Active {
				continue
			}
			one := PlanExplained{Plan: p, Inspections: slices.Compact(done)}
			longest, named, err := f.longestInterval(ctx, tx, p, e.Door, e.Site)
			if err != nil {
				return err
			}
			if p.Purpose != Inspection {
				if one.Inspections, err = p.doneDays(ctx, tx); err != nil {
					return err
				}
			}
			if p.FromHandover {
				one.Handover = handover
			}
			if named {
				one.Longest = &longest
			}
			said, err := tx.SuspensionEvents(ctx, p.PlanID)
			if err != nil {
				return err
			}
			one.Suspensions = suspensionsOf(said)
			one.dates(e.Today)
			if by.Role.Staff() && len(one.Dates) > 0 {
				if err := f.doByOf(ctx, tx, e.Site, &one); err != nil {
					return err
				}
			}
			e.Plans = append(e.Plans, one)
		}
		return nil
	})
	return e, err
}

// handedOver is the last day until another on which an order of handover was done; zero: none was.
func handedOver(ctx context.Context, tx Tx, doorID uuid.UUID, until duedate.Day) (day duedate.Day, err error) {
	orders, err := tx.WorkOrderPage(ctx, WorkOrderQuery{DoorID: doorID, Kind: "handover", State: "done", Limit: 100})
	for _, o := range orders {
		if o.ByHand() && o.DoneOn.After(day) && !o.DoneOn.After(until) {
			day = o.DoneOn
		}
	}
	return day, err
}

// doneDays are the days on which its orders were done, or as of which they count: what who may not read what was said of orders sees, too.
func (p Plan) doneDays(ctx context.Context, tx Tx) (days []duedate.Day, err error) {
	orders, err := tx.InspectionOrders(ctx, p.DoorID)
	for _, o := range orders {
		if o.PlanID != nil && *o.PlanID == p.PlanID && o.State == "done" {
			days = append(days, p.countsOn(o.Period, o.DoneOn))
		}
	}
	slices.SortFunc(days, duedate.Day.Compare)
	return slices.Compact(days), err
}

// rule is the plan as it counts now.
func (p PlanExplained) rule() duedate.Plan {
	return p.Plan.countedFrom(p.Handover).Rule()
}

func (p *PlanExplained) dates(today duedate.Day) {
	rule := p.rule()
	next := rule.Next(p.Inspections)
	until := today.AddMonths(explainedMonths)
	if next.On.After(until) {
		until = next.On
	}
	p.Dates = rule.Dues(p.Inspections, until)
}

// doByOf adds by when each of the dates is to be done.
func (f *Fleet) doByOf(ctx context.Context, tx Tx, s Site, p *PlanExplained) error {
	rule := p.rule()
	c, err := f.siteCalendarBetween(ctx, tx, s, p.Dates[0].On, rule.DueBy(p.Dates[len(p.Dates)-1]))
	for _, d := range p.Dates {
		p.DoBy = append(p.DoBy, c.doBy(rule.CountsFrom(d), rule.DueBy(d)))
	}
	return err
}

// DueTold is an explanation in words. The JSON names are what lintel due --explain and the API answer with.
type DueTold struct {
	Door     string        `json:"door"`
	Name     string        `json:"name"`
	Site     string        `json:"site"`
	TimeZone string        `json:"time_zone"`
	Today    duedate.Day   `json:"today" doc:"At the site: what is due or overdue is asked with its own day."`
	Plans    []DuePlanTold `json:"plans"`
}

// DuePlanTold is a plan in words.
type DuePlanTold struct {
	PlanID      uuid.UUID     `json:"plan_id"`
	Purpose     string        `json:"purpose" enum:"inspection,fire_door,service"`
	Regime      string        `json:"regime"`
	Says        string        `json:"says" doc:"The regime and what it counts from."`
	Inspections []duedate.Day `json:"inspections" doc:"The completed ones, each day once."`
	Longest     string        `json:"longest,omitempty" doc:"The rule that allows the least time between two inspections."`
	Suspensions []string      `json:"suspensions,omitempty"`
	Dates       []DueDateTold `json:"dates" doc:"As if each were served on its day."`
}

// DueDateTold is one date with the sentence that says why.
type DueDateTold struct {
	On         duedate.Day `json:"due"`
	By         duedate.Day `json:"due_by" doc:"Until then it is served in time."`
	DoBy       duedate.Day `json:"do_by,omitzero" doc:"The last working day at the site on which it is in time; closed days and days of rest move it, and never the due date. Absent where no working day lies in the time in which an inspection counts, and for who is not of the company."`
	DoByWhy    string      `json:"do_by_why,omitempty" doc:"Where it is another day than due_by."`
	OrdersFrom duedate.Day `json:"orders_from" doc:"From then on its work order is made."`
	Why        string      `json:"why"`
}

// Told puts the explanation into words.
func (e DueExplained) Told(texts words.Printer) DueTold {
	told := DueTold{Door: e.Door.Tag.String(), Name: e.Door.Name, Site: e.Site.Name, TimeZone: e.Site.TimeZone, Today: e.Today, Plans: []DuePlanTold{}}
	for _, p := range e.Plans {
		rule := p.rule()
		one := DuePlanTold{PlanID: p.Plan.PlanID, Purpose: p.Plan.Purpose, Regime: string(p.Plan.Regime), Inspections: p.Inspections, Dates: []DueDateTold{},
			Says: texts.T("due.plan", "interval", texts.T("due.interval", "count", p.Plan.IntervalMonths), "regime", texts.Enum("plan_regime", string(p.Plan.Regime)), "anchor", rule.Anchor.String())}
		if p.Plan.Purpose != Inspection {
			one.Says = texts.T("due.plan.purpose", "purpose", texts.Enum("plan_purpose", p.Plan.Purpose), "says", one.Says)
		}
		if one.Inspections == nil {
			one.Inspections = []duedate.Day{}
		}
		if !p.Handover.IsZero() {
			one.Says += " " + texts.T("due.plan.handover", "day", p.Handover.String())
		}
		if l := p.Longest; l != nil {
			one.Longest = texts.T("due.longest", "interval", texts.T("due.interval", "count", l.Months), "pack", l.Pack.ID, "rule", l.Rule.ID, "standing", texts.T("rulebook.standing."+string(l.Rule.Standing)))
		}
		for _, s := range p.Suspensions {
			one.Suspensions = append(one.Suspensions, s.Says(texts))
		}
		for i, d := range p.Dates {
			date := DueDateTold{On: d.On, By: rule.DueBy(d), OrdersFrom: rule.OrderOn(d.On), Why: WhyDue(texts, rule.Cycle, d)}
			if p.DoBy != nil {
				date.DoBy, date.DoByWhy = p.DoBy[i].On, p.DoBy[i].Says(texts)
			}
			one.Dates = append(one.Dates, date)
		}
		told.Plans = append(told.Plans, one)
	}
	return told
}

// Says tells of a suspension in a sentence.
func (s Suspension) Says(texts words.Printer) string {
	key := "due.suspension"
	switch {
	case s.Span.Until.Before(s.Span.From):
		key = "due.suspension.taken_back"
	case len(s.Events) > 0:
		key = "due.suspension.resumed"
	}
	return texts.T(key, "from", s.FromOn.String(), "until", s.Span.Until.String(), "said", s.UntilOn.String(), "reason", texts.Enum("suspension_reason", s.Reason), "why", s.Why)
}

// Lines is the explanation as text.
func (e DueExplained) Lines(texts words.Printer) (lines []string) {
	told := e.Told(texts)
	lines = append(lines, texts.T("due.door", "door", told.Door, "name", told.Name, "site", told.Site, "zone", told.TimeZone, "today", told.Today.String()))
	if len(told.Plans) == 0 {
		return append(lines, texts.T("due.no_plan"))
	}
	for _, p := range told.Plans {
		lines = append(lines, p.Says)
		if len(p.Inspections) > 0 {
			key := "due.inspections"
			if p.Purpose != Inspection {
				key = "due.done"
			}
			lines = append(lines, texts.T(key, "days", joinedDays(p.Inspections)))
		}
		if p.Longest != "" {
			lines = append(lines, p.Longest)
		}
		lines = append(lines, p.Suspensions...)
		for _, d := range p.Dates {
			lines = append(lines, d.On.String()+"  "+d.Why+" "+strings.TrimSpace(texts.T("due.order", "from", d.OrdersFrom.String(), "by", d.By.String())+" "+d.DoByWhy))
		}
	}
	return lines
}
