package store

import (
	"context"
	"time"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"

	"lintel.example/lintel/internal/fleet"
)

type instrumentRow struct {
	InstrumentID    uuid.UUID
	Version         int
	Kind            string
	Name            string
	Serial          string
	CalibratedOn    *time.Time
	CalibratedUntil *time.Time
	Certificate     string
	Uncertainty     map[string]float64
	Retired         bool
	RecordedAt      time.Time
	RecordedBy      uuid.UUID
}

func (r instrumentRow) instrument() fleet.Instrument {
	return fleet.Instrument{InstrumentID: r.InstrumentID, Version: r.Version, Kind: r.Kind, Name: r.Name, Serial: r.Serial, CalibratedOn: day(r.CalibratedOn),
		CalibratedUntil: day(r.CalibratedUntil), Certificate: r.Certificate, Uncertainty: r.Uncertainty, Retired: r.Retired, RecordedAt: r.RecordedAt, RecordedBy: r.RecordedBy}
}

const sqlInsertInstrument = `-- insert_instrument
insert into instrument (instrument_id, version, kind, name, serial, calibrated_on, calibrated_until, certificate, uncertainty, retired, recorded_at, recorded_by)
values (@instrument_id, @version, @kind, @name, @serial, @calibrated_on, @calibrated_until, @certificate, @uncertainty, @retired, @recorded_at, @recorded_by)
on conflict (instrument_id, version) do nothing`

// InsertInstrument adds a version of an instrument, or answers false when there is one of that number.
func (t *Tx) InsertInstrument(ctx context.Context, i fleet.Instrument) (bool, error) {
	uncertainty := i.Uncertainty
	if uncertainty == nil {
		uncertainty = map[string]float64{}
	}
	n, err := exec(ctx, t, "insert_instrument", sqlInsertInstrument, pgx.StrictNamedArgs{"instrument_id": i.InstrumentID, "version": i.Version, "kind": i.Kind,
		"name": i.Name, "serial": i.Serial, "calibrated_on": date(i.CalibratedOn), "calibrated_until": date(i.CalibratedUntil), "certificate": i.Certificate,
		"uncertainty": uncertainty, "retired": i.Retired, "recorded_at": i.RecordedAt, "recorded_by": i.RecordedBy})
	return n == 1, err
}

const sqlInstrumentVersions = `-- instrument_versions
select instrument_id, version, kind, name, serial, calibrated_on, calibrated_until, certificate, uncertainty, retired, recorded_at, recorded_by
from instrument where instrument_id = @instrument_id order by version desc`

// InstrumentVersions gives every version of an instrument, the newest first.
func (t *Tx) InstrumentVersions(ctx context.Context, id uuid.UUID) ([]fleet.Instrument, error) {
	rows, err := query[instrumentRow](ctx, t, "instrument_versions", sqlInstrumentVersions, pgx.StrictNamedArgs{"instrument_id": id})
	return each(rows, instrumentRow.instrument), err
}

const sqlInstrumentPage = `-- instrument_page
select distinct on (instrument_id) instrument_id, version, kind, name, serial, calibrated_on, calibrated_until, certificate, uncertainty, retired, recorded_at, recorded_by
from instrument where instrument_id > @after_id order by instrument_id, version desc limit @limit`

// InstrumentPage lists the newest versions by id.
func (t *Tx) InstrumentPage(ctx context.Context, q fleet.InstrumentQuery) ([]fleet.Instrument, error) {
	rows, err := query[instrumentRow](ctx, t, "instrument_page", sqlInstrumentPage, pgx.StrictNamedArgs{"after_id": q.AfterID, "limit": q.Limit})
	return each(rows, instrumentRow.instrument), err
}
