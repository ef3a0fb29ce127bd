package console_test

import (
	"net/url"
	"regexp"
	"strings"
	"testing"
)

func TestAPersonIsMadeAndGetsCertificateTokenAndLeave(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	form := w.admin.get(t, "/people/new").want(t, 200, "New person", "Harbour Clinics")
	id := form.hidden(t, "person_id")
	person := url.Values{"person_id": {id}, "/name": {"Gil Marsh"}, "/email": {"gil@harbour.example"}, "/role": {"owner_agent"}, "/scope_kind": {"customers"}}
	w.admin.post(t, "/people", person).want(t, 422).holds(t, "/email", "gil@harbour.example")
	person.Set("/customers", w.customer.CustomerID.String())
	made := w.admin.post(t, "/people", person).want(t, 200, "Gil Marsh", "shown this once")
	oneTime := regexp.MustCompile(`<strong>([^<]+)</strong>`).FindStringSubmatch(made.body)[1]
	if strings.Contains(w.admin.get(t, "/people/"+id).body, oneTime) {
		t.Error("the one-time password is shown again")
	}
	n := w.nobody()
	n.post(t, "/sign-in", url.Values{"/email": {"gil@harbour.example"}, "/password": {oneTime}}).leads(t, "/password")
	w.admin.get(t, "/people?search=gil").want(t, 200, "Gil Marsh", "owner, occupier or agent")
	version := w.admin.get(t, "/people/"+id).hidden(t, "version")
	person.Set("version", version)
	person.Set("/name", "Gil Marsh-Reed")
	w.admin.post(t, "/people/"+id, person).leads(t, "/people/"+id)
	w.admin.post(t, "/people/"+id, url.Values{"version": {version}, "/name": {"Other"}, "/email": {"gil@harbour.example"}, "/role": {"owner_agent"}, "/scope_kind": {"customers"}, "/customers": {w.customer.CustomerID.String()}}).want(t, 412, "It has changed since")

	w.admin.get(t, "/people/"+id+"/reset").want(t, 200, "Gil Marsh-Reed is signed out everywhere")
	w.admin.post(t, "/people/"+id+"/reset", url.Values{}).want(t, 200, "shown this once")
	w.admin.get(t, "/people/"+id+"/disable").want(t, 200, "may not sign in any more")
	w.admin.post(t, "/people/"+id+"/disable", url.Values{}).leads(t, "/people/"+id)
	w.admin.get(t, "/people/"+id).want(t, 200, "may not sign in", "Give back the right to sign in")
	w.admin.post(t, "/people/"+id+"/enable", url.Values{}).leads(t, "/people/"+id)

	tech := "/people/" + w.technician.actor.PersonID.String()
	certificate := w.dispatcher.get(t, tech).want(t, 200, "CI-2211", "Record a certificate").hidden(t, "qualification_id")
	sent := url.Values{"qualification_id": {certificate}, "/scheme": {"Lift doors"}, "/number": {"L-9"}, "/valid_from": {"2026-01-01"}, "/valid_until": {"2025-01-01"}, "/kind": {"revolving"}, "/issuer": {"Guild of the North"}}
	w.dispatcher.post(t, tech+"/certificates", sent).want(t, 422).holds(t, "/number", "L-9").holds(t, "/issuer", "Guild of the North")
	sent.Set("/valid_until", "2027-01-01")
	w.dispatcher.post(t, tech+"/certificates", sent).leads(t, tech)
	w.dispatcher.post(t, tech+"/certificates", sent).leads(t, tech)
	if got := strings.Count(w.dispatcher.get(t, tech).body, "L-9"); got != 1 {
		t.Errorf("the certificate stands %d times", got)
	}
	w.technician.get(t, tech).want(t, 200, "Guild of the North", "revolving doors").lacks(t, "Record a certificate")
	w.support.get(t, "/certificates").want(t, 200, "L-9", "CI-2211", "revolving doors", "Cato Wren")
	w.support.get(t, "/certificates?until=2027-01-01").want(t, 200, "L-9").lacks(t, "CI-2211")
	w.support.get(t, "/certificates?until=soon").want(t, 422, "Not a date")

	if refused := w.admin.post(t, tech+"/tokens", url.Values{"/name": {"importer"}}).want(t, 422); !strings.Contains(refused.body, `value="importer"`) {
		t.Error("the name of the token is gone")
	}
	secret := w.admin.post(t, tech+"/tokens", url.Values{"/name": {"importer"}, "/expires_at": {"2026-06-30"}, "/scopes": {"read"}}).want(t, 200, "The token, shown this once")
	token := regexp.MustCompile(`<strong>([^<]+)</strong>`).FindStringSubmatch(secret.body)[1]
	if _, err := w.people.Authenticate(t.Context(), token); err != nil {
		t.Errorf("the token is of no use: %v", err)
	}
	revoke := regexp.MustCompile(`/people/[0-9a-f-]+/tokens/[0-9a-f-]+/revoke`).FindString(secret.body)
	w.admin.get(t, revoke).want(t, 200, "is refused from now on")
	w.admin.post(t, revoke, url.Values{}).leads(t, tech)
	w.admin.post(t, revoke, url.Values{}).leads(t, tech)
	if _, err := w.people.Authenticate(t.Context(), token); err == nil {
		t.Error("a revoked token is let in")
	}
}

func TestAReportIsMadeListedAndOpened(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	path := "/reports?door=" + w.door.DoorID.String()
	id := w.agent.get(t, path).want(t, 200, "Make: report of a door", "Make: inspection certificate").hidden(t, "report_id")
	w.agent.post(t, path, url.Values{"report_id": {id}, "/kind": {"door"}}).leads(t, "/reports/"+id)
	w.agent.post(t, path, url.Values{"report_id": {id}, "/kind": {"door"}}).leads(t, "/reports/"+id)
	w.agent.get(t, "/reports/"+id).want(t, 200, "Main entrance", "Eve Sorrel", "SHA-256", "Open as PDF", "Open as web page")
	for print, begins := range map[string]string{"report.pdf": "%PDF-", "report.html": "<!doctype html>"} {
		got := w.agent.get(t, "/reports/"+id+"/"+print)
		if got.status != 200 || !strings.HasPrefix(strings.ToLower(got.body), strings.ToLower(begins)) || !strings.Contains(got.header.Get("Content-Security-Policy"), "default-src 'none'") {
			t.Errorf("%s: got %d %v", print, got.status, got.header)
		}
	}
	w.agent.get(t, "/reports/"+id+"/report.exe").want(t, 404)
	if n := w.count(t, "select count(*) from report where report_id = '"+id+"'"); n != 1 {
		t.Errorf("made %d times", n)
	}
	w.agent.post(t, path, url.Values{"report_id": {w.id().String()}, "/kind": {"door"}, "/as_of": {"2031-01-01"}}).want(t, 422)
	site := w.id().String()
	w.dispatcher.post(t, "/reports?site="+w.site.SiteID.String(), url.Values{"report_id": {site}, "/kind": {"site"}}).leads(t, "/reports/"+site)
	w.dispatcher.get(t, "/reports?kind=site").want(t, 200, "report of a site", "Clinic East")
	w.auditor.post(t, path, url.Values{"report_id": {w.id().String()}, "/kind": {"door"}}).want(t, 403)
	w.auditor.get(t, path).want(t, 200).lacks(t, "Make: ")
}

func TestNoticesJobsSitesAndCustomersAreListed(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	w.dispatcher.get(t, "/notices").want(t, 200, "Harbour Estates", "waiting", "UNSAFE")
	w.dispatcher.get(t, "/notices?state=failed").want(t, 200, "There is no such notice.")
	w.admin.get(t, "/jobs").want(t, 200, "ready to serve", "no good backup is known", "No job has been due yet.")
	w.support.get(t, "/jobs").want(t, 200, "ready to serve").lacks(t, "backup")
	w.dispatcher.get(t, "/sites?search=coast").want(t, 200, "Clinic on the Coast").lacks(t, "Arcade")
	w.dispatcher.get(t, "/sites/"+w.site.SiteID.String()).want(t, 200, "Harbour Estates", "owner", "Ambulance bay", "unsafe, not yet secured", "Report at the front desk.")
	w.agent.get(t, "/customers").want(t, 200, "Harbour Clinics").lacks(t, "Juniper")
	path := "/customers/" + w.customer.CustomerID.String()
	version := w.dispatcher.get(t, path).want(t, 200, "HC-104", "Clinic East").hidden(t, "version")
	w.dispatcher.post(t, path, url.Values{"version": {version}, "/name": {""}, "/account": {"HC-105"}}).want(t, 422).holds(t, "/account", "HC-105")
	w.dispatcher.post(t, path, url.Values{"version": {version}, "/name": {"Harbour Clinics"}, "/account": {"HC-105"}}).leads(t, path)
	w.dispatcher.get(t, path).want(t, 200, "HC-105")
	w.agent.get(t, path).want(t, 200).lacks(t, "Save")
}

// A list goes on after the last line shown, and a place in it that nobody gave out is refused.
func TestListsGoOnByKey(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	for range 60 {
		w.register(t, w.foreign, "Row door")
	}
	first := w.dispatcher.get(t, "/doors?search=row").want(t, 200, "Show more").lacks(t, "Back to the beginning")
	next := strings.ReplaceAll(regexp.MustCompile(`href="(/doors\?[^"]*after=[^"]*)"`).FindStringSubmatch(first.body)[1], "&amp;", "&")
	rest := w.dispatcher.get(t, next).want(t, 200, "Back to the beginning").lacks(t, "Show more")
	if a, b := strings.Count(first.body, "Row door"), strings.Count(rest.body, "Row door"); a != 50 || b != 10 {
		t.Errorf("%d and %d lines", a, b)
	}
	w.dispatcher.get(t, "/doors?after=nonsense").want(t, 422)
	w.dispatcher.get(t, "/doors?site=nonsense").want(t, 422, "This is not an id.")
	w.dispatcher.get(t, "/work-orders?due_until=soon").want(t, 422, "Not a date")
}

func TestUnitsFollowThePerson(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	path := "/doors/" + w.door.DoorID.String()
	w.dispatcher.get(t, path).want(t, 200, "1.80 m (measured)")
	w.dispatcher.get(t, "/me").want(t, 200, "Bo Tanager", "this one")
	w.dispatcher.post(t, "/me/units", url.Values{"/units": {"us"}}).leads(t, "/me")
	w.dispatcher.get(t, path).want(t, 200, "5 ft 10 7/8 in (measured)").lacks(t, "1.80 m (measured)")
	w.dispatcher.post(t, "/me/units", url.Values{"/units": {"cubits"}}).want(t, 422)
}
