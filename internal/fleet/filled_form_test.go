package fleet_test

import (
	"testing"
	"time"

	"github.com/google/uuid"

	"lintel.example/lintel/internal/fleet"
)

// filled puts bodies into a form in their order.
func (a attended) filled(bodies ...fleet.EntryBody) (form fleet.FilledForm) {
	for _, b := range bodies {
		form.Entries = append(form.Entries, fleet.FilledEntry{ID: a.id(), Body: b})
	}
	return form
}

func (a attended) entered(t testing.TB, visit uuid.UUID) []fleet.Entry {
	t.Helper()
	_, entries, err := a.Visit(t.Context(), technician, visit)
	if err != nil {
		t.Fatal(err)
	}
	return entries
}

func TestAFormIsTakenWholeOrNotAtAll(t *testing.T) {
	t.Parallel()
	a := newAttended(t)
	a.lawless(t)
	a.nowChanged(t, func(d *fleet.DoorFacts) { d.Egress = nil })
	visit, _, _ := a.walk(t)
	put := func(form fleet.FilledForm, want string) {
		t.Helper()
		_, err := a.PutFilledForm(t.Context(), technician, a.door.DoorID, visit, form)
		wantFault(t, err, want)
		if n := len(a.entered(t, visit)); n != 0 {
			t.Errorf("refused, it left %d entries", n)
		}
		if d, err := a.Door(t.Context(), technician, a.door.DoorID, fleet.AsOf{}); err != nil || d.Facts.Egress != nil {
			t.Errorf("refused, it left the fact %v: %v", d.Facts.Egress, err)
		}
	}
	form := a.filled(madeSafe(), measured("closing_force_n", 90), measured("closing_time_s", -3))
	form.Facts = []fleet.FactAnswer{{Pointer: "/facts/egress", Word: "yes"}}
	put(form, "reading_impossible at /entries/2/reading/value")
	form = a.filled(madeSafe(), measured("closing_force_n", 90), fleet.EntryBody{Kind: "left_out", LeftOut: &fleet.EntryLeftOut{Name: "opening_force_n", Leaf: 5, Reason: "refused", Why: "No."}}) // found out only beside the door
	form.Facts = []fleet.FactAnswer{{Pointer: "/facts/egress", Word: "yes"}}
	put(form, "leaf_not_of_door at /entries/2/left_out/leaf")
	form = a.filled(madeSafe())
	form.Facts = []fleet.FactAnswer{{Pointer: "/facts/energy", Word: "low"}}
	put(form, "fact_not_wanted at /facts/energy")
}

func TestAFormSentTwiceIsEnteredOnceUnderTheMomentOfTheFirst(t *testing.T) {
	t.Parallel()
	a := newAttended(t)
	a.lawless(t)
	a.nowChanged(t, func(d *fleet.DoorFacts) { d.Egress = nil })
	visit, _, _ := a.walk(t)
	form := a.filled(madeSafe(), measured("closing_force_n", 90))
	form.Facts = []fleet.FactAnswer{{Pointer: "/facts/egress", Word: "yes"}}
	for range 2 {
		if _, err := a.PutFilledForm(t.Context(), technician, a.door.DoorID, visit, form); err != nil {
			t.Fatal(err)
		}
		a.pass(time.Minute)
	}
	first := a.entered(t, visit)
	if len(first) != 2 || !first[0].ObservedAt.Equal(first[1].ObservedAt) || first[0].Body.SafeWork == nil {
		t.Errorf("sent twice, it is %+v", first)
	}
	form.Entries[1].Body = measured("closing_force_n", 91)
	_, err := a.PutFilledForm(t.Context(), technician, a.door.DoorID, visit, form)
	wantFault(t, err, "entry_differs at /entries/1/reading/value")
}

func TestAPassedOfAFormIsHeldAgainstEverythingElseThatStandsInIt(t *testing.T) {
	t.Parallel()
	a := newAttended(t)
	a.lawless(t)
	visit, _, _ := a.walk(t)
	wants, err := a.PutFilledForm(t.Context(), technician, a.door.DoorID, visit, a.filled(madeSafe(), concluded("passed")))
	wantFault(t, err, "passed_still_wanting at /entries/1/conclusion/result")
	if n := len(a.entered(t, visit)); len(wants) == 0 || n != 0 {
		t.Errorf("%d things are wanting, %d entries were left", len(wants), n)
	}
	if wants, err = a.PutFilledForm(t.Context(), technician, a.door.DoorID, visit, a.filled(append([]fleet.EntryBody{madeSafe()}, passing()...)...)); err != nil {
		t.Errorf("everything was read, and it wants %+v: %v", wants, err)
	}
}
