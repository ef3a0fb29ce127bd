package console_test

import (
	"context"
	_ "embed"
	"fmt"
	"net/http/httptest"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/chromedp/cdproto/cdp"
	"github.com/chromedp/cdproto/emulation"
	cdplog "github.com/chromedp/cdproto/log"
	"github.com/chromedp/cdproto/runtime"
	"github.com/chromedp/chromedp"
	"github.com/google/uuid"
)

//go:embed testdata/axe.min.js
var axe string

// tab is a tab of a real browser that looks at a desk.
type tab struct {
	t    testing.TB
	ctx  context.Context
	root string

	mutex sync.Mutex
	said  []string // what the browser complained of
}

// browse opens a browser on a desk. LINTEL_LOOKS=FOLDER keeps a picture of every page that is looked at.
func browse(t testing.TB, d *desk) *tab {
	t.Helper()
	program := ""
	for _, name := range []string{"chromium", "chromium-browser", "google-chrome"} {
		if found, err := exec.LookPath(name); err == nil && program == "" {
			program = found
		}
	}
	if program == "" {
		t.Fatal("no chromium is installed: deploy/test installs it, or see deploy/need")
	}
	server := httptest.NewServer(d.handler)
	t.Cleanup(server.Close)
	allocator, stop := chromedp.NewExecAllocator(context.Background(), append(slices.Clone(chromedp.DefaultExecAllocatorOptions[:]), chromedp.ExecPath(program), chromedp.NoSandbox)...)
	t.Cleanup(stop)
	ctx, end := chromedp.NewContext(allocator)
	t.Cleanup(end)
	b := &tab{t: t, ctx: ctx, root: server.URL}
	if err := chromedp.Do(ctx, chromedp.Navigate("about:blank")); err != nil { // starts the browser
		t.Fatal(err)
	}
	err := chromedp.Listen(ctx, func(event any) {
		b.mutex.Lock()
		defer b.mutex.Unlock()
		switch e := event.(type) {
		case *cdplog.EventEntryAdded:
			if e.Entry.Level == cdplog.EntryLevelError || e.Entry.Level == cdplog.EntryLevelWarning {
				b.said = append(b.said, fmt.Sprint(e.Entry.Level, ": ", e.Entry.Text))
			}
		case *runtime.EventExceptionThrown:
			b.said = append(b.said, e.ExceptionDetails.Text)
		}
	})
	if err != nil {
		t.Fatal(err)
	}
	return b
}

func (b *tab) do(steps ...chromedp.Action[chromedp.Void]) {
	b.t.Helper()
	ctx, cancel := context.WithTimeout(b.ctx, 60*time.Second)
	defer cancel()
	if err := chromedp.Do(ctx, steps...); err != nil {
		b.t.Fatal(err)
	}
}

func run[T any](b *tab, step chromedp.Action[T]) T {
	b.t.Helper()
	ctx, cancel := context.WithTimeout(b.ctx, 60*time.Second)
	defer cancel()
	v, err := chromedp.Run(ctx, step)
	if err != nil {
		b.t.Fatal(err)
	}
	return v
}

// open goes to an address.
func (b *tab) open(path string) {
	b.t.Helper()
	b.do(chromedp.Navigate(b.root + path))
}

// size makes the window as wide as a desk's or a phone's, in a light or a dark scheme.
func (b *tab) size(width int64, scheme string) {
	b.t.Helper()
	b.do(chromedp.EmulateViewport(width, 900), func(ctx context.Context, t *chromedp.Target) (chromedp.Void, error) {
		_, err := cdp.Call(ctx, t, emulation.SetEmulatedMedia, emulation.SetEmulatedMediaParams{Features: []*emulation.MediaFeature{{Name: "prefers-color-scheme", Value: scheme}}})
		return chromedp.Void{}, err
	})
}

// text is what a person reads on the page.
func (b *tab) text() string {
	b.t.Helper()
	return strings.Join(strings.Fields(run(b, chromedp.Evaluate[string](`document.body.innerText`))), " ")
}

// says fails unless the page says all of this.
func (b *tab) says(texts ...string) {
	b.t.Helper()
	got := b.text()
	for _, text := range texts {
		if !strings.Contains(got, text) {
			b.t.Fatalf("%s does not say %q: %s", run(b, chromedp.Location()), text, got)
		}
	}
}

// fill writes into the field with a name; press clicks what has a text, and waits for the page that follows.
func (b *tab) fill(name, text string) {
	b.t.Helper()
	b.do(chromedp.SetValue(fmt.Sprintf(`[name=%q]`, name), text))
}

func (b *tab) press(text string) {
	b.t.Helper()
	find := fmt.Sprintf(`[...document.querySelectorAll('main button, main a, header button, header a, main summary')].find(e => e.innerText.trim() === %q)`, text)
	if !run(b, chromedp.Evaluate[bool](find+` !== undefined`)) {
		b.t.Fatalf("nothing on %s can be pressed that says %q: %s", run(b, chromedp.Location()), text, b.text())
	}
	ctx, cancel := context.WithTimeout(b.ctx, 60*time.Second)
	defer cancel()
	if _, err := chromedp.RunResponse(ctx, func(ctx context.Context, t *chromedp.Target) (chromedp.Void, error) {
		_, err := chromedp.Evaluate[bool](find+`.click() || true`)(ctx, t)
		return chromedp.Void{}, err
	}); err != nil {
		b.t.Fatal(err)
	}
}

// forget passes over what the browser complained of until now.
func (b *tab) forget() {
	b.mutex.Lock()
	defer b.mutex.Unlock()
	b.said = nil
}

// signIn comes in by the form.
func (b *tab) signIn(who *somebody) {
	b.t.Helper()
	b.open("/sign-in")
	b.fill("/email", who.email)
	b.fill("/password", chosen)
	b.press("Sign in")
}

// look fails for everything on the page that keeps somebody out, for text that runs out of the window, for a text that
// is missing, and for everything that the browser complained of since the last look.
func (b *tab) look(name string) {
	b.t.Helper()
	run(b, chromedp.Evaluate[bool](axe+`; true`))
	for _, way := range []struct {
		name   string
		width  int64
		scheme string
	}{{"wide", 1280, "light"}, {"narrow", 390, "dark"}} {
		b.size(way.width, way.scheme)
		if folder := os.Getenv("LINTEL_LOOKS"); folder != "" {
			if err := os.WriteFile(filepath.Join(folder, name+"-"+way.name+".png"), run(b, chromedp.FullScreenshot(100)), 0o600); err != nil {
				b.t.Fatal(err)
			}
		}
		const find = `axe.run(document, {resultTypes: ['violations']}).then(r => r.violations.map(v => v.id + ': ' + v.nodes.map(n => n.target.join(' ') + ': ' + n.failureSummary).join('; ')))`
		for _, v := range run(b, chromedp.Evaluate[[]string](find, chromedp.EvalAwaitPromise)) {
			b.t.Errorf("%s, %s: %s", name, way.name, v)
		}
		for _, id := range run(b, chromedp.Evaluate[[]string](`[...document.querySelectorAll('[id]')].map(e => e.id).filter((id, i, all) => all.indexOf(id) !== i)`)) {
			b.t.Errorf("%s, %s: more than one element has the id %s", name, way.name, id)
		}
		if over := run(b, chromedp.Evaluate[int](`document.documentElement.scrollWidth - document.documentElement.clientWidth`)); over > 0 {
			b.t.Errorf("%s, %s: the page is %d pixels wider than the window", name, way.name, over)
		}
	}
	if text := b.text(); strings.Contains(text, "⟦") {
		b.t.Errorf("%s: a text is missing: %s", name, text)
	}
	b.mutex.Lock()
	defer b.mutex.Unlock()
	for _, s := range b.said {
		b.t.Errorf("%s: the browser says %s", name, s)
	}
	b.said = nil
}

func TestEveryPageCanBeUsedByEverybody(t *testing.T) {
	w := newWorld(t)
	w.delivered(t)
	b := browse(t, w.desk)
	b.open("/sign-in")
	b.look("sign-in")
	b.signIn(w.admin)
	for name, path := range w.pages() {
		b.open(path)
		b.look(name)
	}
}

// A technician's and a dispatcher's day, by a real browser that runs no script of ours.
func TestADayInTheBrowser(t *testing.T) {
	w := newWorld(t)
	b := browse(t, w.desk)
	b.size(1280, "light")
	b.signIn(w.support)
	b.says("Today", "One door is unsafe and not yet secured")
	b.open("/doors/" + w.door.DoorID.String())
	b.says("Main entrance", "-1 dB (seen on site)")
	b.open("/devices/" + w.sensor.String() + "/settings")
	b.fill("/device/settings/reach_db", "-12")
	b.fill("/reason", "Opens for passers-by.")
	b.do(chromedp.Click(`#s-left`))
	b.press("Show what it would do")
	b.says("What it would do", "would open", "After the change")
	b.look("settings-preview")
	b.press("Record it")
	b.says("Main entrance", "-12 dB (seen on site)", "Opens for passers-by.")
	b.press("Sign out")

	b.signIn(w.technician)
	b.open("/sites/" + w.site.SiteID.String())
	b.press("Begin a visit")
	b.do(chromedp.Click("#d-" + w.bare.DoorID.String()))
	b.look("visit-new")
	b.press("Begin the visit")
	b.says("Visit to Clinic East", "Garden door", "not signed off yet")
	b.press("reading")
	b.fill("/reading/closing_force_n", "heavy")
	b.press("Enter")
	b.says("This is not a value in lbf")
	b.forget() // that the form was refused
	b.look("entry-refused")
	b.fill("/reading/closing_force_n", "27")
	b.press("Enter")
	b.says("27 lbf")
	for _, kind := range []string{"finding", "securing", "mending", "note", "settings", "conclusion"} {
		b.press(kind)
		b.look("entry-" + kind)
		switch kind {
		case "finding":
			b.fill("/finding/severity", "unsafe")
			b.fill("/finding/what", "Glass cracked.")
			b.press("Enter")
			b.says("Glass cracked.")
		case "note":
			b.fill("/note/text", "Glazier called.")
			b.press("Enter")
			b.says("Glazier called.")
		case "securing":
			b.fill("/securing/how", "barriered")
			b.fill("/securing/egress_kept", "yes")
			b.fill("/securing/told_name", "Ida")
			b.fill("/securing/answer", "acknowledged")
			b.press("Enter")
			b.says("barriered", "Ida: took note.")
		default:
			b.press("Back")
		}
	}
	b.press("force over time")
	b.look("entry-force")
	b.press("Back")
	b.press("tried positions")
	b.look("entry-positions")
	b.press("Back")
	b.press("photo")
	b.look("photo-new")
	b.fill("/photo/what", "The pane, cracked.")
	b.do(chromedp.SetUploadFiles(`[name="file"]`, []string{picture(t)}))
	b.press("Enter")
	if width := run(b, chromedp.Evaluate[int](`(i => i.decode().then(() => i.naturalWidth))(document.querySelector('img[alt="The pane, cracked."]'))`, chromedp.EvalAwaitPromise)); width != 320 {
		t.Errorf("the photo is %d pixels wide in the browser", width)
	}
	b.look("visit-open")
	b.press("Sign off")
	b.fill("/signature", "Cato Wren")
	b.look("sign-off")
	b.press("Sign off")
	b.says("signed off 3 March 2026", "by Cato Wren")
	b.press("Sign out")

	b.signIn(w.dispatcher)
	b.says("Secured and out of service", "Garden door", "Glass cracked.")
}

// An inspection from the work place made safe to the conclusion, on the page that walks round the door.
func TestAnInspectionInTheBrowserGoesStationByStation(t *testing.T) {
	w := newWorld(t)
	b := browse(t, w.desk)
	b.size(1280, "light")
	b.signIn(w.technician)
	visit := w.attend(t, w.now.Add(-time.Minute), w.site, w.door)
	b.open("/visits/" + visit.String())
	b.press("Inspect it, station by station")
	b.says("Make the work place safe", "The approach, side A (street)", "at most 30 lbf", "Before: 26.5 lbf, 1 March 2026", "mass of leaf 1")
	b.look("inspection")
	b.fill("/safe_work/traffic", "barriered")
	b.fill("/safe_work/ladder", "not_used")
	b.fill("/safe_work/power", "isolated")
	b.fill("/safe_work/second_person", "there")
	// typed at three stations, saved at one
	b.fill("/reading/closing_force_n/leaf1", "heavy")
	b.fill("/reading/closing_force_n/leaf2", "26")
	const sound = `.step [type=radio][value="yes"]` // the first thing that is there or not
	b.do(chromedp.Click(sound))
	b.fill("/function_test/note", "Tried twice.")
	b.press("Save everything, stay at: The leaf as it closes")
	b.says("Nothing was saved.", "This is not a value in lbf", "Choose one.")
	b.forget() // that the form was refused
	b.look("inspection-refused")
	if n := len(w.entries(t, visit)); n != 0 {
		t.Errorf("refused, it left %d entries", n)
	}
	for name, typed := range map[string]string{"/safe_work/traffic": "barriered", "/reading/closing_force_n/leaf1": "heavy", "/reading/closing_force_n/leaf2": "26", "/function_test/note": "Tried twice."} {
		if got := run(b, chromedp.Evaluate[string](fmt.Sprintf(`document.querySelector('[name=%q]').value`, name))); got != typed {
			t.Errorf("after the fault %s has %q, not %q", name, got, typed)
		}
	}
	if !run(b, chromedp.Evaluate[bool](`document.querySelector('`+sound+`').checked`)) {
		t.Error("after the fault a yes is no longer chosen")
	}
	b.fill("/function_test/note", " ")
	b.fill("/reading/closing_force_n/leaf1", "12")
	b.press("Save everything, stay at: The leaf as it closes")
	b.says("12 lbf recorded More than a third away from before. Is that right?", "barriers or signs on both sides", "26 lbf recorded", "Yes recorded")
	if at := run(b, chromedp.Location()); !strings.HasSuffix(at, "#s-closing") {
		t.Errorf("saved at the closing leaf, it leads to %s", at)
	}
	w.now = w.now.Add(5 * time.Minute)
	b.press("adjustment")
	b.look("entry-adjustment")
	b.fill("/adjustment/what", "Closing force raised.")
	b.press("Enter")
	b.says("Closing force raised.")
	for _, test := range []string{"activation", "presence", "contact", "by_hand", "modes", "latching", "free_of_noise"} {
		b.fill("/function_test/"+test, "yes")
	}
	b.press("Save everything, stay at: function test")
	b.says("Stops or reverses on contact: yes.")
	b.look("inspection-going-on")
	b.fill("/conclusion/result", "failed")
	b.press("Save everything, stay at: Conclusion")
	b.press("Visit")
	b.look("visit-inspected")
	for _, kind := range []string{"safe work", "left out", "function test"} {
		b.press(kind)
		b.look("entry-" + strings.ReplaceAll(kind, " ", "-"))
		b.press("Back")
	}
}

// picture is a file with a photo.
func picture(t testing.TB) string {
	t.Helper()
	name := filepath.Join(t.TempDir(), "pane.png")
	if err := os.WriteFile(name, drawnPNG(t, 0x60), 0o600); err != nil {
		t.Fatal(err)
	}
	return name
}

// pages are the addresses of every page, by the names of their pictures.
func (w *world) pages() map[string]string {
	return map[string]string{
		"today":               "/",
		"doors":               "/doors",
		"doors-none":          "/doors?search=zzz",
		"door":                "/doors/" + w.door.DoorID.String(),
		"diagnosis":           "/doors/" + w.door.DoorID.String() + "/diagnosis?symptom=stays_open&since=2026-03-01",
		"diagnosis-open":      "/doors/" + w.door.DoorID.String() + "/diagnosis",
		"advice":              "/doors/" + w.door.DoorID.String() + "/advice?side=either&header_height_m=2.2&exposed=yes",
		"advice-open":         "/doors/" + w.door.DoorID.String() + "/advice",
		"comparison":          "/doors/" + w.door.DoorID.String() + "/comparison?pack=a156.10@2017",
		"comparison-open":     "/doors/" + w.door.DoorID.String() + "/comparison",
		"door-then":           "/doors/" + w.door.DoorID.String() + "?as_of=2025-06-30",
		"door-unsafe":         "/doors/" + w.unsafe.DoorID.String(),
		"work-order-plan":     "/work-orders/" + w.orderPlan,
		"findings":            "/findings",
		"findings-none":       "/findings?state=dismissed&severity=advisory",
		"dismissal":           "/findings/" + w.seal.String() + "/dismissal",
		"decision-which":      "/doors/" + w.door.DoorID.String() + "/decisions/new",
		"decision":            "/doors/" + w.door.DoorID.String() + "/decisions/new?shown=" + w.shown,
		"oddities":            "/oddities",
		"oddities-none":       "/oddities?kind=short_visit",
		"oddity":              "/oddities/" + w.oddity.String(),
		"packs":               "/rule-packs",
		"pack":                "/rule-packs/house@2",
		"pack-activate":       "/rule-packs/house@2/activate",
		"pack-replay":         "/rule-packs/house@2/replay?sort=site",
		"pack-end":            "/rule-packs/house@1/end",
		"letters":             "/letter-templates",
		"letter":              "/letter-templates/" + w.letter.String(),
		"letter-unapproved":   "/letter-templates/" + w.unapproved.String(),
		"letter-write":        "/letter-templates/new?kind=declination",
		"door-letters":        "/doors/" + w.door.DoorID.String() + "/letters",
		"door-letters-issued": "/doors/" + w.unsafe.DoorID.String() + "/letters",
		"report-letter":       "/reports/" + w.issued.String(),
		"imports":             "/imports",
		"import":              "/imports/" + w.list.String(),
		"import-undo":         "/imports/" + w.list.String() + "/undo",
		"customer-new":        "/customers/new",
		"site-new":            "/sites/new?customer=" + w.customer.CustomerID.String(),
		"site-change":         "/sites/" + w.site.SiteID.String() + "/change",
		"site-hand-over":      "/sites/" + w.site.SiteID.String() + "/hand-over",
		"standing-new":        "/sites/" + w.site.SiteID.String() + "/parties/new", "standing-end": w.standingEnd(),
		"parties":         "/parties",
		"parties-none":    "/parties?search=zzz",
		"party":           "/parties/" + w.party.PartyID.String(),
		"party-new":       "/parties/new?site=" + w.site.SiteID.String(),
		"door-new":        "/doors/new?site=" + w.site.SiteID.String(),
		"door-change":     "/doors/" + w.door.DoorID.String() + "/change",
		"component-new":   "/components/new?door=" + w.door.DoorID.String(),
		"component-refit": "/components/" + w.sensor.String(),
		"component-out":   "/components/" + w.sensor.String() + "/out",
		"plan-new":        "/doors/" + w.bare.DoorID.String() + "/plans/new", "plan-change": w.planPath(), "plan-stop": w.planPath() + "/stop", "plan-suspensions": w.planPath() + "/suspensions",
		"due":                  "/doors/" + w.door.DoorID.String() + "/due",
		"password":             "/password",
		"me":                   "/me",
		"work-orders":          "/work-orders",
		"work-orders-none":     "/work-orders?kind=accident",
		"work-order":           "/work-orders/" + w.order,
		"work-order-new":       "/work-orders/new?door=" + w.door.DoorID.String(),
		"work-order-cancel":    "/work-orders/" + w.order + "/cancel",
		"visits":               "/visits",
		"visits-none":          "/visits?search=zzz",
		"jobs-none":            "/jobs?search=zzz",
		"visit":                "/visits/" + w.visit.String(),
		"force":                "/visits/" + w.open.String() + "/entries/" + w.pressed.String() + "/force",
		"walk":                 "/visits/" + w.visit.String() + "/entries/" + w.walked.String() + "/fit",
		"device":               "/devices/" + w.sensor.String(),
		"settings":             "/devices/" + w.sensor.String() + "/settings",
		"sites":                "/sites",
		"site":                 "/sites/" + w.site.SiteID.String(),
		"customers":            "/customers",
		"customer":             "/customers/" + w.customer.CustomerID.String(),
		"reports":              "/reports",
		"reports-door":         "/reports?door=" + w.door.DoorID.String(),
		"report":               "/reports/" + w.report.String(),
		"notices":              "/notices",
		"unanswered":           "/unanswered",
		"answer":               w.letterLink("answer"),
		"decline":              w.letterLink("reminders"),
		"calendar-feeds":       "/calendar-feeds?site=" + w.site.SiteID.String(),
		"calendar-feed-revoke": "/calendar-feeds/" + w.feed.String() + "/revoke",
		"ladders":              "/ladders",
		"ladders-customer":     "/ladders?customer=" + w.customer.CustomerID.String(),
		"ladder-new":           "/ladders/new?customer=" + w.customer.CustomerID.String(),
		"alone":                "/alone",
		"jobs":                 "/jobs",
		"job":                  "/jobs/queue_notices",
		"job-run":              "/jobs/queue_notices/run",
		"webhooks":             "/webhooks",
		"webhook":              "/webhooks/" + w.hook.String(),
		"forecast":             "/forecast",
		"routes":               "/route-plans",
		"route-plan":           "/route-plans/" + w.rounds.String(),
		"working-terms":        "/people/" + w.technician.actor.PersonID.String() + "/working-terms",
		"visiting-hours":       "/sites/" + w.site.SiteID.String() + "/visiting-hours",
		"closed-days":          "/closed-days",
		"closed-days-site":     "/closed-days?site=" + w.site.SiteID.String(),
		"order-hold":           "/work-orders/" + w.order + "/hold",
		"people":               "/people",
		"certificates":         "/certificates",
		"certificates-none":    "/certificates?until=2020-01-01",
		"person":               "/people/" + w.technician.actor.PersonID.String(),
		"person-new":           "/people/new",
		"person-disable":       "/people/" + w.technician.actor.PersonID.String() + "/disable",
	}
}

// Somebody who has the order and the form and nothing else comes from the one to the signed certificate by what the pages show.
func TestATechnicianInspectsADoorWithTheFormAlone(t *testing.T) {
	w := newWorld(t)
	b := browse(t, w.desk)
	b.size(1280, "light")
	b.signIn(w.technician)
	b.open("/work-orders/" + w.orderPlan)
	b.press("Begin a visit")
	b.press("Begin the visit")
	b.says("Staff entrance")
	b.press("Inspect it, station by station")
	w.now = w.now.Add(time.Minute)

	b.says("Facts that are wanted", "Before the door can be signed as passed")
	b.fill("/facts/leaves/0/mass_kg", "180 lb")
	b.fill("/facts/leaves/1/mass_kg", "180 lb")
	b.fill("/facts/fire_rated", "no")
	b.look("inspection-facts")
	b.press("Save everything, stay at: Facts that are wanted")
	if b.says("The leaf as it closes"); strings.Contains(b.text(), "Facts that are wanted") {
		t.Errorf("after every fact was answered there are still wanted: %s", b.text())
	}
	b.fill("/safe_work/traffic", "barriered")
	b.fill("/safe_work/ladder", "stands_safe")
	b.fill("/safe_work/power", "isolated")
	b.fill("/safe_work/second_person", "not_needed")
	b.fill("/safe_work/second_person_why", "A quiet hour, the door barriered on both sides.")
	b.press("Save everything, stay at: Make the work place safe")
	b.says("A quiet hour")

	// what a sound door reads; the form says what it needs
	read := map[string]string{"months_since_inspection": "11", "activation_zone_width_m": "6 ft 6 in", "activation_zone_depth_m": "4 ft", "threshold_height_m": "3/8 in", "hold_open_s": "2.5", "hold_open_knowing_act_s": "6",
		"closing_speed_mps": "0.8", "latch_check_distance_m": "2 1/2 in", "closing_force_n": "22", "manual_release_force_n": "10", "manual_start_force_n": "20", "manual_full_force_n": "12", "breakout_force_n": "40",
		"presence_zone_width_m": "6 ft", "presence_zone_depth_m": "2 ft", "lowest_beam_height_m": "24 in"}
	for _, station := range run(b, chromedp.Evaluate[[]string](`[...document.querySelectorAll('section.step[id^="s-"]')].map(e => e.id)`)) {
		w.now = w.now.Add(2 * time.Minute)
		for _, name := range run(b, chromedp.Evaluate[[]string](fmt.Sprintf(`[...document.getElementById(%q).querySelectorAll('[name^="/reading/"]:not([type=radio]), [type=radio][value=yes]')].filter(e => !e.closest('details')).map(e => e.name)`, station))) {
			kind := strings.Split(name, "/")[2]
			if value, number := read[kind]; number {
				b.fill(name, value)
			} else if run(b, chromedp.Evaluate[bool](fmt.Sprintf(`document.querySelector('[name=%q][value=yes]') !== null`, name))) {
				b.do(chromedp.Click(fmt.Sprintf(`[name=%q][value="yes"]`, name)))
			}
		}
	}
	b.look("inspection-typed")
	b.press("Save everything, stay at: The leaf as it closes")
	if at := run(b, chromedp.Location()); !strings.HasSuffix(at, "#s-closing") {
		t.Errorf("saved at the closing leaf, it leads to %s", at)
	}
	b.look("inspection-read")
	b.says("Nothing is wanting for a sign-off as passed", "22 lbf recorded", "passes Force that keeps a stopped leaf from closing (at most 30 lbf)", "2 1/2 in recorded", "3/8 in recorded")
	w.now = w.now.Add(2 * time.Minute)
	for _, test := range []string{"activation", "presence", "contact", "by_hand", "modes", "latching", "free_of_noise"} {
		b.fill("/function_test/"+test, "yes")
	}
	b.fill("/conclusion/result", "passed")
	b.press("Save everything and go to the sign-off")
	b.fill("/signature", "Cato Wren")
	b.press("Sign off")
	b.says("signed off 3 March 2026", "by Cato Wren")
	b.press("Staff entrance")
	b.press("Make or open reports")
	b.press("Make: inspection certificate")
	b.look("certificate")
	b.says("Staff entrance")
	if got, err := w.WorkOrder(t.Context(), w.technician.actor, uuid.MustParse(w.orderPlan)); err != nil || got.State != "done" {
		t.Errorf("the order is %s, %v", got.State, err)
	}
}
