package console_test

import (
	"net/url"
	"testing"
)

// sent is what a browser sends of the form for a ladder of two rungs.
func ladderSent(id, customer string) url.Values {
	return url.Values{"ladder_id": {id}, "customer": {customer}, "/effective_on": {"2026-03-03"}, "/reason": {"Their board wants it."}, "/unsafe_again_hours": {"12"},
		"/mail_from": {"09:00"}, "/mail_until": {"17:00"}, "/rest_days": {"sunday"}, "/office_time_zone": {"UTC"},
		"/rungs/0/code": {"in_five_days"}, "/rungs/0/offset_days": {"-5"}, "/rungs/0/to": {"owner", "named_person"},
		"/rungs/1/code": {""}, "/rungs/1/offset_days": {""}, // left out
		"/rungs/2/code": {"last_word"}, "/rungs/2/offset_days": {"20"}, "/rungs/2/to": {"owner"}, "/rungs/2/final": {"yes"}}
}

func TestALadderOfACustomerIsMadeShownAndGivenBack(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	customer := w.customer.CustomerID.String()
	path := "/ladders?customer=" + customer
	w.dispatcher.get(t, "/ladders").want(t, 200, "built in", "30 days before the due day", "named for escalation", "Final notice", "Nobody has made a ladder yet").lacks(t, "Make another ladder")
	w.dispatcher.get(t, path).want(t, 200, "Harbour Clinics", "The company's holds")
	id := w.admin.get(t, "/ladders/new?customer="+customer).want(t, 200, "One more step", "overdue_30").holds(t, "/rungs/1/offset_days", "-30").hidden(t, "ladder_id")
	wrong := ladderSent(id, customer)
	wrong.Set("/rungs/2/offset_days", "soon")
	wrong.Set("/unsafe_again_hours", "1000")
	w.admin.post(t, "/ladders", wrong).want(t, 422).holds(t, "/rungs/1/offset_days", "soon").holds(t, "/reason", "Their board wants it.")
	if n := w.count(t, "select count(*) from ladder"); n != 0 {
		t.Errorf("%d ladders after a form that was wrong", n)
	}
	for range 2 { // sent twice it is made once
		w.admin.post(t, "/ladders", ladderSent(id, customer)).leads(t, path)
	}
	w.dispatcher.get(t, path).want(t, 200, "has a ladder of its own", "5 days before the due day", "owner, named for escalation", "last_word", "Sunday", "09:00", "climbs the same steps").lacks(t, "overdue_30")
	w.dispatcher.get(t, "/ladders").want(t, 200, "overdue_30", "Their board wants it.", "Harbour Clinics")
	back := ladderSent(w.id().String(), customer)
	back.Set("as_company", "yes")
	w.admin.post(t, "/ladders", back).leads(t, path)
	w.dispatcher.get(t, path).want(t, 200, "no ladder of its own", "overdue_30", "holds again")
	w.dispatcher.get(t, "/customers/"+customer).want(t, 200, "Who is told when")
}
