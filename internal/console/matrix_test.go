package console_test

import (
	"fmt"
	"maps"
	"net/http"
	"net/url"
	"slices"
	"strings"
	"testing"

	"github.com/google/uuid"

	"lintel.example/lintel/internal/console"
	"lintel.example/lintel/internal/fleet"
)

// matrix says who may use which page or form: a administrator, d dispatcher, t technician, s support, o owner's agent (of one
// customer), u auditor (of one site), n nobody. Everybody else is refused. own and foreign are addresses of things within
// and outside of what the outsiders see; "" means that the page is of nothing in particular.
func (w *world) matrix() map[string]struct{ may, own, foreign string } {
	door, away := w.door.DoorID.String(), w.away.DoorID.String()
	tech := w.technician.actor.PersonID.String()
	site, standing, plan := "/sites/"+w.site.SiteID.String(), w.standingEnd(), w.planPath()
	const all, staff, office, planners = "adtsou", "adts", "adts", "ad"
	type row = struct{ may, own, foreign string }
	return map[string]row{
		"GET /sign-in": {all + "n", "/sign-in", ""}, "POST /sign-in": {all + "n", "/sign-in", ""}, "POST /sign-out": {all, "/sign-out", ""},
		"GET /password": {all, "/password", ""}, "POST /password": {all, "/password", ""}, "GET /me": {all, "/me", ""}, "POST /me/units": {all, "/me/units", ""},
		"POST /me/sessions/{session_id}/end": {all, "/me/sessions/" + uuid.Nil.String() + "/end", ""},
		"GET /{$}":                           {all, "/", ""},
		"GET /doors":                         {all, "/doors", ""}, "GET /doors/{door_id}": {all, "/doors/" + door, "/doors/" + away},
		"GET /findings": {all, "/findings", ""}, "GET /findings/{finding_id}/dismissal": {"ats", "/findings/" + w.seal.String() + "/dismissal", ""},
		"POST /findings/{finding_id}/dismissal": {"ats", "/findings/" + w.seal.String() + "/dismissal", ""},
		"GET /doors/{door_id}/decisions/new":    {staff, "/doors/" + door + "/decisions/new", ""}, "POST /doors/{door_id}/decisions": {staff, "/doors/" + door + "/decisions", ""},
		"POST /doors/{door_id}/shown-texts": {staff, "/doors/" + door + "/shown-texts", ""},
		"GET /work-orders":                  {all, "/work-orders", ""}, "POST /work-orders": {planners, "/work-orders", ""}, "GET /work-orders/new": {planners, "/work-orders/new?door=" + door, ""},
		"GET /work-orders/{work_order_id}": {all, "/work-orders/" + w.order, "/work-orders/" + w.orderAway}, "POST /work-orders/{work_order_id}": {planners, "/work-orders/" + w.order, ""},
		"POST /work-orders/{work_order_id}/assign": {planners, "/work-orders/" + w.order + "/assign", ""},
		"GET /work-orders/{work_order_id}/{what}":  {planners, "/work-orders/" + w.order + "/cancel", ""}, "POST /work-orders/{work_order_id}/{what}": {planners, "/work-orders/" + w.order + "/cancel", ""},
		"GET /oddities": {"ads", "/oddities", ""}, "GET /oddities/{oddity_id}": {"ads", "/oddities/" + w.oddity.String(), ""},
		"POST /oddities/{oddity_id}/explanation": {planners, "/oddities/" + w.oddity.String() + "/explanation", ""},
		"GET /visits":                            {all, "/visits", ""}, "GET /visits/new": {"t", "/visits/new?site=" + w.site.SiteID.String(), ""}, "POST /visits": {"t", "/visits", ""},
		"GET /visits/{visit_id}":                          {all, "/visits/" + w.visit.String(), "/visits/" + w.visitAway.String()},
		"GET /visits/{visit_id}/doors/{door_id}/inspect":  {"t", "/visits/" + w.open.String() + "/doors/" + w.unsafe.DoorID.String() + "/inspect", ""},
		"POST /visits/{visit_id}/doors/{door_id}/inspect": {"t", "/visits/" + w.open.String() + "/doors/" + w.unsafe.DoorID.String() + "/inspect", ""},
		"GET /doors/{door_id}/inspection-form/{print}":    {all, "/doors/" + door + "/inspection-form/form.pdf", "/doors/" + away + "/inspection-form/form.pdf"},
		"GET /visits/{visit_id}/entries/new":              {"t", "/visits/" + w.open.String() + "/entries/new?kind=note&door=" + w.unsafe.DoorID.String(), ""},
		"POST /visits/{visit_id}/entries":                 {"t", "/visits/" + w.open.String() + "/entries", ""},
		"GET /visits/{visit_id}/photos/new":               {"t", "/visits/" + w.open.String() + "/photos/new?door=" + w.unsafe.DoorID.String(), ""}, "POST /visits/{visit_id}/photos": {"t", "/visits/" + w.open.String() + "/photos", ""},
		"GET /visits/{visit_id}/entries/{entry_id}/force":        {all, "/visits/" + w.open.String() + "/entries/" + w.pressed.String() + "/force", "/visits/" + w.visitAway.String() + "/entries/" + w.pressedAway.String() + "/force"},
		"GET /visits/{visit_id}/entries/{entry_id}/force/series": {all, "/visits/" + w.open.String() + "/entries/" + w.pressed.String() + "/force/series", "/visits/" + w.visitAway.String() + "/entries/" + w.pressedAway.String() + "/force/series"},
		"GET /visits/{visit_id}/entries/{entry_id}/fit":          {staff, "/visits/" + w.visit.String() + "/entries/" + w.walked.String() + "/fit", ""},
		"POST /visits/{visit_id}/entries/{entry_id}/fit":         {staff, "/visits/" + w.visit.String() + "/entries/" + w.walked.String() + "/fit", ""},
		"GET /photos/{sha256}":                                   {all, "/photos/" + w.photo.String(), "/photos/" + w.photoAway.String()},
		"GET /visits/{visit_id}/sign-off":                        {"t", "/visits/" + w.open.String() + "/sign-off", ""}, "POST /visits/{visit_id}/sign-off": {"t", "/visits/" + w.open.String() + "/sign-off", ""},
		"GET /devices/{component_id}":          {all, "/devices/" + w.sensor.String(), "/devices/" + w.sensorAway.String()},
		"GET /devices/{component_id}/settings": {"ads", "/devices/" + w.sensor.String() + "/settings", ""}, "POST /devices/{component_id}/settings": {"ads", "/devices/" + w.sensor.String() + "/settings", ""},
		"GET /sites": {all, "/sites", ""}, "GET /sites/{site_id}": {all, "/sites/" + w.site.SiteID.String(), "/sites/" + w.foreign.SiteID.String()},
		"GET /customers": {all, "/customers", ""}, "GET /customers/{customer_id}": {all, "/customers/" + w.customer.CustomerID.String(), "/customers/" + w.other.CustomerID.String()},
		"POST /customers": {planners, "/customers", ""}, "GET /customers/new": {planners, "/customers/new", ""},
		"POST /sites": {planners, "/sites", ""}, "GET /sites/new": {planners, "/sites/new?customer=" + w.customer.CustomerID.String(), ""},
		"POST /sites/{site_id}": {planners, site, ""}, "GET /sites/{site_id}/change": {planners, site + "/change", ""},
		"GET /sites/{site_id}/hand-over": {planners, site + "/hand-over", ""}, "POST /sites/{site_id}/hand-over": {planners, site + "/hand-over", ""},
		"POST /sites/{site_id}/parties": {planners, site + "/parties", ""}, "GET /sites/{site_id}/parties/new": {planners, site + "/parties/new", ""},
		"GET /sites/{site_id}/parties/{standing_id}/end": {planners, standing, ""}, "POST /sites/{site_id}/parties/{standing_id}/end": {planners, standing, ""},
		"GET /parties": {all, "/parties", ""}, "POST /parties": {planners, "/parties", ""}, "GET /parties/new": {planners, "/parties/new", ""},
		"GET /parties/{party_id}": {all, "/parties/" + w.party.PartyID.String(), "/parties/" + w.partyAway.PartyID.String()}, "POST /parties/{party_id}": {planners, "/parties/" + w.party.PartyID.String(), ""},
		"POST /doors": {planners, "/doors", ""}, "GET /doors/new": {planners, "/doors/new?site=" + w.site.SiteID.String(), ""},
		"POST /doors/{door_id}": {planners, "/doors/" + door, ""}, "GET /doors/{door_id}/change": {planners, "/doors/" + door + "/change", ""},
		"GET /doors/{door_id}/diagnosis":                     {staff, "/doors/" + door + "/diagnosis?symptom=stays_open", ""},
		"GET /doors/{door_id}/advice":                        {staff, "/doors/" + door + "/advice?side=a&header_height_m=2.2", ""},
		"GET /doors/{door_id}/settings-sheet/{print}":        {staff, "/doors/" + door + "/settings-sheet/sheet.html", ""},
		"GET /devices/{component_id}/settings-sheet/{print}": {staff, "/devices/" + w.sensor.String() + "/settings-sheet/sheet.pdf?set=reach_db%3D-6", ""},
		"GET /doors/{door_id}/comparison":                    {staff, "/doors/" + door + "/comparison?pack=a156.10@2017", ""},
		"POST /doors/{door_id}/plans":                        {planners, "/doors/" + door + "/plans", ""}, "GET /doors/{door_id}/plans/new": {planners, "/doors/" + door + "/plans/new", ""},
		"GET /doors/{door_id}/plans/{plan_id}": {planners, plan, ""}, "POST /doors/{door_id}/plans/{plan_id}": {planners, plan, ""},
		"GET /doors/{door_id}/plans/{plan_id}/suspensions": {planners, plan + "/suspensions", ""}, "POST /doors/{door_id}/plans/{plan_id}/suspensions": {planners, plan + "/suspensions", ""},
		"POST /doors/{door_id}/plans/{plan_id}/resumptions": {planners, plan + "/resumptions", ""}, "GET /doors/{door_id}/due": {all, "/doors/" + door + "/due", "/doors/" + away + "/due"},
		"GET /doors/{door_id}/plans/{plan_id}/{what}": {planners, plan + "/stop", ""}, "POST /doors/{door_id}/plans/{plan_id}/{what}": {planners, plan + "/start", ""},
		"POST /components": {planners, "/components", ""}, "GET /components/new": {planners, "/components/new?door=" + door, ""},
		"GET /components/{component_id}": {planners, "/components/" + w.sensor.String(), ""}, "POST /components/{component_id}": {planners, "/components/" + w.sensor.String(), ""},
		"GET /components/{component_id}/out": {planners, "/components/" + w.sensor.String() + "/out", ""}, "POST /components/{component_id}/out": {planners, "/components/" + w.sensor.String() + "/out", ""},
		"POST /customers/{customer_id}": {planners, "/customers/" + w.customer.CustomerID.String(), ""},
		"GET /reports":                  {all, "/reports?door=" + door, "/reports?door=" + away}, "POST /reports": {"adto", "/reports?door=" + door, ""},
		"GET /out-of-service/{case_id}/{print}": {all, "/out-of-service/" + w.unsafeCase.String() + "/tag.html", ""},
		"GET /reports/{report_id}":              {all, "/reports/" + w.report.String(), "/reports/" + w.reportAway.String()}, "GET /reports/{report_id}/{print}": {all, "/reports/" + w.report.String() + "/report.pdf", "/reports/" + w.reportAway.String() + "/report.pdf"},
		"POST /reports/{report_id}/deliveries": {planners, "/reports/" + w.issued.String() + "/deliveries", ""}, "POST /reports/{report_id}/letters/{letter_id}/again": {planners, "/reports/" + w.issued.String() + "/letters/" + w.mailed.String() + "/again", ""},
		"GET /rule-packs": {"a", "/rule-packs", ""}, "POST /rule-packs": {"a", "/rule-packs", ""},
		"GET /rule-packs/{pack}/replay": {"a", "/rule-packs/house@1/replay", ""},
		"GET /rule-packs/{pack}":        {"a", "/rule-packs/house@1", ""}, "GET /rule-packs/{pack}/{what}": {"a", "/rule-packs/house@1/activate", ""}, "POST /rule-packs/{pack}/{what}": {"a", "/rule-packs/house@1/end", ""},
		"GET /letter-templates": {staff, "/letter-templates", ""}, "POST /letter-templates": {"a", "/letter-templates", ""}, "GET /letter-templates/new": {"a", "/letter-templates/new?kind=risk", ""},
		"GET /letter-templates/{template_id}": {staff, "/letter-templates/" + w.letter.String(), ""}, "POST /letter-templates/{template_id}/approval": {"a", "/letter-templates/" + w.letter.String() + "/approval", ""},
		"GET /doors/{door_id}/letters": {"adto", "/doors/" + door + "/letters", ""}, "POST /doors/{door_id}/letters": {"adto", "/doors/" + door + "/letters", ""},
		"POST /doors/{door_id}/letter-preview": {"a", "/doors/" + door + "/letter-preview", ""},
		"GET /imports":                         {planners, "/imports", ""}, "POST /imports": {planners, "/imports", ""}, "GET /imports/{import_id}": {planners, "/imports/" + w.list.String(), ""},
		"GET /imports/{import_id}/undo": {planners, "/imports/" + w.list.String() + "/undo", ""}, "POST /imports/{import_id}/undo": {planners, "/imports/" + w.list.String() + "/undo", ""},
		"GET /doors/{door_id}/trends": {staff, "/doors/" + door + "/trends", ""}, "GET /trends": {staff, "/trends", ""},
		"GET /webhooks": {"a", "/webhooks", ""}, "POST /webhooks": {"a", "/webhooks", ""}, "GET /webhooks/{webhook_id}": {"a", "/webhooks/" + w.hook.String(), ""}, "POST /webhooks/{webhook_id}": {"a", "/webhooks/" + w.hook.String(), ""},
		"GET /webhooks/{webhook_id}/rotation": {"a", "/webhooks/" + w.hook.String() + "/rotation", ""}, "POST /webhooks/{webhook_id}/rotation": {"a", "/webhooks/" + w.hook.String() + "/rotation", ""}, "POST /webhooks/{webhook_id}/replay": {"a", "/webhooks/" + w.hook.String() + "/replay", ""},
		"GET /forecast":    {staff, "/forecast", ""},
		"GET /route-plans": {staff, "/route-plans", ""}, "POST /route-plans": {planners, "/route-plans", ""}, "GET /route-plans/{route_plan_id}": {staff, "/route-plans/" + w.rounds.String(), ""},
		"GET /route-plans/{route_plan_id}/take-over": {planners, "/route-plans/" + w.rounds.String() + "/take-over", ""}, "POST /route-plans/{route_plan_id}/take-over": {planners, "/route-plans/" + w.rounds.String() + "/take-over", ""},
		"GET /people/{person_id}/working-terms": {planners, "/people/" + tech + "/working-terms", ""}, "POST /people/{person_id}/working-terms": {planners, "/people/" + tech + "/working-terms", ""},
		"GET /sites/{site_id}/visiting-hours": {planners, site + "/visiting-hours", ""}, "POST /sites/{site_id}/visiting-hours": {planners, site + "/visiting-hours", ""},
		"GET /closed-days": {staff, "/closed-days", ""}, "POST /closed-days": {planners, "/closed-days", ""},
		"GET /closed-days/{closed_day_id}/cancel": {planners, "/closed-days/" + w.closed.String() + "/cancel", ""}, "POST /closed-days/{closed_day_id}/cancel": {planners, "/closed-days/" + w.closed.String() + "/cancel", ""},
		"GET /work-orders/{work_order_id}/hold": {planners, "/work-orders/" + w.order + "/hold", ""}, "POST /work-orders/{work_order_id}/hold": {planners, "/work-orders/" + w.order + "/hold", ""},
		"GET /alone": {staff, "/alone", ""}, "POST /alone": {staff, "/alone", ""}, "POST /alone/{watch_id}/events": {staff, "/alone/" + w.watch.String() + "/events", ""},
		"GET /calendar/{file}": {all + "n", fleet.CalendarPath(w.feedSecret), ""}, "GET /calendar-feeds": {"adto", "/calendar-feeds?site=" + w.site.SiteID.String(), ""}, "POST /calendar-feeds": {"adto", "/calendar-feeds", ""},
		"GET /calendar-feeds/{feed_id}/revoke": {"adto", "/calendar-feeds/" + w.feed.String() + "/revoke", ""}, "POST /calendar-feeds/{feed_id}/revoke": {"ado", "/calendar-feeds/" + w.feed.String() + "/revoke", ""},
		"GET /ladders": {office, "/ladders?customer=" + w.customer.CustomerID.String(), ""}, "POST /ladders": {"a", "/ladders", ""}, "GET /ladders/new": {"a", "/ladders/new", ""},
		"GET /answer/{token}": {all + "n", w.letterLink("answer"), ""}, "POST /answer/{token}": {all + "n", w.letterLink("answer"), ""},
		"GET /reminders/{token}": {all + "n", w.letterLink("reminders"), ""}, "POST /reminders/{token}": {all + "n", w.letterLink("reminders"), ""},
		"GET /unanswered": {office, "/unanswered", ""}, "POST /letters/{letter_id}/acknowledgement": {planners, "/letters/" + w.mailed.String() + "/acknowledgement", ""},
		"POST /declined-addresses/end": {planners, "/declined-addresses/end", ""},
		"GET /notices":                 {office, "/notices", ""}, "GET /jobs": {office, "/jobs", ""},
		"GET /jobs/{job}": {office, "/jobs/queue_notices", ""}, "POST /jobs/{job}": {"a", "/jobs/queue_notices", ""}, "GET /jobs/{job}/run": {"a", "/jobs/queue_notices/run", ""}, "POST /jobs/{job}/run": {"a", "/jobs/queue_notices/run", ""},
		"GET /people": {staff, "/people", ""}, "POST /people": {"a", "/people", ""}, "GET /people/new": {"a", "/people/new", ""},
		"GET /people/{person_id}": {staff, "/people/" + tech, ""}, "POST /people/{person_id}": {"a", "/people/" + tech, ""}, "POST /people/{person_id}/certificates": {planners, "/people/" + tech + "/certificates", ""},
		"GET /certificates":                                {staff, "/certificates", ""},
		"POST /people/{person_id}/tokens":                  {"a", "/people/" + tech + "/tokens", ""},
		"GET /people/{person_id}/tokens/{token_id}/revoke": {"a", "/people/" + tech + "/tokens/" + w.token.String() + "/revoke", ""}, "POST /people/{person_id}/tokens/{token_id}/revoke": {"a", "/people/" + tech + "/tokens/" + w.token.String() + "/revoke", ""},
		"GET /people/{person_id}/{what}": {"a", "/people/" + tech + "/disable", ""}, "POST /people/{person_id}/{what}": {"a", "/people/" + tech + "/enable", ""},
	}
}

func TestEveryPageIsForWhomTheMatrixSays(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	c, err := console.New(w.rooms)
	if err != nil {
		t.Fatal(err)
	}
	matrix := w.matrix()
	if got, want := slices.Sorted(slices.Values(c.Patterns())), slices.Sorted(maps.Keys(matrix)); !slices.Equal(got, want) {
		t.Errorf("the pages are\n%s\nand the matrix has\n%s", strings.Join(got, "\n"), strings.Join(want, "\n"))
	}
	kinds := map[rune]*somebody{'a': w.admin, 'd': w.dispatcher, 't': w.technician, 's': w.support, 'o': w.agent, 'u': w.auditor, 'n': w.nobody()}
	for _, pattern := range slices.Sorted(maps.Keys(matrix)) { // what is read before what is done: an address that was revoked is gone
		row := matrix[pattern]
		method, _, _ := strings.Cut(pattern, " ")
		for letter, who := range kinds {
			if pattern == "POST /sign-out" && letter != 'n' {
				continue // it would end the session; TestSigningInAndOut has it
			}
			copied := *who // keeps its cookie
			got := w.ask(t, &copied, method, row.own)
			if wrong := wrongFor(letter, method, strings.ContainsRune(row.may, letter), got.status, got.header.Get("Location")); wrong != "" {
				t.Errorf("%s by %c: %s", pattern, letter, wrong)
			}
			if outside := letter == 'o' || letter == 'u'; outside && row.foreign != "" {
				copied = *who
				if got := w.ask(t, &copied, method, row.foreign); got.status != http.StatusNotFound || strings.Contains(got.body, "Arcade") || strings.Contains(got.body, "North doors") {
					t.Errorf("%s of another customer by %c: %d", pattern, letter, got.status)
				}
			}
		}
	}
}

// wrongFor says what is wrong with an answer.
func wrongFor(letter rune, method string, may bool, status int, location string) string {
	toSignIn := status == http.StatusSeeOther && strings.HasPrefix(location, "/sign-in?next=")
	switch {
	case may && status == http.StatusUnauthorized && letter == 'n', may && location == "" && status == http.StatusUnauthorized && method == http.MethodPost: // of the sign-in itself
		return ""
	case may && (status == http.StatusForbidden || status == http.StatusNotFound || status >= 500 || toSignIn):
		return fmt.Sprintf("refused with %d", status)
	case may || !may && letter != 'n' && status == http.StatusForbidden:
		return ""
	case letter == 'n' && method == http.MethodGet && toSignIn, letter == 'n' && method == http.MethodPost && status == http.StatusUnauthorized:
		return ""
	}
	return fmt.Sprintf("not refused, but answered with %d to %q", status, location)
}

// ask is a request with a form that says next to nothing, about something that is there.
func (w *world) ask(t testing.TB, who *somebody, method, path string) shown {
	t.Helper()
	if method == http.MethodGet {
		return who.send(t, method, path, nil)
	}
	return who.send(t, method, path, url.Values{"/units": {"metric"}, "report_id": {w.id().String()}, "/kind": {"door"}, "/site_id": {w.site.SiteID.String()}, "/customer_id": {w.customer.CustomerID.String()}, "/door_id": {w.unsafe.DoorID.String()}})
}

func TestMenusShowOnlyWhatOneMayUse(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	w.agent.get(t, "/").want(t, 200, "Doors", "Work orders").lacks(t, `href="/people"`, `href="/jobs"`, `href="/notices"`)
	w.auditor.get(t, "/doors/"+w.door.DoorID.String()).want(t, 200).lacks(t, "/work-orders/new", "/visits/new", "/settings", "Computed, not verified on site: a sensor")
	w.technician.get(t, "/doors/"+w.door.DoorID.String()).want(t, 200, "Begin a visit").lacks(t, "/work-orders/new", "/settings\"")
	w.dispatcher.get(t, "/doors/"+w.door.DoorID.String()).want(t, 200, "New work order", "Change the settings", "Computed, not verified on site: a sensor").lacks(t, "/visits/new")
	w.support.get(t, "/people/"+w.technician.actor.PersonID.String()).want(t, 200, "CI-2211").lacks(t, "Save", "one-time")
}

func TestWhatAnAuditorReadsIsWrittenDown(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	path := "/doors/" + w.door.DoorID.String()
	w.auditor.get(t, path).want(t, 200)
	if n := w.count(t, "select count(*) from audit_event where action = 'read' and subject_kind = 'GET /doors/{door_id}' and subject_id = '"+path+"'"); n != 1 {
		t.Errorf("the audit has %d lines of it", n)
	}
}
