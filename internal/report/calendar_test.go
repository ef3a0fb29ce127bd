package report_test

import (
	"bytes"
	"strings"
	"testing"
	"time"

	"github.com/emersion/go-ical"
	"pgregory.net/rapid"

	"lintel.example/lintel/internal/duedate"
	"lintel.example/lintel/internal/fleet"
	"lintel.example/lintel/internal/report"
)

// readCalendar reads with a library that shares no code with the one that writes.
func readCalendar(t rapid.TB, written []byte) (*ical.Calendar, []ical.Event) {
	t.Helper()
	c, err := ical.NewDecoder(bytes.NewReader(written)).Decode()
	if err != nil {
		t.Fatalf("%v in\n%s", err, written)
	}
	return c, c.Events()
}

func text(t rapid.TB, p ical.Props, name string) string {
	t.Helper()
	if p.Get(name) == nil {
		return ""
	}
	s, err := p.Text(name)
	if err != nil {
		t.Fatal(name, err)
	}
	return s
}

func TestACalendarSaysToAnotherReaderWhatItWasGiven(t *testing.T) {
	day, err := duedate.ParseDay("2028-02-29")
	if err != nil {
		t.Fatal(err)
	}
	changed := time.Date(2026, 3, 3, 9, 15, 4, 0, time.UTC)
	start := time.Date(2026, 3, 29, 0, 30, 0, 0, time.UTC)
	events := []fleet.CalendarEvent{
		{UID: "order-1@lintel", ChangedAt: changed, Summary: "Inspection due: 1000001-7, Main; north", Description: "Line one,\nline two; C:\\doors", Location: "Harbour, Quay 3", Day: day},
		{UID: "visit-2@lintel", ChangedAt: changed, Sequence: 4, Summary: strings.Repeat("Türautomatik 门 ", 20), Start: start, End: start.Add(90 * time.Minute), Busy: true, Cancelled: true},
	}
	written := report.Calendar("Doors of Kestrel, all", events)
	if !bytes.Equal(written, report.Calendar("Doors of Kestrel, all", events)) {
		t.Error("the same events gave other bytes")
	}
	c, read := readCalendar(t, written)
	if got := text(t, c.Props, "METHOD"); got != "PUBLISH" {
		t.Errorf("method %q", got)
	}
	if got := text(t, c.Props, "VERSION"); got != "2.0" {
		t.Errorf("version %q", got)
	}
	if got := text(t, c.Props, "NAME"); got != "Doors of Kestrel, all" {
		t.Errorf("name %q", got)
	}
	if len(read) != 2 {
		t.Fatalf("%d events", len(read))
	}
	for i, e := range read {
		if got := text(t, e.Props, "UID"); got != events[i].UID {
			t.Errorf("uid %q", got)
		}
		if got, want := text(t, e.Props, "SUMMARY"), strings.TrimSpace(events[i].Summary); got != want {
			t.Errorf("summary %q, want %q", got, want)
		}
		if stamp, err := e.Props.DateTime("DTSTAMP", time.UTC); err != nil || !stamp.Equal(changed) {
			t.Errorf("stamp %s, %v", stamp, err)
		}
	}
	if got := text(t, read[0].Props, "DESCRIPTION"); got != events[0].Description {
		t.Errorf("description %q", got)
	}
	if got := text(t, read[0].Props, "LOCATION"); got != events[0].Location {
		t.Errorf("location %q", got)
	}
	if p := read[0].Props.Get("DTSTART"); p.Value != "20280229" || p.ValueType() != ical.ValueDate {
		t.Errorf("begins %s as %s", p.Value, p.ValueType())
	}
	if p := read[0].Props.Get("DTEND"); p.Value != "20280301" { // RFC 5545, 3.6.1: the end is not of it
		t.Errorf("ends %s", p.Value)
	}
	from, err := read[1].DateTimeStart(time.UTC)
	if err != nil || !from.Equal(start) {
		t.Errorf("begins %s, %v", from, err)
	}
	until, err := read[1].DateTimeEnd(time.UTC)
	if err != nil || !until.Equal(start.Add(90*time.Minute)) {
		t.Errorf("ends %s, %v", until, err)
	}
	for i, want := range [][3]string{{"CONFIRMED", "TRANSPARENT", "0"}, {"CANCELLED", "OPAQUE", "4"}} {
		p := read[i].Props
		if got := [3]string{p.Get("STATUS").Value, p.Get("TRANSP").Value, p.Get("SEQUENCE").Value}; got != want {
			t.Errorf("event %d: %v, want %v", i, got, want)
		}
	}
}

// RFC 5545, 3.1: lines end in CR LF and have at most 75 octets; no text of ours adds a property.
func TestNoTextBreaksTheLinesOfACalendar(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		e := fleet.CalendarEvent{UID: "x@lintel", ChangedAt: time.Unix(rapid.Int64Range(0, 4e9).Draw(t, "changed"), 0).UTC(), Summary: "s" + rapid.String().Draw(t, "summary"),
			Description: rapid.String().Draw(t, "description"), Location: rapid.String().Draw(t, "location"), Start: time.Unix(1e9, 0), End: time.Unix(1e9+3600, 0)}
		written := report.Calendar(rapid.String().Draw(t, "name"), []fleet.CalendarEvent{e})
		for line := range strings.SplitSeq(strings.TrimSuffix(string(written), "\r\n"), "\r\n") {
			if len(line) > 75 || strings.ContainsAny(line, "\r\n") || line == "" {
				t.Fatalf("line %q", line)
			}
		}
		_, read := readCalendar(t, written)
		if len(read) != 1 {
			t.Fatalf("%d events", len(read))
		}
		for name := range read[0].Props {
			switch name {
			case "UID", "DTSTAMP", "LAST-MODIFIED", "SEQUENCE", "SUMMARY", "DESCRIPTION", "LOCATION", "DTSTART", "DTEND", "STATUS", "TRANSP":
			default:
				t.Fatalf("property %s came in", name)
			}
		}
		if got := text(t, read[0].Props, "SUMMARY"); !strings.HasPrefix(got, "s") {
			t.Fatalf("summary %q", got)
		}
	})
}
