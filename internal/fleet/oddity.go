package fleet

import (
	"bytes"
	"cmp"
	"context"
	"slices"
	"time"

	"github.com/google/uuid"

	"lintel.example/lintel/internal/duedate"
	"lintel.example/lintel/internal/fault"
	"lintel.example/lintel/internal/identity"
	"lintel.example/lintel/internal/rulebook"
	"lintel.example/lintel/internal/seal"
	"lintel.example/lintel/internal/words"
)

// Oddity is a question that the entries of one person on one day of a signed visit raise, for the office to ask; it accuses nobody
// and stands in no record and no report. It is a function of the sets of entries (odditiesOf), so its id is made of what it is.
type Oddity struct {
	CustomerID, SiteID, VisitID, OddityID uuid.UUID
	Kind                                  string    // of OddityKinds
	PersonID                              uuid.UUID // who made the entries; short_visit: who signed
	Day                                   duedate.Day
	Doors                                 []uuid.UUID   // in the order of their first entry concerned
	Entries                               []uuid.UUID   // the entries concerned, in the order of their observation
	LookedAt                              int           // how many entries were looked at
	DoorsOfDay                            int           // same_readings: at how many doors of the person on the day
	Took                                  time.Duration // short_visit: from arrival to leaving; times: the greatest distance; elsewhere_meanwhile: how long both went on
	OtherVisits                           []uuid.UUID   // that the entries were held against
	NoticedAt                             time.Time
	State                                 string       // open, explained, withdrawn: later entries have answered it
	Explained                             *Explanation // nil unless its state says so
}

// Explanation is what somebody found out about an oddity.
type Explanation struct {
	At  time.Time
	By  uuid.UUID
	Why string
}

// OddityKinds are the questions that are asked, in the order in which they are listed.
func OddityKinds() []string {
	return []string{"same_readings", "short_visit", "before_arrival", "after_leaving", "received_late", "clock_ahead", "elsewhere_meanwhile", "same_photo"}
}

// When entries raise a question: common practice, no source, and meant to ask too seldom rather than too often.
const (
	sameAtDoors    = 10 // doors of one person's day at which every number is that of the year before
	readingsTimed  = 20 // readings of a visit, at least, to be held against its time
	readingTakes   = 10 * time.Second
	clocksApart    = 5 * time.Minute // attendance, entries and signature may come from several devices
	receivedWithin = 7 * 24 * time.Hour
	clockAhead     = 2 * time.Minute // before it is received nothing can be observed; from five minutes on it waits at the device
)

// Spell is how long somebody was at the doors of a visit, by the entries that are made there.
type Spell struct {
	VisitID, SiteID, PersonID uuid.UUID
	First, Last               time.Time
}

// PhotoUse is an entry that names a photo.
type PhotoUse struct {
	SHA256     seal.Hash
	VisitID    uuid.UUID
	ObservedAt time.Time
}

// OddityQuery asks for oddities, by default those that were noticed last first.
type OddityQuery struct {
	State, Kind                       string    // "" for all
	VisitID, DoorID, PersonID, SiteID uuid.UUID // zero for all
	Oldest                            bool      // the oldest first
	AfterAt                           time.Time // where the list goes on: what was noticed then, under this id, was the last
	AfterID                           uuid.UUID
	Limit                             int
}

type oddityRows interface {
	// OddityPage lists oddities; to whoever may not read them there are none.
	OddityPage(ctx context.Context, q OddityQuery) ([]Oddity, error)
	OddityByID(ctx context.Context, id uuid.UUID) (Oddity, error)
	// CountOpenOddities counts up to a limit.
	CountOpenOddities(ctx context.Context, most int) (int, error)
	// ExplainOddity answers false when the oddity is not open.
	ExplainOddity(ctx context.Context, id uuid.UUID, e Explanation) (bool, error)
	// PutOddities makes these the open oddities of a visit. What was explained stays as it was explained.
	PutOddities(ctx context.Context, visitID uuid.UUID, list []Oddity) error
	// LockOddities makes other transactions that ask about entries of these people wait.
	LockOddities(ctx context.Context, people []uuid.UUID) error
	// ReadingsOfLastYear gives, for each door that the visit concludes, the readings of the inspection about a year before.
	ReadingsOfLastYear(ctx context.Context, visitID uuid.UUID) ([]Entry, error)
	// SpellsBeside gives the spells of the visit's people in other signed visits of those days.
	SpellsBeside(ctx context.Context, visitID uuid.UUID) ([]Spell, error)
	// PhotosBefore gives earlier uses, in other signed visits, of the photos of a visit.
	PhotosBefore(ctx context.Context, visitID uuid.UUID) ([]PhotoUse, error)
	// VisitsHeldAgainst gives the signed visits whose entries are held against those of a visit: inspections of its doors a year
	// later, and later uses of its photos.
	VisitsHeldAgainst(ctx context.Context, visitID uuid.UUID) ([]uuid.UUID, error)
}

// Oddities lists what is unusual about the entries of signed visits.
func (f *Fleet) Oddities(ctx context.Context, by identity.Actor, q OddityQuery) (list []Oddity, err error) {
	err = f.Store.InTxReadOnly(ctx, by, func(ctx context.Context, tx Tx) error {
		list, err = tx.OddityPage(ctx, q)
		return err
	})
	return list, err
}

// Oddity gives one.
func (f *Fleet) Oddity(ctx context.Context, by identity.Actor, id uuid.UUID) (o Oddity, err error) {
	err = f.Store.InTxReadOnly(ctx, by, func(ctx context.Context, tx Tx) error {
		o, err = tx.OddityByID(ctx, id)
		return err
	})
	return o, err
}

// CountOpenOddities counts those that nobody has explained yet, up to a limit.
func (f *Fleet) CountOpenOddities(ctx context.Context, by identity.Actor, most int) (n int, err error) {
	err = f.Store.InTxReadOnly(ctx, by, func(ctx context.Context, tx Tx) error {
		n, err = tx.CountOpenOddities(ctx, most)
		return err
	})
	return n, err
}

// ExplainOddity records what somebody found out. The same words again are success; other words on what was explained are not: each
// explanation stays as it was given.
func (f *Fleet) ExplainOddity(ctx context.Context, by identity.Actor, id uuid.UUID, why string) (o Oddity, err error) {
	tidy(&why)
	var faults fault.List
	checkText(&faults, "/why", why, 1, 2000)
	if err := faults.Err(); err != nil {
		return Oddity{}, err
	}
	err = f.Store.InTx(ctx, by, func(ctx context.Context, tx Tx) error {
		given := Explanation{At: f.Now(), By: by.PersonID, Why: why}
		taken, err := tx.ExplainOddity(ctx, id, given)
		if err != nil {
			return err
		}
		if o, err = tx.OddityByID(ctx, id); err != nil {
			return err
		}
		switch {
		case taken:
			return f.record(ctx, tx, by, "oddity", id, given)
		case o.State == "withdrawn":
			return fault.New(fault.Conflict, "oddity_withdrawn")
		case o.Explained.Why != why:
			return &fault.Error{Kind: fault.Conflict, Code: "oddity_explained", Pointer: "/why"}
		}
		return nil
	})
	return o, err
}

// questioned is everything that the questions about a visit follow from.
type questioned struct {
	visit    Visit // signed
	left     time.Time
	zone     *time.Location
	entries  []Entry
	lastYear []Entry // readings of the inspections about a year before, of all its doors
	beside   []Spell
	photos   []PhotoUse
	// sameBeside is where the same people read the same as last year on the same days at other visits.
	sameBeside map[personDay][]uuid.UUID
}

// personDay is one person's day at a site.
type personDay struct {
	person uuid.UUID
	day    duedate.Day
}

func (q questioned) dayOf(e Entry) personDay {
	return personDay{e.RecordedBy, duedate.DayIn(e.ObservedAt, q.zone)}
}

// odditySpace makes the ids of oddities: the same question about the same day always has the same.
var odditySpace = uuid.MustParse("5b0a5b57-6c62-5a1c-9d0c-0f4a4fb0d2b9")

// odditiesOf holds the entries of a visit against its times, against what was read a year before, and against where else its
// people were: a function of the sets.
func odditiesOf(q questioned) []Oddity {
	asked := asking{q: q, found: map[personDay]map[string]*Oddity{}}
	counting := live(q.entries)
	asked.sameReadings(counting)
	asked.shortVisit(counting)
	asked.times(counting)
	asked.elsewhere(counting)
	asked.samePhotos(counting)
	return asked.list()
}

// asking gathers questions by the person's day that they are about.
type asking struct {
	q     questioned
	found map[personDay]map[string]*Oddity
}

// add adds an entry to the question of a kind about its day; of is how many entries of that day were looked at.
func (a *asking) add(kind string, e Entry, of int, took time.Duration, others ...uuid.UUID) *Oddity {
	return a.addTo(a.q.dayOf(e), kind, e, of, took, others...)
}

func (a *asking) addTo(day personDay, kind string, e Entry, of int, took time.Duration, others ...uuid.UUID) *Oddity {
	if a.found[day] == nil {
		a.found[day] = map[string]*Oddity{}
	}
	o := a.found[day][kind]
	if o == nil {
		v := a.q.visit
		name := slices.Concat(v.VisitID[:], day.person[:], []byte(day.day.String()), []byte(kind))
		o = &Oddity{CustomerID: v.CustomerID, SiteID: v.SiteID, VisitID: v.VisitID, OddityID: uuid.NewSHA1(odditySpace, name), Kind: kind, PersonID: day.person, Day: day.day,
			OtherVisits: []uuid.UUID{}, State: "open"}
		a.found[day][kind] = o
	}
	if !slices.Contains(o.Doors, e.DoorID) {
		o.Doors = append(o.Doors, e.DoorID)
	}
	if !slices.Contains(o.Entries, e.EntryID) {
		o.Entries = append(o.Entries, e.EntryID)
	}
	o.LookedAt, o.Took = of, max(o.Took, took)
	o.OtherVisits = sortedOnce(append(o.OtherVisits, others...))
	return o
}

// list gives the questions by kind, and of a kind by day and person.
func (a *asking) list() []Oddity {
	list := []Oddity{}
	for _, kinds := range a.found {
		for _, o := range kinds {
			list = append(list, *o)
		}
	}
	kind := func(o Oddity) int { return slices.Index(OddityKinds(), o.Kind) }
	slices.SortFunc(list, func(a, b Oddity) int {
		return cmp.Or(cmp.Compare(kind(a), kind(b)), cmp.Compare(a.Day.String(), b.Day.String()), bytes.Compare(a.PersonID[:], b.PersonID[:]))
	})
	return list
}

// sameReadings asks about a person's day at whose doors, ten or more, every number is, to the last digit, that of a year before.
func (a *asking) sameReadings(counting []Entry) {
	for day, s := range samenessOf(counting, a.q.lastYear, a.q.zone) {
		doors := sortedOnce(append(slices.Clone(a.q.sameBeside[day]), s.doors()...))
		if len(s.doors()) == 0 || len(doors) < sameAtDoors {
			continue
		}
		for _, e := range s.compared {
			if s.alike(e.DoorID) {
				a.addTo(day, "same_readings", e, len(s.compared), 0, s.visits[e.DoorID]).DoorsOfDay = len(doors)
			}
		}
	}
}

// sameness is how the numbers that one person read on one day compare with those of a year before.
type sameness struct {
	compared []Entry
	others   map[uuid.UUID]bool      // doors at which a number differs
	visits   map[uuid.UUID]uuid.UUID // the visit a year before, by door
}

func (s *sameness) alike(door uuid.UUID) bool { _, is := s.visits[door]; return is && !s.others[door] }

// doors are those at which all numbers are the same.
func (s *sameness) doors() (list []uuid.UUID) {
	for door := range s.visits {
		if s.alike(door) {
			list = append(list, door)
		}
	}
	return sortedOnce(list)
}

// samenessOf compares each number read with the last one that the inspection of the year before read at the same place.
func samenessOf(counting, lastYear []Entry, zone *time.Location) map[personDay]*sameness {
	type place struct {
		door uuid.UUID
		name string
		leaf int
		side string
	}
	placeOf := func(e Entry) (place, float64, bool) {
		r := e.Body.Reading
		if r == nil || r.Value == nil || !changesByItself(rulebook.NameNow(r.Name)) {
			return place{}, 0, false
		}
		return place{e.DoorID, rulebook.NameNow(r.Name), r.Leaf, r.Side}, *r.Value, true
	}
	before, visits := map[place]float64{}, map[uuid.UUID]uuid.UUID{}
	for _, e := range inOrder(lastYear) {
		if at, value, is := placeOf(e); is {
			before[at], visits[e.DoorID] = value, e.VisitID
		}
	}
	days := map[personDay]*sameness{}
	for _, e := range counting {
		at, value, is := placeOf(e)
		if !is {
			continue
		}
		then, found := before[at]
		if !found {
			continue
		}
		day := personDay{e.RecordedBy, duedate.DayIn(e.ObservedAt, zone)}
		if days[day] == nil {
			days[day] = &sameness{others: map[uuid.UUID]bool{}, visits: map[uuid.UUID]uuid.UUID{}}
		}
		s := days[day]
		s.compared, s.visits[e.DoorID] = append(s.compared, e), visits[e.DoorID]
		if value != then {
			s.others[e.DoorID] = true
		}
	}
	return days
}

// changesByItself tells whether a number drifts from year to year. What is built does not: that a width comes back is as it should be.
func changesByItself(name string) bool {
	for _, k := range rulebook.Readings() {
		if k.Name == name {
			return slices.ContainsFunc(k.DependsOn, func(g rulebook.Group) bool { return g != rulebook.Fabric })
		}
	}
	return false
}

// shortVisit asks about a visit that had no time for its readings, whatever the number of people.
func (a *asking) shortVisit(counting []Entry) {
	if a.q.visit.Attendance == nil || a.q.visit.SignedBy == nil {
		return
	}
	var readings []Entry
	for _, e := range counting {
		if e.Body.Readings() != nil {
			readings = append(readings, e)
		}
	}
	took := a.q.left.Sub(a.q.visit.Attendance.ArrivedAt)
	people := time.Duration(max(1, len(a.q.visit.Attendance.People)))
	if len(readings) < readingsTimed || took*people >= time.Duration(len(readings))*readingTakes {
		return
	}
	day := personDay{*a.q.visit.SignedBy, duedate.DayIn(a.q.visit.Attendance.ArrivedAt, a.q.zone)}
	for _, e := range readings {
		a.addTo(day, "short_visit", e, len(readings), took)
	}
}

// times asks about entries that were observed outside of the visit, reached the server late, or come from a clock that is ahead.
func (a *asking) times(counting []Entry) {
	of := map[personDay]int{}
	for _, e := range counting {
		of[a.q.dayOf(e)]++
	}
	for _, e := range counting {
		beyond := func(kind string, by, most time.Duration) {
			if by > most {
				a.add(kind, e, of[a.q.dayOf(e)], by)
			}
		}
		if a.q.visit.Attendance != nil {
			beyond("before_arrival", a.q.visit.Attendance.ArrivedAt.Sub(e.ObservedAt), clocksApart)
			beyond("after_leaving", e.ObservedAt.Sub(a.q.left), clocksApart)
		}
		beyond("received_late", e.ReceivedAt.Sub(e.ObservedAt), receivedWithin)
		beyond("clock_ahead", e.ObservedAt.Sub(e.ReceivedAt), clockAhead)
	}
}

// madeAtTheDoor tells whether only somebody at the door makes such an entry. store.sqlSpellsBeside has the same list.
func (b EntryBody) madeAtTheDoor() bool {
	return slices.Contains([]string{"safe_work", "reading", "force_course", "positions", "function_test", "conclusion"}, b.Kind)
}

// elsewhere asks about entries at these doors while the same person was at the doors of another site.
func (a *asking) elsewhere(counting []Entry) {
	own, of := spellsOf(counting), map[personDay]int{}
	for _, e := range counting {
		if e.Body.madeAtTheDoor() {
			of[a.q.dayOf(e)]++
		}
	}
	for _, e := range counting { // in the order of their observation, whichever visits are beside
		mine := own[e.RecordedBy]
		for _, other := range a.q.beside {
			if mine == nil || other.PersonID != e.RecordedBy || other.SiteID == a.q.visit.SiteID || overlap(*mine, other) <= clocksApart {
				continue
			}
			if e.Body.madeAtTheDoor() && !e.ObservedAt.Before(other.First) && !e.ObservedAt.After(other.Last) {
				a.add("elsewhere_meanwhile", e, of[a.q.dayOf(e)], overlap(*mine, other), other.VisitID)
			}
		}
	}
}

// spellsOf gives how long each person was at the doors of a visit.
func spellsOf(counting []Entry) map[uuid.UUID]*Spell {
	own := map[uuid.UUID]*Spell{}
	for _, e := range counting {
		if !e.Body.madeAtTheDoor() {
			continue
		}
		if own[e.RecordedBy] == nil {
			own[e.RecordedBy] = &Spell{First: e.ObservedAt}
		}
		own[e.RecordedBy].Last = e.ObservedAt // they are in order
	}
	return own
}

// overlap is how long two spells went on at once.
func overlap(a, b Spell) time.Duration {
	first, last := a.First, a.Last
	if b.First.After(first) {
		first = b.First
	}
	if b.Last.Before(last) {
		last = b.Last
	}
	return last.Sub(first)
}

// samePhotos asks about photos that an earlier visit has named.
func (a *asking) samePhotos(counting []Entry) {
	of := map[personDay]int{}
	for _, e := range counting {
		if len(e.Body.Photos()) > 0 {
			of[a.q.dayOf(e)]++
		}
	}
	for _, e := range counting {
		for _, hash := range e.Body.Photos() {
			for _, use := range a.q.photos {
				if use.SHA256 == hash && use.ObservedAt.Before(e.ObservedAt) {
					a.add("same_photo", e, of[a.q.dayOf(e)], e.ObservedAt.Sub(use.ObservedAt), use.VisitID)
				}
			}
		}
	}
}

// Says tells an oddity in one sentence with its numbers.
func (o Oddity) Says(texts words.Printer) string {
	return texts.T("oddity."+o.Kind, "count", len(o.Entries), "doors", len(o.Doors), "of_day", o.DoorsOfDay, "looked_at", o.LookedAt, "took", durationText(texts, o.Took))
}

// durationText writes a time in its greatest unit of which there are two or more, rounded down.
func durationText(texts words.Printer, d time.Duration) string {
	for _, u := range []struct {
		name string
		unit time.Duration
	}{{"oddity.days", 24 * time.Hour}, {"oddity.hours", time.Hour}, {"oddity.minutes", time.Minute}} {
		if d >= 2*u.unit {
			return texts.T(u.name, "count", int(d/u.unit))
		}
	}
	return texts.T("oddity.seconds", "count", int(d/time.Second))
}
