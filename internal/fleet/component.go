package fleet

import (
	"context"
	"time"

	"github.com/google/uuid"

	"lintel.example/lintel/internal/duedate"
)

// Component is anything fitted in a door. A component that senses is a device.
type Component struct {
	CustomerID, SiteID, DoorID, ComponentID uuid.UUID
	Kind                                    string // see device_model.kind
	ModelID                                 *uuid.UUID
	ModelText                               string // when the model is not in the catalogue
	Serial                                  string
	WarrantyUntil                           *duedate.Day
	RecordedAt                              time.Time
	RecordedBy                              uuid.UUID
	Fitting                                 Fitting
	Version                                 Version
}

// Fitting is where a component is and what it is wired to, from one moment on.
type Fitting struct {
	State                string     // fitted, removed
	Side                 string     // a, b, both, none
	WiredTo              *uuid.UUID // the control
	Input                string     // activate, protect, inhibit, hold, none, unknown
	Contact              string     // normally_open, normally_closed, none, unknown
	TestedByControl      *bool      // nil: not known
	InhibitedWhileMoving *bool      // the control ignores it while the leaf moves
}

type componentRows interface {
	ComponentByID(ctx context.Context, id uuid.UUID, asOf AsOf) (Component, error)
	// ComponentsOfDoor gives every component ever fitted with the version that holds as of both times; those
	// that were not there yet are left out.
	ComponentsOfDoor(ctx context.Context, doorID uuid.UUID, asOf AsOf) ([]Component, error)
	InsertComponent(ctx context.Context, c Component) (bool, error)
	InsertComponentVersion(ctx context.Context, c Component) error
	ComponentVersions(ctx context.Context, id uuid.UUID) ([]Version, error)
}
