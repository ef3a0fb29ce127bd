package api_test

import (
	"encoding/base64"
	"log/slog"
	"net/http"
	"net/http/httptest"
	"strings"
	"testing"
	"time"

	"lintel.example/lintel/api"
	"lintel.example/lintel/internal/fleet"
	"lintel.example/lintel/internal/identity"
	"lintel.example/lintel/internal/store"
)

// office is a face with an administrator signed in and one customer with a site.
type office struct {
	*face
	t                      testing.TB
	secret, customer, site string
}

func newOffice(t testing.TB) *office {
	t.Helper()
	o := &office{face: newFace(t), t: t}
	o.secret = o.administrator(t)
	o.customer, o.site = o.id().String(), o.id().String()
	o.put("/v1/customers/"+o.customer, map[string]any{"name": "Brandt Retail"}).want(t, http.StatusCreated, "")
	o.put("/v1/sites/"+o.site, o.siteBody()).want(t, http.StatusCreated, "")
	return o
}

func (o *office) put(path string, body any, headers ...string) answer {
	o.t.Helper()
	return o.ask(o.t, o.secret, http.MethodPut, path, body, headers...)
}

func (o *office) get(path string) answer {
	o.t.Helper()
	return o.ask(o.t, o.secret, http.MethodGet, path, nil)
}

func (o *office) siteBody() map[string]any {
	return map[string]any{"customer_id": o.customer, "name": "Mill", "country": "US", "jurisdiction": "US-CA", "time_zone": "America/Los_Angeles"}
}

// with is a body with other members: a nil takes one out.
func with(body map[string]any, members ...any) map[string]any {
	out := map[string]any{}
	for name, value := range body {
		out[name] = value
	}
	for i := 0; i+1 < len(members); i += 2 {
		if members[i+1] == nil {
			delete(out, members[i].(string))
			continue
		}
		out[members[i].(string)] = members[i+1]
	}
	return out
}

// door registers a sliding door on the site and gives its id.
func (o *office) door() string {
	o.t.Helper()
	id := o.id().String()
	side := map[string]any{"label": "street", "activation": "sensor"}
	leaf := map[string]any{"motion": "slide", "hinge": "none", "opens_towards": "left"}
	o.put("/v1/doors/"+id, map[string]any{"site_id": o.site, "name": "Main", "known_since": "2026-01-01", "reason": "taken over", "facts": map[string]any{
		"kind": "sliding", "energy": "full", "traffic": "two_way", "presence_by": "both", "side_a": side, "side_b": side, "guide_rails": "none",
		"rule_basis": map[string]any{"pack": "a156.10@2005", "since": "2026-01-01", "why": "in force then"}, "leaves": []any{leaf}}}).want(o.t, http.StatusCreated, "")
	return id
}

// pointers are where a problem says that members are at fault.
func (a answer) pointers() (list []string) {
	faults, _ := a.members["errors"].([]any)
	for _, f := range faults {
		pointer, _ := f.(map[string]any)["pointer"].(string)
		list = append(list, pointer)
	}
	return list
}

func TestASiteIsMadeReadChangedAndListed(t *testing.T) {
	t.Parallel()
	o := newOffice(t)
	path := "/v1/sites/" + o.site
	if got := o.get(path).want(t, http.StatusOK, ""); got.header.Get("ETag") != `"1"` || got.member("name") != "Mill" || got.members["latitude_deg"] != nil {
		t.Errorf("%s %v", got.header.Get("ETag"), got.members)
	}
	o.put(path, o.siteBody()).want(t, http.StatusOK, "")
	changed := with(o.siteBody(), "latitude_deg", 38.58, "longitude_deg", -121.49)
	o.put(path, changed).want(t, http.StatusPreconditionRequired, "version_required")
	o.put(path, changed, "If-Match", `"7"`).want(t, http.StatusPreconditionFailed, "version_differs")
	o.put(path, changed, "If-Match", "1").want(t, http.StatusPreconditionFailed, "version_differs")
	if got := o.put(path, changed, "If-Match", `"1"`).want(t, http.StatusOK, ""); got.header.Get("ETag") != `"2"` || got.members["longitude_deg"] != -121.49 {
		t.Errorf("%s %v", got.header.Get("ETag"), got.members)
	}
	o.put("/v1/sites/"+o.id().String(), with(o.siteBody(), "name", "Kiln")).want(t, http.StatusCreated, "")
	first := o.get("/v1/sites?limit=1").want(t, http.StatusOK, "")
	second := o.get("/v1/sites?limit=1&customer_id=" + o.customer + "&after=" + first.member("next"))
	third := o.get("/v1/sites?limit=1&after=" + second.member("next"))
	if !strings.Contains(first.text, "Kiln") || !strings.Contains(second.text, "Mill") || third.text != "{\"sites\":[]}\n" {
		t.Errorf("pages %s %s %s", first.text, second.text, third.text)
	}
	o.get("/v1/sites?after=nonsense").want(t, http.StatusUnprocessableEntity, "page_unknown")
	if got := o.get("/v1/sites?search=kil"); !strings.Contains(got.text, "Kiln") || strings.Contains(got.text, "Mill") {
		t.Errorf("search %s", got.text)
	}
}

func TestBadBodiesOfTheRegisterNameTheirMembers(t *testing.T) {
	t.Parallel()
	o := newOffice(t)
	model := map[string]any{"maker": "Halvorsen Sensing", "name": "Wren", "kind": "sensor", "sensing": "radar"}
	component := map[string]any{"door_id": o.door(), "kind": "control", "model_text": "control", "reason": "seen", "fitting": map[string]any{"state": "fitted", "side": "none"}}
	standing := map[string]any{"party_id": o.id().String(), "role": "owner", "from_day": "2026-01-01"}
	site := "/v1/sites/" + o.site
	for name, c := range map[string]struct {
		path     string
		body     map[string]any
		status   int
		code     string
		pointers string
	}{
		"unknown member":      {"/v1/sites/" + o.id().String(), with(o.siteBody(), "colour", "green"), 422, "body_invalid", "#/colour"},
		"wrong type":          {"/v1/sites/" + o.id().String(), with(o.siteBody(), "name", 7), 422, "body_invalid", "#/name"},
		"no country":          {"/v1/sites/" + o.id().String(), with(o.siteBody(), "country", nil), 422, "body_invalid", "#/country"},
		"half a position":     {"/v1/sites/" + o.id().String(), with(o.siteBody(), "latitude_deg", 1), 422, "position_half", "#/longitude_deg"},
		"unknown zone":        {"/v1/sites/" + o.id().String(), with(o.siteBody(), "time_zone", "Mars/Olympus"), 422, "time_zone_unknown", "#/time_zone"},
		"two at one time":     {"/v1/sites/" + o.id().String(), with(o.siteBody(), "time_zone", "Mars/Olympus", "name", " "), 422, "body_invalid", "#/name #/time_zone"},
		"unknown customer":    {"/v1/sites/" + o.id().String(), with(o.siteBody(), "customer_id", o.id().String()), 422, "customer_not_found", "#/customer_id"},
		"another customer":    {site, with(o.siteBody(), "customer_id", o.id().String()), 409, "site_stays_with_customer", "#/customer_id"},
		"day that is none":    {site + "/customer", map[string]any{"customer_id": o.customer, "day": "2026-02-30"}, 422, "body_invalid", "#/day"},
		"unreadable address":  {"/v1/parties/" + o.id().String(), map[string]any{"name": "Holm", "email": "nobody"}, 422, "email_unreadable", "#/email"},
		"unknown party":       {site + "/parties/" + o.id().String(), standing, 422, "party_not_found", "#/party_id"},
		"unknown role":        {site + "/parties/" + o.id().String(), with(standing, "role", "landlord"), 422, "body_invalid", "#/role"},
		"standing elsewhere":  {"/v1/sites/" + o.id().String() + "/parties/" + o.id().String(), standing, 404, "site_not_found", ""},
		"unknown kind":        {"/v1/device-models/" + o.id().String(), with(model, "kind", "camera"), 422, "body_invalid", "#/kind"},
		"beam with frequency": {"/v1/device-models/" + o.id().String(), with(model, "sensing", "beam", "frequency_hz", 24.125e9), 422, "radar_only", "#/frequency_hz"},
		"megahertz":           {"/v1/device-models/" + o.id().String(), with(model, "frequency_hz", 24125), 422, "body_invalid", "#/frequency_hz"},
		"hood without edge":   {"/v1/accessories/" + o.id().String(), map[string]any{"kind": "rain_hood", "name": "Hood", "effect": map[string]any{}}, 422, "effect_missing", "#/effect/cut_off_deg"},
		"unknown effect":      {"/v1/accessories/" + o.id().String(), map[string]any{"kind": "spacer", "name": "S", "effect": map[string]any{"out_m": 0.1, "gain_db": 3}}, 422, "body_invalid", "#/effect/gain_db"},
		"unknown model":       {"/v1/components/" + o.id().String(), with(component, "model_text", nil, "model_id", o.id().String()), 422, "model_not_found", "#/model_id"},
		"unknown door":        {"/v1/components/" + o.id().String(), with(component, "door_id", o.id().String()), 422, "door_not_found", "#/door_id"},
		"in the future":       {"/v1/components/" + o.id().String(), with(component, "effective_at", "2026-03-04T00:00:00Z"), 422, "in_the_future", "#/effective_at"},
		"unreadable day":      {"/v1/components/" + o.id().String(), with(component, "warranty_until", "soon"), 422, "body_invalid", "#/warranty_until"},
		"unknown input":       {"/v1/components/" + o.id().String(), with(component, "fitting", map[string]any{"state": "fitted", "side": "a", "input": "ring"}), 422, "body_invalid", "#/fitting/input"},
	} {
		t.Run(name, func(t *testing.T) {
			got := o.put(c.path, c.body).want(t, c.status, c.code)
			if at := strings.Join(got.pointers(), " "); at != c.pointers {
				t.Errorf("at %q, want %q: %s", at, c.pointers, got.text)
			}
			if strings.Contains(got.text, "⟦") {
				t.Errorf("a text is missing: %s", got.text)
			}
		})
	}
}

func TestPartiesStandToASite(t *testing.T) {
	t.Parallel()
	o := newOffice(t)
	party, standing := o.id().String(), "/v1/sites/"+o.site+"/parties/"+o.id().String()
	o.put("/v1/parties/"+party, map[string]any{"name": "Holm & Daughters", "email": "keys@example.com"}).want(t, http.StatusCreated, "")
	body := map[string]any{"party_id": party, "role": "managing_agent", "from_day": "2024-01-01"}
	o.put(standing, body).want(t, http.StatusCreated, "")
	o.put(standing, body).want(t, http.StatusOK, "")
	ended := with(body, "to_day", "2024-12-31")
	o.put(standing, ended).want(t, http.StatusPreconditionRequired, "version_required")
	if got := o.put(standing, ended, "If-Match", `"1"`).want(t, http.StatusOK, ""); got.member("party_name") != "Holm & Daughters" || got.member("to_day") != "2024-12-31" {
		t.Errorf("%v", got.members)
	}
	for on, want := range map[string]bool{"2024-12-31": true, "2025-01-01": false} {
		if got := o.get("/v1/sites/"+o.site+"/parties?on_day="+on).want(t, http.StatusOK, ""); strings.Contains(got.text, party) != want {
			t.Errorf("on %s: %s", on, got.text)
		}
	}
	if got := o.get("/v1/parties?search=holm").want(t, http.StatusOK, ""); !strings.Contains(got.text, party) {
		t.Errorf("search %s", got.text)
	}
	first := o.get("/v1/sites/"+o.site+"/parties?limit=1").want(t, http.StatusOK, "")
	if rest := o.get("/v1/sites/" + o.site + "/parties?after=" + first.member("next")); rest.text != "{\"standings\":[]}\n" {
		t.Errorf("after the last: %s", rest.text)
	}
}

func TestCatalogueEntriesNeverChange(t *testing.T) {
	t.Parallel()
	o := newOffice(t)
	model := "/v1/device-models/" + o.id().String()
	antenna := map[string]any{"antenna_id": o.id().String(), "name": "wide", "azimuth_beamwidth_deg": 58, "elevation_beamwidth_deg": 29, "boresight_range_m": 6, "source": "invented for tests"}
	body := map[string]any{"maker": "Halvorsen Sensing", "name": "Wren 24", "kind": "sensor", "sensing": "radar", "frequency_hz": 24.125e9, "antennas": []any{antenna}}
	if got := o.put(model, body).want(t, http.StatusCreated, ""); !strings.Contains(got.text, `"attenuation_limit_db":25,`) {
		t.Errorf("the limit that nobody named: %s", got.text)
	}
	o.put(model, body).want(t, http.StatusOK, "")
	o.put(model, with(body, "antennas", []any{with(antenna, "attenuation_limit_db", 25)})).want(t, http.StatusOK, "")
	got := o.put(model, with(body, "antennas", []any{with(antenna, "attenuation_limit_db", 24)})).want(t, http.StatusConflict, "model_differs")
	if at := strings.Join(got.pointers(), " "); at != "#/antennas/0/attenuation_limit_db" {
		t.Errorf("the difference is at %q", at)
	}
	if got := o.get("/v1/device-models?search=wren&kind=sensor").want(t, http.StatusOK, ""); !strings.Contains(got.text, "Wren 24") {
		t.Errorf("search %s", got.text)
	}
	accessory := "/v1/accessories/" + o.id().String()
	spacer := map[string]any{"kind": "spacer", "name": "Block 50", "effect": map[string]any{"out_m": 0.05}}
	o.put(accessory, spacer).want(t, http.StatusCreated, "")
	o.put(accessory, spacer).want(t, http.StatusOK, "")
	o.put(accessory, with(spacer, "name", "Block 51")).want(t, http.StatusConflict, "accessory_differs")
	if got := o.get(accessory).want(t, http.StatusOK, ""); !strings.Contains(got.text, `"effect":{"out_m":0.05}`) {
		t.Errorf("%s", got.text)
	}
}

func TestComponentsAreFittedRewiredAndTakenOut(t *testing.T) {
	t.Parallel()
	o := newOffice(t)
	door, control, sensor := o.door(), o.id().String(), o.id().String()
	o.put("/v1/components/"+control, map[string]any{"door_id": door, "kind": "control", "model_text": "control", "reason": "seen",
		"fitting": map[string]any{"state": "fitted", "side": "none"}}).want(t, http.StatusCreated, "")
	body := map[string]any{"door_id": door, "kind": "sensor", "model_text": "motion sensor", "serial": "S-1", "warranty_until": "2028-01-31", "reason": "seen",
		"fitting": map[string]any{"state": "fitted", "side": "a", "wired_to": control, "input": "activate", "contact": "normally_open", "tested_by_control": false}}
	made := o.put("/v1/components/"+sensor, body).want(t, http.StatusCreated, "")
	if again := o.put("/v1/components/"+sensor, body).want(t, http.StatusOK, ""); again.header.Get("ETag") != made.header.Get("ETag") {
		t.Errorf("the same again has another ETag")
	}
	o.put("/v1/components/"+sensor, with(body, "serial", "S-2"), "If-Match", made.header.Get("ETag")).want(t, http.StatusConflict, "component_differs")
	before := o.now
	o.now = o.now.Add(time.Hour)
	out := with(body, "reason", "broken", "fitting", map[string]any{"state": "removed", "side": "a"})
	o.put("/v1/components/"+sensor, out).want(t, http.StatusPreconditionRequired, "version_required")
	o.put("/v1/components/"+sensor, out, "If-Match", `"`+o.id().String()+`"`).want(t, http.StatusPreconditionFailed, "version_differs")
	gone := o.put("/v1/components/"+sensor, out, "If-Match", made.header.Get("ETag")).want(t, http.StatusOK, "")
	if gone.header.Get("ETag") == made.header.Get("ETag") || !strings.Contains(gone.text, `"state":"removed"`) {
		t.Errorf("%s %s", gone.header.Get("ETag"), gone.text)
	}
	if now := o.get("/v1/doors/"+door+"/components").want(t, http.StatusOK, ""); strings.Count(now.text, `"component_id"`) != 2 || !strings.Contains(now.text, `"removed"`) {
		t.Errorf("now %s", now.text)
	}
	then := o.get("/v1/doors/"+door+"/components?effective_at="+before.Format(time.RFC3339)+"&recorded_at="+before.Format(time.RFC3339)).want(t, http.StatusOK, "")
	if strings.Contains(then.text, `"removed"`) || !strings.Contains(then.text, `"tested_by_control":false`) {
		t.Errorf("then %s", then.text)
	}
	if history := o.get("/v1/components/"+sensor+"/versions").want(t, http.StatusOK, ""); strings.Count(history.text, `"version_id"`) != 2 {
		t.Errorf("history %s", history.text)
	}
}

func TestASiteIsHandedOver(t *testing.T) {
	t.Parallel()
	o := newOffice(t)
	next := o.id().String()
	o.put("/v1/customers/"+next, map[string]any{"name": "Ostrowski Homes"}).want(t, http.StatusCreated, "")
	path, body := "/v1/sites/"+o.site+"/customer", map[string]any{"customer_id": next, "day": "2026-03-01"}
	o.put(path, body).want(t, http.StatusPreconditionRequired, "version_required")
	o.put(path, with(body, "day", "2026-03-09"), "If-Match", `"1"`).want(t, http.StatusUnprocessableEntity, "hand_over_in_the_future")
	o.put(path, body, "If-Match", `"1"`).want(t, http.StatusOK, "")
	o.put(path, body).want(t, http.StatusOK, "")
	if got := o.get("/v1/sites/" + o.site); got.member("customer_id") != next || got.header.Get("ETag") != `"2"` {
		t.Errorf("%v", got.members)
	}
}

// withKeys is the same face on a server that has a key file.
func (o *office) withKeys() {
	o.t.Helper()
	catalogue, err := loadWords()
	if err != nil {
		o.t.Fatal(err)
	}
	book, err := loadBook()
	if err != nil {
		o.t.Fatal(err)
	}
	keys, err := identity.ParseKeyring([]byte("test:" + base64.StdEncoding.EncodeToString([]byte("a key of thirty-two bytes for it"))))
	if err != nil {
		o.t.Fatal(err)
	}
	now := func() time.Time { return o.now }
	o.handler = api.New(api.Rooms{
		Fleet:  fleet.New(fleet.Parts{Store: store.New(o.db.App, "lintel"), Book: book, Words: catalogue, Keys: keys, Now: now, NewID: o.id}),
		People: o.people, Words: catalogue, Log: slog.New(slog.NewJSONHandler(&o.log, nil)), Now: now, NewID: o.id, Version: "0"}).Handler()
}

func TestARevealIsOnRecordUnderItsRequest(t *testing.T) {
	t.Parallel()
	o := newOffice(t)
	safe := "/v1/sites/" + o.site + "/key-safe-code"
	o.put(safe, map[string]any{"code": "1"}).want(t, http.StatusConflict, "keys_missing")
	o.withKeys()
	o.ask(t, o.secret, http.MethodPost, safe+"/reveal", nil).want(t, http.StatusNotFound, "code_not_found")
	door, component := o.door(), o.id().String()
	o.put("/v1/components/"+component, map[string]any{"door_id": door, "kind": "sensor", "model_text": "motion sensor", "reason": "seen",
		"fitting": map[string]any{"state": "fitted", "side": "a"}}).want(t, http.StatusCreated, "")
	for _, path := range []string{safe, "/v1/components/" + component + "/lock-code"} {
		if got := o.put(path, map[string]any{"code": "SESAME-90417"}).want(t, http.StatusOK, ""); strings.Contains(got.text, "SESAME") {
			t.Errorf("%s answers %s", path, got.text)
		}
		o.get(path).want(t, http.StatusMethodNotAllowed, "method_not_allowed")
		got := o.ask(t, o.secret, http.MethodPost, path+"/reveal", nil).want(t, http.StatusOK, "SESAME-90417")
		var n int
		if err := o.db.Admin.QueryRow(t.Context(), `select count(*) from audit_event where action = 'code.reveal' and request_id = $1`,
			got.header.Get("X-Request-Id")).Scan(&n); err != nil || n != 1 {
			t.Errorf("%s: %d reveals on record under the request, %v", path, n, err)
		}
	}
	for _, path := range []string{"/v1/sites", "/v1/sites/" + o.site, "/v1/components/" + component, "/v1/doors/" + door + "/components", "/v1/audit-events"} {
		if got := o.get(path); strings.Contains(got.text, "SESAME") {
			t.Errorf("%s tells the code", path)
		}
	}
	if strings.Contains(o.log.String(), "SESAME") {
		t.Error("the log tells the code")
	}
}

func TestATokenMayNotReveal(t *testing.T) {
	t.Parallel()
	o := newOffice(t)
	o.withKeys()
	safe := "/v1/sites/" + o.site + "/key-safe-code"
	o.put(safe, map[string]any{"code": "1234"}).want(t, http.StatusOK, "")
	me := o.get("/v1/me").member("person_id")
	token := o.ask(t, o.secret, http.MethodPost, "/v1/people/"+me+"/tokens", map[string]any{"name": "gate",
		"scopes": []string{"read", "visits", "register", "administration"}, "expires_at": o.now.Add(time.Hour)}).member("secret")
	if token == "" {
		t.Fatal("no token")
	}
	o.ask(t, token, http.MethodGet, "/v1/sites/"+o.site, nil).want(t, http.StatusOK, "")
	o.ask(t, token, http.MethodPost, safe+"/reveal", nil).want(t, http.StatusForbidden, "not_allowed")
}

// Whatever is wrong with a body that holds a code, the answer and the log do not repeat it.
func TestARefusedCodeIsNotRepeated(t *testing.T) {
	t.Parallel()
	o := newOffice(t)
	o.withKeys()
	for name, body := range map[string]string{
		"overlong": `{"code":"` + strings.Repeat("7391", 17) + `"}`, "number": `{"code":73917391}`, "great number": `{"code":739173917391739173917391}`,
		"exact to no double": `{"code":0.7391739173917391739}`, "boundless": `{"code":7391e7391}`, "unknown member": `{"code":"73917391","x":1}`,
		"NUL": `{"code":"7391\u0000"}`, "line": `{"code":"7391\n"}`, "cut off": `{"code":"7391`, "bare": `"7391"`, "list": `{"code":["7391"]}`,
		"twice": `{"code":"7391","code":"7391"}`, "no JSON": `7391x`, "half a pair": `{"code":"7391\ud800"}`, "empty": `{"code":""}`, "not UTF-8": "{\"code\":\"7391\xff\"}",
	} {
		t.Run(name, func(t *testing.T) {
			r := httptest.NewRequestWithContext(t.Context(), http.MethodPut, "/v1/sites/"+o.site+"/key-safe-code", strings.NewReader(body))
			r.Header.Set("Content-Type", "application/json")
			r.Header.Set("Authorization", "Bearer "+o.secret)
			w := httptest.NewRecorder()
			o.handler.ServeHTTP(w, r)
			if w.Code != http.StatusUnprocessableEntity && w.Code != http.StatusBadRequest {
				t.Errorf("answers %d: %s", w.Code, w.Body)
			}
			if strings.Contains(w.Body.String(), "7391") || strings.Contains(o.log.String(), "7391") {
				t.Errorf("repeats the code: %s", w.Body)
			}
		})
	}
	var n int
	if err := o.db.Admin.QueryRow(t.Context(), `select count(*) from sealed_code`).Scan(&n); err != nil || n != 0 {
		t.Errorf("%d codes are kept, %v", n, err)
	}
}

func TestAnOffsetMayBeToTheOtherSideInFeetAndInchesToo(t *testing.T) {
	t.Parallel()
	v := newVan(t)
	mount := object{"height_m": object{"entered": `7'-2"`, "basis": "measured"}, "offset_x_m": object{"entered": `-4 in`, "basis": "measured"}}
	body := object{"standing": "found", "reason": "seen", "device": object{"mount": mount, "settings": object{"motion_direction": "approach", "output_contact": "unknown"}}}
	got := v.put("/v1/devices/"+v.sensor+"/revisions/"+v.id().String(), body).want(t, http.StatusCreated, "")
	if !strings.Contains(got.text, `"offset_x_m":{"value":-0.1016,"basis":"measured"`) {
		t.Errorf("recorded as %s", got.text)
	}
	body["device"].(object)["mount"] = object{"height_m": object{"entered": `-7'-2"`, "basis": "measured"}}
	v.put("/v1/devices/"+v.sensor+"/revisions/"+v.id().String(), body).want(t, http.StatusUnprocessableEntity, "length_negative")
}
