package fleet

import (
	"context"
	"fmt"
	"slices"
	"strings"
	"time"

	"github.com/google/uuid"

	"lintel.example/lintel/internal/duedate"
	"lintel.example/lintel/internal/fault"
	"lintel.example/lintel/internal/identity"
	"lintel.example/lintel/internal/rulebook"
	"lintel.example/lintel/internal/seal"
)

// Visit is one attendance at one site. It exists from the first piece that names it; its attendance may come later.
type Visit struct {
	CustomerID, SiteID, VisitID uuid.UUID
	Attendance                  *Attendance // nil until it has arrived
	Canonical                   []byte      // of the attendance
	SHA256                      [32]byte
	ReceivedAt                  time.Time
	RecordedBy                  uuid.UUID
	SignedAt                    *time.Time // on the device's clock; nil: not signed off
	SignedBy                    *uuid.UUID
	RecordSHA256                [32]byte // of the signed record
}

// Attendance is who came where, when and for which doors. The JSON names are the recorded form.
type Attendance struct {
	SiteID    uuid.UUID      `json:"site_id"`
	ArrivedAt time.Time      `json:"arrived_at"`
	People    []uuid.UUID    `json:"people"`
	Doors     []DoorsOfVisit `json:"doors"`
	Note      string         `json:"note"`
}

// DoorsOfVisit is a door that the visit is for and the work orders that it serves there.
type DoorsOfVisit struct {
	DoorID     uuid.UUID   `json:"door_id"`
	WorkOrders []uuid.UUID `json:"work_orders"`
}

// Entry is a piece of a visit at one door. It never changes once accepted; a correction is an entry that names
// the one it corrects, which then no longer counts.
type Entry struct {
	CustomerID, SiteID, DoorID, VisitID, EntryID uuid.UUID
	ObservedAt                                   time.Time // on the device's clock
	ReceivedAt                                   time.Time
	RecordedBy                                   uuid.UUID
	Canonical                                    []byte
	SHA256                                       [32]byte
	Body                                         EntryBody
	Signed                                       bool // the visit is signed off
}

// EntryBody is what an entry says: exactly the member that its kind names. The JSON names are the recorded form.
type EntryBody struct {
	DoorID       uuid.UUID          `json:"door_id"`
	Kind         string             `json:"kind"` // one of EntryKinds
	ObservedAt   time.Time          `json:"observed_at"`
	Corrects     *uuid.UUID         `json:"corrects,omitempty"`
	Because      string             `json:"because,omitempty"` // why it corrects
	Reading      *EntryReading      `json:"reading,omitempty"`
	ForceCourse  *EntryForceCourse  `json:"force_course,omitempty"`
	Positions    *EntryPositions    `json:"positions,omitempty"`
	WalkTest     *EntryWalkTest     `json:"walk_test,omitempty"`
	Photo        *EntryPhoto        `json:"photo,omitempty"`
	Settings     *EntrySettings     `json:"settings,omitempty"`
	Finding      *EntryFinding      `json:"finding,omitempty"`
	Securing     *EntrySecuring     `json:"securing,omitempty"`
	Mending      *EntryMending      `json:"mending,omitempty"`
	Conclusion   *EntryConclusion   `json:"conclusion,omitempty"`
	Note         *EntryNote         `json:"note,omitempty"`
	Part         *EntryPart         `json:"part,omitempty"`
	SafeWork     *EntrySafeWork     `json:"safe_work,omitempty"`
	LeftOut      *EntryLeftOut      `json:"left_out,omitempty"`
	Adjustment   *EntryAdjustment   `json:"adjustment,omitempty"`
	FunctionTest *EntryFunctionTest `json:"function_test,omitempty"`
	Decision     *EntryDecision     `json:"decision,omitempty"`
	Dismissal    *EntryDismissal    `json:"dismissal,omitempty"`
}

// EntryKinds are the kinds of entries. An entry says what it has to say in the member that its kind names.
func EntryKinds() []string {
	return []string{"safe_work", "reading", "force_course", "positions", "walk_test", "left_out", "photo", "settings", "finding", "securing", "adjustment", "mending", "part", "function_test", "decision", "dismissal", "note", "conclusion"}
}

// EntryReading is one thing read at the door, by its name in the rulebook.
type EntryReading struct {
	Name  string   `json:"name"`
	Value *float64 `json:"value,omitempty"` // in the unit that ends the name
	Yes   *bool    `json:"yes,omitempty"`
	Text  string   `json:"text,omitempty"` // of a company's question: a choice, or what was written
	// Question is the title of a company's question as it was asked: signed with the answer, so that nobody has to look up later what was asked.
	Question string `json:"question,omitempty"`
	Leaf     int    `json:"leaf,omitempty"` // 1 is the first leaf of the door's facts; 0: of the door as a whole
	Side     string `json:"side,omitempty"` // a, b; empty: of both
	// Uncertainty is the expanded uncertainty of Value (coverage factor k = 2), in its unit; nil when nobody states one.
	Uncertainty  *float64   `json:"uncertainty,omitempty"`
	InstrumentID *uuid.UUID `json:"instrument_id,omitempty"` // that it was read with
}

// EntryPhoto names a photo that arrives by itself, before or after.
type EntryPhoto struct {
	SHA256 seal.Hash `json:"sha256"`
	What   string    `json:"what"`
}

// EntrySettings is how a device was found or left.
type EntrySettings struct {
	ComponentID uuid.UUID   `json:"component_id"`
	Standing    string      `json:"standing"` // found, left
	Device      DeviceFacts `json:"device"`
}

// EntryFinding is what the inspector finds short. An unsafe one opens an out-of-service case.
type EntryFinding struct {
	Severity string      `json:"severity"` // unsafe, deficient, advisory
	What     string      `json:"what"`
	Rule     string      `json:"rule,omitempty"`     // of the rule pack
	Confirms *uuid.UUID  `json:"confirms,omitempty"` // the computed finding that it confirms
	Photos   []seal.Hash `json:"photos,omitempty"`
	// SafeUntil is the last day on which the door may stand so; after it, it is a danger. Deficient ones only.
	SafeUntil duedate.Day `json:"safe_until,omitzero"`
}

// EntrySecuring is how an unsafe door was secured, that people can still get out, and who was told.
type EntrySecuring struct {
	How        string `json:"how"` // operator_off, locked_open, barriered, locked, not_secured
	OtherExit  string `json:"other_exit,omitempty"`
	EgressKept *bool  `json:"egress_kept"` // people can still get out; must be answered
	ToldName   string `json:"told_name"`
	ToldRole   string `json:"told_role,omitempty"`
	Answer     string `json:"answer"` // acknowledged, refused, nobody_there
	Note       string `json:"note,omitempty"`
}

// EntryMending is that a finding was mended.
type EntryMending struct {
	FindingID uuid.UUID        `json:"finding_id"`
	What      string           `json:"what"`
	Photos    []seal.Hash      `json:"photos,omitempty"`
	Touched   []rulebook.Group `json:"touched,omitempty"` // what was touched by it; none: whatever can be read at a door
}

// EntryConclusion ends an inspection of a door.
type EntryConclusion struct {
	Result string `json:"result"` // passed, failed
	Note   string `json:"note,omitempty"`
}

// EntryNote is anything else in words.
type EntryNote struct {
	Text string `json:"text"`
}

// SignOff closes a visit: it lists every entry with its hash.
type SignOff struct {
	SignedAt  time.Time     `json:"signed_at"`
	LeftAt    time.Time     `json:"left_at"`
	Entries   []SignedEntry `json:"entries"`
	Statement string        `json:"statement"`
	Signature string        `json:"signature"` // strokes as an SVG path
	// DoneOrders are the work orders that are thereby done; nil: all that the attendance lists for doors with an entry.
	DoneOrders []uuid.UUID `json:"done_orders,omitzero"`
}

// SignedEntry is one line of a sign-off.
type SignedEntry struct {
	EntryID uuid.UUID `json:"entry_id"`
	SHA256  seal.Hash `json:"sha256"`
}

type visitRows interface {
	// VisitByID gives a visit with its attendance and signature as far as they have arrived.
	VisitByID(ctx context.Context, id uuid.UUID) (Visit, error)
	// LockVisit makes other transactions that write to the visit wait.
	LockVisit(ctx context.Context, id uuid.UUID) error
	VisitPage(ctx context.Context, q VisitQuery) ([]Visit, error)
	// InsertVisit answers false when the visit is there already.
	InsertVisit(ctx context.Context, v Visit) (bool, error)
	SetAttendance(ctx context.Context, v Visit) error
	// IsComputedFinding tells whether computation ever made a finding under the id, at whatever door.
	IsComputedFinding(ctx context.Context, id uuid.UUID) (bool, error)
	// PeopleAmong gives those of the ids that are people's.
	PeopleAmong(ctx context.Context, ids []uuid.UUID) ([]uuid.UUID, error)
	EntryByID(ctx context.Context, id uuid.UUID) (Entry, error)
	InsertEntry(ctx context.Context, e Entry) (bool, error)
	EntriesOfVisit(ctx context.Context, visitID uuid.UUID) ([]Entry, error)
	EntriesOfDoor(ctx context.Context, doorID uuid.UUID) ([]Entry, error)
	// InsertSignOff answers false when the visit is signed off already.
	InsertSignOff(ctx context.Context, s SignedRecord) (bool, error)
	SignOffOf(ctx context.Context, visitID uuid.UUID) (SignedRecord, error)
	InsertRecord(ctx context.Context, r Record) error
	// VisitRecord gives the canonical form of the signed record of a visit.
	VisitRecord(ctx context.Context, visitID uuid.UUID) ([]byte, error)
}

// SignedRecord is a sign-off as it was sent.
type SignedRecord struct {
	VisitID    uuid.UUID
	Canonical  []byte
	SHA256     [32]byte
	SignedAt   time.Time
	ReceivedAt time.Time
	SignedBy   uuid.UUID
	// RecordSHA256 is the hash of the signed record that the sign-off led to.
	RecordSHA256 [32]byte
}

// Record is a signed thing in its final form, kept for ever.
type Record struct {
	Kind       string // visit, report
	CustomerID uuid.UUID
	SiteID     uuid.UUID
	SubjectID  uuid.UUID
	Canonical  []byte
	SHA256     [32]byte
	RecordedAt time.Time
	RecordedBy uuid.UUID
}

// VisitQuery asks for visits, the newest first.
type VisitQuery struct {
	SiteID, DoorID uuid.UUID // zero for all
	WorkOrderID    uuid.UUID // zero for all: whose attendance lists the order
	Search         string    // part of the site's name, or of the name of whoever recorded it; or of a name of a door with entries, or its tag
	BeforeAt       time.Time
	BeforeID       uuid.UUID
	Limit          int
}

// farthestClock is how far a device's clock may be ahead. A piece from further ahead waits at the device: what follows from
// a door depends on the order of observation, and a clock that is hours ahead would outrun what is found meanwhile.
const farthestClock = 5 * time.Minute

// sealed gives the canonical form and the hash of what was sent.
func sealed(v any) (canonical []byte, hash [32]byte, err error) {
	canonical, h, err := seal.Marshal(v)
	return canonical, h, err
}

// PutVisit opens an attendance. The same again is success; another body under the id is a conflict that names
// the difference.
func (f *Fleet) PutVisit(ctx context.Context, by identity.Actor, id uuid.UUID, a Attendance) (saved Visit, created bool, err error) {
	tidy(&a.Note)
	a.ArrivedAt = a.ArrivedAt.UTC()
	var faults fault.List
	if len(a.People) < 1 || len(a.People) > 20 {
		faults.Add("/people", "count_out_of_range", "least", 1, "greatest", 20)
	} else if !slices.Contains(a.People, by.PersonID) {
		faults.Add("/people", "sender_not_present")
	}
	if len(a.Doors) < 1 || len(a.Doors) > 200 {
		faults.Add("/doors", "count_out_of_range", "least", 1, "greatest", 200)
	}
	f.checkClock(&faults, "/arrived_at", a.ArrivedAt)
	checkText(&faults, "/note", a.Note, 0, 2000)
	if err := faults.Err(); err != nil {
		return Visit{}, false, err
	}
	canonical, hash, err := sealed(a)
	if err != nil {
		return Visit{}, false, err
	}
	err = f.Store.InTx(ctx, by, func(ctx context.Context, tx Tx) error {
		if err := tx.LockVisit(ctx, id); err != nil {
			return err
		}
		site, err := tx.SiteByID(ctx, a.SiteID)
		if err != nil {
			return instead(err, fault.At("/site_id", "site_not_found"))
		}
		if err := checkAttendance(ctx, tx, a); err != nil {
			return err
		}
		v := Visit{CustomerID: site.CustomerID, SiteID: a.SiteID, VisitID: id, Attendance: &a, Canonical: canonical, SHA256: hash,
			ReceivedAt: f.Now(), RecordedBy: by.PersonID}
		if created, err = tx.InsertVisit(ctx, v); err != nil {
			return err
		}
		if created {
			saved = v
			return nil
		}
		present, err := tx.VisitByID(ctx, id)
		if err != nil {
			return err
		}
		switch {
		case present.SiteID != a.SiteID:
			return &fault.Error{Kind: fault.Conflict, Code: "visit_differs", Pointer: "/site_id"}
		case present.Attendance == nil: // pieces came first
			if err := checkSenders(ctx, tx, id, a.People); err != nil {
				return err
			}
			if err := tx.SetAttendance(ctx, v); err != nil {
				return err
			}
			created = true
		case present.SHA256 != hash:
			return differs("visit_differs", present.Canonical, canonical)
		}
		saved, err = tx.VisitByID(ctx, id)
		return err
	})
	return saved, created, err
}

// checkSenders asks that everybody who has sent pieces before the attendance is among those who came.
func checkSenders(ctx context.Context, tx Tx, visitID uuid.UUID, people []uuid.UUID) error {
	entries, err := tx.EntriesOfVisit(ctx, visitID)
	if err != nil {
		return err
	}
	for _, e := range entries {
		if slices.Contains(people, e.RecordedBy) {
			continue
		}
		card, err := tx.PersonCard(ctx, e.RecordedBy)
		if err != nil {
			return err
		}
		return fault.At("/people", "somebody_missing", "name", card.Name)
	}
	return nil
}

// checkAttendance holds the people of an attendance against those who are known, its doors against its site, and the work
// orders against their doors.
func checkAttendance(ctx context.Context, tx Tx, a Attendance) error {
	var faults fault.List
	known, err := tx.PeopleAmong(ctx, a.People)
	if err != nil {
		return err
	}
	for i, id := range a.People {
		at := fmt.Sprintf("/people/%d", i)
		switch {
		case slices.Contains(a.People[:i], id):
			faults.Add(at, "named_twice")
		case !slices.Contains(known, id):
			faults.Add(at, "person_not_found")
		}
	}
	for i, d := range a.Doors {
		at := fmt.Sprintf("/doors/%d", i)
		if slices.ContainsFunc(a.Doors[:i], func(before DoorsOfVisit) bool { return before.DoorID == d.DoorID }) {
			faults.Add(at+"/door_id", "named_twice")
			continue
		}
		door, err := tx.DoorByID(ctx, d.DoorID, AsOf{})
		if err != nil && !fault.Is(err, "door_not_found") {
			return err
		}
		if err != nil || door.SiteID != a.SiteID {
			faults.Add(at+"/door_id", "door_of_other_site")
			continue
		}
		for j, id := range d.WorkOrders {
			order, err := tx.WorkOrderByID(ctx, id)
			if err != nil && !fault.Is(err, "work_order_not_found") {
				return err
			}
			if err != nil || order.DoorID != d.DoorID {
				faults.Add(fmt.Sprintf("%s/work_orders/%d", at, j), "work_order_of_other_door")
			}
		}
	}
	return faults.Err()
}

// instead answers with a fault of the body where something that the body names is not there. Any other error stays
// what it is: that the database is away must not look like a fault of what was sent.
func instead(err error, of *fault.Error) error {
	for _, f := range fault.Of(err) {
		if f.Kind == fault.NotFound {
			return of.Because(err)
		}
	}
	return err
}

// checkClock holds an instant by a device's clock against what can be.
func (f *Fleet) checkClock(faults *fault.List, pointer string, at time.Time) {
	if at.After(f.Now().Add(farthestClock)) {
		faults.Add(pointer, "clock_ahead")
		return
	}
	f.checkDay(faults, pointer, duedate.DayIn(at, time.UTC)) // the zero instant too: there is always a clock
}

// differs is the conflict of two bodies under one id, with the pointer of the first difference.
func differs(code string, present, sent []byte) error {
	pointer, _ := seal.Difference(present, sent)
	return &fault.Error{Kind: fault.Conflict, Code: code, Pointer: pointer}
}

// PutEntry appends a piece to a visit and draws its consequences in the same transaction.
func (f *Fleet) PutEntry(ctx context.Context, by identity.Actor, visitID, entryID uuid.UUID, body EntryBody) (saved Entry, created bool, err error) {
	body.tidy()
	if err := f.checkEntry(entryID, body); err != nil {
		return Entry{}, false, err
	}
	canonical, hash, err := sealed(body)
	if err != nil {
		return Entry{}, false, err
	}
	err = f.Store.InTx(ctx, by, func(ctx context.Context, tx Tx) error {
		saved, created = Entry{}, false
		if err := tx.LockVisit(ctx, visitID); err != nil {
			return err
		}
		door, err := tx.DoorByID(ctx, body.DoorID, AsOf{})
		if err != nil {
			return instead(err, fault.At("/door_id", "door_not_found"))
		}
		if err := tx.LockDoor(ctx, door.DoorID); err != nil {
			return err
		}
		present, err := tx.EntryByID(ctx, entryID)
		switch {
		case err == nil && present.VisitID == visitID && present.SHA256 == hash:
			saved = present
			return nil
		case err == nil && present.VisitID != visitID:
			return fault.New(fault.Conflict, "entry_of_other_visit")
		case err == nil:
			return differs("entry_differs", present.Canonical, canonical)
		case !fault.Is(err, "entry_not_found"):
			return err
		}
		if err := f.checkQuestion(ctx, tx, body); err != nil {
			return err
		}
		taken, err := tx.IsComputedFinding(ctx, entryID)
		if err != nil {
			return err
		}
		if taken { // what an entry finds is kept under its id
			return fault.New(fault.Conflict, "entry_id_taken")
		}
		saved = Entry{CustomerID: door.CustomerID, SiteID: door.SiteID, DoorID: door.DoorID, VisitID: visitID, EntryID: entryID,
			ObservedAt: body.ObservedAt, ReceivedAt: f.Now(), RecordedBy: by.PersonID, Canonical: canonical, SHA256: hash, Body: body}
		created = true
		return f.acceptEntry(ctx, tx, by, door, saved)
	})
	return saved, created, err
}

func (f *Fleet) acceptEntry(ctx context.Context, tx Tx, by identity.Actor, door Door, e Entry) error {
	site, err := tx.SiteByID(ctx, door.SiteID)
	if err != nil {
		return err
	}
	if duedate.DayIn(e.ObservedAt, site.Location()).Before(door.KnownSince) {
		return fault.At("/observed_at", "before_the_door", "day", door.KnownSince.String())
	}
	visit := Visit{CustomerID: door.CustomerID, SiteID: door.SiteID, VisitID: e.VisitID, ReceivedAt: f.Now(), RecordedBy: by.PersonID}
	isNew, err := tx.InsertVisit(ctx, visit)
	if err != nil {
		return err
	}
	if !isNew {
		if visit, err = tx.VisitByID(ctx, e.VisitID); err != nil {
			return err
		}
	}
	switch {
	case visit.SiteID != door.SiteID:
		return fault.At("/door_id", "door_of_other_site")
	case visit.SignedAt != nil:
		return fault.New(fault.Conflict, "visit_signed")
	case visit.Attendance != nil && !slices.Contains(visit.Attendance.People, by.PersonID):
		return fault.New(fault.Forbidden, "not_present")
	}
	if err := checkGauged(ctx, tx, door, e); err != nil {
		return err
	}
	if l := e.Body.LeftOut; l != nil && l.Leaf > len(door.Facts.Leaves) {
		return fault.At("/left_out/leaf", "leaf_not_of_door", "leaves", len(door.Facts.Leaves))
	}
	if err := checkNamed(ctx, tx, e); err != nil {
		return err
	}
	if err := checkLife(ctx, tx, site, e); err != nil {
		return err
	}
	if e.Body.Part != nil {
		if err := checkPart(ctx, tx, door, e); err != nil {
			return err
		}
	}
	if err := f.keepSeries(ctx, tx, e); err != nil {
		return err
	}
	inserted, err := tx.InsertEntry(ctx, e)
	if err != nil {
		return err
	}
	if !inserted { // under another visit, which is not locked here, in this very moment
		return fault.New(fault.Conflict, "entry_of_other_visit")
	}
	if err := f.followEntry(ctx, tx, by, e); err != nil {
		return err
	}
	if e.Body.movesTrends() {
		if err := f.settleTrends(ctx, tx, e.DoorID); err != nil {
			return err
		}
	}
	if !e.Body.decides() {
		return nil
	}
	return f.settleDoor(ctx, tx, by, e.DoorID)
}

// checkNamed holds what an entry names against the door that it is about. Entries that it names may still be on
// their way.
func checkNamed(ctx context.Context, tx Tx, e Entry) error {
	if c := e.Body.Corrects; c != nil {
		corrected, err := tx.EntryByID(ctx, *c)
		if err == nil && corrected.DoorID != e.DoorID {
			return fault.At("/corrects", "entry_of_other_door")
		}
		if err == nil && e.Body.Part != nil && corrected.Body.Part == nil {
			return fault.At("/corrects", "part_corrects_part")
		}
		if err == nil && !after(corrected, e) {
			return fault.At("/corrects", "corrects_later_entry")
		}
		if err != nil && !fault.Is(err, "entry_not_found") {
			return err
		}
	}
	if s := e.Body.Settings; s != nil {
		component, err := tx.ComponentByID(ctx, s.ComponentID, AsOf{})
		if err != nil {
			return instead(err, fault.At("/settings/component_id", "component_not_on_door"))
		}
		if component.DoorID != e.DoorID {
			return fault.At("/settings/component_id", "component_not_on_door")
		}
	}
	if w := e.Body.WalkTest; w != nil {
		component, err := tx.ComponentByID(ctx, w.ComponentID, AsOf{})
		if err != nil {
			return instead(err, fault.At("/walk_test/component_id", "component_not_on_door"))
		}
		if component.DoorID != e.DoorID {
			return fault.At("/walk_test/component_id", "component_not_on_door")
		}
	}
	if said := e.Body.Finding; said != nil && said.Confirms != nil {
		is, err := tx.ComputedFindingExists(ctx, e.DoorID, *said.Confirms)
		if err != nil {
			return err
		}
		if !is {
			return fault.At("/finding/confirms", "finding_not_computed")
		}
	}
	return nil
}

// followEntry writes the revision that settings are and the fitting that a part is, and recomputes where one may have been corrected, or a walk
// test may say that a device watches something else than it did.
func (f *Fleet) followEntry(ctx context.Context, tx Tx, by identity.Actor, e Entry) error {
	if e.Body.Part != nil {
		return f.followPart(ctx, tx, by, e)
	}
	if s := e.Body.Settings; s != nil {
		_, _, err := f.insertRevision(ctx, tx, by, Revision{ComponentID: s.ComponentID, RevisionID: e.EntryID, Standing: s.Standing,
			EffectiveAt: e.ObservedAt, Reason: "visit", VisitID: &e.VisitID, SHA256: e.SHA256, Device: s.Device})
		return err
	}
	if e.Body.Corrects != nil || e.Body.WalkTest != nil {
		return f.recompute(ctx, tx, by, e.DoorID)
	}
	return nil
}

// decides tells whether findings, cases, work orders or due dates may follow from the entry.
func (b EntryBody) decides() bool {
	return b.Corrects != nil || b.Finding != nil || b.Securing != nil || b.Mending != nil || b.Conclusion != nil || b.Decision != nil || b.Dismissal != nil
}

// tidy brings the texts of an entry into one form. What it changes it copies first: the caller may be sending the same
// body elsewhere at this moment.
func (b *EntryBody) tidy() {
	b.ObservedAt = b.ObservedAt.UTC()
	tidy(&b.Because)
	switch {
	case b.Reading != nil:
		b.Reading = copied(b.Reading)
		tidy(&b.Reading.Text)
	case b.ForceCourse != nil: // what is worked out is written into it
		b.ForceCourse = copied(b.ForceCourse)
	case b.Positions != nil:
		b.Positions = copied(b.Positions)
		tidy(&b.Positions.Body)
	case b.Photo != nil:
		b.Photo = copied(b.Photo)
		tidy(&b.Photo.What)
	case b.Finding != nil:
		b.Finding = copied(b.Finding)
		tidy(&b.Finding.What)
	case b.Securing != nil:
		b.Securing = copied(b.Securing)
		tidy(&b.Securing.OtherExit)
		tidy(&b.Securing.ToldName)
		tidy(&b.Securing.ToldRole)
		tidy(&b.Securing.Note)
	case b.Mending != nil:
		b.Mending = copied(b.Mending)
		tidy(&b.Mending.What)
	case b.Conclusion != nil:
		b.Conclusion = copied(b.Conclusion)
		tidy(&b.Conclusion.Note)
	case b.Note != nil:
		b.Note = copied(b.Note)
		tidy(&b.Note.Text)
	case b.Part != nil:
		b.Part = copied(b.Part)
		b.Part.tidy()
	case b.SafeWork != nil:
		b.SafeWork = copied(b.SafeWork)
		b.SafeWork.tidy()
	case b.LeftOut != nil:
		b.LeftOut = copied(b.LeftOut)
		tidy(&b.LeftOut.Why)
	case b.Adjustment != nil:
		b.Adjustment = copied(b.Adjustment)
		tidy(&b.Adjustment.What)
	case b.FunctionTest != nil:
		b.FunctionTest = copied(b.FunctionTest)
		tidy(&b.FunctionTest.Note)
	case b.Decision != nil:
		b.Decision = copied(b.Decision)
		b.Decision.tidy()
	case b.Dismissal != nil:
		b.Dismissal = copied(b.Dismissal)
		tidy(&b.Dismissal.Reason)
	}
}

func copied[T any](v *T) *T { c := *v; return &c }

// checkEntry holds an entry against what can be, and works out what is sealed with a record of a gauge.
func (f *Fleet) checkEntry(id uuid.UUID, b EntryBody) error {
	var faults fault.List
	f.checkClock(&faults, "/observed_at", b.ObservedAt)
	switch {
	case b.Corrects == nil && b.Because != "":
		faults.Add("/because", "corrects_nothing")
	case b.Corrects != nil && *b.Corrects == id:
		faults.Add("/corrects", "corrects_itself")
	case b.Corrects != nil:
		checkText(&faults, "/because", b.Because, 1, 500)
	}
	said := map[string]bool{"reading": b.Reading != nil, "photo": b.Photo != nil, "settings": b.Settings != nil, "finding": b.Finding != nil,
		"securing": b.Securing != nil, "mending": b.Mending != nil, "conclusion": b.Conclusion != nil, "note": b.Note != nil, "part": b.Part != nil,
		"safe_work": b.SafeWork != nil, "left_out": b.LeftOut != nil, "adjustment": b.Adjustment != nil, "function_test": b.FunctionTest != nil,
		"decision": b.Decision != nil, "dismissal": b.Dismissal != nil, "force_course": b.ForceCourse != nil, "positions": b.Positions != nil, "walk_test": b.WalkTest != nil}
	known := false
	for kind, is := range said {
		if kind == b.Kind {
			known = true
			if !is {
				faults.Add("/"+kind, "member_of_kind_missing", "kind", kind)
			}
		} else if is {
			faults.Add("/"+kind, "member_of_other_kind", "kind", b.Kind)
		}
	}
	if !known {
		faults.Add("/kind", "word_unknown", "word", b.Kind, "allowed", strings.Join(EntryKinds(), ", "))
	}
	if err := faults.Err(); err != nil {
		return err
	}
	switch b.Kind {
	case "reading":
		f.checkReading(&faults, *b.Reading)
	case "force_course":
		b.ForceCourse.workOut(&faults)
	case "positions":
		b.Positions.workOut(&faults)
	case "walk_test":
		b.WalkTest.check(&faults, "/walk_test")
	case "photo":
		checkText(&faults, "/photo/what", b.Photo.What, 0, 300)
	case "settings":
		checkOneOf(&faults, "/settings/standing", b.Settings.Standing, "found", "left")
		b.Settings.Device.check(&faults, "/settings/device")
	case "finding":
		checkOneOf(&faults, "/finding/severity", b.Finding.Severity, "unsafe", "deficient", "advisory")
		checkText(&faults, "/finding/what", b.Finding.What, 1, 2000)
		checkText(&faults, "/finding/rule", b.Finding.Rule, 0, 120)
		if len(b.Finding.Photos) > 20 {
			faults.Add("/finding/photos", "too_many", "most", 20)
		}
		f.checkDay(&faults, "/finding/safe_until", b.Finding.SafeUntil)
		if b.Finding.Severity != "deficient" && !b.Finding.SafeUntil.IsZero() {
			faults.Add("/finding/safe_until", "safe_until_of_deficient")
		}
	case "securing":
		checkSecuring(&faults, *b.Securing)
	case "mending":
		checkText(&faults, "/mending/what", b.Mending.What, 1, 2000)
		if len(b.Mending.Photos) > 20 {
			faults.Add("/mending/photos", "too_many", "most", 20)
		}
		checkTouched(&faults, "/mending/touched", b.Mending.Touched)
	case "conclusion":
		checkOneOf(&faults, "/conclusion/result", b.Conclusion.Result, "passed", "failed")
		checkText(&faults, "/conclusion/note", b.Conclusion.Note, 0, 2000)
	case "note":
		checkText(&faults, "/note/text", b.Note.Text, 1, 4000)
	case "part":
		b.Part.check(&faults)
	case "safe_work":
		b.SafeWork.check(&faults)
	case "left_out":
		b.LeftOut.check(&faults)
	case "adjustment":
		checkText(&faults, "/adjustment/what", b.Adjustment.What, 1, 2000)
		checkTouched(&faults, "/adjustment/touched", b.Adjustment.Touched)
	case "function_test":
		b.FunctionTest.check(&faults)
	case "decision":
		f.checkDecision(&faults, *b.Decision)
	case "dismissal":
		checkText(&faults, "/dismissal/reason", b.Dismissal.Reason, 1, 2000)
	}
	return faults.Err()
}

func checkSecuring(faults *fault.List, s EntrySecuring) {
	checkOneOf(faults, "/securing/how", s.How, "operator_off", "locked_open", "barriered", "locked", "not_secured")
	checkOneOf(faults, "/securing/answer", s.Answer, "acknowledged", "refused", "nobody_there")
	checkLine(faults, "/securing/told_name", s.ToldName, 0, 200)
	checkLine(faults, "/securing/told_role", s.ToldRole, 0, 100)
	checkText(faults, "/securing/other_exit", s.OtherExit, 0, 300)
	checkText(faults, "/securing/note", s.Note, 0, 2000)
	if s.EgressKept == nil {
		faults.Add("/securing/egress_kept", "must_be_answered")
	} else if s.How != "not_secured" && !*s.EgressKept {
		faults.Add("/securing/egress_kept", "nobody_locked_in")
	}
	if s.How == "locked" && s.OtherExit == "" {
		faults.Add("/securing/other_exit", "other_exit_missing")
	}
	if s.Answer != "nobody_there" && s.ToldName == "" {
		faults.Add("/securing/told_name", "text_missing")
	}
}

// Photos lists the photos that an entry names.
func (b EntryBody) Photos() []seal.Hash {
	switch {
	case b.Photo != nil:
		return []seal.Hash{b.Photo.SHA256}
	case b.Finding != nil:
		return b.Finding.Photos
	case b.Mending != nil:
		return b.Mending.Photos
	}
	return nil
}

// Visit gives one visit with its entries in the order of their observation.
func (f *Fleet) Visit(ctx context.Context, by identity.Actor, id uuid.UUID) (v Visit, entries []Entry, err error) {
	err = f.Store.InTxReadOnly(ctx, by, func(ctx context.Context, tx Tx) error {
		if v, err = tx.VisitByID(ctx, id); err != nil {
			return err
		}
		entries, err = tx.EntriesOfVisit(ctx, id)
		return err
	})
	return v, entries, err
}

// Visits lists visits, the newest first.
func (f *Fleet) Visits(ctx context.Context, by identity.Actor, q VisitQuery) (list []Visit, err error) {
	err = f.Store.InTxReadOnly(ctx, by, func(ctx context.Context, tx Tx) error {
		list, err = tx.VisitPage(ctx, q)
		return err
	})
	return list, err
}
