package fleet

import (
	"context"
	"fmt"
	"regexp"
	"slices"
	"strings"
	"time"

	"github.com/google/uuid"

	"lintel.example/lintel/internal/duedate"
	"lintel.example/lintel/internal/fault"
	"lintel.example/lintel/internal/identity"
)

// Ladder is who is told when about an inspection that is due, from a day on. It never changes: another one follows it.
type Ladder struct {
	LadderID uuid.UUID `json:"ladder_id"` // zero: what the program does until an administrator says otherwise
	// CustomerID is of a customer's own ladder, which goes before the company's; zero: the company's. One without rungs gives the customer
	// back to the company's.
	CustomerID  uuid.UUID      `json:"customer_id,omitzero"`
	EffectiveOn duedate.Day    `json:"effective_on,omitzero"`
	Reason      string         `json:"reason"`
	Rungs       duedate.Ladder `json:"rungs"`
	// OutOfServiceRungs are climbed by the inspections of a door that is out of service as unsafe, secured or not; none: by the same rungs.
	OutOfServiceRungs duedate.Ladder `json:"out_of_service_rungs,omitempty"`
	// UnsafeAgainHours is after how many hours an unsafe door is told again, until somebody acknowledges.
	UnsafeAgainHours int    `json:"unsafe_again_hours"`
	OfficeTimeZone   string `json:"office_time_zone"` // of dispatchers and administrators
	// Mail that is not urgent goes out between these hours ("08:00", "18:00") of the recipient; equal: at any hour.
	MailFrom  string                   `json:"mail_from"`
	MailUntil string                   `json:"mail_until"`
	RestDays  []string                 `json:"rest_days"` // monday, …
	Holidays  map[string][]duedate.Day `json:"holidays"`  // by country or jurisdiction; a site has those of both

	RecordedAt time.Time `json:"recorded_at"`
	RecordedBy uuid.UUID `json:"recorded_by"`
}

// toldRoles are the roles that a rung may tell: parties of the site, then the office.
func toldRoles() []string {
	return append(standingRoles(), "dispatcher", "administrator")
}

func ofOffice(role string) bool { return role == "dispatcher" || role == "administrator" }

// DefaultLadder is what holds until an administrator says otherwise.
func DefaultLadder() Ladder {
	return Ladder{Reason: "built in", UnsafeAgainHours: 24, OfficeTimeZone: "UTC", MailFrom: "08:00", MailUntil: "18:00", RestDays: []string{"saturday", "sunday"},
		Rungs: duedate.DefaultLadder(), OutOfServiceRungs: duedate.OutOfServiceLadder()}
}

// RungsFor are the rungs that an inspection climbs.
func (l Ladder) RungsFor(outOfService bool) duedate.Ladder {
	if outOfService && len(l.OutOfServiceRungs) > 0 {
		return l.OutOfServiceRungs
	}
	return l.Rungs
}

// earliest is on how many days after the due day something has its turn first; negative: before it.
func (l Ladder) earliest() (days int) {
	for _, rungs := range []duedate.Ladder{l.Rungs, l.OutOfServiceRungs} {
		if len(rungs) > 0 {
			days = min(days, rungs[0].OffsetDays)
		}
	}
	return days
}

// unsafeAgain is after how long an unsafe door is told again.
func (l Ladder) unsafeAgain() time.Duration { return time.Duration(l.UnsafeAgainHours) * time.Hour }

// ladders are the ladders that hold on a day: the company's, and those of customers.
type ladders struct {
	company Ladder
	of      map[uuid.UUID]Ladder
}

// earliest is the least of all.
func (l ladders) earliest() int {
	days := l.company.earliest()
	for _, own := range l.of {
		days = min(days, own.earliest())
	}
	return days
}

// forCustomer gives a customer's own ladder, else the company's.
func (l ladders) forCustomer(id uuid.UUID) Ladder {
	if own, ok := l.of[id]; ok {
		return own
	}
	return l.company
}

type ladderRows interface {
	// LaddersOn gives the ladders in force on a day: the company's where somebody has made one, and those of the customers; nil: of all.
	LaddersOn(ctx context.Context, day duedate.Day, customers []uuid.UUID) ([]Ladder, error)
	LadderByID(ctx context.Context, id uuid.UUID) (Ladder, error)
	// Ladders gives all, the newest first.
	Ladders(ctx context.Context) ([]Ladder, error)
	// InsertLadder answers false when the id is taken.
	InsertLadder(ctx context.Context, l Ladder) (bool, error)
}

// PutLadder makes a ladder that holds from a day on, today at the earliest. The same again changes nothing.
func (f *Fleet) PutLadder(ctx context.Context, by identity.Actor, l Ladder) (saved Ladder, created bool, err error) {
	tidy(&l.Reason)
	if err := l.check(); err != nil {
		return Ladder{}, false, err
	}
	err = f.Store.InTx(ctx, by, func(ctx context.Context, tx Tx) error {
		l.RecordedAt, l.RecordedBy = f.Now(), by.PersonID
		present, err := tx.LadderByID(ctx, l.LadderID)
		switch {
		case err == nil:
			l.RecordedAt, l.RecordedBy = present.RecordedAt, present.RecordedBy
			saved = present
			return sameLadder(l, present)
		case !fault.Is(err, "ladder_not_found"):
			return err
		case l.EffectiveOn.Before(duedate.DayIn(f.Now(), l.office())):
			return fault.At("/effective_on", "ladder_in_the_past")
		}
		if l.CustomerID != uuid.Nil {
			if _, err := tx.CustomerByID(ctx, l.CustomerID); err != nil {
				return asMember(err, "/customer_id")
			}
		}
		if created, err = tx.InsertLadder(ctx, l); err != nil {
			return err
		}
		if !created { // by somebody else, a moment ago
			return fault.New(fault.Conflict, "ladder_differs")
		}
		saved = l
		return f.record(ctx, tx, by, "ladder", l.LadderID, l)
	})
	return saved, created, err
}

func sameLadder(a, b Ladder) error {
	left, err := hashOf(a)
	if err != nil {
		return err
	}
	right, err := hashOf(b)
	if err == nil && left != right {
		return fault.New(fault.Conflict, "ladder_differs")
	}
	return err
}

func (l Ladder) check() error {
	var faults fault.List
	checkText(&faults, "/reason", l.Reason, 1, 2000)
	if l.EffectiveOn.IsZero() {
		faults.Add("/effective_on", "date_missing")
	}
	if l.CustomerID == uuid.Nil && len(l.Rungs) == 0 || len(l.Rungs) > mostRungs {
		faults.Add("/rungs", "out_of_range", "least", 1, "greatest", mostRungs)
	}
	if len(l.OutOfServiceRungs) > mostRungs || len(l.Rungs) == 0 && len(l.OutOfServiceRungs) > 0 {
		faults.Add("/out_of_service_rungs", "out_of_range", "least", 0, "greatest", min(len(l.Rungs), 1)*mostRungs)
	}
	checkRungs(&faults, "/rungs", l.Rungs)
	checkRungs(&faults, "/out_of_service_rungs", l.OutOfServiceRungs)
	if l.UnsafeAgainHours < 1 || l.UnsafeAgainHours > 168 {
		faults.Add("/unsafe_again_hours", "out_of_range", "least", 1, "greatest", 168)
	}
	if _, err := zoneNamed(l.OfficeTimeZone); err != nil {
		faults.Add("/office_time_zone", "time_zone_unknown")
	}
	from, errFrom := time.Parse(clock, l.MailFrom)
	until, errUntil := time.Parse(clock, l.MailUntil)
	if errFrom != nil || errUntil != nil || until.Before(from) {
		faults.Add("/mail_until", "hours_impossible")
	}
	for _, name := range l.RestDays {
		checkOneOf(&faults, "/rest_days", name, weekdays()...)
	}
	if err := l.calendarOf(nil).Validate(); err != nil {
		faults.Add("/rest_days", "no_day_to_work")
	}
	for where := range l.Holidays {
		if country, _, _ := strings.Cut(where, "-"); !countryKnown(country) || !jurisdictionOf(where, country) {
			faults.Add("/holidays", "jurisdiction_unknown")
		}
	}
	return faults.Err()
}

// mostRungs is how many rungs a ladder has at most.
const mostRungs = 40

func checkRungs(faults *fault.List, pointer string, rungs duedate.Ladder) {
	for i, r := range rungs {
		at := fmt.Sprintf("%s/%d/", pointer, i)
		if !rungCode.MatchString(r.Code) {
			faults.Add(at+"code", "rung_code_unreadable")
		}
		if r.OffsetDays < -365 || r.OffsetDays > 3650 {
			faults.Add(at+"offset_days", "out_of_range", "least", -365, "greatest", 3650)
		}
		if r.RepeatDays > 365 {
			faults.Add(at+"repeat_days", "out_of_range", "least", 0, "greatest", 365)
		}
		for n, to := range r.To {
			checkOneOf(faults, fmt.Sprintf("%sto/%d", at, n), to, toldRoles()...)
		}
	}
	if err := rungs.Validate(); err != nil {
		faults.Add(pointer, "rung_impossible", "reason", err.Error())
	}
}

const clock = "15:04"

var rungCode = regexp.MustCompile(`^[a-z][a-z0-9_]{0,39}$`)

func weekdays() (names []string) {
	for d := time.Sunday; d <= time.Saturday; d++ {
		names = append(names, strings.ToLower(d.String()))
	}
	return names
}

// calendarOf gives the working days at places: the country, or country and jurisdiction.
func (l Ladder) calendarOf(places []string) duedate.Calendar {
	c := duedate.Calendar{Holidays: map[duedate.Day]struct{}{}}
	for i, name := range weekdays() {
		c.Rest[i] = slices.Contains(l.RestDays, name)
	}
	for _, place := range places {
		for _, d := range l.Holidays[place] {
			c.Holidays[d] = struct{}{}
		}
	}
	return c
}

// office is the zone of the company's own people.
func (l Ladder) office() *time.Location { return zoneOr(l.OfficeTimeZone, time.UTC) }

func zoneOr(name string, other *time.Location) *time.Location {
	if loc, err := zoneNamed(name); err == nil {
		return loc
	}
	return other
}

// sendAt is when something that is not urgent is sent for a day: at the hour that mail begins to go out in the
// recipient's zone, at once where that has passed, on the next morning where mail has ceased for the day.
func (l Ladder) sendAt(day duedate.Day, zone *time.Location, now time.Time) time.Time {
	from, until := l.hours(day, zone)
	switch {
	case from.Equal(until):
		return now
	case now.Before(from):
		return from
	}
	today := duedate.DayIn(now, zone)
	switch from, until = l.hours(today, zone); {
	case now.Before(from):
		return from
	case now.Before(until):
		return now
	}
	from, _ = l.hours(today.AddDays(1), zone)
	return from
}

// hours are when mail goes out on a day.
func (l Ladder) hours(day duedate.Day, zone *time.Location) (from, until time.Time) {
	at := func(text string) time.Time {
		c, err := time.Parse(clock, text)
		if err != nil {
			c = time.Time{}
		}
		y, m, d := day.Date()
		return time.Date(y, m, d, c.Hour(), c.Minute(), 0, 0, zone).UTC()
	}
	return at(l.MailFrom), at(l.MailUntil)
}

// laddersOn gives the ladders in force on a day, for the customers; nil: for all.
func (f *Fleet) laddersOn(ctx context.Context, tx Tx, day duedate.Day, customers []uuid.UUID) (ladders, error) {
	hold := ladders{company: DefaultLadder(), of: map[uuid.UUID]Ladder{}}
	list, err := tx.LaddersOn(ctx, day, customers)
	for _, l := range list {
		switch {
		case l.CustomerID == uuid.Nil:
			hold.company = l
		case len(l.Rungs) > 0:
			hold.of[l.CustomerID] = l
		}
	}
	return hold, err
}

// ladderOn gives the company's ladder in force on a day.
func (f *Fleet) ladderOn(ctx context.Context, tx Tx, day duedate.Day) (Ladder, error) {
	l, err := f.laddersOn(ctx, tx, day, []uuid.UUID{})
	return l.company, err
}

// LadderOn gives the ladder that holds on a day for a customer, its own or else the company's; on the zero Day, today; for nobody, the
// company's.
func (f *Fleet) LadderOn(ctx context.Context, by identity.Actor, day duedate.Day, customer uuid.UUID) (l Ladder, err error) {
	err = f.Store.InTxReadOnly(ctx, by, func(ctx context.Context, tx Tx) error {
		if day.IsZero() {
			day = duedate.DayIn(f.Now(), time.UTC)
		}
		if customer != uuid.Nil {
			if _, err := tx.CustomerByID(ctx, customer); err != nil {
				return err
			}
		}
		all, err := f.laddersOn(ctx, tx, day, []uuid.UUID{customer})
		l = all.forCustomer(customer)
		return err
	})
	return l, err
}

// Ladders gives all ladders that were ever made, the newest first.
func (f *Fleet) Ladders(ctx context.Context, by identity.Actor) (list []Ladder, err error) {
	err = f.Store.InTxReadOnly(ctx, by, func(ctx context.Context, tx Tx) error {
		list, err = tx.Ladders(ctx)
		return err
	})
	return list, err
}
