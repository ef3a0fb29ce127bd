package console_test

import (
	"net/http"
	"net/url"
	"regexp"
	"strings"
	"testing"

	"github.com/emersion/go-ical"

	"lintel.example/lintel/internal/fleet"
)

func TestACalendarIsMadeSubscribedToAndTakenBackOnThePages(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	site := w.site.SiteID.String()
	if link := w.agent.get(t, "/sites/"+site).want(t, 200, "Calendars for other programs"); !strings.Contains(link.body, "/calendar-feeds?site="+site) {
		t.Error("no link on the site's page")
	}
	form := w.agent.get(t, "/calendar-feeds?site="+site).want(t, 200, "The caretaker's telephone", "without signing in")
	sent := url.Values{"feed_id": {form.hidden(t, "feed_id")}, "/site_id": {site}, "/note": {"Agent's desk"}}
	made := w.agent.post(t, "/calendar-feeds", sent).want(t, 200, "shown this once", "Agent's desk", "Eve Sorrel", "never")
	address := regexp.MustCompile(`https?://([^/<]+)(/calendar/lintel_[\w-]+\.ics)`).FindStringSubmatch(made.body)
	if address == nil {
		t.Fatal("no address in", made.body)
	}
	w.agent.post(t, "/calendar-feeds", sent).want(t, 200, "Agent's desk").lacks(t, "shown this once", address[2])

	stranger := w.nobody()
	got := stranger.send(t, http.MethodGet, address[2], nil)
	c, err := ical.NewDecoder(strings.NewReader(got.body)).Decode()
	if err != nil || got.status != 200 || len(c.Events()) == 0 || got.header.Get("Content-Type") != "text/calendar; charset=utf-8; method=PUBLISH" || got.header.Get("Cache-Control") != "private, no-cache" {
		t.Fatalf("%d %v %v\n%s", got.status, got.header, err, got.body)
	}
	tag := got.header.Get("ETag")
	for name, c := range map[string]struct {
		method, match string
		status        int
	}{
		"the same": {http.MethodGet, tag, 304}, "the same, weakly, among others": {http.MethodGet, `"x", W/` + tag, 304}, "any": {http.MethodGet, "*", 304},
		"another": {http.MethodGet, `"x"`, 200}, "only the head": {http.MethodHead, "", 200}, "only the head of the same": {http.MethodHead, tag, 304},
	} {
		r := stranger.sendWith(t, c.method, address[2], nil, http.Header{"If-None-Match": {c.match}})
		if r.status != c.status || r.header.Get("ETag") != tag || (c.status == 304 || c.method == http.MethodHead) != (r.body == "") {
			t.Errorf("%s: %d, %q, %d bytes", name, r.status, r.header.Get("ETag"), len(r.body))
		}
	}
	if strings.Contains(w.log.String(), address[2]) || !strings.Contains(w.log.String(), "/calendar/{file}") {
		t.Error("the log has the address, or not the read")
	}
	none := stranger.send(t, http.MethodGet, fleet.CalendarPath("lintel_none"), nil)
	list := w.agent.get(t, "/calendar-feeds?site="+site).want(t, 200, "Agent's desk")
	ask := regexp.MustCompile(`/calendar-feeds/[0-9a-f-]+/revoke`).FindString(list.body) // the newest first
	w.technician.get(t, ask).want(t, 200)
	w.technician.post(t, ask, url.Values{}).want(t, 403)
	w.agent.get(t, ask).want(t, 200, "at once and for good")
	w.agent.post(t, ask, url.Values{}).leads(t, "/calendar-feeds?site="+site)
	w.agent.get(t, "/calendar-feeds?site="+site).want(t, 200, "taken back")
	gone := stranger.send(t, http.MethodGet, address[2], nil)
	unsame := regexp.MustCompile(`[0-9a-f]{8}-[0-9a-f-]{27}`)
	if gone.status != 404 || none.status != 404 || unsame.ReplaceAllString(gone.body, "") != unsame.ReplaceAllString(none.body, "") {
		t.Errorf("taken back %d, never there %d, and not alike", gone.status, none.status)
	}
	stranger.get(t, strings.TrimSuffix(address[2], ".ics")).want(t, 404)

	w.technician.get(t, "/me").want(t, 200, "Calendars for other programs")
	own := w.technician.get(t, "/calendar-feeds").want(t, 200, "Cato Wren").lacks(t, "caretaker")
	w.technician.post(t, "/calendar-feeds", url.Values{"feed_id": {own.hidden(t, "feed_id")}, "/person_id": {w.technician.actor.PersonID.String()}, "/note": {strings.Repeat("x", 201)}}).want(t, 422, "200")
	w.technician.post(t, "/calendar-feeds", url.Values{"feed_id": {own.hidden(t, "feed_id")}, "/person_id": {w.technician.actor.PersonID.String()}}).want(t, 200, "shown this once")
	w.dispatcher.get(t, "/calendar-feeds").want(t, 200, "Cato Wren", "An address is made at a site")
	w.support.get(t, "/calendar-feeds").want(t, 403)
}
