package store

import (
	"context"
	"time"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"

	"lintel.example/lintel/internal/fleet"
	"lintel.example/lintel/internal/seal"
)

const sqlInsertForceSeries = `-- insert_force_series
insert into force_series (customer_id, site_id, door_id, sha256, csv, received_at, recorded_by)
values (@customer_id, @site_id, @door_id, @sha256, @csv, @received_at, @recorded_by) on conflict do nothing`

// InsertForceSeries keeps the series of a gauge; the same one again changes nothing.
func (t *Tx) InsertForceSeries(ctx context.Context, s fleet.ForceSeries) error {
	_, err := exec(ctx, t, "insert_force_series", sqlInsertForceSeries, pgx.StrictNamedArgs{"customer_id": s.CustomerID, "site_id": s.SiteID, "door_id": s.DoorID,
		"sha256": s.SHA256[:], "csv": s.CSV, "received_at": s.ReceivedAt, "recorded_by": s.RecordedBy})
	return err
}

type forceSeriesRow struct {
	CustomerID uuid.UUID
	SiteID     uuid.UUID
	DoorID     uuid.UUID
	SHA256     []byte `db:"sha256"`
	CSV        string `db:"csv"`
	ReceivedAt time.Time
	RecordedBy uuid.UUID
}

const sqlForceSeriesByHash = `-- force_series_by_hash
select customer_id, site_id, door_id, sha256, csv, received_at, recorded_by from force_series where door_id = @door_id and sha256 = @sha256`

// ForceSeriesByHash gives the series of a gauge that was recorded at a door.
func (t *Tx) ForceSeriesByHash(ctx context.Context, doorID uuid.UUID, hash seal.Hash) (fleet.ForceSeries, error) {
	r, err := queryOne[forceSeriesRow](ctx, t, "force_series_by_hash", sqlForceSeriesByHash, pgx.StrictNamedArgs{"door_id": doorID, "sha256": hash[:]}, "entry_not_found")
	s := fleet.ForceSeries{CustomerID: r.CustomerID, SiteID: r.SiteID, DoorID: r.DoorID, CSV: r.CSV, ReceivedAt: r.ReceivedAt, RecordedBy: r.RecordedBy}
	copy(s.SHA256[:], r.SHA256)
	return s, err
}
