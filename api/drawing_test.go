package api_test

import (
	"net/http"
	"strings"
	"testing"
)

func TestASideIsDrawnAsItIsAskedFor(t *testing.T) {
	t.Parallel()
	v := newVan(t)
	path := "/v1/doors/" + v.doorID + "/sides/a/drawing"
	for _, c := range []struct{ query, kind, begin, holds string }{
		{"", "image/svg+xml", "<svg ", "Scale 1:"},
		{"?units=us&scale=48", "image/svg+xml", "<svg ", "Scale 1/4 in = 1 ft (1:48)"},
		{"?units=metric&scale=50&view=elevation", "image/svg+xml", "<svg ", "seen from the side"},
		{"?format=png", "image/png", "\x89PNG\r\n", "Description"},
		{"?format=pdf&scale=50", "application/pdf", "%PDF-", ""},
	} {
		w := v.raw(v.secret, http.MethodGet, path+c.query, "", nil)
		if body := w.Body.String(); w.Code != http.StatusOK || w.Header().Get("Content-Type") != c.kind || !strings.HasPrefix(body, c.begin) || !strings.Contains(body, c.holds) {
			t.Errorf("%s: %d %s, %.200q", c.query, w.Code, w.Header().Get("Content-Type"), body)
		}
	}
}
