package report

import (
	"strings"
	"time"
	"unicode"

	ics "github.com/arran4/golang-ical"

	"lintel.example/lintel/internal/fleet"
)

// calendarProgram names the maker of a calendar, as RFC 5545, 3.7.3 asks for.
const calendarProgram = "-//Lintel//Lintel//EN"

// Calendar writes events as an iCalendar object (RFC 5545, METHOD:PUBLISH), UTF-8, lines ended by CR LF: the same events give
// the same bytes. A name is shown by programs that people subscribe with; "": none. Days are all-day events without a zone,
// instants are in UTC.
func Calendar(name string, events []fleet.CalendarEvent) []byte {
	c := ics.NewCalendarFor("Lintel")
	c.SetProductId(calendarProgram)
	c.SetVersion("2.0")
	c.SetCalscale("GREGORIAN")
	c.SetMethod(ics.MethodPublish)
	if name = calendarLine(name); name != "" {
		c.SetName(name)       // RFC 7986
		c.SetXWRCalName(name) // what many programs read instead
	}
	for _, e := range events {
		event := c.AddEvent(calendarLine(e.UID))
		event.SetDtStampTime(e.ChangedAt)
		event.SetModifiedAt(e.ChangedAt)
		event.SetSequence(e.Sequence)
		event.SetSummary(calendarLine(e.Summary))
		if text := calendarText(e.Description); text != "" {
			event.SetDescription(text)
		}
		if place := calendarLine(e.Location); place != "" {
			event.SetLocation(place)
		}
		if e.Day.IsZero() {
			event.SetStartAt(e.Start)
			event.SetEndAt(e.End)
		} else { // the end is the first day that is not of it
			event.SetAllDayStartAt(dayAsTime(e.Day.Date()))
			event.SetAllDayEndAt(dayAsTime(e.Day.AddDays(1).Date()))
		}
		event.SetStatus(ics.ObjectStatusConfirmed)
		if e.Cancelled {
			event.SetStatus(ics.ObjectStatusCancelled)
		}
		event.SetTimeTransparency(ics.TransparencyTransparent)
		if e.Busy {
			event.SetTimeTransparency(ics.TransparencyOpaque)
		}
	}
	return []byte(c.Serialize(ics.WithNewLineWindows))
}

func dayAsTime(year int, month time.Month, day int) time.Time {
	return time.Date(year, month, day, 0, 0, 0, 0, time.UTC)
}

// calendarText keeps what the format can carry: of the control characters only the line feed.
func calendarText(text string) string {
	text = strings.ReplaceAll(strings.ToValidUTF8(text, "?"), "\r\n", "\n")
	return strings.TrimSpace(strings.Map(func(r rune) rune {
		if r != '\n' && unicode.IsControl(r) {
			return ' '
		}
		return r
	}, text))
}

func calendarLine(text string) string { return strings.Join(strings.Fields(calendarText(text)), " ") }
