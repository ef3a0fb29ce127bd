package jobs_test

import (
	"context"
	"strings"
	"testing"
	"time"

	"lintel.example/lintel/internal/fleet"
	"lintel.example/lintel/internal/identity"
	"lintel.example/lintel/internal/notify/mailcatcher"
)

// The real runner, the real queue and a real line to a mail server.
func TestTheRunnerTellsTheOfficeOfWhoeverIsNotBack(t *testing.T) {
	h := newHouse(t)
	const insert = `insert into person (person_id, email, name, role, scope_kind, created_at) values (md5($1)::uuid, $1 || '@office.example', $1, $2, 'all', now())`
	for name, role := range map[string]string{"ada": "dispatcher", "ivo": "technician"} {
		if _, err := h.db.Admin.Exec(t.Context(), insert, name, role); err != nil {
			t.Fatal(err)
		}
	}
	alone := identity.Actor{Role: identity.Technician, ScopeKind: identity.ScopeAll}
	if err := h.db.Admin.QueryRow(t.Context(), `select person_id from person where name = 'ivo'`).Scan(&alone.PersonID); err != nil {
		t.Fatal(err)
	}
	back := now().Add(200 * time.Millisecond)
	if _, _, err := h.fleet.PutWatch(t.Context(), alone, fleet.Watch{WatchID: newID(), Place: "Arcade", BackBy: back}); err != nil {
		t.Fatal(err)
	}
	for !now().After(back) {
		time.Sleep(10 * time.Millisecond)
	}
	server := h.runner(t)
	if err := server.Start(t.Context()); err != nil {
		t.Fatal(err)
	}
	waited, cancel := context.WithTimeout(t.Context(), 60*time.Second)
	defer cancel()
	if m, err := h.catcher.Wait(waited, func(m mailcatcher.Message) bool { return m.To == "ada@office.example" }); err != nil || !strings.Contains(m.Subject, "NOT BACK: ivo, Arcade") {
		t.Errorf("%q, %v", m.Subject, err)
	}
	if err := server.Stop(t.Context()); err != nil {
		t.Error(err)
	}
	if said := h.log.String(); said != "" {
		t.Errorf("the queue complains: %s", said)
	}
}
