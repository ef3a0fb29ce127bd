package api

import (
	"context"
	"fmt"
	"net/http"
	"time"

	"github.com/google/uuid"

	"lintel.example/lintel/internal/duedate"
	"lintel.example/lintel/internal/fleet"
	"lintel.example/lintel/internal/identity"
)

// RungBody is a step of a ladder.
type RungBody struct {
	Code       string   `json:"code" minLength:"1" maxLength:"40" doc:"Stable name, in small letters with underscores."`
	OffsetDays int      `json:"offset_days" doc:"Days after the due day; negative: before it. On a holiday of the site the rung has its turn on the last working day before, never later."`
	To         []string `json:"to" minItems:"1" doc:"Roles: owner, managing_agent, occupier, payer, named_person (whom the owner has named for what stays undone), dispatcher, administrator."`
	RepeatDays int      `json:"repeat_days,omitempty" doc:"Again every so many days,"`
	Repeats    int      `json:"repeats,omitempty" doc:"so many times."`
	Final      bool     `json:"final,omitempty" doc:"The parties' last notice: it states the risk in plain words."`
}

// LadderBody is what a client says of a ladder.
type LadderBody struct {
	EffectiveOn      string              `json:"effective_on" format:"date" doc:"From this day on, today at the earliest. What was sent before stays as it was."`
	Reason           string              `json:"reason" minLength:"1" maxLength:"2000"`
	CustomerID       *uuid.UUID          `json:"customer_id,omitempty" format:"uuid" doc:"The ladder is this customer's own and goes before the company's, with all that it says but the office's zone. Absent: the company's."`
	Rungs            []RungBody          `json:"rungs" maxItems:"40" doc:"None: the company's ladder holds for the customer again."`
	OutOfService     []RungBody          `json:"out_of_service_rungs,omitempty" maxItems:"40" doc:"Climbed by the inspections of a door that is out of service as unsafe, secured or not. Absent: by the same rungs."`
	UnsafeAgainHours int                 `json:"unsafe_again_hours" minimum:"1" maximum:"168" doc:"After so many hours an unsafe door is told again, until somebody acknowledges."`
	OfficeTimeZone   string              `json:"office_time_zone" doc:"IANA zone of dispatchers and administrators."`
	MailFrom         string              `json:"mail_from" doc:"Hour of the recipient from which mail that is not urgent goes out: 08:00."`
	MailUntil        string              `json:"mail_until" doc:"And until when: 18:00. The same hour twice: at any hour."`
	RestDays         []string            `json:"rest_days,omitempty" doc:"Days of the week on which nobody works: saturday, sunday."`
	Holidays         map[string][]string `json:"holidays,omitempty" doc:"Days by country or jurisdiction: US, US-CA. A site has those of both."`
}

type ladderItem struct {
	LadderID *uuid.UUID `json:"ladder_id,omitempty" format:"uuid" doc:"Absent: built in, until an administrator says otherwise."`
	LadderBody
	RecordedAt *time.Time `json:"recorded_at,omitempty"`
	RecordedBy *uuid.UUID `json:"recorded_by,omitempty" format:"uuid"`
}

func newLadderItem(l fleet.Ladder) ladderItem {
	item := ladderItem{LadderBody: LadderBody{EffectiveOn: l.EffectiveOn.String(), Reason: l.Reason, UnsafeAgainHours: l.UnsafeAgainHours, OfficeTimeZone: l.OfficeTimeZone,
		MailFrom: l.MailFrom, MailUntil: l.MailUntil, RestDays: l.RestDays, Holidays: map[string][]string{}, Rungs: []RungBody{}}}
	for _, r := range l.Rungs {
		item.Rungs = append(item.Rungs, RungBody(r))
	}
	for _, r := range l.OutOfServiceRungs {
		item.OutOfService = append(item.OutOfService, RungBody(r))
	}
	item.CustomerID = someID(l.CustomerID)
	for where, days := range l.Holidays {
		for _, d := range days {
			item.Holidays[where] = append(item.Holidays[where], d.String())
		}
	}
	if l.LadderID != uuid.Nil {
		item.LadderID, item.RecordedAt, item.RecordedBy = &l.LadderID, &l.RecordedAt, &l.RecordedBy
	}
	return item
}

type LadderPath struct {
	LadderID uuid.UUID `path:"ladder_id" format:"uuid"`
}

type ladderPutIn struct {
	LadderPath
	Body LadderBody
}

type ladderOut struct {
	Status int
	Body   ladderItem
}

type ladderGetIn struct {
	OnDay      string `query:"on_day" format:"date" doc:"The ladder that holds on this day; today if absent."`
	CustomerID string `query:"customer_id" format:"uuid" doc:"The ladder that holds for this customer: its own, or else the company's."`
}

type ladderListOut struct {
	Body struct {
		Ladders []ladderItem `json:"ladders"`
	}
}

func (a *API) ladders() {
	add(a, operation("ladder-get", http.MethodGet, "/v1/ladder", identity.ActReadOffice, "Who is told when about an inspection that is due"), a.ladderGet)
	add(a, operation("ladder-list", http.MethodGet, "/v1/ladders", identity.ActReadOffice, "Every ladder that was ever made, the newest first"), a.ladderList)
	add(a, operation("ladder-put", http.MethodPut, "/v1/ladders/{ladder_id}", identity.ActSetLadder, "Make a ladder that holds from a day on"), a.ladderPut)
}

func (a *API) ladderGet(ctx context.Context, by identity.Actor, in *ladderGetIn) (*ladderOut, error) {
	var read reader
	day := read.day("", in.OnDay)
	if err := read.faults.Err(); err != nil {
		return nil, err
	}
	l, err := a.Fleet.LadderOn(ctx, by, day, optionalID(in.CustomerID))
	if err != nil {
		return nil, err
	}
	return &ladderOut{Status: http.StatusOK, Body: newLadderItem(l)}, nil
}

func (a *API) ladderList(ctx context.Context, by identity.Actor, _ *struct{}) (*ladderListOut, error) {
	list, err := a.Fleet.Ladders(ctx, by)
	if err != nil {
		return nil, err
	}
	out := &ladderListOut{}
	out.Body.Ladders = make([]ladderItem, len(list))
	for i, l := range list {
		out.Body.Ladders[i] = newLadderItem(l)
	}
	return out, nil
}

func (a *API) ladderPut(ctx context.Context, by identity.Actor, in *ladderPutIn) (*ladderOut, error) {
	var read reader
	b := in.Body
	l := fleet.Ladder{LadderID: in.LadderID, EffectiveOn: read.day("/effective_on", b.EffectiveOn), Reason: b.Reason, UnsafeAgainHours: b.UnsafeAgainHours,
		OfficeTimeZone: b.OfficeTimeZone, MailFrom: b.MailFrom, MailUntil: b.MailUntil, RestDays: b.RestDays, Holidays: map[string][]duedate.Day{}}
	for _, r := range b.Rungs {
		l.Rungs = append(l.Rungs, duedate.Rung(r))
	}
	for _, r := range b.OutOfService {
		l.OutOfServiceRungs = append(l.OutOfServiceRungs, duedate.Rung(r))
	}
	if b.CustomerID != nil {
		l.CustomerID = *b.CustomerID
	}
	for where, days := range b.Holidays {
		for i, d := range days {
			l.Holidays[where] = append(l.Holidays[where], read.day(fmt.Sprintf("/holidays/%s/%d", where, i), d))
		}
	}
	if err := read.faults.Err(); err != nil {
		return nil, err
	}
	saved, isNew, err := a.Fleet.PutLadder(ctx, by, l)
	if err != nil {
		return nil, err
	}
	return &ladderOut{Status: created(isNew), Body: newLadderItem(saved)}, nil
}
