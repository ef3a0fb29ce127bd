package report

import (
	"strings"
	"testing"

	"lintel.example/lintel/internal/fleet"
)

func TestATagIsOnePageThatSaysWhatHoldsAtTheDoor(t *testing.T) {
	head := fullReport().ReportHead
	full := fleet.OutOfServiceTag{ReportHead: head, Tag: "1000 0018", Door: "North entrance, outer", Site: "Market Hall North", What: "Leaves close faster than allowed and strike whoever stands between them.",
		Since: "2026-11-24 23:31", How: "locked", OtherExit: "the swing door to the left, ten steps"}
	bare := fleet.OutOfServiceTag{ReportHead: head, Tag: "1000 0018", Door: "North entrance", Site: "Market Hall North", What: strings.Repeat("The beam is dead. ", 20), Since: "2026-11-24 23:31"}
	bare.Company.Phone = ""
	for name, doc := range map[string]fleet.OutOfServiceTag{"full": full, "bare": bare} {
		o := Options{Texts: words(t), Units: Metric, Paper: A4}
		l, _, err := layoutOf(doc, o)
		if err != nil {
			t.Fatal(err)
		}
		pdf, err := pdfOf(l)
		if err != nil {
			t.Fatal(err)
		}
		wantStrict(t, name, pdf)
		pages := pagesOf(t, l)
		if len(pages) != 1 {
			t.Errorf("%s: %d pages", name, len(pages))
		}
		golden(t, "tag-"+name+".txt", []byte(pages[0]))
		golden(t, "tag-"+name+".pdf", pdf)
	}
}
