package fleet

import (
	"context"
	"time"

	"github.com/google/uuid"

	"lintel.example/lintel/internal/duedate"
	"lintel.example/lintel/internal/identity"
)

// PassedDay is an open finding of which a day has passed at its site and nobody in the office was told.
type PassedDay struct {
	CustomerID, SiteID, DoorID, FindingID uuid.UUID
	What                                  string // danger: until it the door was safe; deferral_over: until it the finding was put off
	Day                                   duedate.Day
}

type pressingRows interface {
	PassedDays(ctx context.Context, now time.Time, limit int) ([]PassedDay, error)
}

// Presses says what a day has made of an open finding: danger, its safe day has passed; deferral_over, the day until which
// it was put off has passed; "" neither. The program takes no door out of service for that: a person at the door does, by
// an unsafe finding.
func (f Finding) Presses(today duedate.Day) string {
	switch {
	case f.State != "open":
		return ""
	case !f.SafeUntil.IsZero() && today.After(f.SafeUntil):
		return "danger"
	case f.Decided != nil && f.Decided.Decision == "deferred" && today.After(f.Decided.Until):
		return "deferral_over"
	}
	return ""
}

// PressesAt is Presses on the day that an instant has at the site.
func (f Finding) PressesAt(at time.Time) string {
	return f.Presses(duedate.DayIn(at, zoneOr(f.TimeZone, time.UTC)))
}

// TellOfPassedDays tells the dispatchers of open findings whose safe day has passed, and of those whose deferral has, once
// each. It looks at each site's own day, so it is asked every minute and not once a night.
func (f *Fleet) TellOfPassedDays(ctx context.Context) (queued int64, err error) {
	err = f.Store.InTx(ctx, identity.Program(), func(ctx context.Context, tx Tx) error {
		queued = 0
		list, err := tx.PassedDays(ctx, f.Now(), noticePage)
		if err != nil || len(list) == 0 {
			return err
		}
		r, err := f.newRound(ctx, tx, duedate.DayIn(f.Now(), time.UTC), []uuid.UUID{})
		if err != nil {
			return err
		}
		var reasons []string
		for _, p := range list {
			reasons = append(reasons, "finding:"+p.FindingID.String())
		}
		if err := r.read(ctx, nil, reasons); err != nil {
			return err
		}
		for i, p := range list {
			r.alarmOffice(Notice{CustomerID: p.CustomerID, SiteID: p.SiteID, DoorID: &p.DoorID, Reason: reasons[i], DueOn: p.Day}, p.What, Why{AsOf: r.asOf}, uuid.Nil)
		}
		queued, err = r.write(ctx)
		return err
	})
	return queued, err
}
