package api_test

import (
	"net/http"
	"strings"
	"testing"
	"time"
)

func TestWhatIsUnusualIsListedInPartsAndExplainedOnce(t *testing.T) {
	t.Parallel()
	v := newVan(t)
	for range 2 { // visits that somebody adds to when they have left
		visit, entry := "/v1/visits/"+v.id().String(), v.id().String()
		v.send(http.MethodPut, visit, with(v.attendance(), "arrived_at", v.now.Add(-time.Hour))).want(t, http.StatusCreated, "")
		made := v.send(http.MethodPut, visit+"/entries/"+entry, v.piece("note", object{"text": "quiet"})).want(t, http.StatusCreated, "")
		v.send(http.MethodPut, visit+"/sign-off", object{"signed_at": v.now, "left_at": v.now.Add(-10 * time.Minute), "statement": "Looked at.", "signature": "M0 0L1 1",
			"entries": []object{{"entry_id": entry, "sha256": hashOfRecorded(t, made)}}}).want(t, http.StatusCreated, "")
	}
	first := v.get("/v1/oddities?limit=1&state=open&door_id="+v.doorID).want(t, http.StatusOK, "")
	second := v.get("/v1/oddities?limit=1&state=open&door_id="+v.doorID+"&after="+first.member("next")).want(t, http.StatusOK, "")
	for _, got := range []answer{first, second} {
		if !strings.Contains(got.text, `"says":"1 of 1 entries is from after the leaving, by 10 minutes."`) || !strings.Contains(got.text, `"took_s":600`) {
			t.Error(got.text)
		}
	}
	one, _ := first.members["oddities"].([]any)[0].(object)
	if strings.Contains(second.text, one["oddity_id"].(string)) {
		t.Error("the second part begins with the first")
	}
	if list := v.get("/v1/oddities?limit=10&oldest=true").want(t, http.StatusOK, "").members["oddities"].([]any); len(list) != 2 || list[1].(object)["oddity_id"] != one["oddity_id"] {
		t.Errorf("the oldest first: %v", list)
	}
	path := "/v1/oddities/" + one["oddity_id"].(string) + "/explain"
	for fault, body := range map[string]object{"text_too_short #/why": {"why": ""}, "text_missing #/why": {"why": "  "}, "text_too_long #/why": {"why": strings.Repeat("a", 2001)}, "member_missing #/why": {}, "member_unknown #/reason": {"why": "a", "reason": "b"}} {
		code := "body_invalid"
		if strings.HasPrefix(fault, "text_missing") {
			code = "text_missing"
		}
		v.refused(t, v.secret, newRequest(http.MethodPost, path, body), http.StatusUnprocessableEntity, code, fault)
	}
	for _, filter := range []string{"state=lost", "kind=strange", "door_id=7", "after=7"} {
		if got := v.get("/v1/oddities?" + filter); got.status != http.StatusUnprocessableEntity {
			t.Errorf("%s: %d %s", filter, got.status, got.text)
		}
	}
	for range 2 {
		v.ask(t, v.secret, http.MethodPost, path, object{"why": "Written in the van."}).want(t, http.StatusOK, "")
	}
	v.ask(t, v.secret, http.MethodPost, path, object{"why": "Something else."}).want(t, http.StatusConflict, "oddity_explained")
	v.ask(t, v.secret, http.MethodPost, "/v1/oddities/"+v.id().String()+"/explain", object{"why": "x"}).want(t, http.StatusNotFound, "oddity_not_found")
	if got := v.get("/v1/oddities?state=explained").want(t, http.StatusOK, ""); !strings.Contains(got.text, `"why":"Written in the van."`) || len(got.members["oddities"].([]any)) != 1 {
		t.Error(got.text)
	}
}
