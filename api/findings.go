package api

import (
	"context"
	"net/http"
	"strings"
	"time"

	"github.com/google/uuid"

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
	State      string     `json:"state" enum:"open,mended,cleared,withdrawn"`
	OpenedAt   time.Time  `json:"opened_at"`
	ClosedAt   *time.Time `json:"closed_at,omitempty"`
	VisitID    *uuid.UUID `json:"visit_id,omitempty" format:"uuid"`
}

type findingListIn struct {
	PageIn
	DoorID   string `query:"door_id" format:"uuid"`
	State    string `query:"state" enum:"open,mended,cleared,withdrawn"`
	Severity string `query:"severity" enum:"unsafe,deficient,advisory"`
	Origin   string `query:"origin" enum:"computed,visit"`
}

type findingListOut struct {
	Body struct {
		Findings []findingItem `json:"findings"`
		PageOut
	}
}

func (a *API) findings() {
	add(a, operation("finding-list", http.MethodGet, "/v1/findings", identity.ActReadWork, "Findings, the oldest first"), a.findingList)
}

func (a *API) findingList(ctx context.Context, by identity.Actor, in *findingListIn) (*findingListOut, error) {
	var key instantKey
	if err := readCursor(in.After, &key); err != nil {
		return nil, err
	}
	list, err := a.Fleet.Findings(ctx, by, fleet.FindingQuery{DoorID: optionalID(in.DoorID), State: in.State, Severity: in.Severity, Origin: in.Origin,
		AfterAt: key.At, AfterID: key.ID, Limit: in.Limit})
	if err != nil {
		return nil, err
	}
	out := &findingListOut{}
	out.Body.Findings = make([]findingItem, len(list))
	for i, f := range list {
		item := findingItem{FindingID: f.FindingID, DoorID: f.DoorID, SiteID: f.SiteID, CustomerID: f.CustomerID, Origin: f.Origin, Severity: f.Severity,
			Cause: f.Cause, What: f.What, State: f.State, OpenedAt: f.OpenedAt, ClosedAt: f.ClosedAt, VisitID: f.VisitID}
		if f.Origin == "computed" {
			item.What = a.computedText(by, f.Cause)
		}
		out.Body.Findings[i] = item
	}
	if len(list) == in.Limit {
		last := list[len(list)-1]
		out.Body.Next = cursor(instantKey{last.OpenedAt, last.FindingID})
	}
	return out, nil
}

// computedText writes the text of a computed finding from its cause, `code:argument:argument`.
func (a *API) computedText(by identity.Actor, cause string) string {
	parts := strings.Split(cause, ":")
	args := []any{}
	for i, name := range []string{"side", "what"} {
		if i+1 < len(parts) {
			args = append(args, name, parts[i+1])
		}
	}
	return a.text(by, "finding."+parts[0], args...)
}
