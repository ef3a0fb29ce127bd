package api

import "testing"

func TestTheBestLikedFormOfAReportIsChosen(t *testing.T) {
	offers := []string{"application/json", "application/pdf", "text/html", "text/csv"}
	for accept, want := range map[string]string{
		"": "application/json", "*/*": "application/json", "image/png": "application/json", "text/csv": "text/csv", "TEXT/CSV": "text/csv",
		"text/html,application/xhtml+xml,application/xml;q=0.9,*/*;q=0.8": "text/html", "text/*": "text/html", "text/html;q=0.2, application/pdf": "application/pdf",
		"application/pdf;q=0, */*": "application/json", "*/*, application/json;q=0, application/pdf;q=0": "text/html", "text/csv;q=nonsense": "application/json",
	} {
		if got := offers[preferred(accept, offers)]; got != want {
			t.Errorf("%q: %s, want %s", accept, got, want)
		}
	}
}
