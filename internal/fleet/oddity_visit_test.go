package fleet_test

import (
	"context"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/google/uuid"

	"lintel.example/lintel/internal/fault"
	"lintel.example/lintel/internal/fleet"
	"lintel.example/lintel/internal/identity"
)

// oddities are those that the dispatcher sees, of one visit or of all.
func (a attended) oddities(t testing.TB, visit uuid.UUID) []fleet.Oddity {
	t.Helper()
	list, err := a.Oddities(t.Context(), dispatcher, fleet.OddityQuery{VisitID: visit, Oldest: true, Limit: 100})
	if err != nil {
		t.Fatal(err)
	}
	return list
}

// round is a visit of the technician's that begins on an hour of a day, reads a force at each door and concludes each; it is still to
// be signed.
func (a attended) round(t testing.TB, at time.Time, site uuid.UUID, doors []uuid.UUID, force func(i int) float64) (uuid.UUID, fleet.SignOff) {
	t.Helper()
	visit := a.id()
	attendance := fleet.Attendance{SiteID: site, ArrivedAt: at, People: []uuid.UUID{technician.PersonID}, Doors: []fleet.DoorsOfVisit{}}
	for _, d := range doors {
		attendance.Doors = append(attendance.Doors, fleet.DoorsOfVisit{DoorID: d, WorkOrders: []uuid.UUID{}})
	}
	if _, _, err := a.PutVisit(t.Context(), technician, visit, attendance); err != nil {
		t.Fatal(err)
	}
	var pieces []piece
	for i, d := range doors {
		for k, body := range []fleet.EntryBody{madeSafe(), measured("closing_force_n", force(i)), concluded("failed")} {
			body.DoorID, body.ObservedAt = d, at.Add(time.Duration(10*i+2*k+1)*time.Minute)
			pieces = append(pieces, a.append(t, visit, body))
		}
	}
	s := a.signOff(t, visit, pieces)
	s.LeftAt = at.Add(time.Duration(10*len(doors)+5) * time.Minute)
	s.SignedAt = s.LeftAt
	return visit, s
}

func (a attended) sign(t testing.TB, visit uuid.UUID, s fleet.SignOff) {
	t.Helper()
	if _, _, err := a.PutSignOff(t.Context(), technician, visit, s); err != nil {
		t.Fatal(err)
	}
}

// year is two sites with six and five doors that were inspected on 3 March 2026, and the same day a year later.
func newYear(t *testing.T) (a attended, mill, quay fleet.Site, atMill, atQuay []uuid.UUID, signLastYear func()) {
	a = newAttended(t)
	a.late = 6 * time.Hour
	if _, err := a.db.Admin.Exec(t.Context(), "update qualification set valid_until = '2029-01-01'"); err != nil {
		t.Fatal(err)
	}
	mill, quay = a.site, a.rig.site(t, a.site.CustomerID, "Quay")
	for range 6 {
		atMill = append(atMill, a.rig.door(t, mill.SiteID, "Mill door").DoorID)
	}
	for range 5 {
		atQuay = append(atQuay, a.rig.door(t, quay.SiteID, "Quay door").DoorID)
	}
	then := a.now
	one, signOne := a.round(t, then, mill.SiteID, atMill, forces)
	two, signTwo := a.round(t, then.Add(3*time.Hour-time.Hour), quay.SiteID, atQuay, forces)
	a.pass(364 * 24 * time.Hour)
	return a, mill, quay, atMill, atQuay, func() { a.sign(t, one, signOne); a.sign(t, two, signTwo) }
}

func forces(i int) float64      { return 100.5 + float64(i) }
func otherForces(i int) float64 { return 120.5 + float64(i) }

func TestTenDoorsOfOneDayThatReadAsAYearBeforeAreAskedAboutAtEachVisitOfTheDay(t *testing.T) {
	t.Parallel()
	for name, lastYearSignedLast := range map[string]bool{"last year was signed then": false, "last year is signed last": true} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			a, mill, quay, atMill, atQuay, signLastYear := newYear(t)
			if !lastYearSignedLast {
				signLastYear()
			}
			one, signOne := a.round(t, a.now, mill.SiteID, atMill, forces)
			two, signTwo := a.round(t, a.now.Add(2*time.Hour), quay.SiteID, atQuay, forces)
			a.sign(t, one, signOne)
			if list := a.oddities(t, uuid.Nil); len(list) > 0 && !lastYearSignedLast {
				t.Fatalf("six doors are too few to ask: %+v", list)
			}
			a.sign(t, two, signTwo)
			if lastYearSignedLast {
				signLastYear()
			}
			list := slices.DeleteFunc(a.oddities(t, uuid.Nil), func(o fleet.Oddity) bool { return o.Kind == "received_late" })
			if len(list) != 2 {
				t.Fatalf("%+v", list)
			}
			for _, o := range list {
				doors := map[uuid.UUID][]uuid.UUID{one: atMill, two: atQuay}[o.VisitID]
				if o.Kind != "same_readings" || !slices.Equal(o.Doors, doors) || o.DoorsOfDay != 11 || o.LookedAt != len(doors) || o.PersonID != technician.PersonID ||
					o.State != "open" || o.Day.String() != "2027-03-02" || len(o.OtherVisits) != 1 {
					t.Errorf("%+v", o)
				}
			}
		})
	}
}

func TestOnlyTheInspectionAboutAYearBeforeIsComparedNotTheLastVisit(t *testing.T) {
	t.Parallel()
	a, mill, quay, atMill, atQuay, signLastYear := newYear(t)
	signLastYear()
	doors := append(slices.Clone(atMill[:5]), atMill[5])
	a.pass(-200 * 24 * time.Hour)
	between, sign := a.round(t, a.now, mill.SiteID, doors, otherForces) // half a year ago
	a.sign(t, between, sign)
	a.pass(200 * 24 * time.Hour)
	one, signOne := a.round(t, a.now, mill.SiteID, atMill, otherForces) // as half a year ago, not as a year ago
	a.sign(t, one, signOne)
	two, signTwo := a.round(t, a.now.Add(2*time.Hour), quay.SiteID, atQuay, forces)
	a.sign(t, two, signTwo)
	if list := a.oddities(t, uuid.Nil); len(list) != 0 {
		t.Errorf("%+v", list)
	}
}

func TestEntriesThatAreSignedLaterMayAnswerAQuestionButNotUndoAnExplanation(t *testing.T) {
	t.Parallel()
	a, mill, quay, atMill, atQuay, signLastYear := newYear(t)
	signLastYear()
	a.pass(-360 * 24 * time.Hour) // nearer to a year before than 3 March
	nearer, signNearer := a.round(t, a.now, mill.SiteID, atMill[:3], otherForces)
	a.pass(360 * 24 * time.Hour)
	a.pass(7 * 24 * time.Hour)
	one, signOne := a.round(t, a.now, mill.SiteID, atMill, forces)
	a.sign(t, one, signOne)
	two, signTwo := a.round(t, a.now.Add(2*time.Hour), quay.SiteID, atQuay, forces)
	a.sign(t, two, signTwo)
	three, signThree := a.round(t, a.now.Add(4*time.Hour), mill.SiteID, atMill[5:], func(int) float64 { return forces(5) })
	a.sign(t, three, signThree)
	asked := a.oddities(t, two)
	if len(asked) != 1 || len(a.oddities(t, one)) != 1 || len(a.oddities(t, three)) != 1 {
		t.Fatalf("%+v", asked)
	}
	if _, err := a.ExplainOddity(t.Context(), dispatcher, asked[0].OddityID, "Read again at three doors: the same."); err != nil {
		t.Fatal(err)
	}
	a.sign(t, nearer, signNearer) // three doors read something else
	for _, visit := range []uuid.UUID{one, three} {
		if list := a.oddities(t, visit); len(list) != 1 || list[0].State != "withdrawn" {
			t.Errorf("eight doors are too few, and still: %+v", list)
		}
	}
	if list := a.oddities(t, two); len(list) != 1 || list[0].State != "explained" || list[0].DoorsOfDay != 11 {
		t.Errorf("%+v", list)
	}
	id := a.oddities(t, one)[0].OddityID
	if _, err := a.ExplainOddity(t.Context(), dispatcher, id, "late"); !fault.Is(err, "oddity_withdrawn") {
		t.Error(err)
	}
}

func TestTwoSignaturesAtOnceAskAboutTheWholeDay(t *testing.T) {
	t.Parallel()
	a, mill, quay, atMill, atQuay, signLastYear := newYear(t)
	signLastYear()
	one, signOne := a.round(t, a.now, mill.SiteID, atMill, forces)
	two, signTwo := a.round(t, a.now.Add(2*time.Hour), quay.SiteID, atQuay, forces)
	var both sync.WaitGroup
	for visit, s := range map[uuid.UUID]fleet.SignOff{one: signOne, two: signTwo} {
		both.Go(func() {
			if _, _, err := a.PutSignOff(context.WithoutCancel(t.Context()), technician, visit, s); err != nil {
				t.Error(err)
			}
		})
	}
	both.Wait()
	if list := a.oddities(t, uuid.Nil); len(list) != 2 {
		t.Errorf("%+v", list)
	}
}

func TestWhoeverIsAtTwoSitesAtOnceIsAskedAboutAtBoth(t *testing.T) {
	t.Parallel()
	a, mill, quay, atMill, atQuay, _ := newYear(t)
	one, signOne := a.round(t, a.now, mill.SiteID, atMill, forces)
	two, signTwo := a.round(t, a.now.Add(15*time.Minute), quay.SiteID, atQuay, otherForces)
	a.sign(t, one, signOne)
	a.sign(t, two, signTwo)
	for _, visit := range []uuid.UUID{one, two} {
		list := a.oddities(t, visit)
		if len(list) != 1 || list[0].Kind != "elsewhere_meanwhile" || list[0].Took != 39*time.Minute {
			t.Errorf("%+v", list)
		}
	}
}

func TestWhatIsSeenAfterTheSignersLeftIsAskedAboutAndStopsNoSignOff(t *testing.T) {
	t.Parallel()
	a := newAttended(t)
	visit := a.open(t)
	within, afterwards := a.append(t, visit, a.at(5, note("came in"))), a.append(t, visit, a.at(50, note("the hall is quiet")))
	signOff := a.signOff(t, visit, []piece{within, afterwards})
	signOff.LeftAt = a.now.Add(40 * time.Minute)
	if list := a.oddities(t, visit); len(list) != 0 {
		t.Fatal("before anybody has signed:", list)
	}
	a.sign(t, visit, signOff)
	list := a.oddities(t, visit)
	if len(list) != 1 || list[0].Kind != "after_leaving" || list[0].LookedAt != 2 || list[0].Took != 10*time.Minute || !slices.Equal(list[0].Entries, []uuid.UUID{afterwards.entry}) {
		t.Fatalf("%+v", list)
	}
	a.sign(t, visit, signOff) // again
	if again := a.oddities(t, visit); len(again) != 1 || again[0].OddityID != list[0].OddityID || !again[0].NoticedAt.Equal(list[0].NoticedAt) {
		t.Errorf("%+v", again)
	}
}

func TestAnExplanationIsGivenOnceByWhoeverMayAndIsKept(t *testing.T) {
	t.Parallel()
	a := newAttended(t)
	visit := a.open(t)
	afterwards := a.append(t, visit, a.at(50, note("the hall is quiet")))
	s := a.signOff(t, visit, []piece{afterwards})
	s.LeftAt = a.now.Add(40 * time.Minute)
	a.sign(t, visit, s)
	id := a.oddities(t, visit)[0].OddityID
	ctx := t.Context()
	for why, code := range map[string]string{"": "text_missing", "  ": "text_missing", strings.Repeat("a", 2001): "text_length", "a\x00": "text_binary"} {
		if _, err := a.ExplainOddity(ctx, dispatcher, id, why); !fault.Is(err, code) || fault.Of(err)[0].Pointer != "/why" {
			t.Errorf("%.5q: %v, want %s", why, err, code)
		}
	}
	if _, err := a.ExplainOddity(ctx, dispatcher, a.id(), "nobody knows it"); !fault.Is(err, "oddity_not_found") {
		t.Error(err)
	}
	if _, err := a.ExplainOddity(ctx, technician, id, "it was me"); !fault.Is(err, "oddity_not_found") {
		t.Errorf("whoever made the entries does not even see it: %v", err)
	}
	if n, err := a.CountOpenOddities(ctx, dispatcher, 100); n != 1 || err != nil {
		t.Error(n, err)
	}
	for range 2 {
		o, err := a.ExplainOddity(ctx, dispatcher, id, " Written in the van before driving off. ")
		if err != nil || o.State != "explained" || o.Explained == nil || o.Explained.By != dispatcher.PersonID || o.Explained.Why != "Written in the van before driving off." {
			t.Errorf("%+v, %v", o, err)
		}
	}
	if _, err := a.ExplainOddity(ctx, dispatcher, id, "Something else."); !fault.Is(err, "oddity_explained") {
		t.Error(err)
	}
	if n, err := a.CountOpenOddities(ctx, dispatcher, 100); n != 0 || err != nil {
		t.Error(n, err)
	}
	var log int
	if err := a.db.Admin.QueryRow(ctx, "select count(*) from change_log where subject_kind = 'oddity' and subject_id = $1 and person_id = $2 and body ->> 'Why' like 'Written%'", id, dispatcher.PersonID).Scan(&log); err != nil || log != 1 {
		t.Error("in the log:", log, err)
	}
	for who, by := range map[string]identity.Actor{"technician": technician, "agent": agentOf(a.site.CustomerID)} {
		if list, _ := a.Oddities(ctx, by, fleet.OddityQuery{Limit: 10}); len(list) != 0 {
			t.Errorf("the %s sees %+v", who, list)
		}
	}
}

func TestTheListIsNarrowedDownAndGoesOnFromEitherEnd(t *testing.T) {
	t.Parallel()
	a, mill, quay, atMill, atQuay, signLastYear := newYear(t)
	signLastYear() // a year late: everything of it
	one, signOne := a.round(t, a.now, mill.SiteID, atMill, forces)
	two, signTwo := a.round(t, a.now.Add(2*time.Hour), quay.SiteID, atQuay, forces)
	a.sign(t, one, signOne)
	a.pass(time.Minute)
	a.sign(t, two, signTwo)
	all := a.oddities(t, uuid.Nil)
	if len(all) < 2 {
		t.Fatalf("%+v", all)
	}
	for name, c := range map[string]struct {
		q    fleet.OddityQuery
		want func(fleet.Oddity) bool
	}{
		"visit":  {fleet.OddityQuery{VisitID: one}, func(o fleet.Oddity) bool { return o.VisitID == one }},
		"site":   {fleet.OddityQuery{SiteID: quay.SiteID}, func(o fleet.Oddity) bool { return o.SiteID == quay.SiteID }},
		"door":   {fleet.OddityQuery{DoorID: atMill[1]}, func(o fleet.Oddity) bool { return slices.Contains(o.Doors, atMill[1]) }},
		"person": {fleet.OddityQuery{PersonID: technician.PersonID}, func(o fleet.Oddity) bool { return true }},
		"nobody": {fleet.OddityQuery{PersonID: dispatcher.PersonID}, func(o fleet.Oddity) bool { return false }},
		"kind":   {fleet.OddityQuery{Kind: "same_readings"}, func(o fleet.Oddity) bool { return o.Kind == "same_readings" }},
		"state":  {fleet.OddityQuery{State: "explained"}, func(o fleet.Oddity) bool { return false }},
	} {
		var want []uuid.UUID
		for _, o := range all {
			if c.want(o) {
				want = append(want, o.OddityID)
			}
		}
		for _, oldest := range []bool{true, false} {
			var got []uuid.UUID
			q := c.q
			q.Oldest, q.Limit = oldest, 1
			for range len(all) + 1 {
				list, err := a.Oddities(t.Context(), dispatcher, q)
				if err != nil {
					t.Fatal(err)
				}
				if len(list) == 0 {
					break
				}
				got = append(got, list[0].OddityID)
				q.AfterAt, q.AfterID = list[0].NoticedAt, list[0].OddityID
			}
			if !oldest {
				slices.Reverse(got)
			}
			if !slices.Equal(got, want) {
				t.Errorf("%s, oldest first %v: %v, want %v", name, oldest, got, want)
			}
		}
	}
}
