package console_test

import (
	"net/url"
	"testing"
	"time"
)

func TestWhoWorksAloneIsSeenLateTakenAndBack(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	w.support.get(t, "/alone").want(t, 200, "Cato Wren", "Quay House, roof", "not back yet", "no emergency service").lacks(t, "late by", "I see to it", "Is back")
	w.technician.get(t, "/alone").want(t, 200, "Is back", "Needs until then")
	w.dispatcher.get(t, "/alone").want(t, 200, "I myself").lacks(t, "nobody yet")
	w.agent.get(t, "/alone").want(t, 403)

	w.now = w.now.Add(40 * time.Minute)
	page := w.support.get(t, "/alone").want(t, 200, "late by 11 minutes", "I see to it")
	w.technician.get(t, "/alone").lacks(t, "I see to it")
	take := url.Values{"event_id": {page.hidden(t, "event_id")}, "/kind": {"taken"}, "/note": {"I telephone the porter"}}
	path := "/alone/" + w.watch.String() + "/events"
	for range 2 { // pressed twice
		w.support.post(t, path, take).leads(t, "/alone")
	}
	w.dispatcher.get(t, "/alone").want(t, 200, "Dee Alder sees to it", "I telephone the porter").lacks(t, ">I see to it")

	longer := url.Values{"event_id": {w.id().String()}, "/kind": {"extended"}, "/back_by": {w.now.UTC().Add(time.Hour).Format("2006-01-02T15:04")}}
	w.technician.post(t, path, longer).leads(t, "/alone")
	w.dispatcher.get(t, "/alone").want(t, 200, "not back yet").lacks(t, "sees to it")
	past := url.Values{"event_id": {w.id().String()}, "/kind": {"extended"}, "/back_by": {"2020-01-01T10:00"}}
	w.technician.post(t, path, past).want(t, 422, "Somebody is back later than now")
	w.technician.post(t, path, url.Values{"event_id": {w.id().String()}, "/kind": {"ended"}}).leads(t, "/alone")
	w.dispatcher.get(t, "/alone").want(t, 200, "Nobody is recorded as working alone.")

	// The office begins one for somebody; a form sent twice begins one.
	begin := url.Values{"watch_id": {w.id().String()}, "/person_id": {w.technician.actor.PersonID.String()}, "/place": {"Plant room"}, "/back_by": {w.now.UTC().Add(time.Hour).Format("2006-01-02T15:04")}}
	for range 2 {
		w.dispatcher.post(t, "/alone", begin).leads(t, "/alone")
	}
	w.dispatcher.get(t, "/alone").want(t, 200, "Cato Wren", "Plant room")
	w.technician.post(t, "/alone", url.Values{"watch_id": {w.id().String()}, "/place": {""}, "/back_by": {""}}).want(t, 422, "One thing is not right yet")
}
