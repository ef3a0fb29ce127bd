package fleet_test

import (
	"errors"
	"strings"
	"testing"
	"time"

	"github.com/google/uuid"

	"lintel.example/lintel/internal/fault"
	"lintel.example/lintel/internal/fleet"
	"lintel.example/lintel/internal/identity"
)

// aloneHere makes an office of a dispatcher and two administrators, and somebody who works alone.
func (r *rig) aloneHere(t testing.TB) (alone, chief identity.Actor) {
	t.Helper()
	r.dispatcherHere(t)
	alone = identity.Actor{PersonID: uuid.MustParse("01950000-0000-7000-8000-00000000a10e"), Name: "Ivo Marsh", Role: identity.Technician, ScopeKind: identity.ScopeAll}
	chief = identity.Actor{PersonID: uuid.MustParse("01950000-0000-7000-8000-0000000000c1"), Name: "Noor Ek", Role: identity.Administrator, ScopeKind: identity.ScopeAll}
	for _, p := range []struct {
		id                uuid.UUID
		name, email, role string
	}{{alone.PersonID, alone.Name, "ivo@office.example", "technician"}, {chief.PersonID, chief.Name, "noor@office.example", "administrator"},
		{uuid.MustParse("01950000-0000-7000-8000-0000000000c2"), "Pia Lund", "pia@office.example", "administrator"}} {
		if _, err := r.db.Admin.Exec(t.Context(), `insert into person (person_id, email, name, role, scope_kind, created_at) values ($1, $2, $3, $4, 'all', now())`, p.id, p.email, p.name, p.role); err != nil {
			t.Fatal(err)
		}
	}
	return alone, chief
}

func (r *rig) watch(t testing.TB, by identity.Actor, backIn time.Duration) fleet.Watch {
	t.Helper()
	w, created, err := r.PutWatch(t.Context(), by, fleet.Watch{WatchID: r.id(), Place: "Harbour Library, plant room", Note: "Porter: +1 555 0142", BackBy: r.now.Add(backIn)})
	if err != nil || !created {
		t.Fatal(created, err)
	}
	return w
}

func (r *rig) alarmed(t testing.TB, post *letters, want ...string) []fleet.Letter {
	t.Helper()
	if _, err := r.AlarmWatches(t.Context()); err != nil {
		t.Fatal(err)
	}
	list := post.collect()
	if got := strings.Join(addresses(list), " "); got != strings.Join(want, " ") {
		t.Errorf("at %s the alarm went to %q, want %q", r.now.Format("15:04"), got, want)
	}
	return list
}

func TestWhoIsNotBackIsToldOfAtOnceAndToMorePeopleUntilSomebodyTakesIt(t *testing.T) {
	r := newFleet(t)
	post := r.withPost(t)
	alone, chief := r.aloneHere(t)
	r.now = time.Date(2026, 3, 8, 2, 0, 0, 0, time.UTC) // a Sunday night: no hour at which other mail goes out
	w := r.watch(t, alone, time.Hour)
	const ada, noor, pia = "ada@office.example", "noor@office.example", "pia@office.example"
	r.pass(time.Hour)
	r.alarmed(t, post)
	r.pass(time.Minute)
	told := r.alarmed(t, post, ada)
	for _, want := range []string{"Ivo Marsh", "Harbour Library, plant room", "+1 555 0142", "2026-03-08 03:00 UTC", "emergency services"} {
		if len(told) == 1 && !strings.Contains(told[0].Text, want) {
			t.Errorf("%q is not said in\n%s", want, told[0].Text)
		}
	}
	r.pass(time.Minute)
	r.alarmed(t, post) // once a step
	r.pass(10 * time.Minute)
	r.alarmed(t, post, ada, noor)
	r.pass(10 * time.Minute)
	r.alarmed(t, post, ada, noor, pia)
	r.pass(45 * time.Minute) // nobody looked for a while: the latest step alone
	r.alarmed(t, post, ada, noor, pia)

	if _, _, err := r.PutWatchEvent(t.Context(), alone, fleet.WatchEvent{WatchID: w.WatchID, EventID: r.id(), Kind: "taken"}); !fault.Is(err, "watch_taken_by_self") {
		t.Errorf("who works alone took their own alarm: %v", err)
	}
	taken := fleet.WatchEvent{WatchID: w.WatchID, EventID: r.id(), Kind: "taken", Note: "I drive there"}
	for range 2 {
		if got, _, err := r.PutWatchEvent(t.Context(), chief, taken); err != nil || got.TakenBy != chief.PersonID {
			t.Fatal(got, err)
		}
	}
	r.pass(time.Hour)
	r.alarmed(t, post)

	// They answer, need longer, and are late a second time: it begins anew.
	until := r.now.Add(30 * time.Minute)
	if got, _, err := r.PutWatchEvent(t.Context(), alone, fleet.WatchEvent{WatchID: w.WatchID, EventID: r.id(), Kind: "extended", BackBy: &until}); err != nil || got.TakenAt != nil || !got.BackBy.Equal(until) {
		t.Fatal(got, err)
	}
	r.pass(29 * time.Minute)
	r.alarmed(t, post)
	r.pass(2 * time.Minute)
	r.alarmed(t, post, ada)
	if _, _, err := r.PutWatchEvent(t.Context(), alone, fleet.WatchEvent{WatchID: w.WatchID, EventID: r.id(), Kind: "ended"}); err != nil {
		t.Fatal(err)
	}
	r.pass(time.Hour)
	r.alarmed(t, post)
	if open, err := r.WatchesOpen(t.Context(), dispatcher); err != nil || len(open) != 0 {
		t.Errorf("%d are out, %v", len(open), err)
	}
}

func TestAnAlarmThatCouldNotBeHandedOverInTimeIsNotSaidOnceTheyAreBack(t *testing.T) {
	r := newFleet(t)
	post := r.withPost(t)
	alone, _ := r.aloneHere(t)
	w := r.watch(t, alone, time.Hour)
	r.pass(61 * time.Minute)
	post.answers = []error{&fleet.PostFailure{Unreachable: true, Err: errors.New("nobody there")}}
	r.alarmed(t, post, "ada@office.example") // tried, and not taken
	if _, _, err := r.PutWatchEvent(t.Context(), alone, fleet.WatchEvent{WatchID: w.WatchID, EventID: r.id(), Kind: "ended"}); err != nil {
		t.Fatal(err)
	}
	r.pass(2 * time.Minute)
	if _, err := r.WriteLetters(t.Context()); err != nil {
		t.Fatal(err)
	}
	if _, err := r.SendLetters(t.Context()); err != nil {
		t.Fatal(err)
	}
	if list := post.collect(); len(list) != 0 {
		t.Errorf("told of somebody who is back: %v", addresses(list))
	}
	wantTold(t, r.told(t, dispatcher.PersonID), "alone_late withdrawn watch_ended")
}

func TestAWatchIsTakenAsOftenAsItIsSentAndOnlyFromWhomItConcerns(t *testing.T) {
	r := newFleet(t)
	alone, chief := r.aloneHere(t)
	support := identity.Actor{PersonID: r.id(), Role: identity.Support, ScopeKind: identity.ScopeAll}
	put := fleet.Watch{WatchID: r.id(), Place: "Arcade", BackBy: r.now.Add(time.Hour)}
	if _, created, err := r.PutWatch(t.Context(), alone, put); err != nil || !created {
		t.Fatal(created, err)
	}
	r.pass(2 * time.Hour) // the telephone had no signal for its answer
	if w, created, err := r.PutWatch(t.Context(), alone, put); err != nil || created || w.PersonID != alone.PersonID {
		t.Error(w, created, err)
	}
	other := put
	other.Place = "Quay"
	_, _, err := r.PutWatch(t.Context(), alone, other)
	wantFault(t, err, "watch_differs")
	for _, c := range []struct {
		by   identity.Actor
		put  fleet.Watch
		want string
	}{
		{alone, fleet.Watch{WatchID: r.id(), BackBy: r.now.Add(time.Hour)}, "text_missing at /place"},
		{alone, fleet.Watch{WatchID: r.id(), Place: "Plant room\nBcc: somebody@else.example", BackBy: r.now.Add(time.Hour)}, "text_of_lines at /place"}, // it stands in the subject of a mail
		{alone, fleet.Watch{WatchID: r.id(), Place: "Arcade"}, "watch_back_by_missing at /back_by"},
		{alone, fleet.Watch{WatchID: r.id(), Place: "Arcade", BackBy: r.now}, "watch_back_by_impossible at /back_by"},
		{alone, fleet.Watch{WatchID: r.id(), Place: "Arcade", BackBy: r.now.Add(25 * time.Hour)}, "watch_back_by_impossible at /back_by"},
		{support, fleet.Watch{WatchID: r.id(), Place: "Arcade", BackBy: r.now.Add(time.Hour), PersonID: alone.PersonID}, "not_allowed"},
		{chief, fleet.Watch{WatchID: r.id(), Place: "Arcade", BackBy: r.now.Add(time.Hour), PersonID: r.id()}, "person_not_found at /person_id"},
		{alone, fleet.Watch{WatchID: r.id(), Place: "Arcade", BackBy: r.now.Add(time.Hour), VisitID: r.id()}, "visit_not_found at /visit_id"},
	} {
		_, _, err := r.PutWatch(t.Context(), c.by, c.put)
		wantFault(t, err, c.want)
	}
	until := r.now.Add(time.Hour)
	for _, c := range []struct {
		by   identity.Actor
		e    fleet.WatchEvent
		want string
	}{
		{support, fleet.WatchEvent{Kind: "ended"}, "not_allowed"},
		{support, fleet.WatchEvent{Kind: "extended", BackBy: &until}, "not_allowed"},
		{alone, fleet.WatchEvent{Kind: "extended"}, "watch_back_by_missing at /back_by"},
		{alone, fleet.WatchEvent{Kind: "ended", BackBy: &until}, "watch_back_by_superfluous at /back_by"},
		{alone, fleet.WatchEvent{Kind: "lost"}, "word_unknown at /kind"},
	} {
		c.e.WatchID, c.e.EventID = put.WatchID, r.id()
		_, _, err := r.PutWatchEvent(t.Context(), c.by, c.e)
		wantFault(t, err, c.want)
	}
	end := fleet.WatchEvent{WatchID: put.WatchID, EventID: r.id(), Kind: "ended"}
	for i := range 2 {
		if _, created, err := r.PutWatchEvent(t.Context(), dispatcher, end); err != nil || created != (i == 0) {
			t.Error(created, err)
		}
	}
	_, _, err = r.PutWatchEvent(t.Context(), alone, fleet.WatchEvent{WatchID: put.WatchID, EventID: r.id(), Kind: "ended"})
	wantFault(t, err, "watch_ended")
	if told, err := r.Watch(t.Context(), dispatcher, put.WatchID); err != nil || len(told.Events) != 1 {
		t.Error(told, err)
	}
}
