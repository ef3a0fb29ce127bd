package console

import (
	"context"
	"errors"
	"io"
	"net/http"

	"github.com/google/uuid"

	"lintel.example/lintel/internal/fault"
	"lintel.example/lintel/internal/fleet"
	"lintel.example/lintel/internal/seal"
)

// photoRoute is a form that holds more than text.
const photoRoute = "POST /visits/{visit_id}/photos"

type photoData struct {
	Visit uuid.UUID
	Door  doorName
	Form  form
}

func (c *Console) photoForm(ctx context.Context, q *request) (answer, error) {
	visit, err := q.pathID("visit_id")
	if err != nil {
		return nil, err
	}
	f := q.filter()
	door := f.ID("door")
	if err := f.faults.Err(); err != nil {
		return nil, err
	}
	return c.photoPage(ctx, q, visit, newForm(map[string]string{"entry_id": c.NewID().String(), "/door_id": door.String()}), http.StatusOK)
}

func (c *Console) photoPage(ctx context.Context, q *request, visit uuid.UUID, f form, status int) (answer, error) {
	if _, _, err := c.Fleet.Visit(ctx, q.by, visit); err != nil {
		return nil, err
	}
	id, _ := uuid.Parse(f.Value("/door_id"))
	door, err := c.Fleet.Door(ctx, q.by, id, fleet.AsOf{})
	if err != nil {
		return nil, err
	}
	if f.Value("/observed_at") == "" {
		names, err := c.Fleet.Names(ctx, q.by, fleet.Named{Doors: []uuid.UUID{id}})
		if err != nil {
			return nil, err
		}
		f.values.Set("/observed_at", c.Now().In(location(names[id].TimeZone)).Format(localTime))
	}
	return page{name: "photo", status: status, data: photoData{visit, doorName{id, fleet.Name{Text: door.Name, Tag: door.Tag}}, f}}, nil
}

// photoAdd takes a photo and enters it at its door. What it shows is asked for: whoever cannot see it reads that instead.
func (c *Console) photoAdd(ctx context.Context, q *request) (answer, error) {
	visit, err := q.pathID("visit_id")
	if err != nil {
		return nil, err
	}
	f, data, err := q.formWithFile("file")
	if err != nil {
		return nil, err
	}
	r := reader{form: &f, texts: q.texts}
	id, body := r.id("entry_id"), fleet.EntryBody{DoorID: r.id("/door_id"), Kind: "photo", Photo: &fleet.EntryPhoto{SHA256: seal.HashOf(data), What: f.Value("/photo/what")}}
	names, err := c.Fleet.Names(ctx, q.by, fleet.Named{Doors: []uuid.UUID{body.DoorID}})
	if err != nil {
		return nil, err
	}
	body.ObservedAt = r.instant("/observed_at", location(names[body.DoorID].TimeZone))
	if body.Photo.What == "" {
		r.faults.Add("/photo/what", "photo_unsaid")
	}
	if len(data) == 0 {
		r.faults.Add("file", "photo_none")
	}
	if err = r.faults.Err(); err == nil {
		if _, _, err = c.Fleet.PutPhoto(ctx, q.by, body.Photo.SHA256, http.DetectContentType(data), data); err != nil {
			err = atField("file", err)
		}
	}
	if err == nil {
		_, _, err = c.Fleet.PutEntry(ctx, q.by, visit, id, body)
	}
	if err != nil {
		return q.again(f, err, func(f form, status int) (answer, error) { return c.photoPage(ctx, q, visit, f, status) })
	}
	return seeOther("/visits/" + visit.String() + "#d-" + body.DoorID.String()), nil
}

// mostInMemory is how much of a form with a file is held in memory while it is read, in bytes; the rest is on disk.
const mostInMemory = 4 << 20

// formWithFile reads a form that brings a file; without one the bytes are nil.
func (q *request) formWithFile(name string) (form, []byte, error) {
	err := q.ParseMultipartForm(mostInMemory)
	if errors.Is(err, http.ErrNotMultipart) {
		return form{values: q.PostForm}, nil, nil
	}
	if err != nil {
		var tooLarge *http.MaxBytesError
		if errors.As(err, &tooLarge) {
			return form{}, nil, err
		}
		return form{}, nil, fault.New(fault.Invalid, "body_unreadable").Because(err)
	}
	defer func() { _ = q.MultipartForm.RemoveAll() }()
	f := form{values: q.PostForm}
	file, _, err := q.FormFile(name)
	if errors.Is(err, http.ErrMissingFile) {
		return f, nil, nil
	}
	if err != nil {
		return form{}, nil, fault.New(fault.Invalid, "body_unreadable").Because(err)
	}
	defer file.Close()
	data, err := io.ReadAll(file)
	return f, data, err
}

// photo shows the bytes of a photo that an entry in sight names.
func (c *Console) photo(ctx context.Context, q *request) (answer, error) {
	hash, err := seal.ParseHash(q.PathValue("sha256"))
	if err != nil {
		return nil, fault.New(fault.NotFound, "route_not_found")
	}
	p, bytes, err := c.Fleet.Photo(ctx, q.by, hash)
	if err != nil {
		return nil, err
	}
	defer bytes.Close()
	data, err := io.ReadAll(bytes)
	if err != nil {
		return nil, err
	}
	return file{mediaType: p.MediaType, name: hash.String()[:12], bytes: data}, nil
}
