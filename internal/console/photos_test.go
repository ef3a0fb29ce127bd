package console_test

import (
	"bytes"
	"mime/multipart"
	"net/http"
	"net/http/httptest"
	"net/url"
	"testing"

	"lintel.example/lintel/internal/fleet"
	"lintel.example/lintel/internal/seal"
)

// upload sends a form with a file as a browser does.
func (s *somebody) upload(t testing.TB, path string, values url.Values, name string, data []byte) shown {
	t.Helper()
	return s.uploadIn(t, path, values, "file", name, data)
}

// uploadIn does it in a field.
func (s *somebody) uploadIn(t testing.TB, path string, values url.Values, field, name string, data []byte) shown {
	t.Helper()
	var body bytes.Buffer
	form := multipart.NewWriter(&body)
	for name, list := range values {
		for _, v := range list {
			if err := form.WriteField(name, v); err != nil {
				t.Fatal(err)
			}
		}
	}
	part, err := form.CreateFormFile(field, name)
	if err != nil {
		t.Fatal(err)
	}
	if _, err := part.Write(data); err != nil {
		t.Fatal(err)
	}
	if err := form.Close(); err != nil {
		t.Fatal(err)
	}
	r := httptest.NewRequestWithContext(t.Context(), http.MethodPost, path, &body)
	r.Header.Set("Sec-Fetch-Site", "same-origin")
	r.Header.Set("Content-Type", form.FormDataContentType())
	for _, c := range s.cookies {
		r.AddCookie(c)
	}
	w := httptest.NewRecorder()
	s.handler.ServeHTTP(w, r)
	return shown{w.Code, w.Header(), w.Body.String(), path}
}

func TestAPhotoIsEnteredWithWhatItShowsAndSeenByWhoeverMay(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	visit := "/visits/" + w.open.String()
	add := visit + "/photos"
	form := w.technician.get(t, add+"/new?door="+w.unsafe.DoorID.String()).want(t, 200, "Add a photo", "Ambulance bay").filled()
	data := drawnPNG(t, 0x33)
	w.technician.upload(t, add, form, "leaf.png", data).want(t, 422, "Say what the photo shows.")
	with(form, "/photo/what", "The leaf, bent.")
	w.technician.upload(t, add, form, "leaf.png", nil).want(t, 422, "Choose a photo.").want(t, 422, "The leaf, bent.")
	w.technician.upload(t, add, form, "leaf.svg", []byte("<svg/>")).want(t, 422)
	w.technician.upload(t, add, form, "leaf.png", make([]byte, fleet.MostPhotoBytes+1<<20)).want(t, 413)
	for range 2 { // sent twice, entered once
		w.technician.upload(t, add, form, "leaf.png", data).leads(t, visit+"#d-"+w.unsafe.DoorID.String())
	}
	path := "/photos/" + seal.HashOf(data).String()
	page := w.technician.get(t, visit).want(t, 200, "The leaf, bent.")
	if n := bytes.Count([]byte(page.body), []byte(`<img src="`+path+`" alt="The leaf, bent."`)); n != 1 {
		t.Errorf("the photo is shown %d times", n)
	}
	for _, who := range []*somebody{w.technician, w.dispatcher, w.agent, w.auditor} {
		if got := who.get(t, path); got.status != 200 || got.body != string(data) || got.header.Get("Content-Type") != "image/png" {
			t.Errorf("%s got %d, %d bytes of %s", who.email, got.status, len(got.body), got.header.Get("Content-Type"))
		}
	}
	w.agent.get(t, "/photos/"+w.photoAway.String()).want(t, 404)
	w.technician.get(t, "/photos/none").want(t, 404)
}

// The due day of an order of a plan follows from the plan: what looks like a field would promise that it can be changed.
func TestADueDayThatFollowsFromAPlanIsTextAndStays(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	path := "/work-orders/" + w.orderPlan
	page := w.dispatcher.get(t, path).want(t, 200, "Due 15 January 2026", "follows from the plan or the findings").lacks(t, `name="/due_on"`)
	form := page.filled()
	w.dispatcher.post(t, path, with(url.Values{"version": {form.Get("version")}}, "/priority", "urgent", "/billing_basis", "contract", "/note", "Ring first.")).leads(t, path)
	w.dispatcher.get(t, path).want(t, 200, "Due 15 January 2026", "Ring first.", "urgent")
}
