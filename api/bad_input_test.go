package api_test

import (
	"encoding/json"
	"net/http"
	"net/http/httptest"
	"regexp"
	"strings"
	"testing"
	"time"

	"github.com/google/uuid"
)

// A word that stands in bad input must not come back.
const mark = "Qx7391"

// refused asks with bytes and holds the answer against what is promised of every refusal: status, codes and places of the
// members at fault ("code pointer", sorted as they come), nothing repeated, nothing changed.
func (v *van) refused(t *testing.T, secret string, q request, status int, code string, faults ...string) {
	t.Helper()
	before := v.everything(t)
	w := v.raw(secret, q.method, q.path, q.mediaType, q.body)
	got := answerOf(w)
	got.want(t, status, code)
	checkProblem(t, q.path, got)
	if at := strings.Join(got.faults(), ", "); at != strings.Join(faults, ", ") {
		t.Errorf("members at fault: %q, want %q: %.400s", at, strings.Join(faults, ", "), got.text)
	}
	if strings.Contains(got.text, mark) || strings.Contains(v.log.String(), mark) {
		t.Errorf("the value comes back: %.400s", got.text)
	}
	if changed := changes(before, v.everything(t)); len(changed) > 0 {
		t.Errorf("what was refused has changed %v", changed)
	}
}

func answerOf(w *httptest.ResponseRecorder) answer {
	got := answer{status: w.Code, header: w.Header(), text: w.Body.String()}
	_ = json.Unmarshal(w.Body.Bytes(), &got.members) // what is no object has no members
	return got
}

// faults are the members at fault as "code place".
func (a answer) faults() (list []string) {
	errors, _ := a.members["errors"].([]any)
	for _, e := range errors {
		m, _ := e.(map[string]any)
		place, _ := m["pointer"].(string)
		if place == "" {
			place, _ = m["parameter"].(string)
		}
		code, _ := m["code"].(string)
		list = append(list, code+" "+place)
	}
	return list
}

func TestABodyThatCannotBeKeptAsItIsIsRefused(t *testing.T) {
	t.Parallel()
	v := newVan(t)
	name := func(value string) string { return `{"name":` + value + `}` }
	for what, c := range map[string]struct {
		body   string
		status int
		code   string
		faults []string
	}{
		"nothing":                    {"", 400, "body_unreadable", nil},
		"no JSON":                    {mark, 400, "body_unreadable", []string{"not_json #"}},
		"cut off":                    {`{"name":"` + mark, 400, "body_unreadable", []string{"not_json #"}},
		"trailing garbage":           {name(`"`+mark+`"`) + " " + mark, 400, "body_unreadable", []string{"not_json #"}},
		"two documents":              {name(`"a"`) + name(`"`+mark+`"`), 400, "body_unreadable", []string{"not_json #"}},
		"byte order mark":            {"\ufeff" + name(`"`+mark+`"`), 400, "body_unreadable", []string{"not_json #"}},
		"comment":                    {name(`"a"`) + "// " + mark, 400, "body_unreadable", []string{"not_json #"}},
		"not a number":               {name("NaN"), 400, "body_unreadable", []string{"not_json #"}},
		"not UTF-8":                  {name("\"" + mark + "\xff\""), 400, "body_unreadable", []string{"text_not_utf8 #"}},
		"member twice":               {`{"name":"a","name":"` + mark + `"}`, 400, "body_unreadable", []string{"member_twice #/name"}},
		"member twice, once escaped": {`{"name":"a","\u006eame":"` + mark + `"}`, 400, "body_unreadable", []string{"member_twice #/name"}},
		"NUL":                        {name(`"` + mark + `\u0000"`), 400, "body_unreadable", []string{"text_nul #/name"}},
		"NUL in a name":              {`{"name":"a","x\u0000":1}`, 400, "body_unreadable", []string{"text_nul #/x\u0000"}},
		"lone surrogate":             {name(`"` + mark + `\ud800"`), 400, "body_unreadable", []string{"text_surrogate #/name"}},
		"reversed surrogates":        {name(`"` + mark + `\udc00\ud800"`), 400, "body_unreadable", []string{"text_surrogate #/name"}},
		"number without bound":       {name("1e999"), 400, "body_unreadable", []string{"number_not_exact #/name"}},
		"number over 2^53":           {name("9007199254740993"), 400, "body_unreadable", []string{"number_not_exact #/name"}},
		"number of many digits":      {name("0.73917391739173917391"), 400, "body_unreadable", []string{"number_not_exact #/name"}},
		"nested without end":         {strings.Repeat(`{"name":`, 10000) + "1" + strings.Repeat("}", 10000), 400, "body_unreadable", []string{"nested_too_deep #" + strings.Repeat("/name", 64)}},
		"huge":                       {name(`"` + strings.Repeat(mark, 60000) + `"`), 413, "body_too_large", nil},
		"list":                       {`["` + mark + `"]`, 422, "body_invalid", []string{"not_object #"}},
		"null":                       {`null`, 422, "body_invalid", []string{"not_object #"}},
		"bare text":                  {`"` + mark + `"`, 422, "body_invalid", []string{"not_object #"}},
		"wrong case":                 {`{"Name":"` + mark + `"}`, 422, "body_invalid", []string{"member_missing #/name", "member_unknown #/Name"}},
		"unknown member":             {`{"name":"a","colour":"` + mark + `"}`, 422, "body_invalid", []string{"member_unknown #/colour"}},
		"null for a text":            {name("null"), 422, "body_invalid", []string{"not_text #/name"}},
		"number for a text":          {name("7391"), 422, "body_invalid", []string{"not_text #/name"}},
		"overlong":                   {name(`"` + strings.Repeat(mark, 40) + `"`), 422, "body_invalid", []string{"text_too_long #/name"}},
		"binary":                     {name(`"` + mark + `\u0007"`), 422, "text_binary", []string{"text_binary #/name"}},
		"blank":                      {name(`"   "`), 422, "text_missing", []string{"text_missing #/name"}},
	} {
		t.Run(what, func(t *testing.T) {
			v.refused(t, v.secret, request{http.MethodPut, "/v1/customers/" + v.id().String(), []byte(c.body), "application/json"}, c.status, c.code, c.faults...)
		})
	}
	for _, mediaType := range []string{"text/plain", "application/xml", "application/x-www-form-urlencoded", "multipart/form-data; boundary=x"} {
		v.refused(t, v.secret, request{http.MethodPut, "/v1/customers/" + v.id().String(), []byte(name(`"a"`)), mediaType}, 415, "media_type_unsupported")
	}
}

var inBraces = regexp.MustCompile(`\{\w+\}`)

func TestAnIdThatAClientChoosesIsAUUIDv7(t *testing.T) {
	t.Parallel()
	v := newVan(t)
	made := 0
	for path, item := range contract(t).OpenAPI().Paths {
		if item.Put == nil || !strings.HasSuffix(path, "_id}") {
			continue
		}
		made++
		name := path[strings.LastIndex(path, "{")+1 : len(path)-1]
		secret := v.secret
		if strings.HasPrefix(path, "/v1/visits/") {
			secret = v.technician
		}
		for _, id := range []string{uuid.Nil.String(), uuid.Max.String(), "2f5c4b1e-6d7a-4c3b-9a1f-0123456789ab", "01950000-0000-7000-0000-00000000c057"} { // of version 4; of another variant
			last := strings.LastIndex(path, "{")
			filled := inBraces.ReplaceAllStringFunc(path[:last], func(string) string { return v.id().String() }) + id
			v.refused(t, secret, request{http.MethodPut, filled, []byte("{}"), "application/json"}, 422, "id_not_v7", "id_not_v7 "+name)
		}
	}
	if made < 15 {
		t.Errorf("only %d operations", made)
	}
}

func TestAnAddressThatCannotBeMeantIsRefused(t *testing.T) {
	t.Parallel()
	v := newVan(t)
	for _, c := range []struct {
		method, path string
		status       int
		code, fault  string
	}{
		{"GET", "/v1/nothing", 404, "route_not_found", ""},
		{"GET", "/v1/customers/", 404, "route_not_found", ""},
		{"GET", "/v1/customers/" + mark, 422, "parameter_invalid", "not_id customer_id"},
		{"GET", "/v1/customers?limit=0", 422, "parameter_invalid", "too_small limit"},
		{"GET", "/v1/customers?limit=201", 422, "parameter_invalid", "too_great limit"},
		{"GET", "/v1/customers?limit=" + mark, 422, "parameter_invalid", "not_whole_number limit"},
		{"GET", "/v1/customers?nmae=" + mark, 422, "parameter_unknown", "parameter_unknown nmae"},
		{"GET", "/v1/customers?after=" + mark, 422, "page_unknown", ""},
		{"GET", "/v1/customers?after=eyJuIjoiXHUwMDAwIiwiaSI6IjAxOWNiNWI3LTEzMDAtNzAwMC04MDAwLTAwMDAwMDAwMGRjYyJ9", 422, "page_unknown", ""}, // a NUL in the key
		{"GET", "/v1/customers?search=" + mark + "%00", 422, "address_unreadable", ""},
		{"GET", "/v1/customers?search=" + mark + "%ff", 422, "address_unreadable", ""},
		{"GET", "/v1/customers?search=" + mark + "%zz", 422, "address_unreadable", ""},
		{"GET", "/v1/rule-packs/" + mark + "%00", 422, "address_unreadable", ""},
		{"GET", "/v1/work-orders?due_until=" + mark, 422, "parameter_invalid", "date_unreadable due_until"},
		{"GET", "/v1/work-orders?state=" + mark, 422, "parameter_invalid", "not_one_of state"},
		{"GET", "/v1/doors?site_id=" + mark, 422, "parameter_invalid", "not_id site_id"},
		{"GET", "/v1/doors/" + v.doorID + "?effective_at=" + mark, 422, "parameter_invalid", "not_instant effective_at"},
		{"GET", "/v1/doors/by-tag/1000", 422, "tag_length", ""},
		{"GET", "/v1/doors/by-tag/10000013", 422, "tag_check_digit", ""},
		{"GET", "/v1/doors/" + v.doorID + "/sides/c/drawing", 422, "parameter_invalid", "not_one_of side"},
		{"GET", "/v1/doors/" + v.doorID + "/sides/b/drawing?format=gif", 422, "parameter_invalid", "not_one_of format"},
		{"GET", "/v1/doors/" + v.doorID + "/sides/b/drawing?view=below", 422, "parameter_invalid", "not_one_of view"},
		{"GET", "/v1/doors/" + v.doorID + "/sides/b/drawing?units=yards", 422, "parameter_invalid", "not_one_of units"},
		{"GET", "/v1/doors/" + v.doorID + "/sides/b/drawing?scale=4", 422, "parameter_invalid", "too_small scale"},
		{"GET", "/v1/doors/" + v.doorID + "/sides/b/drawing?scale=half", 422, "parameter_invalid", "not_whole_number scale"},
		{"GET", "/v1/doors/" + v.doorID + "/sides/b/drawing?scale=5", 422, "drawing_no_room", "drawing_no_room scale"},
		{"GET", "/v1/doors/" + v.doorID + "/sides/b/drawing?view=elevation", 422, "drawing_of_nothing", "drawing_of_nothing view"},
		{"GET", "/v1/doors/" + v.doorID + "/sides/b/drawing?zoom=2", 422, "parameter_unknown", "parameter_unknown zoom"},
	} {
		t.Run(c.method+c.path, func(t *testing.T) {
			faults := []string{}
			if c.fault != "" {
				faults = append(faults, c.fault)
			}
			v.refused(t, v.secret, request{c.method, c.path, nil, ""}, c.status, c.code, faults...)
		})
	}
	for path, allow := range map[string]string{"/v1/customers": "GET, HEAD", "/v1/sites/" + v.site: "GET, HEAD, PUT", "/v1/sessions/current": "DELETE", "/v1/me/password": "PUT", "/healthz": "GET, HEAD",
		"/v1/sites/" + v.site + "/key-safe-code/reveal": "POST"} {
		v.refused(t, v.secret, request{http.MethodPatch, path, nil, ""}, 405, "method_not_allowed")
		if w := v.raw(v.secret, http.MethodPatch, path, "", nil); w.Header().Get("Allow") != allow {
			t.Errorf("%s allows %q, want %q", path, w.Header().Get("Allow"), allow)
		}
	}
	if w := v.raw(v.secret, http.MethodHead, "/v1/customers", "", nil); w.Code != http.StatusOK {
		t.Errorf("HEAD answers %d", w.Code)
	}
}

// Whoever may not do it hears that and nothing else, however bad or great what they send is.
func TestABodyIsNotReadOfThoseWhoMayNotSendIt(t *testing.T) {
	t.Parallel()
	v := newVan(t)
	for secret, want := range map[string]struct {
		status int
		code   string
	}{"": {401, "sign_in_needed"}, mark: {401, "secret_unknown"}, v.agent: {403, "not_allowed"}} {
		for _, body := range []string{`{"name":1e999}`, `{"colour":1}`, strings.Repeat("x", 400<<10)} {
			untouched := &countingReader{Reader: strings.NewReader(body)}
			r := httptest.NewRequestWithContext(t.Context(), http.MethodPut, "/v1/customers/"+v.id().String(), untouched)
			r.Header.Set("Content-Type", "application/json")
			if secret != "" {
				r.Header.Set("Authorization", "Bearer "+secret)
			}
			w := httptest.NewRecorder()
			v.handler.ServeHTTP(w, r)
			answerOf(w).want(t, want.status, want.code)
			if untouched.n > 0 {
				t.Errorf("%d bytes were read of somebody who is answered %d", untouched.n, w.Code)
			}
		}
	}
}

type countingReader struct {
	*strings.Reader
	n int
}

func (c *countingReader) Read(p []byte) (int, error) {
	n, err := c.Reader.Read(p)
	c.n += n
	return n, err
}

func TestWhatCannotBeTrueIsRefusedAtItsMember(t *testing.T) {
	t.Parallel()
	v := newVan(t)
	elsewhere := v.otherSite()
	door := object{"site_id": v.site, "name": "Side", "known_since": "2026-01-01", "reason": "new", "facts": doorFacts("x")}
	facts := func(members ...any) object { return with(door, "facts", with(doorFacts("x"), members...)) }
	component := object{"door_id": v.doorID, "kind": "sensor", "model_text": "sensor", "reason": "seen", "fitting": object{"state": "fitted", "side": "a"}}
	device := func(mount object, settings ...any) object {
		return object{"standing": "found", "reason": "seen", "device": object{"mount": mount, "settings": with(object{"motion_direction": "approach", "output_contact": "unknown"}, settings...)}}
	}
	note := v.piece("note", object{"text": "oiled"})
	early := time.Date(2025, 12, 31, 12, 0, 0, 0, time.UTC)
	visit := "/v1/visits/" + v.id().String()
	v.send(http.MethodPut, visit, v.attendance()).want(t, http.StatusCreated, "")
	order := v.id().String()
	v.put("/v1/work-orders/"+order, object{"door_id": elsewhere.door, "kind": "service", "due_on": "2026-04-01"}).want(t, http.StatusCreated, "")
	doors, components, revisions, entries, visits := "/v1/doors/"+v.id().String(), "/v1/components/"+v.id().String(), "/v1/devices/"+v.sensor+"/revisions/"+v.id().String(),
		visit+"/entries/"+v.id().String(), "/v1/visits/"+v.id().String()
	tag := v.get("/v1/doors/" + v.doorID).member("tag")

	for what, c := range map[string]struct {
		path   string
		body   object
		status int
		code   string
		fault  string
	}{
		"tag of another door":          {doors, with(door, "tag", tag), 409, "tag_taken", "tag_taken #/tag"},
		"tag with a wrong digit":       {doors, with(door, "tag", "10000013"), 422, "tag_check_digit", "tag_check_digit #/tag"},
		"fact before the door":         {doors, with(door, "effective_at", early), 422, "before_the_door", "before_the_door #/effective_at"},
		"fact of the future":           {doors, with(door, "effective_at", v.now.AddDate(0, 0, 1)), 422, "in_the_future", "in_the_future #/effective_at"},
		"unknown pack":                 {doors, facts("rule_basis", object{"pack": "none", "since": "2025-01-01", "why": "x"}), 422, "pack_not_found", "pack_not_found #/facts/rule_basis/pack"},
		"null for a list":              {doors, facts("leaves", []any(nil)), 422, "body_invalid", "not_list #/facts/leaves"},
		"no leaf":                      {doors, facts("leaves", []any{}), 422, "body_invalid", "list_too_short #/facts/leaves"},
		"leaf of another kind":         {doors, facts("kind", "swinging", "rule_basis", object{}, "leaves", []object{{"motion": "slide", "hinge": "none", "opens_towards": "left"}}), 422, "leaf_motion_of_other_kind", "leaf_motion_of_other_kind #/facts/leaves/0/motion"},
		"unknown door":                 {components, with(component, "door_id", v.id().String()), 422, "door_not_found", "door_not_found #/door_id"},
		"component before the door":    {components, with(component, "effective_at", early), 422, "before_the_door", "before_the_door #/effective_at"},
		"unknown model":                {components, with(component, "model_text", nil, "model_id", v.id().String()), 422, "model_not_found", "model_not_found #/model_id"},
		"wired to another's control":   {components, with(component, "fitting", object{"state": "fitted", "side": "a", "wired_to": elsewhere.control}), 422, "component_of_other_door", "component_of_other_door #/fitting/wired_to"},
		"wired to what controls not":   {components, with(component, "fitting", object{"state": "fitted", "side": "a", "wired_to": v.sensor}), 422, "component_not_control", "component_not_control #/fitting/wired_to"},
		"on the floor":                 {revisions, device(object{"height_m": known(0.1)}), 422, "out_of_range", "out_of_range #/device/mount/height_m/value"},
		"aimed at the sky":             {revisions, device(object{"height_m": known(2.3), "tilt_deg": known(120)}), 422, "out_of_range", "out_of_range #/device/mount/tilt_deg/value"},
		"further than full reach":      {revisions, device(object{}, "reach_db", known(3)), 422, "out_of_range", "out_of_range #/device/settings/reach_db/value"},
		"known and unknown":            {revisions, device(object{"height_m": object{"value": 2, "basis": "unknown"}}), 422, "basis_missing", "basis_missing #/device/mount/height_m/basis"},
		"measured and not there":       {revisions, device(object{"height_m": object{"basis": "measured"}}), 422, "value_missing", "value_missing #/device/mount/height_m/value"},
		"said twice":                   {revisions, device(object{"height_m": object{"value": 2, "entered": "7 ft", "basis": "told"}}), 422, "length_twice", "length_twice #/device/mount/height_m"},
		"a length that is none":        {revisions, device(object{"height_m": object{"entered": mark, "basis": "told"}}), 422, "length_no_number", "length_no_number #/device/mount/height_m/entered"},
		"set before the door":          {revisions, with(device(object{}), "effective_at", early), 422, "before_the_door", "before_the_door #/effective_at"},
		"unknown antenna":              {revisions, with(device(object{}), "device", with(device(object{})["device"].(object), "antenna_id", v.id().String())), 422, "antenna_not_found", "antenna_not_found #/device/antenna_id"},
		"entry at another's door":      {entries, with(note, "door_id", elsewhere.door), 422, "door_of_other_site", "door_of_other_site #/door_id"},
		"entry at no door":             {entries, with(note, "door_id", v.id().String()), 422, "door_not_found", "door_not_found #/door_id"},
		"entry before the door":        {entries, with(note, "observed_at", early), 422, "before_the_door", "before_the_door #/observed_at"},
		"entry of tomorrow":            {entries, with(note, "observed_at", v.now.AddDate(0, 0, 2)), 422, "clock_ahead", "clock_ahead #/observed_at"},
		"entry of the Romans":          {entries, with(note, "observed_at", "0079-08-24T12:00:00Z"), 422, "date_implausible", "date_implausible #/observed_at"},
		"settings of another's device": {entries, v.piece("settings", object{"component_id": elsewhere.control, "standing": "found", "device": device(object{})["device"]}), 422, "component_not_on_door", "component_not_on_door #/settings/component_id"},
		"mount within an entry":        {entries, v.piece("settings", object{"component_id": v.sensor, "standing": "found", "device": device(object{"height_m": known(99)})["device"]}), 422, "out_of_range", "out_of_range #/settings/device/mount/height_m/value"},
		"reading that nobody knows":    {entries, v.piece("reading", object{"name": mark, "value": 1}), 422, "reading_unknown", "reading_unknown #/reading/name"},
		"reading out of this world":    {entries, v.piece("reading", object{"name": "hold_open_s", "value": -1}), 422, "reading_impossible", "reading_impossible #/reading/value"},
		"confirming what was not made": {entries, v.piece("finding", object{"severity": "deficient", "what": "x", "confirms": v.id().String()}), 422, "finding_not_computed", "finding_not_computed #/finding/confirms"},
		"fact of the year one":         {doors, with(door, "effective_at", "0001-01-01T00:00:00Z"), 422, "date_implausible", "date_implausible #/effective_at"},
		"fitted in the year one":       {components, with(component, "effective_at", "0001-01-01T00:00:00Z"), 422, "before_the_door", "before_the_door #/effective_at"},
		"set in the year one":          {revisions, with(device(object{}), "effective_at", "0001-01-01T00:00:00Z"), 422, "date_implausible", "date_implausible #/effective_at"},
		"name in two directions":       {doors, with(door, "name", "Side\u202edoor"), 422, "text_turned", "text_turned #/name"},
		"name on two lines":            {doors, with(door, "name", "Side\ndoor"), 422, "text_of_lines", "text_of_lines #/name"},
		"mode named twice":             {doors, facts("modes", []string{"day", "emergency", "day"}), 422, "mode_twice", "mode_twice #/facts/modes"},
		"visit of strangers":           {visits, with(v.attendance(), "people", []string{v.technicianID, v.id().String()}), 422, "person_not_found", "person_not_found #/people/1"},
		"visit of one person twice":    {visits, with(v.attendance(), "people", []string{v.technicianID, v.technicianID}), 422, "named_twice", "named_twice #/people/1"},
		"visit of one door twice":      {visits, with(v.attendance(), "doors", []object{{"door_id": v.doorID}, {"door_id": v.doorID}}), 422, "named_twice", "named_twice #/doors/1/door_id"},
		"signature that is no drawing": {visit + "/sign-off", object{"signed_at": v.now, "left_at": v.now, "entries": []object{{"entry_id": v.id(), "sha256": strings.Repeat("0", 64)}}, "statement": "done", "signature": "M 0 0 \"/><script>"}, 422, "body_invalid", "not_of_form #/signature"},
		"visit for another's door":     {visits, with(v.attendance(), "doors", []object{{"door_id": elsewhere.door}}), 422, "door_of_other_site", "door_of_other_site #/doors/0/door_id"},
		"visit for another's order":    {visits, with(v.attendance(), "doors", []object{{"door_id": v.doorID, "work_orders": []string{order}}}), 422, "work_order_of_other_door", "work_order_of_other_door #/doors/0/work_orders/0"},
		"visit of others":              {visits, with(v.attendance(), "people", []string{v.id().String()}), 422, "sender_not_present", "sender_not_present #/people"},
		"visit of nobody":              {visits, with(v.attendance(), "people", []any(nil)), 422, "body_invalid", "not_list #/people"},
	} {
		t.Run(what, func(t *testing.T) {
			secret := v.secret
			if strings.HasPrefix(c.path, "/v1/visits/") {
				secret = v.technician
			}
			v.refused(t, secret, newRequest(http.MethodPut, c.path, c.body), c.status, c.code, c.fault)
		})
	}
}

// another is a door of another customer with a control.
type another struct{ site, door, control string }

func (v *van) otherSite() another {
	v.t.Helper()
	customer, e := v.id().String(), another{v.id().String(), v.id().String(), v.id().String()}
	v.put("/v1/customers/"+customer, object{"name": "Fourth"}).want(v.t, http.StatusCreated, "")
	v.put("/v1/sites/"+e.site, with(v.siteBody(), "customer_id", customer)).want(v.t, http.StatusCreated, "")
	v.put("/v1/doors/"+e.door, object{"site_id": e.site, "name": "Theirs", "reason": "new", "facts": doorFacts("x")}).want(v.t, http.StatusCreated, "")
	v.put("/v1/components/"+e.control, object{"door_id": e.door, "kind": "control", "model_text": "control", "reason": "seen", "fitting": object{"state": "fitted", "side": "none"}}).want(v.t, http.StatusCreated, "")
	return e
}
