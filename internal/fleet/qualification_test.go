package fleet_test

import (
	"encoding/json"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/google/uuid"

	"lintel.example/lintel/internal/duedate"
	"lintel.example/lintel/internal/fault"
	"lintel.example/lintel/internal/fleet"
	"lintel.example/lintel/internal/identity"
)

// certificate records one now; until "" is until further notice.
func (r *rig) certificate(t testing.TB, who uuid.UUID, kind, number, from, until string) uuid.UUID {
	t.Helper()
	id := r.id()
	if _, err := r.db.Admin.Exec(t.Context(), `insert into qualification (person_id, qualification_id, kind, scheme, number, issuer, valid_from, valid_until, recorded_at)
		values ($1, $2, $3, 'Inspectors'' guild', $4, 'Guild of the North', $5, nullif($6, '')::date, $7)`, who, id, kind, number, from, until, r.now); err != nil {
		t.Fatal(err)
	}
	return id
}

func (r *rig) endCertificate(t testing.TB, who, id uuid.UUID, until string) {
	t.Helper()
	if _, err := r.db.Admin.Exec(t.Context(), `insert into qualification_end values ($1, $2, $3, $4, $1)`, who, id, until, r.now); err != nil {
		t.Fatal(err)
	}
}

func TestTheKindOfACertificateAndTheDayDecideWhoSigns(t *testing.T) {
	t.Parallel()
	a := newAttended(t) // a sliding door of A156.10, inspected on 2026-03-03
	for name, c := range map[string]struct {
		held   [][3]string // kind, from, until
		basis  bool
		want   string
		naming []string // among the arguments of the refusal
	}{
		"a general one":                     {[][3]string{{"general", "2025-01-01", ""}}, true, "", nil},
		"one for such doors":                {[][3]string{{"full_energy", "2025-01-01", "2026-03-03"}}, true, "", nil},
		"its first day":                     {[][3]string{{"full_energy", "2026-03-03", ""}}, true, "", nil},
		"one for other doors":               {[][3]string{{"revolving", "2025-01-01", ""}, {"low_energy", "2025-01-01", ""}}, true, "certificate_of_other_kind", []string{"general, full_energy", "a156.10@2005"}},
		"one that ran out":                  {[][3]string{{"full_energy", "2024-01-01", "2025-12-31"}, {"full_energy", "2025-01-01", "2026-03-02"}}, true, "certificate_expired", []string{"2026-03-02", "N-1"}},
		"one that ran out, and another's":   {[][3]string{{"full_energy", "2025-01-01", "2026-03-02"}, {"fire", "2025-01-01", ""}}, true, "certificate_expired", []string{"2026-03-02", "N-0"}},
		"one that begins tomorrow":          {[][3]string{{"full_energy", "2026-03-04", ""}}, true, "certificate_missing", nil},
		"none":                              {nil, true, "certificate_missing", nil},
		"one for such doors, but no basis":  {[][3]string{{"full_energy", "2025-01-01", ""}}, false, "certificate_of_other_kind", []string{"general"}},
		"a general one, for an open basis":  {[][3]string{{"general", "2025-01-01", ""}}, false, "", nil},
		"renewed without a day in between":  {[][3]string{{"full_energy", "2025-01-01", "2026-03-02"}, {"full_energy", "2026-03-03", "2027-03-02"}}, true, "", nil},
		"one that was withdrawn since then": {[][3]string{{"full_energy", "2025-01-01", "withdrawn"}}, true, "certificate_expired", []string{"2026-02-01"}},
	} {
		who := technician
		who.PersonID, who.Name = a.person(t, identity.Technician, ""), "Milo Brandt"
		for i, held := range c.held {
			number, until := "N-"+string(rune('0'+i)), held[2]
			if until == "withdrawn" {
				until = ""
			}
			id := a.certificate(t, who.PersonID, held[0], number, held[1], until)
			if held[2] == "withdrawn" {
				a.endCertificate(t, who.PersonID, id, "2026-02-01")
			}
		}
		now := a.now
		a.changed(t, func(d *fleet.DoorFacts) {
			d.RuleBasis = a.door.Facts.RuleBasis
			if !c.basis {
				d.RuleBasis = fleet.RuleBasis{}
			}
		})
		err := a.inspection(t, who, concluded("failed"))
		t.Log(name)
		if c.want == "" {
			wantFault(t, err)
		} else {
			wantFault(t, err, c.want)
		}
		for _, f := range fault.Of(err) {
			for _, naming := range c.naming {
				if !slices.Contains(f.Args, any(naming)) {
					t.Errorf("%s: the refusal names %v, not %s", name, f.Args, naming)
				}
			}
		}
		a.now = now.Add(time.Minute)
	}
}

func TestTheRecordHoldsTheCertificateAsItWas(t *testing.T) {
	t.Parallel()
	a := reporting(t)
	who := technician
	who.PersonID = a.person(t, identity.Technician, "")
	id := a.certificate(t, who.PersonID, "full_energy", "F-12", "2025-06-01", "2027-05-31")
	if err := a.inspection(t, who, passing()...); err != nil {
		t.Fatal(err)
	}
	var record struct{ Qualifications []map[string]string }
	var canonical []byte
	if err := a.db.Admin.QueryRow(t.Context(), "select canonical from record_log").Scan(&canonical); err != nil {
		t.Fatal(err)
	}
	if err := json.Unmarshal(canonical, &record); err != nil || len(record.Qualifications) != 1 {
		t.Fatalf("%s: %v", canonical, err)
	}
	for member, want := range map[string]string{"door_id": a.door.DoorID.String(), "qualification_id": id.String(), "kind": "full_energy", "scheme": "Inspectors' guild", "number": "F-12",
		"issuer": "Guild of the North", "valid_from": "2025-06-01", "valid_until": "2027-05-31"} {
		if got := record.Qualifications[0][member]; got != want {
			t.Errorf("%s is %q, want %q", member, got, want)
		}
	}
	a.pass(4 * time.Hour)
	ask := fleet.ReportAsk{Kind: fleet.KindDoor, DoorID: a.door.DoorID}
	by := said[fleet.ComplianceReport](t, a.make(t, dispatcher, ask)).LastInspection.Inspector
	if by.CertificateNo != "F-12" || by.Allows != "full_energy" || by.Issuer != "Guild of the North" || by.ValidUntil != "2027-05-31" || by.Withdrawn {
		t.Errorf("the report says %+v", by)
	}
	certificate := said[fleet.CertificateDocument](t, a.make(t, dispatcher, fleet.ReportAsk{Kind: fleet.KindCertificate, DoorID: a.door.DoorID}))
	if certificate.Inspection.Inspector != by {
		t.Errorf("the certificate says %+v", certificate.Inspection.Inspector)
	}
	// A later end changes nothing of that day; one before it is said, and nothing more is certified.
	a.endCertificate(t, who.PersonID, id, "2026-03-03")
	if by := said[fleet.ComplianceReport](t, a.make(t, dispatcher, ask)).LastInspection.Inspector; by.ValidUntil != "2027-05-31" || by.Withdrawn {
		t.Errorf("the report says %+v", by)
	}
	a.endCertificate(t, who.PersonID, id, "2026-03-02")
	if by := said[fleet.ComplianceReport](t, a.make(t, agentOf(a.door.CustomerID), ask)).LastInspection.Inspector; by.ValidUntil != "2027-05-31" || !by.Withdrawn {
		t.Errorf("the owner's report says %+v", by)
	}
	_, _, err := a.MakeReport(t.Context(), dispatcher, a.id(), fleet.ReportAsk{Kind: fleet.KindCertificate, DoorID: a.door.DoorID})
	wantFault(t, err, "certificate_by_uncertified")
}

func TestAVisitWithoutAConclusionSealsNoCertificate(t *testing.T) {
	t.Parallel()
	a := newAttended(t)
	if err := a.inspection(t, technician, note("called, nobody there")); err != nil {
		t.Fatal(err)
	}
	if n := a.count(t, `select count(*) from record_log where convert_from(canonical, 'UTF8') like '%qualifications%'`); n != 0 {
		t.Error("the record has a member for certificates")
	}
}

// expiring is a technician whose certificate runs out on Monday, 4 May 2026, and a dispatcher.
func expiring(t *testing.T) (r *rig, post *letters, holder, certificate uuid.UUID) {
	t.Helper()
	r = newFleet(t)
	post = r.withPost(t)
	r.dispatcherHere(t)
	holder = r.person(t, identity.Technician, "email = 'milo@office.example', name = 'Milo Brandt'")
	r.now = fiveUTC(day("2026-03-01"))
	return r, post, holder, r.certificate(t, holder, "full_energy", "F-12", "2025-05-05", "2026-05-04")
}

// The days are those of the calendar: 60 days before 2026-05-04 is Thursday 2026-03-05, 30 before Saturday 2026-04-04, 7 before Monday 2026-04-27.
func TestHolderAndDispatchersAreWarnedSixtyThirtyAndSevenDaysAheadAndOnTheLastDay(t *testing.T) {
	t.Parallel()
	r, post, holder, _ := expiring(t)
	made := map[string]int64{}
	for d := day("2026-03-01"); !d.After(day("2026-05-12")); d = d.AddDays(1) {
		r.now = fiveUTC(d)
		if n := r.queue(t, d.String()); n != 0 {
			made[d.String()] = n
		}
		r.send(t)
	}
	want := map[string]int64{"2026-03-05": 2, "2026-04-03": 2, "2026-04-27": 2, "2026-05-04": 2} // what falls on a Saturday is said on the Friday before
	if len(made) != len(want) {
		t.Errorf("notices were made on %v, want %v", made, want)
	}
	for d, n := range want {
		if made[d] != n {
			t.Errorf("on %s: %d notices, want %d", d, made[d], n)
		}
	}
	for _, recipient := range []uuid.UUID{holder, dispatcher.PersonID} {
		wantTold(t, r.told(t, recipient), "runs_out_in_60 sent", "runs_out_in_30 sent", "runs_out_in_7 sent", "runs_out sent")
	}
	list := post.collect()
	if len(list) != 8 {
		t.Fatalf("%d letters", len(list))
	}
	for _, l := range list {
		if l.Address == "milo@office.example" && !strings.Contains(l.Subject, "Your inspector's certificate runs out") || !strings.Contains(l.Text, "Milo Brandt: certificate F-12 (Inspectors' guild) runs out") ||
			strings.Contains(l.Text, "⟦") {
			t.Errorf("%s\n%s\n%s", l.Address, l.Subject, l.Text)
		}
	}
	if n := r.count(t, "select count(*) from notice where customer_id is not null or site_id is not null"); n != 0 {
		t.Errorf("%d notices about a certificate are of a site", n)
	}
}

func TestAfterAStandstillTheHighestRungIsToldOnceAndTheLowerOnesAreWrittenDown(t *testing.T) {
	t.Parallel()
	r, post, holder, _ := expiring(t)
	r.now = fiveUTC(day("2026-03-05"))
	r.queue(t, "2026-03-05")
	r.send(t)
	post.collect()
	r.now = fiveUTC(day("2026-05-20")) // nothing ran for two months
	var servers sync.WaitGroup
	for range 3 {
		servers.Go(func() {
			if _, err := r.QueueNotices(t.Context(), day("2026-05-20")); err != nil {
				t.Error(err)
			}
		})
	}
	servers.Wait()
	r.send(t)
	r.send(t)
	wantTold(t, r.told(t, holder), "runs_out_in_60 sent", "runs_out_in_30 superseded higher_rung", "runs_out_in_7 superseded higher_rung", "runs_out sent")
	list := post.collect()
	if len(list) != 2 || !strings.Contains(list[0].Text, "RAN OUT 16 days ago") {
		t.Errorf("%v", list)
	}
	// What ran out long ago, or was recorded as history, is worth no notice.
	r.certificate(t, holder, "fire", "OLD", "2020-01-01", "2026-04-30")
	r.now = fiveUTC(day("2026-07-20"))
	if n := r.queue(t, "2026-07-20"); n != 0 {
		t.Errorf("%d more notices", n)
	}
}

func TestARenewedCertificateStopsTheNoticesAlsoThoseThatWait(t *testing.T) {
	t.Parallel()
	r, post, holder, _ := expiring(t)
	r.now = fiveUTC(day("2026-04-27"))
	r.queue(t, "2026-04-27")
	renewed := r.certificate(t, holder, "full_energy", "F-13", "2026-05-05", "2028-05-04") // before the letters are written
	r.certificate(t, holder, "revolving", "R-1", "2026-04-01", "2026-06-30")               // of another kind: renews nothing
	r.send(t)
	wantTold(t, r.told(t, holder), "runs_out_in_60 superseded higher_rung", "runs_out_in_30 superseded higher_rung", "runs_out_in_7 withdrawn certificate_renewed")
	if list := post.collect(); len(list) != 0 {
		t.Errorf("letters %v", list)
	}
	r.now = fiveUTC(day("2026-05-04"))
	if n := r.queue(t, "2026-05-04"); n != 2 { // of the other kind alone
		t.Errorf("%d notices", n)
	}
	// A renewal that is ended on its first day runs out itself, and one that begins days later does not go on from it.
	r.endCertificate(t, holder, renewed, "2026-05-05")
	r.certificate(t, holder, "full_energy", "F-14", "2026-05-08", "")
	r.queue(t, "2026-05-04")
	if n := r.count(t, "select count(*) from notice where qualification_id = $1 and state = 'queued' and rung = 'runs_out_in_7' and due_on = '2026-05-05'", renewed); n != 2 {
		t.Errorf("%d notices of the renewal that was ended", n)
	}
}

func TestWhoMayNotSignInIsNotWarnedAndNobodyIsOfThem(t *testing.T) {
	t.Parallel()
	r, post, holder, _ := expiring(t)
	r.now = fiveUTC(day("2026-04-27"))
	r.queue(t, "2026-04-27")
	if _, err := r.db.Admin.Exec(t.Context(), "update person set disabled_at = now() where person_id = $1", holder); err != nil {
		t.Fatal(err)
	}
	r.send(t)
	for _, recipient := range []uuid.UUID{holder, dispatcher.PersonID} {
		told := r.told(t, recipient)
		if told[len(told)-1] != "runs_out_in_7 withdrawn holder_gone" {
			t.Error(told)
		}
	}
	if n := r.queue(t, "2026-05-04"); n != 0 || len(post.collect()) != 0 {
		t.Errorf("%d notices", n)
	}
}

func TestARungOfACertificateHasItsTurnByTheOfficesWorkingDays(t *testing.T) {
	t.Parallel()
	for _, c := range []struct{ until, today, want string }{
		{"2026-05-04", "2026-03-04", ""}, {"2026-05-04", "2026-03-05", "runs_out_in_60"}, {"2026-05-04", "2026-05-04", "runs_out"},
	} {
		rung, _, _ := duedate.RungDue(duedate.ExpiryLadder(), day(c.until), day(c.today), duedate.Calendar{})
		if rung.Code != c.want {
			t.Errorf("%s of %s: %q, want %q", c.today, c.until, rung.Code, c.want)
		}
	}
}
