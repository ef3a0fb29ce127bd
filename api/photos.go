package api

import (
	"context"
	"io"
	"net/http"
	"time"

	"github.com/danielgtaylor/huma/v2"

	"lintel.example/lintel/internal/fault"
	"lintel.example/lintel/internal/fleet"
	"lintel.example/lintel/internal/identity"
	"lintel.example/lintel/internal/seal"
)

type PhotoPath struct {
	SHA256 string `path:"sha256" pattern:"^[0-9a-f]{64}$" doc:"Of the bytes."`
}

type photoPutIn struct {
	PhotoPath
	ContentType string `header:"Content-Type"`
	RawBody     []byte `contentType:"application/octet-stream"`
}

type photoOut struct {
	Status int
	Body   photoItem
}

type photoItem struct {
	SHA256    seal.Hash `json:"sha256"`
	Size      int64     `json:"size"`
	MediaType string    `json:"media_type"`
}

// slowestPhoto is how long the bytes of a photo may take: the greatest one over 0.5 Mbit/s.
const slowestPhoto = 4 * time.Minute

func (a *API) photos() {
	put := operation("photo-put", http.MethodPut, "/v1/photos/{sha256}", identity.ActLogVisit, "Take the bytes of a photo under their SHA-256")
	put.MaxBodyBytes = fleet.MostPhotoBytes
	put.BodyReadTimeout = slowestPhoto
	bytes := &huma.MediaType{Schema: &huma.Schema{Type: "string", Format: "binary"}}
	put.RequestBody = &huma.RequestBody{Required: true, Content: map[string]*huma.MediaType{"image/jpeg": bytes, "image/png": bytes, "image/webp": bytes}}
	add(a, put, a.photoPut)
	add(a, answering("image/*", operation("photo-get", http.MethodGet, "/v1/photos/{sha256}", identity.ActReadWork, "The bytes of a photo")), a.photoGet)
}

func (a *API) photoPut(ctx context.Context, by identity.Actor, in *photoPutIn) (*photoOut, error) {
	hash, err := in.hash()
	if err != nil {
		return nil, err
	}
	p, isNew, err := a.Fleet.PutPhoto(ctx, by, hash, in.ContentType, in.RawBody)
	if err != nil {
		return nil, err
	}
	return &photoOut{Status: created(isNew), Body: photoItem{SHA256: p.SHA256, Size: p.Size, MediaType: p.MediaType}}, nil
}

func (a *API) photoGet(ctx context.Context, by identity.Actor, in *PhotoPath) (*bytesOut, error) {
	hash, err := in.hash()
	if err != nil {
		return nil, err
	}
	p, file, err := a.Fleet.Photo(ctx, by, hash)
	if err != nil {
		return nil, err
	}
	defer file.Close()
	data, err := io.ReadAll(file)
	if err != nil {
		return nil, err
	}
	return &bytesOut{ContentType: p.MediaType, ContentDisposition: "inline", ETag: `"` + hash.String() + `"`, Body: data}, nil
}

func (p PhotoPath) hash() (seal.Hash, error) {
	h, err := seal.ParseHash(p.SHA256)
	if err != nil {
		return h, fault.New(fault.Invalid, "hash_unreadable")
	}
	return h, nil
}
