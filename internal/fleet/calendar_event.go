package fleet

import (
	"time"

	"lintel.example/lintel/internal/duedate"
)

// CalendarEvent is something with a day or an hour, as the calendars of other programs know it (RFC 5545).
type CalendarEvent struct {
	UID         string    // the same for the same thing for ever; unique in the world
	ChangedAt   time.Time // when what is said here came to be so
	Sequence    int       // counts what was changed about it, from 0
	Summary     string    // one line
	Description string
	Location    string
	// Day is all of a civil day where it takes place; zero: it takes place between two instants.
	Day        duedate.Day
	Start, End time.Time
	Busy       bool // whoever goes there has no time for something else
	Cancelled  bool
}
