package api_test

import (
	"net/http"
	"slices"
	"testing"
	"time"
)

// planBody is a yearly plan that is first due on a day.
func planBody(anchor string) map[string]any {
	return map[string]any{"interval_months": 12, "regime": "anniversary", "tolerance_days": 30, "lead_days": 30, "anchor_on": anchor, "active": true}
}

// items are the objects of a list in an answer.
func (a answer) items(t testing.TB, name string) (list []map[string]any) {
	t.Helper()
	values, ok := a.members[name].([]any)
	if !ok {
		t.Fatalf("no list %q in %s", name, a.text)
	}
	for _, v := range values {
		list = append(list, v.(map[string]any))
	}
	return list
}

func TestAPlanIsMadeAndChangedThroughTheAPI(t *testing.T) {
	t.Parallel()
	o := newOffice(t)
	plans := "/v1/doors/" + o.door() + "/plans"
	path := plans + "/" + o.id().String()
	made := o.put(path, planBody("2026-03-20")).want(t, http.StatusCreated, "")
	if made.member("next_due") != "2026-03-20" || made.header.Get("ETag") != `"1"` {
		t.Errorf("%s, ETag %s", made.text, made.header.Get("ETag"))
	}
	o.put(path, planBody("2026-03-20")).want(t, http.StatusOK, "")
	o.put(path, planBody("2026-06-01")).want(t, http.StatusPreconditionRequired, "version_required")
	o.put(path, planBody("2026-06-01"), "If-Match", `"9"`).want(t, http.StatusPreconditionFailed, "version_differs")
	if moved := o.put(path, planBody("2026-06-01"), "If-Match", `"1"`).want(t, http.StatusOK, ""); moved.member("next_due") != "2026-06-01" {
		t.Errorf("moved: %s", moved.text)
	}
	o.put(plans+"/"+o.id().String(), planBody("2026-03-20")).want(t, http.StatusConflict, "plan_exists")
	ended := with(planBody("2025-03-20"), "active", false)
	o.put(plans+"/"+o.id().String(), ended).want(t, http.StatusCreated, "")
	list := o.get(plans).want(t, http.StatusOK, "").items(t, "plans")
	if len(list) != 2 || list[0]["active"] != true || list[1]["active"] != false {
		t.Errorf("plans %v", list)
	}
	for pointer, body := range map[string]map[string]any{
		"#/lead_days":       with(planBody("2026-03-20"), "lead_days", 31),
		"#/tolerance_days":  with(planBody("2026-03-20"), "tolerance_days", 200),
		"#/anchor_on":       planBody("2026-02-30"),
		"#/interval_months": with(planBody("2026-03-20"), "interval_months", 0),
	} {
		got := o.put(plans+"/"+o.id().String(), body)
		if got.status != http.StatusUnprocessableEntity || !slices.Contains(got.pointers(), pointer) {
			t.Errorf("want a fault at %s, got %s", pointer, got.text)
		}
	}
}

func TestWorkIsOrderedThroughTheAPI(t *testing.T) {
	t.Parallel()
	o := newOffice(t)
	door, path := o.door(), "/v1/work-orders/"+o.id().String()
	body := map[string]any{"door_id": door, "kind": "service", "due_on": "2026-03-02", "note": "yearly service"}
	o.put(path, body).want(t, http.StatusCreated, "")
	o.put(path, body).want(t, http.StatusOK, "")
	o.put(path, with(body, "kind", "repair"), "If-Match", `"1"`).want(t, http.StatusConflict, "work_order_differs")
	o.put(path, with(body, "door_id", o.id().String())).want(t, http.StatusUnprocessableEntity, "door_not_found")
	o.put(path, with(body, "due_on", "2026-03-05")).want(t, http.StatusPreconditionRequired, "version_required")

	o.put(path+"/assignment", map[string]any{"assigned_to": o.id().String()}, "If-Match", `"1"`).want(t, http.StatusUnprocessableEntity, "no_technician")
	planned := o.put(path+"/assignment", map[string]any{"planned_on": "2026-03-04"}, "If-Match", `"1"`).want(t, http.StatusOK, "")
	if planned.member("planned_on") != "2026-03-04" || planned.header.Get("ETag") != `"2"` {
		t.Errorf("%s, ETag %s", planned.text, planned.header.Get("ETag"))
	}
	if late := o.get("/v1/work-orders?overdue=true").want(t, http.StatusOK, "").items(t, "work_orders"); len(late) != 1 {
		t.Errorf("%d overdue", len(late))
	}
	o.put(path+"/cancellation", map[string]any{"reason": "The door is gone."}, "If-Match", `"1"`).want(t, http.StatusPreconditionFailed, "version_differs")
	if ended := o.put(path+"/cancellation", map[string]any{"reason": "The door is gone."}, "If-Match", `"2"`).want(t, http.StatusOK, ""); ended.member("state") != "cancelled" {
		t.Errorf("%s", ended.text)
	}
	if got := o.get(path).want(t, http.StatusOK, ""); got.member("note") != "yearly service" || got.member("state_why") != "The door is gone." || got.member("state_by") == "" || got.header.Get("ETag") != `"3"` {
		t.Errorf("%s", got.text)
	}
	o.get("/v1/work-orders/"+o.id().String()).want(t, http.StatusNotFound, "work_order_not_found")

	for i := range 5 {
		o.put("/v1/work-orders/"+o.id().String(), with(body, "due_on", []string{"2026-04-01", "2026-04-02"}[i%2])).want(t, http.StatusCreated, "")
	}
	seen := 0
	for next := ""; ; {
		page := o.get("/v1/work-orders?state=open&limit=2&after="+next).want(t, http.StatusOK, "")
		seen += len(page.items(t, "work_orders"))
		if next = page.member("next"); next == "" {
			break
		}
	}
	if seen != 5 {
		t.Errorf("%d orders page by page, want 5", seen)
	}
	o.get("/v1/work-orders?after=%21").want(t, http.StatusUnprocessableEntity, "page_unknown")
}

func TestTheLedgerIsReadThroughTheAPI(t *testing.T) {
	t.Parallel()
	o := newOffice(t)
	for i := range 3 {
		if _, err := o.db.Admin.Exec(t.Context(), `insert into job_run (job, scheduled_for, as_of, state, result) values ('due_work_orders', $1::timestamptz, ($1::timestamptz at time zone 'UTC')::date, 'done', '{"made": 2}')`,
			o.now.AddDate(0, 0, -i).Truncate(time.Hour)); err != nil {
			t.Fatal(err)
		}
	}
	first := o.get("/v1/job-runs?limit=2").want(t, http.StatusOK, "")
	runs := first.items(t, "job_runs")
	if len(runs) != 2 || runs[0]["as_of"] != "2026-03-03" || runs[0]["state"] != "done" || runs[0]["title"] == "" {
		t.Errorf("%s", first.text)
	}
	rest := o.get("/v1/job-runs?limit=2&after="+first.member("next")).want(t, http.StatusOK, "").items(t, "job_runs")
	if len(rest) != 1 || rest[0]["as_of"] != "2026-03-01" {
		t.Errorf("%v", rest)
	}
	if none := o.get("/v1/job-runs?job=queue_notices").want(t, http.StatusOK, "").items(t, "job_runs"); len(none) != 0 {
		t.Errorf("%v", none)
	}
}
