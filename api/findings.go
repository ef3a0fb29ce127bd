package api

import (
	"context"
	"net/http"
	"time"

	"github.com/google/uuid"

	"lintel.example/lintel/internal/duedate"
	"lintel.example/lintel/internal/fleet"
	"lintel.example/lintel/internal/identity"
)

type findingItem struct {
	FindingID  uuid.UUID  `json:"finding_id" format:"uuid"`
	DoorID     uuid.UUID  `json:"door_id" format:"uuid"`
	SiteID     uuid.UUID  `json:"site_id" format:"uuid"`
	CustomerID uuid.UUID  `json:"customer_id" format:"uuid"`
	Origin     string     `json:"origin" enum:"computed,visit" doc:"Computed: not verified on site, internal."`
	Severity   string     `json:"severity" enum:"unsafe,deficient,advisory"`
	Cause      string     `json:"cause,omitempty"`
	What       string     `json:"what"`
	State      string     `json:"state" enum:"open,mended,cleared,withdrawn,dismissed"`
	OpenedAt   time.Time  `json:"opened_at"`
	ClosedAt   *time.Time `json:"closed_at,omitempty"`
	VisitID    *uuid.UUID `json:"visit_id,omitempty" format:"uuid"`
	// What became of it.
	SafeUntil *duedate.Day `json:"safe_until,omitempty" format:"date" doc:"The last day on which the door may stand so."`
	Decided   *decidedItem `json:"decided,omitempty" doc:"The last decision on it. It closes nothing."`
	Presses   string       `json:"presses,omitempty" enum:"danger,deferral_over" doc:"What a day that has passed at the site has made of it: a danger, to be treated as unsafe until a person at the door says what it is; or no longer put off."`
	Times     int          `json:"times" doc:"How often it was found within five years, always mended between: 1 for the first time."`
	FirstAt   *time.Time   `json:"first_at,omitempty" doc:"When it was found first, if more than once."`
	RecursOf  *uuid.UUID   `json:"recurs_of,omitempty" format:"uuid" doc:"The one before."`
}

func (a *API) newFindingItem(by identity.Actor, f fleet.Finding) findingItem {
	item := findingItem{FindingID: f.FindingID, DoorID: f.DoorID, SiteID: f.SiteID, CustomerID: f.CustomerID, Origin: f.Origin, Severity: f.Severity,
		Cause: f.Cause, What: f.What, State: f.State, OpenedAt: f.OpenedAt, ClosedAt: f.ClosedAt, VisitID: f.VisitID,
		Decided: newDecidedItem(f.Decided), Presses: f.PressesAt(a.Now()), Times: f.Times, FirstAt: f.FirstAt, RecursOf: f.RecursOf}
	if !f.SafeUntil.IsZero() {
		item.SafeUntil = &f.SafeUntil
	}
	if f.Origin == "computed" {
		item.What = a.computedText(by, f.Cause)
	}
	return item
}

type findingListIn struct {
	PageIn
	DoorID   string `query:"door_id" format:"uuid"`
	SiteID   string `query:"site_id" format:"uuid"`
	State    string `query:"state" enum:"open,mended,cleared,withdrawn,dismissed"`
	Severity string `query:"severity" enum:"unsafe,deficient,advisory"`
	Origin   string `query:"origin" enum:"computed,visit"`
}

type FindingPath struct {
	FindingID uuid.UUID `path:"finding_id" format:"uuid"`
}

type findingOut struct {
	Body findingItem
}

type findingListOut struct {
	Body struct {
		Findings []findingItem `json:"findings"`
		PageOut
	}
}

func (a *API) findings() {
	add(a, operation("finding-get", http.MethodGet, "/v1/findings/{finding_id}", identity.ActReadWork, "One finding, and what became of it"), a.findingGet)
	add(a, operation("finding-list", http.MethodGet, "/v1/findings", identity.ActReadWork, "Findings, the oldest first"), a.findingList)
}

func (a *API) findingGet(ctx context.Context, by identity.Actor, in *FindingPath) (*findingOut, error) {
	f, err := a.Fleet.FindingByID(ctx, by, in.FindingID)
	return &findingOut{Body: a.newFindingItem(by, f)}, err
}

func (a *API) findingList(ctx context.Context, by identity.Actor, in *findingListIn) (*findingListOut, error) {
	var key instantKey
	if err := readCursor(in.After, &key); err != nil {
		return nil, err
	}
	list, err := a.Fleet.Findings(ctx, by, fleet.FindingQuery{DoorID: optionalID(in.DoorID), SiteID: optionalID(in.SiteID), State: in.State, Severity: in.Severity, Origin: in.Origin,
		AfterAt: key.At, AfterID: key.ID, Limit: in.Limit})
	if err != nil {
		return nil, err
	}
	out := &findingListOut{}
	out.Body.Findings = make([]findingItem, len(list))
	for i, f := range list {
		out.Body.Findings[i] = a.newFindingItem(by, f)
	}
	if len(list) == in.Limit {
		last := list[len(list)-1]
		out.Body.Next = cursor(instantKey{last.OpenedAt, last.FindingID})
	}
	return out, nil
}

// computedText writes the text of a computed finding from its cause, `code:argument:argument`.
func (a *API) computedText(by identity.Actor, cause string) string {
	return fleet.TellCause(a.printer(by), cause)
}
