package console_test

import (
	"strings"
	"testing"
)

func TestTheOfficeIsToldWhatIsUnusualAndKeepsWhatItFoundOut(t *testing.T) {
	w := newWorld(t)
	b := browse(t, w.desk)
	b.size(1280, "light")
	b.signIn(w.dispatcher)
	b.says("One unusual entry is still to be asked about")
	b.open("/visits/" + w.visit.String())
	b.says("Unusual about this visit", "1 of 6 entries is from after the leaving, by 7 minutes.")
	b.open("/oddities/" + w.oddity.String())
	b.says("After the leaving", "Ask where it was entered.", "Main entrance", "Cato Wren")
	b.fill("/why", "Waited for the floor to dry, then drove off.")
	b.press("Keep the explanation")
	b.says("explained", "Explained by Bo Tanager", "Waited for the floor to dry, then drove off.")
	b.open("/oddities")
	b.says("Nothing is like that.")
	b.open("/oddities?state=&sort=oldest")
	b.says("After the leaving", "explained")
}

func TestThoseWhoseEntriesAreAskedAboutSeeNothingOfIt(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	for _, who := range []*somebody{w.technician, w.agent} {
		for _, path := range []string{"/", "/visits/" + w.visit.String()} {
			if got := w.ask(t, who, "GET", path); got.status != 200 || strings.Contains(strings.ToLower(got.body), "unusual") || strings.Contains(got.body, "/oddities") {
				t.Errorf("%s: %d, and it tells of unusual entries", path, got.status)
			}
		}
	}
}
