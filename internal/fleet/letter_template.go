package fleet

import (
	"context"
	"regexp"
	"slices"
	"strings"
	"time"

	"github.com/google/uuid"

	"lintel.example/lintel/internal/fault"
	"lintel.example/lintel/internal/identity"
)

// LetterTemplate is one version of the company's text of a kind of letter. Letters are issued from it once somebody has
// approved it. A shipped draft has no id and no version, and cannot be approved: the company's lawyer checks it first.
type LetterTemplate struct {
	TemplateID uuid.UUID
	Kind       string // risk, refusal, declination
	Version    int
	Text       string // with the places of LetterPlaces in braces
	WrittenAt  time.Time
	WrittenBy  uuid.UUID
	ApprovedAt *time.Time
	ApprovedBy uuid.UUID
	ReadBy     string // who else has read it before, say the company's lawyer; never "" where its writer approves it
}

// IsDraft tells whether the text says of itself that nobody has checked it: such a one is not approved.
func (l LetterTemplate) IsDraft() bool { return strings.HasPrefix(l.Text, draftMark) }

// LetterKinds lists the kinds of letters.
func LetterKinds() []string { return []string{"risk", "refusal", "declination"} }

// LetterPlaces are the names that a text may hold in braces.
func LetterPlaces() []string {
	return []string{"company", "customer", "date", "decision", "door", "findings", "site"}
}

type letterTemplateRows interface {
	// LetterTemplates gives all, by kind, the newest first.
	LetterTemplates(ctx context.Context) ([]LetterTemplate, error)
	LetterTemplateByID(ctx context.Context, id uuid.UUID) (LetterTemplate, error)
	// InsertLetterTemplate gives the text the next version of its kind; false when the id or the version is taken.
	InsertLetterTemplate(ctx context.Context, l LetterTemplate) (bool, error)
	// ApproveLetterTemplate answers false when it is approved already.
	ApproveLetterTemplate(ctx context.Context, id uuid.UUID, at time.Time, by uuid.UUID, readBy string) (bool, error)
}

// draftMark begins a text that nobody has checked.
const draftMark = "DRAFT:"

var letterPlace = regexp.MustCompile(`\{([^{}]*)\}`)

func (l LetterTemplate) check() error {
	var faults fault.List
	checkOneOf(&faults, "/kind", l.Kind, LetterKinds()...)
	checkText(&faults, "/text", l.Text, 1, 20000)
	for _, place := range letterPlace.FindAllStringSubmatch(l.Text, -1) {
		if !slices.Contains(LetterPlaces(), place[1]) {
			faults.Add("/text", "letter_place_unknown", "place", place[1], "allowed", strings.Join(LetterPlaces(), ", "))
		}
	}
	if !strings.Contains(l.Text, "{findings}") {
		faults.Add("/text", "letter_without_findings")
	}
	return faults.Err()
}

// PutLetterTemplate keeps a text as the next version of its kind. The same again changes nothing.
func (f *Fleet) PutLetterTemplate(ctx context.Context, by identity.Actor, l LetterTemplate) (saved LetterTemplate, created bool, err error) {
	l.Text = strings.TrimSpace(strings.ReplaceAll(l.Text, "\r\n", "\n"))
	if err := l.check(); err != nil {
		return LetterTemplate{}, false, err
	}
	err = f.Store.InTx(ctx, by, func(ctx context.Context, tx Tx) error {
		saved, err = tx.LetterTemplateByID(ctx, l.TemplateID)
		if !fault.Is(err, "letter_template_not_found") {
			if err == nil && (saved.Kind != l.Kind || saved.Text != l.Text) {
				return fault.New(fault.Conflict, "letter_template_differs")
			}
			return err
		}
		l.WrittenAt, l.WrittenBy = f.Now(), by.PersonID
		if created, err = tx.InsertLetterTemplate(ctx, l); err != nil {
			return err
		}
		if !created { // somebody wrote another version a moment ago
			return fault.New(fault.Conflict, "letter_template_differs")
		}
		if saved, err = tx.LetterTemplateByID(ctx, l.TemplateID); err != nil {
			return err
		}
		return f.record(ctx, tx, by, "letter_template", l.TemplateID, saved)
	})
	return saved, created, err
}

// ApproveLetterTemplate lets letters be issued from a version. Nobody approves what they wrote: another administrator does. Where
// there is no other, the writer may, and names who else has read it. Again changes nothing: the first approver stays.
func (f *Fleet) ApproveLetterTemplate(ctx context.Context, by identity.Actor, id uuid.UUID, readBy string) (l LetterTemplate, created bool, err error) {
	tidy(&readBy)
	var faults fault.List
	checkLine(&faults, "/read_by", readBy, 0, 200)
	if err := faults.Err(); err != nil {
		return LetterTemplate{}, false, err
	}
	err = f.Store.InTx(ctx, by, func(ctx context.Context, tx Tx) error {
		created = false
		if l, err = tx.LetterTemplateByID(ctx, id); err != nil || l.ApprovedAt != nil {
			return err
		}
		if l.IsDraft() {
			return fault.New(fault.Conflict, "letter_still_draft")
		}
		if l.WrittenBy == by.PersonID {
			if err := checkWriterAlone(ctx, tx, by, readBy); err != nil {
				return err
			}
		}
		if created, err = tx.ApproveLetterTemplate(ctx, id, f.Now(), by.PersonID, readBy); err != nil {
			return err
		}
		if l, err = tx.LetterTemplateByID(ctx, id); err != nil || !created {
			return err
		}
		return f.record(ctx, tx, by, "letter_template", id, l)
	})
	return l, created, err
}

// checkWriterAlone refuses that a writer approves while somebody else may, and where nobody else may, that nobody else has read it.
func checkWriterAlone(ctx context.Context, tx Tx, by identity.Actor, readBy string) error {
	alone, err := onlyAdministrator(ctx, tx, by)
	switch {
	case err != nil:
		return err
	case !alone:
		return fault.New(fault.Conflict, "letter_own_text")
	case readBy == "":
		return fault.At("/read_by", "letter_reader_missing")
	}
	return nil
}

// onlyAdministrator tells whether no other administrator may sign in.
func onlyAdministrator(ctx context.Context, tx Tx, by identity.Actor) (bool, error) {
	office, err := tx.OfficePeople(ctx)
	others := slices.ContainsFunc(office, func(p Recipient) bool { return p.Role == string(identity.Administrator) && p.ID != by.PersonID })
	return !others, err
}

// MayApproveLetter tells whether somebody may approve a text, and whether somebody else must have read it then.
func (f *Fleet) MayApproveLetter(ctx context.Context, by identity.Actor, l LetterTemplate) (may, read bool, err error) {
	if l.WrittenBy != by.PersonID {
		return true, false, nil
	}
	err = f.Store.InTxReadOnly(ctx, by, func(ctx context.Context, tx Tx) error {
		may, err = onlyAdministrator(ctx, tx, by)
		return err
	})
	return may, may, err
}

// LetterTemplates gives the shipped drafts in the language of the actor, then every version, by kind the newest first.
func (f *Fleet) LetterTemplates(ctx context.Context, by identity.Actor) (list []LetterTemplate, err error) {
	err = f.Store.InTxReadOnly(ctx, by, func(ctx context.Context, tx Tx) error {
		written, err := tx.LetterTemplates(ctx)
		for _, kind := range LetterKinds() {
			list = append(list, f.shippedLetter(by, kind))
		}
		list = append(list, written...)
		return err
	})
	return list, err
}

// shippedLetter is the draft of a kind; its places stay places.
func (f *Fleet) shippedLetter(by identity.Actor, kind string) LetterTemplate {
	var places []any
	for _, p := range LetterPlaces() {
		places = append(places, p, "{"+p+"}")
	}
	return LetterTemplate{Kind: kind, Text: strings.TrimSpace(f.printer(by).T("letter.shipped."+kind, places...))}
}
