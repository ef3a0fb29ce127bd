package api

import (
	"context"
	"net/http"

	"github.com/google/uuid"

	"lintel.example/lintel/internal/fleet"
	"lintel.example/lintel/internal/identity"
)

type oddityItem struct {
	Kind string `json:"kind" enum:"same_readings,short_visit,outside_the_visit,received_late" doc:"same_readings: at ten doors or more every number is, to the last digit, the one that the visit before read there. short_visit: less than ten seconds for each of twenty readings or more. outside_the_visit: observed more than five minutes before the arrival or after the leaving. received_late: more than seven days after it was observed."`
	// DoorIDs and EntryIDs are what the question is about.
	DoorIDs  []uuid.UUID `json:"door_ids"`
	EntryIDs []uuid.UUID `json:"entry_ids"`
	Of       int         `json:"of" doc:"How many entries were looked at; of readings held against earlier ones, those that have an earlier one."`
	TookMin  float64     `json:"took_min,omitempty" doc:"short_visit: from the arrival to the leaving, in minutes."`
}

type odditiesOut struct {
	Body struct {
		Oddities []oddityItem `json:"oddities" doc:"Questions to ask, not accusations; none blocks anything or stands in a record or report."`
	}
}

func (a *API) oddities() {
	add(a, operation("visit-oddities", http.MethodGet, "/v1/visits/{visit_id}/oddities", identity.ActReadOddities,
		"What is unusual about the entries of a visit, for the office to ask about: computed from the entries as they stand"), a.visitOddities)
}

func (a *API) visitOddities(ctx context.Context, by identity.Actor, in *VisitPath) (*odditiesOut, error) {
	list, err := a.Fleet.VisitOddities(ctx, by, in.VisitID)
	if err != nil {
		return nil, err
	}
	out := &odditiesOut{}
	out.Body.Oddities = make([]oddityItem, len(list))
	for i, d := range list {
		out.Body.Oddities[i] = newOddityItem(d)
	}
	return out, nil
}

func newOddityItem(d fleet.Oddity) oddityItem {
	return oddityItem{Kind: d.Kind, DoorIDs: d.Doors, EntryIDs: d.Entries, Of: d.Of, TookMin: d.Took.Minutes()}
}
