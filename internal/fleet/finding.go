package fleet

import (
	"context"
	"time"

	"github.com/google/uuid"

	"lintel.example/lintel/internal/duedate"
	"lintel.example/lintel/internal/identity"
)

// Finding is what falls short. A computed one is advisory and internal until a person confirms it at the door.
type Finding struct {
	CustomerID, SiteID, DoorID, FindingID uuid.UUID
	Origin                                string // computed, visit
	Severity                              string // unsafe, deficient, advisory
	Cause                                 string // computed: code:argument:…, its text is the message finding.<code>; visit: the rule or ""
	What                                  string // visit: the inspector's words
	State                                 string // open, mended, cleared (the computation no longer makes it), withdrawn (corrected), dismissed (for a reason)
	OpenedAt                              time.Time
	ClosedAt                              *time.Time
	VisitID, EntryID, ClosedByEntry       *uuid.UUID
	RecordedAt                            time.Time
	TimeZone                              string      // of the site
	SafeUntil                             duedate.Day // the last day on which the door may stand so
	Decided                               *Decided    // the last decision on it
	Times                                 int         // how often it has been found within some years
	FirstAt                               *time.Time  // since when, if more than once
	RecursOf                              *uuid.UUID  // the one before
}

// ComputedFinding is a new finding from computation alone.
type ComputedFinding struct {
	FindingID  uuid.UUID `json:"finding_id"`
	Cause      string    `json:"cause"`
	OpenedAt   time.Time `json:"opened_at"`
	RecordedAt time.Time `json:"recorded_at"`
}

// FindingQuery asks for findings, the oldest first.
type FindingQuery struct {
	DoorID, SiteID          uuid.UUID // zero for all
	State, Severity, Origin string    // "" for all
	AfterAt                 time.Time
	AfterID                 uuid.UUID
	Limit                   int
}

type findingRows interface {
	FindingPage(ctx context.Context, q FindingQuery) ([]Finding, error)
	FindingByID(ctx context.Context, id uuid.UUID) (Finding, error)
	InsertComputedFindings(ctx context.Context, doorID uuid.UUID, list []ComputedFinding) error
	ClearComputedFindings(ctx context.Context, ids []uuid.UUID, at time.Time) error
}

// Findings lists findings. Persons who are not staff see no computed ones: the database itself hides them.
func (f *Fleet) Findings(ctx context.Context, by identity.Actor, q FindingQuery) (list []Finding, err error) {
	err = f.Store.InTxReadOnly(ctx, by, func(ctx context.Context, tx Tx) error {
		list, err = tx.FindingPage(ctx, q)
		return err
	})
	return list, err
}

// settleComputed opens the findings that the computation makes now and clears those that it no longer makes.
func (f *Fleet) settleComputed(ctx context.Context, tx Tx, doorID uuid.UUID, causes []string) error {
	stand, err := tx.OpenComputedFindings(ctx, []uuid.UUID{doorID})
	if err != nil {
		return err
	}
	now := f.Now()
	gone, fresh := f.standing(stand[doorID], causes, now)
	if len(gone) > 0 {
		if err := tx.ClearComputedFindings(ctx, gone, now); err != nil {
			return err
		}
	}
	if len(fresh) > 0 {
		return tx.InsertComputedFindings(ctx, doorID, fresh)
	}
	return nil
}

// standing tells which of the computed findings that stand the computation no longer makes, and which are new.
func (f *Fleet) standing(stand []ComputedFinding, causes []string, now time.Time) (gone []uuid.UUID, fresh []ComputedFinding) {
	made := map[string]bool{}
	for _, c := range causes {
		made[c] = true
	}
	for _, s := range stand {
		if !made[s.Cause] {
			gone = append(gone, s.FindingID)
		}
		delete(made, s.Cause)
	}
	for _, c := range causes {
		if made[c] {
			fresh = append(fresh, ComputedFinding{FindingID: f.NewID(), Cause: c, OpenedAt: now, RecordedAt: now})
			delete(made, c)
		}
	}
	return gone, fresh
}
