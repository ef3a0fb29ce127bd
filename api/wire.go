package api

import (
	"bytes"
	"encoding/base64"
	"encoding/json"
	"errors"
	"strconv"
	"strings"
	"time"

	"github.com/google/uuid"

	"lintel.example/lintel/internal/fault"
	"lintel.example/lintel/internal/fleet"
	"lintel.example/lintel/internal/identity"
	"lintel.example/lintel/internal/words"
)

// PageIn is what every list takes.
type PageIn struct {
	After string `query:"after" maxLength:"400" doc:"The next of the page before; empty for the first page."`
	Limit int    `query:"limit" minimum:"1" maximum:"200" default:"50"`
}

// PageOut is what every list gives besides its items.
type PageOut struct {
	Next string `json:"next,omitempty" doc:"Give it as after for the next page; absent on the last."`
}

// IfMatch is what every change of something with versions takes.
type IfMatch struct {
	IfMatch string `header:"If-Match" maxLength:"80" doc:"The ETag of the version that the change was made from."`
}

// version reads the header: 0 for none.
func (m IfMatch) version() (int, error) {
	if m.IfMatch == "" {
		return 0, nil
	}
	n, err := strconv.Atoi(strings.Trim(m.IfMatch, `"`))
	if err != nil || n < 1 || m.IfMatch != etag(n) {
		return 0, fault.New(fault.PreconditionFailed, "version_differs")
	}
	return n, nil
}

// etag writes a version as a strong ETag.
func etag(version int) string { return `"` + strconv.Itoa(version) + `"` }

// cursor packs the key of the last item of a page. It is opaque to clients, and no secret.
func cursor(key any) string {
	b, err := json.Marshal(key)
	if err != nil {
		panic(err) // keys are texts, dates and ids of ours
	}
	return base64.RawURLEncoding.EncodeToString(b)
}

// readCursor unpacks the key into key; an empty cursor leaves it as it is.
func readCursor(text string, key any) error {
	if text == "" {
		return nil
	}
	b, err := base64.RawURLEncoding.DecodeString(text)
	if err == nil {
		err = json.Unmarshal(b, key)
	}
	if err == nil && bytes.Contains(b, []byte(`\u0000`)) { // the database takes none, so no key of ours has one
		err = errors.New("a NUL in a key")
	}
	if err != nil {
		return &fault.Error{Kind: fault.Invalid, Code: "page_unknown", Err: err}
	}
	return nil
}

// created gives the status of a PUT.
func created(yes bool) int {
	if yes {
		return 201
	}
	return 200
}

// nameKey is the cursor of lists in the order of a name.
type nameKey struct {
	Name string    `json:"n"`
	ID   uuid.UUID `json:"i"`
}

// quantity is a physical value on the wire; the member's name ends with its unit.
type quantity struct {
	Value *float64    `json:"value,omitempty" nullable:"true" doc:"In the unit that ends the member's name; absent or null when unknown."`
	Basis fleet.Basis `json:"basis" enum:"measured,seen_on_site,told,from_paper,assumed,unknown" doc:"How the value came to be known."`
}

func (q *quantity) fleet() fleet.Quantity {
	if q == nil {
		return fleet.UnknownQuantity()
	}
	return fleet.Quantity{Value: q.Value, Basis: q.Basis}
}

func newQuantity(q fleet.Quantity) *quantity { return &quantity{Value: q.Value, Basis: q.Basis} }

// length is a length on the wire: a number of metres, or what somebody reads off a tape in feet and inches.
type length struct {
	Value   *float64    `json:"value,omitempty" nullable:"true" doc:"Metres; absent or null when unknown."`
	Entered string      `json:"entered,omitempty" maxLength:"40" doc:"Instead of value: 7'-0\", 84 in, 2.13 m."`
	Basis   fleet.Basis `json:"basis" enum:"measured,seen_on_site,told,from_paper,assumed,unknown" doc:"How the value came to be known."`
	Shown   string      `json:"shown,omitempty" readOnly:"true" doc:"In the reader's units."`
}

// reader reads the texts of one body that stand for values and gathers what is wrong with them.
type reader struct{ faults fault.List }

func (l *reader) length(pointer string, in *length) fleet.Quantity {
	return l.lengthBy(words.ParseLength, pointer, in)
}

// offset reads a length that may be to the other side.
func (l *reader) offset(pointer string, in *length) fleet.Quantity {
	return l.lengthBy(words.ParseOffset, pointer, in)
}

func (l *reader) lengthBy(parse func(string) (float64, error), pointer string, in *length) fleet.Quantity {
	switch {
	case in == nil:
		return fleet.UnknownQuantity()
	case in.Entered != "" && in.Value != nil:
		l.faults.Add(pointer, "length_twice")
	case in.Entered != "":
		m, err := parse(in.Entered)
		if err != nil {
			var unreadable *words.LengthError
			errors.As(err, &unreadable)
			l.faults.Add(pointer+"/entered", "length_"+unreadable.Code)
			return fleet.UnknownQuantity()
		}
		return fleet.Q(m, in.Basis)
	}
	return fleet.Quantity{Value: in.Value, Basis: in.Basis}
}

// at takes over the faults of a text that another room has read.
func (l *reader) at(pointer string, err error) {
	for _, f := range fault.Of(err) {
		l.faults.Add(pointer, f.Code, f.Args...)
	}
}

// show writes a length for an actor, who reads in metres or in feet and inches.
func show(by identity.Actor, q fleet.Quantity) *length {
	out := &length{Value: q.Value, Basis: q.Basis}
	if q.Value != nil {
		out.Shown = words.FormatLength(*q.Value, words.Units(by.Units))
	}
	return out
}

// AsOfIn is what everything with two times takes.
type AsOfIn struct {
	EffectiveAt time.Time `query:"effective_at" doc:"What was true at the door at this instant; now if absent."`
	RecordedAt  time.Time `query:"recorded_at" doc:"As it was known here at this instant; now if absent."`
}

func (in AsOfIn) fleet() fleet.AsOf {
	return fleet.AsOf{Effective: in.EffectiveAt, Recorded: in.RecordedAt}
}

// versionOut is when something is true and since when it is known.
type versionOut struct {
	VersionID   uuid.UUID `json:"version_id" format:"uuid"`
	EffectiveAt time.Time `json:"effective_at" doc:"True at the door from this instant on."`
	RecordedAt  time.Time `json:"recorded_at" doc:"Known here since."`
	RecordedBy  uuid.UUID `json:"recorded_by" format:"uuid"`
	Reason      string    `json:"reason"`
}

func newVersionOut(v fleet.Version) versionOut {
	return versionOut{v.VersionID, v.EffectiveAt, v.RecordedAt, v.RecordedBy, v.Reason}
}

// IfMatchID is IfMatch for things whose versions have ids.
type IfMatchID struct {
	IfMatch string `header:"If-Match" maxLength:"80" doc:"The ETag of the version that the change was made from."`
}

func (m IfMatchID) version() (uuid.UUID, error) {
	if m.IfMatch == "" {
		return uuid.Nil, nil
	}
	id, err := uuid.Parse(strings.Trim(m.IfMatch, `"`))
	if err != nil || m.IfMatch != etagID(id) {
		return uuid.Nil, fault.New(fault.PreconditionFailed, "version_differs")
	}
	return id, nil
}

func etagID(version uuid.UUID) string { return `"` + version.String() + `"` }

// instantKey is the cursor of lists in the order of an instant.
type instantKey struct {
	At time.Time `json:"a"`
	ID uuid.UUID `json:"i"`
}

// printer writes texts in the actor's language and units.
func (a *API) printer(by identity.Actor) words.Printer {
	return a.Words.Printer(by.Language, words.Units(by.Units))
}

// text is one text in the actor's language.
func (a *API) text(by identity.Actor, key string, args ...any) string {
	return a.printer(by).T(key, args...)
}
