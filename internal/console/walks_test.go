package console_test

import (
	"net/url"
	"regexp"
	"testing"
)

func TestAWalkTestIsWorkedOutBeforehandEnteredAndTakenOver(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	visit := w.attend(t, w.now, w.site, w.door)
	entries := "/visits/" + visit.String() + "/entries"
	form := w.technician.get(t, entries+"/new?kind=walk_test&door="+w.door.DoorID.String()).want(t, 200, "how far to the right", "Work it out without entering it")
	values := url.Values{"entry_id": {form.hidden(t, "entry_id")}, "/door_id": {w.door.DoorID.String()}, "/kind": {"walk_test"}, "/observed_at": {form.hidden(t, "/observed_at")},
		"/walk_test/component_id": {w.sensor.String()}, "/walk_test/body_height_m": {"1.7 m"}, "/walk_test/marks": {"0.5 m; 2 m\r\nhere"}}
	w.technician.post(t, entries, values).want(t, 422, "Row 2: two lengths")
	values.Set("/walk_test/marks", "0.5 m; 2 m\r\n-0.5 m; 2 m; 170; 1")
	w.technician.post(t, entries, values).want(t, 422, "4 to 200 marks")
	lines := regexp.MustCompile(`(?s)<textarea[^>]*name="/walk_test/marks"[^>]*>(.*?)</textarea>`).FindStringSubmatch(
		w.technician.get(t, "/visits/"+w.visit.String()+"/entries/"+w.walked.String()+"/fit").want(t, 200, "Walk test", "Range on the boresight", "Contradicts the others", "does not rest on it").body)
	if lines != nil {
		t.Error("a form on the page of a fit")
	}
	values.Set("/walk_test/marks", "")
	values.Set("/walk_test/width_m", "3.3 m")
	values.Set("/walk_test/depth_m", "3.2 m")
	values.Set("do", "preview")
	w.technician.post(t, entries, values).want(t, 200, "What this would say", "Tilt: not determined", "clear width 5 ft 10")
	w.technician.get(t, "/visits/"+visit.String()).lacks(t, "what it says of the device")
	values.Del("do")
	w.technician.post(t, entries, values).leads(t, "/visits/"+visit.String()+"#d-"+w.door.DoorID.String())
	w.technician.get(t, "/visits/"+visit.String()).want(t, 200, "what it says of the device", "taped width and depth")
	fit := "/visits/" + w.visit.String() + "/entries/" + w.walked.String() + "/fit"
	w.technician.post(t, fit, url.Values{}).leads(t, fit)
	w.technician.get(t, fit).want(t, 200, "rests on the walk test of").lacks(t, "Take it over")
}
