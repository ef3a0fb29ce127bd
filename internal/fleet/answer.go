package fleet

import (
	"context"
	"strings"
	"time"

	"github.com/google/uuid"

	"lintel.example/lintel/internal/fault"
	"lintel.example/lintel/internal/identity"
	"lintel.example/lintel/internal/words"
)

// What recipients answer by the links in their letters. Whoever has the letter may, without signing in; reading the page that a link leads to
// changes nothing, since mail programs look at links by themselves.
const (
	linkTakeNote = "acknowledge" // purposes of tokens
	linkDecline  = "decline"

	takeNoteFor = 60 * 24 * time.Hour  // for how long a letter can be acknowledged by its link
	declineFor  = 366 * 24 * time.Hour // and reminders declined. Common practice, no source.

	// unansweredAfter is how long a recipient has to take note before the office sees that nobody has. Common practice, no source.
	unansweredAfter = 3 * 24 * time.Hour
)

// LetterNote is that somebody has taken note of a letter.
type LetterNote struct {
	LetterID uuid.UUID
	At       time.Time
	Name     string     // who, in their own words
	PersonID *uuid.UUID // of the office, who was told so; nil: by the link in the letter
}

// DeclinedAddress is an address that wants no reminders ahead of due days.
type DeclinedAddress struct {
	Address  string
	Since    time.Time
	LetterID uuid.UUID // of which the link was used
}

// UnansweredQuery asks for notices that did not arrive, or that nobody has taken note of, the oldest first.
type UnansweredQuery struct {
	What    string // not_arrived, no_word; "": both
	SiteID  uuid.UUID
	AfterAt time.Time
	AfterID uuid.UUID
	Limit   int
}

type answerRows interface {
	// LetterNote answers false when nobody has taken note of the letter.
	LetterNote(ctx context.Context, letterID uuid.UUID) (LetterNote, bool, error)
	// InsertLetterNote answers false when somebody has before.
	InsertLetterNote(ctx context.Context, n LetterNote) (bool, error)
	DeclineReminders(ctx context.Context, d DeclinedAddress) error
	DeclinedAddresses(ctx context.Context, after string, limit int) ([]DeclinedAddress, error)
	// EndDecline answers false when the address has declined nothing.
	EndDecline(ctx context.Context, address string, by uuid.UUID, at time.Time) (bool, error)
	// UnansweredNotices gives notices about what is still open that did not arrive, or were sent before a time and ask for an answer. Of
	// those of one reason to one recipient the newest counts.
	UnansweredNotices(ctx context.Context, q UnansweredQuery, sentBefore time.Time) ([]Notice, error)
}

// linkIn writes a link into a letter; "" where the pages have no address of their own, or nothing to sign with.
func (f *Fleet) linkIn(path, purpose string, l *Letter, lasts time.Duration) string {
	if f.PublicURL == "" || f.Keys == nil {
		return ""
	}
	return strings.TrimRight(f.PublicURL, "/") + path + f.Keys.SignLink(purpose, l.LetterID, l.MadeAt.Add(lasts))
}

// takeNote is the paragraph with the link by which a party says that they have taken note; "" without links, and for the office, which has
// pages of its own.
func (f *Fleet) takeNote(p words.Printer, l *Letter, n NoticeDue) string {
	link := f.linkIn("/answer/", linkTakeNote, l, takeNoteFor)
	if link == "" || ofOffice(n.Role) || n.Role == roleHolder {
		return ""
	}
	return "\n" + p.T("notice.take_note", "link", link) + "\n"
}

// advance tells whether a notice only reminds a party of a day that lies ahead: such notices may be declined. What is due, late or unsafe may
// not, nor what is about a door that is out of service.
func (n Notice) advance() bool {
	return n.WorkOrderID != nil && !n.Urgent && !ofOffice(n.Role) && !n.TurnOn.IsZero() && !n.Why.OutOfService && n.Why.OffsetDays != nil && *n.Why.OffsetDays < 0
}

// letterOf reads a link and gives its letter.
func (f *Fleet) letterOf(ctx context.Context, tx Tx, purpose, token string) (Letter, error) {
	id, err := f.Keys.ReadLink(purpose, token, f.Now())
	if err != nil {
		return Letter{}, err
	}
	l, err := tx.LetterByID(ctx, id)
	if fault.Is(err, "letter_not_found") { // of another database
		return Letter{}, fault.New(fault.NotFound, "link_unknown")
	}
	return l, err
}

// LetterToNote gives the letter that a link is about, and who has taken note of it already; nil: nobody.
func (f *Fleet) LetterToNote(ctx context.Context, token string) (l Letter, note *LetterNote, err error) {
	err = f.Store.InTx(ctx, identity.Program(), func(ctx context.Context, tx Tx) error {
		if l, err = f.letterOf(ctx, tx, linkTakeNote, token); err != nil {
			return err
		}
		present, noted, err := tx.LetterNote(ctx, l.LetterID)
		if noted {
			note = &present
		}
		return err
	})
	return l, note, err
}

// TakeNoteByLink is a recipient's word that they have taken note of a letter. The first counts; another changes nothing.
func (f *Fleet) TakeNoteByLink(ctx context.Context, token, name string) error {
	return f.Store.InTx(ctx, identity.Program(), func(ctx context.Context, tx Tx) error {
		l, err := f.letterOf(ctx, tx, linkTakeNote, token)
		if err != nil {
			return err
		}
		_, err = f.noted(ctx, tx, identity.ProgramID, LetterNote{LetterID: l.LetterID, Name: name})
		return err
	})
}

// TakeNoteFor records what somebody of the office was told by a recipient: that they have taken note of a letter. created is false when
// somebody has before.
func (f *Fleet) TakeNoteFor(ctx context.Context, by identity.Actor, letterID uuid.UUID, name string) (n LetterNote, created bool, err error) {
	err = f.Store.InTx(ctx, by, func(ctx context.Context, tx Tx) error {
		if _, err := tx.LetterByID(ctx, letterID); err != nil {
			return err
		}
		if created, err = f.noted(ctx, tx, by.PersonID, LetterNote{LetterID: letterID, Name: name, PersonID: &by.PersonID}); err != nil {
			return err
		}
		n, _, err = tx.LetterNote(ctx, letterID)
		return err
	})
	return n, created, err
}

func (f *Fleet) noted(ctx context.Context, tx Tx, by uuid.UUID, n LetterNote) (created bool, err error) {
	tidy(&n.Name)
	var faults fault.List
	checkLine(&faults, "/name", n.Name, 1, 200)
	if err := faults.Err(); err != nil {
		return false, err
	}
	n.At = f.Now()
	created, err = tx.InsertLetterNote(ctx, n)
	if err != nil || !created {
		return false, err
	}
	return true, tx.InsertAuditEvent(ctx, AuditEvent{AuditID: f.NewID(), At: n.At, PersonID: by, Action: "letter.acknowledge", SubjectKind: "letter", SubjectID: n.LetterID.String()})
}

// LetterToDecline gives the letter from which reminders can be declined by a link.
func (f *Fleet) LetterToDecline(ctx context.Context, token string) (l Letter, err error) {
	err = f.Store.InTx(ctx, identity.Program(), func(ctx context.Context, tx Tx) error {
		l, err = f.letterOf(ctx, tx, linkDecline, token)
		return err
	})
	return l, err
}

// DeclineByLink keeps reminders ahead of due days from the address of a letter from now on. Again changes nothing.
func (f *Fleet) DeclineByLink(ctx context.Context, token string) error {
	return f.Store.InTx(ctx, identity.Program(), func(ctx context.Context, tx Tx) error {
		l, err := f.letterOf(ctx, tx, linkDecline, token)
		if err != nil {
			return err
		}
		d := DeclinedAddress{Address: l.Address, Since: f.Now(), LetterID: l.LetterID}
		if err := tx.DeclineReminders(ctx, d); err != nil {
			return err
		}
		return tx.InsertAuditEvent(ctx, AuditEvent{AuditID: f.NewID(), At: d.Since, PersonID: identity.ProgramID, Action: "reminders.decline", SubjectKind: "address", SubjectID: l.Address})
	})
}

// DeclinedAddresses lists addresses that want no reminders, by address.
func (f *Fleet) DeclinedAddresses(ctx context.Context, by identity.Actor, after string, limit int) (list []DeclinedAddress, err error) {
	err = f.Store.InTxReadOnly(ctx, by, func(ctx context.Context, tx Tx) error {
		list, err = tx.DeclinedAddresses(ctx, after, limit)
		return err
	})
	return list, err
}

// EndDecline lets reminders go to an address again.
func (f *Fleet) EndDecline(ctx context.Context, by identity.Actor, address string) error {
	return f.Store.InTx(ctx, by, func(ctx context.Context, tx Tx) error {
		did, err := tx.EndDecline(ctx, address, by.PersonID, f.Now())
		if err != nil {
			return err
		}
		if !did {
			return fault.New(fault.NotFound, "address_not_declined")
		}
		return tx.InsertAuditEvent(ctx, AuditEvent{AuditID: f.NewID(), At: f.Now(), PersonID: by.PersonID, Action: "reminders.resume", SubjectKind: "address", SubjectID: address})
	})
}

// Unanswered lists notices about what is still open that did not arrive, or that ask for an answer and have had none for days, the oldest
// first.
func (f *Fleet) Unanswered(ctx context.Context, by identity.Actor, q UnansweredQuery) (list []Notice, err error) {
	err = f.Store.InTxReadOnly(ctx, by, func(ctx context.Context, tx Tx) error {
		list, err = tx.UnansweredNotices(ctx, q, f.Now().Add(-unansweredAfter))
		return err
	})
	return list, err
}
