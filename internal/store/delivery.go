package store

import (
	"context"
	"time"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"

	"lintel.example/lintel/internal/fleet"
)

// deliveryRow is a delivery; of what goes by mail, with what its notice says.
type deliveryRow struct {
	CustomerID     uuid.UUID
	SiteID         uuid.UUID
	ReportID       uuid.UUID
	DeliveryID     uuid.UUID
	Way            string
	PartyID        *uuid.UUID
	ToName         string
	OnDay          *time.Time
	ByName         string
	Note           string
	RecordedAt     time.Time
	RecordedBy     uuid.UUID
	NoticeID       *uuid.UUID
	RecipientEmail *string
	State          *string
	Because        *string
	SentAt         *time.Time
}

func (r deliveryRow) delivery() fleet.Delivery {
	d := fleet.Delivery{CustomerID: r.CustomerID, SiteID: r.SiteID, ReportID: r.ReportID, DeliveryID: r.DeliveryID, Way: r.Way, PartyID: orNil(r.PartyID), ToName: r.ToName,
		On: day(r.OnDay), ByName: r.ByName, Note: r.Note, RecordedAt: r.RecordedAt, RecordedBy: r.RecordedBy}
	if r.NoticeID != nil {
		d.Notice = &fleet.Notice{NoticeID: *r.NoticeID, RecipientName: r.ToName, RecipientEmail: *r.RecipientEmail, State: *r.State, Because: *r.Because, SentAt: r.SentAt}
	}
	return d
}

const sqlDeliveriesOf = `-- deliveries_of
select v.customer_id, v.site_id, v.report_id, v.delivery_id, v.way, v.party_id, v.to_name, v.on_day, v.by_name, v.note, v.recorded_at, v.recorded_by,
  n.notice_id, n.recipient_email, n.state, n.because, n.sent_at
from report_delivery v left join notice n on v.way = 'mail' and n.reason = 'delivery:' || v.delivery_id
where v.report_id = any (@reports) order by v.recorded_at desc, v.delivery_id desc`

// DeliveriesOf gives what was done with reports, the newest first.
func (t *Tx) DeliveriesOf(ctx context.Context, reports []uuid.UUID) ([]fleet.Delivery, error) {
	rows, err := query[deliveryRow](ctx, t, "deliveries_of", sqlDeliveriesOf, pgx.StrictNamedArgs{"reports": reports})
	return each(rows, deliveryRow.delivery), err
}

const sqlDeliveryByID = `-- delivery_by_id
select v.customer_id, v.site_id, v.report_id, v.delivery_id, v.way, v.party_id, v.to_name, v.on_day, v.by_name, v.note, v.recorded_at, v.recorded_by,
  n.notice_id, n.recipient_email, n.state, n.because, n.sent_at
from report_delivery v left join notice n on v.way = 'mail' and n.reason = 'delivery:' || v.delivery_id
where v.delivery_id = @delivery_id`

// DeliveryByID gives one delivery.
func (t *Tx) DeliveryByID(ctx context.Context, id uuid.UUID) (fleet.Delivery, error) {
	r, err := queryOne[deliveryRow](ctx, t, "delivery_by_id", sqlDeliveryByID, pgx.StrictNamedArgs{"delivery_id": id}, "delivery_not_found")
	return r.delivery(), err
}

const sqlInsertDelivery = `-- insert_delivery
insert into report_delivery (customer_id, site_id, report_id, delivery_id, way, party_id, to_name, on_day, by_name, note, recorded_at, recorded_by)
values (@customer_id, @site_id, @report_id, @delivery_id, @way, @party_id, @to_name, @on_day, @by_name, @note, @recorded_at, @recorded_by) on conflict do nothing`

// InsertDelivery adds a delivery, or answers false when its id is taken.
func (t *Tx) InsertDelivery(ctx context.Context, d fleet.Delivery) (bool, error) {
	n, err := exec(ctx, t, "insert_delivery", sqlInsertDelivery, pgx.StrictNamedArgs{"customer_id": d.CustomerID, "site_id": d.SiteID, "report_id": d.ReportID,
		"delivery_id": d.DeliveryID, "way": d.Way, "party_id": optional(d.PartyID), "to_name": d.ToName, "on_day": date(d.On), "by_name": d.ByName, "note": d.Note,
		"recorded_at": d.RecordedAt, "recorded_by": d.RecordedBy})
	return n == 1, err
}
