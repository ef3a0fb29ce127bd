package api

import (
	"context"
	"net/http"
	"time"

	"github.com/google/uuid"

	"lintel.example/lintel/internal/fleet"
	"lintel.example/lintel/internal/identity"
	"lintel.example/lintel/internal/words"
)

// DeliveryBody is what a client says was done with a letter, or that it shall be sent by mail.
type DeliveryBody struct {
	Way     string     `json:"way" enum:"mail,handed_over,posted,refused,absent" doc:"mail: it is sent now, with the PDF enclosed. The others happened outside of the program: it was given to somebody, posted, not taken, or nobody was there."`
	PartyID *uuid.UUID `json:"party_id,omitempty" format:"uuid" doc:"By mail: a party that stands to the site, at the address recorded with it."`
	ToName  string     `json:"to_name,omitempty" maxLength:"200" doc:"Else: to whom, or who did not take it; absent: who was sought, if anybody in particular."`
	On      string     `json:"on,omitempty" format:"date" doc:"Else: the day at the site."`
	ByName  string     `json:"by_name,omitempty" maxLength:"200" doc:"Else: whose hand it was."`
	Note    string     `json:"note,omitempty" maxLength:"2000"`
}

type deliveryItem struct {
	DeliveryID uuid.UUID `json:"delivery_id" format:"uuid"`
	ReportID   uuid.UUID `json:"report_id" format:"uuid"`
	DeliveryBody
	RecordedAt  time.Time    `json:"recorded_at"`
	RecordedBy  uuid.UUID    `json:"recorded_by" format:"uuid"`
	NoticeID    *uuid.UUID   `json:"notice_id,omitempty" format:"uuid" doc:"By mail: the notice that says why and what became of it."`
	Address     string       `json:"address,omitempty"`
	State       string       `json:"state,omitempty" enum:"queued,sending,sent,perhaps_sent,failed,bounced,withdrawn,superseded" doc:"By mail. Perhaps sent: the mail server gave no answer after the last byte; a person decides whether it is sent again."`
	Because     string       `json:"because,omitempty"`
	BecauseText string       `json:"because_text,omitempty"`
	SentAt      *time.Time   `json:"sent_at,omitempty"`
	Letters     []letterItem `json:"letters,omitempty" doc:"The mails that carried it, the newest first, with every try and bounce. In lists only."`
}

func (a *API) newDeliveryItem(by identity.Actor, d fleet.DeliveryTold) deliveryItem {
	item := deliveryItem{DeliveryID: d.DeliveryID, ReportID: d.ReportID, DeliveryBody: DeliveryBody{Way: d.Way, PartyID: someID(d.PartyID), ToName: d.ToName, On: d.On.String(), ByName: d.ByName, Note: d.Note},
		RecordedAt: d.RecordedAt, RecordedBy: d.RecordedBy}
	if n := d.Notice; n != nil {
		item.NoticeID, item.Address, item.State, item.Because, item.SentAt = &n.NoticeID, n.RecipientEmail, n.State, n.Because, n.SentAt
		if n.Because != "" {
			item.BecauseText = a.Words.Printer(by.Language, words.Units(by.Units)).T("notice.because." + n.Because)
		}
	}
	for _, l := range d.Letters {
		item.Letters = append(item.Letters, a.newLetterItem(by, l))
	}
	return item
}

type deliveryPutIn struct {
	ReportID   uuid.UUID `path:"report_id" format:"uuid"`
	DeliveryID uuid.UUID `path:"delivery_id" format:"uuid"`
	Body       DeliveryBody
}

type deliveryOut struct {
	Status int
	Body   deliveryItem
}

type deliveryListOut struct {
	Body struct {
		Deliveries []deliveryItem `json:"deliveries"`
	}
}

func (a *API) deliveries() {
	add(a, operation("delivery-list", http.MethodGet, "/v1/reports/{report_id}/deliveries", identity.ActReadOffice, "What was done with a letter, the newest first: by mail, by hand, by post, refused, nobody there"), a.deliveryList)
	add(a, operation("delivery-put", http.MethodPut, "/v1/reports/{report_id}/deliveries/{delivery_id}", identity.ActMindPost, "Send a letter by mail with its PDF, or record what was done with it"), a.deliveryPut)
}

func (a *API) deliveryList(ctx context.Context, by identity.Actor, in *reportPath) (*deliveryListOut, error) {
	list, err := a.Fleet.LetterDeliveries(ctx, by, in.ReportID)
	if err != nil {
		return nil, err
	}
	out := &deliveryListOut{}
	out.Body.Deliveries = make([]deliveryItem, len(list))
	for i, d := range list {
		out.Body.Deliveries[i] = a.newDeliveryItem(by, d)
	}
	return out, nil
}

func (a *API) deliveryPut(ctx context.Context, by identity.Actor, in *deliveryPutIn) (*deliveryOut, error) {
	var read reader
	d := fleet.Delivery{ReportID: in.ReportID, DeliveryID: in.DeliveryID, Way: in.Body.Way, PartyID: idOf(in.Body.PartyID), ToName: in.Body.ToName, On: read.day("/on", in.Body.On),
		ByName: in.Body.ByName, Note: in.Body.Note}
	if err := read.faults.Err(); err != nil {
		return nil, err
	}
	saved, isNew, err := a.Fleet.PutDelivery(ctx, by, d)
	if err != nil {
		return nil, err
	}
	return &deliveryOut{Status: created(isNew), Body: a.newDeliveryItem(by, fleet.DeliveryTold{Delivery: saved})}, nil
}
