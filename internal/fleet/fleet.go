package fleet

import (
	"context"
	"io"
	"strings"
	"sync"
	"time"
	"unicode"
	"unicode/utf8"

	"github.com/google/uuid"
	lru "github.com/hashicorp/golang-lru/v2"
	"golang.org/x/text/unicode/norm"

	"lintel.example/lintel/internal/duedate"
	"lintel.example/lintel/internal/fault"
	"lintel.example/lintel/internal/identity"
	"lintel.example/lintel/internal/rulebook"
	"lintel.example/lintel/internal/seal"
	"lintel.example/lintel/internal/words"
)

// Parts are what the use-cases are given from outside.
type Parts struct {
	Store Transactor
	Book  *rulebook.Book
	Keys  *identity.Keyring // nil: codes can be neither set nor revealed
	Now   func() time.Time
	NewID func() uuid.UUID // UUIDv7
	// Words, Company and Post are for notices and reports; PrintReport prints a document in every form, with the hash of
	// its record.
	Words   *words.Catalogue
	Company ReportCompany
	Post    Post
	Photos  PhotoStore
	Hooks   Hooks // nil: no other program is told of events
	// ReadBounce reads a mail server's report (RFC 3464) about a letter.
	ReadBounce  func(message []byte) (Bounce, error)
	PrintReport func(doc Document, sha256 string) ([]ReportPrint, error)
	Schedules   []JobSchedule // the program's jobs, each with its usual line
	Random      io.Reader     // for the secrets of addresses; safe for concurrent use, as crypto/rand's Reader is
	// WriteCalendar writes events as an iCalendar object of METHOD:PUBLISH; nil: mails enclose none, and there are no feeds.
	WriteCalendar func(name string, events []CalendarEvent) []byte
	// PublicURL is where the pages are reached from outside: letters carry links to them; "": none.
	PublicURL string
}

// Fleet holds the use-cases. Each changes or reads the register in one transaction.
type Fleet struct {
	Parts
	// covers keeps what was computed of late, by the hash of everything that it was computed from: a door is looked at
	// more often than it changes.
	covers *lru.Cache[string, []zoneCover]
	// packs keeps the company's packs compiled, by the digest of their text.
	packs *lru.Cache[seal.Hash, *rulebook.Pack]
	// previewing is held by the one preview of a pack that may go on at a time.
	previewing sync.Mutex
}

// What is kept is bounded: some ten kilobytes a cover, some hundred a pack.
const (
	rememberedCovers = 2000
	rememberedPacks  = 100
)

// New makes the use-cases from their parts.
func New(parts Parts) *Fleet {
	covers, err := lru.New[string, []zoneCover](rememberedCovers)
	if err != nil {
		panic(err) // of a size that is not positive
	}
	packs, err := lru.New[seal.Hash, *rulebook.Pack](rememberedPacks)
	if err != nil {
		panic(err) // the same
	}
	return &Fleet{Parts: parts, covers: covers, packs: packs}
}

// Transactor opens transactions in the sight of an actor. f may run again after a serialization failure or a
// deadlock: it does nothing outside the database, and gives its results to variables of the caller.
type Transactor interface {
	InTx(ctx context.Context, by identity.Actor, f func(context.Context, Tx) error) error
	// InTxReadOnly may be served by a standby.
	InTxReadOnly(ctx context.Context, by identity.Actor, f func(context.Context, Tx) error) error
}

// Tx is what the use-cases need of storage inside a transaction. Every method that looks for one thing answers
// a fault of kind NotFound when it is not there or not in the actor's sight.
type Tx interface {
	customerRows
	changeRows
	siteRows
	partyRows
	codeRows
	catalogueRows
	instrumentRows
	doorRows
	folderRows
	nameRows
	componentRows
	partRows
	revisionRows
	findingRows
	planRows
	roundRows
	closedDayRows
	routePlanRows
	forecastRows
	suspensionRows
	workOrderRows
	jobRunRows
	visitRows
	oddityRows
	forceSeriesRows
	walkRows
	photoRows
	consequenceRows
	trendRows
	decisionRows
	pressingRows
	mendTimeRows
	noticeRows
	ladderRows
	letterRows
	answerRows
	watchRows
	reportRows
	qualificationRows
	backupRows
	intakeRows
	companyPackRows
	replayRows
	recomputationRows
	letterTemplateRows
	deliveryRows
	webhookRows
	calendarFeedRows
	jobLineRows
}

// changeRows keeps every state that an unversioned thing was given.
type changeRows interface {
	InsertChange(ctx context.Context, c Change) error
}

// Change is one state that a customer, party, site, standing or plan was given.
type Change struct {
	ChangeID    uuid.UUID
	At          time.Time
	PersonID    uuid.UUID
	SubjectKind string
	SubjectID   uuid.UUID
	Body        any // kept as JSON
}

// record writes a change into the log.
func (f *Fleet) record(ctx context.Context, tx Tx, by identity.Actor, kind string, id uuid.UUID, body any) error {
	return tx.InsertChange(ctx, Change{ChangeID: f.NewID(), At: f.Now(), PersonID: by.PersonID, SubjectKind: kind, SubjectID: id, Body: body})
}

// Page asks for a part of a list: at most Limit things after the key of the last one seen.
type Page struct {
	After string // what the list gave as Next, "" for the beginning
	Limit int
}

// checkVersion decides what a PUT of something that exists may do: ifMatch is the version that the caller last
// saw, 0 when it named none.
func checkVersion(ifMatch, present int) error {
	switch ifMatch {
	case present:
		return nil
	case 0:
		return fault.New(fault.PreconditionRequired, "version_required")
	}
	return fault.New(fault.PreconditionFailed, "version_differs")
}

// checkVersionID is checkVersion for things whose versions have ids; the zero id means that none was named.
func checkVersionID(ifMatch, present uuid.UUID) error {
	switch ifMatch {
	case present:
		return nil
	case uuid.Nil:
		return fault.New(fault.PreconditionRequired, "version_required")
	}
	return fault.New(fault.PreconditionFailed, "version_differs")
}

// hashOf is the SHA-256 of a value's canonical JSON.
func hashOf(v any) ([32]byte, error) {
	_, hash, err := seal.Marshal(v)
	return hash, err
}

// tidy brings free text into one form (NFC, no surrounding space) when it is taken in, because sealing never does.
func tidy(text *string) { *text = norm.NFC.String(strings.TrimSpace(*text)) }

// checkDay adds a fault for a date that nobody can mean. The zero Day is none; whether that may be is said elsewhere.
func (f *Fleet) checkDay(faults *fault.List, pointer string, d duedate.Day) {
	first, last := duedate.PlausibleDays(duedate.DayIn(f.Now(), time.UTC))
	if !d.IsZero() && (d.Before(first) || d.After(last)) {
		faults.Add(pointer, "date_implausible", "first", first.String(), "last", last.String())
	}
}

// checkInstant is checkDay for an instant; the zero instant is none.
func (f *Fleet) checkInstant(faults *fault.List, pointer string, at time.Time) {
	if !at.IsZero() {
		f.checkDay(faults, pointer, duedate.DayIn(at, time.UTC))
	}
}

// turnsWriting tells whether a character turns the direction of writing until another one ends that (Unicode Standard
// Annex 9, explicit formatting characters; from memory): what holds it can be read as something else than it is.
func turnsWriting(r rune) bool { return r >= 0x202a && r <= 0x202e || r >= 0x2066 && r <= 0x2069 }

// checkLine is checkText for what stands on one line: a name, a number, a word of somebody's own.
func checkLine(faults *fault.List, pointer, text string, least, greatest int) {
	before := len(*faults)
	checkText(faults, pointer, text, least, greatest)
	if len(*faults) == before && strings.ContainsFunc(text, func(r rune) bool { return unicode.IsControl(r) || r == 0x2028 || r == 0x2029 }) {
		faults.Add(pointer, "text_of_lines")
	}
}

// checkText adds what is wrong with a text of least to greatest characters.
func checkText(faults *fault.List, pointer, text string, least, greatest int) {
	n := utf8.RuneCountInString(text)
	switch {
	case !utf8.ValidString(text):
		faults.Add(pointer, "text_not_utf8")
	case n < least && n == 0:
		faults.Add(pointer, "text_missing")
	case n < least || n > greatest:
		faults.Add(pointer, "text_length", "least", least, "greatest", greatest)
	case strings.ContainsFunc(text, func(r rune) bool { return unicode.IsControl(r) && r != '\n' && r != '\t' }):
		faults.Add(pointer, "text_binary")
	case strings.ContainsFunc(text, turnsWriting):
		faults.Add(pointer, "text_turned")
	}
}

// checkOneOf adds a fault when a word is not one of those allowed.
func checkOneOf[T ~string](faults *fault.List, pointer string, word T, allowed ...T) {
	for _, a := range allowed {
		if word == a {
			return
		}
	}
	words := make([]string, len(allowed))
	for i, a := range allowed {
		words[i] = string(a)
	}
	faults.Add(pointer, "word_unknown", "word", string(word), "allowed", strings.Join(words, ", "))
}
