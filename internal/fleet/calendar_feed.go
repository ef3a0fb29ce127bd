package fleet

import (
	"context"
	"crypto/sha256"
	"slices"
	"strings"
	"time"

	"github.com/google/uuid"

	"lintel.example/lintel/internal/duedate"
	"lintel.example/lintel/internal/fault"
	"lintel.example/lintel/internal/identity"
	"lintel.example/lintel/internal/words"
)

// CalendarFeed is an address at which another program reads the visits of a technician, or the due days and visits of a site,
// without signing in. Whoever has the address has the calendar.
type CalendarFeed struct {
	FeedID     uuid.UUID
	PersonID   uuid.UUID // of a technician; zero: of a site
	CustomerID uuid.UUID
	SiteID     uuid.UUID
	Note       string // who has the address
	Language   string // that it is written in: of whoever made it
	MadeAt     time.Time
	MadeBy     uuid.UUID
	ReadAt     *time.Time // when it was last read, to the hour
	RevokedAt  *time.Time
	RevokedBy  *uuid.UUID
}

// CalendarPath is where a calendar is read, on the server that keeps it.
func CalendarPath(secret string) string { return "/calendar/" + secret + ".ics" }

// CalendarFeedQuery asks for feeds, the newest first.
type CalendarFeedQuery struct {
	PersonID, SiteID uuid.UUID // zero for all
	BeforeAt         time.Time
	BeforeID         uuid.UUID
	Limit            int
}

// FeedOrder is what a calendar says of an order.
type FeedOrder struct {
	WorkOrderID   uuid.UUID
	Kind, State   string
	DueOn         duedate.Day
	PlannedOn     duedate.Day // zero: no visit is planned
	DoneOn        duedate.Day
	ChangedAt     time.Time // when any of this last changed
	Tag           Tag
	Door          string
	Site          string
	Address, City string
	TimeZone      string    // of the site
	Agreed        *DayHours // when the visit is to begin, in minutes of the day at the site; nil: nothing was agreed
}

// RouteTime is when a technician is to be at an order.
type RouteTime struct {
	WorkOrderID uuid.UUID
	On          duedate.Day
	Begin, End  time.Time
	TakenAt     time.Time
}

// FeedOrderQuery asks for the orders of a calendar: those that are open, those that were done since a day, and those that came to
// nothing since an instant.
type FeedOrderQuery struct {
	PersonID, SiteID uuid.UUID // one of them
	DoneSince        duedate.Day
	WithdrawnSince   time.Time
	Taken            []uuid.UUID // besides, in the state "taken": what the person has no more
	Limit            int
}

type calendarFeedRows interface {
	CalendarFeedByID(ctx context.Context, id uuid.UUID) (CalendarFeed, error)
	// InsertCalendarFeed answers false when the id is taken.
	InsertCalendarFeed(ctx context.Context, hash [32]byte, c CalendarFeed) (bool, error)
	CalendarFeedPage(ctx context.Context, q CalendarFeedQuery) ([]CalendarFeed, error)
	// RevokeCalendarFeed ends a feed that has not ended.
	RevokeCalendarFeed(ctx context.Context, id uuid.UUID, at time.Time, by uuid.UUID) error
	RevokeCalendarFeedsOfSite(ctx context.Context, siteID uuid.UUID, at time.Time, by uuid.UUID) error
	// OpenCalendarFeed gives the feed of a secret that may be read at that time, and notes that it was. One that was revoked, whose
	// technician works here no more, or whose maker is an outsider who sees the site no more, is looked for in the same way and not found.
	OpenCalendarFeed(ctx context.Context, hash [32]byte, at time.Time) (CalendarFeed, error)
	// OrdersTaken gives the orders that a person had until a time since then, and has no more.
	OrdersTaken(ctx context.Context, personID uuid.UUID, since time.Time) ([]uuid.UUID, error)
	// FeedOrders gives the orders of a calendar, by their days.
	FeedOrders(ctx context.Context, q FeedOrderQuery) ([]FeedOrder, error)
	// RouteTimes gives when a technician is to be at which order, by the plans of routes that were taken over and end on that day or
	// later; of each order what was taken over last.
	RouteTimes(ctx context.Context, personID uuid.UUID, since duedate.Day) ([]RouteTime, error)
}

const (
	feedWithdrawn = 42 * 24 * time.Hour // for so long an order that came to nothing is in a calendar as cancelled
	feedDone      = 90                  // days for which what was done stays
	mostFeed      = 5000                // orders of a calendar
)

// PutCalendarFeed makes an address for a calendar and gives the secret in it, once. A technician makes one of their own work, the office
// of anybody's and of any site, a customer's agent of the sites that they see. The same again changes nothing and gives no secret.
func (f *Fleet) PutCalendarFeed(ctx context.Context, by identity.Actor, c CalendarFeed) (saved CalendarFeed, secret string, created bool, err error) {
	tidy(&c.Note)
	var faults fault.List
	checkLine(&faults, "/note", c.Note, 0, 200)
	if (c.PersonID == uuid.Nil) == (c.SiteID == uuid.Nil) {
		faults.Add("", "feed_of_one")
	}
	if err := faults.Err(); err != nil {
		return c, "", false, err
	}
	secret, hash, err := identity.NewSecret(f.Random)
	if err != nil {
		return c, "", false, err
	}
	err = f.Store.InTx(ctx, by, func(ctx context.Context, tx Tx) error {
		created = false
		present, err := tx.CalendarFeedByID(ctx, c.FeedID)
		switch {
		case err == nil:
			saved = present
			if err := mayFeed(by, present); err != nil {
				return err
			}
			return c.same(present)
		case !fault.Is(err, "feed_not_found"):
			return err
		}
		if err := mayFeed(by, c); err != nil {
			return err
		}
		saved = c
		if err := f.feedOf(ctx, tx, &saved); err != nil {
			return err
		}
		saved.Language, saved.MadeAt, saved.MadeBy = by.Language, f.Now(), by.PersonID
		if created, err = tx.InsertCalendarFeed(ctx, hash, saved); err == nil && !created { // of somebody else's
			return fault.New(fault.Conflict, "feed_differs")
		}
		return err
	})
	if !created {
		secret = ""
	}
	return saved, secret, created, err
}

func (c CalendarFeed) same(present CalendarFeed) error {
	if c.PersonID != present.PersonID || c.SiteID != present.SiteID || c.Note != present.Note {
		return fault.New(fault.Conflict, "feed_differs")
	}
	return nil
}

// mayFeed refuses whoever does not keep calendars of that technician or site; which sites an outsider sees, the database says.
func mayFeed(by identity.Actor, c CalendarFeed) error {
	if ofOffice(string(by.Role)) || c.PersonID == by.PersonID || c.SiteID != uuid.Nil && !by.Role.Staff() {
		return nil
	}
	return fault.New(fault.Forbidden, "not_allowed", "action", string(identity.ActKeepFeeds))
}

// feedOf looks that whose calendar it is to be is there.
func (f *Fleet) feedOf(ctx context.Context, tx Tx, c *CalendarFeed) error {
	if c.SiteID != uuid.Nil {
		site, err := tx.SiteByID(ctx, c.SiteID)
		c.CustomerID = site.CustomerID
		return pointTo(err, "/site_id")
	}
	works, err := tx.TechnicianExists(ctx, c.PersonID, f.Now())
	if err == nil && !works {
		return fault.At("/person_id", "no_technician")
	}
	return err
}

// CalendarFeeds lists feeds, the newest first: a technician's own, the office's all, an outsider's of the sites in sight.
func (f *Fleet) CalendarFeeds(ctx context.Context, by identity.Actor, q CalendarFeedQuery) (list []CalendarFeed, err error) {
	if by.Role == identity.Technician {
		q.PersonID = by.PersonID
	}
	err = f.Store.InTxReadOnly(ctx, by, func(ctx context.Context, tx Tx) error {
		list, err = tx.CalendarFeedPage(ctx, q)
		return err
	})
	return list, err
}

// RevokeCalendarFeed ends an address at once and for good. Revoked again it stays as it was.
func (f *Fleet) RevokeCalendarFeed(ctx context.Context, by identity.Actor, id uuid.UUID) (c CalendarFeed, err error) {
	err = f.Store.InTx(ctx, by, func(ctx context.Context, tx Tx) error {
		if c, err = tx.CalendarFeedByID(ctx, id); err != nil {
			return err
		}
		if err := mayFeed(by, c); err != nil {
			return err
		}
		if err := tx.RevokeCalendarFeed(ctx, id, f.Now(), by.PersonID); err != nil {
			return err
		}
		c, err = tx.CalendarFeedByID(ctx, id)
		return err
	})
	return c, err
}

// ReadCalendarFeed gives the calendar at a secret address. It is read in the sight of a technician of whom only the own orders are asked
// for, or of somebody who sees that site and nothing else.
func (f *Fleet) ReadCalendarFeed(ctx context.Context, secret string) ([]byte, error) {
	if f.WriteCalendar == nil {
		return nil, fault.New(fault.NotFound, "feed_not_found")
	}
	hash := sha256.Sum256([]byte(secret)) // of whatever was sent: no answer is quicker than another
	var c CalendarFeed
	err := f.Store.InTx(ctx, identity.Program(), func(ctx context.Context, tx Tx) (err error) {
		c, err = tx.OpenCalendarFeed(ctx, hash, f.Now())
		return err
	})
	if err != nil {
		return nil, err
	}
	now := f.Now()
	q := FeedOrderQuery{PersonID: c.PersonID, SiteID: c.SiteID, DoneSince: duedate.DayIn(now, time.UTC).AddDays(-feedDone), WithdrawnSince: now.Add(-feedWithdrawn), Limit: mostFeed}
	var orders []FeedOrder
	var times []RouteTime
	var names Names
	err = f.Store.InTxReadOnly(ctx, c.eyes(), func(ctx context.Context, tx Tx) (err error) {
		if c.PersonID != uuid.Nil {
			if q.Taken, err = tx.OrdersTaken(ctx, c.PersonID, q.WithdrawnSince); err != nil {
				return err
			}
			if times, err = tx.RouteTimes(ctx, c.PersonID, q.DoneSince); err != nil {
				return err
			}
		}
		if orders, err = tx.FeedOrders(ctx, q); err != nil {
			return err
		}
		names, err = tx.NamesOf(ctx, Named{People: []uuid.UUID{c.PersonID}, Sites: []uuid.UUID{c.SiteID}})
		return err
	})
	if err != nil {
		return nil, err
	}
	p := f.Words.Printer(c.Language, words.Metric)
	name := p.T("calendar.name.site", "site", names[c.SiteID].Text)
	if c.SiteID == uuid.Nil {
		name = p.T("calendar.name.person", "person", names[c.PersonID].Text)
	}
	byOrder := make(map[uuid.UUID]RouteTime, len(times))
	for _, t := range times {
		byOrder[t.WorkOrderID] = t
	}
	events := make([]CalendarEvent, len(orders))
	for i, o := range orders {
		events[i] = f.feedEvent(p, c, o, byOrder[o.WorkOrderID])
	}
	return f.WriteCalendar(name, events), nil
}

// eyes are who a feed is read by: nobody who can do anything, and who sees no more than the feed is about.
func (c CalendarFeed) eyes() identity.Actor {
	if c.SiteID != uuid.Nil {
		return identity.Actor{Role: identity.OwnerAgent, ScopeKind: identity.ScopeSites, Sites: []uuid.UUID{c.SiteID}}
	}
	return identity.Actor{PersonID: c.PersonID, Role: identity.Technician, ScopeKind: identity.ScopeAll}
}

// feedEvent is an order as a calendar has it: the visit where one is planned, otherwise the due day. Its UID is that of the calendar in
// mails, and so is the rule of SEQUENCE: minutes, which grow from change to change.
func (f *Fleet) feedEvent(p words.Printer, c CalendarFeed, o FeedOrder, at RouteTime) CalendarEvent {
	e := CalendarEvent{UID: o.WorkOrderID.String(), ChangedAt: o.ChangedAt, Day: o.DueOn, Location: o.place()}
	args := []any{"tag", o.Tag.String(), "door", o.Door, "site", o.Site, "work", p.Enum("work_order_kind", o.Kind), "due_on", o.DueOn, "company", f.Company.Name, "company_contact", f.Company.Phone}
	say := func(kind string) {
		e.Summary, e.Description = p.T("calendar."+kind, args...), p.T("calendar."+kind+".text", args...)
	}
	planned := !o.PlannedOn.IsZero()
	if planned {
		e.Day = o.PlannedOn
	}
	switch {
	case o.State == "done":
		if !o.DoneOn.IsZero() {
			e.Day = o.DoneOn
		}
		say("done")
	case o.State == "taken":
		e.Cancelled = true
		say("taken")
	case o.State != "open":
		e.Cancelled = true
		say("withdrawn")
	case planned:
		e.Busy = c.PersonID != uuid.Nil
		say("visit")
		o.timed(p, &e, at)
	default:
		say("order")
	}
	e.Sequence = int(e.ChangedAt.Unix() / 60)
	return e
}

func (o FeedOrder) place() string {
	return strings.Join(slices.DeleteFunc([]string{o.Site, o.Address, o.City}, func(s string) bool { return s == "" }), ", ")
}

// timed gives a planned visit its hours, where they are known: by the plan of routes, otherwise as it was agreed with the site.
func (o FeedOrder) timed(p words.Printer, e *CalendarEvent, at RouteTime) {
	zone := zoneOr(o.TimeZone, time.UTC)
	switch {
	case at.On == o.PlannedOn && at.End.After(at.Begin):
		e.Day, e.Start, e.End = duedate.Day{}, at.Begin, at.End
		if at.TakenAt.After(e.ChangedAt) {
			e.ChangedAt = at.TakenAt
		}
	case o.Agreed != nil:
		y, m, d := o.PlannedOn.Date()
		clock := func(minute int) time.Time { return time.Date(y, m, d, 0, minute, 0, 0, zone) } // by the clock there, whatever it does that night
		e.Day, e.Start, e.End = duedate.Day{}, clock(o.Agreed.FromMinute), clock(o.Agreed.ToMinute)
		if e.End.Sub(e.Start) < feedShortest {
			e.End = e.Start.Add(feedShortest)
		}
	}
	if o.Agreed != nil {
		from, until := o.Agreed.Texts()
		e.Description += p.T("calendar.agreed", "from", from, "until", until, "zone", zone.String())
	}
}

// feedShortest is how long a visit takes in a calendar when only its beginning was agreed: programs do not show what takes no time.
const feedShortest = 30 * time.Minute
