package api_test

import (
	"bytes"
	"context"
	"crypto/rand"
	"encoding/base64"
	"encoding/json"
	"errors"
	"fmt"
	"image"
	"image/color"
	"image/png"
	"log/slog"
	"net/http"
	"strings"
	"testing"
	"time"

	"lintel.example/lintel/api"
	"lintel.example/lintel/internal/duedate"
	"lintel.example/lintel/internal/fleet"
	"lintel.example/lintel/internal/identity"
	"lintel.example/lintel/internal/notify"
	"lintel.example/lintel/internal/report"
	"lintel.example/lintel/internal/seal"
	"lintel.example/lintel/internal/store"
	"lintel.example/lintel/internal/words"
)

type object = map[string]any

// world is a company with everything in it: four customers whose doors have a whole history, and every kind of
// person who may ask, or try to.
type world struct {
	*face
	t          testing.TB
	uses       *fleet.Fleet
	model      string // of the sensors
	antenna    string
	hood       string      // an accessory
	gauge      string      // an instrument
	hook       string      // a webhook
	imported   string      // a list that was brought in
	closed     string      // a public holiday
	rounds     string      // a plan of who drives where
	letterText string      // of which letters are issued
	asking     []*somebody // in the order of the columns
	by         map[string]*somebody
	places     map[string]*place
	secrets    map[string]bool // every password, code and secret of a session or a token that was ever given out
}

// somebody is one column of the matrix: a person by a session, a token of one, or nobody.
type somebody struct {
	kind            string
	id              string
	email, password string
	secret          string   // "": none
	sees            []string // places; nil: every one
	scoped          bool
}

// place is one site and all that belongs to it.
type place struct {
	word     string            // stands in every name and text of the place, and nowhere else
	ids      map[string]string // by the name that they have in the path of an operation
	photo    []byte
	pressed  string // an entry with a force over time
	walked   string // a walk test whose fit was taken over
	signOff  object
	opened   string // a visit that is not signed off
	ended    string // a work order that was cancelled
	done     string // another that was done without a visit
	reopened string // another that was cancelled and opened again
	shown    string // the hash of what was shown of its findings
	letter   string // about its findings, among the reports
	session  string // a session of the place's person
	token    string // a token of the same
}

// The targets of the matrix. The third customer has a place too, which only its agent and staff see.
const (
	own       = "own"       // the first customer's first site
	sibling   = "sibling"   // the first customer's other site
	neighbour = "neighbour" // the second customer's
	third     = "third"     // the third customer's
	foreign   = "foreign"   // the fourth customer's
)

// newWorld builds it through the API, but for what only time or the machine itself can do.
func newWorld(t testing.TB) *world {
	t.Helper()
	w := &world{face: newFace(t), t: t, by: map[string]*somebody{}, places: map[string]*place{}, secrets: map[string]bool{}}
	w.open()
	w.staffOfYesterday()
	w.hire("dispatcher", "dispatcher", nil)
	w.hire("technician", "technician", nil)
	w.hire("support", "support", nil)
	w.must("dispatcher", http.MethodPut, "/v1/people/"+w.by["technician"].id+"/qualifications/"+w.id().String(),
		object{"scheme": "inspector", "number": "T-11", "valid_from": "2025-01-01"}, 201)
	w.catalogue()
	customers := map[string]string{}
	for _, p := range []struct{ name, word, customer string }{
		{own, "Heron", "first"}, {sibling, "Plover", "first"}, {neighbour, "Avocet", "second"}, {third, "Dunlin", "third"}, {foreign, "Curlew", "fourth"},
	} {
		if customers[p.customer] == "" {
			customers[p.customer] = w.id().String()
			w.must("administrator", http.MethodPut, "/v1/customers/"+customers[p.customer], object{"name": p.customer + " customer"}, 201)
		}
		w.places[p.name] = w.furnish(p.word, customers[p.customer])
	}
	w.planRounds()
	w.night()
	w.outsiders(customers)
	w.tokens()
	for _, who := range w.asking { // whoever asks for the first time leaves a mark
		w.ask(t, who.secret, http.MethodGet, "/v1/customers", nil)
	}
	return w
}

// hooks is a way to other programs that nothing here is sent on.
type hooks struct{ *notify.Hooks }

func (h hooks) Deliver(ctx context.Context, m fleet.Hook) fleet.HookAnswer {
	return fleet.HookAnswer(h.Hooks.Deliver(ctx, notify.HookMessage(m)))
}

// open makes the face again with everything that it can stand on.
func (w *world) open() {
	must := func(err error) {
		if err != nil {
			w.t.Fatal(err)
		}
	}
	catalogue, err := loadWords()
	must(err)
	book, err := loadBook()
	must(err)
	keys, err := identity.ParseKeyring([]byte("matrix:" + base64.StdEncoding.EncodeToString([]byte("another key of thirty-two bytes."))))
	must(err)
	photos, err := store.OpenPhotoDir(w.t.TempDir())
	must(err)
	w.t.Cleanup(func() { _ = photos.Close() })
	line, err := duedate.ParseSchedule("45 4 * * *")
	must(err)
	nightly := []fleet.JobSchedule{{Job: "queue_notices", Schedule: line}}
	w.uses = fleet.New(fleet.Parts{Store: store.New(w.db.App, "lintel"), Photos: photos, Book: book, Keys: keys, Words: catalogue, ReadBounce: readBounce, Hooks: hooks{notify.NewHooks(false)}, Now: func() time.Time { return w.now }, NewID: w.id, Random: rand.Reader, Schedules: nightly, WriteCalendar: report.Calendar,
		Company: fleet.ReportCompany{Name: "Calder Moss Doors", Phone: "+1 555 0100"},
		PrintReport: func(doc fleet.Document, sha256 string) ([]fleet.ReportPrint, error) {
			return report.Print(doc, sha256, func(language string) report.Texts { return catalogue.Printer(language, words.Metric) })
		}})
	w.handler = api.New(api.Rooms{Fleet: w.uses, People: w.people, Words: catalogue, Log: slog.New(slog.NewJSONHandler(&w.log, &slog.HandlerOptions{Level: slog.LevelDebug})), Now: func() time.Time { return w.now }, NewID: w.id,
		Ready: func(context.Context) error { return nil }, Version: "0"}).Handler()
}

// kinds are the columns of the matrix, in groups of a row's words.
func kinds() []string {
	return []string{
		"dispatcher", "technician", "support", "administrator",
		"owner", "agent", "tenant", "auditor",
		"expired auditor", "disabled dispatcher", "administrator with a one-time password", "administrator after an idle night", "administrator's revoked token", "nobody",
		"technician's token: read", "technician's token: visits", "technician's token: register", "technician's token: administration",
		"administrator's token: read", "administrator's token: administration", "dispatcher's token: register",
	}
}

// must is a request of somebody that is answered with this status.
func (w *world) must(kind, method, path string, body any, status int, headers ...string) answer {
	w.t.Helper()
	got := w.ask(w.t, w.by[kind].secret, method, path, body, headers...)
	if got.status != status {
		w.t.Fatalf("%s %s: %d, want %d: %s", method, path, got.status, status, got.text)
	}
	return got
}

// secret keeps in mind what must not be told twice.
func (w *world) secret(text string) string {
	if text == "" {
		w.t.Fatal("no secret was given")
	}
	w.secrets[text] = true
	return text
}

func (w *world) address(kind string) string {
	return strings.NewReplacer(" ", ".", "'", "", ":", "").Replace(kind) + "@lintel.example"
}

// hire makes a person with the rights in more, who signs in and chooses a password.
func (w *world) hire(kind, role string, more object) *somebody {
	w.t.Helper()
	who := w.invite(kind, role, more)
	who.secret, who.password = w.secret(w.settle(w.t, who.email, who.password)), w.secret(chosen)
	return who
}

// invite makes a person who has a one-time password.
func (w *world) invite(kind, role string, more object) *somebody {
	w.t.Helper()
	who := &somebody{kind: kind, id: w.id().String(), email: w.address(kind)}
	body := object{"email": who.email, "name": "The " + kind, "role": role, "scope_kind": "all"}
	for name, value := range more {
		body[name] = value
	}
	made := w.must("administrator", http.MethodPut, "/v1/people/"+who.id, body, 201)
	who.password = w.secret(made.member("one_time_password"))
	w.by[kind] = who
	return who
}

// staffOfYesterday are those whose sessions or rights have run out since.
func (w *world) staffOfYesterday() {
	first := &somebody{kind: "administrator", email: "ada@lintel.example", secret: w.secret(w.administrator(w.t)), password: chosen}
	w.by["administrator"] = first
	idle := w.hire("administrator after an idle night", "administrator", nil)
	w.hire("disabled dispatcher", "dispatcher", nil)
	customer := w.id().String()
	w.must("administrator", http.MethodPut, "/v1/customers/"+customer, object{"name": "customer of former days"}, 201)
	expired := w.hire("expired auditor", "auditor", object{"scope_kind": "customers", "customers": []string{customer}, "expires_at": w.now.Add(12 * time.Hour)})
	w.now = w.now.Add(11 * time.Hour)
	w.must("expired auditor", http.MethodGet, "/v1/me", nil, 200) // its session is not what has run out
	w.must("administrator", http.MethodGet, "/v1/me", nil, 200)
	w.now = w.now.Add(2 * time.Hour)
	for _, who := range []*somebody{idle, expired} {
		if got := w.ask(w.t, who.secret, http.MethodGet, "/v1/me", nil); got.status != http.StatusUnauthorized {
			w.t.Fatalf("%s: %s", who.kind, got.text)
		}
	}
	first.id = w.must("administrator", http.MethodGet, "/v1/me", nil, 200).member("person_id")
	w.must("administrator", http.MethodPut, "/v1/people/"+w.by["disabled dispatcher"].id+"/disabled", object{"disabled": true}, 200)
}

func workingTerms() object {
	return object{"time_zone": "America/Los_Angeles", "home_latitude_deg": 38.58, "home_longitude_deg": -121.49, "weekdays": []int{1, 2, 3, 4, 5},
		"hours": object{"from": "07:00", "until": "16:00"}, "break": object{"from": "12:00", "until": "12:30"}}
}

func visitingHours() object {
	return object{"weekdays": []int{1, 2, 3, 4, 5}, "hours": object{"from": "07:00", "until": "16:00"}}
}

// planRounds says when people work and sites are open, and makes a plan that nothing fits in.
func (w *world) planRounds() {
	w.must("dispatcher", http.MethodPut, "/v1/people/"+w.by["technician"].id+"/working-terms", workingTerms(), 201)
	for _, name := range []string{own, sibling, neighbour, third, foreign} {
		w.must("dispatcher", http.MethodPut, "/v1/sites/"+w.places[name].ids["site_id"]+"/visiting-hours", visitingHours(), 201)
	}
	w.closed = w.id().String()
	w.must("dispatcher", http.MethodPut, "/v1/closed-days/"+w.closed, object{"place": "US", "from": "2026-07-03", "name": "Independence Day"}, 201)
	w.rounds = w.id().String()
	w.must("dispatcher", http.MethodPut, "/v1/route-plans/"+w.rounds, object{"from": "2030-03-04", "days": 1, "steps": 10}, 201)
}

// outsiders are those who see a part, and who has not begun yet.
func (w *world) outsiders(customers map[string]string) {
	of := func(names ...string) object {
		ids := make([]string, len(names))
		for i, n := range names {
			ids[i] = customers[n]
		}
		return object{"scope_kind": "customers", "customers": ids}
	}
	see := func(who *somebody, places ...string) { who.sees, who.scoped = places, true }
	see(w.hire("owner", "owner_agent", of("first")), own, sibling)
	see(w.hire("agent", "owner_agent", of("first", "second", "third")), own, sibling, neighbour, third)
	see(w.hire("tenant", "owner_agent", object{"scope_kind": "sites", "sites": []string{w.places[own].ids["site_id"]}}), own)
	see(w.hire("auditor", "auditor", with(of("first"), "expires_at", w.now.Add(30*24*time.Hour))), own, sibling)
	fresh := w.invite("administrator with a one-time password", "administrator", nil)
	fresh.secret = w.secret(w.signIn(w.t, fresh.email, fresh.password))
	w.by["nobody"] = &somebody{kind: "nobody", id: w.id().String(), email: "nobody@lintel.example", password: "no password of anybody's"}
}

// tokens gives out the tokens of the columns, revokes one, and puts the columns in order.
func (w *world) tokens() {
	for _, t := range []struct{ kind, of string }{
		{"technician's token: read", "technician"}, {"technician's token: visits", "technician"}, {"technician's token: register", "technician"},
		{"technician's token: administration", "technician"}, {"administrator's token: read", "administrator"},
		{"administrator's token: administration", "administrator"}, {"dispatcher's token: register", "dispatcher"},
	} {
		of := w.by[t.of]
		secret, _ := w.token(of.kind, of.id, strings.TrimSpace(t.kind[strings.Index(t.kind, ":")+1:]))
		w.by[t.kind] = &somebody{kind: t.kind, id: of.id, email: of.email, password: of.password, secret: secret}
	}
	admin := w.by["administrator"]
	secret, id := w.token("administrator", admin.id, "read", "visits", "register", "administration")
	w.must("administrator", http.MethodDelete, "/v1/people/"+admin.id+"/tokens/"+id, nil, 204)
	w.by["administrator's revoked token"] = &somebody{kind: "administrator's revoked token", id: admin.id, email: admin.email, password: admin.password, secret: secret}
	for _, kind := range kinds() {
		if w.by[kind] == nil {
			w.t.Fatalf("nobody is %q", kind)
		}
		w.asking = append(w.asking, w.by[kind])
	}
}

func (w *world) token(by, person string, scopes ...string) (secret, id string) {
	made := w.must(by, http.MethodPost, "/v1/people/"+person+"/tokens", object{"name": "for tests", "scopes": scopes, "expires_at": w.now.Add(30 * 24 * time.Hour)}, 201)
	return w.secret(made.member("secret")), made.member("token_id")
}

// anotherSession signs a person in without a password: cheaper, and the same to everybody who looks.
func (w *world) anotherSession(person string) (secret, id string) {
	secret, hash, err := identity.NewSecret(rand.Reader)
	if err != nil {
		w.t.Fatal(err)
	}
	id = w.id().String()
	w.sql(`insert into session (secret_sha256, session_id, person_id, created_at, last_seen_at, expires_at) values ($1, $2, $3, $4, $4, $5)`, hash[:], id, person, w.now, w.now.Add(time.Hour))
	return w.secret(secret), id
}

// anotherToken makes a token of anybody, of those too who may have none any more.
func (w *world) anotherToken(person string) (id string) {
	secret, hash, err := identity.NewSecret(rand.Reader)
	if err != nil {
		w.t.Fatal(err)
	}
	id = w.id().String()
	w.sql(`insert into token (secret_sha256, token_id, person_id, name, scopes, created_at, expires_at) values ($1, $2, $3, 'for tests', '{read}', $4, $5)`, hash[:], id, person, w.now, w.now.Add(time.Hour))
	w.secret(secret)
	return id
}

func (w *world) sql(statement string, args ...any) {
	w.t.Helper()
	if _, err := w.db.Admin.Exec(w.t.Context(), statement, args...); err != nil {
		w.t.Fatal(err)
	}
}

func (w *world) catalogue() {
	w.model, w.antenna, w.hood, w.gauge, w.hook = w.id().String(), w.id().String(), w.id().String(), w.id().String(), w.id().String()
	w.must("administrator", http.MethodPut, "/v1/webhooks/"+w.hook, object{"address": "https://example.com/in", "types": []string{"report.delivered"}, "enabled": true}, 201)
	w.must("support", http.MethodPut, "/v1/device-models/"+w.model, object{"maker": "Halvorsen Sensing", "name": "Wren 24", "kind": "sensor", "sensing": "radar", "frequency_hz": 24.125e9,
		"antennas": []object{{"antenna_id": w.antenna, "name": "wide", "azimuth_beamwidth_deg": 58, "elevation_beamwidth_deg": 29, "boresight_range_m": 6, "source": "invented for tests"}}}, 201)
	w.must("dispatcher", http.MethodPut, "/v1/instruments/"+w.gauge, object{"kind": "force_gauge", "name": "Gauge 3", "serial": "G-3"}, 201)
	w.must("support", http.MethodPut, "/v1/accessories/"+w.hood, object{"kind": "rain_hood", "name": "Hood", "effect": object{"cut_off_deg": 70}}, 201)
	w.must("administrator", http.MethodPut, "/v1/rule-packs/house@1", object{"text": ownPack("house@1")}, 201)
	w.imported = w.must("dispatcher", http.MethodPost, "/v1/imports", object{"file_name": "list.csv", "file": []byte("Customer,Account\nWeir Foods,77\n")}, 201).member("import_id")
}

func known(value any) object { return object{"value": value, "basis": "measured"} }

// doorFacts are those of a sliding door that a sensor over each side opens and guards.
func doorFacts(word string) object {
	leaf := func(towards string) object {
		return object{"motion": "slide", "hinge": "none", "opens_towards": towards, "width_m": known(1), "height_m": known(2.1), "mass_kg": known(60)}
	}
	return object{"kind": "sliding", "energy": "full", "traffic": "two_way", "presence_by": "overhead_sensor", "guide_rails": "none", "modes": []string{"day"},
		"side_a": object{"label": word + " street", "activation": "sensor"}, "side_b": object{"label": word + " hall", "activation": "knowing_act"},
		"clear_width_m": known(1.8), "header_depth_m": known(0.2), "opening_time_s": known(1.8), "closing_time_s": known(6.5),
		"rule_basis": object{"pack": "a156.10@2005", "since": "2025-01-01", "why": word + ": in force when it was installed"}, "leaves": []object{leaf("left"), leaf("right")}}
}

func (w *world) deviceFacts(reachDB float64) object {
	return object{"antenna_id": w.antenna, "mount": object{"height_m": known(2.3), "offset_x_m": known(0), "offset_y_m": known(0.12), "tilt_deg": known(23), "yaw_deg": known(0)},
		"settings": object{"reach_db": known(reachDB), "motion_direction": "approach", "confirm_travel_mm": known(100), "output_hold_s": known(1), "output_contact": "normally_open"}}
}

// walkTest is the width and depth of the field of deviceFacts(-17).
func (w *world) walkTest(p *place) object {
	return object{"component_id": p.ids["component_id"], "body_height_m": 1.7, "width_m": 1.57, "depth_m": 1.1}
}

// furnish makes a site of a customer with everything that can belong to it.
func (w *world) furnish(word, customer string) *place {
	w.t.Helper()
	p := &place{word: word, ids: map[string]string{"customer_id": customer, "side": "a"}}
	for _, name := range []string{"site_id", "party_id", "standing_id", "door_id", "component_id", "control_id", "plan_id", "suspension_id", "work_order_id", "visit_id", "report_id", "person_id", "qualification_id"} {
		p.ids[name] = w.id().String()
	}
	p.opened, p.ended, p.done, p.reopened = w.id().String(), w.id().String(), w.id().String(), w.id().String()
	w.register(p)
	w.fit(p)
	w.plan(p)
	w.visit(p)
	made := w.must("dispatcher", http.MethodPut, "/v1/doors/"+p.ids["door_id"]+"/reports/"+p.ids["report_id"], nil, 201)
	if made.member("report_id") != p.ids["report_id"] {
		w.t.Fatal(made.text)
	}
	p.letter = w.id().String()
	w.must("dispatcher", http.MethodPut, "/v1/reports/"+p.letter, object{"kind": "letter", "door_id": p.ids["door_id"], "template_id": w.text(), "findings": []string{p.ids["case_id"]}}, 201)
	person := w.must("administrator", http.MethodPut, "/v1/people/"+p.ids["person_id"], object{"email": strings.ToLower(word) + ".person@lintel.example", "name": word + " person",
		"role": "owner_agent", "scope_kind": "customers", "customers": []string{customer}}, 201)
	w.secret(person.member("one_time_password"))
	w.must("dispatcher", http.MethodPut, "/v1/people/"+p.ids["person_id"]+"/qualifications/"+p.ids["qualification_id"], object{"scheme": word + " scheme", "number": "1", "valid_from": "2025-01-01"}, 201)
	_, p.session = w.anotherSession(p.ids["person_id"])
	_, p.token = w.token("administrator", p.ids["person_id"], "read")
	return p
}

func (w *world) siteBody(p *place) object {
	return object{"customer_id": p.ids["customer_id"], "name": p.word + " site", "city": p.word + " city", "country": "US", "jurisdiction": "US-CA", "time_zone": "America/Los_Angeles", "access_notes": p.word + " by the yard"}
}

func (w *world) register(p *place) {
	w.must("dispatcher", http.MethodPut, "/v1/sites/"+p.ids["site_id"], w.siteBody(p), 201)
	w.must("dispatcher", http.MethodPut, "/v1/parties/"+p.ids["party_id"], object{"name": p.word + " party", "email": strings.ToLower(p.word) + ".party@example.com"}, 201)
	w.must("dispatcher", http.MethodPut, "/v1/sites/"+p.ids["site_id"]+"/parties/"+p.ids["standing_id"], object{"party_id": p.ids["party_id"], "role": "owner", "from_day": "2025-01-01"}, 201)
	w.must("dispatcher", http.MethodPut, "/v1/sites/"+p.ids["site_id"]+"/key-safe-code", object{"code": w.secret("safe of " + p.word)}, 200)
	door := w.must("dispatcher", http.MethodPut, "/v1/doors/"+p.ids["door_id"], object{"site_id": p.ids["site_id"], "name": p.word + " door", "reason": p.word + " taken over",
		"effective_at": w.yearAgo(), "facts": doorFacts(p.word)}, 201)
	p.ids["tag"] = strings.ReplaceAll(door.member("tag"), " ", "")
}

func (w *world) yearAgo() time.Time { return w.now.AddDate(-1, 0, 0) }

// fit puts a control and a sensor into the door and turns the sensor down by more than the rules leave room for.
func (w *world) fit(p *place) {
	fitted := object{"state": "fitted", "side": "a", "wired_to": p.ids["control_id"], "input": "activate", "contact": "normally_open", "inhibited_while_moving": true}
	w.must("dispatcher", http.MethodPut, "/v1/components/"+p.ids["control_id"], object{"door_id": p.ids["door_id"], "kind": "control", "model_text": p.word + " control",
		"reason": p.word + " seen", "effective_at": w.yearAgo(), "fitting": object{"state": "fitted", "side": "none"}}, 201)
	w.must("dispatcher", http.MethodPut, "/v1/components/"+p.ids["component_id"], object{"door_id": p.ids["door_id"], "kind": "sensor", "model_id": w.model, "serial": p.word + "-7",
		"reason": p.word + " seen", "effective_at": w.yearAgo(), "fitting": fitted}, 201)
	w.must("dispatcher", http.MethodPut, "/v1/components/"+p.ids["component_id"]+"/lock-code", object{"code": w.secret("lock of " + p.word)}, 200)
	w.must("support", http.MethodPut, "/v1/devices/"+p.ids["component_id"]+"/revisions/"+w.id().String(), object{"standing": "found", "reason": p.word + " turned down",
		"effective_at": w.now.Add(-2 * time.Hour), "device": w.deviceFacts(-17)}, 201)
}

func (w *world) plan(p *place) {
	w.must("dispatcher", http.MethodPut, "/v1/doors/"+p.ids["door_id"]+"/plans/"+p.ids["plan_id"], object{"interval_months": 12, "regime": "anniversary", "tolerance_days": 60, "lead_days": 45,
		"anchor_on": "2026-03-20", "active": true}, 201)
	w.must("dispatcher", http.MethodPut, "/v1/doors/"+p.ids["door_id"]+"/plans/"+p.ids["plan_id"]+"/suspensions/"+p.ids["suspension_id"], object{"from": "2031-01-01", "until": "2031-03-01",
		"reason": "building_closed", "why": p.word + " rests"}, 201)
	for _, id := range []string{p.ids["work_order_id"], p.ended, p.done, p.reopened} {
		w.must("dispatcher", http.MethodPut, "/v1/work-orders/"+id, object{"door_id": p.ids["door_id"], "kind": "service", "due_on": "2026-03-10", "note": p.word + " service",
			"caller": object{"name": p.word + " caller", "telephone": "+1 555 " + p.word}, "symptom": p.word + " squeals", "customer_order_number": p.word + "-88"}, 201)
	}
	w.must("dispatcher", http.MethodPut, "/v1/work-orders/"+p.ended+"/cancellation", object{"reason": p.word + " sold"}, 200, "If-Match", `"1"`)
	w.must("dispatcher", http.MethodPut, "/v1/work-orders/"+p.done+"/completion", object{"done_on": "2026-03-02", "reason": p.word + " on paper"}, 200, "If-Match", `"1"`)
	w.must("dispatcher", http.MethodPut, "/v1/work-orders/"+p.reopened+"/cancellation", object{"reason": p.word + " forgotten"}, 200, "If-Match", `"1"`)
	w.must("dispatcher", http.MethodPut, "/v1/work-orders/"+p.reopened+"/reopening", object{"reason": p.word + " sold"}, 200, "If-Match", `"2"`)
}

func (w *world) attendance(p *place) object {
	return object{"site_id": p.ids["site_id"], "arrived_at": w.now.Add(-time.Hour), "people": []string{w.by["technician"].id}, "doors": []object{{"door_id": p.ids["door_id"]}}, "note": p.word + " by the yard"}
}

// visit logs a visit with an unsafe finding and a photo, signed off, and another that goes on.
func (w *world) visit(p *place) {
	p.photo = photoOf(w.t, p.word)
	p.ids["sha256"] = seal.HashOf(p.photo).String()
	visit := "/v1/visits/" + p.ids["visit_id"]
	w.must("technician", http.MethodPut, visit, w.attendance(p), 201)
	var listed []object
	note := func(minutes int, kind string, said object) string {
		id := w.id().String()
		made := w.must("technician", http.MethodPut, visit+"/entries/"+id, object{"door_id": p.ids["door_id"], "kind": kind, "observed_at": w.now.Add(time.Duration(minutes-60) * time.Minute), kind: said}, 201)
		listed = append(listed, object{"entry_id": id, "sha256": made.member("sha256")})
		return id
	}
	note(4, "safe_work", object{"traffic": "barriered", "power": "isolated", "ladder": "stands_safe", "second_person": "there", "note": p.word + " cones"})
	note(5, "reading", object{"name": "hold_open_s", "value": 2})
	p.pressed = note(5, "force_course", object{"csv": "s;N;" + p.word + "\n0;0\n0.05;60\n0.1;20\n", "gap_m": 0.2})
	p.walked = note(5, "walk_test", w.walkTest(p))
	w.must("technician", http.MethodPut, visit+"/entries/"+p.walked+"/fit", nil, 201)
	note(6, "photo", object{"sha256": p.ids["sha256"], "what": p.word + " edge"})
	p.ids["case_id"] = note(7, "finding", object{"severity": "unsafe", "what": p.word + " closes on people", "photos": []string{p.ids["sha256"]}})
	p.ids["entry_id"] = p.ids["case_id"]
	p.ids["finding_id"] = note(7, "finding", object{"severity": "deficient", "what": p.word + " label gone", "safe_until": "2026-12-01"})
	note(8, "securing", object{"how": "operator_off", "egress_kept": true, "told_name": p.word + " porter", "answer": "acknowledged", "note": p.word + " by hand"})
	note(9, "settings", object{"component_id": p.ids["component_id"], "standing": "left", "device": w.deviceFacts(-17)})
	note(10, "conclusion", object{"result": "failed", "note": p.word + " out of service"})
	note(50, "note", object{"text": p.word + " is quiet"}) // after they had left
	photo := w.send(request{http.MethodPut, "/v1/photos/" + p.ids["sha256"], p.photo, "image/png"}, w.by["technician"].secret)
	if photo.status != 201 {
		w.t.Fatal(photo.text)
	}
	p.signOff = object{"signed_at": w.now.Add(-30 * time.Minute), "left_at": w.now.Add(-30 * time.Minute), "entries": listed, "statement": p.word + " looked at", "signature": "M0 0L1 1"}
	w.must("technician", http.MethodPut, visit+"/sign-off", p.signOff, 201)
	asked, _ := w.must("dispatcher", http.MethodGet, "/v1/oddities?kind=after_leaving&visit_id="+p.ids["visit_id"], nil, 200).members["oddities"].([]any)
	p.ids["oddity_id"], _ = asked[0].(object)["oddity_id"].(string)
	w.must("technician", http.MethodPut, "/v1/visits/"+p.opened, w.attendance(p), 201)
	p.shown = w.must("dispatcher", http.MethodPost, "/v1/doors/"+p.ids["door_id"]+"/shown-texts", object{"findings": []string{p.ids["case_id"]}}, 200).member("sha256")
	w.must("dispatcher", http.MethodPut, "/v1/doors/"+p.ids["door_id"]+"/decisions/"+w.id().String(), object{"observed_at": w.now.Add(-20 * time.Minute), "decision": p.declined()}, 201)
}

// declined is the word of the place's owner on what was shown.
func (p *place) declined() object {
	return object{"findings": []string{p.ids["case_id"]}, "decision": "declined", "shown_sha256": p.shown, "outcome": "by_telephone",
		"name": strings.ToUpper(p.word) + " OWNER", "role": "owner", "witness": p.word + " heard it"}
}

// text is the text of a letter that somebody else than its writer approved.
func (w *world) text() string {
	if w.letterText == "" {
		w.letterText = w.id().String()
		w.must("administrator", http.MethodPut, "/v1/letter-templates/"+w.letterText, object{"kind": "refusal", "text": "About {door}:\n{findings}"}, 201)
		w.must("administrator", http.MethodPut, "/v1/letter-templates/"+w.letterText+"/approval", nil, 409) // there is another
		w.sql(`insert into letter_template_approval (template_id, approved_at, approved_by) values ($1, $2, $3)`, w.letterText, w.now, w.by["administrator after an idle night"].id)
	}
	return w.letterText
}

// night runs what the program does by itself, so that there are orders, notices and runs.
func (w *world) night() {
	today := duedate.DayIn(w.now, time.UTC)
	_, err := w.uses.OpenDueWorkOrders(w.t.Context(), today)
	_, err2 := w.uses.QueueNotices(w.t.Context(), today)
	if err := errors.Join(err, err2); err != nil {
		w.t.Fatal(err)
	}
	if _, err := w.uses.WriteLetters(w.t.Context()); err != nil {
		w.t.Fatal(err)
	}
	for _, p := range w.places {
		var notice, letter string // of its owner
		err := w.db.Admin.QueryRow(w.t.Context(), `select n.notice_id::text, c.letter_id::text from notice n join letter_notice c using (notice_id)
			where n.site_id = $1 and n.role = 'owner' and n.state = 'sending' order by n.notice_id limit 1`, p.ids["site_id"]).Scan(&notice, &letter)
		if err != nil {
			w.t.Fatal(err)
		}
		p.ids["notice_id"], p.ids["letter_id"], p.ids["address"] = notice, letter, strings.ToLower(p.word)+".old@example.com"
		p.ids["watch_id"] = w.id().String()
		w.must("technician", http.MethodPut, "/v1/watches/"+p.ids["watch_id"], object{"place": p.word + " roof", "back_by": w.now.Add(time.Hour)}, 201)
		p.ids["feed_id"] = w.id().String()
		w.secret(w.must("dispatcher", http.MethodPut, "/v1/calendar-feeds/"+p.ids["feed_id"], object{"site_id": p.ids["site_id"]}, 201).member("path"))
		w.sql(`insert into declined_address (address, since, letter_id) values ($1, $2, $3)`, p.ids["address"], w.now, letter)
		w.sql(`insert into refused_address (address, since, letter_id, answer) values ($1, $2, $3, '550')`, p.ids["address"], w.now, letter)
	}
	w.sql(`insert into job_run (job, scheduled_for, as_of, state, result) values ('queue_notices', $1::timestamptz, ($1::timestamptz)::date, 'done', '{}')`, w.now)
}

// photoOf is a picture that no other word has.
func photoOf(t testing.TB, word string) []byte {
	t.Helper()
	img := image.NewGray(image.Rect(0, 0, 8, 8))
	for i, c := range []byte(word) {
		img.SetGray(i, 0, color.Gray{Y: c})
	}
	var b bytes.Buffer
	if err := png.Encode(&b, img); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

// nowhere is a place that nobody knows.
func (w *world) nowhere() *place {
	p := &place{word: "Nowhere", ids: map[string]string{}, pressed: w.id().String(), walked: w.id().String(), letter: w.id().String(), opened: w.id().String(), ended: w.id().String(), done: w.id().String(), reopened: w.id().String(), session: w.id().String(), token: w.id().String()}
	for name := range w.places[own].ids {
		p.ids[name] = w.id().String()
	}
	tag, err := fleet.TagFor(9_999_998)
	if err != nil {
		w.t.Fatal(err)
	}
	p.photo = photoOf(w.t, p.word)
	p.ids["tag"], p.ids["side"], p.ids["sha256"] = string(tag), "a", seal.HashOf(p.photo).String()
	p.shown = seal.HashOf([]byte(p.word)).String()
	return p
}

// hidden gives every id and word of the places that somebody must not see.
func (w *world) hidden(who *somebody) []string {
	seen := map[string]bool{}
	for _, name := range who.sees {
		for _, id := range w.places[name].ids {
			seen[id] = true
		}
	}
	var list []string
	for name, p := range w.places {
		if who.sees == nil || contains(who.sees, name) {
			continue
		}
		list = append(list, p.word, strings.ToLower(p.word)+".", p.pressed, p.walked, p.letter, p.opened, p.ended, p.done, p.reopened, p.session, p.token, p.ids["tag"][:4]+" "+p.ids["tag"][4:])
		for name, id := range p.ids {
			if name != "side" && !seen[id] {
				list = append(list, id)
			}
		}
	}
	return list
}

func contains(list []string, one string) bool {
	for _, l := range list {
		if l == one {
			return true
		}
	}
	return false
}

// request is what one asks for; a nil body is none.
type request struct {
	method, path string
	body         []byte
	mediaType    string
}

func newRequest(method, path string, body any) request {
	switch body := body.(type) {
	case nil:
		return request{method: method, path: path}
	case []byte:
		return request{method, path, body, http.DetectContentType(body)}
	}
	text, err := json.Marshal(body)
	if err != nil {
		panic(fmt.Sprint("a body of the matrix: ", err))
	}
	return request{method, path, text, "application/json"}
}
