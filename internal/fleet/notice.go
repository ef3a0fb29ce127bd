package fleet

import (
	"context"
	"errors"
	"slices"
	"time"

	"github.com/google/uuid"

	"lintel.example/lintel/internal/duedate"
	"lintel.example/lintel/internal/identity"
	"lintel.example/lintel/internal/words"
)

// Notice is who was told what, why and when. It is never made twice: reason, rung and recipient are its key.
type Notice struct {
	CustomerID     uuid.UUID  `json:"customer_id"`
	SiteID         uuid.UUID  `json:"site_id"`
	NoticeID       uuid.UUID  `json:"notice_id"`
	DoorID         *uuid.UUID `json:"door_id"`
	WorkOrderID    *uuid.UUID `json:"work_order_id"`
	CaseID         *uuid.UUID `json:"case_id"`
	Rung           string     `json:"rung"`
	Reason         string     `json:"reason"` // work_order:<id> or case:<id>
	RecipientName  string     `json:"recipient_name"`
	RecipientEmail string     `json:"recipient_email"`
	Language       string     `json:"language"`
	Subject        string     `json:"subject"`
	Body           string     `json:"body"`
	State          string     `json:"state"` // queued, sending, sent, failed, superseded
	Attempts       int        `json:"attempts"`
	NextTryAt      time.Time  `json:"next_try_at"`
	MadeAt         time.Time  `json:"made_at"`
	SentAt         *time.Time `json:"sent_at"`
	Answer         string     `json:"answer"`
}

// Recipient is somebody who may be told about a site.
type Recipient struct {
	Role  string // owner, occupier, managing_agent, payer, dispatcher
	Name  string
	Email string
}

// OrderDue is an open inspection order as the ladder of notices sees it.
type OrderDue struct {
	CustomerID, SiteID, DoorID, WorkOrderID uuid.UUID
	DueOn                                   duedate.Day
	Tag                                     Tag
	DoorName, SiteName, TimeZone            string
}

// NoticeQuery asks for notices, the newest first.
type NoticeQuery struct {
	State    string // "" for all
	SiteID   uuid.UUID
	BeforeAt time.Time
	BeforeID uuid.UUID
	Limit    int
}

type noticeRows interface {
	// OrdersDue gives open inspection orders due until a day, by (due day, id) after those given.
	OrdersDue(ctx context.Context, until, afterDay duedate.Day, afterID uuid.UUID, limit int) ([]OrderDue, error)
	// RecipientsOf gives the parties that stand to a site on a day and have an address, and the dispatchers.
	RecipientsOf(ctx context.Context, siteID uuid.UUID, day duedate.Day) ([]Recipient, error)
	// InsertNotices adds those whose key is new, and tells how many.
	InsertNotices(ctx context.Context, list []Notice) (int64, error)
	NoticePage(ctx context.Context, q NoticeQuery) ([]Notice, error)
	// NoticesWaiting gives ids of notices whose next try has come.
	NoticesWaiting(ctx context.Context, now time.Time, limit int) ([]uuid.UUID, error)
	// ClaimNotice marks a notice as being sent until the lease ends; false when there is nothing to do.
	ClaimNotice(ctx context.Context, id uuid.UUID, now, leaseEnds time.Time) (Notice, bool, error)
	SettleNotice(ctx context.Context, n Notice, outcome string, at time.Time) error
}

// Letter is a notice as it is handed to the mail server.
type Letter struct {
	NoticeID uuid.UUID // the Message-ID is made of it: a second copy can be dropped
	Name     string
	Email    string
	Subject  string
	Text     string
	Date     time.Time
}

// Post hands letters over. Delivery is at least once.
type Post interface {
	// Deliver gives the server's answer. An error that is a *PostFailure says whether it is worth trying again.
	Deliver(ctx context.Context, l Letter) (answer string, err error)
}

// PostFailure is a letter that was not, or perhaps not, taken.
type PostFailure struct {
	Permanent bool
	Answer    string
	Err       error
}

// Error implements error.
func (p *PostFailure) Error() string { return p.Err.Error() }

// Unwrap gives the cause.
func (p *PostFailure) Unwrap() error { return p.Err }

// noticeLadder is when who is told about an inspection: days relative to the due day (common practice, no source).
func noticeLadder() duedate.Ladder {
	return duedate.Ladder{
		{Code: "due_soon", OffsetDays: -30, To: []string{"owner", "managing_agent"}},
		{Code: "overdue", OffsetDays: 1, To: []string{"owner", "managing_agent", "occupier", "dispatcher"}},
	}
}

// noticePage is how many orders are looked at in one transaction.
const noticePage = 500

// QueueNotices queues, for every open inspection order, the notices of the highest rung whose day has come, and
// writes down the lower ones that were not sent by then as superseded. Run twice, it queues nothing new.
func (f *Fleet) QueueNotices(ctx context.Context, asOf duedate.Day) (queued int64, err error) {
	ladder := noticeLadder()
	until := asOf.AddDays(-ladder[0].OffsetDays)
	var afterDay duedate.Day
	var afterID uuid.UUID
	for {
		var orders []OrderDue
		err := f.Store.InTx(ctx, identity.Program(), func(ctx context.Context, tx Tx) error {
			if orders, err = tx.OrdersDue(ctx, until, afterDay, afterID, noticePage); err != nil {
				return err
			}
			recipients := map[uuid.UUID][]Recipient{}
			var notices []Notice
			for _, o := range orders {
				if _, known := recipients[o.SiteID]; !known {
					if recipients[o.SiteID], err = tx.RecipientsOf(ctx, o.SiteID, asOf); err != nil {
						return err
					}
				}
				notices = append(notices, f.orderNotices(o, recipients[o.SiteID], ladder, asOf)...)
			}
			n, err := tx.InsertNotices(ctx, notices)
			queued += n
			return err
		})
		if err != nil || len(orders) < noticePage {
			return queued, err
		}
		afterDay, afterID = orders[len(orders)-1].DueOn, orders[len(orders)-1].WorkOrderID
	}
}

func (f *Fleet) orderNotices(o OrderDue, recipients []Recipient, ladder duedate.Ladder, asOf duedate.Day) []Notice {
	rung, passed, ok := duedate.RungDue(ladder, o.DueOn, asOf)
	if !ok {
		return nil
	}
	var notices []Notice
	for _, r := range append(passed, rung) {
		state := "queued"
		if r.Code != rung.Code {
			state = "superseded"
		}
		for _, to := range recipients {
			if !slices.Contains(r.To, to.Role) {
				continue
			}
			n := f.orderNotice(o, to, r.Code, asOf)
			n.State = state
			notices = append(notices, n)
		}
	}
	return notices
}

func (f *Fleet) orderNotice(o OrderDue, to Recipient, rung string, asOf duedate.Day) Notice {
	kind := "work_order_due"
	if rung == "overdue" {
		kind = "work_order_overdue"
	}
	p := f.Words.Printer("en", words.Metric)
	subject, body := p.Mail(kind, "tag", o.Tag.String(), "door", o.DoorName, "site", o.SiteName, "work", p.Enum("work_order_kind", "inspection"),
		"due_on", o.DueOn.String(), "count", max(0, o.DueOn.DaysUntil(asOf)), "person", f.Company.Name, "company", f.Company.Name, "company_contact", f.Company.Phone)
	n := f.notice(o.CustomerID, o.SiteID, to, rung, "work_order:"+o.WorkOrderID.String(), subject, body)
	n.DoorID, n.WorkOrderID = &o.DoorID, &o.WorkOrderID
	return n
}

func (f *Fleet) notice(customerID, siteID uuid.UUID, to Recipient, rung, reason, subject, body string) Notice {
	now := f.Now()
	return Notice{CustomerID: customerID, SiteID: siteID, NoticeID: f.NewID(), Rung: rung, Reason: reason, RecipientName: to.Name,
		RecipientEmail: to.Email, Language: "en", Subject: subject, Body: body, State: "queued", NextTryAt: now, MadeAt: now}
}

// noticeCases tells everybody about a door that is unsafe, at once, and the dispatchers again when somebody on
// site refused. A case that has ended by the time it is known here needs no alarm.
func (f *Fleet) noticeCases(ctx context.Context, tx Tx, by identity.Actor, door Door, site Site, cases []OutOfServiceCase) error {
	var notices []Notice
	var recipients []Recipient
	for _, c := range cases {
		if c.State == "ended" {
			continue
		}
		if recipients == nil {
			var err error
			if recipients, err = tx.RecipientsOf(ctx, site.SiteID, duedate.DayIn(f.Now(), site.Location())); err != nil {
				return err
			}
		}
		for _, to := range recipients {
			notices = append(notices, f.caseNotice(by, door, site, c, to, "unsafe"))
			if c.Refused && to.Role == "dispatcher" {
				notices = append(notices, f.caseNotice(by, door, site, c, to, "refused"))
			}
		}
	}
	if len(notices) == 0 {
		return nil
	}
	_, err := tx.InsertNotices(ctx, notices)
	return err
}

func (f *Fleet) caseNotice(by identity.Actor, door Door, site Site, c OutOfServiceCase, to Recipient, rung string) Notice {
	p := f.Words.Printer("en", words.Metric)
	secured := p.T("notice.not_secured")
	if c.State == "secured" {
		secured = p.T("report.secured." + c.SecuredHow)
	}
	subject, body := p.Mail("unsafe_door", "tag", door.Tag.String(), "door", door.Name, "site", site.Name, "inspector", by.Name,
		"found_on", duedate.DayIn(c.OpenedAt, site.Location()).String(), "finding", c.What, "secured", secured,
		"person", f.Company.Name, "company", f.Company.Name, "company_contact", f.Company.Phone)
	n := f.notice(door.CustomerID, door.SiteID, to, rung, "case:"+c.CaseID.String(), subject, body)
	n.DoorID, n.CaseID = &door.DoorID, &c.CaseID
	return n
}

// NoticesWaiting gives notices whose turn has come, the longest waiting first.
func (f *Fleet) NoticesWaiting(ctx context.Context, limit int) (ids []uuid.UUID, err error) {
	err = f.Store.InTxReadOnly(ctx, identity.Program(), func(ctx context.Context, tx Tx) error {
		ids, err = tx.NoticesWaiting(ctx, f.Now(), limit)
		return err
	})
	return ids, err
}

// lease is how long a claimed notice belongs to whoever claimed it; if the program dies meanwhile, it is tried
// again after that, with the same Message-ID.
const lease = 5 * time.Minute

// mostAttempts is how often a notice is tried before a dispatcher must look at it.
const mostAttempts = 12

// SendNotice hands one notice over and writes down what became of it. The handing over is outside of any
// transaction: at least once, never lost. That the mail server refused is no error: it is a result, and recorded.
func (f *Fleet) SendNotice(ctx context.Context, id uuid.UUID) error {
	var n Notice
	var claimed bool
	err := f.Store.InTx(ctx, identity.Program(), func(ctx context.Context, tx Tx) (err error) {
		n, claimed, err = tx.ClaimNotice(ctx, id, f.Now(), f.Now().Add(lease))
		return err
	})
	if err != nil || !claimed {
		return err
	}
	answer, sendErr := f.Post.Deliver(ctx, Letter{NoticeID: n.NoticeID, Name: n.RecipientName, Email: n.RecipientEmail, Subject: n.Subject, Text: n.Body, Date: n.MadeAt})
	outcome := n.settle(answer, sendErr, f.Now())
	// The result is written down even when the caller has given up meanwhile.
	return f.Store.InTx(context.WithoutCancel(ctx), identity.Program(), func(ctx context.Context, tx Tx) error {
		return tx.SettleNotice(ctx, n, outcome, f.Now())
	})
}

// settle gives the notice the state that follows from a delivery, and names the outcome.
func (n *Notice) settle(answer string, err error, now time.Time) (outcome string) {
	var failure *PostFailure
	switch {
	case err == nil:
		n.State, n.SentAt, n.Answer = "sent", &now, answer
		return "sent"
	case errors.As(err, &failure) && failure.Permanent:
		n.State, n.Answer = "failed", failure.Answer
		return "permanent"
	}
	n.State, n.Answer = "queued", err.Error()
	if failure != nil && failure.Answer != "" {
		n.Answer = failure.Answer
	}
	if n.Attempts >= mostAttempts {
		n.State = "failed"
	}
	n.NextTryAt = now.Add(min(time.Minute<<min(n.Attempts, 10), 6*time.Hour))
	return "temporary"
}

// Notices lists notices, the newest first.
func (f *Fleet) Notices(ctx context.Context, by identity.Actor, q NoticeQuery) (list []Notice, err error) {
	err = f.Store.InTxReadOnly(ctx, by, func(ctx context.Context, tx Tx) error {
		list, err = tx.NoticePage(ctx, q)
		return err
	})
	return list, err
}
