package fleet

import (
	"context"
	"io"
	"net/http"
	"slices"
	"time"

	"github.com/google/uuid"

	"lintel.example/lintel/internal/fault"
	"lintel.example/lintel/internal/identity"
	"lintel.example/lintel/internal/seal"
)

// Photo is bytes that have arrived whole and are kept under their SHA-256.
type Photo struct {
	SHA256     seal.Hash
	Size       int64
	MediaType  string // image/jpeg, image/png, image/webp
	ReceivedAt time.Time
	ReceivedBy uuid.UUID
}

// MostPhotoBytes is the greatest size of a photo.
const MostPhotoBytes = 15 << 20

// PhotoStore keeps the bytes of photos, outside of the database.
type PhotoStore interface {
	// Keep writes the bytes so that they survive a crash of the machine before it answers. What is there stays.
	Keep(ctx context.Context, hash seal.Hash, data []byte) error
	Open(hash seal.Hash) (io.ReadSeekCloser, error)
}

type photoRows interface {
	PhotoByHash(ctx context.Context, hash seal.Hash) (Photo, error)
	// PhotosMissing gives those of the hashes whose bytes have not arrived.
	PhotosMissing(ctx context.Context, hashes []seal.Hash) ([]seal.Hash, error)
	// InsertPhoto answers false when the photo is there already.
	InsertPhoto(ctx context.Context, p Photo) (bool, error)
}

// PutPhoto takes the bytes of a photo under their SHA-256. The bytes are on disk before the row says so, and the
// row is there before anybody is told.
func (f *Fleet) PutPhoto(ctx context.Context, by identity.Actor, hash seal.Hash, mediaType string, data []byte) (p Photo, created bool, err error) {
	if len(data) > MostPhotoBytes {
		return Photo{}, false, fault.New(fault.TooLarge, "photo_too_large", "most", MostPhotoBytes)
	}
	if seal.HashOf(data) != hash {
		return Photo{}, false, fault.New(fault.Invalid, "photo_hash_differs")
	}
	if found := http.DetectContentType(data); !slices.Contains([]string{"image/jpeg", "image/png", "image/webp"}, mediaType) || found != mediaType {
		return Photo{}, false, fault.New(fault.Invalid, "photo_of_other_type")
	}
	if err := f.Photos.Keep(ctx, hash, data); err != nil {
		return Photo{}, false, err
	}
	err = f.Store.InTx(ctx, by, func(ctx context.Context, tx Tx) error {
		p = Photo{SHA256: hash, Size: int64(len(data)), MediaType: mediaType, ReceivedAt: f.Now(), ReceivedBy: by.PersonID}
		if created, err = tx.InsertPhoto(ctx, p); err != nil || created {
			return err
		}
		p, err = tx.PhotoByHash(ctx, hash)
		return err
	})
	return p, created, err
}

// Photo gives a photo that an entry in sight names.
func (f *Fleet) Photo(ctx context.Context, by identity.Actor, hash seal.Hash) (p Photo, bytes io.ReadSeekCloser, err error) {
	err = f.Store.InTxReadOnly(ctx, by, func(ctx context.Context, tx Tx) error {
		p, err = tx.PhotoByHash(ctx, hash)
		return err
	})
	if err != nil {
		return p, nil, err
	}
	bytes, err = f.Photos.Open(hash)
	return p, bytes, err
}
