package api

import (
	"context"
	"net/http"
	"time"

	"github.com/google/uuid"

	"lintel.example/lintel/internal/fleet"
	"lintel.example/lintel/internal/identity"
	"lintel.example/lintel/internal/words"
)

type NoticeItem struct {
	NoticeID        uuid.UUID  `json:"notice_id" format:"uuid"`
	SiteID          *uuid.UUID `json:"site_id,omitempty" format:"uuid" doc:"Absent of a certificate."`
	DoorID          *uuid.UUID `json:"door_id,omitempty" format:"uuid"`
	WorkOrderID     *uuid.UUID `json:"work_order_id,omitempty" format:"uuid"`
	CaseID          *uuid.UUID `json:"case_id,omitempty" format:"uuid"`
	HolderID        *uuid.UUID `json:"holder_id,omitempty" format:"uuid" doc:"Whose certificate it is about."`
	QualificationID *uuid.UUID `json:"qualification_id,omitempty" format:"uuid"`
	LetterID        *uuid.UUID `json:"letter_id,omitempty" format:"uuid" doc:"The letter that carries it; the newest of several."`
	Rung            string     `json:"rung" doc:"The step of the ladder, or what the office must see to."`
	DueOn           string     `json:"due_on,omitempty" format:"date" doc:"The due day that it is about, at the site."`
	Role            string     `json:"role,omitempty" doc:"Of the recipient: of a party of the site, dispatcher or administrator, or holder of the certificate that it is about."`
	RecipientID     uuid.UUID  `json:"recipient_id" format:"uuid" doc:"A party, or a person of the office."`
	RecipientName   string     `json:"recipient_name"`
	RecipientEmail  string     `json:"recipient_email" doc:"Empty: there is no address that can be used."`
	Channel         string     `json:"channel" enum:"mail"`
	Urgent          bool       `json:"urgent" doc:"In a letter of its own, at once; else in the recipient's digest of the day."`
	Subject         string     `json:"subject,omitempty" doc:"Of the letter, as sent."`
	Body            string     `json:"body,omitempty" doc:"Of the letter, as sent."`
	State           string     `json:"state" enum:"queued,sending,sent,perhaps_sent,failed,bounced,withdrawn,superseded" doc:"Perhaps sent: the mail server gave no answer after the last byte. It is not sent again but by a person's decision."`
	Because         string     `json:"because,omitempty" doc:"Why it is not sent, or did not arrive: a code."`
	BecauseText     string     `json:"because_text,omitempty" doc:"The same in words."`
	Attempts        int        `json:"attempts"`
	MadeAt          time.Time  `json:"made_at"`
	NotBefore       time.Time  `json:"not_before" doc:"When its letter is written at the earliest: mail that is not urgent keeps to the recipient's hours."`
	SentAt          *time.Time `json:"sent_at,omitempty"`
	Answer          string     `json:"answer,omitempty" doc:"The mail server's words."`
}

func (a *API) newNoticeItem(by identity.Actor, n fleet.Notice) NoticeItem {
	item := NoticeItem{NoticeID: n.NoticeID, DoorID: n.DoorID, WorkOrderID: n.WorkOrderID, CaseID: n.CaseID, HolderID: n.HolderID,
		QualificationID: n.QualificationID, LetterID: n.LetterID, Rung: n.Rung,
		DueOn: n.DueOn.String(), Role: n.Role, RecipientID: n.RecipientID, RecipientName: n.RecipientName, RecipientEmail: n.RecipientEmail, Channel: "mail", Urgent: n.Urgent,
		Subject: n.Subject, Body: n.Body, State: n.State, Because: n.Because, Attempts: n.Attempts, MadeAt: n.MadeAt, NotBefore: n.NextTryAt, SentAt: n.SentAt, Answer: n.Answer}
	if n.SiteID != uuid.Nil {
		item.SiteID = &n.SiteID
	}
	if n.Because != "" {
		item.BecauseText = a.Words.Printer(by.Language, words.Units(by.Units)).T("notice.because." + n.Because)
	}
	return item
}

type noticeWhy struct {
	LadderID   *uuid.UUID `json:"ladder_id,omitempty" format:"uuid" doc:"The ladder that held; absent for the built-in one."`
	OffsetDays *int       `json:"offset_days,omitempty" doc:"Of the rung: days after the due day, negative before it."`
	TurnOn     string     `json:"turn_on,omitempty" format:"date" doc:"The day on which the rung had its turn: earlier than its own where that is a holiday at the site."`
	AsOf       string     `json:"as_of,omitempty" format:"date" doc:"The day on which that was decided."`
	MovedOn    string     `json:"moved_on,omitempty" format:"date" doc:"The due day was moved then; rungs that lay behind are not sent for it."`
	Inspector  string     `json:"inspector,omitempty"`
	Hours      int        `json:"hours,omitempty" doc:"Since the first notice of the unsafe door."`
	Name       string     `json:"name,omitempty" doc:"Whom it is about, of what the office must see to."`
	Address    string     `json:"address,omitempty"`
	Answer     string     `json:"answer,omitempty"`
	Rung       string     `json:"rung,omitempty"`
}

func newNoticeWhy(n fleet.Notice) noticeWhy {
	w := n.Why
	return noticeWhy{LadderID: w.LadderID, OffsetDays: w.OffsetDays, TurnOn: n.TurnOn.String(), AsOf: w.AsOf.String(), MovedOn: w.MovedOn.String(), Inspector: w.Inspector,
		Hours: w.Hours, Name: w.Name, Address: w.Address, Answer: w.Answer, Rung: w.Rung}
}

type noticeDetail struct {
	NoticeItem
	Reason  string       `json:"reason" doc:"work_order:ID, case:ID, qualification:HOLDER:ID, delivery:ID; for the office also notice:ID, letter:ID."`
	Why     noticeWhy    `json:"why" doc:"Rule and dates of the moment in which it was made."`
	Letters []letterItem `json:"letters" doc:"That carried it, the newest first."`
}

type letterItem struct {
	LetterID    uuid.UUID     `json:"letter_id" format:"uuid" doc:"The Message-ID is made of it."`
	Kind        string        `json:"kind" enum:"digest,urgent"`
	Day         string        `json:"day" format:"date" doc:"Where the recipient is."`
	Address     string        `json:"address"`
	Name        string        `json:"name"`
	Language    string        `json:"language"`
	Subject     string        `json:"subject"`
	Text        string        `json:"text" doc:"As sent."`
	HTML        string        `json:"html" doc:"The same, as sent."`
	State       string        `json:"state" enum:"queued,sending,sent,perhaps_sent,failed,bounced,superseded"`
	Because     string        `json:"because,omitempty"`
	BecauseText string        `json:"because_text,omitempty"`
	MadeAt      time.Time     `json:"made_at"`
	NextTryAt   time.Time     `json:"next_try_at"`
	SentAt      *time.Time    `json:"sent_at,omitempty"`
	ReportID    *uuid.UUID    `json:"report_id,omitempty" format:"uuid" doc:"Of which the PDF is enclosed."`
	Note        *letterNote   `json:"acknowledgement,omitempty" doc:"Somebody has taken note of it."`
	Tries       []attemptItem `json:"attempts"`
	Bounces     []bounceItem  `json:"bounces"`
}

type attemptItem struct {
	Attempt int       `json:"attempt"`
	At      time.Time `json:"at"`
	Outcome string    `json:"outcome" enum:"sent,temporary,permanent,unknown"`
	Stage   string    `json:"stage,omitempty" doc:"How far it came."`
	Code    int       `json:"code,omitempty" doc:"The mail server's."`
	Answer  string    `json:"answer,omitempty"`
}

type bounceItem struct {
	LetterID   uuid.UUID `json:"letter_id" format:"uuid"`
	Action     string    `json:"action" enum:"failed,delayed,delivered,relayed,expanded"`
	Status     string    `json:"status,omitempty" doc:"RFC 3463."`
	Answer     string    `json:"answer,omitempty"`
	ReceivedAt time.Time `json:"received_at"`
}

func newBounceItem(b fleet.Bounce) bounceItem {
	return bounceItem{LetterID: b.LetterID, Action: b.Action, Status: b.Status, Answer: b.Answer, ReceivedAt: b.ReceivedAt}
}

func (a *API) newLetterItem(by identity.Actor, l fleet.LetterTold) letterItem {
	item := letterItem{LetterID: l.LetterID, Kind: l.Kind, Day: l.Day.String(), Address: l.Address, Name: l.Name, Language: l.Language, Subject: l.Subject, Text: l.Text, HTML: l.HTML,
		State: l.State, Because: l.Because, MadeAt: l.MadeAt, NextTryAt: l.NextTryAt, SentAt: l.SentAt, ReportID: someID(l.ReportID), Tries: []attemptItem{}, Bounces: []bounceItem{}}
	if l.Because != "" {
		item.BecauseText = a.Words.Printer(by.Language, words.Units(by.Units)).T("notice.because." + l.Because)
	}
	if l.Note != nil {
		note := newLetterNote(*l.Note)
		item.Note = &note
	}
	for _, t := range l.Tries {
		item.Tries = append(item.Tries, attemptItem{Attempt: t.Attempt, At: t.At, Outcome: t.Outcome, Stage: t.Stage, Code: t.Code, Answer: t.Answer})
	}
	for _, b := range l.Bounces {
		item.Bounces = append(item.Bounces, newBounceItem(b))
	}
	return item
}

type noticePath struct {
	NoticeID uuid.UUID `path:"notice_id" format:"uuid"`
}

type noticeOut struct {
	Body noticeDetail
}

type noticeListIn struct {
	PageIn
	State       string `query:"state" enum:"queued,sending,sent,perhaps_sent,failed,bounced,withdrawn,superseded"`
	Rung        string `query:"rung" maxLength:"60"`
	Address     string `query:"address" maxLength:"254" doc:"The recipient's address."`
	SiteID      string `query:"site_id" format:"uuid"`
	DoorID      string `query:"door_id" format:"uuid"`
	WorkOrderID string `query:"work_order_id" format:"uuid"`
	CaseID      string `query:"case_id" format:"uuid"`
}

type noticeListOut struct {
	Body struct {
		Notices []NoticeItem `json:"notices"`
		PageOut
	}
}

type LetterPath struct {
	LetterID uuid.UUID `path:"letter_id" format:"uuid"`
}

type letterOut struct {
	Body letterItem
}

type letterNote struct {
	At       time.Time  `json:"at"`
	Name     string     `json:"name" doc:"Who, in their own words."`
	PersonID *uuid.UUID `json:"person_id,omitempty" format:"uuid" doc:"Of the office, who was told so; absent: by the link in the letter."`
}

func newLetterNote(n fleet.LetterNote) letterNote {
	return letterNote{At: n.At, Name: n.Name, PersonID: n.PersonID}
}

type letterNoteIn struct {
	LetterPath
	Body struct {
		Name string `json:"name" minLength:"1" maxLength:"200" doc:"Who has told the office that they have taken note."`
	}
}

type letterNoteOut struct {
	Status int
	Body   letterNote
}

type unansweredListIn struct {
	PageIn
	What   string `query:"what" enum:"not_arrived,no_word" doc:"Those that did not arrive, or those of which nobody has taken note."`
	SiteID string `query:"site_id" format:"uuid"`
}

type declinedItem struct {
	Address  string    `json:"address"`
	Since    time.Time `json:"since"`
	LetterID uuid.UUID `json:"letter_id" format:"uuid" doc:"The letter of which the link was used."`
}

type declinedListOut struct {
	Body struct {
		Addresses []declinedItem `json:"addresses"`
		PageOut
	}
}

type bounceIn struct {
	RawBody []byte `contentType:"message/rfc822"`
}

type bounceOut struct {
	Body bounceItem
}

type refusedItem struct {
	Address  string    `json:"address"`
	Since    time.Time `json:"since"`
	LetterID uuid.UUID `json:"letter_id" format:"uuid" doc:"The letter that was refused."`
	Answer   string    `json:"answer,omitempty" doc:"The mail server's words."`
}

type refusedListOut struct {
	Body struct {
		Addresses []refusedItem `json:"addresses"`
		PageOut
	}
}

type addressPath struct {
	Address string `path:"address" maxLength:"254"`
}

// mostBounce is the greatest size of a report, in bytes: most carry the whole letter back.
const mostBounce = 1 << 20

func (a *API) notices() {
	add(a, operation("notice-list", http.MethodGet, "/v1/notices", identity.ActReadOffice, "Who was told what and when, the newest first"), a.noticeList)
	add(a, operation("notice-get", http.MethodGet, "/v1/notices/{notice_id}", identity.ActReadOffice, "One notice: why, in which words, and what became of it"), a.noticeGet)
	add(a, operation("unanswered-notice-list", http.MethodGet, "/v1/unanswered-notices", identity.ActReadOffice, "Notices about what is still open that did not arrive, or were sent days ago, ask for an answer and have none; the oldest first"), a.unansweredList)
	add(a, operation("letter-acknowledge", http.MethodPost, "/v1/letters/{letter_id}/acknowledge", identity.ActMindPost, "Record that a recipient has told the office that they have taken note of a letter; the first counts"), a.letterAcknowledge)
	add(a, operation("declined-address-list", http.MethodGet, "/v1/declined-addresses", identity.ActReadOffice, "Addresses that want no reminders ahead of due days; what is due, late or unsafe goes there all the same"), a.declinedList)
	add(a, operation("declined-address-clear", http.MethodDelete, "/v1/declined-addresses/{address}", identity.ActMindPost, "Let reminders go to an address again"), a.declinedClear)
	add(a, operation("letter-send-again", http.MethodPost, "/v1/letters/{letter_id}/send-again", identity.ActMindPost, "Send a letter once more that failed or perhaps arrived, under the same Message-ID"), a.letterSendAgain)
	bounce := operation("bounce-post", http.MethodPost, "/v1/bounces", identity.ActMindPost, "Take in a mail server's report about a letter (RFC 3464), as it came")
	bounce.MaxBodyBytes = mostBounce
	add(a, bounce, a.bouncePost)
	add(a, operation("refused-address-list", http.MethodGet, "/v1/refused-addresses", identity.ActReadOffice, "Addresses that refused mail for good: nothing is sent to them"), a.refusedList)
	add(a, operation("refused-address-clear", http.MethodDelete, "/v1/refused-addresses/{address}", identity.ActMindPost, "Let mail go to an address again"), a.refusedClear)
}

func (a *API) noticeList(ctx context.Context, by identity.Actor, in *noticeListIn) (*noticeListOut, error) {
	var key instantKey
	if err := readCursor(in.After, &key); err != nil {
		return nil, err
	}
	list, err := a.Fleet.Notices(ctx, by, fleet.NoticeQuery{State: in.State, Rung: in.Rung, Address: in.Address, SiteID: optionalID(in.SiteID), DoorID: optionalID(in.DoorID),
		OrderID: optionalID(in.WorkOrderID), CaseID: optionalID(in.CaseID), BeforeAt: key.At, BeforeID: key.ID, Limit: in.Limit})
	if err != nil {
		return nil, err
	}
	out := &noticeListOut{}
	out.Body.Notices = make([]NoticeItem, len(list))
	for i, n := range list {
		out.Body.Notices[i] = a.newNoticeItem(by, n)
	}
	if len(list) == in.Limit {
		last := list[len(list)-1]
		out.Body.Next = cursor(instantKey{last.MadeAt, last.NoticeID})
	}
	return out, nil
}

func (a *API) noticeGet(ctx context.Context, by identity.Actor, in *noticePath) (*noticeOut, error) {
	n, err := a.Fleet.Notice(ctx, by, in.NoticeID)
	if err != nil {
		return nil, err
	}
	out := &noticeOut{Body: noticeDetail{NoticeItem: a.newNoticeItem(by, n.Notice), Reason: n.Reason, Why: newNoticeWhy(n.Notice), Letters: []letterItem{}}}
	for _, l := range n.Letters {
		out.Body.Letters = append(out.Body.Letters, a.newLetterItem(by, l))
	}
	return out, nil
}

func (a *API) letterSendAgain(ctx context.Context, by identity.Actor, in *LetterPath) (*letterOut, error) {
	l, err := a.Fleet.SendLetterAgain(ctx, by, in.LetterID)
	if err != nil {
		return nil, err
	}
	return &letterOut{Body: a.newLetterItem(by, fleet.LetterTold{Letter: l})}, nil
}

func (a *API) bouncePost(ctx context.Context, by identity.Actor, in *bounceIn) (*bounceOut, error) {
	b, err := a.Fleet.ReceiveBounce(ctx, by, in.RawBody)
	if err != nil {
		return nil, err
	}
	return &bounceOut{Body: newBounceItem(b)}, nil
}

func (a *API) refusedList(ctx context.Context, by identity.Actor, in *PageIn) (*refusedListOut, error) {
	var key nameKey
	if err := readCursor(in.After, &key); err != nil {
		return nil, err
	}
	list, err := a.Fleet.RefusedAddresses(ctx, by, key.Name, in.Limit)
	if err != nil {
		return nil, err
	}
	out := &refusedListOut{}
	out.Body.Addresses = make([]refusedItem, len(list))
	for i, r := range list {
		out.Body.Addresses[i] = refusedItem(r)
	}
	if len(list) == in.Limit {
		out.Body.Next = cursor(nameKey{Name: list[len(list)-1].Address})
	}
	return out, nil
}

func (a *API) refusedClear(ctx context.Context, by identity.Actor, in *addressPath) (*struct{}, error) {
	return nil, a.Fleet.ClearAddress(ctx, by, in.Address)
}

func (a *API) unansweredList(ctx context.Context, by identity.Actor, in *unansweredListIn) (*noticeListOut, error) {
	var key instantKey
	if err := readCursor(in.After, &key); err != nil {
		return nil, err
	}
	list, err := a.Fleet.Unanswered(ctx, by, fleet.UnansweredQuery{What: in.What, SiteID: optionalID(in.SiteID), AfterAt: key.At, AfterID: key.ID, Limit: in.Limit})
	if err != nil {
		return nil, err
	}
	out := &noticeListOut{}
	out.Body.Notices = make([]NoticeItem, len(list))
	for i, n := range list {
		out.Body.Notices[i] = a.newNoticeItem(by, n)
	}
	if len(list) == in.Limit {
		last := list[len(list)-1]
		out.Body.Next = cursor(instantKey{last.MadeAt, last.NoticeID})
	}
	return out, nil
}

func (a *API) letterAcknowledge(ctx context.Context, by identity.Actor, in *letterNoteIn) (*letterNoteOut, error) {
	n, isNew, err := a.Fleet.TakeNoteFor(ctx, by, in.LetterID, in.Body.Name)
	if err != nil {
		return nil, err
	}
	return &letterNoteOut{Status: created(isNew), Body: newLetterNote(n)}, nil
}

func (a *API) declinedList(ctx context.Context, by identity.Actor, in *PageIn) (*declinedListOut, error) {
	var key nameKey
	if err := readCursor(in.After, &key); err != nil {
		return nil, err
	}
	list, err := a.Fleet.DeclinedAddresses(ctx, by, key.Name, in.Limit)
	if err != nil {
		return nil, err
	}
	out := &declinedListOut{}
	out.Body.Addresses = make([]declinedItem, len(list))
	for i, d := range list {
		out.Body.Addresses[i] = declinedItem(d)
	}
	if len(list) == in.Limit {
		out.Body.Next = cursor(nameKey{Name: list[len(list)-1].Address})
	}
	return out, nil
}

func (a *API) declinedClear(ctx context.Context, by identity.Actor, in *addressPath) (*struct{}, error) {
	return nil, a.Fleet.EndDecline(ctx, by, in.Address)
}
