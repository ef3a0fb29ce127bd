package fleet

import (
	"context"
	"errors"
	"slices"
	"strings"
	"sync"
	"sync/atomic"
	"time"

	"github.com/google/uuid"

	"lintel.example/lintel/internal/duedate"
	"lintel.example/lintel/internal/fault"
	"lintel.example/lintel/internal/identity"
)

// Letter is a mail: one digest a day and address, or one urgent notice. Sending it again sends the same bytes under the
// same Message-ID.
type Letter struct {
	LetterID  uuid.UUID
	Kind      string      // digest, urgent
	Day       duedate.Day // where the recipient is
	Address   string
	Name      string
	Language  string
	Subject   string
	Text      string
	HTML      string // says the same
	State     string // queued, sending, sent, perhaps_sent, failed, bounced, superseded
	Because   string // why it did not arrive, or perhaps not: a code of letter.because
	Attempts  int
	NextTryAt time.Time
	MadeAt    time.Time
	SentAt    *time.Time
	Answer    string    // the mail server's words
	ReportID  uuid.UUID // of which the PDF is enclosed; zero: none is
	Calendar  string    // the due days that it tells of, as an iCalendar object, enclosed; "": none
	// DeclineLink is where the recipient can decline letters of this kind (RFC 2369), with one POST where it begins with https (RFC 8058);
	// "": nowhere.
	DeclineLink string
	Enclosed    []byte // that PDF, while the mail is handed over
}

// LetterAttempt is one try to hand a letter over.
type LetterAttempt struct {
	LetterID uuid.UUID
	Attempt  int
	At       time.Time
	Outcome  string // sent, temporary, permanent, unknown
	Stage    string // how far it came
	Code     int    // the mail server's, 0 when it said nothing
	Answer   string
}

// LetterTold is a letter with what became of it.
type LetterTold struct {
	Letter
	Note    *LetterNote // who has taken note of it; nil: nobody
	Tries   []LetterAttempt
	Bounces []Bounce
}

// Post hands letters over.
type Post interface {
	// Deliver gives the server's answer. An error that is a *PostFailure says how far it came.
	Deliver(ctx context.Context, l Letter) (answer string, err error)
}

// PostFailure is a letter that was not, or perhaps not, taken.
type PostFailure struct {
	Stage       string
	Unreachable bool // the mail server itself: says nothing about the letter
	Permanent   bool // trying again is of no use
	BadAddress  bool // and it is the address
	Uncertain   bool // the line broke after the whole letter was sent and before the answer: it may have arrived
	Code        int
	Answer      string
	RetryAfter  time.Duration // what the server asks for; 0: it said nothing
	Err         error
}

// Error implements error.
func (p *PostFailure) Error() string { return p.Err.Error() }

// Unwrap gives the cause.
func (p *PostFailure) Unwrap() error { return p.Err }

// NoticeDue is a notice whose time has come, with what is true now of what it is about.
type NoticeDue struct {
	Notice
	SiteName, SiteZone, Tag, DoorName string
	Stands                            bool // the recipient still is what they were when it was made
	OrderState                        string
	Work                              string // the purpose of its plan
	OrderDueOn                        duedate.Day
	Case                              *OutOfServiceCase
	Certificate                       *CertificateDue
	Watch                             *Watch // with the name of who works alone in Alone
	Alone                             string
	Acknowledged                      bool
	Declined                          bool      // the address wants no reminders
	FindingState                      string    // of the finding that it is about
	ReportID                          uuid.UUID // of the letter that it sends; zero: none
	KnownAddresses                    []string  // the recipient's, now, in the order in which they are tried
	Addresses                         []string  // those of them that have not refused mail
}

type letterRows interface {
	// TakeBackOld supersedes letters that were made before a time and were not handed over since: what they say may not
	// be true any more. Their notices wait again.
	TakeBackOld(ctx context.Context, before, now time.Time) error
	// TakeBack does the same with what waits for an address: digests of earlier days, and urgent letters of the reasons.
	TakeBack(ctx context.Context, address string, before duedate.Day, reasons []string) error
	// AddressesWaiting gives addresses that have notices whose time has come, the urgent ones first.
	AddressesWaiting(ctx context.Context, now time.Time, limit int) ([]string, error)
	// NoticesDue gives the notices of an address whose time has come, and holds them and what they are about.
	NoticesDue(ctx context.Context, address string, now time.Time) ([]NoticeDue, error)
	// InsertLetter answers false when the address has its digest of that day.
	InsertLetter(ctx context.Context, l Letter, notices []uuid.UUID) (bool, error)
	// PostponeNotices moves notices to another time or to another address of their recipient.
	PostponeNotices(ctx context.Context, ids []uuid.UUID, address string, until time.Time) error
	// LettersWaiting gives ids of letters whose next try has come, the urgent ones first.
	LettersWaiting(ctx context.Context, now time.Time, limit int) ([]uuid.UUID, error)
	// ClaimLetter marks a letter as being sent until the lease ends; false when there is nothing to do.
	ClaimLetter(ctx context.Context, id uuid.UUID, now, leaseEnds time.Time) (Letter, bool, error)
	// AbandonedLetters gives letters whose lease has ended without a result, and holds them.
	AbandonedLetters(ctx context.Context, now time.Time, limit int) ([]Letter, error)
	// LetterByID gives a letter and holds it.
	LetterByID(ctx context.Context, id uuid.UUID) (Letter, error)
	LettersOf(ctx context.Context, noticeID uuid.UUID) ([]LetterTold, error)
	// NoticesIn gives the notices for which the letter is the newest, and the usable addresses of their recipients.
	NoticesIn(ctx context.Context, letterID uuid.UUID) ([]NoticeDue, error)
	// SettleLetter writes a letter's state and its notices' state.
	SettleLetter(ctx context.Context, l Letter) error
	InsertAttempt(ctx context.Context, a LetterAttempt) error
	InsertBounce(ctx context.Context, b Bounce) (bool, error)
	RefuseAddress(ctx context.Context, r RefusedAddress) error
	RefusedAddresses(ctx context.Context, after string, limit int) ([]RefusedAddress, error)
	// ClearAddress answers false when it has never refused mail.
	ClearAddress(ctx context.Context, address string, by uuid.UUID, at time.Time) (bool, error)
}

const (
	// lettersAtOnce is how many letters are under way at once; the mail room bounds connections and domains by itself.
	lettersAtOnce = 4
	// addressesAtOnce is for how many addresses letters are written in one transaction.
	addressesAtOnce = 20
	// lease is how long a claimed letter belongs to whoever claimed it. When it ends without a result, nobody knows
	// whether the letter arrived, and a person decides.
	lease = 5 * time.Minute
	// stale is how long a letter may wait before it is written anew out of what is true then.
	stale = 24 * time.Hour
	// giveUpAfter is how long a mail server may put a letter off (RFC 5321, 4.5.4.1: at least four to five days).
	giveUpAfter = 5 * 24 * time.Hour
)

// WriteLetters makes letters of the notices whose time has come: for each address one digest a day, and a letter of its
// own for each urgent notice. In the same transaction the condition of each notice is read again: what has been done,
// moved or handed on meanwhile is withdrawn, and not sent.
func (f *Fleet) WriteLetters(ctx context.Context) (written int, err error) {
	err = f.Store.InTx(ctx, identity.Program(), func(ctx context.Context, tx Tx) error {
		return tx.TakeBackOld(ctx, f.Now().Add(-stale), f.Now())
	})
	for more := true; more && err == nil; {
		var page int
		err = f.Store.InTx(ctx, identity.Program(), func(ctx context.Context, tx Tx) error {
			page = 0
			addresses, err := tx.AddressesWaiting(ctx, f.Now(), addressesAtOnce)
			more = len(addresses) > 0
			for _, address := range addresses {
				n, err := f.writeTo(ctx, tx, address)
				if err != nil {
					return err
				}
				page += n
			}
			return err
		})
		written += page
	}
	return written, err
}

// writeTo writes what waits for an address.
func (f *Fleet) writeTo(ctx context.Context, tx Tx, address string) (written int, err error) {
	due, err := tx.NoticesDue(ctx, address, f.Now())
	if err != nil || len(due) == 0 {
		return 0, err
	}
	zone := zoneOr(due[0].TimeZone, time.UTC) // of one of them, where several share the address
	day := duedate.DayIn(f.Now(), zone)
	var urgent []string
	digestFrom := duedate.Day{} // digests of earlier days are said again in today's
	for _, n := range due {
		if n.Urgent {
			urgent = append(urgent, n.Reason)
		} else {
			digestFrom = day
		}
	}
	if err := tx.TakeBack(ctx, address, digestFrom, urgent); err != nil {
		return 0, err
	}
	if due, err = tx.NoticesDue(ctx, address, f.Now()); err != nil {
		return 0, err
	}
	due, err = f.stillTrue(ctx, tx, address, due)
	if err != nil {
		return 0, err
	}
	var digest []NoticeDue
	for _, n := range due {
		if !n.Urgent {
			digest = append(digest, n)
			continue
		}
		if _, err := f.writeLetter(ctx, tx, "urgent", address, day, []NoticeDue{n}); err != nil {
			return 0, err
		}
		written++
	}
	if len(digest) == 0 {
		return written, nil
	}
	made, err := f.writeLetter(ctx, tx, "digest", address, day, digest)
	if err != nil || made {
		return written + 1, err
	}
	// Today's digest has gone out: tomorrow's says it.
	ladder, err := f.ladderOn(ctx, tx, day)
	if err != nil {
		return written, err
	}
	from, _ := ladder.hours(day.AddDays(1), zone)
	return written, tx.PostponeNotices(ctx, idsOf(digest), address, from)
}

func idsOf(list []NoticeDue) (ids []uuid.UUID) {
	for _, n := range list {
		ids = append(ids, n.NoticeID)
	}
	return ids
}

// stillTrue settles the notices that are not to be sent any more and gives the others.
func (f *Fleet) stillTrue(ctx context.Context, tx Tx, address string, due []NoticeDue) (left []NoticeDue, err error) {
	type end struct{ state, because string }
	ended, moved := map[end][]uuid.UUID{}, map[string][]uuid.UUID{}
	for _, n := range due {
		state, because := n.end(due)
		switch {
		case because != "":
			ended[end{state, because}] = append(ended[end{state, because}], n.NoticeID)
		case !slices.Contains(n.Addresses, address) && len(n.Addresses) > 0: // the address was changed, or has refused mail
			moved[n.Addresses[0]] = append(moved[n.Addresses[0]], n.NoticeID)
		default:
			left = append(left, n)
		}
	}
	for e, ids := range ended {
		if err := tx.SettleNotices(ctx, ids, e.state, e.because); err != nil {
			return nil, err
		}
	}
	for to, ids := range moved {
		if err := tx.PostponeNotices(ctx, ids, to, f.Now()); err != nil {
			return nil, err
		}
	}
	return left, nil
}

// end says why a notice is not to be sent; "" when it is.
func (n NoticeDue) end(all []NoticeDue) (state, because string) {
	for _, other := range all {
		if other.NoticeID != n.NoticeID && other.Reason == n.Reason && other.RecipientID == n.RecipientID && other.passes(n.Notice) &&
			(other.TurnOn.After(n.TurnOn) || n.Urgent && other.MadeAt.After(n.MadeAt)) {
			return "superseded", "higher_rung"
		}
	}
	about := n.WorkOrderID != nil && strings.HasPrefix(n.Reason, "work_order:")
	certified := n.Certificate != nil && strings.HasPrefix(n.Reason, "qualification:")
	switch {
	case about && n.OrderState != "open":
		return "withdrawn", "order_" + n.OrderState
	case about && n.OrderDueOn != n.DueOn:
		return "withdrawn", "due_day_moved"
	case certified && n.Certificate.Renewed:
		return "withdrawn", "certificate_renewed"
	case certified && n.Certificate.HolderGone:
		return "withdrawn", "holder_gone"
	case certified && n.Certificate.ValidUntil != n.DueOn:
		return "withdrawn", "due_day_moved"
	case n.Case != nil && n.Case.State == "ended":
		return "withdrawn", "case_ended"
	case n.Case != nil && n.Acknowledged && strings.HasPrefix(n.Rung, "unsafe_again"):
		return "withdrawn", "acknowledged"
	case n.Declined && n.advance():
		return "withdrawn", "declined"
	case n.Watch != nil && n.Watch.EndedAt != nil:
		return "withdrawn", "watch_ended"
	case n.Watch != nil && n.Watch.TakenAt != nil:
		return "withdrawn", "watch_taken"
	case n.Watch != nil && n.Watch.reason() != n.Reason:
		return "withdrawn", "watch_extended"
	case n.FindingState != "" && n.FindingState != "open":
		return "withdrawn", "finding_closed"
	case !n.Stands:
		return "withdrawn", "standing_ended"
	case len(n.Addresses) == 0:
		return "failed", "no_address"
	}
	return "", ""
}

// writeLetter queues a letter about notices; false when the address has its digest of that day.
func (f *Fleet) writeLetter(ctx context.Context, tx Tx, kind, address string, day duedate.Day, notices []NoticeDue) (bool, error) {
	now := f.Now()
	l := Letter{LetterID: f.NewID(), Kind: kind, Day: day, Address: address, Name: notices[0].RecipientName, Language: notices[0].Language, State: "queued", NextTryAt: now, MadeAt: now}
	if l.ReportID = notices[0].ReportID; l.ReportID == uuid.Nil {
		f.wording(&l, notices)
		return tx.InsertLetter(ctx, l, idsOf(notices))
	}
	report, err := tx.ReportByID(ctx, l.ReportID)
	if err != nil {
		return false, err
	}
	if err := f.enclosing(&l, notices[0], report); err != nil {
		return false, err
	}
	return tx.InsertLetter(ctx, l, idsOf(notices))
}

// SendLetters hands over what waits, the urgent letters first, until nothing is due, and tells how many were tried. It
// ends early when the mail server cannot be reached: the rest waits where it is. That a letter was refused is no error:
// it is a result, and recorded.
func (f *Fleet) SendLetters(ctx context.Context) (tried int, err error) {
	if err := f.settleAbandoned(ctx); err != nil {
		return 0, err
	}
	for {
		var ids []uuid.UUID
		err := f.Store.InTxReadOnly(ctx, identity.Program(), func(ctx context.Context, tx Tx) (err error) {
			ids, err = tx.LettersWaiting(ctx, f.Now(), 200)
			return err
		})
		if err != nil || len(ids) == 0 {
			return tried, err
		}
		n, goOn, err := f.sendAll(ctx, ids)
		tried += n
		if err != nil || !goOn {
			return tried, err
		}
	}
}

// sendAll hands letters over, several at once.
func (f *Fleet) sendAll(ctx context.Context, ids []uuid.UUID) (tried int, goOn bool, err error) {
	var did atomic.Int64
	var stop atomic.Bool
	todo, failed := make(chan uuid.UUID), make(chan error, lettersAtOnce)
	var senders sync.WaitGroup
	for range lettersAtOnce {
		senders.Go(func() {
			for id := range todo {
				if stop.Load() {
					continue
				}
				claimed, reachable, err := f.SendLetter(ctx, id)
				if claimed {
					did.Add(1)
				}
				if err != nil {
					stop.Store(true)
					failed <- err
					return
				}
				if !reachable {
					stop.Store(true)
				}
			}
		})
	}
	for _, id := range ids {
		if stop.Load() || ctx.Err() != nil {
			break
		}
		select {
		case todo <- id:
		case err = <-failed: // a sender that has failed takes no more
		}
	}
	close(todo)
	senders.Wait()
	close(failed)
	for e := range failed {
		err = errors.Join(err, e)
	}
	return int(did.Load()), !stop.Load() && ctx.Err() == nil, errors.Join(err, ctx.Err())
}

// SendLetter hands one letter over and writes down what became of it. It is marked as being sent before the mail server
// sees any of it: whatever happens in between, it is not sent a second time unless the server is known not to have it.
func (f *Fleet) SendLetter(ctx context.Context, id uuid.UUID) (claimed, reachable bool, err error) {
	var l Letter
	err = f.Store.InTx(ctx, identity.Program(), func(ctx context.Context, tx Tx) (err error) {
		l, claimed, err = tx.ClaimLetter(ctx, id, f.Now(), f.Now().Add(lease))
		if err != nil || !claimed || l.ReportID == uuid.Nil {
			return err
		}
		pdf, err := tx.ReportPrint(ctx, l.ReportID, "pdf")
		l.Enclosed = pdf.Bytes
		return err
	})
	if err != nil || !claimed {
		return false, true, err
	}
	answer, sendErr := f.Post.Deliver(ctx, l)
	attempt := attemptOf(l, answer, sendErr, f.Now())
	// The result is written down even when the caller has given up meanwhile.
	err = f.Store.InTx(context.WithoutCancel(ctx), identity.Program(), func(ctx context.Context, tx Tx) error {
		return f.settle(ctx, tx, l, attempt, failureOf(sendErr))
	})
	return true, !failureOf(sendErr).Unreachable, err
}

func failureOf(err error) PostFailure {
	var p *PostFailure
	if errors.As(err, &p) {
		return *p
	}
	return PostFailure{Err: err}
}

func attemptOf(l Letter, answer string, err error, now time.Time) LetterAttempt {
	a := LetterAttempt{LetterID: l.LetterID, Attempt: l.Attempts, At: now, Outcome: "sent", Answer: answer}
	if err == nil {
		return a
	}
	p := failureOf(err)
	a.Outcome, a.Stage, a.Code, a.Answer = "temporary", p.Stage, p.Code, p.Answer
	switch {
	case p.Uncertain:
		a.Outcome = "unknown"
	case p.Permanent:
		a.Outcome = "permanent"
	}
	if a.Answer == "" {
		a.Answer = err.Error()
	}
	return a
}

// settle writes down what an attempt came to, and what follows from it.
func (f *Fleet) settle(ctx context.Context, tx Tx, l Letter, a LetterAttempt, p PostFailure) error {
	if err := tx.InsertAttempt(ctx, a); err != nil {
		return err
	}
	l.Answer = a.Answer
	switch a.Outcome {
	case "sent":
		l.State, l.SentAt = "sent", &a.At
		return tx.SettleLetter(ctx, l)
	case "unknown":
		return f.endLetter(ctx, tx, l, "perhaps_sent", "no_answer", nil)
	case "permanent":
		because := "refused"
		var bad *RefusedAddress
		if p.BadAddress {
			because, bad = "address_refused", &RefusedAddress{Address: l.Address, Since: a.At, LetterID: l.LetterID, Answer: a.Answer}
		}
		return f.endLetter(ctx, tx, l, "failed", because, bad)
	}
	notices, err := tx.NoticesIn(ctx, l.LetterID)
	if err != nil {
		return err
	}
	if !p.Unreachable && slices.ContainsFunc(notices, func(n NoticeDue) bool { return a.At.Sub(n.MadeAt) > giveUpAfter }) {
		return f.endLetter(ctx, tx, l, "failed", "given_up", nil)
	}
	l.State, l.NextTryAt = "queued", a.At.Add(max(p.RetryAfter, min(time.Minute<<min(l.Attempts-1, 10), 6*time.Hour)))
	if p.Unreachable { // the line to the mail server is tried at every opportunity
		l.NextTryAt = a.At.Add(time.Minute)
	}
	return tx.SettleLetter(ctx, l)
}

// endLetter ends a letter that did not arrive, or perhaps not: what it should have said goes to the next address of each
// recipient, where it certainly did not arrive, and the dispatchers are told.
func (f *Fleet) endLetter(ctx context.Context, tx Tx, l Letter, state, because string, bad *RefusedAddress) error {
	if bad != nil {
		if err := tx.RefuseAddress(ctx, *bad); err != nil {
			return err
		}
	}
	l.State, l.Because = state, because
	if err := tx.SettleLetter(ctx, l); err != nil {
		return err
	}
	notices, err := tx.NoticesIn(ctx, l.LetterID)
	if err != nil || len(notices) == 0 {
		return err
	}
	if state != "perhaps_sent" {
		if err := f.goOn(ctx, tx, l, notices); err != nil {
			return err
		}
	}
	about := notices[0]
	if slices.ContainsFunc(notices, func(n NoticeDue) bool { return !isAlarm(n.Notice) }) {
		r, err := f.newRound(ctx, tx, duedate.DayIn(f.Now(), time.UTC), []uuid.UUID{})
		if err != nil {
			return err
		}
		if err := r.read(ctx, nil, nil); err != nil {
			return err
		}
		n := Notice{CustomerID: about.CustomerID, SiteID: about.SiteID, DoorID: about.DoorID, WorkOrderID: about.WorkOrderID, CaseID: about.CaseID, HolderID: about.HolderID,
			QualificationID: about.QualificationID, Reason: "letter:" + l.LetterID.String()}
		r.alarmOffice(n, because, Why{AsOf: r.asOf, Name: l.Name, Address: l.Address, Answer: l.Answer, Rung: about.Rung}, about.RecipientID)
		_, err = r.write(ctx)
		return err
	}
	return nil
}

func isAlarm(n Notice) bool {
	return strings.HasPrefix(n.Reason, "notice:") || strings.HasPrefix(n.Reason, "letter:")
}

// goOn queues notices for the address of their recipients that comes after the letter's. One that has refused mail is not
// among them.
func (f *Fleet) goOn(ctx context.Context, tx Tx, l Letter, notices []NoticeDue) error {
	next := map[string][]uuid.UUID{}
	for _, n := range notices {
		for _, a := range n.KnownAddresses[slices.Index(n.KnownAddresses, l.Address)+1:] {
			if slices.Contains(n.Addresses, a) {
				next[a] = append(next[a], n.NoticeID)
				break
			}
		}
	}
	for address, ids := range next {
		if err := tx.SettleNotices(ctx, ids, "queued", ""); err != nil {
			return err
		}
		if err := tx.PostponeNotices(ctx, ids, address, f.Now()); err != nil {
			return err
		}
	}
	return nil
}

// settleAbandoned ends letters whose sender died: they are perhaps sent, and a person decides.
func (f *Fleet) settleAbandoned(ctx context.Context) error {
	for more := true; more; {
		err := f.Store.InTx(ctx, identity.Program(), func(ctx context.Context, tx Tx) error {
			list, err := tx.AbandonedLetters(ctx, f.Now(), 100)
			more = len(list) > 0
			for _, l := range list {
				a := LetterAttempt{LetterID: l.LetterID, Attempt: l.Attempts, At: f.Now(), Outcome: "unknown"}
				if err := f.settle(ctx, tx, l, a, PostFailure{}); err != nil {
					return err
				}
			}
			return err
		})
		if err != nil {
			return err
		}
	}
	return nil
}

// SendLetterAgain is a person's decision that a letter which failed, or perhaps arrived, is sent once more, under the same
// Message-ID. One that waits already stays as it is.
func (f *Fleet) SendLetterAgain(ctx context.Context, by identity.Actor, id uuid.UUID) (l Letter, err error) {
	err = f.Store.InTx(ctx, by, func(ctx context.Context, tx Tx) error {
		if l, err = tx.LetterByID(ctx, id); err != nil {
			return err
		}
		switch l.State {
		case "queued", "sending":
			return nil
		case "perhaps_sent", "failed", "bounced":
		default:
			return fault.New(fault.Conflict, "letter_settled")
		}
		notices, err := tx.NoticesIn(ctx, id)
		if err != nil {
			return err
		}
		if !slices.ContainsFunc(notices, func(n NoticeDue) bool { return n.State == l.State }) { // another letter says it
			return fault.New(fault.Conflict, "letter_settled")
		}
		l.State, l.Because, l.NextTryAt = "queued", "", f.Now()
		if err := tx.SettleLetter(ctx, l); err != nil {
			return err
		}
		return tx.InsertAuditEvent(ctx, AuditEvent{AuditID: f.NewID(), At: f.Now(), PersonID: by.PersonID, Action: "letter.send_again", SubjectKind: "letter", SubjectID: id.String()})
	})
	return l, err
}

// RefusedAddress is an address that refused mail for good. Nothing is sent to it until somebody clears it.
type RefusedAddress struct {
	Address  string
	Since    time.Time
	LetterID uuid.UUID
	Answer   string
}

// RefusedAddresses lists addresses that refused mail, by address.
func (f *Fleet) RefusedAddresses(ctx context.Context, by identity.Actor, after string, limit int) (list []RefusedAddress, err error) {
	err = f.Store.InTxReadOnly(ctx, by, func(ctx context.Context, tx Tx) error {
		list, err = tx.RefusedAddresses(ctx, after, limit)
		return err
	})
	return list, err
}

// ClearAddress lets mail go to an address again.
func (f *Fleet) ClearAddress(ctx context.Context, by identity.Actor, address string) error {
	return f.Store.InTx(ctx, by, func(ctx context.Context, tx Tx) error {
		did, err := tx.ClearAddress(ctx, address, by.PersonID, f.Now())
		if err != nil {
			return err
		}
		if !did {
			return fault.New(fault.NotFound, "address_not_refused")
		}
		return tx.InsertAuditEvent(ctx, AuditEvent{AuditID: f.NewID(), At: f.Now(), PersonID: by.PersonID, Action: "address.clear", SubjectKind: "address", SubjectID: address})
	})
}

// Bounce is what a mail server reported later about a letter (RFC 3464).
type Bounce struct {
	LetterID   uuid.UUID
	SHA256     [32]byte // of the whole message
	Action     string   // failed, delayed, delivered, relayed, expanded
	Status     string   // RFC 3463: 5.1.1
	Answer     string
	ReceivedAt time.Time
	ReceivedBy uuid.UUID
}

// ReceiveBounce takes a mail server's report about a letter of ours: one that failed goes to the recipient's next address,
// and a status 5.… marks the address. The same report again changes nothing.
func (f *Fleet) ReceiveBounce(ctx context.Context, by identity.Actor, message []byte) (b Bounce, err error) {
	if b, err = f.ReadBounce(message); err != nil {
		return Bounce{}, fault.New(fault.Invalid, "bounce_unreadable", "reason", err.Error()).Because(err)
	}
	err = f.Store.InTx(ctx, by, func(ctx context.Context, tx Tx) error {
		l, err := tx.LetterByID(ctx, b.LetterID)
		if fault.Is(err, "letter_not_found") {
			return fault.New(fault.Invalid, "bounce_of_no_letter")
		}
		if err != nil {
			return err
		}
		b.ReceivedAt, b.ReceivedBy = f.Now(), by.PersonID
		isNew, err := tx.InsertBounce(ctx, b)
		arrived := l.State == "sent" || l.State == "perhaps_sent"
		switch {
		case err != nil || !isNew || !arrived:
			return err
		case b.Action == "failed":
			l.Answer = b.Answer
			var bad *RefusedAddress
			if strings.HasPrefix(b.Status, "5.") {
				bad = &RefusedAddress{Address: l.Address, Since: f.Now(), LetterID: l.LetterID, Answer: b.Answer}
			}
			return f.endLetter(ctx, tx, l, "bounced", "bounced", bad)
		case b.Action == "delivered" && l.State == "perhaps_sent":
			now := f.Now()
			l.State, l.Because, l.SentAt = "sent", "", &now
			return tx.SettleLetter(ctx, l)
		}
		return nil
	})
	return b, err
}
