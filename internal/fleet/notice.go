package fleet

import (
	"context"
	"crypto/sha256"
	"encoding/json"
	"fmt"
	"maps"
	"net/mail"
	"slices"
	"strings"
	"time"

	"github.com/google/uuid"

	"lintel.example/lintel/internal/duedate"
	"lintel.example/lintel/internal/fault"
	"lintel.example/lintel/internal/identity"
)

// Notice is that somebody is told something, why and when. It is never made twice: reason, due day, rung and recipient
// are its key. Its words are in the letter that carries it.
type Notice struct {
	CustomerID  uuid.UUID  `json:"customer_id"`
	SiteID      uuid.UUID  `json:"site_id"`
	NoticeID    uuid.UUID  `json:"notice_id"`
	DoorID      *uuid.UUID `json:"door_id"`
	WorkOrderID *uuid.UUID `json:"work_order_id"`
	CaseID      *uuid.UUID `json:"case_id"`
	// HolderID and QualificationID are of a certificate that runs out; such a notice is of no customer and no site.
	HolderID        *uuid.UUID  `json:"holder_id"`
	QualificationID *uuid.UUID  `json:"qualification_id"`
	Reason          string      `json:"reason"` // work_order:<id>, case:<id>, finding:<id>, qualification:<holder>:<id>, delivery:<id>, watch:<id>:<back by>, webhook:<id>; for the office also notice:<id>, letter:<id>
	DueOn           duedate.Day `json:"due_on,omitzero"`
	TurnOn          duedate.Day `json:"turn_on,omitzero"` // the day on which the rung had its turn
	Rung            string      `json:"rung"`
	Role            string      `json:"role"`         // of the recipient: that of a party, dispatcher, administrator, holder (of the certificate)
	RecipientID     uuid.UUID   `json:"recipient_id"` // a party, or a person of the office
	RecipientName   string      `json:"recipient_name"`
	RecipientEmail  string      `json:"recipient_email"` // "" when there is none to use
	Language        string      `json:"language"`
	TimeZone        string      `json:"time_zone"` // the recipient's
	Urgent          bool        `json:"urgent"`    // in a letter of its own, at once
	Why             Why         `json:"why"`
	State           string      `json:"state"`   // queued, sending (a letter carries it), sent, perhaps_sent, failed, bounced, withdrawn, superseded
	Because         string      `json:"because"` // why it is not sent: a code of notice.because
	NextTryAt       time.Time   `json:"next_try_at"`
	MadeAt          time.Time   `json:"made_at"`
	SentAt          *time.Time  `json:"sent_at"`

	// Of the newest letter that carries it; nothing before there is one.
	LetterID      *uuid.UUID `json:"-"`
	Subject, Body string     `json:"-"`
	Attempts      int        `json:"-"`
	Answer        string     `json:"-"`
}

// Why is the rule and the dates of the moment in which a notice was made.
type Why struct {
	LadderID   *uuid.UUID  `json:"ladder_id,omitempty"` // absent: the built-in one
	OffsetDays *int        `json:"offset_days,omitempty"`
	AsOf       duedate.Day `json:"as_of,omitzero"`
	MovedOn    duedate.Day `json:"moved_on,omitzero"` // the due day was moved then: only rungs after it are sent
	Inspector  string      `json:"inspector,omitempty"`
	Hours      int         `json:"hours,omitempty"` // since the first notice of an unsafe door
	Name       string      `json:"name,omitempty"`  // whom it is about
	Address    string      `json:"address,omitempty"`
	Answer     string      `json:"answer,omitempty"`
	Rung       string      `json:"rung,omitempty"` // of the notice that did not reach its recipient
	Final      bool        `json:"final,omitempty"`
	// OutOfService: the door was, as unsafe.
	OutOfService bool `json:"out_of_service,omitempty"`
}

// Recipient is somebody who is to be told about a site.
type Recipient struct {
	SiteID    uuid.UUID // zero: of the office
	Role      string
	ID        uuid.UUID
	Name      string
	Addresses []string // in the order in which they are tried
	Language  string
	TimeZone  string
}

// OrderDue is an open order of an inspection or of a fire door's items, as the ladder of notices sees it. Service climbs no ladder.
type OrderDue struct {
	CustomerID, SiteID, DoorID, WorkOrderID uuid.UUID
	DueOn                                   duedate.Day
	Country, Jurisdiction, TimeZone         string
	MovedAt                                 *time.Time // when the due day became this one, if notices were made for another
	OutOfService                            bool       // the door is, as unsafe
}

func (o OrderDue) reason() string { return "work_order:" + o.WorkOrderID.String() }

// NoticeQuery asks for notices, the newest first.
type NoticeQuery struct {
	State, Rung, Address            string // "" for all
	SiteID, DoorID, OrderID, CaseID uuid.UUID
	BeforeAt                        time.Time
	BeforeID                        uuid.UUID
	Limit                           int
}

type noticeRows interface {
	// OrdersToLook gives the open inspection orders due until a day, the soonest due first, at which the ladder has not looked, or
	// only until a day before asOf, or when something was otherwise; basis is all that it looks at and is of no order.
	OrdersToLook(ctx context.Context, until, asOf duedate.Day, basis string) ([]Look, error)
	// OrdersDue gives those of the orders that are open inspections, the soonest due first, and holds them.
	OrdersDue(ctx context.Context, ids []uuid.UUID) ([]OrderDue, error)
	// PutLooks keeps until when orders need not be looked at.
	PutLooks(ctx context.Context, looks []Look) error
	// PartiesOf gives the parties that stand to sites on a day, each role of each, with the zone in which their day begins.
	PartiesOf(ctx context.Context, sites []uuid.UUID, day duedate.Day) ([]Recipient, error)
	// OfficePeople gives the dispatchers and administrators who may sign in.
	OfficePeople(ctx context.Context) ([]Recipient, error)
	// RefusedAmong gives those of the addresses that have refused mail for good.
	RefusedAmong(ctx context.Context, addresses []string) ([]string, error)
	// NoticesOf gives of the notices of reasons, oldest first, when who was told of which rung, and what became of it: nothing else of them.
	NoticesOf(ctx context.Context, reasons []string) ([]Notice, error)
	// InsertNotices adds those whose key is new, and tells how many.
	InsertNotices(ctx context.Context, list []Notice) (int64, error)
	// SettleNotices gives notices a state and says why.
	SettleNotices(ctx context.Context, ids []uuid.UUID, state, because string) error
	NoticePage(ctx context.Context, q NoticeQuery) ([]Notice, error)
	NoticeByID(ctx context.Context, id uuid.UUID) (Notice, error)
	// CasesToRemind gives cases that go on and that nobody has acknowledged, whose first notice was made before a time.
	CasesToRemind(ctx context.Context, before time.Time) ([]CaseToRemind, error)
	// InsertAcknowledgement answers false when the person has acknowledged the case before.
	InsertAcknowledgement(ctx context.Context, a Acknowledgement) (bool, error)
	Acknowledgements(ctx context.Context, caseID uuid.UUID) ([]Acknowledgement, error)
}

// noticePage is how many orders are looked at in one transaction.
const noticePage = 500

// mostHolidays is by how many days at most holidays bring a turn forward.
const mostHolidays = 31

// QueueNotices makes, for every open order of an inspection or of a fire door's items, the notices of the highest rung that has its turn by the day,
// and writes down the lower ones that were not sent by then as superseded. It is a function of the day and of what is
// there: run twice, it makes nothing new. Certificates that run out have their own ladder.
func (f *Fleet) QueueNotices(ctx context.Context, asOf duedate.Day) (queued int64, err error) {
	if queued, err = f.queueExpiries(ctx, asOf); err != nil {
		return queued, err
	}
	var looks []Look
	err = f.Store.InTxReadOnly(ctx, identity.Program(), func(ctx context.Context, tx Tx) error {
		r, err := f.newRound(ctx, tx, asOf, nil)
		if err != nil {
			return err
		}
		looks, err = tx.OrdersToLook(ctx, asOf.AddDays(mostHolidays-r.ladders.earliest()), asOf, r.basis())
		return err
	})
	if err != nil {
		return queued, err
	}
	for page := range slices.Chunk(looks, noticePage) {
		var fresh int64
		err := f.Store.InTx(ctx, identity.Program(), func(ctx context.Context, tx Tx) error {
			fresh, err = f.look(ctx, tx, asOf, page)
			return err
		})
		queued += fresh
		if err != nil {
			return queued, err
		}
	}
	return queued, nil
}

// Look is that the ladder has looked at an order.
type Look struct {
	WorkOrderID uuid.UUID    `json:"work_order_id"`
	Through     *duedate.Day `json:"through"` // the last day on which time alone changes nothing; nil: for good
	// Saw is a hash of what is looked at besides the day: the ladders, the office, and of the order its due day, whether its door is out of
	// service, where it is and who stands to its site. It is taken before the order is: what changes between is looked at again.
	Saw int64 `json:"saw"`
}

// look makes the notices of a page of orders, and keeps that they were looked at.
func (f *Fleet) look(ctx context.Context, tx Tx, asOf duedate.Day, page []Look) (int64, error) {
	r, err := f.newRound(ctx, tx, asOf, nil)
	if err != nil {
		return 0, err
	}
	saw := map[uuid.UUID]int64{}
	for _, l := range page {
		saw[l.WorkOrderID] = l.Saw
	}
	orders, err := tx.OrdersDue(ctx, slices.Collect(maps.Keys(saw)))
	if err != nil {
		return 0, err
	}
	if err := r.readOrders(ctx, orders); err != nil {
		return 0, err
	}
	var looked []Look
	for _, o := range orders {
		looked = append(looked, Look{WorkOrderID: o.WorkOrderID, Saw: saw[o.WorkOrderID], Through: r.order(o)})
	}
	fresh, err := r.write(ctx)
	if err != nil {
		return 0, err
	}
	return fresh, tx.PutLooks(ctx, looked)
}

// round is one transaction in which notices are made.
type round struct {
	*Fleet
	tx      Tx
	asOf    duedate.Day
	ladders ladders
	closed  []ClosedDay // public holidays
	works   map[string]duedate.Calendar
	office  []Recipient
	parties map[uuid.UUID][]Recipient // by site
	refused map[string]bool
	told    map[string][]Notice // by reason: those that are there already
	fresh   []Notice
	passed  []uuid.UUID // waiting notices that a higher rung supersedes
}

// newRound begins one with the ladders of the customers; nil: of all.
func (f *Fleet) newRound(ctx context.Context, tx Tx, asOf duedate.Day, customers []uuid.UUID) (*round, error) {
	r := &round{Fleet: f, tx: tx, asOf: asOf, works: map[string]duedate.Calendar{}, parties: map[uuid.UUID][]Recipient{}, refused: map[string]bool{}, told: map[string][]Notice{}}
	var err error
	if r.ladders, err = f.laddersOn(ctx, tx, asOf, customers); err != nil {
		return nil, err
	}
	if r.closed, err = tx.ClosedDayPage(ctx, ClosedDayQuery{Public: true}); err != nil {
		return nil, err
	}
	r.office, err = tx.OfficePeople(ctx)
	for i := range r.office {
		r.office[i].TimeZone = r.ladders.company.OfficeTimeZone
	}
	return r, err
}

// basis is what the ladder looks at that is of no single order.
func (r *round) basis() string {
	text, _ := json.Marshal([]any{r.ladders.company, r.ladders.of, r.closed, r.office}) // of strings, numbers and days: it cannot fail
	return fmt.Sprintf("%x", sha256.Sum256(text))
}

func (r *round) readOrders(ctx context.Context, orders []OrderDue) error {
	var sites []uuid.UUID
	var reasons []string
	for _, o := range orders {
		sites, reasons = append(sites, o.SiteID), append(reasons, o.reason())
	}
	return r.read(ctx, sites, reasons)
}

// read gets who is to be told about sites, and what was told for reasons; others are recipients besides.
func (r *round) read(ctx context.Context, sites []uuid.UUID, reasons []string, others ...Recipient) error {
	parties, err := r.tx.PartiesOf(ctx, sites, r.asOf)
	if err != nil {
		return err
	}
	var addresses []string
	for _, p := range parties {
		r.parties[p.SiteID] = append(r.parties[p.SiteID], p)
		addresses = append(addresses, p.Addresses...)
	}
	for _, p := range slices.Concat(others, r.office) {
		addresses = append(addresses, p.Addresses...)
	}
	refused, err := r.tx.RefusedAmong(ctx, addresses)
	if err != nil {
		return err
	}
	for _, a := range refused {
		r.refused[a] = true
	}
	told, err := r.tx.NoticesOf(ctx, reasons)
	for _, n := range told {
		r.told[n.Reason] = append(r.told[n.Reason], n)
	}
	return err
}

// workingDays are those of a ladder at places: without its own holidays there, and without the public ones.
func (r *round) workingDays(l Ladder, places ...string) duedate.Calendar {
	key := l.LadderID.String() + strings.Join(places, " ")
	c, ok := r.works[key]
	if !ok {
		c = l.calendarOf(places)
		for _, one := range r.closed {
			if one.closesPlaces(places) {
				for d := range one.Days() {
					c.Holidays[d] = struct{}{}
				}
			}
		}
		r.works[key] = c
	}
	return c
}

// order makes the notices of one order, and gives the last day on which time alone makes no other: nil where none will.
func (r *round) order(o OrderDue) (through *duedate.Day) {
	ladder := r.ladders.forCustomer(o.CustomerID)
	calendar := r.workingDays(ladder, o.Country, o.Jurisdiction)
	rungs := ladder.RungsFor(o.OutOfService)
	if next, ok := duedate.NextTurn(rungs, o.DueOn, r.asOf, calendar); ok {
		through = new(next.AddDays(-1))
	}
	rung, lower, ok := duedate.RungDue(rungs, o.DueOn, r.asOf, calendar)
	if !ok {
		return through
	}
	why := Why{AsOf: r.asOf, OffsetDays: &rung.OffsetDays, Final: rung.Final, OutOfService: o.OutOfService}
	if ladder.LadderID != uuid.Nil {
		why.LadderID = &ladder.LadderID
	}
	base := Notice{CustomerID: o.CustomerID, SiteID: o.SiteID, DoorID: &o.DoorID, WorkOrderID: &o.WorkOrderID, Reason: o.reason(), DueOn: o.DueOn,
		Rung: rung.Code, TurnOn: rung.Turn(o.DueOn, calendar), Why: why}
	behind := false
	if o.MovedAt != nil { // only what lies ahead is sent for the new date
		base.Why.MovedOn = duedate.DayIn(*o.MovedAt, zoneOr(o.TimeZone, time.UTC))
		behind = !base.TurnOn.After(base.Why.MovedOn)
	}
	for _, l := range lower {
		passed := base
		passed.Rung, passed.TurnOn, passed.Why.OffsetDays, passed.Why.Final = l.Code, l.Turn(o.DueOn, calendar), &l.OffsetDays, l.Final
		r.supersede(passed, r.recipients(o.SiteID, l.To), "higher_rung")
	}
	if behind {
		r.supersede(base, r.recipients(o.SiteID, rung.To), "due_day_moved")
		return through
	}
	parties := 0
	for _, to := range r.recipients(o.SiteID, rung.To) {
		if !ofOffice(to.Role) {
			parties++
		}
		if last := r.lastTold(base, to.ID); last.IsZero() || base.TurnOn.After(last) {
			r.tell(base, to)
		}
	}
	if wanted := slices.ContainsFunc(rung.To, func(role string) bool { return !ofOffice(role) }); wanted && parties == 0 {
		r.alarm(base, "nobody_to_tell", Why{AsOf: r.asOf, Rung: rung.Code})
	}
	return through
}

// recipients are the parties of a site and the people of the office in certain roles, nobody twice.
func (r *round) recipients(site uuid.UUID, roles []string) (list []Recipient) {
	seen := map[uuid.UUID]bool{}
	for _, role := range roles {
		for _, p := range append(slices.Clone(r.parties[site]), r.office...) {
			if p.Role == role && !seen[p.ID] {
				seen[p.ID] = true
				list = append(list, p)
			}
		}
	}
	return list
}

// lastTold is the day as of which somebody was told last, or is about to be, for a due day. A rung of another ladder that had
// its turn by then says nothing new.
func (r *round) lastTold(n Notice, recipient uuid.UUID) (last duedate.Day) {
	for _, t := range r.told[n.Reason] {
		if t.RecipientID == recipient && t.DueOn == n.DueOn && !t.TurnOn.IsZero() && t.State != "superseded" && t.State != "withdrawn" && t.Why.AsOf.After(last) {
			last = t.Why.AsOf
		}
	}
	return last
}

// known tells whether a notice is there already.
func (r *round) known(n Notice) bool {
	return slices.ContainsFunc(r.told[n.Reason], func(t Notice) bool {
		return t.Rung == n.Rung && t.RecipientID == n.RecipientID && t.DueOn == n.DueOn
	})
}

// supersede writes a rung down that is not sent.
func (r *round) supersede(n Notice, recipients []Recipient, because string) {
	for _, to := range recipients {
		n := r.to(n, to)
		n.State, n.Because = "superseded", because
		if !r.known(n) {
			r.fresh = append(r.fresh, n)
		}
	}
}

// tell queues a notice; what waits for the same recipient from lower rungs is superseded by it. A recipient without an
// address that can be used is not told, and the dispatchers see it.
func (r *round) tell(n Notice, to Recipient) {
	n = r.to(n, to)
	if r.known(n) {
		return
	}
	for _, t := range r.told[n.Reason] {
		if t.RecipientID == n.RecipientID && t.State == "queued" && n.passes(t) {
			r.passed = append(r.passed, t.NoticeID)
		}
	}
	if n.RecipientEmail == "" {
		n.State, n.Because = "failed", "no_address"
		r.alarm(n, "not_told", Why{AsOf: r.asOf, Name: to.Name, Rung: n.Rung})
	}
	r.fresh = append(r.fresh, n)
}

// passes tells whether a notice of the same reason says all that another one was to say: a higher rung, or a door that is
// still unsafe, or somebody who is still not back.
func (n Notice) passes(other Notice) bool {
	if n.Urgent {
		return strings.HasPrefix(n.Rung, "unsafe") || strings.HasPrefix(n.Rung, "alone")
	}
	return !other.TurnOn.IsZero()
}

// to addresses a notice.
func (r *round) to(n Notice, to Recipient) Notice {
	now := r.Now()
	n.NoticeID, n.Role, n.RecipientID, n.RecipientName, n.Language, n.TimeZone = r.NewID(), to.Role, to.ID, to.Name, to.Language, to.TimeZone
	n.State, n.MadeAt, n.NextTryAt = "queued", now, now
	for _, a := range to.Addresses {
		if !r.refused[a] {
			n.RecipientEmail = a
			break
		}
	}
	if !n.Urgent {
		ladder := r.ladders.company
		if !ofOffice(to.Role) {
			ladder = r.ladders.forCustomer(n.CustomerID)
		}
		n.NextTryAt = ladder.sendAt(r.asOf, zoneOr(to.TimeZone, r.ladders.company.office()), now)
	}
	return n
}

// alarm tells the dispatchers of something that went wrong with a notice; where there are none, the administrators.
// An alarm about an alarm is not given.
func (r *round) alarm(about Notice, rung string, why Why) {
	if strings.HasPrefix(about.Reason, "notice:") || strings.HasPrefix(about.Reason, "letter:") {
		return
	}
	n := about
	if rung == "not_told" {
		n.Reason = "notice:" + about.NoticeID.String()
	}
	r.alarmOffice(n, rung, why, about.RecipientID)
}

func (r *round) alarmOffice(n Notice, rung string, why Why, but uuid.UUID) {
	n.Rung, n.TurnOn, n.Why, n.Urgent, n.Because = rung, duedate.Day{}, why, false, ""
	for _, to := range r.dispatchers() {
		if a := r.to(n, to); to.ID != but && a.RecipientEmail != "" && !r.known(a) {
			r.fresh = append(r.fresh, a)
		}
	}
}

// dispatchers are those of the office; where there are none, the administrators.
func (r *round) dispatchers() []Recipient {
	if list := r.recipients(uuid.Nil, []string{"dispatcher"}); len(list) > 0 {
		return list
	}
	return r.recipients(uuid.Nil, []string{"administrator"})
}

// write keeps what the round has made, and tells how many notices are new.
func (r *round) write(ctx context.Context) (int64, error) {
	if len(r.passed) > 0 {
		if err := r.tx.SettleNotices(ctx, r.passed, "superseded", "higher_rung"); err != nil {
			return 0, err
		}
	}
	return r.tx.InsertNotices(ctx, r.fresh)
}

// noticeCases tells everybody about a door that is unsafe, at once and outside of any digest, and the dispatchers again
// when somebody on site refused. A case that has ended by the time it is known here needs no alarm.
func (f *Fleet) noticeCases(ctx context.Context, tx Tx, by identity.Actor, door Door, site Site, cases []OutOfServiceCase) error {
	cases = slices.DeleteFunc(slices.Clone(cases), func(c OutOfServiceCase) bool { return c.State == "ended" })
	if len(cases) == 0 {
		return nil
	}
	r, err := f.newRound(ctx, tx, duedate.DayIn(f.Now(), site.Location()), []uuid.UUID{site.CustomerID})
	if err != nil {
		return err
	}
	var reasons []string
	for _, c := range cases {
		reasons = append(reasons, "case:"+c.CaseID.String())
	}
	if err := r.read(ctx, []uuid.UUID{site.SiteID}, reasons); err != nil {
		return err
	}
	for _, c := range cases {
		n := Notice{CustomerID: door.CustomerID, SiteID: door.SiteID, DoorID: &door.DoorID, CaseID: &c.CaseID, Reason: "case:" + c.CaseID.String(), Urgent: true,
			Rung: "unsafe", Why: Why{AsOf: r.asOf, Inspector: by.Name}}
		for _, to := range r.recipients(site.SiteID, unsafeTo()) {
			r.tell(n, to)
		}
		if c.Refused {
			n.Rung = "refused"
			for _, to := range r.recipients(site.SiteID, []string{"dispatcher"}) {
				r.tell(n, to)
			}
		}
	}
	_, err = r.write(ctx)
	return err
}

// unsafeTo are the roles that hear of an unsafe door.
func unsafeTo() []string {
	return []string{"owner", "managing_agent", "occupier", "payer", "dispatcher"}
}

// CaseToRemind is a case of which somebody must still take note.
type CaseToRemind struct {
	CustomerID, SiteID, DoorID, CaseID uuid.UUID
	TimeZone                           string
	FirstAt                            time.Time // when its first notice was made
	Inspector                          string
}

// RemindOfUnsafeDoors tells of doors that are unsafe again, each time the ladder's hours have passed, until somebody
// acknowledges or the case ends. After a standstill only the latest is sent; those passed over are written down.
func (f *Fleet) RemindOfUnsafeDoors(ctx context.Context) (queued int64, err error) {
	err = f.Store.InTx(ctx, identity.Program(), func(ctx context.Context, tx Tx) error {
		queued = 0
		ladders, err := f.laddersOn(ctx, tx, duedate.DayIn(f.Now(), time.UTC), nil)
		if err != nil {
			return err
		}
		soonest := ladders.company.unsafeAgain()
		for _, l := range ladders.of {
			soonest = min(soonest, l.unsafeAgain())
		}
		cases, err := tx.CasesToRemind(ctx, f.Now().Add(-soonest))
		if err != nil {
			return err
		}
		for _, c := range cases {
			every := ladders.forCustomer(c.CustomerID).unsafeAgain()
			if f.Now().Sub(c.FirstAt) < every {
				continue
			}
			n, err := f.remind(ctx, tx, c, every)
			if err != nil {
				return err
			}
			queued += n
		}
		return nil
	})
	return queued, err
}

func (f *Fleet) remind(ctx context.Context, tx Tx, c CaseToRemind, every time.Duration) (int64, error) {
	r, err := f.newRound(ctx, tx, duedate.DayIn(f.Now(), zoneOr(c.TimeZone, time.UTC)), []uuid.UUID{c.CustomerID})
	if err != nil {
		return 0, err
	}
	reason := "case:" + c.CaseID.String()
	if err := r.read(ctx, []uuid.UUID{c.SiteID}, []string{reason}); err != nil {
		return 0, err
	}
	step := int(every / time.Hour)
	times := int(f.Now().Sub(c.FirstAt) / every)
	for _, to := range r.recipients(c.SiteID, unsafeTo()) {
		for i := r.remindedAfter(reason, to.ID)/step + 1; i <= times; i++ {
			n := Notice{CustomerID: c.CustomerID, SiteID: c.SiteID, DoorID: &c.DoorID, CaseID: &c.CaseID, Reason: reason, Urgent: true,
				Rung: fmt.Sprintf("unsafe_again_%dh", i*step), Why: Why{AsOf: r.asOf, Inspector: c.Inspector, Hours: i * step}}
			if i < times {
				r.supersede(n, []Recipient{to}, "higher_rung")
			} else {
				r.tell(n, to)
			}
		}
	}
	return r.write(ctx)
}

// remindedAfter is the hour of the last reminder that a recipient had, or that was passed over: where a ladder with other
// hours follows, it goes on from there.
func (r *round) remindedAfter(reason string, recipient uuid.UUID) (hours int) {
	for _, t := range r.told[reason] {
		if t.RecipientID == recipient {
			hours = max(hours, t.Why.Hours)
		}
	}
	return hours
}

// Acknowledgement is that a person has taken note of an unsafe door.
type Acknowledgement struct {
	CustomerID, SiteID, DoorID, CaseID uuid.UUID
	PersonID                           uuid.UUID
	At                                 time.Time
	Note                               string
}

// AcknowledgeCase is a person's word that they have taken note of an unsafe door: its notices are not repeated any more.
// It secures nothing. Once is enough; the same person again changes nothing.
func (f *Fleet) AcknowledgeCase(ctx context.Context, by identity.Actor, id uuid.UUID, note string) (a Acknowledgement, created bool, err error) {
	tidy(&note)
	var faults fault.List
	checkText(&faults, "/note", note, 0, 2000)
	if err := faults.Err(); err != nil {
		return a, false, err
	}
	var c OutOfServiceCase
	err = f.Store.InTxReadOnly(ctx, by, func(ctx context.Context, tx Tx) error { // in the actor's own sight
		c, err = tx.CaseByID(ctx, id)
		return err
	})
	if err != nil {
		return a, false, err
	}
	err = f.Store.InTx(ctx, identity.Program(), func(ctx context.Context, tx Tx) error {
		a = Acknowledgement{CustomerID: c.CustomerID, SiteID: c.SiteID, DoorID: c.DoorID, CaseID: id, PersonID: by.PersonID, At: f.Now(), Note: note}
		if created, err = tx.InsertAcknowledgement(ctx, a); err != nil {
			return err
		}
		if created {
			return tx.InsertAuditEvent(ctx, AuditEvent{AuditID: f.NewID(), At: a.At, PersonID: by.PersonID, Action: "case.acknowledge",
				SubjectKind: "out_of_service_case", SubjectID: id.String()})
		}
		list, err := tx.Acknowledgements(ctx, id)
		for _, present := range list {
			if present.PersonID == by.PersonID {
				a = present
			}
		}
		return err
	})
	return a, created, err
}

// Notices lists notices, the newest first.
func (f *Fleet) Notices(ctx context.Context, by identity.Actor, q NoticeQuery) (list []Notice, err error) {
	err = f.Store.InTxReadOnly(ctx, by, func(ctx context.Context, tx Tx) error {
		list, err = tx.NoticePage(ctx, q)
		return err
	})
	return list, err
}

// NoticeTold is one notice with the letters that carried it, the newest first.
type NoticeTold struct {
	Notice
	Letters []LetterTold
}

// Notice gives one notice, why it was made, and everything that became of it.
func (f *Fleet) Notice(ctx context.Context, by identity.Actor, id uuid.UUID) (told NoticeTold, err error) {
	err = f.Store.InTxReadOnly(ctx, by, func(ctx context.Context, tx Tx) error {
		if told.Notice, err = tx.NoticeByID(ctx, id); err != nil {
			return err
		}
		told.Letters, err = tx.LettersOf(ctx, id)
		return err
	})
	return told, err
}

// AddressesOf are a recipient's addresses in the order in which they are tried: the first, and an address list (RFC 5322).
func AddressesOf(email, further string) (list []string) {
	if email != "" {
		list = append(list, email)
	}
	more, err := mail.ParseAddressList(further)
	if err != nil {
		return list
	}
	for _, a := range more {
		list = append(list, a.Address)
	}
	return list
}

// Usable are the addresses that have not refused mail.
func Usable(addresses, refused []string) (list []string) {
	for _, a := range addresses {
		if !slices.Contains(refused, a) {
			list = append(list, a)
		}
	}
	return list
}
