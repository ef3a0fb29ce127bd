package console_test

import (
	"net/url"
	"regexp"
	"strings"
	"testing"
	"time"
)

func TestTheRecordOfAGaugeIsUploadedShownAndCorrected(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	visit := w.attend(t, w.now, w.site, w.door)
	path, entries := "/visits/"+visit.String()+"/doors/"+w.door.DoorID.String()+"/inspect", "/visits/"+visit.String()+"/entries"
	form := w.technician.get(t, entries+"/new?kind=force_course&door="+w.door.DoorID.String()+"&then=inspect").want(t, 200, "File of the gauge")
	values := url.Values{"entry_id": {form.hidden(t, "entry_id")}, "/door_id": {w.door.DoorID.String()}, "/kind": {"force_course"}, "then": {"inspect"}, "/observed_at": {form.hidden(t, "/observed_at")},
		"/force_course/gap_m": {"wide"}, "/force_course/leaf": {"1"}, "/force_course/uncertainty_n": {"2 N"}}
	record := gauged("gauge").ForceCourse.CSV
	send := func(csv string) shown {
		return w.technician.uploadIn(t, entries, values, "/force_course/csv", "gauge.csv", []byte(csv))
	}
	send(record).want(t, 422)
	values.Set("/force_course/gap_m", "200 mm")
	w.technician.post(t, entries, values).want(t, 422, "Choose the file that the gauge wrote.")
	send(record+"1600;x\n").want(t, 422, "line 1603: force: x is no number")
	send(record+strings.Repeat("1600;1\n", 60_000)).want(t, 422, "is longer than 400000 bytes")
	send(record).leads(t, path+"#s-closing")

	page := w.technician.get(t, "/visits/"+visit.String()).want(t, 200, "Greatest force of a contact", "67.4 lbf", "20.2 lbf", "worked out of 1,600 samples", "the curve")
	link := regexp.MustCompile(`/visits/[0-9a-f-]+/entries/([0-9a-f-]+)/force`).FindStringSubmatch(page.body)
	w.agent.get(t, link[0]).want(t, 200, "Force over time", "± 2 N", "0.200 m", "recorded force; 0 s is the contact", "0.75 s").lacks(t, "Gauge")
	if got := w.agent.get(t, link[0]+"/series").want(t, 200); got.body != record {
		t.Errorf("given back are %d bytes, not %d", len(got.body), len(record))
	}

	w.now = w.now.Add(time.Minute)
	again := w.technician.get(t, entries+"/new?door="+w.door.DoorID.String()+"&kind=force_course&corrects="+link[1]).want(t, 200, "This corrects an entry", "the series stays as it was recorded").holds(t, "/force_course/gap_m", "7 7/8 in")
	values.Set("entry_id", again.hidden(t, "entry_id"))
	values.Set("/observed_at", again.hidden(t, "/observed_at"))
	values.Set("/corrects", link[1])
	values.Set("/because", "it was the other leaf")
	values.Set("/force_course/leaf", "2")
	w.technician.post(t, entries, values).leads(t, path+"#s-closing")
	w.technician.get(t, "/visits/"+visit.String()).want(t, 200, "leaf 2", "corrected", "it was the other leaf")
}

func TestTriedPositionsAreEnteredAsAPictureAndCorrected(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	visit := w.attend(t, w.now, w.site, w.door)
	path, entries := "/visits/"+visit.String()+"/doors/"+w.door.DoorID.String()+"/inspect", "/visits/"+visit.String()+"/entries"
	link := "/visits/" + visit.String() + "/" + regexp.MustCompile(`entries/new[^"]+kind=positions`).FindString(w.technician.get(t, path).want(t, 200, "Work it out of the positions of a test body").body)
	form := w.technician.get(t, strings.ReplaceAll(link, "&amp;", "&")).want(t, 200, "The positions")
	values := url.Values{"entry_id": {form.hidden(t, "entry_id")}, "/door_id": {w.door.DoorID.String()}, "/kind": {"positions"}, "then": {"inspect"}, "/observed_at": {form.hidden(t, "/observed_at")},
		"/positions/zone": {"activation"}, "/positions/side": {"a"}, "/positions/body": {"an adult who walks"}, "first_m": {"0.2 m"}, "/positions/tried": {"xxx\r\nxx"}}
	w.technician.post(t, entries, values).want(t, 422, "One thing is not right yet")
	values.Set("/positions/spacing_m", "0.5 m")
	w.technician.post(t, entries, values).want(t, 422, "Row 2 has 2 signs, the first has 3.")
	values.Set("/positions/tried", "xxx\r\nx?x")
	w.technician.post(t, entries, values).want(t, 422, "Row 2: ? is no sign.")
	values.Set("/positions/tried", "xxx")
	w.technician.post(t, entries, values).want(t, 422, "try at least two columns and two rows")
	values.Set("/positions/tried", "x x x\r\nX X X\r\nx x x\r\n. o .")
	w.technician.post(t, entries, values).leads(t, path+"#s-approach-a")
	// three columns and three rows at 0.5 m: 1 m and half a spacing beyond on both sides; half a spacing beyond the last row
	page := w.technician.get(t, "/visits/"+visit.String()).want(t, 200, "4 ft 11 1/16 in", "4 ft 1 3/16 in", "worked out of 10 positions")
	corrects := regexp.MustCompile(`kind=positions&amp;corrects=([0-9a-f-]+)`).FindStringSubmatch(page.body)
	w.now = w.now.Add(time.Minute)
	w.technician.get(t, entries+"/new?door="+w.door.DoorID.String()+"&kind=positions&corrects="+corrects[1]).want(t, 200, "This corrects an entry", "xxx xxx xxx .o.").holds(t, "/positions/body", "an adult who walks")
}
