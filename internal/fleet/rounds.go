package fleet

import (
	"context"
	"slices"
	"time"

	"github.com/google/uuid"

	"lintel.example/lintel/internal/duedate"
	"lintel.example/lintel/internal/fault"
	"lintel.example/lintel/internal/identity"
)

// DayHours is a span of a day, in minutes after midnight by the clock of the place. Nothing in it: none.
type DayHours struct {
	FromMinute, ToMinute int
}

// WorkingTerms say when, from where and in which regions a technician works.
type WorkingTerms struct {
	PersonID   uuid.UUID
	TimeZone   string
	Home       Position // where every day begins and ends
	Weekdays   []int    // ISO 8601: 1 is Monday
	Hours      DayHours
	Break      DayHours
	Regions    []string // of sites; none: everywhere
	Version    int
	RecordedAt time.Time
	RecordedBy uuid.UUID
}

// VisitingHours say when a site lets technicians in.
type VisitingHours struct {
	CustomerID, SiteID uuid.UUID
	Weekdays           []int
	Hours              DayHours
	Version            int
	RecordedAt         time.Time
	RecordedBy         uuid.UUID
}

// OrderHold keeps an order with its technician and on its planned day, whatever routes are planned.
type OrderHold struct {
	CustomerID, SiteID, DoorID, WorkOrderID uuid.UUID
	Begin                                   *DayHours // when it was agreed to begin; nil: at any time of the day
	Why                                     string
	RecordedAt                              time.Time
	RecordedBy                              uuid.UUID
}

// WorkingTermsQuery asks for the terms of technicians whose terms are known, in the order of their ids.
type WorkingTermsQuery struct {
	PersonID uuid.UUID // zero for all
	AfterID  uuid.UUID
	Limit    int
}

type roundRows interface {
	WorkingTermsPage(ctx context.Context, q WorkingTermsQuery) ([]WorkingTerms, error)
	PutWorkingTerms(ctx context.Context, w WorkingTerms) error
	// VisitingHoursOf gives the hours of a site, none where nobody said any.
	VisitingHoursOf(ctx context.Context, siteID uuid.UUID) ([]VisitingHours, error)
	PutVisitingHours(ctx context.Context, v VisitingHours) error
	// HoldOf gives the hold of an order; none where there is none.
	HoldOf(ctx context.Context, orderID uuid.UUID) ([]OrderHold, error)
	PutHold(ctx context.Context, h OrderHold) error
	EndHold(ctx context.Context, orderID uuid.UUID, at time.Time, by uuid.UUID) error
}

// ParseDayHours reads "07:30" and "15:00"; both empty are none.
func ParseDayHours(from, to string) (h DayHours, ok bool) {
	if from == "" && to == "" {
		return h, true
	}
	a, errA := minuteOf(from)
	b, errB := minuteOf(to)
	return DayHours{a, b}, errA && errB && a < b
}

func minuteOf(clock string) (int, bool) {
	if clock == "24:00" {
		return 24 * 60, true
	}
	at, err := time.Parse("15:04", clock)
	return at.Hour()*60 + at.Minute(), err == nil
}

// Texts are both ends as people write them; none are empty.
func (h DayHours) Texts() (from, to string) {
	if h == (DayHours{}) {
		return "", ""
	}
	clock := func(m int) string {
		if m == 24*60 {
			return "24:00"
		}
		return time.Date(2000, 1, 1, 0, m, 0, 0, time.UTC).Format("15:04")
	}
	return clock(h.FromMinute), clock(h.ToMinute)
}

func checkWeekdays(faults *fault.List, days []int) []int {
	days = slices.Clone(days)
	slices.Sort(days)
	days = slices.Compact(days)
	if len(days) == 0 || days[0] < 1 || days[len(days)-1] > 7 {
		faults.Add("/weekdays", "weekdays_wrong")
	}
	return days
}

func checkHours(faults *fault.List, pointer string, h DayHours) {
	if h.FromMinute < 0 || h.FromMinute >= h.ToMinute || h.ToMinute > 24*60 {
		faults.Add(pointer, "hours_wrong")
	}
}

func (w *WorkingTerms) check() error {
	var faults fault.List
	w.Weekdays = checkWeekdays(&faults, w.Weekdays)
	checkHours(&faults, "/hours", w.Hours)
	if w.Break != (DayHours{}) {
		checkHours(&faults, "/break", w.Break)
		if w.Break.FromMinute < w.Hours.FromMinute || w.Break.ToMinute > w.Hours.ToMinute {
			faults.Add("/break", "break_outside_hours")
		}
	} else {
		w.Break = DayHours{w.Hours.FromMinute, w.Hours.FromMinute}
	}
	if _, err := zoneNamed(w.TimeZone); err != nil {
		faults.Add("/time_zone", "time_zone_unknown")
	}
	if !(w.Home.LatitudeDeg >= -90 && w.Home.LatitudeDeg <= 90 && w.Home.LongitudeDeg >= -180 && w.Home.LongitudeDeg <= 180) {
		faults.Add("/home", "position_wrong")
	}
	regions := []string{}
	for _, r := range w.Regions {
		tidy(&r)
		checkLine(&faults, "/regions", r, 1, 100)
		regions = append(regions, r)
	}
	slices.Sort(regions)
	if w.Regions = slices.Compact(regions); len(w.Regions) > 50 {
		faults.Add("/regions", "too_many", "most", 50)
	}
	return faults.Err()
}

func sameTerms(a, b WorkingTerms) bool {
	return a.TimeZone == b.TimeZone && a.Home == b.Home && slices.Equal(a.Weekdays, b.Weekdays) && a.Hours == b.Hours && a.Break == b.Break && slices.Equal(a.Regions, b.Regions)
}

// PutWorkingTerms says when, from where and in which regions a technician works.
func (f *Fleet) PutWorkingTerms(ctx context.Context, by identity.Actor, w WorkingTerms, ifMatch int) (saved WorkingTerms, created bool, err error) {
	if err := w.check(); err != nil {
		return w, false, err
	}
	err = f.Store.InTx(ctx, by, func(ctx context.Context, tx Tx) error {
		is, err := tx.TechnicianExists(ctx, w.PersonID, f.Now())
		if err != nil {
			return err
		}
		if !is {
			return fault.New(fault.NotFound, "no_technician")
		}
		present, err := tx.WorkingTermsPage(ctx, WorkingTermsQuery{PersonID: w.PersonID, Limit: 1})
		if err != nil {
			return err
		}
		saved, created = w, len(present) == 0
		saved.Version, saved.RecordedAt, saved.RecordedBy = 1, f.Now(), by.PersonID
		if !created {
			if sameTerms(saved, present[0]) { // no change is success whatever version was named
				saved = present[0]
				return nil
			}
			if err := checkVersion(ifMatch, present[0].Version); err != nil {
				return err
			}
			saved.Version = present[0].Version + 1
		}
		if err := tx.PutWorkingTerms(ctx, saved); err != nil {
			return err
		}
		return f.record(ctx, tx, by, "working_terms", w.PersonID, saved)
	})
	return saved, created, err
}

// WorkingTerms lists the terms of technicians, by their ids.
func (f *Fleet) WorkingTerms(ctx context.Context, by identity.Actor, q WorkingTermsQuery) (list []WorkingTerms, err error) {
	err = f.Store.InTxReadOnly(ctx, by, func(ctx context.Context, tx Tx) error {
		list, err = tx.WorkingTermsPage(ctx, q)
		return err
	})
	return list, err
}

// PutVisitingHours says when a site lets technicians in.
func (f *Fleet) PutVisitingHours(ctx context.Context, by identity.Actor, v VisitingHours, ifMatch int) (saved VisitingHours, created bool, err error) {
	var faults fault.List
	v.Weekdays = checkWeekdays(&faults, v.Weekdays)
	checkHours(&faults, "/hours", v.Hours)
	if err := faults.Err(); err != nil {
		return v, false, err
	}
	err = f.Store.InTx(ctx, by, func(ctx context.Context, tx Tx) error {
		site, err := tx.SiteByID(ctx, v.SiteID)
		if err != nil {
			return err
		}
		present, err := tx.VisitingHoursOf(ctx, v.SiteID)
		if err != nil {
			return err
		}
		saved, created = v, len(present) == 0
		saved.CustomerID, saved.Version, saved.RecordedAt, saved.RecordedBy = site.CustomerID, 1, f.Now(), by.PersonID
		if !created {
			if slices.Equal(saved.Weekdays, present[0].Weekdays) && saved.Hours == present[0].Hours { // no change is success
				saved = present[0]
				return nil
			}
			if err := checkVersion(ifMatch, present[0].Version); err != nil {
				return err
			}
			saved.Version = present[0].Version + 1
		}
		if err := tx.PutVisitingHours(ctx, saved); err != nil {
			return err
		}
		return f.record(ctx, tx, by, "visiting_hours", v.SiteID, saved)
	})
	return saved, created, err
}

// VisitingHours gives when a site lets technicians in; NotFound where nobody said.
func (f *Fleet) VisitingHours(ctx context.Context, by identity.Actor, siteID uuid.UUID) (v VisitingHours, err error) {
	err = f.Store.InTxReadOnly(ctx, by, func(ctx context.Context, tx Tx) error {
		list, err := tx.VisitingHoursOf(ctx, siteID)
		if err == nil && len(list) == 0 {
			return fault.New(fault.NotFound, "hours_not_said")
		}
		if err == nil {
			v = list[0]
		}
		return err
	})
	return v, err
}

// HoldOrder keeps an open order that has a technician or a day with them.
func (f *Fleet) HoldOrder(ctx context.Context, by identity.Actor, h OrderHold) (saved OrderHold, err error) {
	tidy(&h.Why)
	var faults fault.List
	checkText(&faults, "/why", h.Why, 0, 1000)
	if h.Begin != nil && (h.Begin.FromMinute < 0 || h.Begin.FromMinute > h.Begin.ToMinute || h.Begin.ToMinute > 24*60) {
		faults.Add("/begin", "hours_wrong")
	}
	if err := faults.Err(); err != nil {
		return h, err
	}
	err = f.Store.InTx(ctx, by, func(ctx context.Context, tx Tx) error {
		o, err := lockedOrder(ctx, tx, h.WorkOrderID)
		switch {
		case err != nil:
			return err
		case o.State != "open":
			return fault.New(fault.Conflict, "work_order_closed")
		case o.AssignedTo == nil && o.PlannedOn.IsZero():
			return fault.New(fault.Conflict, "nothing_to_hold")
		case h.Begin != nil && o.PlannedOn.IsZero():
			return &fault.Error{Kind: fault.Conflict, Code: "begin_without_day", Pointer: "/begin"}
		}
		saved = h
		saved.CustomerID, saved.SiteID, saved.DoorID, saved.RecordedAt, saved.RecordedBy = o.CustomerID, o.SiteID, o.DoorID, f.Now(), by.PersonID
		if err := tx.PutHold(ctx, saved); err != nil {
			return err
		}
		return f.record(ctx, tx, by, "work_order_hold", h.WorkOrderID, saved)
	})
	return saved, err
}

// FreeOrder ends the hold of an order; there may be none.
func (f *Fleet) FreeOrder(ctx context.Context, by identity.Actor, orderID uuid.UUID) error {
	return f.Store.InTx(ctx, by, func(ctx context.Context, tx Tx) error {
		if _, err := lockedOrder(ctx, tx, orderID); err != nil {
			return err
		}
		held, err := tx.HoldOf(ctx, orderID)
		if err != nil || len(held) == 0 {
			return err
		}
		if err := tx.EndHold(ctx, orderID, f.Now(), by.PersonID); err != nil {
			return err
		}
		return f.record(ctx, tx, by, "work_order_hold", orderID, struct{ Ended time.Time }{f.Now()})
	})
}

// OrderHold gives the hold of an order, nil where there is none.
func (f *Fleet) OrderHold(ctx context.Context, by identity.Actor, orderID uuid.UUID) (h *OrderHold, err error) {
	err = f.Store.InTxReadOnly(ctx, by, func(ctx context.Context, tx Tx) error {
		list, err := tx.HoldOf(ctx, orderID)
		if err == nil && len(list) > 0 {
			h = &list[0]
		}
		return err
	})
	return h, err
}

// span is when a span of a day in a zone is, in minutes after a beginning: the day's own offset from UTC counts, so that the day on which the
// clock is changed has an hour less or more.
func (h DayHours) span(day duedate.Day, zone *time.Location, since time.Time) (from, to float64) {
	y, m, d := day.Date()
	at := func(minute int) float64 { return time.Date(y, m, d, 0, minute, 0, 0, zone).Sub(since).Minutes() }
	return at(h.FromMinute), at(h.ToMinute)
}
