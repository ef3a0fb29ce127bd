package fleet

import (
	"context"
	"fmt"
	"slices"
	"strings"
	"time"

	"github.com/google/uuid"
	"golang.org/x/text/cases"
	"golang.org/x/text/language"

	"lintel.example/lintel/internal/duedate"
	"lintel.example/lintel/internal/fault"
	"lintel.example/lintel/internal/identity"
	"lintel.example/lintel/internal/seal"
	"lintel.example/lintel/internal/words"
)

// EntryDecision is what the owner, or whoever answers for the door, decides on findings of it after having been shown
// what they mean. It closes nothing: a door is not made safe by somebody's word.
type EntryDecision struct {
	Findings []uuid.UUID `json:"findings"`
	Decision string      `json:"decision"`       // mended (they say so), quoted (they wait for a price), declined, deferred, none
	Until    duedate.Day `json:"until,omitzero"` // deferred: the first day on which it presses again is the next
	// ShownSHA256 is of the text that was shown, as MakeShownText gave it.
	ShownSHA256 seal.Hash `json:"shown_sha256"`
	Outcome     string    `json:"outcome"`             // signed, refused_to_sign, nobody_there, by_telephone, in_writing
	Name        string    `json:"name,omitempty"`      // in capitals; nobody_there: none
	Role        string    `json:"role,omitempty"`      // what they are to the door
	Signature   string    `json:"signature,omitempty"` // signed: strokes as an SVG path
	Witness     string    `json:"witness,omitempty"`   // every other outcome: who saw or heard it, or where it is written
}

// EntryDismissal closes a finding that is not unsafe for a reason, without anything having been mended.
type EntryDismissal struct {
	FindingID uuid.UUID `json:"finding_id"`
	Reason    string    `json:"reason"`
}

// Decided is the last decision on a finding.
type Decided struct {
	Decision string      `json:"decision"`
	Until    duedate.Day `json:"until,omitzero"`
	Outcome  string      `json:"outcome"`
	Name     string      `json:"name,omitempty"`
	At       time.Time   `json:"at"`
	VisitID  uuid.UUID   `json:"visit_id"`
	EntryID  uuid.UUID   `json:"entry_id"`
}

// ShownText is what somebody was shown of findings before they decided. It is kept under its hash.
type ShownText struct {
	CustomerID, SiteID, DoorID uuid.UUID
	SHA256                     seal.Hash
	Findings                   []uuid.UUID // in the order of their ids
	Language                   string
	Text                       string
	MadeAt                     time.Time
	MadeBy                     uuid.UUID
}

type decisionRows interface {
	// InsertShownText keeps a text; the same one again changes nothing.
	InsertShownText(ctx context.Context, s ShownText) error
	ShownTextByHash(ctx context.Context, doorID uuid.UUID, hash seal.Hash) (ShownText, error)
}

// mostDecided is how many findings one decision may be about.
const mostDecided = 100

// InCapitals writes a name as it stands below a signature.
func InCapitals(name string) string { return cases.Upper(language.Und).String(name) }

func (d *EntryDecision) tidy() {
	d.Findings = sortedOnce(slices.Clone(d.Findings))
	tidy(&d.Name)
	tidy(&d.Role)
	tidy(&d.Witness)
}

func (f *Fleet) checkDecision(faults *fault.List, d EntryDecision) {
	if len(d.Findings) < 1 || len(d.Findings) > mostDecided {
		faults.Add("/decision/findings", "count_out_of_range", "least", 1, "greatest", mostDecided)
	}
	checkOneOf(faults, "/decision/decision", d.Decision, "mended", "quoted", "declined", "deferred", "none")
	checkOneOf(faults, "/decision/outcome", d.Outcome, "signed", "refused_to_sign", "nobody_there", "by_telephone", "in_writing")
	switch {
	case d.Decision == "deferred" && d.Until.IsZero():
		faults.Add("/decision/until", "until_missing")
	case d.Decision != "deferred" && !d.Until.IsZero():
		faults.Add("/decision/until", "until_of_deferred")
	}
	f.checkDay(faults, "/decision/until", d.Until)
	nobody := d.Outcome == "nobody_there"
	switch {
	case nobody && d.Decision != "none" && d.Decision != "quoted":
		faults.Add("/decision/decision", "nobody_decided")
	case d.Outcome == "signed" && d.Decision == "none":
		faults.Add("/decision/decision", "signed_decides")
	}
	if nobody {
		checkNone(faults, "/decision/name", d.Name, "nobody_has_no_name")
		checkNone(faults, "/decision/role", d.Role, "nobody_has_no_name")
	} else {
		checkLine(faults, "/decision/name", d.Name, 1, 200)
		checkLine(faults, "/decision/role", d.Role, 1, 100)
		if d.Name != InCapitals(d.Name) {
			faults.Add("/decision/name", "not_in_capitals", "capitals", InCapitals(d.Name))
		}
	}
	if d.Outcome == "signed" {
		checkText(faults, "/decision/signature", d.Signature, 1, 50000)
		checkText(faults, "/decision/witness", d.Witness, 0, 2000)
	} else {
		checkNone(faults, "/decision/signature", d.Signature, "signature_of_nobody")
		checkText(faults, "/decision/witness", d.Witness, 1, 2000)
	}
}

func checkNone(faults *fault.List, pointer, text, code string) {
	if text != "" {
		faults.Add(pointer, code)
	}
}

// checkLife holds what an entry says of a finding's life against the door and its site.
func checkLife(ctx context.Context, tx Tx, site Site, e Entry) error {
	today := duedate.DayIn(e.ObservedAt, site.Location())
	switch b := e.Body; {
	case b.Finding != nil && !b.Finding.SafeUntil.IsZero() && b.Finding.SafeUntil.Before(today):
		return fault.At("/finding/safe_until", "until_passed")
	case b.Dismissal != nil:
		of, err := tx.EntryByID(ctx, b.Dismissal.FindingID)
		if fault.Is(err, "entry_not_found") { // it may still be on its way
			return nil
		}
		if err != nil {
			return err
		}
		if of.DoorID != e.DoorID || of.Body.Finding == nil {
			return fault.At("/dismissal/finding_id", "finding_not_found")
		}
		if of.Body.Finding.Severity == "unsafe" {
			return fault.At("/dismissal/finding_id", "unsafe_not_dismissed")
		}
	case b.Decision != nil:
		d := b.Decision
		if !d.Until.IsZero() && !d.Until.After(today) {
			return fault.At("/decision/until", "until_passed")
		}
		shown, err := tx.ShownTextByHash(ctx, e.DoorID, d.ShownSHA256)
		if err != nil {
			return instead(err, fault.At("/decision/shown_sha256", "shown_text_not_found"))
		}
		if !slices.Equal(shown.Findings, d.Findings) {
			return fault.At("/decision/findings", "shown_of_others")
		}
	}
	return nil
}

// decidedOn gives the last of the decisions on a finding that count, until it is closed.
func decidedOn(finding Entry, closed *time.Time, counting []Entry) *Decided {
	var last *Decided
	for _, by := range counting {
		d := by.Body.Decision
		if d == nil || !after(finding, by) || closed != nil && by.ObservedAt.After(*closed) || !slices.Contains(d.Findings, finding.EntryID) {
			continue
		}
		last = &Decided{Decision: d.Decision, Until: d.Until, Outcome: d.Outcome, Name: d.Name, At: by.ObservedAt, VisitID: by.VisitID, EntryID: by.EntryID}
	}
	return last
}

// MakeShownText writes what open findings of a door mean for whoever is to decide on them, in the words of the
// actor's language, and keeps it under its hash. Faults: finding_not_open, count_out_of_range at /findings.
func (f *Fleet) MakeShownText(ctx context.Context, by identity.Actor, doorID uuid.UUID, findings []uuid.UUID) (s ShownText, err error) {
	findings = sortedOnce(slices.Clone(findings))
	if len(findings) < 1 || len(findings) > mostDecided {
		return s, fault.At("/findings", "count_out_of_range", "least", 1, "greatest", mostDecided)
	}
	err = f.Store.InTx(ctx, by, func(ctx context.Context, tx Tx) error {
		door, err := tx.DoorByID(ctx, doorID, AsOf{})
		if err != nil {
			return err
		}
		site, err := tx.SiteByID(ctx, door.SiteID)
		if err != nil {
			return err
		}
		open, err := tx.FindingPage(ctx, FindingQuery{DoorID: doorID, State: "open", Origin: "visit", Limit: 1000})
		if err != nil {
			return err
		}
		var told []Finding
		for i, id := range findings {
			at := slices.IndexFunc(open, func(o Finding) bool { return o.FindingID == id })
			if at < 0 {
				return fault.At(fmt.Sprintf("/findings/%d", i), "finding_not_open")
			}
			told = append(told, open[at])
		}
		s = ShownText{CustomerID: door.CustomerID, SiteID: door.SiteID, DoorID: doorID, Findings: findings, Language: by.Language,
			Text: f.shown(f.Words.Printer(by.Language, words.Units(by.Units)), site, door, told), MadeAt: f.Now(), MadeBy: by.PersonID}
		s.SHA256 = seal.HashOf([]byte(s.Text))
		if err := tx.InsertShownText(ctx, s); err != nil {
			return err
		}
		s, err = tx.ShownTextByHash(ctx, doorID, s.SHA256)
		return err
	})
	return s, err
}

// shown is the text of findings: the gravest first, each with what it means to leave it so.
func (f *Fleet) shown(p words.Printer, site Site, door Door, findings []Finding) string {
	weight := []string{"unsafe", "deficient", "advisory"}
	slices.SortStableFunc(findings, func(a, b Finding) int {
		return slices.Index(weight, a.Severity) - slices.Index(weight, b.Severity)
	})
	lines := []string{p.T("decision.shown.title", "company", f.Company.Name), p.T("decision.shown.door", "tag", Tag(door.Tag).String(), "door", door.Name, "site", site.Name), ""}
	for i, one := range findings {
		lines = append(lines, p.T("decision.shown.finding", "number", i+1, "severity", p.Enum("severity", one.Severity), "what", one.What,
			"day", duedate.DayIn(one.OpenedAt, site.Location())), p.T("decision.risk."+one.Severity))
		if !one.SafeUntil.IsZero() {
			lines = append(lines, p.T("decision.risk.safe_until", "day", one.SafeUntil))
		}
		lines = append(lines, "")
	}
	return strings.Join(append(lines, p.T("decision.shown.caution")), "\n")
}

// ShownText gives a text that was shown at a door.
func (f *Fleet) ShownText(ctx context.Context, by identity.Actor, doorID uuid.UUID, hash seal.Hash) (s ShownText, err error) {
	err = f.Store.InTxReadOnly(ctx, by, func(ctx context.Context, tx Tx) error {
		s, err = tx.ShownTextByHash(ctx, doorID, hash)
		return err
	})
	return s, err
}

// officeSpace makes the ids of visits that nobody made.
var officeSpace = uuid.MustParse("0d6c1ad2-6f5b-5c05-8c0b-2a7de5d10c43")

// PutFromOffice takes a decision or a dismissal that reached the office. It is an entry like any other, so that what
// follows stays a function of the set of entries; its visit exists by this piece alone and has no attendance.
func (f *Fleet) PutFromOffice(ctx context.Context, by identity.Actor, entryID uuid.UUID, body EntryBody) (Entry, bool, error) {
	if body.Kind != "decision" && body.Kind != "dismissal" {
		return Entry{}, false, fault.At("/kind", "word_unknown", "word", body.Kind, "allowed", "decision, dismissal")
	}
	return f.PutEntry(ctx, by, uuid.NewSHA1(officeSpace, entryID[:]), entryID, body)
}

// FindingByID gives one finding.
func (f *Fleet) FindingByID(ctx context.Context, by identity.Actor, id uuid.UUID) (one Finding, err error) {
	err = f.Store.InTxReadOnly(ctx, by, func(ctx context.Context, tx Tx) error {
		one, err = tx.FindingByID(ctx, id)
		return err
	})
	return one, err
}
