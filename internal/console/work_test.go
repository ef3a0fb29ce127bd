package console_test

import (
	"net/url"
	"regexp"
	"strings"
	"testing"
	"time"

	"github.com/google/uuid"

	"lintel.example/lintel/internal/fleet"
)

func TestAWorkOrderIsMadeAssignedMovedAndCancelledByForms(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	form := w.dispatcher.get(t, "/work-orders/new?door="+w.door.DoorID.String()).want(t, 200, "New work order", "Main entrance")
	id := form.hidden(t, "work_order_id")
	sent := url.Values{"work_order_id": {id}, "/door_id": {w.door.DoorID.String()}, "/kind": {"call_out"}, "/due_on": {"2026-03-20"}, "/note": {"Squeaks."}, "/priority": {"urgent"}, "/billing_basis": {"contract"}, "/caller/name": {"Jo Vale"}, "/respond_by": {"2026-03-04T08:00"}}
	bad := url.Values{"work_order_id": {id}, "/door_id": {w.door.DoorID.String()}, "/kind": {"call_out"}, "/due_on": {""}, "/note": {"Squeaks."}, "/priority": {"urgent"}, "/billing_basis": {"contract"}}
	w.dispatcher.post(t, "/work-orders", bad).want(t, 422, "One thing is not right yet", "Squeaks.", "A date is missing.")
	w.dispatcher.post(t, "/work-orders", sent).leads(t, "/work-orders/"+id)
	w.dispatcher.post(t, "/work-orders", sent).leads(t, "/work-orders/"+id) // sent twice, made once
	other := url.Values{"work_order_id": {id}, "/door_id": {w.door.DoorID.String()}, "/kind": {"call_out"}, "/due_on": {"2026-03-21"}, "/priority": {"urgent"}, "/billing_basis": {"contract"}}
	w.dispatcher.post(t, "/work-orders", other).want(t, 409, "This form was sent before") // gone back to and changed
	page := w.dispatcher.get(t, "/work-orders/"+id).want(t, 200, "call-out", "20 March 2026", "Squeaks.", "urgent, respond by 4 March 2026, 08:00 PST", "Jo Vale", "covered by the contract")
	version := page.hidden(t, "version")
	w.dispatcher.post(t, "/work-orders/"+id+"/assign", url.Values{"version": {version}, "/assigned_to": {w.technician.actor.PersonID.String()}, "/planned_on": {"2026-03-19"}}).leads(t, "/work-orders/"+id)
	w.dispatcher.get(t, "/work-orders/"+id).want(t, 200, "Cato Wren, 19 March 2026")
	w.dispatcher.post(t, "/work-orders/"+id, url.Values{"version": {version}, "/due_on": {"2026-03-22"}, "/note": {"Squeaks."}, "/priority": {"urgent"}, "/billing_basis": {"contract"}}).want(t, 412, "It has changed since").holds(t, "/due_on", "2026-03-22")
	version = w.dispatcher.get(t, "/work-orders/"+id).hidden(t, "version")
	w.dispatcher.post(t, "/work-orders/"+id, url.Values{"version": {version}, "/due_on": {"2026-03-22"}, "/note": {"Squeaks loudly."}, "/priority": {"urgent"}, "/billing_basis": {"contract"}}).leads(t, "/work-orders/"+id)
	version = w.dispatcher.get(t, "/work-orders/"+id+"/cancel").want(t, 200, "will not be done").hidden(t, "version")
	w.dispatcher.post(t, "/work-orders/"+id+"/cancel", url.Values{"version": {version}, "/reason": {""}}).want(t, 422, "Cancel this work order")
	w.dispatcher.post(t, "/work-orders/"+id+"/cancel", url.Values{"version": {version}, "/reason": {"Sold."}}).leads(t, "/work-orders/"+id)
	w.dispatcher.get(t, "/work-orders/"+id).want(t, 200, "cancelled", "Squeaks loudly.", "Sold.").lacks(t, "Save")
	version = w.dispatcher.get(t, "/work-orders/"+id+"/reopen").want(t, 200, "It is to be done after all").hidden(t, "version")
	w.dispatcher.post(t, "/work-orders/"+id+"/reopen", url.Values{"version": {version}, "/reason": {"Not sold."}}).leads(t, "/work-orders/"+id)
	version = w.dispatcher.get(t, "/work-orders/"+id+"/done").want(t, 200, "no visit of ours").hidden(t, "version")
	w.dispatcher.post(t, "/work-orders/"+id+"/done", url.Values{"version": {version}, "/reason": {"By the maker."}, "/done_on": {"2026-03-02"}}).leads(t, "/work-orders/"+id)
	w.dispatcher.get(t, "/work-orders/"+id).want(t, 200, "done", "By the maker.")
	w.technician.get(t, "/work-orders/new?door="+w.door.DoorID.String()).want(t, 403)
	w.dispatcher.get(t, "/work-orders?state=done").want(t, 200, "Main entrance")
	w.dispatcher.get(t, "/work-orders?late=1").want(t, 200, "47 days overdue").lacks(t, "Squeaks")
}

func TestAVisitIsMadeByFormsWithoutScript(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	tech, door := w.technician, w.bare.DoorID.String()
	form := tech.get(t, "/visits/new?site="+w.site.SiteID.String()+"&door="+door).want(t, 200, "Begin a visit to Clinic East", "Garden door", "Report at the front desk.", "Cato Wren")
	id := form.hidden(t, "visit_id")
	open := url.Values{"visit_id": {id}, "/site_id": {w.site.SiteID.String()}, "/arrived_at": {form.hidden(t, "/arrived_at")}, "/people": {tech.actor.PersonID.String()}, "/doors": {door}}
	if at := open.Get("/arrived_at"); at != "2026-03-03T09:01:00" {
		t.Errorf("the form says that it is %s in Sacramento", at)
	}
	tech.post(t, "/visits", url.Values{"visit_id": {id}, "/site_id": {w.site.SiteID.String()}, "/arrived_at": {"yesterday"}}).want(t, 422, "This is not a time")
	tech.post(t, "/visits", open).leads(t, "/visits/"+id)
	tech.post(t, "/visits", open).leads(t, "/visits/"+id)
	add := func(kind string, values url.Values) shown {
		w.now = w.now.Add(time.Minute)
		page := tech.get(t, "/visits/"+id+"/entries/new?door="+door+"&kind="+kind).want(t, 200)
		values.Set("/door_id", door)
		values.Set("/kind", kind)
		values.Set("entry_id", page.hidden(t, "entry_id"))
		values.Set("/observed_at", page.hidden(t, "/observed_at"))
		for _, m := range inputs.FindAllStringSubmatch(page.body, -1) {
			if strings.HasPrefix(m[1], "id/") {
				values.Set(m[1], page.hidden(t, m[1]))
			}
		}
		return tech.post(t, "/visits/"+id+"/entries", values)
	}
	add("reading", url.Values{"/reading/closing_force_n": {"fast"}, "/reading/hold_open_s": {"2"}}).want(t, 422, "This is not a value in lbf")
	add("reading", url.Values{"/reading/closing_force_n": {"27"}, "/reading/hold_open_s": {"2"}, "/reading/walk_test_passed": {"yes"}}).leads(t, "/visits/"+id+"#d-"+door)
	add("reading", url.Values{}).want(t, 422, "Nothing was read.")
	add("finding", url.Values{"/finding/severity": {"unsafe"}, "/finding/what": {""}}).want(t, 422)
	add("conclusion", url.Values{}).want(t, 422) // nothing is chosen for anybody
	add("finding", url.Values{"/finding/severity": {"unsafe"}, "/finding/what": {"Glass cracked."}}).leads(t, "/visits/"+id+"#d-"+door)
	add("securing", url.Values{"/securing/how": {"locked"}, "/securing/egress_kept": {"no"}, "/securing/answer": {"acknowledged"}, "/securing/told_name": {"Ida"}}).want(t, 422, "2 things are not right yet").holds(t, "/securing/told_name", "Ida")
	add("securing", url.Values{"/securing/how": {"barriered"}, "/securing/egress_kept": {"yes"}, "/securing/answer": {"acknowledged"}, "/securing/told_name": {"Ida"}}).leads(t, "/visits/"+id+"#d-"+door)
	add("note", url.Values{"/note/text": {"Glazier called."}}).leads(t, "/visits/"+id+"#d-"+door)
	page := tech.get(t, "/visits/"+id).want(t, 200, "27 lbf", "Glass cracked.", "barriered", "Ida: took note.", "Glazier called.", "not signed off yet")
	tech.get(t, "/doors/"+door).want(t, 200, "secured, out of service")

	correct := regexp.MustCompile(`kind=note&amp;corrects=([0-9a-f-]+)`).FindStringSubmatch(page.body)
	form = tech.get(t, "/visits/"+id+"/entries/new?door="+door+"&kind=note&corrects="+correct[1]).want(t, 200, "This corrects an entry", "Glazier called.")
	tech.post(t, "/visits/"+id+"/entries", url.Values{"entry_id": {form.hidden(t, "entry_id")}, "/door_id": {door}, "/kind": {"note"}, "/corrects": {correct[1]}, "/because": {"misheard"}, "/observed_at": {form.hidden(t, "/observed_at")}, "/note/text": {"Glazier comes tomorrow."}}).leads(t, "/visits/"+id+"#d-"+door)
	tech.get(t, "/visits/"+id).want(t, 200, "corrected", "Glazier comes tomorrow.")

	sign := tech.get(t, "/visits/"+id+"/sign-off").want(t, 200, "Glass cracked.", "I have seen and done")
	values := url.Values{"signed_at": {sign.hidden(t, "signed_at")}, "/left_at": {sign.hidden(t, "/left_at")}, "/statement": {"As recorded."}, "/signature": {""}}
	for _, m := range regexp.MustCompile(`name="/entries" value="([^"]+)"`).FindAllStringSubmatch(sign.body, -1) {
		values.Add("/entries", m[1])
	}
	tech.post(t, "/visits/"+id+"/sign-off", values).want(t, 422, "As recorded.")
	values.Set("/signature", "Cato Wren")
	tech.post(t, "/visits/"+id+"/sign-off", values).leads(t, "/visits/"+id)
	tech.post(t, "/visits/"+id+"/sign-off", values).leads(t, "/visits/"+id)
	tech.get(t, "/visits/"+id).want(t, 200, "signed off 3 March 2026").lacks(t, "entries/new")
	w.dispatcher.get(t, "/visits/"+id+"/sign-off").want(t, 403)
	v, entries, err := w.Visit(t.Context(), w.dispatcher.actor, uuid.MustParse(id))
	if err != nil || v.SignedAt == nil || len(entries) != 7 {
		t.Errorf("the visit has %d entries, signed %v: %v", len(entries), v.SignedAt, err)
	}
}

func TestAChangeOfSettingsIsSeenBeforeItIsRecorded(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	path := "/devices/" + w.sensor.String() + "/settings"
	form := w.support.get(t, path).want(t, 200, "Change the settings", "wide", "Height above the floor")
	values := present(t, form)
	values.Set("/standing", "found")
	values.Set("/device/settings/reach_db", "-12")
	values.Set("/reason", "Opens for passers-by.")
	values.Set("do", "preview")
	before := w.count(t, "select count(*) from revision")
	w.support.post(t, path, values).want(t, 200, "What it would do", "would open", "Opens for passers-by.", "After the change",
		"On the floor it watches", "Both over each other", "1, now: ", "WORSE. Now: ")
	if after := w.count(t, "select count(*) from revision"); after != before {
		t.Errorf("looking at a change recorded it: %d revisions, then %d", before, after)
	}
	values.Set("do", "record")
	values.Set("/device/mount/height_m", "high")
	w.support.post(t, path, values).want(t, 422, "A length begins with a number").holds(t, "/device/mount/height_m", "high")
	values.Set("/device/mount/height_m", "2.30 m")
	w.support.post(t, path, values).leads(t, "/doors/"+w.door.DoorID.String()+"#devices")
	w.support.post(t, path, values).leads(t, "/doors/"+w.door.DoorID.String()+"#devices")
	w.support.get(t, "/devices/"+w.sensor.String()).want(t, 200, "-12 dB", "Opens for passers-by.", "Dee Alder", "from the old card")
	if after := w.count(t, "select count(*) from revision"); after != before+1 {
		t.Errorf("%d revisions, then %d", before, after)
	}
	w.technician.get(t, path).want(t, 403)
	w.agent.get(t, "/devices/"+w.sensor.String()).want(t, 200)
}

// What is shown rounded and comes back untouched must not be rounded in the record.
func TestAValueThatNobodyTouchedKeepsItsDigits(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	facts := w.facts(-1)
	facts.Mount.HeightM = fleet.Q(2.30417, fleet.Measured)
	must[fleet.Revision](t)(w.PutRevision(t.Context(), w.dispatcher.actor, fleet.Revision{ComponentID: w.sensor, RevisionID: w.id(), Standing: "left", Reason: "laser", Device: facts}))
	w.now = w.now.Add(time.Minute)
	path := "/devices/" + w.sensor.String() + "/settings"
	form := w.support.get(t, path)
	values := url.Values{"/standing": {"left"}, "/reason": {"tilt only"}, "do": {"record"}}
	for _, m := range inputs.FindAllStringSubmatch(form.body, -1) {
		if strings.HasPrefix(m[1], "/device") || m[1] == "revision_id" {
			values.Set(m[1], form.hidden(t, m[1]))
		}
	}
	for _, m := range regexp.MustCompile(`(?s)<select[^>]* name="([^"]+)".*?</select>`).FindAllStringSubmatch(form.body, -1) {
		if chosen := regexp.MustCompile(`value="([^"]*)" selected`).FindStringSubmatch(m[0]); chosen != nil {
			values.Set(m[1], chosen[1])
		}
	}
	values.Set("/device/mount/tilt_deg", "30")
	w.support.post(t, path, values).leads(t, "/doors/"+w.door.DoorID.String()+"#devices")
	list, _, err := w.Revisions(t.Context(), w.support.actor, fleet.RevisionQuery{ComponentID: w.sensor, Limit: 1})
	if err != nil || *list[0].Device.Mount.HeightM.Value != 2.30417 || *list[0].Device.Mount.TiltDeg.Value != 30 {
		t.Errorf("got %+v, %v", list[0].Device.Mount, err)
	}
}
