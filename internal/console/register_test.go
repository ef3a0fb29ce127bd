package console_test

import (
	"html"
	"net/url"
	"regexp"
	"strings"
	"testing"

	"github.com/google/uuid"

	"lintel.example/lintel/internal/fleet"
)

// filled is every field of a page's forms as it stands there.
func (s shown) filled() url.Values {
	values := url.Values{}
	for _, m := range inputs.FindAllStringSubmatch(s.body, -1) {
		box := strings.Contains(m[0], `type="checkbox"`) || strings.Contains(m[0], `type="radio"`)
		if v := valueOf.FindStringSubmatch(m[0]); v != nil && (!box || strings.Contains(m[0], " checked")) {
			values.Add(m[1], v[1])
		}
	}
	for _, m := range regexp.MustCompile(`(?s)<select[^>]* name="([^"]+)".*?</select>`).FindAllStringSubmatch(s.body, -1) {
		if one := regexp.MustCompile(`value="([^"]*)" selected`).FindStringSubmatch(m[0]); one != nil {
			values.Set(m[1], one[1])
		}
	}
	return values
}

func with(values url.Values, pairs ...string) url.Values {
	for i := 0; i < len(pairs); i += 2 {
		values.Set(pairs[i], pairs[i+1])
	}
	return values
}

func TestACustomerASiteAndItsPartiesAreMadeChangedAndEndedByForms(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	d := w.dispatcher
	form := d.get(t, "/customers/new").want(t, 200, "New customer").filled()
	customer := form.Get("customer_id")
	d.post(t, "/customers", with(form, "/name", "")).want(t, 422, "This text is missing.")
	d.post(t, "/customers", with(form, "/name", "Quarry Schools")).leads(t, "/customers/"+customer)
	d.post(t, "/customers", form).leads(t, "/customers/"+customer) // sent twice, made once

	form = d.get(t, "/sites/new?customer="+customer).want(t, 200, "New site", "Quarry Schools").filled()
	site := form.Get("site_id")
	with(form, "/name", "Hill School", "/country", "US", "/jurisdiction", "US-IL", "/time_zone", "Chicago", "/latitude_deg", "41.878113", "/opening_hours", "7–17")
	d.post(t, "/sites", form).want(t, 422, "A position is a latitude and a longitude, or neither.").holds(t, "/latitude_deg", "41.878113")
	with(form, "/longitude_deg", "-87.629799")
	d.post(t, "/sites", form).want(t, 422).holds(t, "/time_zone", "Chicago")
	d.post(t, "/sites", with(form, "/time_zone", "America/Chicago")).leads(t, "/sites/"+site)
	stale := d.get(t, "/sites/"+site+"/change").want(t, 200).filled()
	d.post(t, "/sites/"+site, with(d.get(t, "/sites/"+site+"/change").holds(t, "/longitude_deg", "-87.629799").filled(), "/city", "Chicago", "/opening_hours", "7–17")).leads(t, "/sites/"+site)
	d.post(t, "/sites/"+site, with(stale, "/city", "Cicero")).want(t, 412, "It has changed since").holds(t, "/city", "Cicero")

	form = d.get(t, "/parties/new?site="+site).want(t, 200, "New party").filled()
	party := form.Get("party_id")
	d.post(t, "/parties", with(form, "/name", "Hill Trust", "/email", "nowhere")).want(t, 422)
	d.post(t, "/parties", with(form, "/email", "trust@hill.example")).leads(t, "/sites/"+site+"/parties/new?party="+party)
	form = d.get(t, "/sites/"+site+"/parties/new?party="+party).want(t, 200, "Hill Trust, trust@hill.example").filled()
	d.post(t, "/sites/"+site+"/parties", form).want(t, 422, "Choose one.")
	standing := form.Get("standing_id")
	d.post(t, "/sites/"+site+"/parties", with(form, "/role", "occupier", "/from_day", "2026-03-01")).leads(t, "/sites/"+site+"#parties")
	d.get(t, "/sites/"+site).want(t, 200, "Hill Trust", "occupier", "trust@hill.example", "open")
	end := "/sites/" + site + "/parties/" + standing + "/end"
	form = d.get(t, end).want(t, 200, "Hill Trust is occupier of “Hill School”").filled()
	d.post(t, end, with(form, "/to_day", "2026-02-01")).want(t, 422)
	d.post(t, end, with(form, "/to_day", "2026-03-02")).leads(t, "/sites/"+site+"#parties")
	d.get(t, "/sites/"+site).want(t, 200, "nobody any more").lacks(t, "trust@hill.example")
	d.post(t, end, with(d.get(t, end).filled(), "/to_day", "")).leads(t, "/sites/"+site+"#parties") // the way back
	d.get(t, "/sites/"+site).want(t, 200, "trust@hill.example")
	d.get(t, "/parties/"+party).want(t, 200, "Hill Trust")

	form = d.get(t, "/sites/"+site+"/hand-over").want(t, 200, "leaves Quarry Schools").filled()
	d.post(t, "/sites/"+site+"/hand-over", form).want(t, 422, "Choose one.")
	d.post(t, "/sites/"+site+"/hand-over", with(form, "/customer_id", w.other.CustomerID.String())).leads(t, "/sites/"+site)
	d.get(t, "/sites/"+site).want(t, 200, "Juniper Arcade")
	w.technician.get(t, "/sites/"+site).want(t, 200).lacks(t, "/change", "/hand-over", "/end\"", "parties/new")
}

func TestADoorItsComponentsAndItsPlanAreMadeChangedAndEndedByForms(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	d := w.dispatcher
	form := d.get(t, "/doors/new?site="+w.site.SiteID.String()).want(t, 200, "New door").filled()
	id := form.Get("door_id")
	door := "/doors/" + id
	with(form, "/name", "Chapel", "/reason", "seen", "/facts/kind", "swinging", "/facts/side_a/label", "yard", "/facts/side_b/label", "nave", "/tag", "12")
	d.post(t, "/doors", form).want(t, 422).holds(t, "/tag", "12")
	with(form, "/tag", "", "/facts/leaves/1/opens_towards", "a", "/facts/leaves/1/width_m", "900 mm", "/facts/leaves/1/hinge", "none")
	d.post(t, "/doors", form).want(t, 422) // a swinging leaf has a hinge
	with(form, "/facts/leaves/1/hinge", "left", "/facts/leaves/1/width_m/basis", "measured", "/facts/side_b/kept_clear/0/what", "font")
	d.post(t, "/doors", form).want(t, 422, "This text is missing.").holds(t, "/facts/side_b/kept_clear/0/what", "font")
	with(form, "/facts/side_b/kept_clear/0/x0_m", "-1 m", "/facts/side_b/kept_clear/0/x1_m", "0.5 m", "/facts/side_b/kept_clear/0/y0_m", "1 m", "/facts/side_b/kept_clear/0/y1_m", "2 m")
	d.post(t, "/doors", form).leads(t, door)
	d.post(t, "/doors", form).leads(t, door)
	made, err := w.Door(t.Context(), d.actor, uuid.MustParse(id), fleet.AsOf{})
	if err != nil || len(made.Facts.Leaves) != 1 || made.Facts.Leaves[0].Hinge != "left" || *made.Facts.Leaves[0].WidthM.Value != 0.9 || len(made.Facts.B.KeptClear) != 1 || made.Facts.B.KeptClear[0].X0M != -1 {
		t.Fatalf("the door is %+v, %v", made.Facts, err)
	}
	stale := d.get(t, door+"/change").want(t, 200).filled()
	form = d.get(t, door+"/change").want(t, 200, "Change what is known of this door").holds(t, "/facts/leaves/0/width_m", "0.90 m").filled()
	d.post(t, door, with(form, "/reason", "asked", "/facts/egress", "yes")).leads(t, door)
	d.post(t, door, with(stale, "/reason", "late", "/facts/egress", "no")).want(t, 412)
	changed, err := w.Door(t.Context(), d.actor, uuid.MustParse(id), fleet.AsOf{})
	if err != nil || changed.Facts.Egress == nil || !*changed.Facts.Egress || len(changed.Facts.B.KeptClear) != 1 {
		t.Fatalf("the door is %+v, %v", changed.Facts, err)
	}

	form = d.get(t, "/components/new?door="+id).want(t, 200, "Fenwick Motion 2 (sensor)").filled()
	sensor := form.Get("component_id")
	with(form, "/kind", "sensor", "/fitting/side", "a", "/reason", "fitted today")
	d.post(t, "/components", form).want(t, 422)
	d.post(t, "/components", with(form, "/model_id", w.model.ModelID.String(), "/serial", "Q-1")).leads(t, "/devices/"+sensor+"/settings")
	d.get(t, door).want(t, 200, "Q-1", "Change how it is fitted")
	form = d.get(t, "/components/"+sensor).want(t, 200).filled()
	d.post(t, "/components/"+sensor, with(form, "/fitting/side", "b", "/reason", "other side")).leads(t, door+"#fitted")
	form = d.get(t, "/components/"+sensor+"/out").want(t, 200, "fitting it again is the way back").filled()
	d.post(t, "/components/"+sensor+"/out", form).want(t, 422, "This text is missing.")
	d.post(t, "/components/"+sensor+"/out", with(form, "/reason", "broken")).leads(t, door+"#fitted")
	d.get(t, door).want(t, 200, "No device is registered at this door.")
	form = d.get(t, "/components/"+sensor).want(t, 200, "Fit it again").filled()
	d.post(t, "/components/"+sensor, with(form, "/reason", "mended")).leads(t, door+"#fitted")
	d.get(t, door).want(t, 200, "Q-1")

	form = d.get(t, door+"/plans/new").want(t, 200, "New plan").filled()
	plan := door + "/plans/" + form.Get("plan_id")
	d.post(t, door+"/plans", with(form, "/anchor_on", "2026-05-01", "/interval_months", "often")).want(t, 422, "This is not a whole number.")
	d.post(t, door+"/plans", with(form, "/interval_months", "6")).leads(t, door+"#work")
	d.get(t, door).want(t, 200, "Inspected every 6 months", "next due on 1 May 2026")
	d.post(t, plan, with(d.get(t, plan).want(t, 200).filled(), "/anchor_on", "2026-06-01")).leads(t, door+"#work")
	d.post(t, plan+"/stop", d.get(t, plan+"/stop").want(t, 200, "can be started again").filled()).leads(t, door+"#work")
	d.get(t, door).want(t, 200, "Stopped: every 6 months", "No inspection plan.")
	d.post(t, plan+"/start", d.get(t, plan+"/start").want(t, 200).filled()).leads(t, door+"#work")
	d.get(t, door).want(t, 200, "next due on 1 June 2026").lacks(t, "Stopped")
	page := d.get(t, plan+"/suspensions").want(t, 200, "This plan was never suspended.")
	closed := with(page.filled(), "/from", "2026-05-20", "/until", "2026-07-31", "/reason", "building_closed", "/why", "the arcade is rebuilt")
	d.post(t, plan+"/suspensions", with(closed, "/until", "2029-01-01")).want(t, 422, "A suspension lasts from its first day")
	d.post(t, plan+"/suspensions", with(closed, "/until", "2026-07-31")).leads(t, door+"#work")
	d.get(t, door).want(t, 200, "next due on 1 August 2026", "it would have been on 1 June 2026")
	page = d.get(t, plan+"/suspensions").want(t, 200, "Suspended from 2026-05-20 to 2026-07-31, the building is closed: the arcade is rebuilt")
	again := url.Values{"resumption_id": {uuid.NewString()}, "suspension": {closed.Get("suspension_id")}, "/on": {"2026-08-03"}, "/why": {"ready"}}
	d.post(t, plan+"/resumptions", again).want(t, 422, "ends on 2026-07-31 anyway")
	d.post(t, plan+"/resumptions", with(again, "/on", "2026-07-06")).leads(t, door+"#work")
	d.get(t, door).want(t, 200, "next due on 6 July 2026")
	d.get(t, door+"/due").want(t, 200, "2026-06-01 lies within a suspension, so it is 2026-07-06, the first day after it.", "instead of 2026-07-31")
	w.technician.get(t, door).want(t, 200).lacks(t, "/change", "/plans/", "/components/")
}

// Leaves and places are counted by the use-case as they are sent to it; what is said of one must stand beside that one.
func TestWhatIsWrongWithALeafStandsAtThatLeaf(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	path := "/doors/" + w.door.DoorID.String()
	form := with(w.dispatcher.get(t, path+"/change").filled(), "/reason", "one is gone", "/facts/leaves/0/opens_towards", "", "/facts/leaves/0/width_m", "", "/facts/leaves/0/height_m", "", "/facts/leaves/1/width_m", "50 m")
	page := w.dispatcher.post(t, path, form).want(t, 422).holds(t, "/facts/leaves/0/width_m", "50 m").holds(t, "/facts/leaves/1/width_m", "")
	if !strings.Contains(page.body, `href="#f-facts-leaves-0-width-m"`) {
		t.Error("the fault does not lead to the leaf")
	}
}

func TestVisitsAndRunsAreFoundByText(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	for text, found := range map[string]string{"coast": "Pharmacy", "PHARM": "Pharmacy", "Cato": "Pharmacy", string(w.held.Tag[:6]): "Pharmacy", "Sacramento": "", "%": ""} {
		page := w.dispatcher.get(t, "/visits?search="+url.QueryEscape(text)).want(t, 200, found)
		if found == "" {
			page.want(t, 200, "There is no such visit.")
		}
	}
	w.dispatcher.get(t, "/visits?search=coast").want(t, 200).lacks(t, "Ambulance bay")
	w.agent.get(t, "/visits?search=North").want(t, 200, "There is no such visit.")
	if _, err := w.db.Admin.Exec(t.Context(), `insert into job_run (job, scheduled_for, as_of, state) values ('due_work_orders', $1, '2026-03-03', 'due'), ('queue_notices', $1, '2026-03-03', 'failed')`, w.now); err != nil {
		t.Fatal(err)
	}
	for query, found := range map[string]struct{ want, not string }{"search=Notices": {"Queues the notices", "annual inspection"}, "state=due": {"annual inspection", "Queues the notices"}} {
		_, runs, listed := strings.Cut(w.support.get(t, "/jobs?"+query).want(t, 200).body, `id="c-jobs"`) // above them stands each job
		if !listed || !strings.Contains(html.UnescapeString(runs), found.want) || strings.Contains(html.UnescapeString(runs), found.not) {
			t.Errorf("%s: %s", query, runs)
		}
	}
	w.support.get(t, "/jobs?search=zzz").want(t, 200, "There is no such run.")
}
