package store

import (
	"context"
	"time"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"

	"lintel.example/lintel/internal/fleet"
	"lintel.example/lintel/internal/seal"
)

type photoRow struct {
	SHA256     []byte `db:"sha256"`
	Size       int64
	MediaType  string
	ReceivedAt time.Time
	ReceivedBy uuid.UUID
}

func (r photoRow) photo() fleet.Photo {
	p := fleet.Photo{Size: r.Size, MediaType: r.MediaType, ReceivedAt: r.ReceivedAt, ReceivedBy: r.ReceivedBy}
	copy(p.SHA256[:], r.SHA256)
	return p
}

const sqlPhotoByHash = `-- photo_by_hash
select sha256, size, media_type, received_at, received_by from photo where sha256 = @sha256`

// PhotoByHash gives a photo that the actor may see.
func (t *Tx) PhotoByHash(ctx context.Context, hash seal.Hash) (fleet.Photo, error) {
	r, err := queryOne[photoRow](ctx, t, "photo_by_hash", sqlPhotoByHash, pgx.StrictNamedArgs{"sha256": hash[:]}, "photo_not_found")
	return r.photo(), err
}

const sqlPhotosMissing = `-- photos_missing
select distinct h.sha256 from unnest(@hashes::bytea[]) as h (sha256) where not exists (select from photo p where p.sha256 = h.sha256) order by h.sha256`

// PhotosMissing gives those of the hashes whose bytes have not arrived.
func (t *Tx) PhotosMissing(ctx context.Context, hashes []seal.Hash) ([]seal.Hash, error) {
	if len(hashes) == 0 {
		return nil, nil
	}
	rows, err := query[struct {
		SHA256 []byte `db:"sha256"`
	}](ctx, t, "photos_missing", sqlPhotosMissing, pgx.StrictNamedArgs{"hashes": hashBytes(hashes)})
	missing := make([]seal.Hash, len(rows))
	for i, r := range rows {
		copy(missing[i][:], r.SHA256)
	}
	return missing, err
}

func hashBytes(hashes []seal.Hash) [][]byte {
	out := make([][]byte, len(hashes))
	for i := range hashes {
		out[i] = hashes[i][:]
	}
	return out
}

const sqlInsertPhoto = `-- insert_photo
insert into photo (sha256, size, media_type, received_at, received_by) values (@sha256, @size, @media_type, @received_at, @received_by)
on conflict (sha256) do nothing`

// InsertPhoto says that the bytes of a photo are here, or answers false when that is said already.
func (t *Tx) InsertPhoto(ctx context.Context, p fleet.Photo) (bool, error) {
	n, err := exec(ctx, t, "insert_photo", sqlInsertPhoto, pgx.StrictNamedArgs{"sha256": p.SHA256[:], "size": p.Size, "media_type": p.MediaType,
		"received_at": p.ReceivedAt, "received_by": p.ReceivedBy})
	return n == 1, err
}
