package api

import (
	"context"
	"net/http"
	"time"

	"github.com/google/uuid"

	"lintel.example/lintel/internal/fleet"
	"lintel.example/lintel/internal/identity"
)

// WatchBody is what a client says at the beginning of a watch.
type WatchBody struct {
	PersonID *uuid.UUID `json:"person_id,omitempty" format:"uuid" doc:"Who works alone; oneself if absent. Of others a dispatcher or administrator."`
	VisitID  *uuid.UUID `json:"visit_id,omitempty" format:"uuid"`
	Place    string     `json:"place" minLength:"1" maxLength:"200" doc:"Where."`
	Note     string     `json:"note,omitempty" maxLength:"2000" doc:"Such as whom to telephone."`
	BackBy   time.Time  `json:"back_by" doc:"Within 24 hours. When it passes and nobody has ended or extended the watch, the office is alarmed."`
}

type WatchItem struct {
	WatchID   uuid.UUID  `json:"watch_id" format:"uuid"`
	PersonID  uuid.UUID  `json:"person_id" format:"uuid"`
	VisitID   *uuid.UUID `json:"visit_id,omitempty" format:"uuid"`
	Place     string     `json:"place"`
	Note      string     `json:"note,omitempty"`
	BackBy    time.Time  `json:"back_by" doc:"As it was said last."`
	Late      bool       `json:"late"`
	StartedAt time.Time  `json:"started_at"`
	StartedBy uuid.UUID  `json:"started_by" format:"uuid"`
	EndedAt   *time.Time `json:"ended_at,omitempty"`
	TakenAt   *time.Time `json:"taken_at,omitempty" doc:"Somebody sees to the alarm: it is not repeated any more."`
	TakenBy   *uuid.UUID `json:"taken_by,omitempty" format:"uuid"`
	TakenNote string     `json:"taken_note,omitempty"`
}

func (a *API) newWatchItem(w fleet.Watch) WatchItem {
	return WatchItem{WatchID: w.WatchID, PersonID: w.PersonID, VisitID: someID(w.VisitID), Place: w.Place, Note: w.Note, BackBy: w.BackBy, Late: w.Late(a.Now()) > 0,
		StartedAt: w.StartedAt, StartedBy: w.StartedBy, EndedAt: w.EndedAt, TakenAt: w.TakenAt, TakenBy: someID(w.TakenBy), TakenNote: w.TakenNote}
}

// WatchEventBody is what came of a watch.
type WatchEventBody struct {
	Kind   string     `json:"kind" enum:"extended,ended,taken" doc:"Extended: it takes longer. Ended: back, and well. Taken: somebody of the office sees to the alarm."`
	BackBy *time.Time `json:"back_by,omitempty" doc:"Of extended."`
	Note   string     `json:"note,omitempty" maxLength:"2000"`
}

type watchEventItem struct {
	EventID uuid.UUID `json:"event_id" format:"uuid"`
	WatchEventBody
	RecordedAt time.Time `json:"recorded_at"`
	RecordedBy uuid.UUID `json:"recorded_by" format:"uuid"`
}

type WatchPath struct {
	WatchID uuid.UUID `path:"watch_id" format:"uuid"`
}

type watchPutIn struct {
	WatchPath
	Body WatchBody
}

type watchEventPutIn struct {
	WatchPath
	EventID uuid.UUID `path:"event_id" format:"uuid"`
	Body    WatchEventBody
}

type watchOut struct {
	Status int
	Body   WatchItem
}

type watchGetOut struct {
	Body struct {
		WatchItem
		Events []watchEventItem `json:"events" doc:"Oldest first."`
	}
}

type watchListOut struct {
	Body struct {
		Watches []WatchItem `json:"watches"`
	}
}

func (a *API) watches() {
	add(a, operation("watch-list", http.MethodGet, "/v1/watches", identity.ActWatch, "Who works alone and is not back, those who are late the longest first"), a.watchList)
	add(a, operation("watch-get", http.MethodGet, "/v1/watches/{watch_id}", identity.ActWatch, "One watch and what came of it"), a.watchGet)
	add(a, operation("watch-put", http.MethodPut, "/v1/watches/{watch_id}", identity.ActWatch, "Work alone, and say by when one is back. It replaces no emergency service and none of the local rules on working alone"), a.watchPut)
	add(a, operation("watch-event-put", http.MethodPut, "/v1/watches/{watch_id}/events/{event_id}", identity.ActWatch, "Need longer, be back, or see to an alarm"), a.watchEventPut)
}

func (a *API) watchList(ctx context.Context, by identity.Actor, _ *struct{}) (*watchListOut, error) {
	list, err := a.Fleet.WatchesOpen(ctx, by)
	if err != nil {
		return nil, err
	}
	out := &watchListOut{}
	out.Body.Watches = make([]WatchItem, len(list))
	for i, w := range list {
		out.Body.Watches[i] = a.newWatchItem(w)
	}
	return out, nil
}

func (a *API) watchGet(ctx context.Context, by identity.Actor, in *WatchPath) (*watchGetOut, error) {
	w, err := a.Fleet.Watch(ctx, by, in.WatchID)
	if err != nil {
		return nil, err
	}
	out := &watchGetOut{}
	out.Body.WatchItem, out.Body.Events = a.newWatchItem(w.Watch), make([]watchEventItem, len(w.Events))
	for i, e := range w.Events {
		out.Body.Events[i] = watchEventItem{e.EventID, WatchEventBody{e.Kind, e.BackBy, e.Note}, e.RecordedAt, e.RecordedBy}
	}
	return out, nil
}

func (a *API) watchPut(ctx context.Context, by identity.Actor, in *watchPutIn) (*watchOut, error) {
	b := in.Body
	w := fleet.Watch{WatchID: in.WatchID, Place: b.Place, Note: b.Note, BackBy: b.BackBy}
	if b.PersonID != nil {
		w.PersonID = *b.PersonID
	}
	if b.VisitID != nil {
		w.VisitID = *b.VisitID
	}
	saved, isNew, err := a.Fleet.PutWatch(ctx, by, w)
	if err != nil {
		return nil, err
	}
	return &watchOut{Status: created(isNew), Body: a.newWatchItem(saved)}, nil
}

func (a *API) watchEventPut(ctx context.Context, by identity.Actor, in *watchEventPutIn) (*watchOut, error) {
	w, isNew, err := a.Fleet.PutWatchEvent(ctx, by, fleet.WatchEvent{WatchID: in.WatchID, EventID: in.EventID, Kind: in.Body.Kind, BackBy: in.Body.BackBy, Note: in.Body.Note})
	if err != nil {
		return nil, err
	}
	return &watchOut{Status: created(isNew), Body: a.newWatchItem(w)}, nil
}
