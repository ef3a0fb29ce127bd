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
	LadderID    uuid.UUID      `json:"ladder_id"` // zero: what the program does until an administrator says otherwise
	EffectiveOn duedate.Day    `json:"effective_on,omitzero"`
	Reason      string         `json:"reason"`
	Rungs       duedate.Ladder `json:"rungs"`
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
	return []string{"owner", "managing_agent", "occupier", "payer", "dispatcher", "administrator"}
}

func ofOffice(role string) bool { return role == "dispatcher" || role == "administrator" }

// DefaultLadder is what holds until an administrator says otherwise.
func DefaultLadder() Ladder {
	return Ladder{Reason: "built in", UnsafeAgainHours: 24, OfficeTimeZone: "UTC", MailFrom: "08:00", MailUntil: "18:00", RestDays: []string{"saturday", "sunday"},
		Rungs: duedate.DefaultLadder()}
}

type ladderRows interface {
	// LadderOn gives the ladder in force on a day; false when nobody has made one for it.
	LadderOn(ctx context.Context, day duedate.Day) (Ladder, bool, error)
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
	if len(l.Rungs) == 0 || len(l.Rungs) > 40 {
		faults.Add("/rungs", "out_of_range", "least", 1, "greatest", 40)
	}
	for i, r := range l.Rungs {
		at := fmt.Sprintf("/rungs/%d/", i)
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
			checkOneOf(&faults, fmt.Sprintf("%sto/%d", at, n), to, toldRoles()...)
		}
	}
	if err := l.Rungs.Validate(); err != nil {
		faults.Add("/rungs", "rung_impossible", "reason", err.Error())
	}
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

// ladderOn gives the ladder in force on a day.
func (f *Fleet) ladderOn(ctx context.Context, tx Tx, day duedate.Day) (Ladder, error) {
	l, found, err := tx.LadderOn(ctx, day)
	if err != nil || found {
		return l, err
	}
	return DefaultLadder(), nil
}

// LadderOn gives the ladder that holds on a day; on the zero Day, today in the office.
func (f *Fleet) LadderOn(ctx context.Context, by identity.Actor, day duedate.Day) (l Ladder, err error) {
	err = f.Store.InTxReadOnly(ctx, by, func(ctx context.Context, tx Tx) error {
		if day.IsZero() {
			day = duedate.DayIn(f.Now(), time.UTC)
		}
		l, err = f.ladderOn(ctx, tx, day)
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
