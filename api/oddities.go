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

type oddityItem struct {
	OddityID   uuid.UUID   `json:"oddity_id" format:"uuid"`
	CustomerID uuid.UUID   `json:"customer_id" format:"uuid"`
	SiteID     uuid.UUID   `json:"site_id" format:"uuid"`
	VisitID    uuid.UUID   `json:"visit_id" format:"uuid"`
	Kind       string      `json:"kind" enum:"same_readings,short_visit,before_arrival,after_leaving,received_late,clock_ahead,elsewhere_meanwhile,same_photo" doc:"same_readings: at ten doors or more of one person's day every number that drifts is, to the last digit, that of the inspection about a year before. short_visit: for one person, less than ten seconds for each of twenty readings or more. before_arrival, after_leaving: by more than five minutes. received_late: more than seven days after it was observed. clock_ahead: observed more than two minutes after it was received. elsewhere_meanwhile: the same person was at the doors of another site at the same time for more than five minutes. same_photo: an earlier visit has named the photo."`
	PersonID   uuid.UUID   `json:"person_id" format:"uuid" doc:"Who made the entries; of a short visit, who signed."`
	Day        duedate.Day `json:"day" format:"date" doc:"At the site."`
	Says       string      `json:"says" doc:"What was noticed, in one sentence with its numbers."`
	Check      string      `json:"check" doc:"What may well be behind it."`
	// The numbers.
	DoorIDs     []uuid.UUID        `json:"door_ids" doc:"What it is about, in the order of observation."`
	EntryIDs    []uuid.UUID        `json:"entry_ids"`
	LookedAt    int                `json:"looked_at" doc:"How many entries of the person's day were looked at; of readings, those that have one of a year before."`
	DoorsOfDay  int                `json:"doors_of_day,omitempty" doc:"same_readings: at how many doors of the person's day, other visits included."`
	TookS       float64            `json:"took_s,omitempty" doc:"short_visit: from arrival to leaving; elsewhere_meanwhile: how long both went on; else the greatest distance in time."`
	OtherVisits []uuid.UUID        `json:"other_visit_ids" doc:"Visits that the entries were held against."`
	NoticedAt   time.Time          `json:"noticed_at"`
	State       string             `json:"state" enum:"open,explained,withdrawn" doc:"Withdrawn: entries that came later have answered it."`
	Explained   *oddityExplanation `json:"explained,omitempty"`
}

type oddityExplanation struct {
	At  time.Time `json:"at"`
	By  uuid.UUID `json:"by" format:"uuid"`
	Why string    `json:"why"`
}

func (a *API) newOddityItem(by identity.Actor, o fleet.Oddity) oddityItem {
	texts := a.printer(by)
	item := oddityItem{OddityID: o.OddityID, CustomerID: o.CustomerID, SiteID: o.SiteID, VisitID: o.VisitID, Kind: o.Kind, PersonID: o.PersonID, Day: o.Day,
		Says: o.Says(texts), Check: texts.T("oddity." + o.Kind + ".check"),
		DoorIDs: o.Doors, EntryIDs: o.Entries, LookedAt: o.LookedAt, DoorsOfDay: o.DoorsOfDay, TookS: o.Took.Seconds(), OtherVisits: o.OtherVisits, NoticedAt: o.NoticedAt, State: o.State}
	if e := o.Explained; e != nil {
		item.Explained = &oddityExplanation{At: e.At, By: e.By, Why: e.Why}
	}
	return item
}

type oddityListIn struct {
	PageIn
	State    string `query:"state" enum:"open,explained,withdrawn"`
	Kind     string `query:"kind" enum:"same_readings,short_visit,before_arrival,after_leaving,received_late,clock_ahead,elsewhere_meanwhile,same_photo"`
	VisitID  string `query:"visit_id" format:"uuid"`
	DoorID   string `query:"door_id" format:"uuid"`
	SiteID   string `query:"site_id" format:"uuid"`
	PersonID string `query:"person_id" format:"uuid"`
	Oldest   bool   `query:"oldest" doc:"Those that were noticed first come first."`
}

type OddityPath struct {
	OddityID uuid.UUID `path:"oddity_id" format:"uuid"`
}

type oddityExplainIn struct {
	OddityPath
	Body struct {
		Why string `json:"why" minLength:"1" maxLength:"2000"`
	}
}

type oddityOut struct {
	Body oddityItem
}

type oddityListOut struct {
	Body struct {
		Oddities []oddityItem `json:"oddities" doc:"Questions to ask, not accusations; none blocks anything or stands in a record or report."`
		PageOut
	}
}

func (a *API) oddities() {
	add(a, operation("oddity-list", http.MethodGet, "/v1/oddities", identity.ActReadOddities,
		"What is unusual about the entries of signed visits, for the office to ask about; those that were noticed last come first"), a.oddityList)
	add(a, operation("oddity-get", http.MethodGet, "/v1/oddities/{oddity_id}", identity.ActReadOddities, "One of them"), a.oddityGet)
	add(a, operation("oddity-explain", http.MethodPost, "/v1/oddities/{oddity_id}/explain", identity.ActExplainOddity,
		"Record what was found out about it. The same words again are success"), a.oddityExplain)
}

func (a *API) oddityList(ctx context.Context, by identity.Actor, in *oddityListIn) (*oddityListOut, error) {
	var key instantKey
	if err := readCursor(in.After, &key); err != nil {
		return nil, err
	}
	list, err := a.Fleet.Oddities(ctx, by, fleet.OddityQuery{State: in.State, Kind: in.Kind, VisitID: optionalID(in.VisitID), DoorID: optionalID(in.DoorID),
		SiteID: optionalID(in.SiteID), PersonID: optionalID(in.PersonID), Oldest: in.Oldest, AfterAt: key.At, AfterID: key.ID, Limit: in.Limit})
	if err != nil {
		return nil, err
	}
	out := &oddityListOut{}
	out.Body.Oddities = make([]oddityItem, len(list))
	for i, o := range list {
		out.Body.Oddities[i] = a.newOddityItem(by, o)
	}
	if len(list) == in.Limit {
		last := list[len(list)-1]
		out.Body.Next = cursor(instantKey{last.NoticedAt, last.OddityID})
	}
	return out, nil
}

func (a *API) oddityGet(ctx context.Context, by identity.Actor, in *OddityPath) (*oddityOut, error) {
	o, err := a.Fleet.Oddity(ctx, by, in.OddityID)
	if err != nil {
		return nil, err
	}
	return &oddityOut{Body: a.newOddityItem(by, o)}, nil
}

func (a *API) oddityExplain(ctx context.Context, by identity.Actor, in *oddityExplainIn) (*oddityOut, error) {
	o, err := a.Fleet.ExplainOddity(ctx, by, in.OddityID, in.Body.Why)
	if err != nil {
		return nil, err
	}
	return &oddityOut{Body: a.newOddityItem(by, o)}, nil
}
