package api_test

import (
	"bytes"
	"encoding/json"
	"image"
	"image/png"
	"net/http"
	"net/http/httptest"
	"strings"
	"testing"
	"time"

	"lintel.example/lintel/internal/fleet"
	"lintel.example/lintel/internal/seal"
)

// van is an office whose technician stands at a door, with the agent of its customer and that of another.
type van struct {
	*office
	technicianID, technician string
	agent, otherAgent        string
	doorID, sensor           string
}

func newVan(t testing.TB) *van {
	t.Helper()
	v := &van{office: newOffice(t)}
	other := v.id().String()
	v.put("/v1/customers/"+other, map[string]any{"name": "Ostrowski Homes"}).want(t, http.StatusCreated, "")
	v.technicianID, v.technician = v.person("jonas@lintel.example", map[string]any{"role": "technician", "scope_kind": "all"})
	_, v.agent = v.person("agent@brandt.example", map[string]any{"role": "owner_agent", "scope_kind": "customers", "customers": []string{v.customer}})
	_, v.otherAgent = v.person("agent@ostrowski.example", map[string]any{"role": "owner_agent", "scope_kind": "customers", "customers": []string{other}})
	v.doorID, v.sensor = v.door(), v.id().String()
	v.put("/v1/components/"+v.sensor, map[string]any{"door_id": v.doorID, "kind": "sensor", "model_text": "motion sensor", "reason": "seen",
		"fitting": map[string]any{"state": "fitted", "side": "a"}}).want(t, http.StatusCreated, "")
	return v
}

// person makes somebody and gives the id and the secret of a session.
func (v *van) person(email string, body map[string]any) (id, secret string) {
	v.t.Helper()
	id = v.id().String()
	made := v.put("/v1/people/"+id, with(body, "email", email, "name", "Somebody")).want(v.t, http.StatusCreated, "")
	return id, v.settle(v.t, email, made.member("one_time_password"))
}

// send is a request of the technician's.
func (v *van) send(method, path string, body any) answer {
	v.t.Helper()
	return v.ask(v.t, v.technician, method, path, body)
}

func (v *van) attendance() map[string]any {
	return map[string]any{"site_id": v.site, "arrived_at": v.now, "people": []string{v.technicianID}, "doors": []any{map[string]any{"door_id": v.doorID}}}
}

// piece is an entry of a kind with the kind's own member.
func (v *van) piece(kind string, member map[string]any) map[string]any {
	return map[string]any{"door_id": v.doorID, "kind": kind, "observed_at": v.now, kind: member}
}

// raw sends bytes that are no JSON.
func (v *van) raw(secret, method, path, mediaType string, body []byte) *httptest.ResponseRecorder {
	r := httptest.NewRequestWithContext(v.t.Context(), method, path, bytes.NewReader(body))
	r.Header.Set("Content-Type", mediaType)
	r.Header.Set("Authorization", "Bearer "+secret)
	w := httptest.NewRecorder()
	v.handler.ServeHTTP(w, r)
	return w
}

func TestAVisitIsLoggedInPiecesAndSignedOff(t *testing.T) {
	t.Parallel()
	v := newVan(t)
	visit := "/v1/visits/" + v.id().String()
	entry, settings := v.id().String(), v.id().String()
	reading := v.piece("reading", map[string]any{"name": "hold_open_s", "value": 2})
	first := v.send(http.MethodPut, visit+"/entries/"+entry, reading).want(t, http.StatusCreated, "")
	if got := v.send(http.MethodGet, visit, nil).want(t, http.StatusOK, ""); got.members["attendance"] != nil {
		t.Errorf("an attendance that nobody sent: %s", got.text)
	}
	v.send(http.MethodPut, visit, v.attendance()).want(t, http.StatusCreated, "")
	v.send(http.MethodPut, visit, v.attendance()).want(t, http.StatusOK, "")
	again := v.send(http.MethodPut, visit+"/entries/"+entry, reading).want(t, http.StatusOK, "")
	if again.text != first.text {
		t.Errorf("the same again is answered with %s, not %s", again.text, first.text)
	}
	differs := v.send(http.MethodPut, visit+"/entries/"+entry, v.piece("reading", map[string]any{"name": "hold_open_s", "value": 3})).want(t, http.StatusConflict, "entry_differs")
	if got := differs.pointers(); len(got) != 1 || got[0] != "#/reading/value" {
		t.Errorf("the difference is at %v: %s", got, differs.text)
	}
	other := v.send(http.MethodPut, visit, with(v.attendance(), "note", "by the back door")).want(t, http.StatusConflict, "visit_differs")
	if got := other.pointers(); len(got) != 1 || got[0] != "#/note" {
		t.Errorf("the difference is at %v", got)
	}

	left := v.send(http.MethodPut, visit+"/entries/"+settings, v.piece("settings", map[string]any{"component_id": v.sensor, "standing": "left", "device": map[string]any{
		"mount":    map[string]any{"height_m": map[string]any{"entered": "7'-0\"", "basis": "measured"}},
		"settings": map[string]any{"motion_direction": "approach", "output_contact": "unknown"}}})).want(t, http.StatusCreated, "")
	if !strings.Contains(left.text, `"height_m":{"basis":"measured","value":2.1336}`) || strings.Contains(left.text, "7'") {
		t.Errorf("not recorded in metres: %s", left.text)
	}
	if got := v.get("/v1/devices/"+v.sensor+"/revisions").want(t, http.StatusOK, ""); !strings.Contains(got.text, settings) || !strings.Contains(got.text, `"standing":"left"`) {
		t.Errorf("no revision of the entry's id: %s", got.text)
	}

	signOff := map[string]any{"signed_at": v.now, "left_at": v.now, "statement": "Looked at.", "signature": "M0 0L1 1", "entries": []any{
		map[string]any{"entry_id": entry, "sha256": hashOfRecorded(t, first)}, map[string]any{"entry_id": settings, "sha256": left.member("sha256")}}}
	missing := with(signOff, "entries", append([]any{map[string]any{"entry_id": v.id().String(), "sha256": strings.Repeat("ab", 32)}}, signOff["entries"].([]any)...))
	if got := v.send(http.MethodPut, visit+"/sign-off", missing).want(t, http.StatusConflict, "entries_missing"); !strings.Contains(got.member("detail"), strings.Repeat("ab", 32)) {
		t.Errorf("the missing hash is not named: %s", got.text)
	}
	signed := v.send(http.MethodPut, visit+"/sign-off", signOff).want(t, http.StatusCreated, "")
	v.send(http.MethodPut, visit+"/sign-off", signOff).want(t, http.StatusOK, "")
	v.send(http.MethodPut, visit+"/sign-off", with(signOff, "signature", "M0 0L2 2")).want(t, http.StatusConflict, "sign_off_differs")
	v.send(http.MethodPut, visit+"/entries/"+v.id().String(), reading).want(t, http.StatusConflict, "visit_signed")
	v.send(http.MethodPut, visit+"/entries/"+entry, reading).want(t, http.StatusOK, "")

	got := v.ask(t, v.agent, http.MethodGet, visit, nil).want(t, http.StatusOK, "")
	if got.member("record_sha256") == "" || got.member("record_sha256") != signed.member("record_sha256") || got.member("signed_by") != v.technicianID {
		t.Errorf("the owner's agent does not see the record's hash: %s", got.text)
	}
	if list, _ := got.members["entries"].([]any); len(list) != 2 {
		t.Errorf("%d entries", len(list))
	}
	for _, id := range []string{visit, "/v1/visits/" + v.id().String()} { // not theirs, or not there: the same
		v.ask(t, v.otherAgent, http.MethodGet, id, nil).want(t, http.StatusNotFound, "visit_not_found")
	}
	if list := v.ask(t, v.otherAgent, http.MethodGet, "/v1/visits", nil).want(t, http.StatusOK, ""); list.text != "{\"visits\":[]}\n" {
		t.Errorf("another's agent lists %s", list.text)
	}
	if list := v.ask(t, v.agent, http.MethodGet, "/v1/visits?limit=1&door_id="+v.doorID, nil).want(t, http.StatusOK, ""); !strings.Contains(list.text, signed.member("visit_id")) || list.member("next") == "" {
		t.Errorf("the agent lists %s", list.text)
	}
}

// hashOfRecorded is what a client computes of an entry by itself.
func hashOfRecorded(t *testing.T, a answer) string {
	t.Helper()
	var item struct {
		Entry  json.RawMessage `json:"entry"`
		SHA256 string          `json:"sha256"`
	}
	if err := json.Unmarshal([]byte(a.text), &item); err != nil {
		t.Fatal(err)
	}
	canonical, err := seal.Canonical(item.Entry, 1<<20)
	if err != nil {
		t.Fatal(err)
	}
	if got := seal.HashOf(canonical).String(); got != item.SHA256 {
		t.Errorf("the entry's hash is %s, told %s", got, item.SHA256)
	}
	return item.SHA256
}

func TestEntriesThatCannotBeRightNameTheirMembers(t *testing.T) {
	t.Parallel()
	v := newVan(t)
	visit := "/v1/visits/" + v.id().String()
	v.send(http.MethodPut, visit, v.attendance()).want(t, http.StatusCreated, "")
	securing := map[string]any{"how": "barriered", "answer": "acknowledged", "told_name": "Rosa", "egress_kept": true}
	device := map[string]any{"mount": map[string]any{"height_m": map[string]any{"entered": "seven", "basis": "measured"}}, "settings": map[string]any{"motion_direction": "approach", "output_contact": "unknown"}}
	for name, c := range map[string]struct {
		body     map[string]any
		code     string
		pointers string
	}{
		"unknown member":             {with(v.piece("note", map[string]any{"text": "x"}), "mood", "good"), "body_invalid", "#/mood"},
		"unknown member within":      {v.piece("note", map[string]any{"text": "x", "by": "me"}), "body_invalid", "#/note/by"},
		"unknown kind":               {v.piece("poem", map[string]any{"text": "x"}), "body_invalid", "#/kind #/poem"},
		"kind without its member":    {with(v.piece("note", nil), "note", nil), "member_of_kind_missing", "#/note"},
		"kind with another's member": {with(v.piece("note", map[string]any{"text": "x"}), "conclusion", map[string]any{"result": "passed"}), "member_of_other_kind", "#/conclusion"},
		"unknown severity":           {v.piece("finding", map[string]any{"severity": "bad", "what": "x"}), "body_invalid", "#/finding/severity"},
		"photo that is no hash":      {v.piece("finding", map[string]any{"severity": "unsafe", "what": "x", "photos": []string{"ABC"}}), "hash_unreadable", "#/finding/photos/0"},
		"way out unsaid":             {v.piece("securing", with(securing, "egress_kept", nil)), "body_invalid", "#/securing/egress_kept"},
		"people locked in":           {v.piece("securing", with(securing, "egress_kept", false)), "nobody_locked_in", "#/securing/egress_kept"},
		"length in words":            {v.piece("settings", map[string]any{"component_id": v.sensor, "standing": "found", "device": device}), "length_no_number", "#/settings/device/mount/height_m/entered"},
		"reading without a value":    {v.piece("reading", map[string]any{"name": "hold_open_s"}), "reading_impossible", "#/reading/value"},
		"door that nobody knows":     {with(v.piece("note", map[string]any{"text": "x"}), "door_id", v.id().String()), "door_not_found", "#/door_id"},
		"id that is none":            {with(v.piece("note", map[string]any{"text": "x"}), "door_id", "main"), "body_invalid", "#/door_id"},
	} {
		t.Run(name, func(t *testing.T) {
			got := v.send(http.MethodPut, visit+"/entries/"+v.id().String(), c.body).want(t, http.StatusUnprocessableEntity, c.code)
			if pointers := strings.Join(got.pointers(), " "); pointers != c.pointers {
				t.Errorf("at %q, want %q: %s", pointers, c.pointers, got.text)
			}
		})
	}
	if got := v.send(http.MethodGet, visit, nil); !strings.Contains(got.text, `"entries":[]`) {
		t.Errorf("something was accepted: %s", got.text)
	}
}

func TestAnUnsafeFindingTakesTheDoorOutOfServiceUntilItIsSecured(t *testing.T) {
	t.Parallel()
	v := newVan(t)
	visit, unsafe, by := "/v1/visits/"+v.id().String(), v.id().String(), v.id().String()
	v.send(http.MethodPut, visit, v.attendance()).want(t, http.StatusCreated, "")
	v.send(http.MethodPut, visit+"/entries/"+unsafe, v.piece("finding", map[string]any{"severity": "unsafe", "what": "closes on people"})).want(t, http.StatusCreated, "")
	path := "/v1/out-of-service-cases/" + unsafe
	if got := v.ask(t, v.agent, http.MethodGet, path, nil).want(t, http.StatusOK, ""); got.member("state") != "unsecured" || got.member("what") != "closes on people" {
		t.Errorf("%s", got.text)
	}
	securing := map[string]any{"how": "operator_off", "answer": "refused", "told_name": "Rosa Imhof", "egress_kept": true}
	v.send(http.MethodPut, visit+"/entries/"+by, with(v.piece("securing", securing), "observed_at", v.now.Add(time.Minute))).want(t, http.StatusCreated, "")
	if got := v.ask(t, v.agent, http.MethodGet, path, nil); got.member("state") != "secured" || got.member("securing_entry") != by || got.members["refused"] != true {
		t.Errorf("%s", got.text)
	}
	list := v.ask(t, v.agent, http.MethodGet, "/v1/out-of-service-cases?open=true&door_id="+v.doorID, nil).want(t, http.StatusOK, "")
	if !strings.Contains(list.text, unsafe) {
		t.Errorf("%s", list.text)
	}
	v.ask(t, v.otherAgent, http.MethodGet, path, nil).want(t, http.StatusNotFound, "case_not_found")
	if list := v.ask(t, v.otherAgent, http.MethodGet, "/v1/out-of-service-cases", nil).want(t, http.StatusOK, ""); list.text != "{\"cases\":[]}\n" {
		t.Errorf("another's agent lists %s", list.text)
	}
}

func TestAPhotoIsTakenAndGivenOutToThoseWhoSeeAnEntryThatNamesIt(t *testing.T) {
	t.Parallel()
	v := newVan(t)
	var b bytes.Buffer
	if err := png.Encode(&b, image.NewGray(image.Rect(0, 0, 40, 40))); err != nil {
		t.Fatal(err)
	}
	photo := "/v1/photos/" + seal.HashOf(b.Bytes()).String()
	want := func(w *httptest.ResponseRecorder, status int, code string) {
		t.Helper()
		if w.Code != status || code != "" && !strings.Contains(w.Body.String(), `"code":"`+code+`"`) {
			t.Errorf("got %d %.300s, want %d %s", w.Code, w.Body, status, code)
		}
	}
	want(v.raw(v.technician, http.MethodGet, photo, "", nil), 404, "photo_not_found")
	want(v.raw(v.technician, http.MethodPut, "/v1/photos/"+strings.Repeat("0f", 32), "image/png", b.Bytes()), 422, "photo_hash_differs")
	want(v.raw(v.technician, http.MethodPut, "/v1/photos/main", "image/png", b.Bytes()), 422, "parameter_invalid")
	want(v.raw(v.technician, http.MethodPut, photo, "image/jpeg", b.Bytes()), 422, "photo_of_other_type")
	want(v.raw(v.technician, http.MethodPut, photo, "image/png", nil), 400, "body_unreadable")
	want(v.raw(v.technician, http.MethodPut, photo, "image/png", make([]byte, fleet.MostPhotoBytes+1)), 413, "body_too_large")
	want(v.raw(v.agent, http.MethodPut, photo, "image/png", b.Bytes()), 403, "not_allowed")
	want(v.raw(v.technician, http.MethodPut, photo, "image/png", b.Bytes()), 201, "")
	want(v.raw(v.technician, http.MethodPut, photo, "image/png", b.Bytes()), 200, "")

	want(v.raw(v.agent, http.MethodGet, photo, "", nil), 404, "photo_not_found")
	visit := "/v1/visits/" + v.id().String()
	v.send(http.MethodPut, visit+"/entries/"+v.id().String(), v.piece("photo", map[string]any{"sha256": strings.TrimPrefix(photo, "/v1/photos/"), "what": "the edge"})).want(t, http.StatusCreated, "")
	for _, secret := range []string{v.technician, v.agent} {
		w := v.raw(secret, http.MethodGet, photo, "", nil)
		want(w, 200, "")
		if !bytes.Equal(w.Body.Bytes(), b.Bytes()) || w.Header().Get("Content-Type") != "image/png" {
			t.Errorf("%s, %d bytes", w.Header().Get("Content-Type"), w.Body.Len())
		}
	}
	want(v.raw(v.otherAgent, http.MethodGet, photo, "", nil), 404, "photo_not_found")
}

func TestAVisitOfManyEntriesCanBeSignedOff(t *testing.T) {
	t.Parallel()
	v := newVan(t)
	visit := "/v1/visits/" + v.id().String()
	v.send(http.MethodPut, visit, v.attendance()).want(t, http.StatusCreated, "")
	var list []any
	for range 5000 { // the most that a sign-off may list: far more bytes than other bodies may have
		list = append(list, map[string]any{"entry_id": v.id().String(), "sha256": strings.Repeat("ab", 32)})
	}
	signOff := map[string]any{"signed_at": v.now, "left_at": v.now, "statement": "Looked at.", "signature": "M0 0L1 1", "entries": list}
	got := v.send(http.MethodPut, visit+"/sign-off", signOff).want(t, http.StatusConflict, "entries_missing")
	if len(got.text) > 10_000 {
		t.Errorf("an answer of %d bytes", len(got.text))
	}
	signOff["entries"] = append(list, list[0])
	v.send(http.MethodPut, visit+"/sign-off", signOff).want(t, http.StatusUnprocessableEntity, "body_invalid")
}

func TestTheRecordOfAGaugeIsTakenAndGivenBackAsItWas(t *testing.T) {
	t.Parallel()
	v := newVan(t)
	visit := "/v1/visits/" + v.id().String()
	csv := "Zeit [ms];Kraft [N]\r\n0;0\r\n10;82,5\r\n20;40\r\n"
	entry := visit + "/entries/" + v.id().String()
	sent := v.piece("force_course", map[string]any{"csv": csv, "leaf": 1, "gap_m": 0.2, "uncertainty_n": 2})
	made := v.send(http.MethodPut, entry, sent).want(t, http.StatusCreated, "")
	for _, want := range []string{`"readings":[{"leaf":1,"name":"peak_force_n","uncertainty":2,"value":82.5}]`, `"samples":3`, `"series_sha256":"` + seal.HashOf([]byte(csv)).String() + `"`} {
		if !strings.Contains(made.text, want) || strings.Contains(made.text, "Kraft") {
			t.Errorf("no %s in %s", want, made.text)
		}
	}
	if got := v.get(entry+"/force-series").want(t, http.StatusOK, ""); got.text != csv {
		t.Errorf("given back is %q", got.text)
	}
	wrong := v.send(http.MethodPut, visit+"/entries/"+v.id().String(), v.piece("force_course", map[string]any{"csv": csv + "30;hard\r\n"})).want(t, http.StatusUnprocessableEntity, "force_series_wrong")
	if got := wrong.pointers(); len(got) != 1 || got[0] != "#/force_course/csv" || !strings.Contains(wrong.text, "line 5: force: hard is no number") {
		t.Errorf("a word on line 5 is answered with %v %s", got, wrong.text)
	}
	long := v.send(http.MethodPut, visit+"/entries/"+v.id().String(), v.piece("force_course", map[string]any{"csv": strings.Repeat("1;2\t\n", 80_001)})).want(t, http.StatusUnprocessableEntity, "body_invalid")
	if got := long.pointers(); len(got) != 1 || got[0] != "#/force_course/csv" {
		t.Errorf("too long a series is answered with %v %s", got, long.text)
	}

	tried := []map[string]any{}
	for x := range 3 {
		for y := range 3 {
			tried = append(tried, map[string]any{"x_m": float64(x-1) / 2, "y_m": float64(y) / 2, "seen": y < 2})
		}
	}
	zone := v.send(http.MethodPut, visit+"/entries/"+v.id().String(), v.piece("positions", map[string]any{"zone": "activation", "side": "b", "body": "a box", "spacing_m": 0.5, "tried": tried})).want(t, http.StatusCreated, "")
	if want := `"readings":[{"name":"activation_zone_width_m","side":"b","uncertainty":0.5,"value":1.5},{"name":"activation_zone_depth_m","side":"b","uncertainty":0.25,"value":0.75}]`; !strings.Contains(zone.text, want) {
		t.Errorf("no %s in %s", want, zone.text)
	}
	form := v.get("/v1/doors/"+v.doorID+"/inspection-form?visit_id="+strings.TrimPrefix(visit, "/v1/visits/")).want(t, http.StatusOK, "")
	if !strings.Contains(form.text, `"value":0.75`) {
		t.Error("the form does not know the zone's depth")
	}
}

func TestFactsThatNobodyKnewAreAnsweredInAVisit(t *testing.T) {
	t.Parallel()
	v := newVan(t)
	visit := "/v1/visits/" + v.id().String()
	v.send(http.MethodPut, visit, v.attendance()).want(t, http.StatusCreated, "")
	path := visit + "/doors/" + v.doorID + "/facts"
	say := func(answers ...map[string]any) map[string]any {
		return map[string]any{"answers": append([]map[string]any{}, answers...)}
	}
	egress := map[string]any{"pointer": "/facts/egress", "word": "yes"}
	v.refused(t, v.technician, newRequest(http.MethodPut, path, say(egress, map[string]any{"pointer": "/facts/name", "word": "mine"})), http.StatusUnprocessableEntity, "fact_not_wanted", "fact_not_wanted #/answers/1")
	v.refused(t, v.technician, newRequest(http.MethodPut, path, say(map[string]any{"pointer": "/facts/egress", "word": "perhaps"})), http.StatusUnprocessableEntity, "choice_missing", "choice_missing #/answers/0")
	v.refused(t, v.technician, newRequest(http.MethodPut, path, say()), http.StatusUnprocessableEntity, "body_invalid", "list_too_short #/answers")
	for range 2 {
		if got := v.send(http.MethodPut, path, say(egress)).want(t, http.StatusOK, ""); !strings.Contains(got.text, `"egress":true`) {
			t.Error(got.text)
		}
	}
	v.send(http.MethodPut, path, say(map[string]any{"pointer": "/facts/egress", "word": "no"})).want(t, http.StatusUnprocessableEntity, "fact_not_wanted")
}
