package fleet

import (
	"context"
	"slices"
	"strings"
	"time"

	"github.com/google/uuid"

	"lintel.example/lintel/internal/duedate"
	"lintel.example/lintel/internal/fault"
	"lintel.example/lintel/internal/identity"
	"lintel.example/lintel/internal/words"
)

// ClosedDay is a day or more on which nobody works: at a site, at all sites of a customer, in a place, or anywhere. It moves no due date, only
// the day on which something is to be done.
type ClosedDay struct {
	ClosedDayID        uuid.UUID
	CustomerID, SiteID *uuid.UUID // of a site its customer, too
	Place              string     // a country or jurisdiction: US, US-CA; with neither of the others, "" is everywhere
	duedate.Span
	Name       string
	Cancelled  bool
	Version    int
	RecordedAt time.Time
	RecordedBy uuid.UUID
}

// mostClosedDays is how many days one entry may close: what is longer is no holiday, but a door out of use, whose plan is suspended.
const mostClosedDays = 366

// ClosedDayQuery asks for closed days that hold, by their first days.
type ClosedDayQuery struct {
	SiteID      uuid.UUID   // those that close this site, whomever they were said of; zero for all
	CustomerID  uuid.UUID   // those of this customer and its sites alone; zero for all
	Public      bool        // those of no customer and no site alone
	From, Until duedate.Day // those with a day in between; zero: no bound
	AfterDay    duedate.Day
	AfterID     uuid.UUID
	Limit       int // 0: all
}

type closedDayRows interface {
	ClosedDayByID(ctx context.Context, id uuid.UUID) (ClosedDay, error)
	ClosedDayPage(ctx context.Context, q ClosedDayQuery) ([]ClosedDay, error)
	// InsertClosedDay answers false when the id is taken.
	InsertClosedDay(ctx context.Context, c ClosedDay) (bool, error)
	UpdateClosedDay(ctx context.Context, c ClosedDay) error
}

func (f *Fleet) checkClosedDay(c ClosedDay) error {
	var faults fault.List
	checkLine(&faults, "/name", c.Name, 1, 200)
	if c.From.IsZero() {
		faults.Add("/from", "date_missing")
	}
	f.checkDay(&faults, "/from", c.From)
	if last := c.From.AddDays(mostClosedDays - 1); !c.From.IsZero() && (c.Until.Before(c.From) || c.Until.After(last)) {
		faults.Add("/until", "closed_too_long", "first", c.From.String(), "last", last.String())
	}
	switch country, _, _ := strings.Cut(c.Place, "-"); {
	case c.Place == "":
	case c.CustomerID != nil || c.SiteID != nil:
		faults.Add("/place", "closed_twice")
	case !countryKnown(country) || !jurisdictionOf(c.Place, country):
		faults.Add("/place", "jurisdiction_unknown")
	}
	return faults.Err()
}

// PutClosedDay says when nobody works somewhere, changes it, or takes it back.
func (f *Fleet) PutClosedDay(ctx context.Context, by identity.Actor, c ClosedDay, ifMatch int) (saved ClosedDay, created bool, err error) {
	tidy(&c.Name)
	if c.Until.IsZero() {
		c.Until = c.From
	}
	if err := f.checkClosedDay(c); err != nil {
		return c, false, err
	}
	err = f.Store.InTx(ctx, by, func(ctx context.Context, tx Tx) error {
		put := c
		if put.SiteID != nil {
			site, err := tx.SiteByID(ctx, *put.SiteID)
			if err != nil {
				return instead(err, fault.At("/site_id", "site_not_found"))
			}
			if put.CustomerID != nil && *put.CustomerID != site.CustomerID {
				return fault.At("/customer_id", "site_of_other_customer")
			}
			put.CustomerID = &site.CustomerID
		}
		put.Version, put.RecordedAt, put.RecordedBy = 1, f.Now(), by.PersonID
		if created, err = tx.InsertClosedDay(ctx, put); err != nil {
			return err
		}
		if !created {
			present, err := tx.ClosedDayByID(ctx, put.ClosedDayID)
			if err != nil {
				return err
			}
			if put.says(present) { // no change is success whatever version was named
				saved = present
				return nil
			}
			if err := checkVersion(ifMatch, present.Version); err != nil {
				return err
			}
			put.Version = present.Version + 1
			if err := tx.UpdateClosedDay(ctx, put); err != nil {
				return err
			}
		}
		saved = put
		return f.record(ctx, tx, by, "closed_day", saved.ClosedDayID, saved)
	})
	return saved, created, err
}

// says tells whether two states of a closed day are the same to people.
func (c ClosedDay) says(o ClosedDay) bool {
	same := func(a, b *uuid.UUID) bool { return (a == nil) == (b == nil) && (a == nil || *a == *b) }
	return same(c.CustomerID, o.CustomerID) && same(c.SiteID, o.SiteID) && c.Place == o.Place && c.Span == o.Span && c.Name == o.Name && c.Cancelled == o.Cancelled
}

// ClosedDay gives one entry, cancelled or not.
func (f *Fleet) ClosedDay(ctx context.Context, by identity.Actor, id uuid.UUID) (c ClosedDay, err error) {
	err = f.Store.InTxReadOnly(ctx, by, func(ctx context.Context, tx Tx) error {
		c, err = tx.ClosedDayByID(ctx, id)
		return err
	})
	return c, err
}

// ClosedDays lists closed days by their first days.
func (f *Fleet) ClosedDays(ctx context.Context, by identity.Actor, q ClosedDayQuery) (list []ClosedDay, err error) {
	err = f.Store.InTxReadOnly(ctx, by, func(ctx context.Context, tx Tx) error {
		list, err = tx.ClosedDayPage(ctx, q)
		return err
	})
	return list, err
}

// closes tells whether an entry closes a site.
func (c ClosedDay) closes(s Site) bool {
	switch {
	case c.SiteID != nil:
		return *c.SiteID == s.SiteID
	case c.CustomerID != nil:
		return *c.CustomerID == s.CustomerID
	}
	return c.closesPlaces([]string{s.Country, s.Jurisdiction})
}

// closesPlaces tells whether a public entry closes one of the places.
func (c ClosedDay) closesPlaces(places []string) bool {
	return c.Place == "" || slices.Contains(places, c.Place)
}

// siteCalendar are the working days of a site, and why others are none.
type siteCalendar struct {
	duedate.Calendar
	names map[duedate.Day]string
}

// calendarOfSite gives the working days of a site: the week of its visiting hours, else that of the ladder, without the ladder's holidays and without
// those of the closed days that close it.
func calendarOfSite(s Site, l Ladder, hours []VisitingHours, closed []ClosedDay) siteCalendar {
	c := siteCalendar{l.calendarOf([]string{s.Country, s.Jurisdiction}), map[duedate.Day]string{}}
	for _, h := range hours {
		for day := range c.Rest {
			c.Rest[day] = !slices.Contains(h.Weekdays, (day+6)%7+1)
		}
	}
	for _, one := range closed {
		if !one.closes(s) {
			continue
		}
		for d := range one.Days() {
			c.Holidays[d] = struct{}{}
			c.names[d] = one.Name
		}
	}
	return c
}

// siteCalendarBetween reads the working days of a site as they are known today; so that the last one before a day is found, closed days of the year
// before the first day count, too.
func (f *Fleet) siteCalendarBetween(ctx context.Context, tx Tx, s Site, from, until duedate.Day) (c siteCalendar, err error) {
	l, err := f.ladderOn(ctx, tx, duedate.DayIn(f.Now(), s.Location()))
	if err != nil {
		return c, err
	}
	hours, err := tx.VisitingHoursOf(ctx, s.SiteID)
	if err != nil {
		return c, err
	}
	closed, err := tx.ClosedDayPage(ctx, ClosedDayQuery{SiteID: s.SiteID, From: from.AddDays(-mostClosedDays), Until: until})
	return calendarOfSite(s, l, hours, closed), err
}

// DoBy is by when something that is in time until a day is to be done, since people work on some days only.
type DoBy struct {
	On    duedate.Day  // the last working day; zero: none lies in the time in which it counts
	Until duedate.Day  // until then it is in time
	Rest  time.Weekday // of Until, where that is no working day
	Name  string       // of what closes the site on Until; "": a day of rest, or one of the ladder's holidays
	Moved bool         // Until itself is no working day
}

// doBy gives the last working day from one day to another.
func (c siteCalendar) doBy(from, until duedate.Day) DoBy {
	return DoBy{On: c.LastWorking(from, until), Until: until, Rest: until.Weekday(), Name: c.names[until], Moved: !c.Working(until)}
}

// Says tells in a sentence why it is to be done earlier than it is due; "" where it is not.
func (d DoBy) Says(texts words.Printer) string {
	if !d.Moved {
		return ""
	}
	why := d.Name
	if why == "" {
		why = texts.Enum("weekday", string('1'+rune(d.Rest+6)%7))
	}
	if d.On.IsZero() {
		return texts.T("due.do_by.none", "day", d.Until.String(), "why", why)
	}
	return texts.T("due.do_by.earlier", "day", d.Until.String(), "why", why, "on", d.On.String())
}

// OrderDoBy gives by when an order is to be done. Working days are the company's own business: nobody else is told any.
func (f *Fleet) OrderDoBy(ctx context.Context, by identity.Actor, o WorkOrder) (d DoBy, err error) {
	if !by.Role.Staff() {
		return d, nil
	}
	err = f.Store.InTxReadOnly(ctx, by, func(ctx context.Context, tx Tx) error {
		site, err := tx.SiteByID(ctx, o.SiteID)
		if err != nil {
			return err
		}
		var from duedate.Day
		if o.PlanID != nil {
			plan, err := tx.PlanByID(ctx, *o.PlanID)
			if err != nil {
				return err
			}
			from = plan.countsFrom(o.Period)
		}
		c, err := f.siteCalendarBetween(ctx, tx, site, o.DueOn, o.DueOn)
		d = c.doBy(from, o.DueOn)
		return err
	})
	return d, err
}

// countsFrom is the first day on which an inspection serves a period of the plan; zero: however early.
func (p Plan) countsFrom(period duedate.Day) duedate.Day {
	d := duedate.Due{On: period}
	switch {
	case p.NextDue != period || p.RegularDue.IsZero():
	case p.RegularDue.After(period):
		d.Capped = p.RegularDue
	default:
		d.Deferred = p.RegularDue
	}
	return p.Rule().CountsFrom(d)
}
