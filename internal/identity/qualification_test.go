package identity_test

import (
	"testing"

	"lintel.example/lintel/internal/duedate"
	"lintel.example/lintel/internal/identity"
)

func day(text string) duedate.Day {
	d, err := duedate.ParseDay(text)
	if err != nil {
		panic(err)
	}
	return d
}

func TestACertificateStaysWhatItSaysButMayEndEarlier(t *testing.T) {
	t.Parallel()
	r := newPeople(t)
	who, _ := r.settled(t, "dee@lintel.example", identity.Dispatcher)
	p, _ := r.person(t, "ada@lintel.example", identity.Technician)
	first := identity.Qualification{PersonID: p.PersonID, QualificationID: r.id(), Scheme: "Inspectors' guild", Number: "G-17", ValidFrom: day("2025-05-01"), ValidUntil: day("2028-04-30")}
	put := func(change func(*identity.Qualification)) (identity.Qualification, bool, error) {
		q := first
		change(&q)
		return r.PutQualification(t.Context(), who, q, "")
	}
	same := func(*identity.Qualification) {}
	if _, created, err := put(same); err != nil || !created {
		t.Fatalf("%v, %v", created, err)
	}
	if _, created, err := put(same); err != nil || created {
		t.Errorf("again: %v, %v", created, err)
	}
	for pointer, change := range map[string]func(*identity.Qualification){
		"/scheme":      func(q *identity.Qualification) { q.Scheme = "another" },
		"/number":      func(q *identity.Qualification) { q.Number = "G-18" },
		"/valid_from":  func(q *identity.Qualification) { q.ValidFrom = day("2025-05-02") },
		"/valid_until": func(q *identity.Qualification) { q.ValidUntil = day("2028-05-01") },
	} {
		_, _, err := put(change)
		wantFault(t, err, "qualification_differs at "+pointer)
	}
	_, _, err := put(func(q *identity.Qualification) { q.ValidUntil = duedate.Day{} })
	wantFault(t, err, "qualification_differs at /valid_until")
	withdrawn, created, err := put(func(q *identity.Qualification) { q.ValidUntil = day("2026-03-02") })
	if err != nil || created || withdrawn.ValidUntil != day("2026-03-02") {
		t.Errorf("%+v, %v, %v", withdrawn, created, err)
	}
	list, err := r.Qualifications(t.Context(), who, p.PersonID, identity.Page{Limit: 10})
	if err != nil || len(list) != 1 || list[0].ValidUntil != day("2026-03-02") || list[0].ValidFrom != first.ValidFrom || list[0].Number != "G-17" {
		t.Errorf("%+v, %v", list, err)
	}
	if n := r.count(t, `select count(*) from audit_event where action = 'qualification_recorded' and subject_id = $1`, p.PersonID.String()); n != 2 {
		t.Errorf("%d events, want one for each change", n)
	}
}

func TestAWrongCertificateIsRefused(t *testing.T) {
	t.Parallel()
	r := newPeople(t)
	p, _ := r.person(t, "ada@lintel.example", identity.Technician)
	_, _, err := r.PutQualification(t.Context(), program, identity.Qualification{PersonID: p.PersonID, QualificationID: r.id()}, "")
	wantFault(t, err, "text_missing at /scheme", "text_missing at /number", "date_missing at /valid_from")
	q := identity.Qualification{PersonID: p.PersonID, QualificationID: r.id(), Scheme: "guild", Number: "1", ValidFrom: day("2026-01-02"), ValidUntil: day("2026-01-01")}
	_, _, err = r.PutQualification(t.Context(), program, q, "")
	wantFault(t, err, "before_its_beginning at /valid_until")
	q.ValidFrom, q.ValidUntil = day("1600-01-01"), day("9999-12-31")
	_, _, err = r.PutQualification(t.Context(), program, q, "")
	wantFault(t, err, "date_implausible at /valid_from", "date_implausible at /valid_until")
	q.ValidFrom = day("2026-01-02")
	q.PersonID, q.ValidUntil = r.id(), duedate.Day{}
	_, _, err = r.PutQualification(t.Context(), program, q, "")
	wantFault(t, err, "person_not_found")
	who, _ := r.settled(t, "bo@lintel.example", identity.Technician)
	q.PersonID = who.PersonID
	_, _, err = r.PutQualification(t.Context(), who, q, "")
	wantFault(t, err, "not_allowed")
}
