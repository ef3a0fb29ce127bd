package fleet

import (
	"context"
	"encoding/json"
	"fmt"
	"slices"
	"strings"
	"sync"
	"time"

	"github.com/google/uuid"

	"lintel.example/lintel/internal/duedate"
	"lintel.example/lintel/internal/fault"
	"lintel.example/lintel/internal/identity"
	"lintel.example/lintel/internal/rulebook"
	"lintel.example/lintel/internal/seal"
)

// VisitRecordFormat names the shape of the signed record of a visit.
const VisitRecordFormat = "lintel-visit/1"

// visitRecord is the signed record of a visit: everything that was sent, as it was sent, and what the rules said
// of it then.
type visitRecord struct {
	Format     string          `json:"format"`
	VisitID    uuid.UUID       `json:"visit_id"`
	CustomerID uuid.UUID       `json:"customer_id"`
	Attendance json.RawMessage `json:"attendance"`
	Entries    []recordedEntry `json:"entries"`
	SignOff    json.RawMessage `json:"sign_off"`
	SignedBy   uuid.UUID       `json:"signed_by"`
	ReceivedAt string          `json:"received_at"`
	Judged     []judgedDoor    `json:"judged"`
	// Qualifications are the certificates by which the inspections were signed; absent where no door was concluded.
	Qualifications []signedUnder `json:"qualifications,omitempty"`
	// Instruments are those that readings name, as they were on the day.
	Instruments []usedInstrument `json:"instruments,omitempty"`
}

type recordedEntry struct {
	EntryID    uuid.UUID       `json:"entry_id"`
	SHA256     seal.Hash       `json:"sha256"`
	RecordedBy uuid.UUID       `json:"recorded_by"`
	ReceivedAt string          `json:"received_at"`
	Entry      json.RawMessage `json:"entry"`
}

// judgedDoor is what one rule pack said of the readings of the visit at a door. A door has one of its rule basis, and one of each
// pack that judges beside it.
type judgedDoor struct {
	DoorID     uuid.UUID          `json:"door_id"`
	Pack       string             `json:"pack"`
	Beside     rulebook.Role      `json:"beside,omitempty"` // law, company; absent: the rule basis
	PackDigest string             `json:"pack_digest"`
	Verdicts   []rulebook.Verdict `json:"verdicts"`

	facts DoorFacts      // of the door when it was concluded
	rules *rulebook.Pack // the pack itself; nil when nothing is known of it any more
}

// PutSignOff closes a visit. It is refused until everything that it lists has arrived, and it writes the signed
// record. The same again is success.
func (f *Fleet) PutSignOff(ctx context.Context, by identity.Actor, visitID uuid.UUID, s SignOff) (saved Visit, created bool, err error) {
	s.SignedAt, s.LeftAt = s.SignedAt.UTC(), s.LeftAt.UTC()
	tidy(&s.Statement)
	if err := f.checkSignOff(s); err != nil {
		return Visit{}, false, err
	}
	s.Entries = slices.SortedFunc(slices.Values(s.Entries), func(a, b SignedEntry) int { return strings.Compare(a.EntryID.String(), b.EntryID.String()) })
	canonical, hash, err := sealed(s)
	if err != nil {
		return Visit{}, false, err
	}
	err = f.Store.InTx(ctx, by, func(ctx context.Context, tx Tx) error {
		saved, created = Visit{}, false
		if err := tx.LockVisit(ctx, visitID); err != nil {
			return err
		}
		v, err := tx.VisitByID(ctx, visitID)
		if fault.Is(err, "visit_not_found") { // nothing has arrived yet: as good as any part missing
			return fault.New(fault.Conflict, "attendance_missing").Because(err)
		}
		if err != nil {
			return err
		}
		if v.SignedAt != nil {
			present, err := tx.SignOffOf(ctx, visitID)
			if err != nil {
				return err
			}
			if present.SHA256 != hash {
				return differs("sign_off_differs", present.Canonical, canonical)
			}
			saved = v
			return nil
		}
		created = true
		signed := SignedRecord{VisitID: visitID, Canonical: canonical, SHA256: hash, SignedAt: s.SignedAt, ReceivedAt: f.Now(), SignedBy: by.PersonID}
		if err := f.signOff(ctx, tx, by, v, s, signed); err != nil {
			return err
		}
		saved, err = tx.VisitByID(ctx, visitID)
		return err
	})
	return saved, created, err
}

func (f *Fleet) checkSignOff(s SignOff) error {
	var faults fault.List
	f.checkClock(&faults, "/signed_at", s.SignedAt)
	f.checkClock(&faults, "/left_at", s.LeftAt)
	if len(s.Entries) < 1 || len(s.Entries) > 5000 {
		faults.Add("/entries", "count_out_of_range", "least", 1, "greatest", 5000)
	}
	listed := map[uuid.UUID]bool{}
	for i, e := range s.Entries {
		if listed[e.EntryID] {
			faults.Add(fmt.Sprintf("/entries/%d/entry_id", i), "entry_twice")
		}
		listed[e.EntryID] = true
	}
	for i, id := range s.DoneOrders {
		if slices.Contains(s.DoneOrders[:i], id) {
			faults.Add(fmt.Sprintf("/done_orders/%d", i), "order_twice")
		}
	}
	checkText(&faults, "/statement", s.Statement, 1, 2000)
	checkText(&faults, "/signature", s.Signature, 1, 50000)
	return faults.Err()
}

func (f *Fleet) signOff(ctx context.Context, tx Tx, by identity.Actor, v Visit, s SignOff, signed SignedRecord) error {
	if v.Attendance == nil {
		return fault.New(fault.Conflict, "attendance_missing")
	}
	if !slices.Contains(v.Attendance.People, by.PersonID) {
		return fault.New(fault.Forbidden, "signer_not_present")
	}
	if s.LeftAt.Before(v.Attendance.ArrivedAt) {
		return fault.At("/left_at", "left_before_arrival")
	}
	site, err := tx.SiteByID(ctx, v.SiteID)
	if err != nil {
		return err
	}
	entries, err := tx.EntriesOfVisit(ctx, v.VisitID)
	if err != nil {
		return err
	}
	if err := checkList(entries, s.Entries); err != nil {
		return err
	}
	if err := photosHere(ctx, tx, entries); err != nil {
		return err
	}
	done, err := doneOrders(ctx, tx, v, s, entries)
	if err != nil {
		return err
	}
	doors := doorsOf(entries)
	touched := alsoOf(doors, done)
	for _, d := range touched { // in the order of their ids, so that two sign-offs cannot wait for each other
		if err := tx.LockDoor(ctx, d); err != nil {
			return err
		}
	}
	used, err := instrumentsOf(ctx, tx, site.Location(), entries)
	if err != nil {
		return err
	}
	judged, err := f.judgeVisit(ctx, tx, site, doors, used.stated(entries))
	if err != nil {
		return err
	}
	under, err := f.certified(ctx, tx, by, entries, judged, site.Location())
	if err != nil {
		return err
	}
	if err := checkInspected(doors, entries, judged, used); err != nil {
		return err
	}
	if err := checkConclusions(doors, entries, judged); err != nil {
		return err
	}
	record, err := newVisitRecord(v, entries, signed, judged, under, used.list())
	if err != nil {
		return err
	}
	signed.RecordSHA256 = record.SHA256
	if _, err := tx.InsertSignOff(ctx, signed); err != nil {
		return err
	}
	if err := tx.InsertRecord(ctx, record); err != nil {
		return err
	}
	if err := f.signDone(ctx, tx, v, s, signed, site, done); err != nil {
		return err
	}
	for _, d := range touched {
		if err := f.settleDoor(ctx, tx, by, d); err != nil {
			return err
		}
		if err := f.settleTrends(ctx, tx, d); err != nil {
			return err
		}
	}
	return f.noticeOddities(ctx, tx, v.VisitID, entries)
}

// checkList holds what the signer lists against what has arrived.
func checkList(entries []Entry, listed []SignedEntry) error {
	here := map[uuid.UUID][32]byte{}
	for _, e := range entries {
		here[e.EntryID] = e.SHA256
	}
	var missing, other []string
	for _, l := range listed {
		hash, ok := here[l.EntryID]
		switch {
		case !ok:
			missing = append(missing, l.SHA256.String())
		case hash != l.SHA256:
			other = append(other, l.EntryID.String())
		}
		delete(here, l.EntryID)
	}
	switch {
	case len(missing) > 0:
		return fault.New(fault.Conflict, "entries_missing", "count", len(missing), "hashes", some(missing))
	case len(other) > 0:
		return fault.New(fault.Conflict, "entries_differ", "count", len(other), "entries", some(other))
	case len(here) > 0:
		var unlisted []string
		for id := range here {
			unlisted = append(unlisted, id.String())
		}
		slices.Sort(unlisted)
		return fault.New(fault.Conflict, "entries_unlisted", "count", len(unlisted), "entries", some(unlisted))
	}
	return nil
}

// some names the first of many, enough to begin with.
func some(names []string) string {
	if most := 50; len(names) > most {
		return strings.Join(names[:most], " ") + " …"
	}
	return strings.Join(names, " ")
}

// photosHere refuses to sign for a photo whose bytes have not arrived.
func photosHere(ctx context.Context, tx Tx, entries []Entry) error {
	var named []seal.Hash
	for _, e := range entries {
		named = append(named, e.Body.Photos()...)
	}
	missing, err := tx.PhotosMissing(ctx, named)
	if err != nil || len(missing) == 0 {
		return err
	}
	texts := make([]string, len(missing))
	for i, h := range missing {
		texts[i] = h.String()
	}
	return fault.New(fault.Conflict, "photos_missing", "count", len(texts), "hashes", some(texts))
}

func doorsOf(entries []Entry) []uuid.UUID {
	var doors []uuid.UUID
	for _, e := range entries {
		doors = append(doors, e.DoorID)
	}
	return sortedOnce(doors)
}

// alsoOf adds the doors of work orders.
func alsoOf(doors []uuid.UUID, orders []WorkOrder) []uuid.UUID {
	all := slices.Clone(doors)
	for _, o := range orders {
		all = append(all, o.DoorID)
	}
	return sortedOnce(all)
}

func sortedOnce(ids []uuid.UUID) []uuid.UUID {
	slices.SortFunc(ids, func(a, b uuid.UUID) int { return strings.Compare(a.String(), b.String()) })
	return slices.Compact(ids)
}

// judgeVisit holds the readings of a visit against the rules of each door that was concluded.
func (f *Fleet) judgeVisit(ctx context.Context, tx Tx, site Site, doors []uuid.UUID, entries []Entry) ([]judgedDoor, error) {
	judged := []judgedDoor{}
	for _, id := range doors {
		conclusion, ok, err := conclusionOf(id, entries)
		if err != nil {
			return nil, err
		}
		if !ok {
			continue
		}
		door, err := doorThen(ctx, tx, id, AsOf{Effective: conclusion.ObservedAt})
		if err != nil {
			return nil, err
		}
		packs, err := f.packsOf(ctx, tx, door.Facts, site, duedate.DayIn(conclusion.ObservedAt, site.Location()))
		if err != nil {
			return nil, err
		}
		facts, readings := inspectedFacts(door.Facts), readingsOf(id, conclusion, entries)
		for _, pack := range packs {
			one := judgeBy(pack, id, facts, readings)
			one.facts = door.Facts
			judged = append(judged, one)
		}
	}
	return judged, nil
}

// judgeBy is what one pack says of a door.
func judgeBy(pack *rulebook.Pack, door uuid.UUID, facts rulebook.Facts, readings []rulebook.Used) judgedDoor {
	one := judgedDoor{DoorID: door, rules: pack, Pack: pack.ID, PackDigest: pack.Digest, Verdicts: pack.Judge(facts, readings)}
	if pack.Role == rulebook.Law || pack.Role == rulebook.Company { // of these, what they ask of this door
		one.Beside = pack.Role
		one.Verdicts = slices.DeleteFunc(one.Verdicts, func(v rulebook.Verdict) bool { return v.Outcome == rulebook.NotApplicable })
	}
	return one
}

// packsOf gives the packs that judge an inspection of a door on a day: first its rule basis, one without any rule while none is
// recorded; then the law of the site's jurisdiction; then what the company asks itself.
func (f *Fleet) packsOf(ctx context.Context, tx Tx, d DoorFacts, site Site, day duedate.Day) ([]*rulebook.Pack, error) {
	basis, err := f.basisOf(d)
	if err != nil {
		return nil, err
	}
	year, _, _ := day.Date()
	packs := append([]*rulebook.Pack{basis}, f.Book.LawsAt(site.Jurisdiction, year, rulebook.DoorKind(d.Kind), rulebook.Energy(d.Energy))...)
	own, err := f.companyPacksFor(ctx, tx, d, site.Jurisdiction, day)
	return append(packs, own...), err
}

// doorThen gives a door as it was at an instant, by what was recorded until another; before its first recorded facts, as
// it was first known.
func doorThen(ctx context.Context, tx Tx, id uuid.UUID, then AsOf) (Door, error) {
	door, err := tx.DoorByID(ctx, id, then)
	if !fault.Is(err, "door_not_found") {
		return door, err
	}
	versions, unread := tx.DoorVersions(ctx, id)
	if unread != nil {
		return Door{}, unread
	}
	versions = slices.DeleteFunc(versions, func(v Version) bool { return !then.Recorded.IsZero() && v.RecordedAt.After(then.Recorded) })
	if len(versions) == 0 {
		return Door{}, err
	}
	return tx.DoorByID(ctx, id, AsOf{Effective: versions[len(versions)-1].EffectiveAt, Recorded: then.Recorded})
}

// conclusionOf gives the conclusion of a door in this visit. There is at most one that counts: each that counts is
// held against the readings, and what no reading was held against must not end anything.
func conclusionOf(door uuid.UUID, entries []Entry) (one Entry, found bool, err error) {
	for _, e := range live(entries) {
		if e.DoorID != door || e.Body.Conclusion == nil {
			continue
		}
		if found {
			return Entry{}, false, fault.New(fault.Conflict, "concluded_twice", "one", one.EntryID.String(), "other", e.EntryID.String())
		}
		one, found = e, true
	}
	return one, found, nil
}

// readingsOf gives what was read at a door until the conclusion. What is measured again at the same place replaces what
// was found only when something was changed between: else both count, and the worst stands.
func readingsOf(door uuid.UUID, conclusion Entry, entries []Entry) []rulebook.Used {
	type taken struct {
		rulebook.Used
		changes int // how often something had been changed before
	}
	var readings []taken
	changes := 0
	for _, e := range live(entries) {
		if e.DoorID != door || e.ObservedAt.After(conclusion.ObservedAt) {
			continue
		}
		if e.Body.changesDoor() {
			changes++
		}
		for _, r := range e.Body.Readings() {
			u := r.used()
			readings = slices.DeleteFunc(readings, func(t taken) bool { return t.Name == u.Name && t.Place == u.Place && t.changes < changes })
			readings = append(readings, taken{u, changes})
		}
	}
	list := make([]rulebook.Used, len(readings))
	for i, t := range readings {
		list[i] = t.Used
	}
	return list
}

// unitOfReading gives the unit that each reading is typed in.
var unitOfReading = sync.OnceValue(func() map[string]string {
	unit := map[string]string{}
	for _, k := range rulebook.Readings() {
		unit[k.Name] = k.Unit
	}
	return unit
})

// checkConclusions refuses "passed" where the visit's own entries say otherwise. Only this visit is looked at:
// what other visits say may arrive later, and must not decide differently by the order of arrival.
func checkConclusions(doors []uuid.UUID, entries []Entry, judged []judgedDoor) error {
	for _, id := range doors {
		conclusion, ok, err := conclusionOf(id, entries)
		if err != nil {
			return err
		}
		if !ok || conclusion.Body.Conclusion.Result != "passed" {
			continue
		}
		if refused := passedWanting(conclusion, entries, judged); len(refused) > 0 {
			return refused[0]
		}
	}
	return nil
}

// passedWanting gives why a door cannot be called passed: what is unsafe, and then what each pack says.
func passedWanting(conclusion Entry, entries []Entry, judged []judgedDoor) (refused []error) {
	until := slices.DeleteFunc(slices.Clone(entries), func(e Entry) bool { return e.ObservedAt.After(conclusion.ObservedAt) })
	for _, e := range openUnsafe(until) { // what is mended or corrected afterwards was open when it passed
		if e.DoorID == conclusion.DoorID {
			refused = append(refused, fault.New(fault.Conflict, "passed_while_unsafe", "finding", e.EntryID.String()))
		}
	}
	for _, j := range judged {
		if j.DoorID != conclusion.DoorID {
			continue
		}
		if err := j.allowsPassed(); err != nil {
			refused = append(refused, err)
		}
	}
	return refused
}

// allowsPassed tells whether a door may be called passed by what one pack said. Law is read as far as the visit read for it: what it
// asks besides has visits of its own, such as that of the fire door.
func (j judgedDoor) allowsPassed() error {
	switch {
	case j.Pack == "": // nobody has recorded by which rules: the inspector's word stands alone, and reports say so
		return nil
	case j.Beside == rulebook.Law:
		return checkNothingFailed(j.Verdicts)
	case j.Beside == rulebook.Company && !slices.ContainsFunc(j.Verdicts, func(v rulebook.Verdict) bool { return v.Counts() && v.Outcome != rulebook.NotApplicable }):
		return nil // it only advises, or asks nothing of this door
	}
	return checkPassed(j.Verdicts)
}

// checkNothingFailed names the rules that bear on passing and failed.
func checkNothingFailed(verdicts []rulebook.Verdict) error {
	var failed []string
	for _, v := range verdicts {
		if v.Counts() && v.Outcome == rulebook.Failed {
			failed = append(failed, v.RuleID)
		}
	}
	if len(failed) == 0 {
		return nil
	}
	return fault.New(fault.Conflict, "passed_against_rules", "rules", strings.Join(failed, ", "))
}

// checkPassed asks that the rules of the door's basis, taken together, say "passed" too. Where they cannot, it names what failed and
// every reading and every fact of the door for want of which they cannot.
func checkPassed(verdicts []rulebook.Verdict) error {
	if rulebook.Conclude(verdicts) == rulebook.InspectionPassed {
		return nil
	}
	faults := fault.List(slices.Clone(fault.Of(checkNothingFailed(verdicts))))
	var unread, unknown, undecided, unjudged []string
	add := func(list *[]string, name string) {
		if !slices.Contains(*list, name) {
			*list = append(*list, name)
		}
	}
	for _, v := range verdicts {
		switch {
		case !v.Counts():
		case v.Outcome == rulebook.Undecided:
			add(&undecided, v.RuleID)
		case v.Outcome == rulebook.NotJudged && v.Gaps == nil:
			add(&unjudged, v.RuleID)
		case v.Outcome == rulebook.NotJudged:
			for _, g := range v.Gaps {
				if rulebook.IsReading(g.Name) {
					add(&unread, g.Name)
				} else {
					add(&unknown, g.Name)
				}
			}
		}
	}
	if len(unread) > 0 {
		faults = append(faults, fault.New(fault.Conflict, "readings_missing", "readings", strings.Join(unread, ", ")))
	}
	if len(unknown) > 0 {
		faults = append(faults, fault.New(fault.Conflict, "facts_missing", "facts", strings.Join(unknown, ", ")))
	}
	if len(undecided) > 0 {
		faults = append(faults, fault.New(fault.Conflict, "rules_undecided", "rules", strings.Join(undecided, ", ")))
	}
	if len(unjudged) > 0 {
		faults = append(faults, fault.New(fault.Conflict, "rules_not_judged", "rules", strings.Join(unjudged, ", ")))
	}
	if len(faults) == 0 { // every rule is for other doors, or only advises
		return fault.New(fault.Conflict, "nothing_judged")
	}
	return faults.Err()
}

// openUnsafe lists the unsafe findings of these entries that none of them mends.
func openUnsafe(entries []Entry) []Entry {
	mended := map[uuid.UUID]bool{}
	for _, e := range live(entries) {
		if m := e.Body.Mending; m != nil {
			mended[m.FindingID] = true
		}
	}
	var open []Entry
	for _, e := range live(entries) {
		if fd := e.Body.Finding; fd != nil && fd.Severity == "unsafe" && !mended[e.EntryID] {
			open = append(open, e)
		}
	}
	return open
}

func newVisitRecord(v Visit, entries []Entry, signed SignedRecord, judged []judgedDoor, under []signedUnder, used []usedInstrument) (Record, error) {
	doc := visitRecord{Format: VisitRecordFormat, VisitID: v.VisitID, CustomerID: v.CustomerID, Attendance: v.Canonical, SignOff: signed.Canonical,
		SignedBy: signed.SignedBy, ReceivedAt: signed.ReceivedAt.UTC().Format(time.RFC3339), Entries: []recordedEntry{}, Judged: judged, Qualifications: under, Instruments: used}
	for _, e := range entries {
		doc.Entries = append(doc.Entries, recordedEntry{EntryID: e.EntryID, SHA256: e.SHA256, RecordedBy: e.RecordedBy,
			ReceivedAt: e.ReceivedAt.UTC().Format(time.RFC3339), Entry: e.Canonical})
	}
	canonical, hash, err := sealed(doc)
	if err != nil {
		return Record{}, err
	}
	return Record{Kind: "visit", CustomerID: v.CustomerID, SiteID: v.SiteID, SubjectID: v.VisitID, Canonical: canonical, SHA256: hash,
		RecordedAt: signed.ReceivedAt, RecordedBy: signed.SignedBy}, nil
}
