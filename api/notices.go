package api

import (
	"context"
	"net/http"
	"time"

	"github.com/google/uuid"

	"lintel.example/lintel/internal/fleet"
	"lintel.example/lintel/internal/identity"
)

type noticeItem struct {
	NoticeID       uuid.UUID  `json:"notice_id" format:"uuid"`
	SiteID         uuid.UUID  `json:"site_id" format:"uuid"`
	DoorID         *uuid.UUID `json:"door_id,omitempty" format:"uuid"`
	WorkOrderID    *uuid.UUID `json:"work_order_id,omitempty" format:"uuid"`
	CaseID         *uuid.UUID `json:"case_id,omitempty" format:"uuid"`
	Rung           string     `json:"rung" doc:"The step of the ladder."`
	RecipientName  string     `json:"recipient_name"`
	RecipientEmail string     `json:"recipient_email"`
	Subject        string     `json:"subject"`
	Body           string     `json:"body" doc:"As sent."`
	State          string     `json:"state" enum:"queued,sending,sent,failed,superseded"`
	Attempts       int        `json:"attempts"`
	MadeAt         time.Time  `json:"made_at"`
	SentAt         *time.Time `json:"sent_at,omitempty"`
	Answer         string     `json:"answer,omitempty" doc:"The mail server's words."`
}

type noticeListIn struct {
	PageIn
	State  string `query:"state" enum:"queued,sending,sent,failed,superseded"`
	SiteID string `query:"site_id" format:"uuid"`
}

type noticeListOut struct {
	Body struct {
		Notices []noticeItem `json:"notices"`
		PageOut
	}
}

func (a *API) notices() {
	add(a, operation("notice-list", http.MethodGet, "/v1/notices", identity.ActReadOffice, "Who was told what and when, the newest first"), a.noticeList)
}

func (a *API) noticeList(ctx context.Context, by identity.Actor, in *noticeListIn) (*noticeListOut, error) {
	var key instantKey
	if err := readCursor(in.After, &key); err != nil {
		return nil, err
	}
	list, err := a.Fleet.Notices(ctx, by, fleet.NoticeQuery{State: in.State, SiteID: optionalID(in.SiteID), BeforeAt: key.At, BeforeID: key.ID, Limit: in.Limit})
	if err != nil {
		return nil, err
	}
	out := &noticeListOut{}
	out.Body.Notices = make([]noticeItem, len(list))
	for i, n := range list {
		out.Body.Notices[i] = noticeItem{NoticeID: n.NoticeID, SiteID: n.SiteID, DoorID: n.DoorID, WorkOrderID: n.WorkOrderID, CaseID: n.CaseID, Rung: n.Rung,
			RecipientName: n.RecipientName, RecipientEmail: n.RecipientEmail, Subject: n.Subject, Body: n.Body, State: n.State, Attempts: n.Attempts,
			MadeAt: n.MadeAt, SentAt: n.SentAt, Answer: n.Answer}
	}
	if len(list) == in.Limit {
		last := list[len(list)-1]
		out.Body.Next = cursor(instantKey{last.MadeAt, last.NoticeID})
	}
	return out, nil
}
