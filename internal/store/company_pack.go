package store

import (
	"context"
	"time"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"

	"lintel.example/lintel/internal/fleet"
)

type companyPackRow struct {
	PackID  string
	Body    string
	SHA256  []byte `db:"sha256"`
	Note    string
	AddedAt time.Time
	AddedBy uuid.UUID
}

func (r companyPackRow) pack() fleet.CompanyPack {
	p := fleet.CompanyPack{PackID: r.PackID, Text: r.Body, Note: r.Note, AddedAt: r.AddedAt, AddedBy: r.AddedBy}
	copy(p.SHA256[:], r.SHA256)
	return p
}

const sqlCompanyPackByID = `-- company_pack_by_id
select pack_id, body, sha256, note, added_at, added_by from company_pack where pack_id = @pack_id`

// CompanyPackByID gives one edition of a company's pack.
func (t *Tx) CompanyPackByID(ctx context.Context, id string) (fleet.CompanyPack, error) {
	r, err := queryOne[companyPackRow](ctx, t, "company_pack_by_id", sqlCompanyPackByID, pgx.StrictNamedArgs{"pack_id": id}, "pack_not_found")
	return r.pack(), err
}

const sqlCompanyPacks = `-- company_packs
select pack_id, body, sha256, note, added_at, added_by from company_pack order by pack_id limit 1000`

// CompanyPacks gives all that are in sight, by id.
func (t *Tx) CompanyPacks(ctx context.Context) ([]fleet.CompanyPack, error) {
	rows, err := query[companyPackRow](ctx, t, "company_packs", sqlCompanyPacks, nil)
	return each(rows, companyPackRow.pack), err
}

const sqlInsertCompanyPack = `-- insert_company_pack
insert into company_pack (pack_id, body, sha256, note, added_at, added_by) values (@pack_id, @body, @sha256, @note, @added_at, @added_by) on conflict do nothing`

// InsertCompanyPack adds an edition, or answers false when its id is taken.
func (t *Tx) InsertCompanyPack(ctx context.Context, p fleet.CompanyPack) (bool, error) {
	return insertOne(ctx, t, "insert_company_pack", sqlInsertCompanyPack, pgx.StrictNamedArgs{"pack_id": p.PackID, "body": p.Text, "sha256": p.SHA256[:], "note": p.Note,
		"added_at": p.AddedAt, "added_by": p.AddedBy})
}

const sqlLockPackName = `-- lock_pack_name
select pg_advisory_xact_lock(hashtextextended(@pack_name, 2))`

// LockPackName makes other transactions that activate an edition of the name wait until this one has ended.
func (t *Tx) LockPackName(ctx context.Context, name string) error {
	_, err := exec(ctx, t, "lock_pack_name", sqlLockPackName, pgx.StrictNamedArgs{"pack_name": name})
	return err
}

type packActivationRow struct {
	ActivationID uuid.UUID
	PackName     string
	PackID       *string
	SHA256       []byte `db:"sha256"`
	FromDay      time.Time
	UntilDay     *time.Time
	Why          string
	RecordedAt   time.Time
	RecordedBy   uuid.UUID
}

func (r packActivationRow) activation() fleet.PackActivation {
	a := fleet.PackActivation{ActivationID: r.ActivationID, PackName: r.PackName, From: day(&r.FromDay), Until: day(r.UntilDay), Why: r.Why,
		RecordedAt: r.RecordedAt, RecordedBy: r.RecordedBy}
	if r.PackID != nil {
		a.PackID = *r.PackID
	}
	copy(a.SHA256[:], r.SHA256)
	return a
}

const sqlPackActivations = `-- pack_activations
select a.activation_id, a.pack_name, a.pack_id, p.sha256, a.from_day, a.until_day, a.why, a.recorded_at, a.recorded_by
from company_pack_activation a left join company_pack p on p.pack_id = a.pack_id order by a.recorded_at desc, a.activation_id desc`

// PackActivations gives every activation in sight, the one recorded last first.
func (t *Tx) PackActivations(ctx context.Context) ([]fleet.PackActivation, error) {
	rows, err := query[packActivationRow](ctx, t, "pack_activations", sqlPackActivations, nil)
	return each(rows, packActivationRow.activation), err
}

const sqlPackActivationByID = `-- pack_activation_by_id
select a.activation_id, a.pack_name, a.pack_id, p.sha256, a.from_day, a.until_day, a.why, a.recorded_at, a.recorded_by
from company_pack_activation a left join company_pack p on p.pack_id = a.pack_id where a.activation_id = @activation_id`

// PackActivationByID gives one activation.
func (t *Tx) PackActivationByID(ctx context.Context, id uuid.UUID) (fleet.PackActivation, error) {
	r, err := queryOne[packActivationRow](ctx, t, "pack_activation_by_id", sqlPackActivationByID, pgx.StrictNamedArgs{"activation_id": id}, "activation_not_found")
	return r.activation(), err
}

const sqlInsertPackActivation = `-- insert_pack_activation
insert into company_pack_activation (activation_id, pack_name, pack_id, from_day, until_day, why, recorded_at, recorded_by)
values (@activation_id, @pack_name, nullif(@pack_id, ''), @from_day, @until_day, @why, @recorded_at, @recorded_by) on conflict do nothing`

// InsertPackActivation adds an activation, or answers false when its id is taken.
func (t *Tx) InsertPackActivation(ctx context.Context, a fleet.PackActivation) (bool, error) {
	return insertOne(ctx, t, "insert_pack_activation", sqlInsertPackActivation, pgx.StrictNamedArgs{"activation_id": a.ActivationID, "pack_name": a.PackName, "pack_id": a.PackID,
		"from_day": date(a.From), "until_day": date(a.Until), "why": a.Why, "recorded_at": a.RecordedAt, "recorded_by": a.RecordedBy})
}
