package report

import (
	"strings"
	"testing"

	"lintel.example/lintel/internal/fleet"
)

func TestATagIsOnePageThatSaysWhatHoldsAtTheDoor(t *testing.T) {
	head := fullReport().ReportHead
	full := fleet.OutOfServiceTag{ReportHead: head, Tag: "1000 0018", Door: "North entrance, outer", Site: "Market Hall North", Address: "200 Market Street, Millbrook", What: "Leaves close faster than allowed and strike whoever stands between them.",
		Since: "2026-11-24 23:31 PST", How: "locked", OtherExit: "the swing door to the left, ten steps"}
	bare := fleet.OutOfServiceTag{ReportHead: head, Tag: "1000 0018", Door: "North entrance", Site: "Market Hall North", Address: "200 Market Street, Millbrook", What: strings.Repeat("The beam is dead. ", 20), Since: "2026-11-24 23:31 PST"}
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

// A finding may have 2,000 characters, the longest that the register takes, and everything else is long too.
func TestATagWithTheLongestTextsStaysOneSheetAndSaysWhereTheRestIs(t *testing.T) {
	head := fullReport().ReportHead
	head.Company.Phone = ""
	for _, paper := range []Paper{A4, Letter} {
		for _, letter := range []string{"The beam is dead. ", "W"} {
			long := func(n int) string { return strings.Repeat(letter, n/len(letter)) }
			doc := fleet.OutOfServiceTag{ReportHead: head, Tag: "1000 0018", Door: strings.Repeat("Entrance ", 11), Site: strings.Repeat("Market ", 14), Address: strings.Repeat("Street ", 14), What: long(2000), Since: "2026-11-24 23:31 PST", OtherExit: long(200)}
			l, _, err := layoutOf(doc, Options{Texts: words(t), Units: Metric, Paper: paper})
			if err != nil {
				t.Fatal(err)
			}
			pages := pagesOf(t, l)
			if len(pages) != 1 {
				t.Errorf("%s, %q: %d pages", paper, letter, len(pages))
			}
			for _, want := range []string{"NOT YET SECURED", "The rest is in the report", "prevail over anything printed"} {
				if all := strings.Join(pages, ""); want != "The rest is in the report" && !strings.Contains(all, want) || letter == "W" && !strings.Contains(all, want) {
					t.Errorf("%s, %q: it lacks %q", paper, letter, want)
				}
			}
		}
	}
}
