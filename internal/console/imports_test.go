package console_test

import (
	"net/url"
	"testing"

	"github.com/google/uuid"

	"lintel.example/lintel/internal/fleet"
)

func TestAListIsTriedThenBroughtInThenTakenBack(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	d := w.dispatcher
	list := []byte("Customer,Site,Door,Kind,Leaves,Next due\nFir Markets,Market,Front,sliding,2,03/04/2026\nFir Markets,Market,Back,swinging,1,04/05/2026\nFir Markets,Market,Odd,hovering,1,04/05/2026\n")
	said := url.Values{"do": {"try"}, "country": {"US"}, "jurisdiction": {"US-IL"}, "time_zone": {"America/Chicago"}}
	d.upload(t, "/imports", said, "doors.csv", nil).want(t, 422, "Choose a list.")
	d.upload(t, "/imports", said, "doors.csv", make([]byte, 7<<20)).want(t, 413)
	d.upload(t, "/imports", said, "doors.csv", []byte("\x00\x01\x02")).want(t, 422).holds(t, "time_zone", "America/Chicago")
	before := w.count(t, "select count(*) from door")
	d.upload(t, "/imports", said, "doors.csv", list).want(t, 200, "3 rows are bad.", "hovering", "What to do")
	said.Set("dates", "day-first")
	page := d.upload(t, "/imports", said, "doors.csv", list).want(t, 200, "tried only, nothing is kept", "3 rows below the headings in row 1.", "One row is bad.", "hovering", "Bring in the good rows only").lacks(t, "Bring in all of it")
	if n := w.count(t, "select count(*) from door"); n != before {
		t.Fatalf("trying a list left %d doors, %d before", n, before)
	}
	form := page.filled()
	form.Set("do", "good_rows")
	done := d.upload(t, "/imports", form, "", nil)
	path := done.header.Get("Location")
	done.leads(t, path)
	d.get(t, path).want(t, 200, "doors.csv", "brought in", "What it did")
	if n := w.count(t, "select count(*) from door"); n != before+2 {
		t.Fatalf("%d doors, %d before", n, before)
	}
	d.get(t, "/imports").want(t, 200, "doors.csv", "depot.csv", "Bo Tanager")
	door := uuid.MustParse(w.text(t, "select door_id::text from door where name = 'Front'"))
	order := must[fleet.WorkOrder](t)(w.PutWorkOrder(t.Context(), d.actor, fleet.WorkOrder{WorkOrderID: w.id(), DoorID: door, Kind: "service", DueOn: day("2026-03-12")}, 0))
	d.get(t, path+"/undo").want(t, 200, "is removed")
	d.post(t, path+"/undo", url.Values{}).want(t, 409, "has got a work order", "brought in")
	if order.WorkOrderID == uuid.Nil || w.count(t, "select count(*) from door") != before+2 {
		t.Error("what was in the way was removed")
	}
	other := "/imports/" + w.list.String()
	d.post(t, other+"/undo", url.Values{}).leads(t, other)
	d.get(t, other).want(t, 200, "taken back").lacks(t, "/undo")
	w.support.get(t, "/imports").want(t, 403)
}

// text looks with a superuser's eyes.
func (d *desk) text(t testing.TB, query string) (s string) {
	t.Helper()
	if err := d.db.Admin.QueryRow(t.Context(), query).Scan(&s); err != nil {
		t.Fatal(err)
	}
	return s
}
