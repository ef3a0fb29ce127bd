package identity

import (
	"cmp"
	"context"
	"io"
	"slices"
	"strings"
	"time"
	"unicode/utf8"

	"github.com/google/uuid"
	"golang.org/x/text/unicode/norm"

	"lintel.example/lintel/internal/duedate"
	"lintel.example/lintel/internal/fault"
)

// GateStore opens transactions that see the tables of this room and nothing else. f may run again after a
// serialization failure: it does nothing outside the database.
type GateStore interface {
	InGate(ctx context.Context, f func(context.Context, GateTx) error) error
}

// GateTx is what this room needs of storage. Every method that looks for one thing answers a fault of kind NotFound
// when it is not there.
type GateTx interface {
	signInRows
	sessionRows
	personRows
	tokenRows
	qualificationRows
	eventRows
	onceRows
	// Lock makes transactions that name the same thing wait for each other, until their end.
	Lock(ctx context.Context, name string) error
}

// People holds the use-cases of this room: each is one transaction, except that passwords are hashed outside of one,
// because that takes its time on purpose. Whoever may do what to whom is decided here, not in the face of the program.
type People struct {
	store  GateStore
	hasher *Hasher
	now    func() time.Time
	newID  func() uuid.UUID
	random io.Reader
}

// NewPeople makes the use-cases from their parts; random must be safe for concurrent use, as crypto/rand's Reader is.
func NewPeople(store GateStore, hasher *Hasher, now func() time.Time, newID func() uuid.UUID, random io.Reader) *People {
	return &People{store: store, hasher: hasher, newID: newID, random: random,
		now: func() time.Time { return now().UTC().Truncate(time.Microsecond) }} // as the database keeps it
}

// Page asks for a part of a list, the newest first: at most Limit things before the last one seen, which the zero
// Page leaves open.
type Page struct {
	BeforeAt time.Time
	BeforeID uuid.UUID
	Limit    int
}

// lockPerson is held, before anything is read, by whatever opens a session or makes a token and by whatever ends them all:
// otherwise one that is being opened while a password is reset would outlive the reset.
func lockPerson(ctx context.Context, tx GateTx, id uuid.UUID) error {
	return tx.Lock(ctx, "person "+id.String())
}

// need refuses what the actor may not do. The face of the program asks before the use-case does; the gate's role
// sees everybody, so that a forgotten question there must not be enough.
func need(by Actor, action Action) error {
	switch {
	case by.MustChangePassword:
		return fault.New(fault.Forbidden, "password_change_needed")
	case !by.May(action):
		return fault.New(fault.Forbidden, "not_allowed", "action", string(action))
	}
	return nil
}

// needFor is need for what everybody may do for themselves. What belongs to somebody else reads as not there.
func needFor(by Actor, personID uuid.UUID, action Action) error {
	if by.PersonID == personID {
		return need(by, ActSelf)
	}
	if need(by, action) != nil {
		return fault.New(fault.NotFound, "person_not_found")
	}
	return nil
}

// checkVersion decides what a PUT of something that exists may do: ifMatch is the version that the caller last saw, 0
// when it named none.
func checkVersion(ifMatch, present int) error {
	switch ifMatch {
	case present:
		return nil
	case 0:
		return fault.New(fault.PreconditionRequired, "version_required")
	}
	return fault.New(fault.PreconditionFailed, "version_differs")
}

// checkText tidies a line of text and adds what is wrong with it.
func checkText(faults *fault.List, pointer string, text *string, greatest int) {
	*text = norm.NFC.String(strings.TrimSpace(*text))
	n := utf8.RuneCountInString(*text)
	switch {
	case !utf8.ValidString(*text):
		faults.Add(pointer, "text_not_utf8")
	case n == 0:
		faults.Add(pointer, "text_missing")
	case n > greatest:
		faults.Add(pointer, "text_length", "least", 1, "greatest", greatest)
	case !readable(*text):
		faults.Add(pointer, "text_binary")
	case strings.ContainsFunc(*text, turnsWriting):
		faults.Add(pointer, "text_turned")
	}
}

// checkDay adds a fault for a date that nobody can mean; the zero Day is none.
func checkDay(faults *fault.List, pointer string, d duedate.Day, now time.Time) {
	first, last := duedate.PlausibleDays(duedate.DayIn(now, time.UTC))
	if !d.IsZero() && (d.Before(first) || d.After(last)) {
		faults.Add(pointer, "date_implausible", "first", first.String(), "last", last.String())
	}
}

// turnsWriting tells whether a character turns the direction of writing (Unicode Standard Annex 9, explicit formatting
// characters; from memory): a name that holds one can be read as another.
func turnsWriting(r rune) bool { return r >= 0x202a && r <= 0x202e || r >= 0x2066 && r <= 0x2069 }

// atMember says of which member the faults of a text are.
func atMember(err error, pointer string) error {
	var list fault.List
	for _, f := range fault.Of(err) {
		list.Add(pointer, f.Code, f.Args...)
	}
	if len(list) == 0 {
		return err
	}
	return list.Err()
}

// set brings ids into the order of their texts, each once.
func set(ids []uuid.UUID) []uuid.UUID {
	sorted := slices.SortedFunc(slices.Values(ids), func(a, b uuid.UUID) int { return cmp.Compare(a.String(), b.String()) })
	return slices.Compact(sorted)
}

// shortened makes somebody else's text fit to be kept: valid, on one line, with at most so many characters.
func shortened(text string, most int) string {
	runes := []rune(strings.Map(func(r rune) rune {
		if r < ' ' || r == 0x7f {
			return ' '
		}
		return r
	}, strings.ToValidUTF8(text, "?")))
	return string(runes[:min(len(runes), most)])
}
