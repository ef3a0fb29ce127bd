package console_test

import (
	"html"
	"net/url"
	"regexp"
	"strings"
	"testing"
	"time"

	"github.com/google/uuid"

	"lintel.example/lintel/internal/fleet"
)

// walk gives the form of the walk as the browser would send it untouched, by the button of a station.
func (s shown) walk(t testing.TB, station string) url.Values {
	t.Helper()
	i := strings.Index(s.body, `class="walk">`)
	if i < 0 {
		t.Fatalf("%s has no form", s.path)
	}
	values := url.Values{"stay": {"s-" + station}}
	if !strings.Contains(s.body, `<button name="stay" value="s-`+station+`">`) {
		t.Fatalf("%s has no station %s", s.path, station)
	}
	part := shown{body: s.body[i:], path: s.path}
	for _, m := range inputs.FindAllStringSubmatch(part.body, -1) {
		if strings.HasPrefix(m[1], "id/") {
			values.Set(m[1], part.hidden(t, m[1]))
		}
	}
	return values
}

// inspect is the address of the walk round a door.
func inspect(visit uuid.UUID, door fleet.Door) string {
	return "/visits/" + visit.String() + "/doors/" + door.DoorID.String() + "/inspect"
}

// clock is the time by the clocks of the site, as a browser sends it.
func (w *world) clock() string { return w.now.In(w.site.Location()).Format("2006-01-02T15:04:05") }

func (w *world) entries(t testing.TB, visit uuid.UUID) []fleet.Entry {
	t.Helper()
	_, entries, err := w.Visit(t.Context(), w.technician.actor, visit)
	if err != nil {
		t.Fatal(err)
	}
	return entries
}

func TestAStationIsSavedOnceHoweverOftenItIsSent(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	visit := w.attend(t, w.now, w.site, w.door)
	path := "/visits/" + visit.String() + "/doors/" + w.door.DoorID.String() + "/inspect"
	w.technician.get(t, "/visits/"+visit.String()).want(t, 200, "Inspect it, station by station")
	page := w.technician.get(t, path).want(t, 200, "Make the work place safe", "The approach, side A (street)", "The approach, side B (hall)", "at most 30 lbf", "Before: 26.5 lbf, 1 March 2026")
	if strings.Index(page.text(), "Papers and labels") > strings.Index(page.text(), "In the doorway") {
		t.Error("the papers come after the doorway")
	}

	values := page.walk(t, "closing")
	w.technician.post(t, path, values).want(t, 422, "Nothing was read.")
	values.Set("/reading/closing_force_n/leaf1", "26.5")
	values.Set("/reading/closing_force_n/leaf2", "soft")
	values.Set("/left_out/latch_check_distance_m/reason", "not_possible")
	w.technician.post(t, path, values).want(t, 422, "2 things are not right yet", "This is not a value in lbf").holds(t, "/reading/closing_force_n/leaf2", "soft")
	if n := len(w.entries(t, visit)); n != 0 {
		t.Errorf("a refused station left %d entries", n)
	}
	values.Set("/reading/closing_force_n/leaf2", "12 lbf")
	values.Set("/left_out/latch_check_distance_m/why", "The floor is being laid.")
	values.Set("/left_out/closing_force_n/leaf2/why", "twice")
	w.technician.post(t, path, values).want(t, 422, "It is read here, and left out.")
	values.Del("/left_out/closing_force_n/leaf2/why")
	w.technician.post(t, path, values).leads(t, path+"#s-closing")
	w.technician.post(t, path, values).leads(t, path+"#s-closing")
	if n := len(w.entries(t, visit)); n != 3 {
		t.Errorf("sent twice, it is %d entries", n)
	}
	page = w.technician.get(t, path).want(t, 200, "12 lbf recorded More than a third away from before. Is that right?", "✓ passes Force that keeps a stopped leaf from closing (at most 30 lbf)", "not taken: could not be done The floor is being laid.", "Read it again, as it is left")
	values.Set("/reading/closing_force_n/leaf2", "13 lbf")
	w.technician.post(t, path, values).want(t, 409) // under the same id

	correct := regexp.MustCompile(`kind=reading&amp;corrects=([0-9a-f-]+)`).FindStringSubmatch(page.body)
	w.now = w.now.Add(time.Minute)
	form := w.technician.get(t, "/visits/"+visit.String()+"/entries/new?door="+w.door.DoorID.String()+"&kind=reading&corrects="+correct[1]+"&then=inspect").want(t, 200, "This corrects an entry")
	sent := url.Values{"entry_id": {form.hidden(t, "entry_id")}, "/door_id": {w.door.DoorID.String()}, "/kind": {"reading"}, "/corrects": {correct[1]}, "/because": {"misread"}, "then": {"inspect"},
		"/observed_at": {form.hidden(t, "/observed_at")}, "/reading/closing_force_n": {"27"}, "id/closing_force_n": {form.hidden(t, "id/closing_force_n")}, "/reading/leaf": {"1"}}
	w.technician.post(t, "/visits/"+visit.String()+"/entries", sent).leads(t, path+"#s-closing")
	w.technician.get(t, path).want(t, 200, "leaf 1: 27 lbf recorded")

	w.agent.get(t, path).want(t, 403)
	w.agent.get(t, "/doors/"+w.door.DoorID.String()+"/inspection-form/form.html").want(t, 200, "Inspector", "at most 30 lbf (133", "Number of the out-of-service tag", "Door "+w.door.Tag.String())
	w.agent.get(t, "/doors/"+w.door.DoorID.String()+"/inspection-form/form.pdf").want(t, 200)
	w.agent.get(t, "/doors/"+w.door.DoorID.String()+"/inspection-form/form.csv").want(t, 404)
}

func TestHowTheWorkPlaceWasMadeSafeIsEnteredAndCorrected(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	visit := w.attend(t, w.now, w.site, w.door)
	path, entries := "/visits/"+visit.String()+"/doors/"+w.door.DoorID.String()+"/inspect", "/visits/"+visit.String()+"/entries"
	send := func(kind string, more map[string]string) shown {
		values := url.Values{"entry_id": {w.id().String()}, "/door_id": {w.door.DoorID.String()}, "/kind": {kind}, "/observed_at": {w.clock()}, "then": {"inspect"}}
		for name, text := range more {
			values.Set(name, text)
		}
		w.now = w.now.Add(time.Minute)
		return w.technician.post(t, entries, values)
	}
	page := w.technician.get(t, path)
	safe := map[string]string{"/safe_work/traffic": "not_kept_away", "/safe_work/power": "stayed_on", "/safe_work/ladder": "not_used", "/safe_work/second_person": "there"}
	send("safe_work", safe).want(t, 422, "Work does not go on like this.")
	safe["/safe_work/traffic"], safe["/safe_work/power_why"] = "barriered", "The drive is watched while it runs."
	send("safe_work", safe).leads(t, path+"#k-safe_work")
	page = w.technician.get(t, path).want(t, 200, "The drive is watched while it runs.", "It has changed, or the work was stopped")
	correct := regexp.MustCompile(`kind=safe_work&amp;corrects=([0-9a-f-]+)`).FindStringSubmatch(page.body)
	w.technician.get(t, "/visits/"+visit.String()+"/entries/new?door="+w.door.DoorID.String()+"&kind=safe_work&corrects="+correct[1]).want(t, 200, "This corrects an entry").holds(t, "/safe_work/power_why", "The drive is watched while it runs.")
	safe["/corrects"], safe["/because"], safe["/safe_work/power"], safe["/safe_work/power_why"] = correct[1], "slip", "isolated", ""
	send("safe_work", safe).leads(t, path+"#k-safe_work")
	send("adjustment", map[string]string{"/adjustment/what": "Belt tightened.", "/adjustment/touched": "motion"}).leads(t, path+"#k-function_test")
	tests := map[string]string{}
	for _, one := range []string{"activation", "presence", "contact", "by_hand", "modes", "latching", "free_of_noise"} {
		tests["/function_test/"+one] = "yes"
	}
	tests["/function_test/free_of_noise"] = ""
	send("function_test", tests).want(t, 422, "Choose one.")
	tests["/function_test/free_of_noise"] = "no"
	send("function_test", tests).leads(t, path+"#k-function_test")
	w.technician.get(t, path).want(t, 200, "isolated before the leaf is touched", "Belt tightened.", "Runs without noise and rubbing: no.").lacks(t, "The drive is watched")
	w.technician.get(t, "/visits/"+visit.String()).want(t, 200, "Belt tightened.", "Runs without noise and rubbing: no.", "The drive is watched")
	w.technician.post(t, path, url.Values{"station": {"moon"}, "/observed_at": {"2026-03-03T09:00:00"}}).want(t, 422)
}

func TestAFailedReadingSaysSoAndLeadsToTheFindingAndToSecuringTheDoor(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	visit := w.attend(t, w.now.Add(-time.Minute), w.site, w.door)
	path := "/visits/" + visit.String() + "/doors/" + w.door.DoorID.String() + "/inspect"
	values := w.technician.get(t, path).walk(t, "closing")
	values.Set("/reading/closing_force_n/leaf1", "30.1") // over the 30 lbf of A156.10-2005, 10.1.3, as reported second-hand
	values.Set("/reading/closing_force_n/leaf2", "30")
	values.Set("/reading/closing_speed_mps", "1")
	w.technician.post(t, path, values).leads(t, path+"#s-closing")
	page := w.technician.get(t, path).want(t, 200, "leaf 1: 30.1 lbf recorded", "✗ fails:", "Enter the finding", "Secure the door", "not judged yet, wants mass of leaf 1, mass of leaf 2")
	link := regexp.MustCompile(`value="(entries/new[^"]*kind=finding[^"]*)"`).FindStringSubmatch(page.body)
	form := w.technician.get(t, "/visits/"+visit.String()+"/"+html.UnescapeString(link[1])).want(t, 200, "30.1 lbf", "The rule that it falls short of")
	if !regexp.MustCompile(`<option value="[^"]+" selected>Force that keeps a stopped leaf from closing`).MatchString(form.body) {
		t.Error("the finding does not name the rule that failed")
	}
	w.now = w.now.Add(time.Minute)
	w.technician.post(t, "/visits/"+visit.String()+"/entries", url.Values{"entry_id": {form.hidden(t, "entry_id")}, "/door_id": {w.door.DoorID.String()}, "/kind": {"finding"}, "then": {"inspect"},
		"/observed_at": {form.hidden(t, "/observed_at")}, "/finding/severity": {"unsafe"}, "/finding/what": {"Holds too hard."}, "/finding/rule": {"stopped-leaf-force"}}).leads(t, path+"#k-function_test")
	if e := w.entries(t, visit); e[len(e)-1].Body.Finding == nil || e[len(e)-1].Body.Finding.Rule != "stopped-leaf-force" {
		t.Errorf("the finding is %+v", e[len(e)-1].Body)
	}
	w.technician.get(t, path).want(t, 200, "Entered as a finding: unsafe")
}

func TestAFormThatIsRefusedLosesNothingAndNamesEveryField(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	visit := w.attend(t, w.now, w.site, w.door)
	path := "/visits/" + visit.String() + "/doors/" + w.door.DoorID.String() + "/inspect"
	values := w.technician.get(t, path).want(t, 200, "If it stayed on: why", "If none is needed: why").lacks(t, " required").walk(t, "closing")
	for name, text := range map[string]string{"/safe_work/traffic": "barriered", "/safe_work/power": "stayed_on", "/safe_work/ladder": "not_used", "/safe_work/second_person": "not_needed", "/safe_work/note": "Two cones.",
		"/reading/closing_force_n/leaf1": "26", "/reading/closing_force_n/leaf2": "soft", "/function_test/note": "Smooth.", "/facts/leaves/0/mass_kg": "180 lb"} {
		values.Set(name, text)
	}
	page := w.technician.post(t, path, values).want(t, 422, "Nothing was saved.", "This is not a value in lbf", "Opens and closes by each activation: Choose one.").
		holds(t, "/safe_work/note", "Two cones.").holds(t, "/reading/closing_force_n/leaf1", "26").holds(t, "/reading/closing_force_n/leaf2", "soft").holds(t, "/function_test/note", "Smooth.").holds(t, "/facts/leaves/0/mass_kg", "180 lb")
	for _, m := range regexp.MustCompile(`<li><a href="#(f[^"]+)">`).FindAllStringSubmatch(page.body, -1) {
		if !strings.Contains(page.body, ` id="`+m[1]+`"`) {
			t.Errorf("a fault leads to #%s, which is nowhere", m[1])
		}
	}
	values.Set("/reading/closing_force_n/leaf2", "25")
	values.Set("/function_test/note", "")
	w.technician.post(t, path, values).want(t, 422, "If it stayed on: why: This text is missing.", "If none is needed: why: This text is missing.").holds(t, "/reading/closing_force_n/leaf2", "25")
	if n := len(w.entries(t, visit)); n != 0 {
		t.Errorf("refused, it left %d entries", n)
	}
	values.Set("/safe_work/power_why", "The drive is watched.")
	values.Set("/safe_work/second_person_why", "A quiet hour.")
	w.technician.post(t, path, values).leads(t, path+"#s-closing")
	w.technician.post(t, path, values).leads(t, path+"#s-closing")
	if n := len(w.entries(t, visit)); n != 3 {
		t.Errorf("sent twice, it is %d entries", n)
	}
	w.technician.get(t, path).want(t, 200, "26 lbf recorded", "25 lbf recorded", "A quiet hour.").lacks(t, `name="/facts/leaves/0/mass_kg"`)
}

func TestAButtonThatLeadsOnSavesEverythingFirstAndLeadsNowhereElse(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	visit := w.attend(t, w.now, w.site, w.door)
	path := "/visits/" + visit.String() + "/doors/" + w.door.DoorID.String() + "/inspect"
	page := w.technician.get(t, path)
	values := page.walk(t, "closing")
	values.Del("stay")
	on := regexp.MustCompile(`name="go" value="(entries/new[^"]*kind=adjustment)"`).FindStringSubmatch(page.body)
	values.Set("go", html.UnescapeString(on[1]))
	to := w.technician.post(t, path, values).header.Get("Location") // nothing was typed, and it leads on
	w.technician.get(t, to).want(t, 200, "What was done")
	values.Set("/reading/closing_force_n/leaf1", "heavy")
	w.technician.post(t, path, values).want(t, 422)
	values.Set("/reading/closing_force_n/leaf1", "26")
	w.technician.post(t, path, values).leads(t, to)
	if n := len(w.entries(t, visit)); n != 1 {
		t.Errorf("it left %d entries", n)
	}
	for _, away := range []string{"//elsewhere.example/", "https://elsewhere.example/entries/new", "../people", "entries/../../people"} {
		values.Set("go", away)
		w.technician.post(t, path, values).want(t, 404)
	}
}

func TestAnUncertaintyIsTypedWhereTheInstrumentHasNoneOnRecord(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	gauge := func(name string, uncertainty map[string]float64) string {
		return must[fleet.Instrument](t)(w.PutInstrument(t.Context(), w.dispatcher.actor, fleet.Instrument{InstrumentID: w.id(), Kind: "force_gauge", Name: name, Serial: name, CalibratedOn: day("2025-06-01"),
			CalibratedUntil: day("2026-06-01"), Certificate: "K-881", Uncertainty: uncertainty}, 0)).InstrumentID.String()
	}
	known, silent := gauge("Gauge 3", map[string]float64{"N": 8.9}), gauge("Old gauge", nil)
	visit := w.attend(t, w.now.Add(-time.Minute), w.site, w.door)
	path := "/visits/" + visit.String() + "/doors/" + w.door.DoorID.String() + "/inspect"
	values := w.technician.get(t, path).want(t, 200, "Uncertainty, where the instrument has none on record").walk(t, "closing")
	values.Set("/uncertainty/closing_force_n/leaf1", "2")
	w.technician.post(t, path, values).want(t, 422, "Nothing was read.")
	values.Set("/reading/closing_force_n/leaf1", "29")
	values.Set("/with/closing_force_n/leaf1", known)
	w.technician.post(t, path, values).want(t, 422, "uncertainty is on record")
	values.Set("/with/closing_force_n/leaf1", silent)
	values.Set("/uncertainty/closing_force_n/leaf1", "-2")
	w.technician.post(t, path, values).want(t, 422).holds(t, "/uncertainty/closing_force_n/leaf1", "-2")
	values.Set("/uncertainty/closing_force_n/leaf1", "2")
	w.technician.post(t, path, values).leads(t, path+"#s-closing")
	w.technician.get(t, path).want(t, 200, "29 lbf ± 2 lbf recorded, read with Old gauge", "? cannot be decided, the uncertainty reaches over the limit")
}

func TestAVisitIsBegunFromItsOrderAndListsIt(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	begin := regexp.MustCompile(`href="(/visits/new[^"]*)"`)
	ticked := func(path string) bool {
		t.Helper()
		link := begin.FindStringSubmatch(w.technician.get(t, path).want(t, 200, "Begin a visit").body)
		return strings.Contains(w.technician.get(t, html.UnescapeString(link[1])).want(t, 200).body, `value="`+w.orderPlan+`" checked`)
	}
	if !ticked("/work-orders/" + w.orderPlan) {
		t.Error("the order from which the visit is begun is not ticked")
	}
	if !ticked("/doors/" + w.late.DoorID.String()) {
		t.Error("the open inspection of the door is not ticked")
	}
	w.dispatcher.get(t, "/work-orders/"+w.orderPlan).want(t, 200).lacks(t, "/visits/new")
}

func TestAnInstrumentIsNamedAtTheReadingAndStandsBesideIt(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	gauge := must[fleet.Instrument](t)(w.PutInstrument(t.Context(), w.dispatcher.actor, fleet.Instrument{InstrumentID: w.id(), Kind: "force_gauge", Name: "Gauge 3", Serial: "G-3", CalibratedOn: day("2025-06-01"),
		CalibratedUntil: day("2026-06-01"), Certificate: "K-881", Uncertainty: map[string]float64{"N": 8.9}}, 0))
	visit := w.attend(t, w.now.Add(-time.Minute), w.site, w.door)
	path := "/visits/" + visit.String() + "/doors/" + w.door.DoorID.String() + "/inspect"
	values := w.technician.get(t, path).want(t, 200, "Gauge 3 G-3, ± 2 lbf, calibrated until 1 June 2026").walk(t, "closing")
	values.Set("/reading/closing_force_n/leaf1", "29") // with 2 lbf of uncertainty it may be over the 30 lbf
	values.Set("/with/closing_force_n/leaf1", gauge.InstrumentID.String())
	w.technician.post(t, path, values).leads(t, path+"#s-closing")
	page := w.technician.get(t, path).want(t, 200, "29 lbf ± 2 lbf recorded, read with Gauge 3", "? cannot be decided, the uncertainty reaches over the limit")
	if !regexp.MustCompile(`name="/with/closing_force_n/leaf2"[^>]*>(?s:.{0,200}?)<option value="` + gauge.InstrumentID.String() + `" selected>`).MatchString(page.body) {
		t.Error("the instrument that was named last is not chosen for the next reading")
	}
}

func TestAPassedIsNotSavedWhileNoSignOffWouldTakeItAndTheNameIsTheSigners(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	visit := w.attend(t, w.now.Add(-time.Minute), w.site, w.door)
	path, entries := "/visits/"+visit.String()+"/doors/"+w.door.DoorID.String()+"/inspect", "/visits/"+visit.String()+"/entries"
	send := func(kind string, more url.Values) shown {
		t.Helper()
		values := url.Values{"entry_id": {w.id().String()}, "/door_id": {w.door.DoorID.String()}, "/kind": {kind}, "/observed_at": {w.clock()}, "then": {"inspect"}}
		for name, texts := range more {
			values[name] = texts
		}
		w.now = w.now.Add(time.Minute)
		return w.technician.post(t, entries, values)
	}
	send("conclusion", url.Values{"/conclusion/result": {"passed"}}).want(t, 422, "It was not saved: no sign-off would take a passed", "how the work place was made safe has not been entered")
	if n := len(w.entries(t, visit)); n != 0 {
		t.Errorf("refused, it left %d entries", n)
	}
	send("safe_work", url.Values{"/safe_work/traffic": {"barriered"}, "/safe_work/power": {"isolated"}, "/safe_work/ladder": {"not_used"}, "/safe_work/second_person": {"there"}}).leads(t, path+"#k-safe_work")
	values := w.technician.get(t, path).walk(t, "closing")
	values.Set("/reading/closing_force_n/leaf1", "26")
	w.technician.post(t, path, values).leads(t, path+"#s-closing")
	send("adjustment", url.Values{"/adjustment/what": {"Belt tightened."}, "/adjustment/touched": {"motion"}}).leads(t, path+"#k-function_test")
	// 09:03 on the clocks of Sacramento: made safe, the reading and the adjustment a minute apart
	page := w.technician.get(t, path).want(t, 200, "read before the change of", "to be read again").lacks(t, "passes Force that keeps a stopped leaf from closing")
	if !regexp.MustCompile(`read before the change of 0?9:0\d, to be read again`).MatchString(page.text()) {
		t.Error("the time of the change is not told by the clocks of the site")
	}
	send("function_test", url.Values{"/function_test/activation": {"yes"}, "/function_test/presence": {"no"}, "/function_test/contact": {"yes"}, "/function_test/by_hand": {"yes"}, "/function_test/modes": {"yes"}, "/function_test/latching": {"no"},
		"/function_test/free_of_noise": {"yes"}}).leads(t, path+"#k-function_test")
	page = w.technician.get(t, path).want(t, 200, "the door did not do this when it was tried")
	var severities []string
	for _, m := range regexp.MustCompile(`value="([^"]*kind=finding[^"]*)"[^>]*>Enter the finding`).FindAllStringSubmatch(page.body, -1) {
		to, err := url.Parse(html.UnescapeString(m[1]))
		if err != nil {
			t.Fatal(err)
		}
		severities = append(severities, to.Query().Get("severity"))
	}
	if strings.Join(severities, " ") != "unsafe deficient" { // somebody in the doorway may be hit; that it does not latch is a defect (common practice, no source)
		t.Errorf("the tests answered with no are proposed as %q", severities)
	}
	send("conclusion", url.Values{"/conclusion/result": {"failed"}}).leads(t, path+"#k-conclusion")

	sign := w.technician.get(t, "/visits/"+visit.String()+"/sign-off").want(t, 200, "Concluded: failed", "The leaf as it closes", "26 lbf", "at most 30 lbf", "read before the change of", "not read, and needed to pass", "Belt tightened.", "Weather seal torn at the floor.", "You are signed in as Cato Wren")
	if strings.Index(sign.text(), "at most 30 lbf") > strings.Index(sign.text(), "Your full name") {
		t.Error("the readings come after the signature")
	}
	signed := url.Values{"signed_at": {sign.hidden(t, "signed_at")}, "/left_at": {sign.hidden(t, "/left_at")}, "/statement": {"As recorded."}, "/signature": {"Dee Alder"}}
	for _, m := range regexp.MustCompile(`name="/entries" value="([^"]+)"`).FindAllStringSubmatch(sign.body, -1) {
		signed.Add("/entries", m[1])
	}
	w.technician.post(t, "/visits/"+visit.String()+"/sign-off", signed).want(t, 422, "You wrote Dee Alder, and you are signed in as Cato Wren").holds(t, "/signature", "Dee Alder")
	signed.Set("/signature", " cato  WREN ")
	w.technician.post(t, "/visits/"+visit.String()+"/sign-off", signed).leads(t, "/visits/"+visit.String())
}

func TestTheFormOfAnUnsafeDoorSaysSoAtItsTopAndLeadsToTheTag(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	visit := w.attend(t, w.now, w.site, w.unsafe)
	path := "/visits/" + visit.String() + "/doors/" + w.unsafe.DoorID.String() + "/inspect"
	page := w.technician.get(t, path).want(t, 200, "Closes on a standing person.", "This door is unsafe and not secured.", "Secure the door").source(t, "/out-of-service/"+w.unsafeCase.String()+"/tag.pdf")
	if strings.Index(page.text(), "Closes on a standing person.") > strings.Index(page.text(), "Make the work place safe") {
		t.Error("that the door is unsafe comes after the first step")
	}
	visit = w.attend(t, w.now, w.coast, w.held)
	w.technician.get(t, "/visits/"+visit.String()+"/doors/"+w.held.DoorID.String()+"/inspect").want(t, 200, "This door is secured and out of service.").source(t, "/tag.pdf").lacks(t, "Secure the door")
}

func TestTheJournalNamesTheDeviceAndWhatWasSet(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	visit := w.attend(t, w.now.Add(-time.Minute), w.site, w.door)
	w.enter(t, visit, w.door, w.now, fleet.EntryBody{Kind: "settings", Settings: &fleet.EntrySettings{ComponentID: w.sensor, Standing: "left", Device: w.facts(-9)}})
	w.technician.get(t, "/visits/"+visit.String()).want(t, 200, "Motion 2", "-9 dB (seen on site)", "28° (seen on site)")
	w.technician.get(t, "/visits/"+visit.String()+"/doors/"+w.door.DoorID.String()+"/inspect").want(t, 200, "-9 dB (seen on site)")
}
func TestEachLimitStandsBesideWhatItIsOfAndShortLengthsInMillimetres(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	leaf := fleet.Leaf{Motion: "swing", Hinge: "left", OpensTowards: "b", WidthM: fleet.Q(0.95, fleet.Measured), HeightM: fleet.Q(2.1, fleet.Measured), MassKg: fleet.Q(62, fleet.Assumed)}
	facts := w.door.Facts
	facts.Kind, facts.Energy, facts.Leaves, facts.FireRated, facts.Interior, facts.RuleBasis.PackID = "swinging", "low", []fleet.Leaf{leaf}, p(false), p(false), "a156.19@2013"
	facts.A.Activation, facts.B.Activation, facts.PresenceBy = "knowing_act", "knowing_act", "none"
	low := must[fleet.Door](t)(w.PutDoor(t.Context(), w.dispatcher.actor, fleet.DoorPut{DoorID: w.id(), SiteID: w.site.SiteID, Name: "Side entrance", Reason: "new", Facts: facts}))
	w.now = w.now.Add(time.Minute)
	page := w.technician.get(t, inspect(w.attend(t, w.now, w.site, low), low)).want(t, 200, "Rests on what is only assumed", "136.7 lb (assumed)", "First inspection that is signed here")
	angle := ""
	for _, item := range strings.Split(page.body, `<fieldset class="item">`) {
		if strings.Contains(item, `name="/reading/backcheck_angle_deg"`) {
			angle = item
		}
	}
	if !strings.Contains(angle, "taken for: Opening time to fully open") || strings.Contains(angle, "<strong>at least 3") {
		t.Errorf("beside the angle of the backcheck stands %q", angle)
	}

	w.technician.get(t, inspect(w.attend(t, w.now, w.site, w.door), w.door)).want(t, 200, "The register says:", "overhead sensor and beams", "asked by law, ")
}
