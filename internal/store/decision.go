package store

import (
	"context"
	"time"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"

	"lintel.example/lintel/internal/fleet"
	"lintel.example/lintel/internal/seal"
)

const sqlInsertShownText = `-- insert_shown_text
insert into shown_text (customer_id, site_id, door_id, sha256, findings, language, text, made_at, made_by)
values (@customer_id, @site_id, @door_id, @sha256, @findings, @language, @text, @made_at, @made_by) on conflict do nothing`

// InsertShownText keeps a text that was shown at a door; the same one again changes nothing.
func (t *Tx) InsertShownText(ctx context.Context, s fleet.ShownText) error {
	_, err := exec(ctx, t, "insert_shown_text", sqlInsertShownText, pgx.StrictNamedArgs{"customer_id": s.CustomerID, "site_id": s.SiteID, "door_id": s.DoorID,
		"sha256": s.SHA256[:], "findings": s.Findings, "language": s.Language, "text": s.Text, "made_at": s.MadeAt, "made_by": s.MadeBy})
	return err
}

type shownTextRow struct {
	CustomerID uuid.UUID
	SiteID     uuid.UUID
	DoorID     uuid.UUID
	SHA256     []byte `db:"sha256"`
	Findings   []uuid.UUID
	Language   string
	Text       string
	MadeAt     time.Time
	MadeBy     uuid.UUID
}

const sqlShownTextByHash = `-- shown_text_by_hash
select customer_id, site_id, door_id, sha256, findings, language, text, made_at, made_by from shown_text where door_id = @door_id and sha256 = @sha256`

// ShownTextByHash gives a text that was shown at a door.
func (t *Tx) ShownTextByHash(ctx context.Context, doorID uuid.UUID, hash seal.Hash) (fleet.ShownText, error) {
	r, err := queryOne[shownTextRow](ctx, t, "shown_text_by_hash", sqlShownTextByHash, pgx.StrictNamedArgs{"door_id": doorID, "sha256": hash[:]}, "shown_text_not_found")
	s := fleet.ShownText{CustomerID: r.CustomerID, SiteID: r.SiteID, DoorID: r.DoorID, Findings: r.Findings, Language: r.Language, Text: r.Text, MadeAt: r.MadeAt, MadeBy: r.MadeBy}
	copy(s.SHA256[:], r.SHA256)
	return s, err
}
